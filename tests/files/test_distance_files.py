"""Distance maps from files, written by other programs."""

from __future__ import annotations

import numpy as np
import OpenEXR
import pytest
import tifffile
from PIL import Image

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.distance import DistanceKind, read_distance

METRES = np.array([[1.5, 2.0, 65.0], [0.0, 3.25, 7.125]], np.float32)
MILLIMETRES = (METRES * 1000).astype(np.uint16)


def exr(path, channels, **header):
    usual = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File({**usual, **header}, channels).write(str(path))
    return path


def test_png_of_16_bits(tmp_path):
    Image.fromarray(MILLIMETRES).save(tmp_path / "d.png")
    got = read_distance(tmp_path / "d.png", scale_m=0.001)
    np.testing.assert_allclose(got.metres, METRES, rtol=1e-6)
    assert got.kind is None


def test_tiff_of_16_bits_and_floats(tmp_path):
    tifffile.imwrite(tmp_path / "d.tif", MILLIMETRES)
    np.testing.assert_allclose(read_distance(tmp_path / "d.tif", scale_m=0.001).metres, METRES)
    tifffile.imwrite(tmp_path / "f.tif", METRES)
    np.testing.assert_array_equal(read_distance(tmp_path / "f.tif").metres, METRES)


@pytest.mark.parametrize("kind", ["float32", "float64", "float16"])
def test_npy(tmp_path, kind):
    np.save(tmp_path / "d.npy", METRES.astype(kind))
    np.testing.assert_array_equal(read_distance(tmp_path / "d.npy").metres, METRES)
    np.testing.assert_array_equal(read_distance(tmp_path / "d.npy", scale_m=2.0).metres, 2 * METRES)


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("distance", DistanceKind.RAY),
        ("Z", DistanceKind.DEPTH),
        ("scene.depth", DistanceKind.DEPTH),
    ],
)
def test_exr_says_what_it_holds(tmp_path, name, kind):
    got = read_distance(exr(tmp_path / "d.exr", {name: METRES, "other": METRES + 1}))
    np.testing.assert_array_equal(got.metres, METRES)
    assert got.kind is kind


def test_exr_beyond_its_data_is_a_hole(tmp_path):
    path = exr(
        tmp_path / "d.exr",
        {"Z": METRES},
        dataWindow=(np.array([1, 0], np.int32), np.array([3, 1], np.int32)),
        displayWindow=(np.array([0, 0], np.int32), np.array([4, 1], np.int32)),
    )
    got = read_distance(path).metres
    np.testing.assert_array_equal(got[:, 1:4], METRES)
    assert np.isnan(got[:, [0, 4]]).all()


def test_a_grey_map_three_times_over(tmp_path):
    tifffile.imwrite(tmp_path / "d.tif", np.repeat(MILLIMETRES[..., None], 3, 2), photometric="rgb")
    np.testing.assert_allclose(read_distance(tmp_path / "d.tif", scale_m=0.001).metres, METRES)


def test_too_far_is_a_hole(tmp_path):
    codes = MILLIMETRES.copy()
    codes[0, 2] = 65535
    Image.fromarray(codes).save(tmp_path / "d.png")
    assert np.isnan(read_distance(tmp_path / "d.png", scale_m=0.001).metres[0, 2])


class TestRefused:
    def test_whole_numbers_without_a_scale(self, tmp_path):
        Image.fromarray(MILLIMETRES).save(tmp_path / "d.png")
        with pytest.raises(PictureFileError, match=r"d\.png.*0\.001 for millimetres"):
            read_distance(tmp_path / "d.png")

    def test_8_bits(self, tmp_path):
        Image.fromarray(np.zeros((2, 2), np.uint8)).save(tmp_path / "d.png")
        with pytest.raises(PictureFileError, match="8 bits are too few"):
            read_distance(tmp_path / "d.png", scale_m=0.1)

    def test_a_picture_in_colour(self, tmp_path):
        tifffile.imwrite(
            tmp_path / "d.tif",
            np.arange(12, dtype=np.float32).reshape(2, 2, 3),
            photometric="rgb",
        )
        with pytest.raises(PictureFileError, match="colour"):
            read_distance(tmp_path / "d.tif")

    def test_12_bits_which_a_picture_would_stretch_to_16(self, tmp_path):
        numbers = np.arange(6, dtype=np.uint16).reshape(2, 3)
        tifffile.imwrite(tmp_path / "d.tif", numbers, bitspersample=12, metadata=None)
        with pytest.raises(PictureFileError, match="12 bits cannot be read"):
            read_distance(tmp_path / "d.tif", scale_m=0.001)

    def test_exr_without_distances(self, tmp_path):
        path = exr(tmp_path / "d.exr", {"R": METRES, "G": METRES, "B": METRES})
        with pytest.raises(PictureFileError, match=r"no channel of distances.*B, G, R"):
            read_distance(path)

    def test_numbers_of_another_sort(self, tmp_path):
        np.save(tmp_path / "d.npy", np.zeros((2, 3, 4), np.float32))
        with pytest.raises(PictureFileError, match="one plane"):
            read_distance(tmp_path / "d.npy")
        np.save(tmp_path / "c.npy", np.zeros((2, 3), np.complex64))
        with pytest.raises(PictureFileError, match="complex64"):
            read_distance(tmp_path / "c.npy")

    def test_pickles_are_not_opened(self, tmp_path):
        np.save(tmp_path / "d.npy", np.array([[{}]], dtype=object), allow_pickle=True)
        with pytest.raises(PictureFileError, match="damaged"):
            read_distance(tmp_path / "d.npy")

    @pytest.mark.parametrize("content", [b"", b"nonsense", b"\x93NUMPY\x01\x00"])
    def test_files_that_are_none(self, tmp_path, content):
        (tmp_path / "d.npy").write_bytes(content)
        with pytest.raises(PictureFileError, match=r"d\.npy"):
            read_distance(tmp_path / "d.npy")

    def test_cut_short(self, tmp_path):
        whole = exr(tmp_path / "d.exr", {"Z": np.ones((64, 64), np.float32)}).read_bytes()
        (tmp_path / "d.exr").write_bytes(whole[: len(whole) // 2])
        with pytest.raises(PictureFileError, match=r"d\.exr"):
            read_distance(tmp_path / "d.exr")

    def test_no_file(self, tmp_path):
        with pytest.raises(PictureFileError, match="cannot be read"):
            read_distance(tmp_path / "none.png")

    def test_a_scale_of_nothing(self, tmp_path):
        np.save(tmp_path / "d.npy", METRES)
        with pytest.raises(ParameterError, match="scale_m"):
            read_distance(tmp_path / "d.npy", scale_m=0.0)

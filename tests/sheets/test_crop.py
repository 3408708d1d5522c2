"""Where frames are cropped: watched parts and lamps stay inside, what is cut is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.picture.encoding import Encoding
from frontglass.sheets import crop
from frontglass.sheets.crop import _with_room, crop_of, saliency

CAFE = Path(__file__).parents[2] / "examples" / "cafe_1280.exr"


def still(width: int = 300, height: int = 400, lamp: tuple[int, int] | None = None) -> fg.Picture:
    light = np.full((height, width, 3), 0.05, np.float32)
    if lamp is not None:
        light[lamp[1] - 6 : lamp[1] + 6, lamp[0] - 6 : lamp[0] + 6] = 1.0
    return fg.Picture(radiance=light, encoding=Encoding.linear())


def test_a_crop_stands_where_asked():
    assert crop_of(still(), 3.0, share=0).region == fg.Region(0, 0, 300, 100)
    assert crop_of(still(), 3.0, share=1).region == fg.Region(0, 300, 300, 100)
    assert crop_of(still(), 0.5, share=1).region == fg.Region(100, 0, 200, 400)
    assert crop_of(still(), None).region == fg.Region(0, 0, 300, 400)
    within = fg.Region(100, 50, 100, 200)
    assert crop_of(still(), 2.0, share=1, within=within).region == fg.Region(100, 200, 100, 50)


def test_a_crop_of_a_line_keeps_a_pixel():
    assert crop_of(still(300, 1), 0.25).region.size_px == (1, 1)
    assert crop_of(still(1, 300), 4.0).region.size_px == (1, 1)


@pytest.mark.parametrize("y", [40, 200, 370])
def test_lamps_stay_inside(y):
    found = crop_of(still(lamp=(150, y)), 2.39).region
    assert found.y_px <= y - 6
    assert found.y_px + found.height_px >= y + 6
    where = saliency(still(lamp=(150, y)))
    assert where.sum() == pytest.approx(1, rel=1e-4)
    top = np.unravel_index(np.argmax(where), where.shape)[0]
    assert top / where.shape[0] == pytest.approx(y / 400, abs=0.05)


def test_watched_parts_stay_inside_against_what_stands_out():
    face = ("face", fg.Region(100, 300, 80, 90))
    found = crop_of(still(lamp=(150, 40)), 2.39, watched=[face])
    assert found.region.y_px <= 300
    assert found.region.y_px + found.region.height_px >= 390
    assert not any("cuts" in text for text in found.notices)


def test_what_is_cut_is_said():
    tall = ("face", fg.Region(100, 100, 80, 200))
    found = crop_of(still(), 2.39, watched=[tall])
    assert found.notices[0].startswith("the crop cuts face")
    far = [("face", fg.Region(0, 0, 50, 50)), ("black", fg.Region(0, 350, 50, 50))]
    found = crop_of(still(), 2.39, watched=far)
    (cut,) = (text for text in found.notices if "cuts" in text)
    assert cut.startswith("the crop cuts black")


@pytest.mark.parametrize("has_finder", [False, True])
def test_without_a_face_finder_that_is_said_and_with_one_faces_stay(monkeypatch, has_finder):
    faces = [fg.Region(100, 280, 60, 90)] if has_finder else []
    monkeypatch.setattr(crop, "has_face_finder", lambda: has_finder)
    monkeypatch.setattr(crop, "faces_in", lambda _: faces)
    found = crop_of(still(lamp=(150, 40)), 2.39)
    assert any("no face finder" in text for text in found.notices) is not has_finder
    if has_finder:
        assert found.region.y_px <= 280
        assert found.region.y_px + found.region.height_px >= 370
    else:
        monkeypatch.setattr(crop, "has_face_finder", lambda: True)
        assert any("no face was found" in text for text in crop_of(still(), 2.39).notices)
    assert crop_of(still(), 2.39, share=0.2).notices == ()


@pytest.mark.parametrize(
    ("box", "with_room"),
    [
        ((40, 50, 20, 30), fg.Region(25, 35, 50, 60)),
        ((5, 10, 20, 30), fg.Region(0, 0, 40, 55)),
        ((70, 75, 20, 20), fg.Region(60, 65, 40, 35)),
    ],
)
def test_a_face_has_half_its_height_of_room_as_far_as_the_still_goes(box, with_room):
    still = fg.Picture(radiance=np.zeros((100, 100, 3), np.float32))
    assert _with_room(box, still) == with_room


def test_a_share_outside_is_refused():
    with pytest.raises(ParameterError, match="share"):
        crop_of(still(), 2.39, share=1.5)


def test_a_head_that_nothing_finds_is_kept_where_heads_are():
    cafe = fg.read_picture(CAFE, exposure_stops=2.5)
    hair = 136  # The highest row of the woman's hair, against the rim light.
    assert crop_of(cafe, 2.39).region.y_px < hair - 20


class Finder:
    """A face finder as OpenCV had them up to version 4: it finds one face in a small picture."""

    def __init__(self, path: str) -> None:
        assert Path(path).name == "haarcascade_frontalface_default.xml"

    def detectMultiScale(self, grey, scale, neighbours, *, minSize):  # noqa: N802, N803
        assert (scale, neighbours, minSize) == (1.1, 6, (24, 24))
        height, width = grey.shape
        self.asked = (width, height)
        return np.array([[width // 4, height // 2, width // 8, width // 8]])


@pytest.mark.parametrize("size", [(1280, 960), (320, 240), (300, 1200)])
def test_faces_are_looked_for_in_640_pixels_and_told_in_the_still_s_own(
    monkeypatch, tmp_path, size
):
    (tmp_path / "haarcascade_frontalface_default.xml").touch()
    monkeypatch.setattr(crop.cv2, "CascadeClassifier", Finder, raising=False)
    monkeypatch.setattr(crop.cv2.data, "haarcascades", str(tmp_path))
    assert crop.has_face_finder()
    width, height = size
    (face,) = crop.faces_in(still(width, height))
    # A box of an eighth of the width, with half its height of room all round.
    left, top, wide = width / 4, height / 2, width / 8
    expected = (left - wide / 2, top - wide / 2, 2 * wide, 2 * wide)
    got = (face.x_px, face.y_px, face.width_px, face.height_px)
    np.testing.assert_allclose(got, expected, atol=1 + 2 * max(1, max(size) / 640))
    (tmp_path / "haarcascade_frontalface_default.xml").unlink()
    assert not crop.has_face_finder()
    assert crop.faces_in(still(width, height)) == []

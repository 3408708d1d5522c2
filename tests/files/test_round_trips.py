"""Read and written back: the same codes, depth and kind, as other programs see them."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture

View = Callable[[Path], dict[str, Any]]


def test_lossless_files_come_back_code_for_code(lossless: Path, seen_from_outside: View):
    out = lossless.with_stem("out")
    assert write_picture(out, read_picture(lossless)) == ()
    before, after = seen_from_outside(lossless), seen_from_outside(out)
    assert before.keys() == after.keys()
    for name, value in before.items():
        if isinstance(value, np.ndarray):
            assert after[name].dtype == value.dtype, name
            np.testing.assert_array_equal(after[name], value, err_msg=name)
        else:
            assert after[name] == value, name


def test_a_second_pass_gives_the_same_bytes(lossless: Path):
    first, second = lossless.with_stem("first"), lossless.with_stem("second")
    write_picture(first, read_picture(lossless))
    write_picture(second, read_picture(first))
    assert first.read_bytes() == second.read_bytes()


def test_light_comes_back_bit_for_bit(lossless: Path):
    picture = read_picture(lossless)
    out = lossless.with_stem("out")
    write_picture(out, picture)
    again = read_picture(out)
    np.testing.assert_array_equal(again.radiance, picture.radiance)
    assert again.primaries == picture.primaries


def test_exposure_zero_is_bit_identical_and_one_stop_doubles(sample: Path):
    picture = read_picture(sample)
    np.testing.assert_array_equal(
        read_picture(sample, exposure_stops=0.0).radiance, picture.radiance
    )
    np.testing.assert_array_equal(
        read_picture(sample, exposure_stops=1.0).radiance, 2 * picture.radiance
    )


def test_every_file_reads_as_upright_finite_light(sample: Path):
    picture = read_picture(sample)
    assert picture.radiance.shape == (22, 35, 3)
    assert picture.radiance.dtype == np.float32
    assert np.isfinite(picture.radiance).all()


def test_every_file_keeps_close_to_the_first_generation(sample: Path):
    """Four times through: what a format loses it loses once, and its kind never changes."""
    first = read_picture(sample)
    path = sample
    for generation in range(4):
        out = sample.with_stem(f"out{generation}")
        assert write_picture(out, read_picture(path)) == ()
        path = out
    last = read_picture(path)
    assert last.encoding.sample is first.encoding.sample
    assert last.encoding.tone is first.encoding.tone
    assert (last.encoding.native is None) == (first.encoding.native is None)
    error = last.radiance - first.radiance
    # Noise is the worst case for JPEG; a wrong channel order or inversion would give 0.3.
    loss = 0.08 if sample.suffix in {".jpg", ".jpeg"} else 0.0
    assert np.sqrt(np.mean(error**2)) <= loss


def test_a_jpeg_loads_no_codec_of_other_formats(
    sample_file: Callable[[str], Path],
):
    path = sample_file("jpeg-444")
    code = (
        "import sys\n"
        "from frontglass.files.reading import read_picture\n"
        "from frontglass.files.writing import write_picture\n"
        "write_picture(sys.argv[2], read_picture(sys.argv[1]))\n"
        "print(*{name.partition('.')[0] for name in sys.modules})"
    )
    words = [sys.executable, "-c", code, path, path.with_stem("out")]
    run = subprocess.run(words, capture_output=True, text=True, check=True)
    loaded = set(run.stdout.split())
    assert "PIL" in loaded
    assert loaded.isdisjoint({"imagecodecs", "tifffile", "OpenEXR"})

"""Small files of every kind, written by programs that are not ours, and a look at files by them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import OpenEXR
import pytest
import tifffile
from PIL import Image

HEIGHT, WIDTH = 22, 35
EXR_HEADER = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}


def codes_8(channels: int) -> np.ndarray:
    """Codes that hold both ends, runs and noise."""
    rng = np.random.default_rng(channels)
    codes = rng.integers(0, 256, (HEIGHT, WIDTH, channels), np.uint8)
    codes[:3], codes[3:6] = 0, 255
    codes[6:9] = 77
    return codes[..., 0] if channels == 1 else codes


def codes_16(channels: int) -> np.ndarray:
    rng = np.random.default_rng(channels)
    codes = rng.integers(0, 65536, (HEIGHT, WIDTH, channels), np.uint16)
    codes[:3], codes[3:6] = 0, 65535
    return codes[..., 0] if channels == 1 else codes


def floats(channels: int, dtype: str = "f4") -> np.ndarray:
    """Light with lamps far above white and negative values of a wide gamut."""
    rng = np.random.default_rng(channels)
    light = rng.standard_normal((HEIGHT, WIDTH, channels)) * 0.5 + 0.4
    light[4, 5] = 900.0
    light = light.astype(dtype)
    return light[..., 0] if channels == 1 else light


def pil(mode: str, channels: int, **options: Any) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        still = Image.fromarray(codes_8(channels))
        if still.mode != mode:
            still = still.convert(mode)
        still.save(path, **options)

    return write


def cmyk(**options: Any) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        Image.fromarray(codes_8(4), "CMYK").save(path, **options)

    return write


def png_16(channels: int) -> Callable[[Path], None]:
    import imagecodecs

    def write(path: Path) -> None:
        path.write_bytes(imagecodecs.png_encode(codes_16(channels)))

    return write


def tiff(codes: np.ndarray, **options: Any) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        tifffile.imwrite(path, codes, metadata=None, **options)

    return write


def exr(channels: dict[str, np.ndarray], **header: Any) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        planes = {name: np.ascontiguousarray(plane) for name, plane in channels.items()}
        OpenEXR.File(EXR_HEADER | header, planes).write(str(path))

    return write


def planes(names: str, dtype: str) -> dict[str, np.ndarray]:
    light = floats(max(2, len(names)), dtype)
    return {name: light[..., index] for index, name in enumerate(names)}


def palette_png(path: Path) -> None:
    still = Image.fromarray(codes_8(3)).quantize(40)
    still.save(path, transparency=bytes(range(40)))


def hdr(path: Path) -> None:
    cv2.imwrite(str(path), np.abs(floats(3))[..., ::-1])


UNSIGNED = {name: codes_16(3)[..., k].astype(np.uint32) for k, name in enumerate("RGB")}
LAYER = {f"beauty.{name}": plane for name, plane in planes("RGB", "f2").items()}

LOSSLESS: dict[str, tuple[str, Callable[[Path], None]]] = {
    "png-8-rgb": (".png", pil("RGB", 3)),
    "png-8-rgba": (".png", pil("RGBA", 4)),
    "png-8-grey": (".png", pil("L", 1)),
    "png-8-grey-alpha": (".png", pil("LA", 2)),
    "png-1": (".png", pil("1", 1)),
    "png-palette": (".png", pil("P", 3)),
    "png-palette-4-bit-alpha": (".png", palette_png),
    "png-16-rgb": (".png", png_16(3)),
    "png-16-rgba": (".png", png_16(4)),
    "png-16-grey": (".png", png_16(1)),
    "png-16-grey-alpha": (".png", png_16(2)),
    "tiff-8-rgb": (".tif", pil("RGB", 3)),
    "tiff-8-rgb-lzw": (".tif", pil("RGB", 3, compression="tiff_lzw")),
    "tiff-8-rgb-packbits": (".tif", pil("RGB", 3, compression="packbits")),
    "tiff-8-rgba": (".tif", tiff(codes_8(4), photometric="rgb", extrasamples=["unassalpha"])),
    "tiff-8-premultiplied": (
        ".tif", tiff(codes_8(4), photometric="rgb", extrasamples=["assocalpha"])),
    "tiff-8-grey": (".tiff", pil("L", 1, compression="tiff_adobe_deflate")),
    "tiff-8-cmyk": (".tif", cmyk(compression="tiff_lzw")),
    "tiff-1": (".tif", pil("1", 1, compression="group4")),
    "tiff-palette": (".tif", pil("P", 3)),
    "tiff-16-rgb": (".tif", tiff(codes_16(3), photometric="rgb", compression="lzw", predictor=2)),
    "tiff-16-rgba": (".tif", tiff(codes_16(4), photometric="rgb", extrasamples=["unassalpha"])),
    "tiff-16-grey": (".tif", tiff(codes_16(1), photometric="minisblack", byteorder=">")),
    "tiff-16-grey-alpha": (
        ".tif", tiff(codes_16(2), photometric="minisblack", extrasamples=["unassalpha"])),
    "tiff-16-cmyk": (".tif", tiff(codes_16(4), photometric="separated", compression="zlib")),
    "tiff-16-tiles": (
        ".tif", tiff(codes_16(3), photometric="rgb", tile=(16, 16), compression="lzw",
                     predictor=2)),
    "tiff-16-planes": (
        ".tif", tiff(np.moveaxis(codes_16(3), 2, 0), photometric="rgb", planarconfig="separate",
                     rowsperstrip=5, compression="zlib", predictor=2)),
    "tiff-16-big": (
        ".tif", tiff(codes_16(3), photometric="rgb", bigtiff=True, byteorder=">",
                     compression="lzw")),
    "tiff-float-rgb": (".tif", tiff(floats(3), photometric="rgb", compression="lzw", predictor=3)),
    "tiff-float-rgba": (".tif", tiff(floats(4), photometric="rgb", extrasamples=["unassalpha"])),
    "tiff-float-grey": (".tif", tiff(floats(1), photometric="minisblack", byteorder=">")),
    "tiff-half-rgb": (".tif", tiff(floats(3, "f2"), photometric="rgb", compression="zlib")),
    "exr-half-rgb": (".exr", exr(planes("RGB", "f2"))),
    "exr-half-rgba": (".exr", exr(planes("RGBA", "f2"), compression=OpenEXR.PIZ_COMPRESSION)),
    "exr-float-rgb": (".exr", exr(planes("RGB", "f4"), compression=OpenEXR.NO_COMPRESSION)),
    "exr-float-y": (".exr", exr(planes("Y", "f4"), compression=OpenEXR.ZIPS_COMPRESSION)),
    "exr-half-y": (".exr", exr(planes("YA", "f2"))),
    "exr-integer": (".exr", exr(UNSIGNED)),
    "exr-layer": (".exr", exr(LAYER)),
    "exr-more-channels": (".exr", exr(planes("RGBZN", "f4") | {"id": UNSIGNED["R"]})),
    "hdr": (".hdr", hdr),
}  # fmt: skip

LOSSY: dict[str, tuple[str, Callable[[Path], None]]] = {
    "jpeg-420": (".jpg", pil("RGB", 3, quality=83, subsampling=2)),
    "jpeg-444": (".jpeg", pil("RGB", 3, quality=97, subsampling=0)),
    "jpeg-progressive": (".jpg", pil("RGB", 3, progressive=True)),
    "jpeg-grey": (".jpg", pil("L", 1)),
    "jpeg-cmyk": (".jpg", cmyk(quality=97)),
}
SAMPLES = LOSSLESS | LOSSY


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run tests that take `lossless` or `sample` over every such file."""
    for fixture, table in (("lossless_name", LOSSLESS), ("sample_name", SAMPLES)):
        if fixture in metafunc.fixturenames:
            metafunc.parametrize(fixture, list(table))


def written(name: str, folder: Path) -> Path:
    extension, write = SAMPLES[name]
    path = folder / f"still{extension}"
    write(path)
    return path


@pytest.fixture
def lossless(lossless_name: str, tmp_path: Path) -> Path:
    return written(lossless_name, tmp_path)


@pytest.fixture
def sample(sample_name: str, tmp_path: Path) -> Path:
    return written(sample_name, tmp_path)


@pytest.fixture
def sample_file(tmp_path: Path) -> Callable[[str], Path]:
    """Write the sample of a name and return its path."""
    return lambda name: written(name, tmp_path)


def seen_from_outside(path: Path) -> dict[str, Any]:
    """What another program finds in a file: arrays of codes and what kind they are."""
    extension = path.suffix
    if extension in {".tif", ".tiff"}:
        with tifffile.TiffFile(path) as file:
            page = file.pages.first
            pixels = page.asarray()
            if page.planarconfig == 2:
                pixels = np.moveaxis(pixels, 0, 2)
            return {
                "pixels": pixels,
                "photometric": int(page.photometric),
                "bits": page.bitspersample,
                "extra": tuple(int(kind) for kind in page.extrasamples),
            }
    if extension == ".exr":
        part = OpenEXR.File(str(path), separate_channels=True).parts[0]
        return {name: channel.pixels for name, channel in part.channels.items()}
    if extension == ".hdr":
        return {"pixels": cv2.imread(str(path), cv2.IMREAD_UNCHANGED)}
    with Image.open(path) as still:
        found: dict[str, Any] = {"mode": still.mode, "pixels": np.array(still)}
        if still.mode == "P":
            found["palette"] = np.array(still.convert("RGBA"))
    if extension == ".png" and found["mode"] not in {"1", "P"}:
        import imagecodecs

        # Pillow shows 16-bit colour as 8-bit.
        found["pixels"] = imagecodecs.png_decode(path.read_bytes())
    return found


@pytest.fixture(name="seen_from_outside")
def seen_from_outside_fixture() -> Callable[[Path], dict[str, Any]]:
    return seen_from_outside

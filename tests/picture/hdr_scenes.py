"""Open high-dynamic-range crops as truth: shown as a camera would, and their glow."""

from __future__ import annotations

import io
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image

import frontglass as fg
from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import ScatterFilter
from frontglass.elements import Glow
from frontglass.picture.curves import SRGB_CURVE

Float32 = NDArray[np.float32]

FOLDER = Path(__file__).parents[1] / "data" / "hdr"
LAMP_SCENES = (
    "warehouse-a",
    "warehouse-b",
    "interior-a",
    "interior-b",
    "interior-c",
    "forest-a",
    "forest-b",
    "dawn",
    "park-sun",
    "sunset",
)
PLAIN_SCENES = ("forest-floor", "park-sky", "pavement", "interior-bench")
KEY = 0.12
"""Log-average light of an exposed scene; one rule for all of them."""
CAMERA = fg.Camera.from_field(40)
LOG_AVERAGE_CD_M2 = {
    "warehouse": 50, "interior": 60, "forest": 400, "dawn": 50, "park": 1500, "sunset": 200,
    "pavement": 200,
}  # fmt: skip
"""Of the panoramas, which hold light up to a factor: as what they show suggests, no source."""


def white_cd_per_m2(name: str, stops: float = 0.0) -> float:
    """White of a scene as it is exposed, as well as its scale can be guessed. [cd/m2]"""
    return LOG_AVERAGE_CD_M2[name.split("-", maxsplit=1)[0]] / KEY * 2.0**-stops


def scene(name: str, stops: float = 0.0) -> Float32:
    """Light of a scene, exposed by the rule and then by `stops`."""
    light = np.maximum(fg.read_picture(FOLDER / f"{name}.exr").radiance, 0)
    average = np.exp(np.log(np.maximum(light.mean(axis=2), 1e-3)).mean())
    return (light * np.float32(KEY / average * 2.0**stops)).astype(np.float32)


def codes(light: Float32) -> NDArray[np.uint8]:
    return np.rint(255 * SRGB_CURVE.encode(np.clip(light, 0, 1))).astype(np.uint8)


def as_still(
    light: Float32, folder: Path, *, quality: int | None = 90, white: float | None = None
) -> fg.Picture:
    """Light as an 8-bit still: JPEG of a quality, or PNG; with an exposure for white [cd/m2]."""
    kind = "PNG" if quality is None else "JPEG"
    path = folder / f"still.{kind.lower()}"
    stream = io.BytesIO()
    exif = Image.Exif()
    if white is not None:
        # ISO 100 at f/2: a second would make white of 4 cd/m2.
        exif.get_ifd(0x8769).update({33434: 4.0 / white, 33437: 2.0, 34855: 100})
    options = {} if quality is None else {"quality": quality, "subsampling": 0}
    Image.fromarray(codes(light)).save(stream, kind, exif=exif, **options)
    path.write_bytes(stream.getvalue())
    return fg.read_picture(path)


def glow_light(light: Float32) -> Float32:
    """What harbour-night at 1 adds: its scattered light alone."""
    _, glow = fg.read_look("harbour-night").at(1).light_path
    assert isinstance(glow, Glow)
    scale = CAMERA.px_per_rad(light.shape[1])
    halos = [
        ScatterFilter(scatterers=((glow.depth(c), glow.profile(c)),), px_per_rad=scale)
        for c in range(3)
    ]
    direct = np.array([halo.direct for halo in halos], dtype=np.float32)
    return convolve(light, halos, Surround.MIRROR) - direct * light


def source(picture: fg.Picture) -> Float32:
    """What a still sends out: what it shows and what was recovered."""
    extra = picture.recovered
    return picture.radiance if extra is None else picture.radiance + extra


class GlowError(NamedTuple):
    """Error of a glow outside clipped areas [stop]."""

    rms: float
    p95: float


def glow_error(light: Float32, truth: Float32, outside: NDArray[np.bool_]) -> GlowError:
    least = 1e-6
    got, want = np.maximum(glow_light(light), least), np.maximum(glow_light(truth), least)
    stops = np.log2(got / want)[outside]
    return GlowError(float(np.sqrt(np.mean(stops**2))), float(np.percentile(np.abs(stops), 95)))


def picture_error(got: fg.Picture, want: fg.Picture) -> float:
    """Error of the whole picture behind harbour-night at 1 [stop rms]."""
    look = fg.read_look("harbour-night").with_glass(returns=0.0)  # ghosts are no glow
    seen = [fg.render(one, look, camera=CAMERA).radiance.mean(axis=2) for one in (got, want)]
    one, other = (np.maximum(light, 1e-4) for light in seen)
    return float(np.sqrt(np.mean(np.log2(one / other) ** 2)))


def true_marks(truth: Float32, still: fg.Picture, most: int = 12) -> tuple[fg.LampMark, ...]:
    """Marks with the true level, to a tenth of a stop, on the areas that lost most light."""
    from frontglass.picture.clipped import outline

    found = outline(still.radiance)
    lost = truth.mean(axis=2) - 1
    number = found.regions + 1
    area = np.bincount(found.labels.ravel(), minlength=number)
    sums = np.bincount(found.labels.ravel(), weights=lost.ravel(), minlength=number)
    sums[0] = 0
    marks = []
    for region in np.argsort(-sums)[:most]:
        level = 1 + sums[region] / area[region]
        if region == 0 or level <= 1:
            continue
        rows, columns = np.nonzero(found.labels == region)
        marks.append(
            fg.LampMark(float(columns[0]), float(rows[0]), round(float(np.log2(level)), 1))
        )
    return tuple(marks)

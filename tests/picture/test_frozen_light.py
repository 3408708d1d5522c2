"""What noise, brackets, exposures, gain maps, hues and distances once came to: see `tests.frozen`.

How right that is, the tests of each of them say. Here each of the tuned numbers acts somewhere.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

import frontglass as fg
from frontglass.picture.bracket import merged_bracket
from frontglass.picture.codes import Target, codes_from_radiance
from frontglass.picture.distance import distance_from_points, fitted_distance, ray_distance
from frontglass.picture.encoding import Encoding, Sample
from frontglass.picture.exposure import fitting_exposure_stops, with_exposure_told
from frontglass.picture.gain_map import Gain, GainMap, LinearGain, LogGain, light_beyond
from frontglass.picture.grain import grain_of
from frontglass.picture.lamps_in_air import lamps_in
from frontglass.picture.noise_curve import noise_curve_of
from frontglass.picture.non_finite import mended
from frontglass.picture.past_white import towards_white
from frontglass.picture.primaries import BT709, BT2020, P3_D65
from tests.frozen import is_frozen, write
from tests.picture.lit_boxes import lit_box

FILE = "frozen_light"
Light = NDArray[np.float32]


def codes(light: NDArray[np.floating[Any]]) -> NDArray[np.uint8]:
    return np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)


def few(values: NDArray[Any]) -> NDArray[Any]:
    """Some pixels all over a picture."""
    height, width = values.shape[:2]
    return np.asarray(values[height // 14 :: height // 5, width // 12 :: width // 6])


def scene(height: int = 256, width: int = 384) -> NDArray[np.float64]:
    """Even walls of several levels and colours, fine detail, an edge and a soft slope."""
    rows, columns = np.mgrid[:height, :width]
    light = 0.02 * 2.0 ** (6 * columns / width) * (1 + 0.3 * (rows > height / 2))
    light = np.where(columns // 48 % 2, light, 0.02 * 2.0 ** (columns // 48))
    light[: height // 5, : width // 4] *= (
        1 + 0.4 * ((rows + columns) % 7 < 3)[: height // 5, : width // 4]
    )
    return np.asarray(light[..., None] * np.array([1.1, 1.0, 0.7]))


def noisy(read: float, shot: float, coarse: float = 0, quality: int | None = None) -> Light:
    """That scene with noise of a seed, as its codes show it."""
    rng = np.random.default_rng(8)
    light = scene()
    noise = rng.standard_normal(light.shape)
    if coarse:
        noise = cv2.GaussianBlur(noise, (0, 0), coarse) * 2 * coarse
    own = codes(light + noise * np.sqrt(read**2 + shot * light))
    if quality is not None:
        _, held = cv2.imencode(".jpg", own, [cv2.IMWRITE_JPEG_QUALITY, quality])
        own = np.asarray(cv2.imdecode(held, cv2.IMREAD_COLOR), np.uint8)
    return fg.Picture.from_array(own).radiance


def noise(*how: Any) -> dict[str, Any]:
    """The curve of a still, and the grain that is told from its light."""
    light = noisy(*how)
    curve, grain = noise_curve_of(light, 1 / 255), grain_of(light, 1 / 255)
    if curve is None or grain is None:
        return {"curve": curve, "grain": grain}
    return {
        "curve": curve.precisions[:, 15::40].astype(np.float64) ** -0.5,
        "step": grain.step,
        "spread": [float(grain.at(np.s_[k::4]).std()) for k in range(4)],
        "few": few(grain.at(np.s_[:])),
    }


def bracketed(how: str, **options: Any) -> dict[str, Any]:
    light = lit_box(3, "room").light[:120, :180].astype(np.float64) + 0.002
    stops, frames = (0.0, -3.2, -6.0), []
    for number, stop in enumerate((0.0, -3.0, -6.1)):
        own = light * 2.0**stop
        if how.startswith("moved"):
            far = 4 if how == "moved far" else 1
            shift = np.array([[1, 0, 2.3 * far * number], [0, 1, -1.6 * far * number]])
            own = cv2.warpAffine(own, shift, (180, 120), borderMode=cv2.BORDER_REPLICATE)
        if how == "a ghost" and number == 1:
            own[40:60, 100:120] *= 4
        frames.append(fg.Picture.from_array(codes(own)))
    merged = merged_bracket(frames, stops, **options)
    return {
        "stops": merged.exposure_stops,
        "shifts": [[round(side, 1) for side in shift] for shift in merged.shifts_px],
        "clipped": merged.clipped_share,
        "ghosts": merged.ghost_share,
        "said": merged.picture.notices,
        "few": few(merged.picture.radiance),
        "mean": merged.picture.radiance.mean(axis=(0, 1)),
    }


def exposed() -> list[Any]:
    found: list[Any] = []
    light = scene(60, 90).astype(np.float32)
    for times in (1e-4, 0.02, 1.0, 40.0, 3000.0):
        picture = fg.Picture(radiance=light * np.float32(times))
        found.append([fitting_exposure_stops(picture), *with_exposure_told(picture, 1.5).notices])
    light[::3] = 500
    return [*found, fitting_exposure_stops(fg.Picture(radiance=light))]


def hues() -> dict[str, Any]:
    levels = np.array([0.0, 0.3, 1.0, 1.7, 6.0, 40.0], np.float32)
    grid = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), -1).reshape(-1, 3)
    spaces = {"bt709": BT709, "p3": P3_D65, "bt2020": BT2020}
    return {name: towards_white(grid[3::5], own) for name, own in spaces.items()}


def holes() -> Light:
    light = scene(60, 90).astype(np.float32)
    light[3, 5], light[4, 5, 1], light[0, 0] = np.nan, -np.inf, np.inf
    light[20:55, 30:70] = np.nan
    light[25, 40, 2] = 0.5
    return few(mended(light))


def gained(
    gain: Gain, shape: tuple[int, ...], dtype: type, primaries: Any = None
) -> dict[str, Any]:
    light = np.clip(scene(50, 80), 0, 1).astype(np.float32)
    most = np.iinfo(dtype).max
    ramp = np.linspace(0.1, 1, int(np.prod(shape))).reshape(shape)
    beyond = light_beyond(light, BT709, GainMap(
        codes=(ramp * most).astype(dtype), gain=gain, primaries=primaries
    ))  # fmt: skip
    return {"few": few(beyond.light), "lift": beyond.lift, "highest": beyond.highest}


LOGS = LogGain(
    least=(-0.5, -0.4, -0.3), most=(3.0, 2.5, 2.0), gamma=(1.0, 1.4, 0.7),
    base_offset=(0.02, 0.01, 0.03), other_offset=(0.01, 0.02, 0.015),
)  # fmt: skip


def picture(height: int = 60, width: int = 90) -> Light:
    """Two surfaces of different light, and a dark corner."""
    light = np.full((height, width, 3), 0.2, np.float32)
    light[:, width // 2 :] = (0.5, 0.4, 0.3)
    light[height // 2 :, : width // 5] = 0.01
    return light


def fitted(
    rows: int, columns: int, *, is_holed: bool = False, has_sky: bool = False, times: float = 1
) -> Light:
    away = np.full((rows, columns), 3.0, np.float32)
    away[:, columns // 2 :] = np.linspace(6, 9, rows, dtype=np.float32)[:, np.newaxis]
    away *= np.float32(times)
    if is_holed:
        away[rows // 4 : rows // 2, columns // 3 : columns // 2 + 2] = np.nan
    if has_sky:
        away[: rows // 4] = np.inf
    return few(fitted_distance(away, picture()))


def typed(*texts: str, base: float | None = None) -> Light:
    points = [fg.DistancePoint.from_text(text) for text in texts]
    slope = np.linspace(1, 2, 90, dtype=np.float32) * np.ones((60, 1), np.float32)
    return few(distance_from_points(points, picture(), None if base is None else base * slope))


def room(text: str) -> Light:
    return few(fg.Room.from_text(text).distance_m((60, 90), 80))


def own_depth(*texts: str, scale: str = "about") -> list[Any]:
    rng = np.random.default_rng(1)
    depth = rng.uniform(2, 9, (30, 45)).astype(np.float32)
    own = fg.OwnDepth(depth_m=depth, scale=scale)  # type: ignore[arg-type]
    camera = fg.Camera(focal_length_mm=35, sensor_width_mm=36)
    points = tuple(fg.DistancePoint.from_text(text) for text in texts)
    still = fg.Picture(radiance=picture())
    return [own.said(), few(own.distance_m(still, camera, points))]


def air(marks: list[fg.LampPlace] | None, *, is_sky: bool = False) -> dict[str, Any]:
    """A tube, a bulb, a dim speck and one far away, over two walls."""
    light, away = picture(120, 180) * np.float32(0.2), np.full((120, 180), 8.0, np.float32)
    away[:, 90:] = 4
    light[30:34, 20:100] = (9, 8, 6)
    light[80:86, 140:146] = (30, 20, 10)
    light[100, 20] = 1.5
    light[60:62, 60:62] = 4
    away[56:66, 56:66] = np.inf if is_sky else 15
    found = lamps_in(light, away, 150, marks)
    return {
        "lamps": [list(lamp) for lamp in found.lamps],
        "rest": found.rest,
        "share": found.lamp_share,
        "mask": int(found.mask((120, 180)).sum()),
    }


def written(sample: Sample, *, past: bool) -> list[Any]:
    """Codes of a ramp from below black to past white."""
    ramp = np.linspace(-0.05, 1.3, 6 * 40 * 3, dtype=np.float32).reshape(6, 40, 3)
    encoding = Encoding.srgb(sample)
    target = Target(sample=sample, curves=encoding.curves, primaries=BT709 if past else None)
    made = codes_from_radiance(ramp, target)
    return [made.codes[::2, ::3], *list(made)[1:]]


def placed(*places: tuple[float, float, float | None]) -> list[fg.LampPlace]:
    return [fg.LampPlace(x_px=x, y_px=y, distance_m=away) for x, y, away in places]


CASES: dict[str, Callable[[], Any]] = {
    "noise of light": lambda: noise(0.004, 0.002),
    "noise of the dark": lambda: noise(0.03, 0.0),
    "coarse noise": lambda: noise(0.004, 0.002, 0.8),
    "noise in a JPEG": lambda: noise(0.01, 0.003, 0.5, 80),
    "hardly any noise": lambda: noise(0.0005, 0.0),
    "bracket": lambda: bracketed("still"),
    "bracket, moved": lambda: bracketed("moved"),
    "bracket, moved far": lambda: bracketed("moved far"),
    "bracket, a ghost": lambda: bracketed("a ghost", alignment="off"),
    "bracket, its own response": lambda: bracketed("still", response="estimated"),
    "exposures": exposed,
    "hues past white": hues,
    "holes mended": holes,
    "gains by their logarithm": lambda: gained(LOGS, (20, 30, 3), np.uint8),
    "gains in other primaries": lambda: gained(LOGS, (25, 40, 1), np.uint16, P3_D65),
    "linear gain": lambda: gained(LinearGain(headroom=5.0), (50, 80, 1), np.uint8),
    "a map enlarged": lambda: fitted(15, 23),
    "a map reduced": lambda: fitted(90, 135),
    "a map with holes": lambda: fitted(60, 90, is_holed=True),
    "a map with holes and sky": lambda: fitted(24, 36, is_holed=True, has_sky=True),
    "a map of things near by": lambda: fitted(60, 90, is_holed=True, times=0.1),
    "one distance": lambda: typed("20,30,4"),
    "three distances": lambda: typed("20,10,4", "70,30,9", "5,55,2"),
    "distances over a room": lambda: typed("20,10,4", "70,30,9", base=3.0),
    "along rays": lambda: few(ray_distance(np.full((60, 90), 3, np.float32), 70)),
    "a room": lambda: room("back=9,left=3,right=4,ceiling=3,camera=1.6,horizon=25,vanishing=50"),
    "an open room": lambda: room("left=3,horizon=20"),
    "own depth": own_depth,
    "own depth in metres": lambda: own_depth(scale="metres"),
    "own depth, one distance": lambda: own_depth("20,10,4"),
    "own depth, three distances": lambda: own_depth("20,10,4", "70,30,9", "5,55,2"),
    "lamps in air": lambda: air(None),
    "lamps in air below a sky": lambda: air(None, is_sky=True),
    "lamps pointed at": lambda: air(placed((60, 32, None), (143, 83, 3.5), (61, 61, None))),
    "8 bits": lambda: written(Sample.UINT8, past=True),
    "8 bits, channels cut": lambda: written(Sample.UINT8, past=False),
    "16 bits": lambda: written(Sample.UINT16, past=True),
}


@pytest.mark.parametrize("case", CASES)
def test_frozen_light(case: str):
    is_frozen(FILE, case, CASES[case]())


if __name__ == "__main__":
    write(FILE, CASES)

"""What a still shows by itself: size, lens, white and clipped lamps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from frontglass.files.reading import read_picture
from frontglass.optics.camera import ShotData
from frontglass.picture.clipped_lamps import ClippedLamp, with_recovered_light
from frontglass.picture.lamp_kinds import White
from frontglass.picture.picture import Picture
from frontglass.picture.recovery import Recovery
from frontglass.scene.changes import renamed_still, with_still
from frontglass.scene.finding import digest_of, moved_still, name_in_scene
from frontglass.scene.marks import SceneLamp
from frontglass.scene.old_lamps import OLD_NAME, scene_from_old_lamps
from frontglass.scene.parts import SceneStill
from frontglass.scene.scene import Scene

LEAST_SHARE, MOST_LAMPS = 0.05, 6
"""Lamps that are written down: so much of the light that was lost, and so many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenStill:
    """What a still shows by itself: upright size [px], lens, white if its exposure tells it.

    Its clipped areas come most light first; there are none where its file holds light above white.
    """

    path: Path
    sha256: str
    size_px: tuple[int, int]
    shot: ShotData
    white: White | None
    areas: tuple[ClippedLamp, ...]
    holds_lamps: bool = False

    @property
    def lamps(self) -> tuple[ClippedLamp, ...]:
        """Clipped areas that matter: somebody should say what they are."""
        lamps = [one for one in self.areas if one.stops > 0 and one.share >= LEAST_SHARE]
        return tuple(lamps[:MOST_LAMPS])

    @property
    def lens_text(self) -> str:
        """Its lens in words; empty if its file says nothing."""
        shot = self.shot
        words = [] if shot.focal_length_mm is None else [f"{shot.focal_length_mm:.3g} mm"]
        if shot.focal_length_35mm is not None:
            words.append(f"({shot.focal_length_35mm:.3g} mm on full frame)")
        if shot.f_number is not None:
            words.append(f"f/{shot.f_number:.2g}")
        return " ".join(words)

    @property
    def white_text(self) -> str:
        """Luminance of its white in words; empty if nothing tells it."""
        return "" if self.white is None else f"{self.white.cd_per_m2:.2g} cd/m2"

    def __str__(self) -> str:
        white = f"white {self.white_text} by its exposure" if self.white else "white not known"
        return ", ".join((self.lens_text or "lens not known", white))


def seen_still(
    path: Path, recovery: Recovery | None = None, picture: Picture | None = None
) -> SeenStill:
    """Look at a still, read already or not; what is told of its lamps may be tried."""
    picture = read_picture(path) if picture is None else picture
    found = with_recovered_light(picture, recovery)
    return SeenStill(
        path=path,
        sha256=digest_of(path),
        size_px=(picture.width_px, picture.height_px),
        shot=picture.shot,
        white=found.white,
        areas=found.lamps,
        holds_lamps=not picture.encoding.ends_somewhere,
    )


def with_seen(scene: Scene, seen: SeenStill, *, lamps: Sequence[SceneLamp] = ()) -> Scene:
    """Scene that has a still as it is now; one that has moved is renamed.

    What is said of it stays. `lamps` are written down if the scene says nothing of its lamps.
    """
    scene = with_old_lamps(scene, seen.path.parent)
    name = name_in_scene(scene.folder, seen.path)
    known = scene.still_of(seen.path)
    if known is None and (moved := moved_still(scene, seen.path)) is not None:
        scene, known = renamed_still(scene, moved.file, name), moved
    elif known is not None:
        name = known.file
    has_marks = known is not None and bool(known.lamps or known.others)
    found = SceneStill(
        file=name,
        sha256=seen.sha256,
        size_px=seen.size_px,
        lamps=() if has_marks else tuple(lamps),
    )
    return with_still(scene, found)


def found_lamps(seen: SeenStill) -> tuple[SceneLamp, ...]:
    """Lamps that a still shows, which nobody has named yet."""
    return tuple(SceneLamp(at_px=(round(one.x_px), round(one.y_px))) for one in seen.lamps)


def with_old_lamps(scene: Scene, folder: Path) -> Scene:
    """Scene that has taken over `lamps.toml` of a folder of which it has no still yet."""
    old = folder / OLD_NAME
    here = folder.resolve()
    if not old.is_file() or here in scene.folders:
        return scene
    for still in scene_from_old_lamps(old).stills:
        name = name_in_scene(scene.folder, folder / still.file)
        values = {one: getattr(still, one) for one in ("white_cd_per_m2", "others", "lamps")}
        digest = digest_of(folder / still.file)
        scene = with_still(scene, SceneStill(file=name, sha256=digest, **values))
    return scene

"""Whole lines of what the pipeline, batches and sheets refuse: what, why, and what to do.

Each says what a person who typed it has to know; other tests match a part of them alone.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.batch.finding import found_stills
from frontglass.batch.manifest import MANIFEST_NAME, Manifest
from frontglass.batch.plan import plan
from frontglass.batch.run import planned_batch
from frontglass.optics.camera import ShotData
from frontglass.pipeline.merge_files import merge_files
from frontglass.pipeline.recipe import exposure_from_text
from frontglass.pipeline.shot_as import as_shot
from frontglass.pipeline.space import map_of
from frontglass.pipeline.still_files import check_may_write, render_file
from frontglass.sheets.answers import Board, BoardFrame, answers_from_text, read_answers, read_board
from frontglass.sheets.distance_page import distance_sheet
from frontglass.sheets.layout import grid
from frontglass.sheets.mood import aspect_from_text
from frontglass.sheets.sheet import check_suffix
from frontglass.sheets.sway import check_loop_suffix, sway

Case = tuple[Callable[[], object], str]

STILL = fg.Picture(radiance=np.full((6, 9, 3), 0.25, np.float32))
RATIOS = fg.Picture(
    radiance=STILL.radiance,
    own_depth=fg.OwnDepth(depth_m=np.ones((6, 9), np.float32), scale="none"),  # type: ignore[arg-type]
)
CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
LOOK = fg.read_look("tallow")
BOARD = Board("0f3a9c21", "After", (BoardFrame("1A", "gate.jpg", "gate", "late-tram:1/2"),))


def taking(text: str) -> fg.TakingLens:
    return fg.TakingLens.from_text(text)


def shot(focal_mm: float | None, equivalent_mm: float | None = None, **other: float) -> ShotData:
    return ShotData(focal_length_mm=focal_mm, focal_length_35mm=equivalent_mm, **other)


def render(**how: object) -> object:
    return fg.render(STILL, LOOK, **how)  # type: ignore[call-overload]


FRAMES: list[Case] = [
    (
        lambda: exposure_from_text("bright"),
        "exposure must be stops such as 2.5 or -1, or auto, got 'bright'.",
    ),
    (
        lambda: fg.Framing(aim=(3.5, 4)),
        "aim must be given with a taking lens (--as), got '3.5,4'.",
    ),
    (
        lambda: fg.Framing(f_number=2, taking=taking("50mm,super35,2.39,T4")),
        "stop must be that of --as 50mm,super35,2.39,T4, got 2."
        " Both are the stop of the taking lens; say it once.",
    ),
    (
        lambda: fg.Framing(taking=taking("50mm,super35,2.39")).framed(STILL),
        "as must be for a still whose field is known, got '50mm,super35,2.39'. Its file does not"
        " say lens and sensor; type what it was shot with, such as --lens 5.7mm --sensor 7.6x5.7"
        " (within 8 %: the 35 mm equivalent on full-frame).",
    ),
    (
        lambda: as_shot(shot(24, 36), (9, 6), lens_mm=85, sensor=None),
        "lens must be what the still was shot with, by its file 24 mm, 36 mm equivalent, got"
        " '85 mm'. For the view of a 85 mm lens on the film's camera type --as 85mm,super35; if the"
        " file is wrong, --no-exif.",
    ),
    (
        lambda: as_shot(shot(24), (9, 6), lens_mm=85, sensor="full-frame"),
        "lens must be what the still was shot with, by its file 24 mm, got '85 mm'. For the view of"
        " a 85 mm lens on the film's camera type --as 85mm,full-frame; if the file is wrong,"
        " --no-exif.",
    ),
    (
        lambda: as_shot(shot(24, 36), (9, 6), lens_mm=None, sensor="full-frame"),
        "sensor must be what the still was shot with, by its file 24 mm, 36 mm equivalent, 28.8 mm"
        " across corners, got 'full-frame, 43.3 mm across corners'. For the view of another camera"
        " type --as with its lens, such as --as 50mm,full-frame; if the file is wrong, --no-exif.",
    ),
    (
        lambda: as_shot(shot(None, sensor_width_mm=36), (6, 9), lens_mm=None, sensor="20x30"),
        "sensor must be what the still was shot with, by its file 43.3 mm across corners, got"
        " '20x30, 36.1 mm across corners'. For the view of another camera type --as with its lens,"
        " such as --as 50mm,20x30; if the file is wrong, --no-exif.",
    ),
    (
        lambda: fg.Space(depth=Path("d.exr"), room=fg.Room()),
        "depth must be given alone, got 'd.exr'."
        " A map says how far everything is; leave out the room and typed distances.",
    ),
    (
        lambda: fg.Space(depth=Path("d.exr"), points=(fg.DistancePoint.from_text("1,2,3"),)),
        "depth must be given alone, got 'd.exr'."
        " A map says how far everything is; leave out the room and typed distances.",
    ),
    (
        lambda: fg.render(STILL, ["tallow"]),  # type: ignore[list-item]
        "looks must be a look, an element, or several of them, got ['tallow']."
        " read_look finds a look by its name.",
    ),
    (lambda: render(camera=50), "camera must be a Camera or None, got 50."),
    (lambda: render(compensate=1), "compensate must be True or False, got 1."),
    (lambda: render(grain=1), "grain must be True or False, got 1."),
    (
        lambda: render(surround="black"),
        "surround must be 'lampless', 'mirror' or 'dark', got 'black'.",
    ),
    (
        lambda: fg.render(RATIOS, fg.read_look("wharf-morning")),
        "haze needs to know how far everything is, and the still's file holds depths without their"
        " unit: type how far one place is (--distance X,Y,METRES).",
    ),
]

SHEETS: list[Case] = [
    (
        lambda: grid(6, (3, 2), width_px=900, gap_px=9, columns=7),
        "columns must be from 1 to 6, the pictures there are, got 7.",
    ),
    (
        lambda: grid(6, (3, 2), width_px=20, gap_px=9, columns=6),
        "columns must be few enough to leave room for a picture, got 6.",
    ),
    (
        lambda: aspect_from_text("wide"),
        "aspect must be such as 2.39, 1.85, 16:9, 4:3 or 3:2, from 0.25 to 4, got 'wide'.",
    ),
    (
        lambda: aspect_from_text("41:10"),
        "aspect must be such as 2.39, 1.85, 16:9, 4:3 or 3:2, from 0.25 to 4, got '41:10'.",
    ),
    (
        lambda: distance_sheet(STILL, CAMERA, name="gate.png"),
        "distance_m must be known, got None."
        " Give a distance map (--depth), typed distances (--distance) or a room (--room).",
    ),
    (lambda: fg.compare(STILL, [], camera=CAMERA), "look must be given at least once, got 'none'."),
    (
        lambda: fg.ladder(STILL, LOOK, camera=CAMERA, strengths=[0]),
        "strengths must be one number above 0 at least, got [0].",
    ),
    (
        lambda: check_suffix(Path("sheet.webp")),
        "sheet.webp: a sheet is a PNG or a JPEG; end its name with .png or .jpg.",
    ),
    (
        lambda: check_loop_suffix(Path("loop.png")),
        "loop.png: a loop is WebP, GIF or MP4; end its name with .webp, .gif or .mp4.",
    ),
    (
        lambda: answers_from_text("frontglass board 11111111", BOARD),
        "answers: answers to another board (11111111), not to 'After'.",
    ),
    (
        lambda: answers_from_text("1A <3", BOARD, "mail.txt"),
        "mail.txt: names no board; it has no line such as 'frontglass board 0f3a9c21'.",
    ),
    (
        lambda: answers_from_text("frontglass board 0f3a9c21\n2B <3", BOARD),
        "answers: 2B is no frame of the board 'After'.",
    ),
]


def written(name: str, content: bytes = b"") -> Path:
    path = Path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def drawn(name: str) -> Path:
    path = written(name)
    Image.fromarray(np.full((4, 6, 3), 90, np.uint8)).save(path)
    return path


def planned(*sources: str | Path, folder: str = "out", suffix: str | None = None) -> object:
    return plan(sources, Path(folder), lambda _: [(LOOK,)], suffix=suffix)


def run(**how: object) -> object:
    batch = planned_batch([drawn("a.png")], Path("out"), fg.Recipe(looks=(LOOK,)))
    return list(batch.run(**how))  # type: ignore[arg-type]


def over(out: str) -> object:
    return render_file(drawn("a.png"), Path(out), fg.Recipe(looks=(LOOK,)))


FILES: list[Case] = [
    (
        lambda: merge_files([], Path("a.png")),
        "a.png: cannot hold light above white; end its name with .exr.",
    ),
    (
        lambda: merge_files([drawn("a.png"), drawn("b.png")], Path("a.exr")),
        "a.png: does not say time, f-number and ISO; say the exposures with --stops.",
    ),
    (
        lambda: merge_files([drawn("a.png"), drawn("b.png")], Path("a.exr"), stops="0;2"),
        "stops must be numbers such as 0,-3,-6, got '0;2'.",
    ),
    (
        lambda: map_of(written("maps/b.npy").parent, Path("a.png")),
        "maps: holds no distance map for a.png.",
    ),
    (
        lambda: map_of(
            written("maps/a.npy").parent, written("maps/a_depth.npy").with_name("a.png")
        ),
        "maps: holds several distance maps for a.png.",
    ),
    (
        lambda: check_may_write(Path("a.png"), [drawn("a.png")], overwrite=True),
        "a.png: is the still itself, which is never overwritten; choose another file.",
    ),
    (
        lambda: check_may_write(drawn("b.png"), [drawn("a.png")], overwrite=False),
        "b.png: exists already; choose another file or allow overwriting.",
    ),
    (lambda: over("no/b.png"), "no/b.png: there is no folder no. Make it first."),
    (lambda: found_stills([""]), "source must be a still, folder or pattern, got ''."),
    (
        lambda: found_stills([]),
        "sources must be at least one still, folder or pattern, got [].",
    ),
    (lambda: found_stills(["nowhere"]), "nowhere: no such file or folder."),
    (
        lambda: found_stills(["no*.png"]),
        "no*.png: matches no still that frontglass can read.",
    ),
    (
        lambda: found_stills([written("day/a.txt").parent]),
        "day: holds no still that frontglass can read.",
    ),
    (
        lambda: planned(drawn("day/a.png").parent, folder="day"),
        "day: is the folder of the stills, which are never overwritten; choose another with --out.",
    ),
    (
        lambda: planned("day", drawn("day/out/a.png"), folder="day/out"),
        "day/out: holds every still given; choose another with --out.",
    ),
    (
        lambda: planned(drawn("a.png"), suffix="bmp"),
        "format must be one of .jpg, .jpeg, .png, .tif, .tiff, .exr, .hdr, got 'bmp'.",
    ),
    (lambda: run(processes=0), "jobs must be >= 1, got 0."),
    (lambda: run(patience_s=0), "patience must be > 0, got 0."),
    (
        lambda: run(processes=2, cluster="local:1"),
        "jobs must be left out beside a cluster, got 2.",
    ),
    (
        lambda: Manifest(written(MANIFEST_NAME, b"{}")),
        "frontglass-batch.json: is no manifest of this version; move it away to start afresh.",
    ),
    (
        lambda: Manifest(written(f"{MANIFEST_NAME}/a").parent),
        "frontglass-batch.json: cannot be read (Is a directory).",
    ),
    (
        lambda: read_board(Path("board.html")),
        "board.html: cannot be read (No such file or directory).",
    ),
    (
        lambda: read_board(written("board.html", b"\xff")),
        "board.html: cannot be read (it is no text).",
    ),
    (
        lambda: read_board(written("board.html", b"<p>")),
        "board.html: is no board of this version; name the board.html that mood made.",
    ),
    (
        lambda: read_answers(written("a.txt", b"1" * 1_000_001), BOARD),
        "a.txt: is a short text; this one has more than 1 MB.",
    ),
    (
        lambda: read_answers(Path("a.txt"), BOARD),
        "a.txt: cannot be read (No such file or directory).",
    ),
    (
        lambda: read_answers(written("a.txt", b"1" * 1_000_000), BOARD),
        "a.txt: names no board; it has no line such as 'frontglass board 0f3a9c21'.",
    ),
]


@pytest.mark.parametrize(("refused", "line"), [*FRAMES, *SHEETS, *FILES])
def test_what_is_refused_is_told_in_one_whole_line(
    refused: Callable[[], object], line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(fg.FrontglassError) as error:
        refused()
    assert str(error.value) == line


CHOICES: list[tuple[Callable[[Any], object], str]] = [
    (lambda one: fg.Picture(radiance=STILL.radiance, past_white=one), "past_white"),
    (lambda one: fg.Picture(radiance=STILL.radiance, primaries=one), "primaries"),
    (lambda one: fg.Picture.from_array(STILL.radiance, curve=one), "curve"),
    (lambda one: fg.Picture.from_array(STILL.radiance, non_finite=one), "non_finite"),
    (lambda one: fg.Encoding(container=one, sample="uint8"), "container"),  # type: ignore[arg-type]
    (lambda one: fg.Encoding(container="PNG", sample=one), "sample"),  # type: ignore[arg-type]
    (fg.Encoding.srgb, "sample"),
    (lambda one: fg.OwnDepth(depth_m=STILL.radiance[..., 0], scale=one), "scale"),
    (lambda one: fg.Recovery(lamp_range=one), "lamp range"),
    (lambda one: fg.Framing(lens_from=one), "lens_from"),
    (lambda one: fg.Space(depth_kind=one), "depth_kind"),
    (lambda one: fg.Recipe(surround=one), "surround"),
    (lambda one: fg.Recipe(non_finite=one), "non_finite"),
    (lambda one: fg.Recipe(past_white=one), "past_white"),
    (lambda one: fg.Recipe(gain_map=one), "gain_map"),
    (lambda one: fg.Recipe(damage=one), "damage"),
    (lambda one: fg.Recipe(compensate=one), "compensate"),
    (lambda one: fg.Recipe(grain=one), "grain"),
    (lambda one: fg.Recipe(exposure_stops=one), "exposure_stops"),
    (lambda one: fg.merged_bracket([STILL, STILL], [0, 1], response=one), "response"),
    (lambda one: fg.merged_bracket([STILL, STILL], [0, 1], alignment=one), "alignment"),
    (lambda one: render(surround=one), "surround"),
    (lambda one: fg.compare(STILL, [LOOK], camera=CAMERA, seen_on=one), "seen_on"),
    (lambda one: fg.compare(STILL, [LOOK], camera=CAMERA, surround=one), "surround"),
    (lambda one: fg.compare(STILL, [LOOK], camera=CAMERA, width_px=one), "width_px"),
    (lambda one: fg.ladder(STILL, LOOK, camera=CAMERA, seen_on=one), "seen_on"),
    (lambda one: fg.ladder(STILL, LOOK, camera=CAMERA, surround=one), "surround"),
    (lambda one: fg.ladder(STILL, LOOK, camera=CAMERA, width_px=one), "width_px"),
    (lambda one: sway(STILL, [LOOK], camera=CAMERA, surround=one), "surround"),
    (lambda one: sway(STILL, [LOOK], camera=CAMERA, pan_deg=one), "pan_deg"),
    (lambda one: sway(STILL, [LOOK], camera=CAMERA, exaggerate=one), "exaggerate"),
    (lambda one: sway(STILL, [LOOK], camera=CAMERA, width_px=one), "width_px"),
    (lambda one: plan(["a.png"], Path("out"), lambda _: [], naming=one), "naming"),
]


@pytest.mark.parametrize(("make", "name"), CHOICES)
def test_a_wrong_choice_is_named_with_what_was_given(make: Callable[[Any], object], name: str):
    with pytest.raises(fg.ParameterError) as error:
        make("nonsense")
    assert error.value.name == name
    assert error.value.got == "nonsense"
    assert str(error.value).startswith(f"{name} must be ")

"""What is not touched stays as it was written: comments, order, spacing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import frontglass as fg
from frontglass.errors import FrontglassError, ParameterError
from frontglass.scene import changes
from frontglass.scene.editing import edit_scene
from frontglass.scene.reading import read_scene, scene_from_toml
from frontglass.scene.writing import changed_toml

COMMENTED = """\
# Gate 2, eleven at night.
title = "Gate 2" # working title
format = 1

# The kiosk
[[still]] # from the phone
white = 20 # by spot meter
file = "b.jpg"

  # the globe over the counter
  [[still.lamp]]
  kind = "globe" # opal
  at = [ 14, 41 ]

# before the kiosk
[[still]]
file = "a.jpg"
watch = [{ name = "face", region = [1, 2, 3, 4] }]

# what we like
[[choice]]
looks = [
  "harbour-night:1/4", # cool
]
# the end
"""
LAMP = fg.SceneLamp(at_px=(9, 9), kind="bulb")


def scene_of(text: str) -> fg.Scene:
    return scene_from_toml(text, Path("scene.toml"))


def after(text: str, new: fg.Scene) -> str:
    written = changed_toml(text, scene_of(text), new)
    assert scene_of(written) == new
    return written


def still_changed(scene: fg.Scene, file: str, **values) -> fg.Scene:
    return changes.changed_still(scene, file, lambda one: replace(one, **values))


class TestComments:
    def test_no_change_is_no_change(self):
        assert after(COMMENTED, scene_of(COMMENTED)) == COMMENTED

    @pytest.mark.parametrize(
        "change",
        [
            lambda s: still_changed(s, "b.jpg", exposure_stops=1.0, note="\u00e9\n\u706f"),
            lambda s: still_changed(s, "b.jpg", white_cd_per_m2=30.5),
            lambda s: still_changed(s, "b.jpg", lamps=(*s.stills[0].lamps, LAMP)),
            lambda s: still_changed(s, "a.jpg", lamps=(LAMP,), distances=()),
            lambda s: still_changed(
                s, "a.jpg", watched=(fg.SceneWatch(name="hair", region_px=(1, 1, 5, 5)),)
            ),
            lambda s: still_changed(
                s, "b.jpg", lamps=(replace(s.stills[0].lamps[0], kind="moon"),)
            ),
            lambda s: replace(s, title="Gate 3", surround="dark", camera=fg.SceneCamera(lens="35")),
            lambda s: replace(
                s, stills=(*s.stills, fg.SceneStill(file='c "\\\n.jpg', lamps=(LAMP,)))
            ),
            lambda s: changes.with_choice(
                s, fg.SceneChoice(looks=("fine-net:1",), stills=("a.jpg",))
            ),
            lambda s: changes.with_choice(s, replace(s.choices[0], hearts=2, why="It's cool.")),
        ],
    )
    def test_every_line_of_before_is_there_but_what_changed(self, change):
        new = change(scene_of(COMMENTED))
        written = after(COMMENTED, new)
        comments = [line.partition("#")[2] for line in COMMENTED.splitlines() if "#" in line]
        assert [text for text in comments if f"#{text}" not in written] == []
        lost = [line for line in COMMENTED.splitlines() if line not in written.splitlines()]
        assert len(lost) <= 2
        # What is changed once more is changed there, and changed back leaves no trace but order.
        assert scene_of(changed_toml(written, new, scene_of(COMMENTED))) == scene_of(COMMENTED)

    def test_what_is_taken_out_takes_nothing_else_with_it(self):
        scene = scene_of(COMMENTED)
        bare = after(COMMENTED, still_changed(scene, "b.jpg", lamps=(), white_cd_per_m2=None))
        assert "globe" not in bare.replace("the globe over", "")
        assert bare.startswith('# Gate 2, eleven at night.\ntitle = "Gate 2" # working title\n')
        assert "# from the phone" in bare
        gone = after(COMMENTED, replace(scene, choices=()))
        assert "harbour-night" not in gone
        assert "# before the kiosk" in gone or "# the end" in gone
        short = after(COMMENTED, changes.without_still(scene, "a.jpg"))
        assert "a.jpg" not in short

    def test_a_new_key_stands_with_the_others(self):
        written = after(COMMENTED, replace(scene_of(COMMENTED), surround="dark"))
        assert 'format = 1\nsurround = "dark"\n\n# The kiosk\n' in written

    def test_line_endings_and_a_link_stay(self, tmp_path):
        path, link = tmp_path / "real.toml", tmp_path / "scene.toml"
        path.write_bytes(COMMENTED.replace("\n", "\r\n").encode())
        link.symlink_to(path)
        edit_scene(link, lambda scene: replace(scene, title="Gate 3"))
        assert link.is_symlink()
        lines = path.read_bytes().split(b"\n")[:-1]
        assert sum(line.endswith(b"\r") for line in lines) >= len(lines) - 1
        assert read_scene(link).title == "Gate 3"


@pytest.mark.parametrize(
    "text",
    [
        'format = 1\nstill = [{file = "a.jpg", lamp = [{at=[1,2]}]}, {file="b.jpg"}]\n',
        'format = 1\ncamera.lens = "50mm"\n[[still]]\nfile="a.jpg"',
        'format = 1\ncamera = { lens = "50mm" }\n[[still]]\nfile="a.jpg"\n',
        'format=1\n [[still]]\n file="a.jpg"\n  [[still.lamp]]\n  at=[1,2]\n[camera]\nlens="2"',
        'format = 1\n[[still]]\nfile="a.jpg"\n[[choice]]\nlooks="x:1"\n[[still]]\nfile="b.jpg"\n',
        '"format" = 1\n[["still"]]\n\'file\' = "a.jpg"\n',
    ],
)
def test_any_layout_that_toml_allows_is_changed_in_place(text):
    scene = scene_of(text)
    still = fg.SceneStill(file="z.jpg", white_cd_per_m2=3, lamps=(LAMP,))
    choice = fg.SceneChoice(looks=("y:1",), stills=("a.jpg",))
    for new in (
        still_changed(scene, "a.jpg", lamps=(*scene.stills[0].lamps, LAMP), white_cd_per_m2=3),
        replace(scene, title="x", camera=replace(scene.camera, stop="4")),
        changes.with_still(scene, still),
        changes.with_choice(scene, choice),
        replace(changes.without_still(scene, "a.jpg"), camera=fg.SceneCamera(), choices=()),
    ):
        after(text, new)


# Names as anybody might give them; what no file name or no line may hold is not among them.
NAMES = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0/"), min_size=1, max_size=12
).filter(lambda name: name not in {".", ".."})
LINES = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1, max_size=20
).filter(str.strip)
PIXELS = st.integers(0, 95)
PLACES = st.tuples(PIXELS, st.integers(0, 63))
METRES = st.floats(0.1, 1e4)


def few(parts, name):
    return st.lists(parts, max_size=3, unique_by=lambda part: getattr(part, name)).map(tuple)


def maybe(values):
    return st.none() | values


STILLS = st.builds(
    fg.SceneStill,
    file=NAMES,
    size_px=st.just((96, 64)),
    white_cd_per_m2=maybe(st.floats(1e-3, 1e9)),
    others=maybe(st.sampled_from(["bulb", "off", 3.5])),
    exposure_stops=maybe(st.floats(-40, 40)),
    note=maybe(st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20)),
    lens=maybe(st.sampled_from(["50mm", "26"])),
    lamps=few(
        st.builds(
            fg.SceneLamp,
            at_px=PLACES,
            kind=maybe(st.sampled_from(["bulb", "sun"])),
            distance_m=maybe(METRES),
            in_haze=st.booleans(),
        ),
        "at_px",
    ),
    distances=few(st.builds(fg.SceneDistance, at_px=PLACES, distance_m=METRES), "at_px"),
    watched=few(st.builds(fg.SceneWatch, name=LINES, region_px=st.just((1, 2, 30, 40))), "name"),
)
SCENES = st.builds(
    fg.Scene,
    title=maybe(LINES),
    surround=maybe(st.sampled_from(["mirror", "dark"])),
    camera=st.builds(
        fg.SceneCamera, stop=maybe(st.just("2.8")), taking=maybe(st.just("50mm,super35"))
    ),
    stills=few(STILLS, "file").filter(lambda all_: len({Path(s.file) for s in all_}) == len(all_)),
    choices=few(
        st.builds(
            fg.SceneChoice,
            looks=st.sampled_from([("fine-net:1",), ("late-tram:1/4", "fine-net:2"), ("a.toml",)]),
            why=maybe(LINES),
            hearts=maybe(st.integers(0, 9)),
        ),
        "looks",
    ),
)


def normal(scene: fg.Scene) -> fg.Scene:
    """The scene with its stills and what each has in one order: new ones are written last."""

    def placed(marks):
        return tuple(sorted(marks, key=lambda mark: mark.at_px))

    stills = (
        replace(
            one,
            lamps=placed(one.lamps),
            distances=placed(one.distances),
            watched=tuple(sorted(one.watched, key=lambda part: part.name)),
        )
        for one in scene.stills
    )
    return replace(
        scene,
        stills=tuple(sorted(stills, key=lambda one: one.file)),
        choices=tuple(sorted(scene.choices, key=str)),
    )


@settings(max_examples=40)
@given(SCENES)
def test_any_scene_is_read_as_it_was_written(scene):
    assert fg.Scene.from_toml(scene.to_toml()) == scene


@settings(max_examples=40)
@given(SCENES, SCENES)
def test_any_scene_becomes_any_other(old, new):
    head = "# head\n"
    text = head + old.to_toml()
    written = changed_toml(text, old, new)
    assert written.startswith(head)
    assert normal(scene_of(written)) == normal(new)
    for line in text.splitlines():
        # A key whose value is the same in both is not written again.
        if line.startswith("title") and old.title == new.title:
            assert line in written.splitlines()


class TestChanges:
    AREAS = ((10, 10, 20, 20), (60, 40, 4, 4))

    def still(self, *lamps):
        return fg.SceneStill(file="a.jpg", size_px=(96, 64), lamps=lamps)

    def test_a_lamp_takes_the_place_of_what_stood_in_its_area(self):
        found = [fg.SceneLamp(at_px=at) for at in ((18, 18), (62, 42), (90, 5))]
        named = fg.SceneLamp(at_px=(26, 12), kind="globe")
        one = changes.with_lamps(self.still(*found), [named], self.AREAS)
        assert one.lamps == (named, *found[1:])
        again = replace(named, at_px=(20, 20), kind="bulb")
        assert changes.with_lamps(one, [again], self.AREAS).lamps == (again, *found[1:])
        # Where nothing clips, only the same pixel is the same lamp.
        other = fg.SceneLamp(at_px=(90, 6), distance_m=3)
        assert len(changes.with_lamps(one, [other], self.AREAS).lamps) == 4

    def test_a_distance_stays_where_none_is_told(self):
        one = changes.with_lamps(
            self.still(fg.SceneLamp(at_px=(18, 18), distance_m=3)),
            [fg.SceneLamp(at_px=(18, 19), kind="globe")],
            self.AREAS,
        )
        assert one.lamps == (fg.SceneLamp(at_px=(18, 19), kind="globe", distance_m=3),)

    def test_the_nearest_mark_is_taken_out_and_none_that_is_far(self):
        lamps = [fg.SceneLamp(at_px=at) for at in ((18, 18), (24, 18))]
        assert changes.without_placed("lamp", lamps, (22, 18)) == (lamps[0],)
        with pytest.raises(ParameterError, match=r"a lamp is kept \(18,18; 24,18\), got '60,18'"):
            changes.without_placed("lamp", lamps, (60, 18))

    def test_a_still_that_a_choice_is_for_stays(self):
        scene = fg.Scene(
            stills=(fg.SceneStill(file="a.jpg"),),
            choices=(fg.SceneChoice(looks=("fine-net:1",), stills=("a.jpg",)),),
        )
        with pytest.raises(ParameterError, match="fine-net:1 was kept for it"):
            changes.without_still(scene, "a.jpg")
        assert changes.renamed_still(scene, "a.jpg", "b.jpg").choices[0].stills == ("b.jpg",)

    def test_a_choice_is_found_by_its_looks_if_that_is_one(self):
        stills = tuple(fg.SceneStill(file=name) for name in ("a.jpg", "b.jpg"))
        kept = [fg.SceneChoice(looks=("fine-net:1",), stills=(s.file,)) for s in stills]
        scene = fg.Scene(stills=stills, choices=tuple(kept))
        with pytest.raises(ParameterError, match="say which"):
            changes.without_choice(scene, fg.SceneChoice(looks=("fine-net:1",)))
        one = changes.without_choice(scene, kept[0])
        assert one.choices == (kept[1],)
        assert changes.without_choice(one, fg.SceneChoice(looks=("fine-net:1",))).choices == ()


def test_what_moves_takes_its_remarks_along():
    text = (
        "format = 1\n\n[[choice]]\nlooks = 'late-tram:1' # warm\n\n"
        "[[choice]]\nlooks = 'wet-quay:1' # cold\nwhy = 'Rain.'"
    )
    old = scene_of(text)
    new = replace(old, choices=old.choices[::-1])
    written = changed_toml(text, old, new)
    assert scene_of(written) == new
    assert written.index("# cold") < written.index("why") < written.index("# warm")


def test_a_text_that_cannot_be_changed_in_place_is_left_alone(tmp_path, monkeypatch):
    path = tmp_path / "scene.toml"
    path.write_text(COMMENTED)
    monkeypatch.setattr("frontglass.scene.writing.changed_toml", lambda text, *_: text)
    with pytest.raises(FrontglassError, match="change it by hand"):
        edit_scene(path, lambda scene: replace(scene, title="Gate 3"))
    assert path.read_text() == COMMENTED

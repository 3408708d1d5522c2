"""Files appear whole or not at all, whatever stops their writing."""

from __future__ import annotations

import os
import stat
import sys

import pytest

from frontglass.errors import PictureFileError
from frontglass.files import whole

BEFORE, AFTER = b"before", b"after, and longer"


def interrupted_at_line(number: int):
    """Trace that raises an interrupt at the so-manieth line run in the module."""
    left = number

    def trace(frame, event, _):
        nonlocal left
        if frame.f_code.co_filename != whole.__file__:
            return None
        if event == "line":
            left -= 1
            if left == 0:
                raise KeyboardInterrupt
        return trace

    return trace


@pytest.mark.parametrize("stands_there", [False, True])
def test_an_interrupt_at_any_line_leaves_the_old_file_or_the_new_one(tmp_path, stands_there):
    ends = set()
    for number in range(1, 100):
        folder = tmp_path / str(number)
        folder.mkdir()
        path = folder / "still.png"
        if stands_there:
            path.write_bytes(BEFORE)
        earlier = sys.gettrace()
        sys.settrace(interrupted_at_line(number))
        try:
            whole.write_bytes_whole(path, AFTER)
            ends.add("ran through")
        except KeyboardInterrupt:
            ends.add("interrupted")
        finally:
            sys.settrace(earlier)
        found = {file.name: file.read_bytes() for file in folder.iterdir()}
        whole_files = [{path.name: AFTER}, {path.name: BEFORE} if stands_there else {}]
        assert found in whole_files, number
    assert ends == {"ran through", "interrupted"}


def test_a_failure_while_writing_leaves_the_old_file(tmp_path):
    path = tmp_path / "still.png"
    path.write_bytes(BEFORE)

    def fail(beside: str) -> None:
        with open(beside, "wb") as file:
            file.write(AFTER)
        raise OSError(28, "No space left on device")

    with pytest.raises(PictureFileError, match="cannot be written: No space left"):
        whole.write_whole(path, fail)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
    assert path.read_bytes() == BEFORE


@pytest.mark.skipif(os.name == "nt", reason="rights of Unix files")
def test_a_new_file_gets_the_rights_that_any_new_file_gets(tmp_path):
    path, plain = tmp_path / "still.png", tmp_path / "plain"
    whole.write_bytes_whole(path, AFTER)
    plain.touch()
    assert stat.S_IMODE(path.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


def test_a_name_of_wide_letters_fits(tmp_path):
    path = tmp_path / ("\N{GREEK SMALL LETTER OMEGA}" * 120 + ".png")
    whole.write_bytes_whole(path, AFTER)
    assert path.read_bytes() == AFTER

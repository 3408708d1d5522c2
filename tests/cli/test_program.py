"""The program as a process: start-up, pipes, interrupts, exit statuses."""

from __future__ import annotations

import contextlib
import json
import os
import platform
import signal
import subprocess
import sys
import threading
import time

import pytest
from typer.testing import CliRunner

from frontglass.cli.app import app

FRONTGLASS = [sys.executable, "-m", "frontglass"]


def test_help_loads_nothing_that_takes_time():
    code = (
        "import sys; sys.argv = ['frontglass', '--help']\n"
        "from frontglass.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(*{name.partition('.')[0] for name in sys.modules})"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(run.stdout.splitlines()[-1].split())
    assert "typer" in loaded
    assert loaded.isdisjoint({"numpy", "scipy", "cv2", "PIL", "OpenEXR", "rich"})


def test_a_still_goes_through_a_real_process(shoot, tmp_path):
    still, out = shoot("scout day/café.png"), tmp_path / "out ü.png"
    words = ["apply", still, "--look", "harbour-night:1/4", "-o", out]
    run = subprocess.run([*FRONTGLASS, *words], capture_output=True, text=True, check=False)
    assert (run.returncode, run.stdout) == (0, f"{out}\n")
    assert out.is_file()


def test_errors_are_one_line_and_status_one(tmp_path):
    words = ["apply", tmp_path / "none.png", "--look", "harbour-night"]
    run = subprocess.run([*FRONTGLASS, *words], capture_output=True, text=True, check=False)
    assert run.returncode == 1
    assert run.stderr.count("\n") == 1
    assert "Traceback" not in run.stderr


def test_a_reader_that_leaves_early_is_no_error_of_ours():
    reading, writing = os.pipe()
    os.close(reading)
    run = subprocess.run(
        [*FRONTGLASS, "looks", "--json"], stdout=writing, stderr=subprocess.PIPE, check=False
    )
    os.close(writing)
    assert run.returncode == 1
    assert run.stderr == b""


def test_nothing_but_results_is_said_in_a_pipe(shoot, tmp_path):
    for n in range(3):
        shoot(f"in/{n}.png", seed=n)
    words = ["batch", tmp_path / "in", "--look", "harbour-night", "--lens", "50", "--stop", "2.8"]
    words += ["--sensor", "super35", "-o", tmp_path / "out", "--jobs", "2"]
    run = subprocess.run([*FRONTGLASS, *words], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    out = tmp_path / "out"
    assert run.stdout == f"3 rendered; in {out}\n{out / 'contact.pdf'}\n"


@pytest.mark.skipif(os.name == "nt", reason="opens a Unix terminal")
@pytest.mark.parametrize("command", ["batch", "ladder"])
def test_a_terminal_sees_how_far_it_is(shoot, tmp_path, command):
    import pty

    words = [command, shoot("in/a.png"), "--look", "harbour-night", "-o", tmp_path / "out.png"]
    words += ["--jobs", "1", "--patience", "inf"] if command == "batch" else []
    ours, theirs = pty.openpty()
    seen = []

    def read() -> None:
        with contextlib.suppress(OSError):  # its other end is closed
            while True:
                seen.append(os.read(ours, 4096))

    reader = threading.Thread(target=read)
    reader.start()
    try:
        run = subprocess.run(
            [*FRONTGLASS, *words], stdout=subprocess.PIPE, stderr=theirs, text=True, check=True
        )
    finally:
        os.close(theirs)
        reader.join()
        os.close(ours)
    total = 1 if command == "batch" else 5
    assert f"{total}/{total}" in b"".join(seen).decode()
    assert run.stdout.count("\n") == (2 if command == "batch" else 1)


@pytest.mark.skipif(os.name == "nt", reason="sends an interrupt as a Unix terminal does")
@pytest.mark.parametrize("how", ["--jobs 1 --patience inf", "--jobs 2"])
def test_an_interrupt_leaves_whole_files_and_a_batch_that_goes_on(shoot, tmp_path, how):
    out, count = tmp_path / "out", 9
    for n in range(count):
        shoot(f"in/{n:02}.png", seed=n, width=420, height=280)
    words = [*FRONTGLASS, "batch", tmp_path / "in", "--look", "harbour-night", "-o", out]
    words += ["--no-contact", *how.split()]
    first = subprocess.Popen(
        words,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # What a shell runs in the background ignores interrupts, and so would what it starts.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    deadline = time.monotonic() + 60
    while len(list(out.glob("*.png"))) < 2 and time.monotonic() < deadline:
        time.sleep(0.005)
    os.killpg(first.pid, signal.SIGINT)  # a terminal interrupts the whole group
    _, said = first.communicate(timeout=60)
    assert first.returncode == 130, said
    assert said.endswith("interrupted.\n")
    assert "Traceback" not in said
    left = {path.name for path in out.iterdir()} - {"frontglass-batch.json"}
    assert left
    assert left < {f"{n:02}_harbour-night_1.png" for n in range(count)}
    # In this process: what goes on is what lies there.
    again = [*map(str, words[3:9]), "--no-contact", "--jobs", "1", "--patience", "inf", "--json"]
    second = CliRunner().invoke(app, again)
    ended = json.loads(second.stdout)
    assert ended["rendered"] + ended["done_before"] == count
    assert ended["done_before"] >= 1
    assert sorted(path.stem[:2] for path in out.glob("*.png")) == [f"{n:02}" for n in range(count)]


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_memory_that_was_freed_is_handed_out_again():
    code = (
        "import os, resource\n"
        "os.environ['NUMPY_MADVISE_HUGEPAGE'] = '0'\n"
        "import numpy as np\n"
        "from frontglass.heap import keep_freed_memory\n"
        "keep_freed_memory()\n"
        "def pages():\n"
        "    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt\n"
        "    np.empty(1 << 26, np.uint8).fill(1)\n"
        "    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before\n"
        "print(pages(), pages())\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    first, second = map(int, ended.stdout.split())
    assert first > 30
    assert second < first / 10

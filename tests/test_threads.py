"""Work shared among threads."""

from __future__ import annotations

import os
import threading

import pytest

from frontglass.threads import for_each


def test_every_part_is_done_once_and_errors_are_raised_here():
    done, turn = [], threading.Lock()

    def do(part: int) -> None:
        with turn:
            done.append(part)
        if part == 30:
            raise ValueError(part)

    for_each(do, range(20))
    assert sorted(done) == list(range(20))
    with pytest.raises(ValueError, match="30"):
        for_each(do, range(20, 60))
    assert len(done) == len(set(done))


def test_parts_may_be_shared_within_parts_by_many_callers_at_once():
    done, turn = [], threading.Lock()

    def inner(part: tuple[int, int, int]) -> None:
        with turn:
            done.append(part)

    def outer(part: tuple[int, int]) -> None:
        for_each(inner, [(*part, n) for n in range(5)])

    def caller(number: int) -> None:
        for_each(outer, [(number, n) for n in range(7)])

    callers = [threading.Thread(target=caller, args=(n,), daemon=True) for n in range(6)]
    for one in callers:
        one.start()
    for one in callers:
        one.join(timeout=60)
    assert not any(one.is_alive() for one in callers)
    assert len(done) == len(set(done)) == 6 * 7 * 5


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_a_forked_process_shares_its_own_work():
    for_each(lambda part: None, range(100))
    child = os.fork()
    if not child:
        done: list[int] = []
        for_each(done.append, range(100))
        os._exit(0 if sorted(done) == list(range(100)) else 1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0

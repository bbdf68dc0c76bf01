"""Worker processes: one that dies, outgrows its memory or takes too long is told to its user; nobody else notices."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from functools import partial
from operator import truediv
from typing import Any

import numpy as np
import pytest

from dashboard import workers
from dashboard.workers import Lost, can_carry, carried


def process() -> int:
    return os.getpid()


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def grow(megabytes: int) -> int:
    return int(np.ones(megabytes * 131_072).sum())  # of 8 bytes each, and written to


def last(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    yield
    workers.close()


def test_work_is_done_elsewhere_and_its_process_stays_for_the_next() -> None:
    first = carried(partial(process))
    assert first != os.getpid() and carried(partial(process)) == first


def test_an_error_of_the_work_is_the_callers_and_the_process_stays() -> None:
    first = carried(partial(process))
    with pytest.raises(ZeroDivisionError):
        carried(partial(truediv, 1, 0))
    assert carried(partial(process)) == first


def test_one_that_dies_is_told_in_a_line_and_another_is_not_disturbed() -> None:
    given: list[Any] = []
    other = threading.Thread(target=lambda: given.append(carried(partial(last, 2.0))))
    other.start()
    with pytest.raises(Lost, match="ended unexpectedly") as told:
        carried(partial(die))
    assert "\n" not in str(told.value)
    other.join(60)
    assert len(given) == 1 and given[0] != os.getpid()
    assert carried(partial(grow, 1)) == 131_072


def test_one_that_outgrows_its_memory_says_the_limit_and_how_to_raise_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(workers.MEMORY, "200")
    with pytest.raises(Lost, match=f"more than 200 MB .* {workers.MEMORY}"):
        carried(partial(grow, 2000))
    assert carried(partial(grow, 10)) == 1_310_720


def test_one_that_takes_too_long_or_whose_session_has_ended_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    pid = carried(partial(process))
    begun = time.monotonic()
    with pytest.raises(Lost, match="Cancelled"):
        carried(partial(last, 300), stop=lambda: time.monotonic() - begun > 0.5)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    monkeypatch.setenv(workers.SECONDS, "0.5")
    with pytest.raises(Lost, match="longer than 0 s|longer than 1 s"):
        carried(partial(last, 300))


def test_what_another_process_cannot_find_is_not_sent_there() -> None:
    assert can_carry(partial(process))
    assert not can_carry(process) and not can_carry(partial(lambda: 1)) and not can_carry(partial("".join))


def test_the_methods_own_results_come_back_whole() -> None:
    from dashboard.study import Study
    from methods.choosing import choose
    from methods.shifts import shift

    study = Study()
    study.open_demo("programme", first_look=True)
    asked = partial(shift, study.selection, "electrode", confidence=0.9)
    assert can_carry(asked) and carried(asked) == asked()
    chosen = partial(choose, study.selection, half_width=0.1, repetitions=200, rng=1)
    assert can_carry(chosen)
    there, here = carried(chosen), chosen()
    assert there.best == here.best and there.rows if hasattr(there, "rows") else there.sentence == here.sentence

"""Which functions of ``methods`` a test runs through, and how long the test takes: so that a mutant costs little.

Every call is noted while a test, or a fixture that several tests share, is at work. A test that takes longer than
:data:`SLOW` is broken off and left out: it is a simulation, and would make a thousand mutants cost a day. Of a test
with many cases the first few are used.
"""

from __future__ import annotations

import json
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import pytest

from tests.mutants.places import ROOT, Place

METHODS = f"{ROOT / 'methods'}/"
#: Seconds of processor time of tests that a mutant is given before it counts as alive.
BUDGET = 4.0
#: Tests that run through whole questions, and notice any other figure.
WIDE = ("tests/contract/test_schemas", "tests/dashboard/test_answers")
#: Longest test that is used, in seconds of processor time; cases of one test function that are used.
SLOW, CASES = 3.0, 4


@dataclass
class Seen:
    """What the tests run through: processor seconds of each test, functions of each test."""

    seconds: dict[str, float] = field(default_factory=dict)
    functions: dict[str, set[str]] = field(default_factory=dict)

    def write(self, path: Path) -> None:
        """Keep it as a file."""
        rows = {n: [round(s, 4), sorted(self.functions[n])] for n, s in self.seconds.items()}
        path.write_text(json.dumps(rows), encoding="utf-8")

    @classmethod
    def read(cls, path: Path) -> Seen:
        """What was kept."""
        rows = json.loads(path.read_text(encoding="utf-8"))
        return cls({n: r[0] for n, r in rows.items()}, {n: set(r[1]) for n, r in rows.items()})

    def chosen(self, place: Place, killers: list[str], budget: float = BUDGET) -> list[str]:
        """The tests that could notice a change there, those first that noticed others and that are quick.

        At a module's own level these are all that run through any of its functions; after them come the other tests of
        the same files, since what is kept from one test to the next is not seen by the second.
        """
        whole = place.module + ":"
        if place.function:
            direct = {n for n, f in self.functions.items() if f"{whole}{place.function}" in f}
        else:
            direct = {n for n, f in self.functions.items() if any(x.startswith(whole) for x in f)}
        room = place.module.removesuffix(".py").replace("methods/", "tests/methods/").rpartition("/")[0]
        if not direct:
            direct = {n for n in self.seconds if n.startswith(room + "/")} if not place.function else set()
        files = {n.partition("::")[0] for n in direct}
        others = {n for n in self.seconds if n.partition("::")[0] in files} - direct
        out: list[str] = []
        spent = 0.0
        rank = {n: i for i, n in enumerate(reversed(killers))}
        near = sorted(direct, key=lambda n: (rank.get(n, len(rank)), not n.startswith(room), self.seconds[n]))
        wide = sorted(direct, key=lambda n: (not n.startswith(WIDE), self.seconds[n]))
        for names, most in (
            (near, 0.4 * budget),
            (wide, budget),
            (sorted(others, key=self.seconds.__getitem__), budget),
        ):
            for name in names:
                if name not in out and (spent + self.seconds[name] <= most or not out):
                    out.append(name)
                    spent += self.seconds[name]
        return out


class Tracer:
    """A plugin that notes the calls of each test; what a shared fixture calls counts for all who ask for it."""

    def __init__(self, seen: Seen) -> None:
        self.seen = seen
        self.of_fixtures: dict[Any, dict[int, CodeType]] = defaultdict(dict)
        self._into: list[dict[int, CodeType]] = [{}]

    def _call(self, frame: FrameType, event: str, arg: Any) -> None:
        self._into[-1][id(frame.f_code)] = frame.f_code

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Iterator[None]:
        """What a fixture calls."""
        self._into.append(self.of_fixtures[fixturedef.argname])
        yield
        self._into.pop()

    def run(self, item: pytest.Item, following: pytest.Item | None) -> None:
        """One test, with what it calls and its time."""
        failed = item.session.testsfailed
        self._into = [{}]
        before = time.process_time()
        signal.signal(signal.SIGPROF, _too_slow)
        signal.setitimer(signal.ITIMER_PROF, SLOW)
        sys.settrace(self._call)
        try:
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        except TimeoutError:  # between its parts
            item.session.testsfailed += 1
        finally:
            sys.settrace(None)
            signal.setitimer(signal.ITIMER_PROF, 0)
        codes = self._into[0].values()
        for name in getattr(item, "fixturenames", ()):
            codes = [*codes, *self.of_fixtures[name].values()]
        called = {n for n in map(_function, codes) if n}
        if item.session.testsfailed == failed and called:
            self.seen.seconds[item.nodeid] = time.process_time() - before
            self.seen.functions[item.nodeid] = called


def some_cases(items: list[pytest.Item]) -> list[pytest.Item]:
    """The first cases of every test function."""
    met: dict[str, int] = defaultdict(int)
    out = []
    for item in items:
        name = item.nodeid.partition("[")[0]
        met[name] += 1
        if met[name] <= CASES or name.startswith(WIDE):
            out.append(item)
    return out


def _too_slow(number: int, frame: FrameType | None) -> None:
    raise TimeoutError("slower than a mutant's test may be")


def _function(code: CodeType) -> str:
    """The outermost function of ``methods`` that a code belongs to; empty for others'."""
    if not code.co_filename.startswith(METHODS):
        return ""
    return f"methods/{code.co_filename[len(METHODS) :]}:{code.co_qualname.partition('.<locals>')[0]}"

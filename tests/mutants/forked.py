"""A mutant costs its tests alone: everything is imported once, and a process is forked for each."""

from __future__ import annotations

import gc
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import resource
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import pytest

from tests.mutants.places import ROOT, Place, changed
from tests.mutants.seen import Seen, Tracer, some_cases

#: Most memory of a mutant in bytes, so that one that counts to infinity harms nobody.
MEMORY = 6 << 30
WORDS = ["-q", "-s", "-n", "0", "--no-header", "-p", "no:rerunfailures", "-p", "no:benchmark"]


def in_a_fork(work: Callable[[Callable[[Any], None]], None], seconds: float) -> list[Any] | None:
    """What ``work`` says in a process of its own; None when it did not end in time, or died."""
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.setsid()
            nothing = os.open(os.devnull, os.O_RDWR)
            for number in (0, 1, 2):
                os.dup2(nothing, number)
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            work(lambda said: os.write(writing, (json.dumps(said) + "\n").encode()))  # type: ignore[arg-type,func-returns-value]
            os.write(writing, b'"end"\n')
        finally:
            os._exit(0)
    os.close(writing)
    text, ended = b"", False
    os.set_blocking(reading, False)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            piece = os.read(reading, 1 << 20)
            text += piece
            if text.endswith(b'"end"\n'):
                ended = True
                break
            if not piece and os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT):
                break
        except BlockingIOError:
            pass
        time.sleep(0.005)
    try:
        os.killpg(pid, signal.SIGKILL)  # with whatever it started
    except ProcessLookupError:
        os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    os.close(reading)
    return [json.loads(line) for line in text.decode().splitlines()][:-1] if ended else None


def code_of(tree: Any, place: Place) -> CodeType:
    """The changed code of the function around a place, or of the whole module."""
    whole = compile(tree, str(ROOT / place.module), "exec")
    if not place.function:
        return whole
    within = [whole]
    while within:
        code = within.pop()
        for inner in code.co_consts:
            if isinstance(inner, CodeType):
                if inner.co_qualname == place.function and inner.co_firstlineno == place.first:
                    return inner
                within.append(inner)
    raise LookupError(place.name)


class Collected:
    """A plugin that collects the tests once and then does as it is told: trace them, or try mutants."""

    def __init__(self, work: Callable[[Collected], None]) -> None:
        self.work = work
        self.session: Any = None

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Instead of running all tests."""
        self.session = session
        _uncaged()
        self.work(self)
        return True

    def run(self, names: list[str]) -> str | None:
        """Run these tests until one fails: its name, or None."""
        by_name = {i.nodeid: i for i in self.session.items}
        items = [by_name[n] for n in names if n in by_name]
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.session.testsfailed:
                return str(item.nodeid)
        return None

    def trace(self, path: Path) -> None:
        """Run the tests, and note what each runs through; goes on behind the last file that was noted."""
        tracer = Tracer(Seen.read(path) if path.exists() else Seen())
        self.session.config.pluginmanager.register(tracer)
        noted = [n.partition("::")[0] for n in tracer.seen.seconds]
        done = set(noted) - set(noted[-1:])
        items = [i for i in some_cases(self.session.items) if i.nodeid.partition("::")[0] not in done]
        items = [i for i in items if "in_cage" not in i.path.read_text(encoding="utf-8")]
        for item, following in zip(items, [*items[1:], None], strict=True):
            if following is None or following.path != item.path:
                tracer.seen.write(path)
            tracer.run(item, following)
        tracer.seen.write(path)
        path.with_suffix(".done").touch()

    def functions(self) -> dict[tuple[str, str, int], list[FunctionType]]:
        """The functions of ``methods`` that live in this process, by file, name and first line."""
        out: dict[tuple[str, str, int], list[FunctionType]] = {}
        for thing in gc.get_objects():
            if isinstance(thing, FunctionType) and thing.__code__.co_filename.startswith(str(ROOT / "methods")):
                code = thing.__code__
                out.setdefault((code.co_filename, code.co_qualname, code.co_firstlineno), []).append(thing)
        return out


def _uncaged() -> None:
    """Files are read where the tests run: in a process of its own the reader would be the unchanged one, and slow."""
    import dashboard.cli as cli
    import methods.cage as cage
    from methods.records import read, read_all

    def together(sources: Any, *, progress: Any = None, **options: Any) -> Any:
        return read_all(sources, **options)

    cage.read_in_cage, cage.read_all_in_cage = read, together
    cli.keep_warm = lambda: None


def exchange(tree: Any, place: Place, live: dict[tuple[str, str, int], list[FunctionType]]) -> None:
    """Give the living function the changed code."""
    code = code_of(tree, place)
    for function in live[str(ROOT / place.module), place.function, place.first]:
        function.__code__ = code


def dotted(module: str) -> str:
    """A file's name as it is imported."""
    return module.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


class _Loader(importlib.machinery.SourceFileLoader):
    code: CodeType

    def get_code(self, fullname: str) -> CodeType:
        return self.code


class Instead(importlib.abc.MetaPathFinder):
    """Imports the changed module instead of the file: what stands at its own level is done then."""

    def __init__(self, place: Place, code: CodeType) -> None:
        self.name, self.path, self.code = dotted(place.module), str(ROOT / place.module), code

    def find_spec(self, fullname: str, path: Any = None, target: ModuleType | None = None) -> Any:
        """The changed module, when it is asked for."""
        if fullname != self.name:
            return None
        loader = _Loader(fullname, self.path)
        loader.code = self.code
        return importlib.util.spec_from_file_location(fullname, self.path, loader=loader)


def imported_anew(source: str, place: Place, names: list[str], seconds: float) -> list[Any] | None:
    """Try a mutant at a module's own level: nothing of ``methods`` is imported yet in this process."""

    def work(say: Callable[[Any], None]) -> None:
        sys.meta_path.insert(0, Instead(place, code_of(changed(source, place.at), place)))
        files = list(dict.fromkeys(n.partition("::")[0] for n in names))
        done: list[str | None] = ["collection"]
        plugin = Collected(lambda c: done.append(c.run(names)))
        status = pytest.main([*WORDS, *files], plugins=[plugin])
        say(done[-1] if status in (0, 1, 5) else "collection")

    return in_a_fork(work, seconds)

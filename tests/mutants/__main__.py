"""Change one thing in ``methods`` at a time and see whether the tests notice.

``python -m tests.mutants --count 1000`` tries a thousand places, drawn by ``--rng`` from all of ``methods`` (each
file by its size), and prints the share that was noticed by file, and each survivor with its line. ``--only`` takes
files or folders. Results are written one by one into ``--out`` and gone on with; ``--again`` tries the survivors once
more. What each test runs through is found first, in one slow run of the tests, and kept in ``--seen``.

A mutant lives when all tests that run through its function let it live, those first that noticed others, up to four
seconds of them, none of which takes longer than 3 s: the whole suite would notice more, never less. One process at a
time, in a copy of the tree if that is worked on: ``nice -n 19``.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import random
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from tests.mutants import forked
from tests.mutants.places import ROOT, Place, places
from tests.mutants.seen import Seen

TESTS = ["tests/methods", "tests/contract/test_schemas.py", "tests/dashboard/test_answers.py"]
#: Loaded once, before anything is forked.
LOADED = (
    "numpy pandas scipy.stats scipy.optimize scipy.special scipy.linalg scipy.integrate scipy.interpolate scipy.signal "
    "statsmodels.api openpyxl"
).split()


def drawn(only: list[str], count: int, rng: int) -> tuple[list[Place], int]:
    """Places in the order in which they are tried, and how many there are in all."""
    files = sorted({f for o in only for f in ([ROOT / o] if o.endswith(".py") else (ROOT / o).rglob("*.py"))})
    all_places = [p for f in files for p in places(f.read_text(encoding="utf-8"), str(f.relative_to(ROOT)))]
    order = random.Random(rng).sample(all_places, len(all_places))
    return order[:count], len(all_places)


def _told(rows: list[dict[str, Any]], total: int) -> str:
    by_file: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        by_file[row["module"]].append(row)
    lines = [f"{sum(r['by'] is not None for r in rows)} of {len(rows)} mutants noticed, of {total} places", ""]
    for module, group in sorted(by_file.items()):
        lines.append(f"{module} {sum(r['by'] is not None for r in group)}/{len(group)}")
    lines += ["", *(r["name"] for r in sorted(rows, key=lambda r: (r["module"], r["line"])) if r["by"] is None)]
    return "\n".join(lines)


def _share(rows: list[dict[str, Any]]) -> str:
    noticed = sum(r["by"] is not None for r in rows)
    return f"{noticed} | {len(rows)} | {100 * noticed / max(len(rows), 1):.0f}"


def _published(rows: list[dict[str, Any]], total: int, rng: int) -> str:
    """The page about mutants: shares by room and file, and what lives."""
    rooms: dict[str, list[dict[str, Any]]] = defaultdict(list)
    files: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        parts = row["module"].split("/")
        rooms["/".join(parts[:2]) if len(parts) > 2 else "methods, own modules"].append(row)
        files[row["module"]].append(row)
    head = (Path(__file__).parent / "head.md").read_text(encoding="utf-8")
    lines = [
        head.format(tried=len(rows), total=total, rng=rng),
        "| room | noticed | tried | % |",
        "| --- | --- | --- | --- |",
    ]
    lines += [f"| {room} | {_share(group)} |" for room, group in sorted(rooms.items())]
    lines += [f"| **all** | {_share(rows)} |", "", "| file | noticed | tried | % |", "| --- | --- | --- | --- |"]
    lines += [f"| {name.removeprefix('methods/')} | {_share(group)} |" for name, group in sorted(files.items())]
    lines += [
        "",
        "## What lives",
        "",
        "File and line as they were when it was tried: what stands there -> what stood there instead.",
        "",
    ]
    alive = sorted((r for r in rows if r["by"] is None), key=lambda r: (r["module"], r["line"]))
    lines += [f"* `{r['name'].removeprefix('methods/').rpartition(' #')[0]}`" + _why(r) for r in alive]
    return "\n".join(lines) + "\n"


def _why(row: dict[str, Any]) -> str:
    """What can be told of a survivor without looking at it."""
    if not row["tests"]:
        return " (no quick test runs through it)"
    before, _, after = row["name"].partition(": ")[2].rpartition(" #")[0].partition(" -> ")
    edge = any(before.replace(one, other, 1) == after for one, other in _EDGES)
    return " (another result at one value alone)" if edge else ""


#: Comparisons that differ where both sides are equal.
_EDGES = ((" < ", " <= "), (" <= ", " < "), (" > ", " >= "), (" >= ", " > "))


def _serve(collected: forked.Collected, asks: int, tells: int) -> None:
    """In the process that has everything imported: a mutant for each line that comes."""
    live = collected.functions()
    with os.fdopen(asks) as questions, os.fdopen(tells, "w") as answers:
        for line in questions:
            fields, names, seconds = json.loads(line)
            place = Place(**fields)
            source = (ROOT / place.module).read_text(encoding="utf-8")
            tree = forked.changed(source, place.at)
            key = (str(ROOT / place.module), place.function, place.first)
            if key not in live:  # what is imported only when it is asked for
                importlib.import_module(forked.dotted(place.module))
                live = collected.functions()
            assert key in live, place.name

            def work(
                say: Any, tree: Any = tree, place: Place = place, names: list[str] = names, live: Any = live
            ) -> None:
                forked.exchange(tree, place, live)
                say(collected.run(names))

            print(json.dumps(forked.in_a_fork(work, seconds)), file=answers, flush=True)


def _server(tests: list[str]) -> tuple[Any, Any]:
    """Two ends to speak with the process that has everything imported."""
    asks, ask = os.pipe()
    told, tells = os.pipe()
    if os.fork() == 0:
        os.close(ask)
        os.close(told)
        pytest.main([*forked.WORDS, *tests], plugins=[forked.Collected(lambda c: _serve(c, asks, tells))])
        os._exit(0)
    os.close(asks)
    os.close(tells)
    return os.fdopen(ask, "w"), os.fdopen(told)


def main() -> int:
    """Try them and print what lives."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", nargs="+", default=["methods"])
    parser.add_argument("--tests", nargs="+", default=TESTS)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--rng", type=int, default=1)
    parser.add_argument("--seen", type=Path, default=ROOT / "build" / "mutants_seen.json")
    parser.add_argument("--out", type=Path, default=ROOT / "build" / "mutants.jsonl")
    parser.add_argument("--again", action="store_true", help="try the survivors once more")
    parser.add_argument("--publish", type=Path, help="write what was tried so far as a table, and try nothing")
    args = parser.parse_args()
    os.chdir(ROOT)
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    for name in LOADED:
        importlib.import_module(name)
    args.seen.parent.mkdir(parents=True, exist_ok=True)
    if not args.publish and not args.seen.with_suffix(".done").exists():
        if (pid := os.fork()) == 0:
            pytest.main([*forked.WORDS, *args.tests], plugins=[forked.Collected(lambda c: c.trace(args.seen))])
            os._exit(0)
        os.waitpid(pid, 0)
    order, total = drawn(args.only, args.count, args.rng)
    if args.publish:
        rows = {r["name"]: r for r in map(json.loads, args.out.read_text().splitlines())}
        tried = [rows[n] for n in (f"{p.name} #{p.at}" for p in order) if n in rows]
        args.publish.write_text(_published(tried, total, args.rng), encoding="utf-8")
        return 0
    rows = [json.loads(r) for r in args.out.read_text().splitlines()] if args.out.exists() else []
    seen = Seen.read(args.seen)
    kept = {r["name"]: r for r in rows}
    kept = {n: r for n, r in kept.items() if not (args.again and r["by"] is None)}
    killers: dict[str, list[str]] = defaultdict(list)
    for row in kept.values():
        if row["by"] in seen.seconds:
            killers[row["module"]].append(row["by"])
    ask, answers = _server(args.tests)
    with args.out.open("a") as out:
        for place in order:
            if f"{place.name} #{place.at}" in kept:
                continue
            names = seen.chosen(place, killers[place.module])
            seconds = 30 + 10 * sum(seen.seconds[n] for n in names)
            if not names:
                said: list[Any] | None = [None]
            elif place.function:
                print(json.dumps([place.__dict__, names, seconds]), file=ask, flush=True)
                said = json.loads(answers.readline())
            else:
                source = (ROOT / place.module).read_text(encoding="utf-8")
                said = forked.imported_anew(source, place, names, seconds + 60)
            by = "died or did not end" if said is None else said[0]
            row = {"module": place.module, "line": place.line, "name": f"{place.name} #{place.at}", "by": by}
            row["tests"] = len(names)
            kept[row["name"]] = row
            print(json.dumps(row), file=out, flush=True)
            if by in seen.seconds:
                if by in killers[place.module]:
                    killers[place.module].remove(by)
                killers[place.module].append(by)
    ask.close()
    told = [kept[n] for n in (f"{p.name} #{p.at}" for p in order) if n in kept]
    print(_told(told, total))
    return 0


if __name__ == "__main__":
    sys.exit(main())

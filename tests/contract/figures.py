"""The figures and words that the examples of the commands, and the answers of the tests' invented oils, print today.

A change of any of them is meant to be seen, looked at, and then kept:

    python -m tests.contract.figures        writes tests/contract/figures.json anew

They prove nothing to be right: that is for the checks from outside (``tests/reference``). Long lists are thinned,
numbers kept to six digits and compared to a ten-thousandth, since maxima are found no better.
"""

from __future__ import annotations

import json
import math
import tempfile
from pathlib import Path
from typing import Any

from methods.answers import answer
from methods.result import as_json

FILE = Path(__file__).with_name("figures.json")
#: Entries of a list that are kept, and how near numbers must be.
MOST, NEAR = 24, 1e-4
#: What is another on each machine or day: names of folders, sizes, sums over bytes.
PASSING = frozenset(
    {"out", "archive", "written", "sha256", "bytes", "added", "seconds", "version", "path", "file", "added_on"}
)


def short(value: Any, folder: str = "") -> Any:
    """A document with long lists thinned and numbers rounded."""
    if isinstance(value, dict):
        return {k: short(v, folder) for k, v in value.items() if k not in PASSING}
    if isinstance(value, list):
        step = -(-len(value) // MOST) or 1
        return [len(value), *(short(v, folder) for v in value[::step])]
    if isinstance(value, float) and math.isfinite(value):
        return float(f"{value:.6g}")
    return value.replace(folder, "FOLDER") if isinstance(value, str) and folder else value


def differences(kept: Any, found: Any, place: str = "") -> list[str]:
    """Where two documents are not the same, with both values."""
    if isinstance(kept, dict) and isinstance(found, dict):
        out = [f"{place}: {sorted(set(kept) ^ set(found))} on one side only"] if set(kept) != set(found) else []
        return out + [d for k in kept if k in found for d in differences(kept[k], found[k], f"{place}.{k}")]
    if isinstance(kept, list) and isinstance(found, list) and len(kept) == len(found):
        return [d for i, (a, b) in enumerate(zip(kept, found, strict=True)) for d in differences(a, b, f"{place}[{i}]")]
    numbers = all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in (kept, found))
    same = math.isclose(kept, found, rel_tol=NEAR, abs_tol=1e-7) if numbers else kept == found
    return [] if same else [f"{place}: {kept!r} was kept, {found!r} is found"]


def check(name: str, document: Any, folder: Path | None = None) -> None:
    """Compare a document with the kept one."""
    kept = json.loads(FILE.read_text(encoding="utf-8"))[name]
    told = differences(kept, json.loads(json.dumps(short(document, str(folder) if folder else ""))))
    assert not told, f"{name}: {told[:8]}; where this is meant: python -m tests.contract.figures"


def answered(result: Any) -> dict[str, Any]:
    """A result with its answer: what is computed, and what every surface says of it."""
    made = answer(result)
    return {
        "result": as_json(result),
        "sentences": list(made.sentences),
        "cautions": [[c.code, c.text] for c in made.cautions],
        "tables": {t.name: {"title": t.title, "headings": t.headings, "cells": t.cells()} for t in made.tables},
        "plots": list(made.plots),
    }


def make() -> None:
    """Write all anew."""
    from tests.contract.schemas import commands, document
    from tests.contract.test_schemas import OTHERS
    from tests.dashboard.test_answers import CASES, opened

    made: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, examples in commands().items():
            for words in examples:
                command = "plan" if name.startswith("plan-") else name
                made[f"{command} {words}"] = short(document(command, words, Path(folder)), folder)
        for command, words in OTHERS:
            made[f"{command} {Path(words).name}"] = short(document(command, words, Path(folder)), folder)
    for name, case in CASES.items():
        made[f"answer {name}"] = short(answered(case.result(opened(case.rows))))
    FILE.write_text(json.dumps(made, indent=None, ensure_ascii=False, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    make()

"""A study file, an address or a level that somebody has tampered with: one line, or nothing; never anything else."""

from __future__ import annotations

import json
import random
import time
from pathlib import Path
from typing import Any

import pytest

from dashboard import address, applying, studyfile
from dashboard.exclusions import Exclusion
from dashboard.report import Asked, write
from dashboard.study import Study
from methods.errors import InputError
from methods.procedures import minutes_of
from methods.records import read

CSV = b"electrode,filling,kv\n" + b"".join(
    b"%s,%d,%d.5\n" % (e, f, 40 + i + f) for i in range(5) for f in (1, 2, 3) for e in (b"disk", b"sphere")
)
ODD: list[Any] = [
    None,
    1,
    -1.5,
    True,
    "",
    "x" * 2_000,
    [],
    [1],
    {},
    {"a": 1},
    {"where": 3},
    "<b>",
    "$\\frac$",
    "\u0000",
]


def saved() -> dict[str, Any]:
    study = Study()
    study.open(CSV, "mine.csv", decimal=".")
    study.filters = {"filling": ["1", "2"]}
    study.exclude({"electrode": "disk", "filling": "1"}, "bubble")
    study.put("howmany", "half_width", 12.0)
    return dict(json.loads(studyfile.save(study)))


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    keys = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    return [path, *[p for k in keys for p in places(node[k], (*path, k))]]


def tampered(document: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    out = json.loads(json.dumps(document))
    for _ in range(rng.randint(1, 2)):
        path = rng.choice([p for p in places(out) if p])
        node = out
        for key in path[:-1]:
            node = node[key]
        if rng.random() < 0.2:
            del node[path[-1]]
        else:
            node[path[-1]] = rng.choice(ODD)
    return dict(out)


@pytest.mark.parametrize("seed", range(4))
def test_a_tampered_study_file_is_one_line_or_opens(seed: int) -> None:
    rng, document = random.Random(seed), saved()
    study = Study()
    study.open(CSV, "mine.csv", decimal=".")
    for _ in range(60):
        changed = json.dumps(tampered(document, rng))
        try:
            studyfile.load(study, changed)
        except InputError as error:
            assert "\n" not in str(error)
        assert len(study.table) <= 30  # still a study with numbers


def test_files_that_are_none_are_told() -> None:
    document = saved() | {"files": [1]}
    with pytest.raises(InputError, match="its file 1 is no entry of a file"):
        studyfile.load(Study(), json.dumps(document))


def test_a_hundred_thousand_exclusions_are_looked_up_together() -> None:
    study = Study()
    study.open(CSV, "mine.csv")
    some = [Exclusion({"electrode": "disk", "filling": "1", "kv": f"{i}"}, "many") for i in range(100_000)]
    begun = time.process_time()
    study.exclusions = [*some, Exclusion({"electrode": "disk", "filling": "1"}, "bubble"), Exclusion({"no": "x"}, "y")]
    taken = time.process_time() - begun
    assert len(study.table) == 25
    print(f"100,000 exclusions: {taken:.1f} s")


def test_exclusions_name_rows_by_all_their_cells() -> None:
    study = Study()
    study.open(CSV, "mine.csv")
    both = {"filling": "3", "electrode": "spherical"}
    study.exclusions = [Exclusion({"electrode": "disk"}, "a"), Exclusion(both, "b")]
    left = study.table
    assert set(left["electrode"]) == {"spherical"} and {f"{float(f):g}" for f in left["filling"]} == {"1", "2"}
    assert len(left) == 10


@pytest.mark.parametrize("query", [
    "?page=%00&by=[]&split=a|b|c&ref=%FF&conf=nan", "?conf=1e999&only.kv=x&howmany.half_width=inf",
    "?" + "a=1&" * 5_000,
    "?page=howmany&howmany.half_width=<script>", "?data=own&data=programme&only.=|", "?by=" + "x" * 100_000,
])  # fmt: skip
def test_a_tampered_address_shows_a_page(query: str) -> None:
    study = Study()
    study.open(CSV, "mine.csv")
    applying.apply(study, address.parse(query))
    assert 0.5 <= study.confidence < 1 and address.query(study).startswith("?page=")


@pytest.mark.parametrize("level", ["$\\badcmd{x}$", "<script>alert(1)</script>", "=1+1", "a_b^c", "\\", "%s {0} %(x)d"])
def test_a_level_is_text_in_the_report(level: str, tmp_path: Path) -> None:
    study = Study()
    study.open(CSV.replace(b"disk", level.encode()), "math.csv")
    study.by = "electrode"
    out = tmp_path / "report.html"
    write(Asked(study, "", "", "", 0.10, 0), out)
    text = out.read_text(encoding="utf-8")
    assert "<script>alert" not in text


def test_ceilings_are_not_in_the_minutes_of_a_method() -> None:
    rows = "method,filling,kv\n" + "".join(f"IEC 60156,{f},{40 + f}\n" for f in (1, 1, 1, 1, 1, 1))
    broken = read(rows.encode(), name="a.csv")
    held = read((rows + "IEC 60156,2,>100\n" * 6).encode(), name="a.csv")
    assert held.withstood == 6
    assert minutes_of(held, "method") == minutes_of(broken, "method") != {}

"""Every JSON document is what its published schema says, for the examples of the help and for other records."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tests.contract import figures
from tests.contract.schemas import FOLDER, ROOT, commands, document

OPEN = ROOT / "tests" / "reference" / "data"
#: Documents of other files than the ones that the schemas were made from.
OTHERS = [
    ("check", "routine_wide.csv"),
    ("check", "laboratory_round.csv"),
    ("fit", "bench_studies.csv --by stirring --by electrode"),
    ("shift", "programme_long.csv --by gap_mm"),
    ("shift", "laboratory_round.csv --by laboratory --all-pairs"),
    ("components", "programme_long.csv"),
    ("components", str(OPEN / "D01_dyestuff.csv") + " --value Yield --column filling=Batch"),
    ("precision", str(OPEN / "E01_glucose_e691.csv") + " --value glucose --laboratory lab --level material"),
    ("budget", "bench_studies.csv"),
    ("protocols", "d877"),
]


def schema(name: str) -> Any:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def test_every_command_has_a_schema_and_every_schema_a_command() -> None:
    assert {p.stem for p in FOLDER.glob("*.json")} == set(commands())


@pytest.mark.parametrize("name", sorted(commands()))
def test_examples_keep_to_it(name: str, tmp_path: Path) -> None:
    published = schema(name)
    jsonschema.Draft202012Validator.check_schema(published)
    command = "plan" if name.startswith("plan-") else name
    for words in commands()[name]:
        found = document(command, words, tmp_path)
        jsonschema.validate(found, published)
        figures.check(f"{command} {words}", found, tmp_path)


@pytest.mark.parametrize(("command", "words"), OTHERS)
def test_other_records_keep_to_it(command: str, words: str, tmp_path: Path) -> None:
    found = document(command, words, tmp_path)
    jsonschema.validate(found, schema(command))
    figures.check(f"{command} {Path(words).name}", found, tmp_path)


@pytest.mark.parametrize(("name", "place", "keys"), [
    ("check", (), {"rows_read", "breakdowns", "withstood", "fillings", "conditions", "problems"}),
    ("shift", ("shifts",), {"level", "mean_kv", "difference_kv", "low_kv", "high_kv", "p_value", "sd_ratio"}),
    ("plan-mean", (), {"breakdowns", "fillings", "half_width", "half_width_known", "confidence", "bench_minutes"}),
    ("components", ("components",), {"factor", "sd", "low", "high", "levels"}),
    ("precision", ("levels",), {"s_r", "s_L", "s_R", "r", "R", "h", "k"}),
])  # fmt: skip
def test_what_scripts_rely_on_is_required(name: str, place: tuple[str, ...], keys: set[str]) -> None:
    part = schema(name)
    for step in place:
        part = part["properties"][step]["items"]
    assert keys <= set(part["required"])


def test_a_wrong_document_is_refused(tmp_path: Path) -> None:
    found = document("components", "laboratory_round.csv", tmp_path)
    found["components"][0].pop("sd")
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(found, schema("components"))

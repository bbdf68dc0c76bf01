"""External check values: loaded, looked up by case and name, compared with the tolerance each one carries."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

FOLDER = Path(__file__).parent


@cache
def _cases() -> dict[str, Any]:
    document = json.loads((FOLDER / "checks.json").read_text(encoding="utf-8"))
    return {case["id"]: case for case in document["cases"]}


def case(identifier: str) -> dict[str, Any]:
    """One whole case: its source, definitions, notes and expected values."""
    return _cases()[identifier]


def names(identifier: str) -> list[str]:
    """The names of all expected values of a case."""
    return [e["name"] for e in case(identifier)["expected"]]


def expected(identifier: str, name: str) -> Any:
    """One expected value."""
    return next(e["value"] for e in case(identifier)["expected"] if e["name"] == name)


def data(file: str) -> pd.DataFrame:
    """A data file of ``tests/reference/data``, as it stands there."""
    return pd.read_csv(FOLDER / "data" / file)


def agrees(identifier: str, name: str, found: Any) -> None:
    """Assert that ``found`` equals the expected value within that value's own tolerance."""
    entry = next(e for e in case(identifier)["expected"] if e["name"] == name)
    if isinstance(entry["value"], (str, bool)):
        assert found == entry["value"], f"{identifier} {name}: found {found!r}, expected {entry['value']!r}"
        return
    want, tol = np.asarray(entry["value"], dtype=float), entry["tol"]
    got = np.asarray(found, dtype=float)
    assert got.shape == want.shape, f"{identifier} {name}: shape {got.shape}, expected {want.shape}"
    if tol["kind"] == "exact":
        room = np.zeros_like(want)
    elif tol["kind"] == "rel":
        room = tol.get("rel", 0) * np.abs(want) + tol.get("abs", 0)
    else:
        room = np.full_like(want, tol["abs"])
    assert np.all(np.abs(got - want) <= room), (
        f"{identifier} {name}: found {got.tolist()}, expected {want.tolist()} ({tol}); {case(identifier)['source']}"
    )

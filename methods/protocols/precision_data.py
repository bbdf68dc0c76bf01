"""What the standards say of their own precision, as data with marks; the uncertain is empty."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from methods.protocols.library import problem, read_value, toml, user_folder
from methods.protocols.protocol import CHECK, UNKNOWN, Value

_FILE = Path(__file__).parent / "precision.toml"
_VALUES = ("cov_same_percent", "cov_between_percent", "r_percent", "R_percent")


@dataclass(frozen=True)
class PrecisionStatement:
    """Published precision of one result: CoV by the same operator and between laboratories, and the limits.

    ``r_percent`` and ``R_percent`` are what two results (same operator; two laboratories) should not differ
    by more than, in % of their mean.
    """

    protocol: str
    edition: str
    cov_same_percent: Value = UNKNOWN
    cov_between_percent: Value = UNKNOWN
    r_percent: Value = UNKNOWN
    R_percent: Value = UNKNOWN
    note: str = ""
    check: str = CHECK


def precision_statements(folder: str | os.PathLike[str] | None = None) -> dict[str, PrecisionStatement]:
    """All statements by protocol key; a ``precision.toml`` in the user's folder replaces those of the same key.

    Raises
    ------
    InputError
        An entry that breaks a rule, naming file, key, text and rule.
    """
    place = user_folder(folder, "GAPSHIFT_PROTOCOLS")
    files = [_FILE] + ([place / "precision.toml"] if place is not None and (place / "precision.toml").exists() else [])
    out: dict[str, PrecisionStatement] = {}
    for file in files:
        entries = toml(file).get("statement")
        if not isinstance(entries, list):
            raise problem(file, "statement", entries, "the file holds [[statement]] tables")
        for entry in entries:
            found = _read(file, entry)
            out[found.protocol] = found
    return out


def _read(file: Path, raw: dict[str, Any]) -> PrecisionStatement:
    for name in raw:
        if name not in (*_VALUES, "protocol", "edition", "note"):
            raise problem(file, name, name, "no such key; see the shipped precision.toml")
    if not isinstance(raw.get("protocol"), str):
        raise problem(file, "protocol", raw.get("protocol"), "the key of a protocol")
    values: dict[str, Any] = {n: read_value(file, n, raw[n]) for n in _VALUES if n in raw}
    for name, value in values.items():
        number = value.value
        if number is not None and (isinstance(number, bool) or not isinstance(number, (int, float)) or not number > 0):
            raise problem(file, name, number, "a number above zero, in percent")
    edition = raw.get("edition", "unspecified")
    return PrecisionStatement(raw["protocol"], edition, note=raw.get("note", ""), **values)

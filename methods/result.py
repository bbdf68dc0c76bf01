"""Small things that every result shares: cautions in words, and the way to JSON."""

from __future__ import annotations

import dataclasses
import datetime
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Caution:
    """A warning that travels with a result.

    ``code`` is for programs (``one_filling``, ``confounded``, ``withstood``, ``few`` ...),
    ``text`` for people: what was found and what it means for the decision.
    """

    code: str
    text: str


def as_json(value: Any) -> Any:
    """Turn a result (dataclass, table, array, number) into what :mod:`json` can write.

    Not-a-number, infinite and missing become ``None``: JSON has no word for them, and a number that is
    not there must not look like one. A dataclass with a ``to_dict`` method is asked for it.
    """
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, (datetime.date, datetime.datetime)):
        return value.isoformat()
    if isinstance(value, dict):
        return {str(k): as_json(v) for k, v in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        own: Any = getattr(value, "to_dict", None)
        if own is not None:
            return as_json(own())
        return {f.name: as_json(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, pd.DataFrame):
        return [as_json(row) for row in value.to_dict("records")]
    if isinstance(value, pd.Series):
        return [as_json(v) for v in value.tolist()]
    if isinstance(value, np.ndarray):
        return [as_json(v) for v in value.tolist()]
    if isinstance(value, (list, tuple, set, frozenset)):
        return [as_json(v) for v in value]
    return str(value)

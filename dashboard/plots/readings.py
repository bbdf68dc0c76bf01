"""Single readings on a plot: what is told of each, and the rows of the study that they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dashboard.levels import NOT_GIVEN, texts
from dashboard.plots.layers import Layer
from methods.columns import SETTING

#: Readings that one plot shows; of more a sample, of which the caption says so.
MOST = 4000
_PROCEDURE = ("method", *SETTING)
_UNITS = {"gap_mm": " mm"}


@dataclass(frozen=True)
class Told:
    """Some rows of the selected table: their rows in the study, and what is told of each."""

    at: np.ndarray  # of the table
    rows: np.ndarray  # of the study
    about: dict[str, Any]  # name -> one value each

    def some(self, keep: Sequence[int]) -> Told:
        """Those at these places, in this order."""
        chosen = np.asarray(keep, dtype=int)
        about = {name: [values[i] for i in chosen] for name, values in self.about.items()}
        return Told(self.at[chosen], self.rows[chosen], about)


def told(table: pd.DataFrame, places: np.ndarray, at: Sequence[int] | np.ndarray) -> Told:
    """What is told of these rows of the table, whose rows in the study are ``places``."""
    at = np.asarray(at, dtype=int)
    part = table.iloc[at]
    about: dict[str, Any] = {}
    if "sample" in part and part["sample"].notna().any():
        about["Oil"] = texts(part["sample"]).tolist()
    procedure = [
        [w + _UNITS.get(c, "") if w != NOT_GIVEN else "" for w in texts(part[c])] for c in _PROCEDURE if c in part
    ]
    if procedure:
        about["Procedure"] = [", ".join(w for w in one if w) or "–" for one in zip(*procedure, strict=True)]
    for column, name in (("laboratory", "Laboratory"), ("filling", "Filling"), ("order", "Order")):
        if column in part and part[column].notna().any():
            about[name] = [w if w != NOT_GIVEN else "–" for w in texts(part[column])]
    stood = (part["outcome"] == "withstood").to_numpy() if "outcome" in part else np.zeros(len(part), dtype=bool)
    about["kV"] = [f"withstood {v:g}" if s else f"{v:g}" for v, s in zip(part["kv"], stood, strict=True)]
    if "note" in part and part["note"].notna().any():
        about["Remark"] = ["" if pd.isna(v) else str(v) for v in part["note"]]
    return Told(at, places[at], about)


def layer(
    said: Told, x: Any, y: Any, colour: Sequence[str], marker: Sequence[str], of: Sequence[str] | str = "",
    label: str = "", **look: Any,
) -> Layer:  # fmt: skip
    """The readings as marks that are told of, selected and left out."""
    data = {"x": np.asarray(x, dtype=float), "y": np.asarray(y, dtype=float), "colour": list(colour),
            "marker": list(marker)}  # fmt: skip
    shown = {"size": 6, "fill_alpha": 0.55, "line_alpha": 0.7, **look}
    return Layer("readings", data, label, shown, said.about, of, said.rows.tolist())


def aside(n: int) -> np.ndarray:
    """Offsets from −1 to 1 that keep marks apart: for the eye only, and the same every time."""
    return 2 * np.modf(np.arange(n) * 0.6180339887)[0] - 1

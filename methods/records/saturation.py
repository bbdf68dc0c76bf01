"""Relative saturation as a column of the records: from their own water, temperature and fluid."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.records.table import as_table
from methods.water import COLDEST_C, HOTTEST_C, SOLUBILITY, constants, relative_saturation

#: The column, a percentage.
SATURATION = "relative_saturation_percent"

#: A word in the fluid's name, and the liquid whose constants it means; the first that fits.
_WORDS: tuple[tuple[str, str], ...] = (
    ("natural ester", "natural_ester"),
    ("synthetic ester", "synthetic_ester"),
    ("mineral", "mineral"),
    ("naphthenic", "mineral"),
    ("paraffinic", "mineral"),
)


def solubility_liquid(fluid: Any) -> str | None:
    """The liquid of :data:`methods.water.SOLUBILITY` that a fluid's name means; None for any other."""
    text = " ".join(str(fluid).casefold().replace("_", " ").replace("-", " ").split())
    return next((liquid for word, liquid in _WORDS if word in text), None)


def saturation(data: Any, liquid: str | tuple[float, float] | None = None) -> pd.Series:
    """Relative saturation of each row in per cent; nan where water, temperature or the liquid's constants lack.

    Parameters
    ----------
    data : Records or DataFrame
        ``water_mg_kg`` in mg/kg and ``temperature_c``, the temperature of the oil at the test.
    liquid : str or (float, float), optional
        A liquid of :data:`methods.water.SOLUBILITY` or constants of your own, for all rows; by default each row's
        ``fluid`` says, and a row without a fluid has no saturation: it is not guessed.

    Raises
    ------
    InputError
        An unknown liquid, or one whose constants are not certain enough to ship.
    """
    table = as_table(data)
    water, warm = (pd.to_numeric(table[c], errors="coerce").to_numpy(dtype=float)
                   for c in ("water_mg_kg", "temperature_c"))  # fmt: skip
    out = np.full(len(table), np.nan)
    usable = (water >= 0) & (warm >= COLDEST_C) & (warm <= HOTTEST_C)
    if liquid is not None:
        _fill(out, usable, water, warm, constants(liquid))
    else:
        codes, fluids = pd.factorize(table["fluid"], use_na_sentinel=True)
        for i, fluid in enumerate(fluids):
            meant = solubility_liquid(fluid)
            if meant is not None and SOLUBILITY[meant].a is not None:
                _fill(out, usable & (codes == i), water, warm, constants(meant))
    return pd.Series(out, index=table.index, name=SATURATION)


def _fill(
    out: np.ndarray, rows: np.ndarray, water: np.ndarray, warm: np.ndarray, known: tuple[float, float]
) -> None:  # fmt: skip
    if rows.any():
        out[rows] = 100 * np.asarray(relative_saturation(water[rows], warm[rows], known))


def with_saturation(data: Any, liquid: str | tuple[float, float] | None = None) -> pd.DataFrame:
    """The table with the column :data:`SATURATION` where anything of it can be said.

    A column of that name that the table has already stays, unless ``liquid`` says by what it is to be computed.
    """
    return add_saturation(as_table(data), liquid)


def add_saturation(table: pd.DataFrame, liquid: str | tuple[float, float] | None = None) -> pd.DataFrame:
    """The same of a table that is complete by construction; see :func:`methods.records.as_table`."""
    if SATURATION in table.columns and liquid is None:
        return table
    if table["water_mg_kg"].isna().all() or table["temperature_c"].isna().all():
        return table
    found = saturation(table, liquid)
    return table if found.isna().all() else table.assign(**{SATURATION: found.to_numpy()})

"""Water and temperature of the oil under the compared levels: what they may have to do with the shift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.columns import OIL, QUANTITIES, factor_name, known
from methods.records.saturation import SATURATION
from methods.result import Caution
from methods.shifts.compare import Comparison
from methods.shifts.oil_cautions import level_names
from methods.wording import list_words

#: Smallest difference of the means that is named, in the column's unit (common practice, no source): less is within
#: what a titration and a thermometer tell apart, and moves a breakdown voltage by less than fillings scatter.
MATTERS: dict[str, float] = {"temperature_c": 3.0, "water_mg_kg": 3.0, SATURATION: 5.0}


@dataclass(frozen=True)
class Unlike:
    """A quantity that differs between two levels on the same oils.

    ``here`` and ``there`` are its means under the level and the reference in the column's unit, the oils with equal
    weight; ``apart`` says that on no oil do the ranges overlap; ``one_only`` that it is said for one level alone
    (its mean under the other is nan).
    """

    name: str
    here: float
    there: float
    apart: bool
    one_only: bool = False


def unlike(
    values: np.ndarray, here: np.ndarray, there: np.ndarray, oil: np.ndarray, name: str
) -> Unlike | None:  # fmt: skip
    """Whether a quantity differs between two groups of rows by more than :data:`MATTERS`; arrays (rows,).

    ``oil`` codes the oils within which the groups are compared; all alike where they are not.

    Parameters
    ----------
    values : ndarray
        (rows,) The quantity; nan where it is not said.
    here : ndarray
        (rows,) Which rows are of the one group.
    there : ndarray
        (rows,) Which are of the other.
    oil : ndarray
        (rows,) Codes of the oils.
    name : str
        Column of the quantity.
    """
    known_rows = np.isfinite(values)
    if not (known_rows & here).any() or not (known_rows & there).any():
        if not (known_rows & (here | there)).any():
            return None
        means = [float(values[known_rows & rows].mean()) if (known_rows & rows).any() else float("nan")
                 for rows in (here, there)]  # fmt: skip
        return Unlike(name, means[0], means[1], apart=False, one_only=True)
    pairs, apart = [], True
    for code in np.unique(oil[here | there]):
        one, two = (values[known_rows & rows & (oil == code)] for rows in (here, there))
        if len(one) and len(two):
            pairs.append((one.mean(), two.mean()))
            apart &= bool(one.min() > two.max() or one.max() < two.min())
    if not pairs:
        return None
    first, second = np.mean(pairs, axis=0)
    if abs(first - second) < MATTERS[name]:
        return None
    return Unlike(name, float(first), float(second), apart)


def state_cautions(c: Comparison, base: int, taken_out: Sequence[str] = ()) -> list[Caution]:
    """Water, temperature and relative saturation that differ between the two levels and are not ``taken_out``.

    Parameters
    ----------
    c : Comparison
        The comparison.
    base : int
        Index of the reference level.
    taken_out : sequence of str, optional
        Quantities that a model takes out.
    """
    lay = c.lay
    if lay.by in (*OIL, *QUANTITIES) or not len(lay.table.columns):
        return []
    covered = set(taken_out) | (set(QUANTITIES) if SATURATION in taken_out else set())
    here, there = c.pair.rows, c.pair.reference_rows
    oil = lay.block if c.pair.shared else np.zeros(len(lay.level), dtype=np.int64)
    found = []
    for name in QUANTITIES:
        if name in covered or name in lay.within or name not in lay.table.columns:
            continue
        column = pd.to_numeric(lay.table[name], errors="coerce").to_numpy(dtype=float)
        seen = unlike(column, here, there, oil, name)
        if seen is not None:
            found.append(seen)
    one, two = level_names(c, base)
    differs = [u for u in found if not u.one_only]
    out = [] if not differs else [Caution("confounded", words(differs, one, two, factor_name(lay.by)))]
    lone = [u for u in found if u.one_only]
    if lone:
        here_only = [factor_name(u.name) for u in lone if np.isfinite(u.here)]
        there_only = [factor_name(u.name) for u in lone if not np.isfinite(u.here)]
        parts = [f"{list_words(names)} for {said} but not for {not_said}"
                 for names, said, not_said in ((here_only, one, two), (there_only, two, one)) if names]  # fmt: skip
        text = f"The file gives {' and '.join(parts)}: whether the oils were alike in it cannot be told."
        out.append(Caution("state_not_said", text))
    return out


def state_caution(table: pd.DataFrame, by: str, one: str, two: str) -> Caution | None:
    """What of water, temperature and relative saturation differs between two levels on the same oils, as a caution.

    Parameters
    ----------
    table : DataFrame
        Rows of the record table.
    by : str
        Column of the factor.
    one : str
        A level.
    two : str
        The level that it is compared with.
    """
    level, oil = table[by].to_numpy(), pd.factorize(table["sample"])[0]
    found = [
        seen for name in QUANTITIES if name in table.columns
        and (seen := unlike(pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=float), level == one,
                            level == two, oil, name)) is not None and not seen.one_only
    ]  # fmt: skip
    return Caution("confounded", words(found, one, two, factor_name(by))) if found else None


def words(found: Sequence[Unlike], one: str, two: str, compared: str) -> str:
    """What differs, what it does, and what would help.

    Parameters
    ----------
    found : sequence of Unlike
        What differs.
    one : str
        Name of the level.
    two : str
        Name of the reference.
    compared : str
        The factor in words.
    """
    parts = [f"{factor_name(u.name)} ({one}: {mean_words(u.name, u.here)}, {two}: {mean_words(u.name, u.there)})"
             for u in found]  # fmt: skip
    wet = any(u.name != "temperature_c" for u in found)
    text = f"Between {one} and {two}, {compared} changes together with {list_words(parts)}. "
    text += (
        "Water lowers the breakdown voltage, by its relative saturation, which falls as the oil warms; "
        if wet
        else "A warmer oil dissolves more water, and its breakdown voltage is another; "
    )
    if all(u.apart for u in found):
        text += f"how much of the shift is due to {compared} alone cannot be told from these data. "
    else:
        text += f"part of the shift may come from there and not from {compared}. "
    names = list_words([factor_name(u.name) for u in found if u.name != SATURATION] or ["water content"])
    return text + f"Test both with like {names}, or take it out as a line (mixed model, covariate)."


def mean_words(name: str, value: float) -> str:
    """A mean with its unit, to three figures."""
    column = known(name)
    return f"{value:.3g} {column.unit}" if column is not None and column.unit else f"{value:.3g}"

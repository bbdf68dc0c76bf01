"""Several factors at once: which effects and combinations the tests can tell apart, and which tests are missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import CONDITION, OIL, PLACE, QUANTITIES, factor_name, with_unit
from methods.errors import InputError, NotEstimable
from methods.records.saturation import SATURATION, with_saturation
from methods.records.table import as_table, filling_codes
from methods.shifts.bundles import NOT_SAID, extra_factors, factor_codes, labels_with_unit
from methods.shifts.designs import EffectColumns, combination, gain, main_effect, rank, stack
from methods.shifts.liquid_state import mean_words, unlike
from methods.shifts.pairing import find_column, plain_level
from methods.shifts.strata import SAME_GAP
from methods.wording import list_words

#: Columns that no further test can set free: the method is the bundle itself, fluid and state come with the oil.
GIVEN: tuple[str, ...] = ("method", *OIL)

ESTIMABLE, PARTLY, NOT = "estimable", "partly", "not"


@dataclass(frozen=True)
class Effect:
    """One effect, ``electrode`` or ``electrode x gap_mm``.

    ``estimable`` of the ``of`` contrasts between its levels can be told from all other main effects;
    ``status`` is ``estimable``, ``partly`` or ``not``; ``aliased_with`` names what it changes together with.
    """

    effect: str
    levels: list[str]
    estimable: int
    of: int
    status: str
    aliased_with: list[str]
    sentence: str


@dataclass(frozen=True)
class Confounding:
    """The result of :func:`confounding`.

    ``aliased``: sets of factors that cannot be taken apart; ``suggestions``: the fewest tests found that would do it,
    in words (``missing`` the same as what to set, and the ``sample``); ``complete``: whether they would make every
    main effect estimable.
    """

    factors: list[str]
    effects: list[Effect]
    combinations: list[Effect]
    aliased: list[list[str]]
    sentences: list[str]
    suggestions: list[str]
    complete: bool
    single_level: list[str] = field(default_factory=list)
    missing: list[dict[str, Any]] = field(default_factory=list)


def confounding(
    data: Any, factors: Sequence[str] | None = None, *, within_sample: bool = True, most: int = 5
) -> Confounding:
    """Read from the design matrix which effects can be estimated.

    Parameters
    ----------
    data : Records or DataFrame
    factors : sequence of str, optional
        By default every condition column and extra category that has two levels, but not the method (the
        bundle itself) nor the fluid (the oil's own).
    within_sample : bool
        Whether the effects must be estimable within the same oil (samples as blocks).
    most : int
        Most tests to suggest.

    Notes
    -----
    An effect is estimable as far as its columns raise the rank of the matrix of all other main effects
    (Searle, Linear Models, Wiley 1971, section 5.4); a combination as far as it raises that of all main effects.

    Raises
    ------
    InputError
        Unknown column.
    NotEstimable
        No factor has two levels.
    """
    table = as_table(data)
    filling = filling_codes(table)
    names = [find_column(table, f) for f in factors] if factors is not None else _candidates(table, filling)
    if "kv" in names:
        raise InputError("kv is what is measured; it is not a factor.", column="kv")
    varying = [n for n in names if table[n].nunique(dropna=False) > 1]
    single = [n for n in names if n not in varying]
    if not varying:
        raise NotEstimable("No factor has two levels, so there is nothing to compare.")
    oil = within_sample and "sample" not in varying and table["sample"].nunique(dropna=False) > 1
    keys = [*varying, "sample"] if oil else varying
    cells = table.iloc[np.unique(_codes(table, keys), return_index=True)[1]][keys].reset_index(drop=True)
    blocks = [main_effect(cells, n) for n in varying]
    ground = [main_effect(cells, "sample")] if oil else []
    effects = [_effect(b, [o for o in blocks if o is not b], ground, len(cells)) for b in blocks]
    pairs = [_combination(a, b, blocks, ground, len(cells)) for a, b in combinations(blocks, 2) if a.size and b.size]
    aliased = _sets(effects)
    suggestions, missing, complete = _suggest(cells, varying, oil, most)
    quantities, wanted = _quantities(table, filling, varying, oil)
    suggestions = [*suggestions, *wanted]
    sentences = [*[e.sentence for e in effects if e.status != ESTIMABLE], *quantities]
    if not sentences:
        named = list_words([factor_name(v) for v in varying])
        if len(varying) > 1:
            sentences = [f"The effects of {named} can be told apart from one another."]
        else:
            sentences = [f"Of the factors that were looked at only {named} varies; nothing changes together with it."]
    return Confounding(
        factors=varying, effects=effects, combinations=pairs, aliased=aliased, sentences=sentences,
        suggestions=suggestions, complete=complete, single_level=single,
        missing=missing,
    )  # fmt: skip


def _quantities(
    table: pd.DataFrame, filling: np.ndarray, factors: Sequence[str], within_oil: bool
) -> tuple[list[str], list[str]]:
    """Water, temperature and saturation that differ between levels of a factor: a sentence each, and what to test."""
    wet = with_saturation(table)
    first = np.unique(filling, return_index=True)[1]
    oil = pd.factorize(wet["sample"])[0][first] if within_oil else np.zeros(len(first), dtype=np.int64)
    sentences, wanted = [], []
    for name in QUANTITIES:
        if name in factors or name not in wet.columns or wet[name].isna().all():
            continue
        column = pd.to_numeric(wet[name], errors="coerce")
        values = column.groupby(filling).mean().to_numpy(dtype=float)
        with_it, told, asked = [], "", ""
        for factor in factors:
            codes, labels = factor_codes(table[factor].iloc[first])
            found = [
                (abs(seen.here - seen.there), seen, a, b)
                for a, b in combinations(range(len(labels)), 2)
                if (seen := unlike(values, codes == a, codes == b, oil, name)) is not None and not seen.one_only
            ]
            if not found:
                continue
            with_it.append(factor)
            _, seen, a, b = max(found, key=lambda f: f[0])
            one, two = labels_with_unit(factor, [labels[a], labels[b]])
            told = told or (
                f"{factor_name(factor)} ({one}: {mean_words(name, seen.here)}, {two}: {mean_words(name, seen.there)})"
            )
            if not asked and NOT_SAID not in (labels[a], labels[b]):  # nobody can set what is not said
                asked = f"test {factor_name(factor)} {one} and {two} on the same oil with like {factor_name(name)}"
        if with_it:
            if name != SATURATION:
                wanted.append(asked or f"test all of them on the same oil with like {factor_name(name)}")
            rest = [factor_name(f) for f in with_it[1:]]
            head = factor_name(name)
            sentences.append(
                f"{head[:1].upper()}{head[1:]} differs with {list_words([told, *rest])}: what it does to the breakdown "
                f"voltage cannot be told from what {'they do' if rest else factor_name(with_it[0]) + ' does'} without "
                "the same oil at like water content and temperature."
            )
    return sentences, wanted


def _candidates(table: pd.DataFrame, filling: np.ndarray) -> list[str]:
    return [c for c in CONDITION if c not in GIVEN and table[c].notna().any()] + extra_factors(table, filling)


def _codes(table: pd.DataFrame, columns: Sequence[str]) -> np.ndarray:
    return table.groupby(list(columns), dropna=False, sort=False).ngroup().to_numpy()


def _effect(block: EffectColumns, others: list[EffectColumns], ground: list[EffectColumns], rows: int) -> Effect:
    name = block.effect[0]
    found = gain(stack([*ground, *others], rows), block.columns)
    status = ESTIMABLE if found == block.size else PARTLY if found else NOT
    partners = _partners(block, others, ground, rows) if status != ESTIMABLE else []
    if status == ESTIMABLE:
        text = f"The effect of {factor_name(name)} can be estimated."
    else:
        what = (
            "cannot be told apart" if status == NOT else f"can be told apart only in {found} of {block.size} contrasts"
        )
        rivals = list_words([factor_name(p) for p in partners])
        levels = list_words(labels_with_unit(name, block.levels))
        text = f"The effect of {factor_name(name)} ({levels}) {what} from that of {rivals}"
        text += (
            ": they change together in these tests." if partners != ["sample"] else ": no oil was tested under both."
        )
    return Effect(name, block.levels, found, block.size, status, partners, text)


def _partners(block: EffectColumns, others: list[EffectColumns], ground: list[EffectColumns], rows: int) -> list[str]:
    """The single factors that already take contrasts away; else the smallest combination that does."""
    base = stack(ground, rows)
    if gain(base, block.columns) < block.size:
        return ["sample"]
    single = [o.effect[0] for o in others if gain(stack([*ground, o], rows), block.columns) < block.size]
    if single:
        return single
    for size in range(2, len(others) + 1):
        for some in combinations(others, size):
            if gain(stack([*ground, *some], rows), block.columns) < block.size:
                return [o.effect[0] for o in some]
    return []


def _combination(
    a: EffectColumns, b: EffectColumns, blocks: list[EffectColumns], ground: list[EffectColumns], rows: int
) -> Effect:
    product = combination(a, b)
    name = f"{a.effect[0]} × {b.effect[0]}"
    found = gain(stack([*ground, *blocks], rows), product.columns)
    status = ESTIMABLE if found == product.size else PARTLY if found else NOT
    one, two = factor_name(a.effect[0]), factor_name(b.effect[0])
    text = {
        ESTIMABLE: f"Whether the effect of {one} depends on {two} can be estimated.",
        PARTLY: f"Whether the effect of {one} depends on {two} can be estimated for some levels only.",
        NOT: f"Whether the effect of {one} depends on {two} cannot be estimated from these tests.",
    }[status]
    return Effect(name, [], found, product.size, status, [], text)


def _sets(effects: list[Effect]) -> list[list[str]]:
    """Join the factors that name each other."""
    groups: list[set[str]] = []
    for e in effects:
        if e.status == ESTIMABLE:
            continue
        mine = {e.effect, *e.aliased_with}
        for g in [g for g in groups if g & mine]:
            mine |= g
            groups.remove(g)
        groups.append(mine)
    order = [e.effect for e in effects] + ["sample"]
    return [sorted(g, key=order.index) for g in groups]


def _suggest(
    cells: pd.DataFrame, factors: list[str], oil: bool, most: int
) -> tuple[list[str], list[dict[str, Any]], bool]:  # fmt: skip
    """Add, one by one, tests that free contrasts: an existing condition on another oil, or with one factor changed."""
    rows = cells.copy()
    out: list[str] = []
    tests: list[dict[str, Any]] = []
    full = 1 + sum(rows[f].nunique(dropna=False) - 1 for f in [*factors, *(["sample"] if oil else [])])
    while _rank(rows, factors, oil) < full and len(out) < most:
        best, text = None, ""
        here = _rank(rows, factors, oil)
        for new, words in _neighbours(rows, factors):
            if _rank(pd.concat([rows, new.to_frame().T]), factors, oil) > here:
                best, text = new, words
                break
        if best is None:
            break
        rows = pd.concat([rows, best.to_frame().T], ignore_index=True)
        out.append(text)
        tests.append({str(k): plain_level(v) for k, v in best.items() if not pd.isna(v)})
    return out, tests, _rank(rows, factors, oil) == full


def _rank(rows: pd.DataFrame, factors: list[str], oil: bool) -> int:
    blocks = [main_effect(rows, f) for f in [*factors, *(["sample"] if oil else [])]]
    return rank(stack(blocks, len(rows)))


def _can_be_done(rows: pd.DataFrame, row: pd.Series, factor: str, value: Any) -> bool:
    """Whether a bench can make this test: people and sets stay in their laboratory, and no cell has two such gaps."""
    if factor in PLACE and factor != "laboratory" and "laboratory" in rows.columns:
        at = rows.loc[rows[factor] == value, "laboratory"]
        return bool((at == row["laboratory"]).any())
    if factor == "laboratory":
        return not any(p in rows.columns and pd.notna(row[p]) for p in PLACE if p != "laboratory")
    if factor == "gap_mm":
        return abs(float(value) - float(row[factor])) > SAME_GAP * float(row[factor])
    return True


def _neighbours(rows: pd.DataFrame, factors: list[str]) -> Any:
    """Existing conditions on another oil, then with one factor at another of its levels, in plain words."""
    oils = rows["sample"].dropna().unique() if "sample" in rows.columns else ()
    for i in range(len(rows)):  # as a method has it, which every bench can repeat
        row = rows.iloc[i]
        for oil in oils:
            if pd.notna(row["sample"]) and oil != row["sample"]:
                new = row.copy()
                new["sample"] = oil
                as_it_is = ", ".join(f"{factor_name(g)} {with_unit(g, row[g])}" for g in factors if not pd.isna(row[g]))
                yield new, f"test {as_it_is or 'the same'} on {oil} too"
    for i in range(len(rows)):
        row = rows.iloc[i]
        for f in factors:
            for value in rows[f].dropna().unique() if f not in GIVEN else ():
                if value == row[f] or pd.isna(row[f]) or not _can_be_done(rows, row, f, value):
                    continue
                new = row.copy()
                new[f] = value
                others = [g for g in factors if g != f and not pd.isna(row[g])]
                same = ", ".join(f"{factor_name(g)} {with_unit(g, row[g])}" for g in others)
                where = f" on {row['sample']}" if "sample" in rows.columns and not pd.isna(row["sample"]) else ""
                yield new, f"test {factor_name(f)} {with_unit(f, value)} with {same or 'all else equal'} too{where}"

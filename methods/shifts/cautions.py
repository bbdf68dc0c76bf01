"""The cautions of a comparison, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from methods.columns import OIL, factor_name, name_level
from methods.procedures import PROCEDURE as WHOLE
from methods.result import Caution
from methods.shifts.borrowed import prior
from methods.shifts.bundles import bundles, describe
from methods.shifts.compare import Comparison, by_rows
from methods.shifts.liquid_state import state_cautions
from methods.shifts.oil_cautions import SEVERAL, differing_shifts, level_names, oil_cautions, signed_shift
from methods.shifts.pairing import CodedRows
from methods.shifts.shift_results import LevelShift
from methods.shifts.strata import held_words
from methods.wording import list_words


def cautions(
    lay: CodedRows,
    found: Sequence[Comparison],
    base: int,
    confidence: float,
    log: bool,
    held: Sequence[str] = (),
    modelled: Sequence[int] | None = None,
    covariates: Sequence[str] = (),
) -> list[Caution]:
    """Every warning that the comparisons call for, equal texts once.

    ``held`` are factors that a model takes out; ``modelled`` the levels to which it gives a shift (None: no model,
    the limits are those of the comparisons); ``covariates`` quantities that it takes out as lines.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    found : sequence of Comparison
        The comparisons, one a level.
    base : int
        Index of the reference level.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    log : bool
        Whether ln kV was analysed.
    held : sequence of str, optional
        Factors that a model takes out.
    modelled : sequence of int, optional
        Levels to which a model gives a shift; None: no model.
    covariates : sequence of str, optional
        Quantities that the model takes out as lines.
    """
    out: list[Caution] = []
    reference = lay.levels[base]
    compared = [c for c in found if c.difference is not None]
    for c in found:
        if c.difference is None:
            if modelled is None or c.level not in modelled:
                name = name_level(lay.by, lay.levels[c.level])
                out.append(Caution("not_estimable", f"{name} cannot be compared: {c.problem}."))
            continue
        if modelled is None:
            out += _one_filling(c, base, confidence)
        if c is compared[0]:
            out += _like_with_like(compared, base)
        out += oil_cautions(c, base)
        together = [b for b in bundles(c) if b.fully or b.factor not in held]
        bundle = [Caution("confounded", describe(together, lay.by, lay.levels[c.level], reference))] * bool(together)
        state = state_cautions(c, base, covariates)
        # That a method's settings change with it is what a method is; that its oils were wetter is not.
        out += state + bundle if lay.by in ("method", WHOLE) else bundle + state
        out += _days(c, base)
        if modelled is None:
            if c is compared[0]:
                out += differing_shifts(compared, base)
            out += _few(c, base)
            out += _no_limit(c, base, confidence)
    out += _withstands(lay, found, log)
    out += _whole(lay, found)
    seen: dict[tuple[str, str], Caution] = {}
    for caution in out:
        seen.setdefault((caution.code, caution.text), caution)
    return list(seen.values())


def one_by_one(lay: CodedRows, shifts: Sequence[LevelShift], confidence: float) -> list[Caution]:
    """Levels whose own limits leave out no shift although the p-value over all levels is not small.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    shifts : sequence of LevelShift
        The shifts, one a level.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    alone = [s for s in shifts if s.p_value_unadjusted < 1 - confidence <= s.p_value]
    if not alone:
        return []
    names = list_words([name_level(lay.by, s.level) for s in alone])
    text = (
        f"{len(shifts)} levels are compared at once, and each has limits of its own: some miss the truth by chance. "
        f"Seen together, the shift of {names} is not shown (the p-value allows for the number of levels)."
    )
    return [Caution("one_by_one", text)]


def _like_with_like(found: Sequence[Comparison], base: int) -> list[Caution]:
    """What was held equal because the levels pool it, and what that left out; of more than two levels in one."""
    held = [c for c in found if c.strata is not None and c.held]
    if len(held) < SEVERAL or len({c.held for c in held}) > 1:
        return [Caution("like_with_like", _pooled(c, base)) for c in held]
    by: dict[str, list[str]] = {}
    for c in held:
        assert c.strata is not None
        left = f" ({c.strata.left_out} fillings left out)" if c.strata.left_out else ""
        by.setdefault(f"{'; and '.join(c.strata.compared)}{left}", []).append(level_names(c, base)[0])
    parts = "; ".join(f"{list_words(names)}: {where}" for where, names in by.items())
    text = (
        f"Against {level_names(held[0], base)[1]}, only tests with {held_words(held[0].held)} are set, "
        f"weighed by how many fillings both have. Those without a counterpart take no part. Compared are {parts}."
    )
    return [Caution("like_with_like", text)]


def _pooled(c: Comparison, base: int) -> str:
    assert c.strata is not None
    one, two = level_names(c, base)
    return (
        f"Only tests with {held_words(c.held)} are set against each other. They are weighed by how many fillings both "
        f"have of each. Between them {one} and {two} pool several {list_words(c.strata.pooled)}; compared are "
        f"{'; '.join(c.strata.compared)}.{_gone(c.strata.left_out)}"
    )


def _gone(fillings: int) -> str:
    """How many fillings take no part; nothing where none."""
    if not fillings:
        return ""
    several = fillings != 1
    return (
        f" {fillings} filling{'s' if several else ''} without a counterpart {'take' if several else 'takes'} no part."
    )


def _one_filling(c: Comparison, base: int, confidence: float) -> list[Caution]:
    """What a level with one filling means for the limits: borrowed scatter, none, or rows that may be fillings."""
    one, two = level_names(c, base)
    if c.unit == "breakdown":
        return [
            Caution(
                "one_filling",
                f"The file does not say which filling a breakdown of {one} and {two} came from. The limits count each "
                "breakdown as a filling of its own; if several came from one filling, the true uncertainty is larger.",
            )
        ]
    if c.unit != "none" and c.lent is None:
        return []
    k1, k2 = c.lay.fillings_of(c.pair.rows), c.lay.fillings_of(c.pair.reference_rows)
    known = bool(c.lay.table.loc[c.pair.rows | c.pair.reference_rows, "filling"].notna().all())
    which = f"{one} and {two} have" if k1 == k2 == 1 else f"{one if k1 == 1 else two} has"
    text = f"{which} one filling only" + ("" if known else " (the file does not say which filling)")
    if c.lent is not None:
        return [Caution("one_filling", f"{text}. {_lent(c)}")]
    text += (
        ", and no level or oil shows how fillings scatter, so no limits can be given: test a second filling, or name "
        "earlier tests of the laboratory as history."
    )
    alone = by_rows(c)
    if alone is not None:
        low, high = alone.limits(confidence)
        text += f" Only if fillings did not differ at all would the shift lie between {signed_shift(low, c)} and " + (
            f"{signed_shift(high, c)}."
        )
    return [Caution("one_filling", text)]


def _lent(c: Comparison) -> str:
    """Where the borrowed scatter came from, how much it is, and what the limits hang on."""
    assert c.lent is not None
    square, df = prior(c.lent)
    cells, past = len(c.lent.df), int((c.lent.label < 0).sum())
    where = f"{c.lent.fillings} fillings in {cells} {'cells' if cells > 1 else 'cell'} of one oil under one condition"
    if past:
        where += " of the history" if past == cells else f", {past} of them from the history"
    return (
        f"Its limits borrow the scatter between fillings from {where} ({100 * math.sqrt(square):.2g} % of the mean, "
        f"{df:.2g} degrees of freedom): they hold if the one filling is such as those, and a second one would tell."
    )


def _days(c: Comparison, base: int) -> list[Caution]:
    if c.lay.by == "tested_on":
        return []
    days = c.lay.table["tested_on"].astype("str").str.slice(0, 10)
    mine, theirs = (days[rows & c.lay.table["tested_on"].notna().to_numpy()] for rows in
                    (c.pair.rows, c.pair.reference_rows))  # fmt: skip
    if not len(mine) or not len(theirs):
        return []
    one, two = level_names(c, base)
    if mine.max() < theirs.min() or theirs.max() < mine.min():
        early, late = (one, two) if mine.max() < theirs.min() else (two, one)
        return [
            Caution(
                "days",
                f"All tests of {early} are older than all tests of {late}: a drift of the oil or of the bench between "
                "the days would look like a shift.",
            )
        ]
    return []


def _withstands(lay: CodedRows, found: Sequence[Comparison], log: bool) -> list[Caution]:
    used = np.zeros(len(lay.level), dtype=bool)
    for c in found:
        used |= c.pair.rows | c.pair.reference_rows
    hit = used & lay.withstood
    if not hit.any():
        return []
    where = [
        f"{name_level(lay.by, value)}: {n} of {int((used & (lay.level == i)).sum())}"
        for i, value in enumerate(lay.levels)
        if (n := int((hit & (lay.level == i)).sum()))
    ]
    law = "lognormal" if log else "normal"
    return [
        Caution(
            "withstood",
            f"Withstands among the values ({list_words(where)}). They entered as 'at least the ceiling', never as "
            f"values; where there are some, means and scatter are those of the {law} law by maximum likelihood and "
            "lean on that law above the ceiling.",
        )
    ]


def _few(c: Comparison, base: int) -> list[Caution]:
    if c.unit == "none" or c.difference is None:
        return []
    one, two = level_names(c, base)
    lay = c.lay
    counts = [lay.fillings_of(rows) for rows in (c.pair.rows, c.pair.reference_rows)]
    sizes = [int((rows & ~lay.withstood).sum()) for rows in (c.pair.rows, c.pair.reference_rows)]
    df = c.difference.df()
    fewer = one if counts[0] <= counts[1] else two
    if c.unit == "sample" and df < 3:
        what = f"only {int(df) + 1} {'samples' if c.oil_count == df + 1 else 'sets of like tests'}"
    elif c.unit == "filling" and len(c.pair.blocks) < 2 and c.lent is None and min(counts) < 3:
        what = f"only {min(counts)} fillings of {fewer}"
    elif c.unit == "filling" and df < 3:
        oils = max(len(c.pair.blocks), 1)
        what = f"only {min(counts)} fillings of {fewer} on {oils} sample{'s' if oils > 1 else ''}"
        if c.lent is not None:
            what = "the scatter that is borrowed is hardly known itself"
    elif min(sizes) < 5:
        what = f"only {min(sizes)} breakdown{'s' if min(sizes) > 1 else ''} of {one if sizes[0] <= sizes[1] else two}"
    else:
        return []
    degrees = "1 degree of freedom" if f"{df:.2g}" == "1" else f"{df:.2g} degrees of freedom"
    tail = f" ({degrees})" if math.isfinite(df) else ""
    return [
        Caution(
            "few",
            f"{one} against {two}: {what}{tail}. The limits are wide because the scatter itself is hardly known, and "
            "a shift that is not shown is not a shift that is absent.",
        )
    ]


def _no_limit(c: Comparison, base: int, confidence: float) -> list[Caution]:
    assert c.difference is not None
    one, two = level_names(c, base)
    error = c.difference.standard_error
    if not math.isfinite(error):
        return [
            Caution("no_limits", f"{one} against {two}: no scatter between fillings is known, so there are no limits.")
        ]
    if error == 0:
        return [
            Caution(
                "no_limits",
                f"{one} against {two}: the means that are compared do not differ at all within a level, so no limits "
                "can be given. Rounded or copied values look like this.",
            )
        ]
    still = [name for name, a in ((one, c.first), (two, c.second)) if a is not None and not np.any(a.variances > 0)]
    if len(still) == 1 and not c.censored and c.unit in ("filling", "breakdown") and c.lent is None:
        return [
            Caution(
                "no_scatter",
                f"The {c.unit}s of {still[0]} do not differ at all; rounded or copied values look like this. The "
                "limits rest on the scatter of the other level alone.",
            )
        ]
    if not c.log and not all(math.isfinite(v) for v in c.difference.ratio_limits(confidence)):
        few = f"over {len(c.pair.blocks)} oils that differ is so uncertain"
        why = few if c.unit == "sample" else "is so uncertain"
        return [
            Caution(
                "no_percent_limit",
                f"{one} against {two}: the mean of {two} {why} that the shift in percent has no limit on at least one "
                "side. The limits in kV hold, and an analysis of log kV gives the shift as a ratio, oil by oil.",
            )
        ]
    return []


def _whole(lay: CodedRows, found: Sequence[Comparison]) -> list[Caution]:
    out = []
    if lay.left_out:
        out.append(
            Caution(
                "level_unknown",
                f"{lay.left_out} rows have no {factor_name(lay.by)} and belong to no level; they were left out.",
            )
        )
    used = np.zeros(len(lay.level), dtype=bool)
    for c in found:
        used |= c.pair.rows | c.pair.reference_rows
    unknown = int(lay.table.loc[used, "filling"].isna().sum())
    if unknown and not any(c.unit in ("breakdown", "none") or c.lent for c in found):
        out.append(
            Caution(
                "filling_unknown",
                f"{unknown} rows do not say which filling they came from; they count as one filling for each sample, "
                "condition and day.",
            )
        )
    if lay.by not in OIL:
        empty = int(lay.table.loc[used, "sample"].isna().sum())
        if not lay.sample_known:
            out.append(
                Caution(
                    "sample_unknown", "The file names no samples: all tests are taken to be of one and the same oil."
                )
            )
        elif empty == int(used.sum()):
            out.append(
                Caution(
                    "sample_unknown",
                    "The file names no samples: tests of the same fluid in the same state are taken to be of one oil.",
                )
            )
        elif empty:
            out.append(
                Caution("sample_unknown", f"{empty} rows name no sample; they are taken to be of one oil of their own.")
            )
    sizes = lay.table.loc[used].groupby(lay.filling[used])["kv"].size()
    if len(sizes) and sizes.min() != sizes.max() and any(c.unit not in ("breakdown", "none") for c in found):
        out.append(
            Caution(
                "unequal_fillings",
                f"Fillings hold {sizes.min()} to {sizes.max()} values. Each filling counts once, whatever its number.",
            )
        )
    return out

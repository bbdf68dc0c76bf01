"""How far do results move between the levels of a factor, and how surely?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table, rows_of
from methods.answers.writing import listed
from methods.columns import level_text, name_level
from methods.families import family_title
from methods.shifts.equivalent import Equivalence
from methods.shifts.pairs import AllPairs
from methods.shifts.percentile_shifts import PercentileShift
from methods.shifts.shift_results import Shift

QUESTION = "shift"
#: What the ways to compare every pair are called.
PROCEDURES = {
    "games_howell": "Games–Howell (each level its own scatter)", "tukey": "Tukey (one scatter for all)",
    "holm": "Holm (pair by pair)",
}  # fmt: skip
#: Up to this many levels each gets its own sentence.
MOST_TOLD = 2
#: Levels whose low percentiles are told in a sentence.
MOST_SHOWN = 3

_MEAN = (
    "level", "fillings", "breakdowns", "withstood", "mean_kv", "difference_percent", "low_percent", "high_percent",
    "difference_kv", "low_kv", "high_kv", "p_value", "holds_for", "reference_fillings", "reference_mean_kv", "df",
    "method",
)  # fmt: skip
_SCATTER = (
    "level", "sd_ratio", "sd_ratio_low", "sd_ratio_high", "sd_ratio_robust_low", "sd_ratio_robust_high", "sd_p_value",
    "sd_ratio_of",
)  # fmt: skip
_THESE = ("low_percent", "high_percent", "low_kv", "high_kv", "p_value", "df", "sentence")
_LEVELS = ("level", "samples", "fillings", "breakdowns", "withstood", "mean_kv", "sd_kv")
_SAMPLES = (
    "sample", "fillings", "reference_fillings", "mean_kv", "reference_mean_kv", "difference_kv", "difference_percent",
)  # fmt: skip
_LINES = ("covariate", "slope", "low", "high", "p_value", "at", "sentence")
_AGREE = ("level", "verdict", "difference_percent", "low_percent", "high_percent", "p_value", "fillings")
_PAIRS = ("second", "first", "difference_kv", "low_kv", "high_kv", "difference_percent", "p_value")
_POINT = (
    "p", "kv", "reference_kv", "difference_percent", "low_percent", "high_percent", "difference_kv", "low_kv",
    "high_kv",
)  # fmt: skip


def shift(found: Shift) -> Answer:
    """The shifts of the mean: a sentence a level (of many, the furthest on either side), and five tables."""
    reference = name_level(found.by, found.reference)
    sure = (
        f"Reference: {reference}; limits at {100 * found.confidence:g} % confidence, each level by itself; p allows "
        "for the number of levels. Means are over the tests that are set against the reference."
        if len(found.shifts) > 1
        else f"Reference: {reference}; limits at {100 * found.confidence:g} % confidence."
    )
    tables = [
        _table("shift", "Shift of the mean", _named(rows_of(found.shifts, _MEAN)), sure),
        *_these_oils(found),
        _table("shift_scatter", "Scatter against the reference", _named(rows_of(found.shifts, _SCATTER))),
        _table("shift_levels", "All levels, over all of their tests", _named(rows_of(found.levels, _LEVELS))),
    ]
    oils = [rows_of(s.samples, _SAMPLES, level=level_text(s.level)) for s in found.shifts if s.samples]
    if oils:
        tables.append(_table("shift_samples", "Sample by sample", pd.concat(oils, ignore_index=True)))
    if found.covariates:
        tables.append(_table("shift_covariates", "Taken out as lines", rows_of(found.covariates, _LINES)))
    return Answer(QUESTION, _sentences(found), tuple(found.cautions), tuple(tables), ("shift",), found)


def equivalence(found: Equivalence) -> Answer:
    """Whether the shifts lie within the margin: a verdict a level, lists where there are many."""
    if len(found.levels) <= MOST_TOLD:
        said = tuple(level.sentence for level in found.levels)
    else:
        groups: dict[str, list[str]] = {}
        for level in found.levels:
            groups.setdefault(level.verdict, []).append(level_text(level.level))
        verdicts = "; ".join(f"{verdict}: {listed(names)}" for verdict, names in groups.items())
        said = (f"Agreement within ± {found.margin_percent:g} % is {verdicts}.",)
    title = f"Agreement within ± {found.margin_percent:g} %"
    table = _table("shift_agreement", title, _named(rows_of(found.levels, _AGREE)))
    return Answer(QUESTION, said, tuple(found.cautions), (table,), ("agreement_within",), found)


def pairs(found: AllPairs) -> Answer:
    """Every pair of levels, with a correction for looking at many."""
    frame = rows_of(found.pairs, _PAIRS)
    frame[["first", "second"]] = frame[["first", "second"]].map(level_text)
    shown = sum(1 for p in found.pairs if p.p_value < 1 - found.confidence)
    said = f"{shown} of {len(found.pairs)} pairs differ by more than chance ({PROCEDURES[found.procedure]})."
    table = _table("shift_pairs", f"Every pair: {PROCEDURES[found.procedure]}", frame)
    return Answer(QUESTION, (said,), tuple(found.cautions), (table,), (), found)


def percentiles(found: PercentileShift) -> Answer:
    """The shift of percentiles and of the whole distribution."""
    points = []
    for level in found.levels:
        for by, rows in ((family_title(level.family), level.points), ("the data alone", level.points_from_data)):
            points.append(rows_of(rows, _POINT, level=level_text(level.level), by=by))
    curves = [
        rows_of(v.curve, (*_POINT, "band_low_percent", "band_high_percent"), level=level_text(v.level))
        for v in found.levels
    ]
    which = listed(f"{100 * p:g}" for p in found.percentiles)
    tables = (
        _table(
            "shift_percentiles", f"Shift of the {which} % points", pd.concat(points, ignore_index=True),
            f"Limits from {found.repetitions} resamples, seed {found.seed}.",
        ),
        _table("shift_curve", "Shift at every percentile", pd.concat(curves, ignore_index=True)),
    )  # fmt: skip
    return Answer(
        QUESTION, _told(found.levels[:MOST_SHOWN]), tuple(found.cautions), tables, ("percentile_shift",), found
    )


def _these_oils(found: Shift) -> list[Table]:
    """Limits for exactly the oils tested, a row a level whose own limits are for oils like these."""
    rows = [
        rows_of([s.these_oils], _THESE, level=level_text(s.level))
        for s in found.shifts
        if s.these_oils is not None and s.these_oils.sentence
    ]
    if not rows:
        return []
    return [_table("shift_these_oils", "The same for exactly these oils", pd.concat(rows, ignore_index=True))]


def _sentences(found: Shift) -> tuple[str, ...]:
    if len(found.shifts) == 1 and found.shifts[0].these_oils is not None:
        return (found.shifts[0].sentence, found.shifts[0].these_oils.sentence)
    if len(found.shifts) <= MOST_TOLD:
        return _told(found.shifts)
    there = sorted((s for s in found.shifts if np.isfinite(s.difference_percent)), key=lambda s: s.difference_percent)
    shown = sum(1 for s in there if s.p_value < 1 - found.confidence)
    count = f"{shown} of {len(found.shifts)} levels" if shown else f"None of {len(found.shifts)} levels"
    verb = "differ" if shown > 1 else "differs"
    compared = f"by more than chance, allowing for {len(found.shifts)} comparisons"
    head = f"{count} {verb} from {level_text(found.reference)} {compared}."
    ends = [s for i, s in enumerate(there) if i == 0 or (i == len(there) - 1 and s.difference_percent > 0)]
    told = _told(ends)
    if told and not shown:  # each has limits of its own, which leave out that many were looked at
        return (head, "Each by itself:", *told)
    return (head, *told)


def _told(results: Sequence[Any]) -> tuple[str, ...]:
    return tuple(r.sentence for r in results)


def _named(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.assign(level=[level_text(v) for v in frame["level"]])


def _table(name: str, title: str, frame: pd.DataFrame, note: str = "") -> Table:
    return Table(name, title, frame, note, OWN[QUESTION])

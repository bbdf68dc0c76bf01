"""What the shift page says: choices, explanations of its columns, and the sentence for many levels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from dashboard import words
from dashboard.levels import level_text

MODELS = {"filling_means": "filling means", "mixed": "mixed model"}
PAIRS = {
    "none": "no",
    "games_howell": "Games–Howell (each level its own scatter)",
    "tukey": "Tukey (one scatter for all)",
    "holm": "Holm (pair by pair)",
}

#: Up to this many levels each gets its own sentence.
MOST_TOLD = 2

HELP = """
**Unit of replication.** What counts is the number of *fillings*: breakdowns on one filling share its water, particles
and handling, so sixty breakdowns on one filling still are one filling. Where the same oils were tested under both
levels the shift is taken oil by oil and averaged.

**Which oils.** With three oils or more the limits are for *oils like these*: the shift may differ from oil to oil, and
the oils are the unit. The limits *for exactly these oils* stand beside. With one or two oils there are only the
latter. A level with one filling borrows its scatter from the rest of the file; with nothing to borrow it has no limits.

**Limits** hold the true shift as often as the confidence says, each level by itself. **p** is adjusted for the number
of levels (Holm), so that a comparison of many does not find something by luck.

**Agreement** is a question of its own. That a shift is not shown does not mean that there is none: choose a margin
beforehand, and two one-sided tests say whether the shift lies within it. Their limits are narrower (90 % for 95 %).

**Changes together.** Where another factor changes with the compared one, the shift belongs to the whole bundle. No
computation takes it apart; only tests that vary one of the two do. The warning says which.

**SD ratio**: scatter of this level over that of the reference; 1 is equal. The *robust* limits do not lean on the
normal distribution.

**Withstands** count as *at least the ceiling*, never as a value.
"""

COLUMNS = {
    "difference_kv": ("Shift (kV)", "Mean of this level less that of the reference."),
    "difference_percent": ("Shift (%)", "The same in % of the reference."),
    "low_percent": ("from (%)", "Lower confidence limit of the shift in %."),
    "high_percent": ("to (%)", "Upper confidence limit of the shift in %."),
    "low_kv": ("from (kV)", "Lower confidence limit of the shift in kV."),
    "high_kv": ("to (kV)", "Upper confidence limit of the shift in kV."),
    "holds_for": ("Hold for", "Whether the limits speak of all oils like these, or of these alone."),
    "reference_fillings": ("Ref. fillings", "Fillings of the reference that were compared."),
    "reference_mean_kv": ("Ref. mean (kV)", "Mean of the reference over the oils compared."),
    "reference_kv": ("Ref. (kV)", "The same percentile of the reference."),
    "df": ("df", "Degrees of freedom: how well the scatter itself is known."),
    "method": ("How", "What the comparison was computed on."),
    "sd_ratio": ("SD ratio", "Scatter of this level over that of the reference."),
    "sd_ratio_low": ("from", "Lower confidence limit, for normal scatter."),
    "sd_ratio_high": ("to", "Upper confidence limit, for normal scatter."),
    "sd_ratio_robust_low": ("robust from", "Lower limit that does not lean on the normal distribution."),
    "sd_ratio_robust_high": ("robust to", "Upper limit that does not lean on the normal distribution."),
    "sd_p_value": ("p", "Chance of a ratio so far from 1 if the scatters were equal."),
    "sd_ratio_of": ("Scatter of", "Whose standard deviations are compared."),
    "samples": ("Samples", "Oil samples tested under this level."),
    "verdict": ("Agreement", "Whether the shift is shown to lie within the margin."),
    "first": ("Against", "The level that it is compared with."),
    "second": ("Level", "Compared level."),
    "by": ("By", "A fitted family of distributions, or the data alone."),
    "p": ("Percentile", "Share of the breakdowns that lie below."),
    "kv": ("kV", "The percentile of this level."),
    "effect": ("Effect", "A factor, or whether the effect of one depends on another (×)."),
    "status": ("Can be told", "Whether the tests can tell this effect from all others."),
    "aliased_with": ("Changes with", "The factors that change together with it."),
    "sentence": ("In words", "What that means."),
    "test": ("Test", "A test that would help to tell effects apart."),
    "band_low_percent": ("band from (%)", "Lower edge of the band that holds for all percentiles at once."),
    "band_high_percent": ("band to (%)", "Upper edge of the band that holds for all percentiles at once."),
}


def these_oils(shifts: Sequence[Any]) -> pd.DataFrame:
    """Limits for exactly the oils tested, a row a level whose own limits are for oils like these."""
    names = ("low_percent", "high_percent", "low_kv", "high_kv", "p_value", "df", "sentence")
    rows = [
        {"level": level_text(s.level), **{n: getattr(s.these_oils, n) for n in names}}
        for s in shifts
        if s.these_oils is not None and s.these_oils.sentence
    ]
    return pd.DataFrame(rows)


def answer(shift: Any) -> str:
    """The shifts in a sentence or two; of many levels the furthest on either side."""
    if len(shift.shifts) == 1 and shift.shifts[0].these_oils is not None:
        return f"{told(shift.shifts)} {shift.shifts[0].these_oils.sentence}".strip()
    if len(shift.shifts) <= MOST_TOLD:
        return told(shift.shifts)
    there = sorted((s for s in shift.shifts if np.isfinite(s.difference_percent)), key=lambda s: s.difference_percent)
    shown = sum(1 for s in there if s.p_value < 1 - shift.confidence)
    count = f"{shown} of {len(shift.shifts)} levels" if shown else f"None of {len(shift.shifts)} levels"
    head = f"{count} {'differ' if shown > 1 else 'differs'} from {level_text(shift.reference)} by more than chance."
    ends = [s for i, s in enumerate(there) if i == 0 or (i == len(there) - 1 and s.difference_percent > 0)]
    return f"{head} {told(ends)}"


def agreement(found: Any) -> str:
    """The verdicts of agreement; one sentence each for few levels, lists for many."""
    if len(found.levels) <= MOST_TOLD:
        return told(found.levels)
    groups: dict[str, list[str]] = {}
    for level in found.levels:
        groups.setdefault(level.verdict, []).append(level_text(level.level))
    verdicts = "; ".join(f"{verdict}: {words.listed(names)}" for verdict, names in groups.items())
    return f"Agreement within ± {found.margin_percent:g} % is {verdicts}."


def told(results: Sequence[Any]) -> str:
    """The sentences of results one after the other, each begun as a sentence is."""
    return " ".join(r.sentence[:1].upper() + r.sentence[1:] for r in results)

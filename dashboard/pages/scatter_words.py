"""What the scatter page says: headings, help and sentences."""

from __future__ import annotations

from typing import Any

from dashboard import words

HELP = """
**Sources of scatter.** The standard deviation that each source adds: between laboratories, between oils (samples),
from one filling of the cell to the next, and from breakdown to breakdown on one filling. They are estimated together
(restricted maximum likelihood); methods and fluids that read differently get a mean of their own, so that their
difference is not counted as scatter. A source at 0 is not proved to be absent: its upper limit says how large it may
still be.

**Intraclass correlation**: how alike two breakdowns are that share everything; 0 when fillings do not differ.
**Worth**: how many independent breakdowns would know the mean as well. Breakdowns on one filling share its oil, so six
of them are worth fewer than six.

**Order.** Each breakdown is shown less the mean of its filling, so that oils of different level lie over each other.
The *trend* is the change from one breakdown to the next, pooled over fillings; *first* is the first breakdown less the
mean of the rest; *neighbours* is the correlation of a breakdown with the one before it, corrected for short series.

**Standing apart**: Grubbs' and Dixon's tests on each filling. A flag is a question, never an answer: nothing is left
out. A low breakdown is as a rule the oil speaking (a fibre, a droplet).

**Consistency rule**: what the test method itself asks of the spread of a series before its mean may be reported.
"""

COLUMNS: dict[str, tuple[str, str]] = {
    "source": ("Source", "What makes results differ."),
    "sd": ("SD (kV)", "Standard deviation that this source adds."),
    "low": ("Low (kV)", "Lower confidence limit."),
    "high": ("High (kV)", "Upper confidence limit; – where the records set none."),
    "percent": ("% of mean", "The standard deviation in per cent of the mean."),
    "levels": ("Levels", "How many of them the estimate rests on."),
    "effect": ("Effect", "What the place in the series does."),
    "estimate": ("Estimate", "In the unit beside it."),
    "unit": ("Unit", "Of the estimate and its limits."),
    "name": ("Test", "Each pools the fillings; none supposes a distribution of the oil's level."),
    "statistic": ("Found", "Value of the statistic."),
    "expected": ("Expected", "Its value when the order does not matter."),
    "z": ("z", "Distance of the two in standard deviations."),
    "p_value": ("p", "Chance of so much if the order did not matter, or if all breakdowns were normal."),
    "test": ("Test", "Grubbs: distance from the mean. Dixon: gap to the next value."),
    "side": ("Side", "Which end of the series."),
    "critical": ("Critical", "What the statistic must exceed to be flagged."),
    "protocol": ("Protocol", "Recognised from method, edition and gap."),
    "rule": ("Rule", "The consistency rule of the protocol."),
    "series": ("Series", "Series that the rule is meant for: fillings, or one test over several fillings."),
    "judged": ("Judged", "Series long enough and without a withstood value."),
    "fired": ("Asked for more", "Series whose spread the rule does not accept."),
    "rate_percent": ("Rate (%)", "Share of the judged series; sound oils make the rule fire too."),
    "rate_low": ("from (%)", "Lower limit of the rate."),
    "rate_high": ("to (%)", "Upper limit of the rate."),
    "short": ("Too short", "Series with too few breakdowns to be judged."),
    "step": ("What to do", "What the rule asks for next."),
    "sentence": ("In words", "The verdict of the rule."),
    "value": ("Spread", "What the rule looks at."),
    "limit": ("Allowed", "What the rule allows."),
}

NAMES = {
    "laboratory": ("Laboratory to laboratory", "laboratories"),
    "sample": ("Oil to oil", "oils"),
    "filling": ("Filling to filling", "fillings"),
    "breakdown": ("Breakdown to breakdown", "breakdowns"),
}


def source(factor: str) -> str:
    """What a component is called."""
    return NAMES.get(factor, (f"Between levels of {words.factor(factor)}", ""))[0]


def span(low: float, high: float) -> str:
    """Limits in kV in brackets."""
    if low != low or high != high:
        return ""
    return f" ({words.number(low, 2)} to {words.number(high, 2) if high < float('inf') else 'without limit'})"


def answer(components: Any, worth: tuple[int, float] | None) -> str:
    """Where the scatter comes from, in one sentence."""
    parts = {c.factor: c for c in components.components}
    shot, filling = parts["breakdown"], parts.get("filling")
    told = f"breakdown to breakdown by {words.number(shot.sd, 2)} kV{span(shot.low, shot.high)}"
    if filling is None:
        return (
            f"Within a filling the oil moves from {told}; how fillings differ cannot be seen here, because no oil has "
            "two fillings of several breakdowns."
        )
    lead = "Filling to filling the oil"
    moved = (
        f"{lead} does not visibly move (up to {words.number(filling.high, 2)} kV)"
        if filling.sd == 0
        else f"{lead} moves by {words.number(filling.sd, 2)} kV{span(filling.low, filling.high)}"
    )
    tail = ""
    if worth is not None:
        tail = f": {words.plural(worth[0], 'breakdown')} on one filling are worth {words.number(worth[1], 2)}"
    return f"{moved}, {told}{tail}."

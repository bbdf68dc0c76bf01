"""What the scatter page says: headings, help and sentences."""

from __future__ import annotations

from typing import Any

from dashboard import words
from methods.answers.heads import OWN

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

COLUMNS = OWN.get("scatter", {})

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

"""What the how-many page says: goals, explanations of its columns."""

from __future__ import annotations

from methods.answers.heads import OWN
from methods.families import PLANNED, titles

GOALS = {
    "mean": "a mean",
    "difference": "a difference",
    "percentile": "a low percentile",
    "decision": "a verdict",
    "equivalence": "agreement",
}
INTERVALS = {"bench": "the bench's own interval", "known": "scatter known from history"}
RULES = {"simple": "mean reaches it", "guarded": "its lower limit does", "every": "every breakdown reaches it"}
FAMILIES = titles(PLANNED)

HELP = """
**Two half-widths.** *The bench's own* interval is computed from the means of its own fillings: with few fillings the
scatter itself is hardly known, and Student's *t* makes the interval wide. *Known scatter* is narrower, but rests on
history: that the scatter found before still holds.

**More breakdowns on one filling never beat the floor.** Breakdowns on one filling share its oil, particles and
handling. However many are taken, what fillings differ by stays in the mean; only more fillings take it out.

**Assurance.** The scatter is an estimate, so half of the time the interval comes out wider than planned. An assurance
of 90 % asks for a design whose interval is as narrow as wanted nine times in ten.

**Bench minutes** are the method's own waits, pauses and ramps, plus five minutes to empty, rinse and fill the cell.
Where no method is known, a filling counts ten minutes and a breakdown one and a half (common practice, no source): type
your own. They weigh a further filling against further breakdowns.

**Many breakdowns on one filling** are not more of the same: arcs leave carbon and gas in the oil and pit the
electrodes. Beyond ten the plan says so.

**Stop or go on** looks at one series: how many more give the half-width wanted if the scatter stays what it is today.
Deciding once, from the first look, keeps the promise of the interval; looking after every breakdown and stopping when
it seems narrow does not: it stops just when the scatter happens to look small. The table says by how much.
"""

COLUMNS = OWN.get("plan", {})

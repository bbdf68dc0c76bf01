"""What the decision page says: rules, explanations of its columns."""

from __future__ import annotations

from methods.answers.heads import OWN
from methods.planning.bench_sources import FORMS
from methods.protocols.fitting import LIQUIDS as _KNOWN

TYPED = "typed"
LIQUIDS = tuple(_KNOWN)
RULES = {
    "simple": "simple: the mean reaches it",
    "guarded": "guarded: its one-sided lower limit reaches it",
    "every": "every breakdown reaches it",
}
__all__ = ["CHECK", "COLUMNS", "FORMS", "HELP", "LIQUIDS", "RULES", "TYPED"]
CHECK = "check against your own copy of the standard"

HELP = """
**A limit belongs to its method.** A limit written for one method, gap and edition says nothing about a result by
another, and no standard converts one into the other: such comparisons are refused, with the reason.

**None is applied unasked.** Choose the limit that your contract or your rules name, or type your own with its method
and liquid. **Grades** (good, fair, poor) come with the probability that the true mean lies in each. Where the test
departs from its method (electrode, gap, stirring, rate, temperature, rest), the verdict's row says in what.
Where a limit is for a **stage** (as received, in service) or a class of **equipment**, say which these oils are: a
limit for another is refused, and where it is not said, a caution says what is unknown.

**Rules.** *Simple* compares the mean, as the standards do: an oil on the limit passes every other time. *Guarded* asks
that the lower confidence limit of the mean reaches it: a bad oil passes rarely, a good one fails more often. *Every*
asks it of the lowest breakdown: the more breakdowns, the more often a good oil fails.

**Probability that the true mean reaches the limit**: beforehand every mean counts as equally likely, and the SD between
fillings as lying anywhere between none and twice that within a filling (ISO/IEC Guide 98-4). Scatter can be borrowed
from the other oils instead, or from the tests that the filters leave out (earlier ones, opened beside these): one to
three fillings hardly show how fillings differ. **Wrong verdict**: the probability that the verdict given is not that of
the true mean.

**Guard band**: how far above the limit the mean must lie, so that a pass is wrong with no more than the risk chosen.

**Operating characteristic**: how often an oil of each true mean passes. The steeper, the better the rule tells good
from bad; what it does far from the limit hardly matters.

**Budget** (ISO/IEC Guide 98-3): what each source adds to the uncertainty of the mean. What is not typed is not in it.

Every limit shipped carries its edition and how well it is known; before anything depends on it, check it against your
own copy of the standard.
"""

COLUMNS = OWN.get("decision", {})

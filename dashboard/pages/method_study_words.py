"""What the method-study page says: questions, headings and help."""

from __future__ import annotations

from methods.answers.heads import OWN
from methods.families import DRAWN, EVERY_FAMILY, titles

QUESTIONS: dict[str, str] = {
    "rules": "What does a rule do?",
    "gap": "Is there a gap law?",
    "rate": "What does the rate do?",
    "geometry": "Is it the stressed oil?",
    "agreement": "Do two methods agree?",
    "apart": "Which tells oils apart?",
    "design": "Fillings or breakdowns?",
    "family": "Normal or Weibull?",
}

#: Scatter of breakdowns as it can be taken to be.
ASSUMED = {**titles(DRAWN), "contaminated": "normal, one in ten low"}
FAMILY_NAMES = {**titles(EVERY_FAMILY), **ASSUMED}

HELP = """
**Consistency rules.** A rule asks for more breakdowns when a series scatters too much. It fires on sound oils too: how
often depends on the oil's true scatter (coefficient of variation, SD in % of the mean). Check every limit against your
own copy of the standard.

**Gap law**: V = a · dᵐ, fillings as units, an own factor for each oil. A prediction beyond the tested gaps by more than
half is refused. **Rate of rise**: under a power life law with exponent n the voltage grows as rate^(1/(n+1)).

**Stressed oil**: the larger the surface near the peak field, the likelier a weak spot lies in it. The *weakest-link*
prediction takes the Weibull shape of these breakdowns. Across gaps the stressed oil's volume grows faster than the
surface, so both stand there. Disks are out of reach: the peak of their field depends on the radius of the edge, which
is worn and seldom known.

**Agreement**: differences on the same oils with the limits that hold 95 % of them. Lines with error in both methods
(Deming; Passing–Bablok, which no single oil can drag away). What stands there is an *association in these data, not a
conversion*.

**Telling oils apart**: signal (SD between oils) over noise (SD of a result on one oil), for a result and for an hour of
bench time. It holds for oils like these.

**Designs**: the variance of a mean is that between fillings over the fillings, plus that between breakdowns over all
breakdowns. **Gain**: how many times smaller the standard error is.

**Families** differ little in the middle and much at the low end, which no few dozen breakdowns can see.
"""

COLUMNS = OWN.get("method_study", {})

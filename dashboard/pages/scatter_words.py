"""What the scatter page says: headings, help and sentences."""

from __future__ import annotations

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

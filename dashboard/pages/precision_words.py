"""What the precision page says: headings and help."""

from __future__ import annotations

from methods.answers.heads import OWN

HELP = """
**s_r** (repeatability) is the spread of one laboratory's results on one oil; **s_R** (reproducibility) that of results
from different laboratories, **s_L** what the laboratories' own levels add. **r** and **R** are 2.8 times s_r and s_R:
two results differ by more in about one case of twenty (published: ISO 5725-2, ASTM E691).

**A result** is the mean of a filling, as it is reported. Taking single breakdowns as results answers another question:
how far two breakdowns differ.

**Mandel's h** shows whose means lie high or low, **k** whose results scatter more than the others'. Bars beyond the
critical lines deserve a question to that laboratory. All bars of one laboratory on one side say more than one long bar.

**Cochran's test** looks for a laboratory that scatters too much, **Grubbs'** for means that stand apart: *straggler*
below 5 %, *outlier* below 1 %. The program flags and removes nothing. You may leave a cell out, with a reason that the
study, the tables and the report carry.

**Relation**: which simple form describes s_r and s_R against the level best; with it the precision of other levels
within this range can be read off.

**Robust** figures (ISO 5725-5 and ISO 13528, algorithms A and S) give outlying laboratories little weight instead of
leaving them out. Where they differ much from the others, a few laboratories decide the result.

**z-scores** compare each laboratory with the robust mean: up to 2 satisfactory, from 3 unsatisfactory.

**Published**: what the standards say of their own precision, for the methods in these data, with edition and source.
A result is there what the method reports, so compare with results taken as a filling's mean. Where it is empty the
standard gives no such figure, or it was not read: the source says which.

**Scatter against mean**: some standards print a chart of the expected SD over mean. None is shipped here. Type points
of the chart from your own copy to see the cells against it.
"""

COLUMNS = OWN.get("precision", {})

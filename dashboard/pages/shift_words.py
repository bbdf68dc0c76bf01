"""What the shift page says: choices, explanations of its columns, and the sentence for many levels."""

from __future__ import annotations

from methods.answers.heads import OWN
from methods.answers.shift import PROCEDURES

#: Whose scatter serves a level with one filling.
BORROW = {"": "from these tests", "aside": "and from tests filtered out"}
MODELS = {"filling_means": "filling means", "mixed": "mixed model"}


HELP = """
**Unit of replication.** What counts is the number of *fillings*: breakdowns on one filling share its water, particles
and handling, so sixty breakdowns on one filling still are one filling. Where the same oils were tested under both
levels the shift is taken oil by oil and averaged.

**Which oils.** With three oils or more the limits are for *oils like these*: the shift may differ from oil to oil, and
the oils are the unit. The limits *for exactly these oils* stand beside. With one or two oils there are only the
latter. A level with one filling borrows its scatter from the rest of the file, and if you say so from the tests that
the filters leave out, such as earlier ones opened beside these; with nothing to borrow it has no limits.

**Limits** hold the true shift as often as the confidence says, each level by itself. **p** is adjusted for the number
of levels (Holm), so that a comparison of many does not find something by luck.

**Agreement** is a question of its own. That a shift is not shown does not mean that there is none: choose a margin
beforehand, and two one-sided tests say whether the shift lies within it. Their limits are narrower (90 % for 95 %).

**Changes together.** Where another factor changes with the compared one, the shift belongs to the whole bundle. No
computation takes it apart; only tests that vary one of the two do. The warning says which.

**Water and temperature.** Water lowers the voltage by its *relative saturation*, the water over what the oil dissolves
at its temperature. Where it differs between the levels the warning says so. The mixed model can take it out as a
straight line, the same for every level and oil: an assumption, which the plot lets you judge.

**SD ratio**: scatter of this level over that of the reference; 1 is equal. The *robust* limits do not lean on the
normal distribution.

**Withstands** count as *at least the ceiling*, never as a value.
"""

LIQUIDS = {"": "the file's fluid", "mineral": "mineral oil", "mineral_alternative": "mineral oil, second set"}
PAIRS = {"none": "no", **PROCEDURES}
COLUMNS = OWN.get("shift", {})

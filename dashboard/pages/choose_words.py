"""Help of the page on which method to choose."""

from __future__ import annotations

HELP = """
A **procedure** is method, edition, electrode, gap, stirring and rate of rise together. Only oils (and laboratories)
that every procedure has are compared.

The **score** is the weighted mean of logarithms: half the scatter of a result, half the minutes, half the oil or twice
the discrimination count alike at equal weights. Precision and minutes both follow from the scatter, so raise or clear
weights to say what matters to you. A procedure that past results were *not* taken by counts as half as good at a weight
of one for the link to history.

The **probability** is how often a procedure scores highest when oils are drawn again with replacement, and their
fillings from the scatter that fillings show. Below 90 % the sentence says which further fillings would settle it,
if the difference is as it looks now.

The **minutes** come from the method's own waits and pauses where it is known; what had to be assumed is named in a
caution. Shifts between methods are association in these data, never a conversion.
"""

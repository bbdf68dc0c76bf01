"""The words of the run-sheet page."""

from __future__ import annotations

#: What is planned -> what it is called.
KINDS = {"study": "a comparison", "missing": "the tests that are missing", "round": "a round of laboratories"}

EXAMPLE = "ASTM D1816 2 mm; IEC 60156, spherical, stirred"

HELP = """
**A comparison** tests every oil by every procedure in complete blocks, each in random order, so that what drifts at the
bench touches all procedures alike. The promise: the limits of every shift on these oils come out at the half-width or
narrower in the share of studies that is said (*kept with*). It holds if the scatter is what it is planned with.

**The tests that are missing** are read from the records: the fewest combinations that let factors be told apart that
now change together.

**A round** says how well repeatability s_r, reproducibility s_R and their ratio become known (ISO 5725-1, formulas from
memory; check against your own copy of the standard).

**The sheet** has a row a breakdown, in the order of the bench, with cleaning and waits; the coloured cells are to be
filled in. Open it on the Records page as it is, also half filled in: it is read without a question.
"""

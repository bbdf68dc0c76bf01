"""The same oil tested again and again under one procedure: does the test set still read as it did?"""

from __future__ import annotations

from methods.control.check_oil import CheckOil, cases, check_oil

__all__ = ["CheckOil", "cases", "check_oil"]

"""The confidence of limits and tests, checked in one place."""

from __future__ import annotations

from methods.errors import InputError


def check_confidence(confidence: float) -> float:
    """Give a confidence back as a float.

    Raises
    ------
    InputError
        Not a number strictly between 0 and 1: nothing measured is certain.

    Examples
    --------
    >>> check_confidence(0.95)
    0.95
    """
    if not (isinstance(confidence, (int, float)) and 0 < confidence < 1):
        raise InputError(
            f"The confidence is {confidence!r}; it must lie between 0 and 1, such as 0.95.",
            column="confidence",
            text=str(confidence),
            rule="0 < confidence < 1",
        )
    return float(confidence)

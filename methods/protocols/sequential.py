"""The older sequential acceptance of disk-electrode tests: one breakdown on each filling, against a limit.

It is not the consistency rule of the present standard and is kept apart from it. Source: older disk-electrode
procedure, read in a handbook extract. Check against your own copy of the standard.
"""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from methods.errors import InputError
from methods.protocols.protocol import CHECK
from methods.protocols.verdict import checked_series

#: First number of fillings and the number added when the first do not meet the limit.
SCHEMES: dict[str, tuple[int, int]] = {"referee": (5, 5), "routine": (2, 3)}


@dataclass(frozen=True)
class Acceptance:
    """Where a sequential acceptance stands: ``step`` is ``accept``, ``report``, ``more_fillings`` or ``incomplete``."""

    scheme: str
    limit_kv: float
    step: str
    fillings: int
    more_fillings: int
    mean_kv: float | None
    below: int
    sentence: str
    check: str = CHECK


def accept_in_sequence(kv: ArrayLike, limit_kv: float, *, scheme: str = "referee") -> Acceptance:
    """Follow the older referee or routine scheme; ``kv`` holds one breakdown for each filling, in order.

    ``referee``: five fillings; if all reach the limit the average is reported, otherwise five more fillings
    and the average of ten. ``routine``: two fillings; if neither is below the limit the oil is accepted,
    otherwise three more and the average of five. No breakdown is discarded.

    Raises
    ------
    InputError
        An unknown scheme, no voltage, a limit that is not above zero, more fillings than the scheme has.
    """
    if scheme not in SCHEMES:
        rule = f"one of {', '.join(SCHEMES)}"
        raise InputError(f"The scheme is {scheme!r}; it must be {rule}.", column="scheme", text=scheme, rule=rule)
    if not 0 < limit_kv < float("inf"):
        raise InputError(f"The limit is {limit_kv}; it must be above 0 kV.", column="limit_kv", rule="above 0")
    x, _ = checked_series(kv, None)
    first, more = SCHEMES[scheme]
    n, below = int(x.size), int((x[:first] < limit_kv).sum())
    if n > first + more:
        raise InputError(f"{n} fillings; the {scheme} scheme has at most {first + more}.", column="kv")

    def at(step: str, sentence: str, left: int = 0, mean: float | None = None) -> Acceptance:
        return Acceptance(scheme, float(limit_kv), step, n, left, mean, below, sentence)

    if n < first:
        return at("incomplete", f"{n} of the first {first} fillings taken.", first - n)
    if n == first and below == 0:
        step = "report" if scheme == "referee" else "accept"
        return at(step, f"None of the {first} is below {limit_kv:g} kV: {step}.", mean=float(x.mean()))
    if n < first + more:
        left = first + more - n
        return at("more_fillings", f"{below} of the first {first} below {limit_kv:g} kV: {left} more fillings.", left)
    mean = float(x.mean())
    return at("report", f"Average of all {n}: {mean:.2f} kV against {limit_kv:g} kV; nothing is discarded.", mean=mean)

"""Which further fillings would settle a choice that is open, at least cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.choosing.evidence import Evidence

#: Further fillings of one procedure on each oil, and further oils, that are looked at.
FILLINGS: tuple[int, ...] = (0, 1, 2, 3, 4, 6, 8, 12, 20, 40)
OILS: tuple[int, ...] = (0, 1, 2, 3, 5, 8, 12, 20, 30)

#: More than this is no plan: the procedures then score so alike that tests would hardly tell.
MOST_HOURS = 80.0

#: A rival counts as serious from this probability of being the best.
SERIOUS = 0.05


@dataclass(frozen=True)
class Further:
    """Further tests: ``fillings`` of ``procedure`` in all, shared out over the oils and over ``oils`` further ones."""

    procedure: str
    fillings: int
    oils: int
    minutes: float


def would_settle(
    found: Evidence, whole: np.ndarray, same_oils: np.ndarray, shares: np.ndarray, minutes: np.ndarray,
    wanted: float = 0.9,
) -> list[Further]:  # fmt: skip
    """The cheapest further tests of the best procedure and its serious rivals after which it surely scores higher.

    The variance of each difference in score is taken apart into what the fillings and what the oils bring; the first
    shrinks with fillings, both with oils. It is taken that the differences found are the true ones, so this is what
    would settle it as often as not. With several rivals each may be missed by its share of ``1 - wanted``.

    Parameters
    ----------
    whole, same_oils : ndarray
        Scores with oils and fillings drawn again, and with fillings only; row 0 is the data.
    shares : ndarray
        Probability of each procedure to be the best.
    minutes : ndarray
        Bench minutes of one filling of each procedure.
    found : Evidence
        What the records hold of the procedures.
    wanted : float, default 0.9
        Probability from which on a procedure is surely the best.

    Returns
    -------
    list of Further
        Empty where nothing that was looked at settles it.
    """
    best = int(shares.argmax())
    rivals = [int(i) for i in np.argsort(-shares) if i != best and shares[i] >= SERIOUS] or [
        int(np.argsort(-shares)[1])
    ]
    z = float(scipy.stats.norm.ppf(1 - (1 - wanted) / len(rivals)))
    gaps = [float(np.median(whole[1:, best] - whole[1:, r])) for r in rivals]
    own = _variance(same_oils[1:, best])
    theirs = [_variance(same_oils[1:, r]) for r in rivals]
    by_oils = [
        max(_variance(whole[1:, best] - whole[1:, r]) - own - v, 0.0) for r, v in zip(rivals, theirs, strict=True)
    ]
    size = len(found.scatter_oils)
    per = {i: float(np.mean([len(m) for m in found.means[i]])) for i in (best, *rivals)}

    def tests(i: int, more: int, oils: int) -> int:
        return int(np.ceil((per[i] + more) * (size + oils) - per[i] * size))

    cheapest: tuple[float, int, dict[int, int]] | None = None
    for oils in OILS:
        share = size / (size + oils)
        for a in FILLINGS:
            plan = {best: tests(best, a, oils)}
            for r, gap, v, w in zip(rivals, gaps, theirs, by_oils, strict=True):
                mine = share * (w + own * per[best] / (per[best] + a))
                enough = [b for b in FILLINGS if gap >= z * np.sqrt(mine + share * v * per[r] / (per[r] + b))]
                if not enough:
                    break
                plan[r] = tests(r, enough[0], oils)
            else:
                cost = float(sum(n * minutes[i] for i, n in plan.items()))
                if sum(plan.values()) and (cheapest is None or cost < cheapest[0]):
                    cheapest = (cost, oils, plan)
    if cheapest is None or cheapest[0] > 60 * MOST_HOURS:
        return []
    _, oils, plan = cheapest
    return [Further(found.procedures[i], n, oils, float(n * minutes[i])) for i, n in plan.items() if n]


def _variance(values: np.ndarray) -> float:
    return float(values.var(ddof=1))

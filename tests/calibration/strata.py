"""Limits of a shift over sets of tests that are alike in what is held equal: how often they hold, and how wide.

``python -m tests.calibration.strata`` prints the table of ``dashboard/docs/background.md``. Invented: two levels 5 kV
apart on one to three oils, each oil in several sets (gaps, laboratories).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from methods.shifts.arms import arm
from methods.shifts.compare import block_weights
from methods.shifts.difference import between_arms, between_oils

SHIFT_KV = -5.0


@dataclass(frozen=True)
class Design:
    """Fillings of both levels in each set, the oil of each set, SD of its filling means (kV)."""

    name: str
    first: tuple[int, ...]
    second: tuple[int, ...]
    oil: tuple[int, ...]
    sd_kv: tuple[float, ...]


DESIGNS: tuple[Design, ...] = (
    Design("one oil, two gaps: 8 and 3, 2 and 8", (8, 2), (3, 8), (0, 0), (3, 3)),
    Design("the same, SDs of fillings 3 and 6 kV", (8, 2), (3, 8), (0, 0), (3, 6)),
    Design("one oil, two gaps: 6 and 6, 2 and 2", (6, 2), (6, 2), (0, 0), (3, 3)),
    Design("the same, SDs 6 and 3 kV", (6, 2), (6, 2), (0, 0), (6, 3)),
    Design("one oil, three laboratories: 2 and 8, 2 and 2, 8 and 2", (2, 2, 8), (8, 2, 2), (0, 0, 0), (3, 3, 3)),
    Design("two oils, two gaps each: 8 and 3, 2 and 8", (8, 2) * 2, (3, 8) * 2, (0, 0, 1, 1), (3,) * 4),
    Design("three oils, two gaps each: 8 and 3, 2 and 8", (8, 2) * 3, (3, 8) * 3, (0, 0, 1, 1, 2, 2), (3,) * 6),
)


def count(design: Design, repetitions: int, *, equal: bool = False, rng: int = 20250101) -> tuple[float, float]:
    """Share of the 95 % limits that hold the truth, and their median width, kV; ``equal``: weights of the sets."""
    draws = np.random.default_rng(rng)
    oil, sd = np.array(design.oil), np.array(design.sd_kv)
    weights = block_weights(np.array(design.first, float), np.array(design.second, float), oil)
    if equal:
        sizes = np.bincount(oil)
        weights = 1 / (len(sizes) * sizes)[oil]
    several = oil.max() >= 2  # from three oils on the limits are for oils like these
    held, widths = 0, []
    for _ in range(repetitions):
        own = draws.normal(0, 2, oil.max() + 1)[oil] if several else np.zeros(len(oil))
        sides = []
        for fillings, shift in ((design.first, SHIFT_KV + own), (design.second, 0.0 * own)):
            block = np.repeat(np.arange(len(oil)), fillings)
            means = (50 + 10 * np.arange(len(oil)) + shift)[block] + sd[block] * draws.standard_normal(len(block))
            none = np.zeros(len(block), bool)
            sides.append(arm(means, none, block, np.arange(len(block)), len(oil), weights))
        found = between_oils(*sides, oil) if several else between_arms(*sides)
        low, high = found.limits(0.95)
        held += low <= SHIFT_KV <= high
        widths.append(high - low)
    return held / repetitions, float(np.median(widths))


def main() -> None:
    """Print the table."""
    for design in DESIGNS:
        (share, width), (_, other) = (count(design, 2000, equal=e) for e in (False, True))
        print(f"| {design.name} | {100 * share:.1f} % | {width:.1f} kV | {other:.1f} kV |")


if __name__ == "__main__":
    main()

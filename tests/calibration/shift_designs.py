"""Benches for the limits of a shift: oils unlike in scatter and in their shift, any number of fillings of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.shifts.pairing import CodedRows
from tests.calibration.shift_coverage import noise

#: The true average shift of all oils, kV; the mean of an oil under the reference varies about 50 kV.
SHIFT_KV = -5.0
REFERENCE_KV = 50.0


@dataclass(frozen=True)
class Design:
    """What a simulated study is like.

    ``fillings``: for each oil, fillings under the reference and under the level. ``sd``: SD of a filling mean's
    sources together, for each oil as a multiple of ``within`` (1 = alike). ``between``: filling SD over within SD
    (sf/sw). ``level``: SDs under the level over those under the reference. ``interaction``: SD of the oils' own
    shifts about the average, kV. ``oils_kv``: SD of the oils' means.
    """

    fillings: Sequence[tuple[int, int]]
    breakdowns: int | tuple[int, int] = 5
    within: float = 5.0
    between: float = 1.0
    sd: Sequence[float] = ()
    level: float = 1.0
    interaction: float = 0.0
    oils_kv: float = 8.0
    law: str = "normal"

    @property
    def oils(self) -> int:
        return len(self.fillings)


@dataclass(frozen=True)
class Bench:
    """One simulated study: its layout (as the package codes a file) and the true shift of exactly these oils, kV."""

    lay: CodedRows
    these_kv: float
    these_ratio: float
    ratio: float


def draw(rng: np.random.Generator, d: Design) -> Bench:
    """Draw oils (their means and shifts), fillings and breakdowns."""
    own = np.asarray(d.sd, dtype=float) if len(d.sd) else np.ones(d.oils)
    base = REFERENCE_KV + d.oils_kv * rng.normal(size=d.oils)
    base = np.maximum(base, 20.0)
    shift = SHIFT_KV + d.interaction * rng.normal(size=d.oils)
    number = d.breakdowns if isinstance(d.breakdowns, tuple) else (d.breakdowns, d.breakdowns)
    kv, level, block, filling, count = [], [], [], [], 0
    for oil in range(d.oils):
        for side in (0, 1):
            k = d.fillings[oil][side]
            sd = d.within * own[oil] * (d.level if side else 1.0)
            middle = base[oil] + (shift[oil] if side else 0.0) + d.between * sd * noise(rng, d.law, (k, 1))
            kv.append((middle + sd * noise(rng, d.law, (k, number[side]))).ravel())
            level.append(np.full(k * number[side], side))
            block.append(np.full(k * number[side], oil))
            filling.append(np.repeat(count + np.arange(k), number[side]))
            count += k
    lay = CodedRows(
        by="electrode", within=(), table=pd.DataFrame(), levels=["s", "m"], level=np.concatenate(level),
        blocks=[f"oil {i}" for i in range(d.oils)], block=np.concatenate(block), filling=np.concatenate(filling),
        kv=np.concatenate(kv), withstood=np.zeros(sum(map(len, kv)), dtype=bool), left_out=0, sample_known=True,
    )  # fmt: skip
    return Bench(lay, float(shift.mean()), float(1 + shift.mean() / base.mean()), 1 + SHIFT_KV / REFERENCE_KV)

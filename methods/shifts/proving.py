"""Coverage of a shift's limits at the design at hand: its oils, fillings and breakdowns, with the scatter found."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.prove import Held, Progress, Proof, count, proof
from methods.randomness import seed_of
from methods.scatter.censored import fit_censored
from methods.shifts.borrowed import history_cells
from methods.shifts.compare import ENOUGH_OILS, LIKE_THESE, Comparison, compare
from methods.shifts.pairing import CodedRows, choose_reference, layout, show_level
from methods.wording import count_words
from methods.workers import carry_out, pieces

Array = np.ndarray[Any, Any]


def prove_shift(
    data: Any,
    by: str | Sequence[str],
    *,
    level: Any = None,
    reference: Any = None,
    confidence: float = 0.95,
    log: bool = False,
    within: Sequence[str] = (),
    history: Any = None,
    repetitions: int = 2000,
    rng: Any = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Proof:
    """How often such limits of a shift hold the truth, counted on invented studies of the same design.

    Every invented study has the rows of this one: its oils with their means, the shift that was found as the true one
    (with the oils' own shifts about it, where three oils or more show them), the SDs between and within fillings of
    each level, and a ceiling where there was one. The comparison by filling means is made anew on each.

    Parameters
    ----------
    data, by, reference, confidence, log, within, history
        As for :func:`methods.shift`.
    level : level, optional
        Only this one; all others beside the reference unless said.
    repetitions : int
        Invented studies.
    rng : seed or generator, optional
        1 unless said. The same seed gives the same numbers whatever the executor.
    progress : callable, optional
        Called with the number done and the number in all; may raise to stop.
    executor : concurrent.futures.Executor, optional
        What works on the pieces (:mod:`methods.workers`).

    Raises
    ------
    InputError
        An unknown column or level.
    NotEstimable
        Nothing to compare, or no limits at this design.
    """
    check_confidence(confidence)
    if repetitions < 1:
        raise InputError(f"{repetitions} repetitions prove nothing; name a number above zero.", column="repetitions")
    lay = layout(data, by, within)
    base = choose_reference(lay, reference)
    others = [
        i for i, v in enumerate(lay.levels) if i != base and (level is None or show_level(v) == show_level(level))
    ]
    if not others:
        raise InputError(f"There is no level {level!r} beside the reference.", column=str(by), text=str(level))
    past = None if history is None else history_cells(history, log=log)
    random = np.random.SeedSequence(seed_of(1 if rng is None else rng))
    rows: list[Held] = []
    words: list[str] = []
    found = [compare(lay, i, base, log=log, history=past) for i in others]
    usable = [c for c in found if c.difference is not None and np.isfinite(c.difference.standard_error)]
    if not usable:
        raise NotEstimable("; ".join(dict.fromkeys(c.problem for c in found if c.problem)) or "There are no limits.")
    for j, (c, seed) in enumerate(zip(usable, random.spawn(len(usable)), strict=True)):
        bench = _Bench(_bare(c), c, base, log)

        parts = pieces(repetitions, int(seed.generate_state(1, np.uint64)[0] >> 1))

        def told(some: int, _: int, j: int = j, parts: Any = parts) -> None:
            if progress is not None:
                progress(j * repetitions + sum(size for size, _ in parts[:some]), len(usable) * repetitions)

        counted = carry_out(_studies, (bench, confidence, log, past, base), parts, executor=executor, progress=told)
        hits = np.concatenate(counted)
        name = show_level(lay.levels[c.level])
        if np.isfinite(hits[:, 0]).any():
            rows.append(count(f"shift of {name}, {c.holds_for}", confidence, hits[:, 0]))
        if c.holds_for == LIKE_THESE and c.these is not None and np.isfinite(hits[:, 1]).any():
            rows.append(count(f"shift of {name}, these oils", confidence, hits[:, 1]))
        words.append(bench.words(name))
    return proof(rows, "; ".join(words))


def _studies(
    bench: _Bench, confidence: float, log: bool, past: Any, base: int, repetitions: int, seed: Any
) -> Array:  # fmt: skip
    """What so many invented studies came to (repetitions, 2)."""
    rng = np.random.default_rng(seed)
    return np.array([bench.again(rng, confidence, log, past, base) for _ in range(repetitions)])


def _bare(c: Comparison) -> CodedRows:
    """The compared rows alone, with what is held equal in the blocks already; all rows where scatter is borrowed."""
    lay = c.lay
    keep = np.ones(len(lay.level), bool) if c.lent is not None else c.pair.rows | c.pair.reference_rows
    table = pd.DataFrame() if lay.fillings_named else lay.table[keep]
    return replace(
        lay, table=table, level=lay.level[keep], block=lay.block[keep], filling=lay.filling[keep], kv=lay.kv[keep],
        withstood=lay.withstood[keep], oil=lay.oil[keep] if len(lay.oil) else lay.oil,
    )  # fmt: skip


class _Bench:
    """The design of one comparison, with the truth that its studies are drawn from."""

    def __init__(self, lay: CodedRows, c: Comparison, base: int, log: bool) -> None:
        assert c.difference is not None
        self.lay, self.c = lay, c
        y = np.log(lay.kv) if log else lay.kv
        blocks = max(len(lay.blocks), 1)
        cell = lay.level * blocks + lay.block
        self.cells, first, self.cell = np.unique(cell, return_index=True, return_inverse=True)
        self.level_of, self.block_of = lay.level[first], lay.block[first]
        means = _centres(y, self.cell, lay.withstood)
        _, at, self.filling = np.unique(lay.filling, return_index=True, return_inverse=True)
        self.filling_level, self.cell_of_filling = lay.level[at], self.cell[at]
        self.within, self.between = _scatter(y, self.cell, self.filling, self.cell[at], lay.level, len(lay.levels))
        mine = np.flatnonzero((self.level_of == c.level) & np.isin(self.block_of, c.lay.block[c.pair.rows]))
        self.mine = mine
        self.partner = {
            int(i): np.flatnonzero((self.level_of == base) & (self.block_of == self.block_of[i])) for i in mine
        }
        self.shared = c.pair.shared and all(len(v) for v in self.partner.values())
        self.shift = float(c.difference.first - c.difference.second)
        self.means = means
        oil = lay.oil if len(lay.oil) else lay.block
        self.oil_of = oil[first]
        self.own = self._own_shifts(means) if self.shared else self._oils(means, base)
        self.base = base
        self.relative = self._relative() if self.shared and self.own > 0 and not log else None
        self.top = float(y[lay.withstood].max()) if lay.withstood.any() else np.inf

    def _own_shifts(self, means: Array) -> float:
        """SD of the oils' own shifts, beyond what fillings explain; 0 with fewer than three oils."""
        if len(np.unique(self.oil_of[self.mine])) < ENOUGH_OILS:
            return 0.0
        shifts = np.array([means[i] - means[self.partner[int(i)]].mean() for i in self.mine])
        noise = np.mean([self._noise(int(i)) + self._noise(int(self.partner[int(i)][0])) for i in self.mine])
        return float(np.sqrt(max(shifts.var(ddof=1) - noise, 0.0)))

    def _relative(self) -> tuple[float, float] | None:
        """Mean and SD, from oil to oil, of the logarithm of level over reference; None where shifts in kV will do.

        Where the shift is large beside the weakest oil, drawing it in kV would invent oils of no voltage at all.
        """
        refs = np.array([self.means[self.partner[int(i)]].mean() for i in self.mine])
        sds = np.hypot(self.within, self.between)[
            [self.c.level, int(self.level_of[self.partner[int(self.mine[0])][0]])]
        ]
        if (refs + self.shift).min() > 3 * self.own + 3 * sds.max():
            return None
        _, oil = np.unique(self.oil_of[self.mine], return_inverse=True)
        logs = np.log(np.maximum(self.means[self.mine], 1e-3) / refs)
        each = np.bincount(oil, logs) / np.bincount(oil)
        noise = np.mean([
            self._noise(int(i)) / self.means[i] ** 2 + self._noise(int(self.partner[int(i)][0])) / r**2
            for i, r in zip(self.mine, refs, strict=True)
        ]) / np.bincount(oil).mean()  # fmt: skip
        return float(each.mean()), float(np.sqrt(max(each.var(ddof=1) - noise, 0.0)))

    def _oils_anew(self, middle: Array, rng: np.random.Generator) -> tuple[float, float]:
        """Other oils with the references' means of those that were tested, and shifts in proportion; sets ``middle``
        and gives the average shift of such oils and that of those drawn, kV."""
        assert self.relative is not None
        centre, spread = self.relative
        oils, oil = np.unique(self.oil_of[self.mine], return_inverse=True)
        refs = np.array([self.means[self.partner[int(i)]].mean() for i in self.mine])
        average = np.bincount(oil, refs) / np.bincount(oil)
        chosen = average[rng.integers(len(oils), size=len(oils))]
        share = np.exp(centre + spread * rng.standard_normal(len(oils)))
        shifts = np.zeros(len(oils))
        for i, o in zip(self.mine, oil, strict=True):
            partner = self.partner[int(i)]
            middle[partner] = self.means[partner] * chosen[o] / average[o]
            level = middle[partner].mean() * share[o]
            shifts[o] += (level - middle[partner].mean()) / np.sum(oil == o)
            middle[i] = level
        return float(average.mean() * (np.exp(centre + spread**2 / 2) - 1)), float(shifts.mean())

    def _noise(self, cell: int) -> float:
        rows = self.cell == cell
        level = self.level_of[cell]
        k = len(np.unique(self.filling[rows]))
        return float(self.between[level] ** 2 / k + self.within[level] ** 2 / rows.sum())

    def _oils(self, means: Array, base: int) -> float:
        """SD between oils where each level has oils of its own."""
        parts = [means[(self.level_of == v)] for v in (self.c.level, base)]
        df = sum(len(p) - 1 for p in parts)
        return float(np.sqrt(sum(((p - p.mean()) ** 2).sum() for p in parts) / df)) if df > 0 else 0.0

    def again(
        self, rng: np.random.Generator, confidence: float, log: bool, past: Any, base: int
    ) -> tuple[float, float]:
        """Whether the limits of one invented study hold the average shift, and that of exactly its oils."""
        middle, average = self.means.copy(), self.shift
        sd = self.within[self.lay.level], self.between[self.filling_level]
        if self.relative is not None:
            average, these = self._oils_anew(middle, rng)
            strength = middle / self.means  # an oil of half the voltage scatters half as much
            sd = sd[0] * strength[self.cell], sd[1] * strength[self.cell_of_filling]
        elif self.shared:
            _, oil = np.unique(self.oil_of[self.mine], return_inverse=True)
            own = self.shift + self.own * rng.standard_normal(int(oil.max()) + 1)[oil]
            for i, s in zip(self.mine, own, strict=True):
                middle[i] = middle[self.partner[int(i)]].mean() + s
            these = float(np.mean([own[oil == o].mean() for o in np.unique(oil)]))
        else:
            at = np.isin(self.level_of, (self.c.level, base))
            d = self.c.difference
            assert d is not None
            middle[at] = np.where(self.level_of == self.c.level, d.first, d.second)[at]
            middle[at] += self.own * rng.standard_normal(int(at.sum())) * (self.c.holds_for == LIKE_THESE)
            these = self.shift
        lay = self.lay
        y = middle[self.cell] + (sd[1] * rng.standard_normal(len(self.filling_level)))[self.filling]
        y = y + sd[0] * rng.standard_normal(len(y))
        stood = y >= self.top
        kv = np.exp(np.minimum(y, self.top)) if log else np.maximum(np.minimum(y, self.top), 1e-3)
        made = compare(replace(lay, kv=kv, withstood=stood), self.c.level, base, log=log, history=past)
        if made.difference is None or not np.isfinite(made.difference.standard_error):
            return np.nan, np.nan
        low, high = made.difference.limits(confidence)
        true = average if made.holds_for == LIKE_THESE else these
        second = np.nan
        if made.these is not None:
            ends = made.these.limits(confidence)
            second = float(ends[0] <= these <= ends[1])
        return float(low <= true <= high), second

    def words(self, name: str) -> str:
        """The design in words."""
        lay, c = self.lay, self.c
        here = np.isin(lay.block, self.block_of[self.mine]) if self.shared else np.ones(len(lay.block), bool)
        one, other = (lay.fillings_of((lay.level == v) & here) for v in (c.level, self.base))
        text = f"{name}: {count_words(one, other)}"
        oils = len(np.unique(self.oil_of[self.mine]))
        text += f", {oils} oil{'s' * (oils > 1)}"
        within, between = float(self.within[c.level]), float(self.between[c.level])
        if within > 0:
            text += f", SD between fillings {between / within:.2g} times that within"
        if self.shared and self.own > 0:
            text += ", the oils' own shifts as found"
        return text


def _centres(y: Array, cell: Array, gone: Array) -> Array:
    """Means of the cells (cells,); where some withstood, maximum likelihood of the normal law with one SD for all."""
    if not gone.any():
        return np.asarray(np.bincount(cell, y) / np.bincount(cell))
    seen = np.bincount(cell, ~gone) > 0
    keep = seen[cell]
    code = np.unique(cell[keep], return_inverse=True)[1]
    fitted = fit_censored(y[keep], gone[keep], (code[:, None] == np.arange(code.max() + 1)).astype(float))
    out = np.full(len(seen), float(y[gone].max()))
    out[seen] = fitted.beta
    return out


def _scatter(
    y: Array, cell: Array, filling: Array, cell_of_filling: Array, level: Array, levels: int
) -> tuple[Array, Array]:
    """SDs within and between fillings of each level (levels,), those of all where a level's own cannot be told."""
    size = np.bincount(filling)
    mean = np.bincount(filling, y) / size
    left = (y - mean[filling]) ** 2
    number = np.bincount(cell_of_filling, minlength=int(cell.max()) + 1)
    centre = np.bincount(cell_of_filling, mean, len(number)) / np.maximum(number, 1)
    away = (mean - centre[cell_of_filling]) ** 2
    filling_level = level[np.unique(filling, return_index=True)[1]]
    cell_level = np.zeros(len(number), dtype=int)
    cell_level[cell] = level
    within, between = np.full(levels, np.nan), np.full(levels, np.nan)
    for at in (*range(levels), -1):
        rows, units = (level == at, filling_level == at) if at >= 0 else (level >= 0, filling_level >= 0)
        used = number[cell_level == at] if at >= 0 else number
        df_w, df_b = int(rows.sum() - units.sum()), int(np.maximum(used - 1, 0).sum())
        inside = left[rows].sum() / df_w if df_w > 0 else np.nan
        outside = away[units].sum() / df_b if df_b > 0 else np.nan
        both = max(outside - (0.0 if np.isnan(inside) else inside * float(np.mean(1 / size[units]))), 0.0)
        pair = np.sqrt(inside), (np.nan if np.isnan(outside) else np.sqrt(both))
        if at >= 0:
            within[at], between[at] = pair
        else:
            within = np.where(np.isnan(within), pair[0], within)
            between = np.where(np.isnan(between), pair[1], between)
    return np.nan_to_num(within), np.where(np.isnan(between), np.nan_to_num(within), between)

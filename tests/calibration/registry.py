"""What a line of the calibration table is: a study draws benches and counts how often each claim came true."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

import numpy as np
from scipy import stats

from methods.errors import NotEstimable

Kind = Literal["interval", "test", "promise"]
State = Literal["holds", "conservative", "poor"]
Outcomes = dict[str, np.ndarray]

#: How far from its claim a share may lie and still be said to hold: 93 to 97 % for an interval of 95 %.
ROOM: dict[str, float] = {"interval": 0.02, "test": 0.02, "promise": 0.03}

#: What the table says of a share inside the room, on the safe side of it, on the other.
WORDS: dict[tuple[str, str], str] = {
    ("interval", "holds"): "holds",
    ("interval", "conservative"): "conservative",
    ("interval", "poor"): "too narrow",
    ("test", "holds"): "holds",
    ("test", "conservative"): "conservative",
    ("test", "poor"): "rejects too often",
    ("promise", "holds"): "holds",
    ("promise", "conservative"): "better than promised",
    ("promise", "poor"): "falls short",
}


@dataclass(frozen=True)
class Claim:
    """One thing that a study counts.

    ``nominal`` is the share that the package claims; a share above it is safe for an interval or a promise of
    success, and unsafe for a test under its null hypothesis.
    """

    key: str
    what: str
    kind: Kind = "interval"
    nominal: float = 0.95
    room: float | None = None

    def band(self, state: State) -> tuple[float, float]:
        """The shares that agree with a state."""
        room = ROOM[self.kind] if self.room is None else self.room
        low, high = max(self.nominal - room, 0.0), min(self.nominal + room, 1.0)
        above, below = (high, 1.0), (0.0, low)
        if state == "holds":
            return low, high
        safe = above if self.kind != "test" else below
        unsafe = below if self.kind != "test" else above
        return safe if state == "conservative" else unsafe

    def state(self, share: float) -> State:
        """The state that a share stands for."""
        low, high = self.band("holds")
        if low <= share <= high:
            return "holds"
        return "conservative" if (share > high) == (self.kind != "test") else "poor"


@dataclass(frozen=True)
class Study:
    """A seeded simulation.

    ``run(repetitions, rng)`` gives for each claim an array of 0, 1 and nan (no answer was given in that repetition).
    ``repetitions`` are those of the fast test and of the long setting, with which the table is published.
    """

    name: str
    area: str
    data: str
    design: str
    claims: tuple[Claim, ...]
    run: Callable[[int, np.random.Generator], Outcomes] = field(repr=False)
    repetitions: tuple[int, int] = (100, 1000)

    def outcomes(self, repetitions: int, seed: int) -> Outcomes:
        """Run with a stream of its own, whatever else is run."""
        rng = np.random.default_rng([seed, *self.name.encode()])
        found = self.run(repetitions, rng)
        assert set(found) == {c.key for c in self.claims}, (self.name, sorted(found))
        return {k: np.asarray(v, dtype=float) for k, v in found.items()}


@dataclass(frozen=True)
class Found:
    """A claim's share, the answers behind it and the repetitions in which there was none."""

    claim: Claim
    hits: int
    given: int
    missing: int

    @property
    def share(self) -> float:
        return self.hits / self.given if self.given else float("nan")

    def limits(self, confidence: float = 0.95) -> tuple[float, float]:
        """Clopper and Pearson's limits of the share: the simulation's own error."""
        found = stats.binomtest(self.hits, self.given).proportion_ci(confidence, method="exact")
        return float(found.low), float(found.high)

    @property
    def state(self) -> State | Literal["close"]:
        """The state of the share; ``close`` where it lies outside the room by no more than the simulation's error."""
        state = self.claim.state(self.share)
        if state == "holds":
            return state
        low, high = self.claim.band("holds")
        found = self.limits()
        return "close" if found[0] <= high and low <= found[1] else state

    @property
    def short(self) -> bool:
        """Whether the claim lies outside the simulation's limits on the unsafe side, by whatever amount."""
        if not self.given:
            return False
        low, high = self.limits()
        return low > self.claim.nominal if self.claim.kind == "test" else high < self.claim.nominal

    @property
    def word(self) -> str:
        """The state in the words of the table; *a little* where the share is short of its claim inside the room."""
        if self.state != "poor" and self.short:
            return f"a little {WORDS[self.claim.kind, 'poor']}"
        return "close" if self.state == "close" else WORDS[self.claim.kind, self.state]

    def agrees(self, state: State, risk: float = 1e-4) -> bool:
        """Whether the share can come from a true one in the band of ``state`` (exact binomial tail above ``risk``)."""
        low, high = self.claim.band(state)
        too_few = stats.binom.cdf(self.hits, self.given, low) < risk
        too_many = stats.binom.sf(self.hits - 1, self.given, high) < risk
        return not (too_few or too_many)


def now() -> str:
    """The hour of a count, UTC, as the published tables give it."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M")


def count(study: Study, repetitions: int, seed: int) -> list[Found]:
    """Run a study and count, claim by claim."""
    rows = []
    outcomes = study.outcomes(repetitions, seed)
    for claim in study.claims:
        values = outcomes[claim.key].ravel()
        given = values[np.isfinite(values)]
        rows.append(Found(claim, int(given.sum()), len(given), len(values) - len(given)))
    return rows


def repeat(repetitions: int, one: Callable[[], dict[str, float | bool]], keys: Iterable[str]) -> Outcomes:
    """Call ``one`` again and again; a repetition that has no answer (``NotEstimable``) counts as missing."""
    names = list(keys)
    out: dict[str, list[float]] = {k: [] for k in names}
    for _ in range(repetitions):
        try:
            found = one()
        except NotEstimable:
            found = {}
        for k in names:
            out[k].append(float(found.get(k, np.nan)))
    return {k: np.array(v) for k, v in out.items()}


def inside(low: float | np.ndarray, truth: float | np.ndarray, high: float | np.ndarray) -> float | np.ndarray:
    """1 where the limits hold the truth, 0 where not, nan where there are none; an open end counts as infinite."""
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    none = np.isnan(low) & np.isnan(high)
    hit = (np.nan_to_num(low, nan=-np.inf) <= truth) & (truth <= np.nan_to_num(high, nan=np.inf))
    out = np.where(none, np.nan, hit.astype(float))
    return float(out) if out.ndim == 0 else out

"""The count of what the limits of a shift hold: it comes out near the claim, and sees limits that do not hold."""

from __future__ import annotations

import numpy as np
import pytest

from methods.errors import InputError
from methods.shifts import prove_shift, proving
from methods.shifts.difference import Difference
from tests.methods.shifts.test_shifts import bench

THREE = {(o, e): (m - 5 * (e == "m"), 2) for o, m in {"A": 40, "B": 50, "C": 60}.items() for e in "sm"}


def test_limits_of_a_shift_hold_at_a_usual_design() -> None:
    found = prove_shift(bench(THREE, seed=2), "electrode", reference="s", repetitions=300)
    assert [r.what for r in found.rows] == ["shift of m, oils like these", "shift of m, these oils"]
    for row in found.rows:
        assert row.repetitions == 300 and row.held > 0.91
    assert "3 oils" in found.design and "held the truth" in found.sentence


def test_the_same_seed_gives_the_same_count_and_another_differs() -> None:
    data = bench({("A", "s"): (50, 3), ("A", "m"): (45, 3)}, seed=2)
    first, again, other = (prove_shift(data, "electrode", repetitions=120, rng=r).rows[0].held for r in (1, 1, 2))
    assert first == again and abs(first - other) < 0.1


def test_limits_that_are_too_narrow_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = Difference.limits
    monkeypatch.setattr(Difference, "limits", lambda self, confidence: whole(self, 0.5))
    found = prove_shift(bench({("A", "s"): (50, 3), ("A", "m"): (45, 3)}, seed=2), "electrode", repetitions=200)
    assert found.rows[0].held < 0.65


def test_a_shift_as_large_as_the_weakest_oil_invents_no_oil_without_voltage() -> None:
    """Drawn in kV, shifts of some oils would lie below zero, and the limits seemed to hold in 6 of 10."""
    halved = {(o, e): (m * (0.45 if e == "m" else 1), 3) for o, m in {"A": 25, "B": 50, "C": 80}.items() for e in "sm"}
    found = prove_shift(bench(halved, seed=3), "electrode", reference="s", repetitions=150)
    assert all(row.held > 0.88 for row in found.rows)


def test_withstands_meet_the_same_ceiling_and_bad_requests_are_refused() -> None:
    frame = bench({("A", "s"): (58, 3), ("A", "m"): (50, 3)}, seed=4)
    hit = frame["kv"] >= 62
    frame["outcome"] = np.where(hit, "withstood", "breakdown")
    frame.loc[hit, "kv"] = 62.0
    found = prove_shift(frame, "electrode", repetitions=60)
    assert 0.8 < found.rows[0].held <= 1.0
    done: list[tuple[int, int]] = []
    prove_shift(frame, "electrode", repetitions=20, progress=lambda a, b: done.append((a, b)))
    assert done[0] == (0, 20) and len(done) == 2
    with pytest.raises(InputError):
        prove_shift(frame, "electrode", level="nothing")
    with pytest.raises(InputError):
        prove_shift(frame, "electrode", repetitions=0)
    assert proving.ENOUGH_OILS == 3

"""Limits on the benches people have: the published table is whole, and no default falls below its target."""

from __future__ import annotations

import pytest
from scipy import stats

from tests.calibration import benches
from tests.calibration.registry import count

LINES = benches.lines()
QUICK = [x for x in LINES if not x.study.name.startswith(("withstood", "same", "jump"))]


def published() -> list[list[str]]:
    rows = [r for r in benches.RESULTS.read_text(encoding="utf-8").splitlines() if r.startswith("| ")]
    cells = [[c.strip() for c in r.strip("|").split("|")] for r in rows]
    return [c for c in cells if c[0] not in ("what", "---")]


def test_the_published_table_lists_exactly_the_lines() -> None:
    assert [r[:4] for r in published()] == [
        [x.group, x.study.data, c.what, x.before] for x in LINES for c in x.study.claims
    ]


def test_no_published_line_lies_below_its_target() -> None:
    for row in published():
        assert not row[7].startswith("below"), row


@pytest.mark.parametrize("line", QUICK, ids=lambda x: x.study.name)
def test_a_line_again_with_another_seed(line: benches.Line) -> None:
    """Thirty repetitions: enough to see a default that lost a fifth of its coverage."""
    for found in count(line.study, 30, seed=7):
        least = found.claim.nominal - 0.03
        assert stats.binom.cdf(found.hits, found.given, least) > 1e-4, (line.study.name, found.claim.what, found.share)

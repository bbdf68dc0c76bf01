"""The calibration studies: a few repetitions always, four times the published number with GAPSHIFT_LONG=1.

A share is compared with the band of its documented state (93 to 97 % for an interval that holds) by exact binomial
tails, so that a small number of repetitions widens the room instead of failing by chance.
"""

from __future__ import annotations

import os
import re

import numpy as np
import pytest

from methods import plan
from methods.shifts import all_pairs, shift
from methods.shifts.comparisons import games_howell
from tests.calibration import promises, scenarios, several_conditions, table
from tests.calibration.catalogue import studies
from tests.calibration.known import KNOWN, known, told
from tests.calibration.registry import WORDS, Claim, Found, State, Study, count

LONG = os.environ.get("GAPSHIFT_LONG") == "1"

#: Chance of a false alarm for one line; there are several hundred.
RISK = 1e-4


def documented(study: Study, claim: Claim) -> State:
    item = known(study.name, claim.key)
    return "holds" if item is None else item.state


def published() -> list[tuple[str, ...]]:
    """Rows of the published table: what, data, design, claim, found, repetitions, none, mark, counted."""
    rows = [r for r in table.RESULTS.read_text(encoding="utf-8").splitlines() if r.startswith("| ")]
    cells = [tuple(c.strip() for c in r.strip("|").split("|")) for r in rows]
    return [c for c in cells if len(c) == 9 and c[0] not in ("what", "---")]


@pytest.mark.parametrize("study", studies(), ids=lambda s: s.name)
def test_study(study: Study) -> None:
    fast, full = study.repetitions
    for found in count(study, 4 * full if LONG else fast, seed=7):
        state = documented(study, found.claim)
        assert found.given, f"{study.name}, {found.claim.what}: no answer at all"
        assert found.agrees(state, RISK), (
            f"{study.name}, {found.claim.what}: {found.share:.3f} of {found.given} is documented as {state!r} "
            f"({found.claim.band(state)})"
        )


def test_the_published_table_lists_exactly_the_studies() -> None:
    lines = [(c.what, s.data, s.design, f"{100 * c.nominal:.3g} %") for s in studies() for c in s.claims]
    assert [row[:4] for row in published()] == sorted(lines, key=lambda x: _area_order()[x[:3]])


def test_every_kind_of_plan_is_carried_out_and_keeps_its_promise() -> None:
    assert {s.name.split()[1] for s in promises.studies()} == set(plan.kinds)
    told = {c.what for s in promises.studies() for c in s.claims}
    rows = [row for row in published() if row[0] in told]
    assert len(rows) >= len(told)
    assert not [row for row in rows if row[7] in ("falls short", "rejects too often", "no answer")]


def _area_order() -> dict[tuple[str, str, str], int]:
    areas = list(dict.fromkeys(s.area for s in studies()))
    placed = sorted(studies(), key=lambda s: areas.index(s.area))
    return {(c.what, s.data, s.design): i for i, (s, c) in enumerate((s, c) for s in placed for c in s.claims)}


def test_the_published_marks_are_those_that_are_documented() -> None:
    by_line = {(c.what, s.data, s.design): (s, c) for s in studies() for c in s.claims}
    for row in published():
        study, claim = by_line[row[0], row[1], row[2]]
        share = float(re.match(r"[\d.]+", row[4])[0]) / 100  # type: ignore[index]
        found = Found(claim, round(share * int(row[5])), int(row[5]), 0)
        assert found.agrees(documented(study, claim), RISK), row
        mark = WORDS[claim.kind, documented(study, claim)]
        assert row[7] in (mark, "close", f"a little {WORDS[claim.kind, 'poor']}"), row
        assert (row[7] not in ("holds", "close")) or not found.short, row


def test_few_defaults_are_short_of_their_claim() -> None:
    """By whatever amount, where no sentence tells it: no more than chance makes of lines that hold exactly."""
    defaults = [(c.what, s.data, s.design) for s in studies() for c in s.claims
                if s.area in table.DEFAULTS and not told(s.name, c.key)]  # fmt: skip
    rows = [row for row in published() if row[:3] in defaults]
    short = [row for row in rows if row[7].startswith("a little") or row[7] in ("too narrow", "falls short")]
    assert len(short) <= len(rows) / 40, short


def test_a_share_a_little_short_of_its_claim_is_said_to_be() -> None:
    claim = Claim("x", "an interval")
    words = [Found(claim, n, 10000, 0).word for n in (9300, 9420, 9470, 9500, 9750)]
    assert words == ["a little too narrow", "a little too narrow", "holds", "holds", "conservative"]


def test_every_poor_line_says_what_to_do() -> None:
    for item in KNOWN:
        assert item.state != "holds"
        assert item.advice.endswith(".") or item.state == "conservative", item


def test_every_documented_departure_is_of_a_study() -> None:
    used = {known(s.name, c.key) for s in studies() for c in s.claims}
    assert [k for k in KNOWN if k not in used] == []


def test_poor_on_purpose_is_seen_to_be_poor() -> None:
    """Wald limits of six breakdowns are far too narrow, and the table must show it."""
    study = next(s for s in studies() if s.name == "fit normal 6")
    wald = [f for f in count(study, 300, seed=3) if "wald" in f.claim.what]
    assert len(wald) == 3
    assert {found.word for found in wald} == {"too narrow"}
    assert not min(wald, key=lambda found: found.hits).agrees("holds", RISK)


def test_a_share_is_judged_by_exact_binomial_tails() -> None:
    claim = Claim("x", "an interval")
    assert Found(claim, 95, 100, 0).agrees("holds")
    assert not Found(claim, 80, 100, 0).agrees("holds")
    assert Found(claim, 80, 100, 0).agrees("poor")
    assert not Found(claim, 970, 1000, 0).agrees("poor")
    assert Found(claim, 1000, 1000, 0).agrees("conservative")
    size = Claim("x", "a test", "test", 0.05)
    words = [Found(size, n, 1000, 0).word for n in (10, 50, 100)]
    assert words == ["conservative", "holds", "rejects too often"]
    assert Found(claim, 91, 100, 0).word == "close"
    np.testing.assert_allclose(Found(claim, 95, 100, 0).limits(), (0.8872, 0.9836), atol=1e-4)  # Clopper & Pearson


def test_batches_agree_with_the_package() -> None:
    """The studies that work in a batch take the package's own factors; one bench each by the front door."""
    kv = scenarios.nested(np.random.default_rng(4), 1, 9, 5)[0]
    groups = {name: kv[3 * i : 3 * i + 3].mean(axis=1) for i, name in enumerate("abc")}
    row = games_howell(groups).iloc[0]
    half = np.exp(np.polyval(several_conditions._games_howell_factor(3, 3), 1 / row["df"]))
    error = np.sqrt(sum(groups[n].var(ddof=1) / 3 for n in "ab"))
    np.testing.assert_allclose(half * error, row["high"] - row["difference"], rtol=2e-3)
    frame = scenarios.frame(kv, electrode=np.repeat(list("abc"), 15), sample="oil")
    found = all_pairs(frame, "electrode", procedure="tukey").pairs[0]
    pooled = np.sqrt(np.mean([v.var(ddof=1) for v in groups.values()]))
    factor = several_conditions._tukey_factor(3, (3, 3, 3))[0]
    np.testing.assert_allclose(factor * pooled, found.high_kv - found.difference_kv, rtol=1e-6)
    assert shift(frame, "electrode", reference="a").shifts[0].fillings == 3


def test_a_study_repeats_itself_with_its_seed() -> None:
    study = next(s for s in studies() if s.name == "one way normal")
    first, again, other = (count(study, 40, seed) for seed in (1, 1, 2))
    assert [f.hits for f in first] == [f.hits for f in again]
    assert [f.hits for f in first] != [f.hits for f in other]


def test_the_command_prints_a_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert table.main(["--only", "ecdf band 1 x 6"]) == 0
    text = capsys.readouterr().out
    assert "| band of the empirical distribution, everywhere at once | any law, independent | n = 6 | 95 % |" in text
    assert text.startswith("# Calibration")

"""Confounding read from the design matrix, of one comparison and of several factors."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.columns import factor_name, name_level, with_unit
from methods.errors import InputError, NotEstimable
from methods.shifts import confounding, shift
from methods.shifts.bundles import is_sum
from methods.shifts.designs import estimable, independent


def bench_tests(
    *conditions: tuple, columns: tuple[str, ...] = ("electrode", "gap_mm"), fillings: int = 2
) -> pd.DataFrame:
    """Invented tests, the same oil, two fillings of two for each condition."""
    rng = np.random.default_rng(0)
    rows = []
    for condition in conditions:
        for f in range(fillings):
            for _ in range(2):
                rows.append({**dict(zip(columns, condition, strict=True)), "filling": str(f), "kv": rng.normal(50, 5)})
    return pd.DataFrame(rows)


def caution(frame: pd.DataFrame, **options: object) -> str:
    result = shift(frame, "electrode", reference="spherical", **options)  # type: ignore[arg-type]
    return " ".join(w.text for w in result.cautions if w.code == "confounded")


def test_a_bundle_is_named_with_levels_and_a_way_out() -> None:
    text = caution(bench_tests(("disk", 2.54), ("spherical", 2.5)))
    assert "gap (disk: 2.54 mm, spherical: 2.5 mm)" in text
    assert "test disk with gap 2.5 mm too" in text
    assert "cannot be told" in text


def test_no_bundle_where_the_factors_cross() -> None:
    crossed = bench_tests(("disk", 2.0), ("disk", 2.5), ("spherical", 2.0), ("spherical", 2.5))
    assert caution(crossed) == ""


def test_uneven_spread_is_said_and_held_equal() -> None:
    frame = bench_tests(("disk", "K"), ("disk", "M"), ("spherical", "M"), columns=("electrode", "operator"))
    text = caution(frame)
    assert "spread unevenly" in text and "cannot be told" not in text
    assert caution(frame, within=["operator"]) == ""


def test_a_factor_that_is_not_said_counts() -> None:
    text = caution(bench_tests(("disk", None), ("spherical", 2.5)))
    assert "disk: not said" in text


def test_extra_columns_count() -> None:
    text = caution(bench_tests(("disk", "a"), ("spherical", "b"), columns=("electrode", "season")))
    assert "season" in text


def test_what_belongs_to_a_method_is_not_advised() -> None:
    frame = bench_tests(("D877", "disk", 2.54), ("D1816", "mushroom", 2.0), columns=("method", "electrode", "gap_mm"))
    text = " ".join(w.text for w in shift(frame, "method").cautions if w.code == "confounded")
    assert "electrode" in text and "To separate" not in text


@pytest.mark.parametrize("seed", range(30))
def test_walk_of_the_graph_is_the_rank_of_the_matrix(seed: int) -> None:
    """The graph walk answers what the rank of the dummy columns answers."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 12))
    one, two, target = rng.integers(0, 3, n), rng.integers(0, 4, n), rng.integers(0, 2, n)
    if seed % 2:
        target = (two > 1).astype(int)
    x = np.column_stack([one[:, None] == np.arange(3), two[:, None] == np.arange(4)]).astype(float)
    aliased = np.linalg.matrix_rank(np.column_stack([x, target])) == np.linalg.matrix_rank(x)
    assert is_sum(target, one, two) == aliased


def test_estimable_effects_of_several_factors() -> None:
    columns = ("electrode", "gap_mm", "stirring")
    frame = bench_tests(
        ("disk", 2.54, "none"), ("spherical", 2.5, "none"), ("spherical", 2.5, "continuous"), columns=columns
    )
    result = confounding(frame, ["electrode", "gap_mm", "stirring"])
    status = {e.effect: e.status for e in result.effects}
    assert status == {"electrode": "not", "gap_mm": "not", "stirring": "estimable"}
    assert result.aliased == [["electrode", "gap_mm"]]
    assert len(result.suggestions) == 1 and result.complete
    assert {e.effect: e.status for e in result.combinations}["electrode × stirring"] == "not"
    assert "electrode" in result.sentences[0] and "gap" in result.sentences[0]
    assert "gap_mm" not in " ".join(result.sentences)


def test_a_crossed_design_has_every_effect_and_combination() -> None:
    frame = bench_tests(*[(e, g) for e in ("disk", "spherical") for g in (1.0, 2.0)])
    result = confounding(frame, ["electrode", "gap_mm"])
    assert [e.status for e in result.effects] == ["estimable"] * 2
    assert [e.status for e in result.combinations] == ["estimable"]
    assert result.suggestions == [] and result.complete


def test_combinations_of_two_can_hide_a_third() -> None:
    """Half a 2 x 2 x 2 (Fisher): main effects free of each other, each aliased with a combination of two."""
    columns = ("electrode", "stirring", "operator")
    frame = bench_tests(("d", "n", "x"), ("d", "c", "y"), ("s", "n", "y"), ("s", "c", "x"), columns=columns)
    result = confounding(frame, list(columns))
    assert [e.status for e in result.effects] == ["estimable"] * 3
    assert [e.status for e in result.combinations] == ["not"] * 3


def test_oils_are_blocks() -> None:
    frame = bench_tests(("disk", 2.5), ("spherical", 2.5))
    frame["sample"] = np.where(frame["electrode"] == "disk", "A", "B")
    result = confounding(frame, ["electrode"])
    assert result.effects[0].status == "not" and result.effects[0].aliased_with == ["sample"]
    assert confounding(frame, ["electrode"], within_sample=False).effects[0].status == "estimable"


def test_independent_and_estimable() -> None:
    x = np.array([[1.0, 1, 0], [1, 0, 1], [1, 1, 0]])
    assert independent(x).tolist() == [0, 1]
    assert estimable(x, np.array([0.0, 1, -1])) is not None
    assert estimable(x, np.array([0.0, 1, 0])) is None


def test_refusals() -> None:
    frame = bench_tests(("disk", 2.5), ("spherical", 2.5))
    with pytest.raises(InputError):
        confounding(frame, ["season"])
    with pytest.raises(NotEstimable):
        confounding(frame, ["gap_mm"])


def test_names_of_levels_keep_all_their_digits() -> None:
    assert name_level("batch", 20250101) == "batch 20250101" and name_level("batch", 20250102.0) == "batch 20250102"
    assert with_unit("gap_mm", 2.54) == "2.54 mm" and with_unit("gap_mm", 2.0) == "2 mm"
    assert name_level("electrode", "disk") == "disk" and factor_name("rise_kv_s") == "rate of rise"


def test_only_tests_that_can_be_made_are_suggested() -> None:
    frame = bench_tests(
        ("disk", 2.54, "North", "K. Ferro"), ("spherical", 2.5, "South", "M. Osei"),
        columns=("electrode", "gap_mm", "laboratory", "operator"),
    )  # fmt: skip
    found = confounding(frame, within_sample=False)
    assert found.suggestions  # the electrodes can be exchanged between the laboratories
    for text in found.suggestions:
        asked = text.split(" with ")[0]
        assert not any(word in asked for word in ("operator", "laboratory", "gap"))
    assert not found.complete
    free = bench_tests(("disk", 1.0), ("spherical", 2.5))
    assert (
        any("gap 2.5 mm" in t or "gap 1 mm" in t for t in confounding(free).suggestions) or confounding(free).complete
    )

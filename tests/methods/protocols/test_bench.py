"""Bench time and oil from the protocols' waits, pauses and ramps."""

from __future__ import annotations

import pytest

from methods.errors import InputError
from methods.protocols import bench_time, by_key
from methods.protocols.bench import for_liquid


def test_iec_worked_by_hand() -> None:
    """5 min wait, six ramps of 60 kV at 2 kV/s, five pauses of 2 min (IEC 60156:1995 cl. 9), 5 min of cleaning."""
    found = bench_time("IEC 60156:1995", mean_kv=60)
    assert found.parts == pytest.approx({"cleaning": 5, "waiting": 5, "ramps": 3, "pauses": 10})
    assert found.minutes == pytest.approx(23) and found.oil_volume_ml == 350 and len(found.assumptions) == 1


@pytest.mark.parametrize(("key", "seconds"), [("astm_d877_a", 20), ("iec_60156_2018", 30), ("astm_d1816_2mm", 120)])
def test_seconds_of_a_ramp_to_60_kv(key: str, seconds: float) -> None:
    found = bench_time(by_key(key), fillings=1, breakdowns_per_filling=1, mean_kv=60)
    assert found.parts["ramps"] * 60 == pytest.approx(seconds) and found.parts["pauses"] == 0


def test_fillings_scale_everything() -> None:
    one = bench_time("astm_d1816_2mm", fillings=1, breakdowns_per_filling=5, mean_kv=50)
    three = bench_time("astm_d1816_2mm", fillings=3, breakdowns_per_filling=5, mean_kv=50)
    assert three.minutes == pytest.approx(3 * one.minutes)
    assert bench_time("D877 B", mean_kv=30).fillings == 5


def test_what_is_not_known_is_assumed_aloud() -> None:
    found = bench_time("jis_c_2101_m")
    said = " ".join(found.assumptions)
    assert (
        all(n in said for n in ("rest after filling", "pause between", "rate of rise", "no mean"))
        and found.oil_volume_ml is None
    )
    assert sum(found.parts.values()) == pytest.approx(found.minutes)


@pytest.mark.parametrize(
    ("kwargs", "column"),
    [
        ({"protocol": "nothing"}, "protocol"),
        ({"fillings": 0}, "fillings"),
        ({"breakdowns_per_filling": 2.5}, None),
        ({"mean_kv": -1}, "mean_kv"),
        ({"cleaning_minutes": -1}, "cleaning_minutes"),
        ({"protocol": "nbr_6869"}, "fillings"),
    ],
)
def test_refused(kwargs: dict[str, object], column: str | None) -> None:
    with pytest.raises(InputError) as caught:
        bench_time(**{"protocol": "IEC 60156", **kwargs})  # type: ignore[arg-type]
    assert column is None or caught.value.column == column


def test_esters_and_viscous_liquids_rest_longer_and_it_says_so() -> None:
    oil = bench_time("ASTM D1816 2 mm", mean_kv=50, fluid="mineral oil")
    for fluid in ("natural ester", "synthetic ester", "silicone fluid"):
        slow = bench_time("ASTM D1816 2 mm", mean_kv=50, fluid=fluid)
        assert slow.parts["waiting"] == 15 and oil.parts["waiting"] == 3
        assert any("15 min after filling" in a and "common practice, no source" in a for a in slow.assumptions)
    unknown = bench_time("ASTM D1816 2 mm", mean_kv=50)
    assert unknown.minutes == oil.minutes and "as for mineral oil" in " ".join(unknown.assumptions)
    assert "mineral oil" not in " ".join(oil.assumptions)
    mixed = for_liquid(by_key("astm_d1816_2mm"), ["mineral oil", "natural ester"])
    assert mixed.wait_after_filling_s.value == (180 + 900) / 2
    assert for_liquid(by_key("astm_d1816_2mm"), [None, "mineral oil"]) == by_key("astm_d1816_2mm")

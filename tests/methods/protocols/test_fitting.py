"""A limit fits, or it is refused, or what is not known is said."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from dashboard.cli import main
from methods import decide, decide_all
from methods.errors import InputError
from methods.protocols.fitting import liquid_of


def breakdowns(**cells: object) -> pd.DataFrame:
    """Invented: six breakdowns by IEC 60156 on one filling."""
    row = {"sample": "A", "method": "IEC 60156", "electrode": "spherical", "gap_mm": 2.5, "stirring": "none",
           "rise_kv_s": 2.0, "filling": "1", **cells}  # fmt: skip
    return pd.DataFrame([{**row, "kv": kv} for kv in (61.0, 58, 64, 55, 60, 62)])


@pytest.mark.parametrize(
    ("text", "kind"),
    [("natural ester", "natural ester"), ("Mineral oil, uninhibited", "mineral oil"), ("silicone fluid", "silicone"),
     ("synthetic-ester", "synthetic ester"), ("ester", None), ("oil", None), (None, None)],
)  # fmt: skip
def test_liquids_are_known_by_their_words(text: object, kind: str | None) -> None:
    assert liquid_of(text) == kind


def limit(liquid: str) -> str:
    from methods.protocols.limits import limit_table

    table = limit_table()
    fits = table[(table["liquid"] == liquid) & (table["method"] == "iec_60156") & table["kv"].notna()]
    return str(fits["key"].iloc[0])


def test_the_limit_of_another_liquid_is_refused() -> None:
    key = limit("natural ester")
    with pytest.raises(InputError, match="the oil is mineral oil.*natural ester"):
        decide(breakdowns(fluid="mineral oil"), key)
    fits = decide(breakdowns(fluid="natural ester"), key)
    assert "liquid_unknown" not in {c.code for c in fits.cautions}
    unknown = decide(breakdowns(), key)
    assert {"liquid_unknown", "limit_stage"} <= {c.code for c in unknown.cautions}


def test_departures_from_the_method_stand_with_the_verdict() -> None:
    key = limit("natural ester")
    plain = decide(breakdowns(fluid="natural ester"), key)
    assert "departs_from_method" not in {c.code for c in plain.cautions}
    for cells, word in (({"rise_kv_s": 0.5}, "rate of rise"), ({"electrode": "disk"}, "electrode disk")):
        found = decide(breakdowns(fluid="natural ester", **cells), key)
        told = [c.text for c in found.cautions if c.code == "departs_from_method"]
        assert told and word in told[0] and "prescribed" in told[0]
    bench = breakdowns(method="ASTM D1816", electrode="mushroom", gap_mm=2.0, stirring="continuous", rise_kv_s=0.5)
    warm = decide(bench.assign(temperature_c=41.0), 40.0, limit_method="ASTM D1816 2 mm")
    assert any("temperature 41 to 41" in c.text for c in warm.cautions)


def test_a_verdict_is_about_one_procedure() -> None:
    both = pd.concat([breakdowns(), breakdowns(electrode="mushroom")], ignore_index=True)
    with pytest.raises(InputError, match="one oil by one procedure"):
        decide_all(both, 40.0, limit_method="IEC 60156", by=["sample"])
    assert len(decide_all(both, 40.0, limit_method="IEC 60156").decisions) == 2


def test_limits_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["limits", "--json"]) == 0
    everything = json.loads(capsys.readouterr().out)["limits"]
    assert main(["limits", "--method", "ASTM D1816 1 mm", "--fluid", "mineral oil", "--json"]) == 0
    some = json.loads(capsys.readouterr().out)["limits"]
    assert 0 < len(some) < len(everything)
    assert {x["method"] for x in some} == {"astm_d1816"} and {x["gap_mm"] for x in some} <= {1.0, None}
    assert main(["limits", "--fluid", "water"]) == 2
    assert "No liquid is known" in capsys.readouterr().err


def test_one_limit_is_not_applied_to_two_gaps() -> None:
    row = {"method": "ASTM D1816", "electrode": "mushroom", "stirring": "continuous", "rise_kv_s": 0.5}
    both = pd.concat([breakdowns(**row, gap_mm=1.0), breakdowns(**row, gap_mm=2.0)], ignore_index=True)
    with pytest.raises(InputError, match="1 mm and 2 mm.*Name the gap"):
        decide_all(both, 30.0, limit_method="D1816")
    found = decide_all(both, 30.0, limit_method="D1816 2 mm")
    assert len(found.decisions) == 1 and len(found.refused) == 1

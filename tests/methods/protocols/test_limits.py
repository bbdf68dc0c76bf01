"""Limits by document and edition, and the refusal to compare across methods."""

from __future__ import annotations

from pathlib import Path

import pytest

from methods.errors import InputError
from methods.protocols import (
    CHECK,
    by_key,
    check_comparable,
    comparable_limits,
    limit_for,
    limit_table,
    load_limits,
    precision_statements,
    recognise,
)
from methods.protocols.limits import BOUNDARIES, KINDS

# Trade knowledge, remembered: IEC 60422:2013 (good, poor), IEEE C57.106-2015, ASTM D3487, IEC 61099, IEC 62770;
# IEC 60296 from a specification sheet.
REMEMBERED = {
    "iec_60422_2013/o_a_good": 60,
    "iec_60422_2013/o_a_poor": 50,
    "iec_60422_2013/b_good": 50,
    "iec_60422_2013/b_poor": 40,
    "iec_60422_2013/c_good": 40,
    "iec_60422_2013/c_poor": 30,
    "iec_60422_2013/e_poor": 40,
    "iec_60422_2013/new_to_72": 55,
    "iec_60296/delivered": 30,
    "iec_60296/treated": 70,
    "astm_d3487/d877": 30,
    "astm_d3487/d1816_1mm": 20,
    "astm_d3487/d1816_2mm": 35,
    "ieee_c57_106_2015/new_69_230_1mm": 30,
    "ieee_c57_106_2015/new_from_345_2mm": 60,
    "ieee_c57_106_2015/service_69_230_2mm": 47,
    "iec_61099_2010/minimum": 45,
    "iec_62770_2013/minimum": 35,
}


@pytest.mark.parametrize(("key", "kv"), REMEMBERED.items())
def test_values(key: str, kv: float) -> None:
    limit = limit_for(key)
    assert limit.kv.value == kv and limit.kv.mark in ("memory", "published") and limit.check == CHECK


def test_everything_carries_a_mark_and_what_is_uncertain_is_empty() -> None:
    for document in load_limits().values():
        assert document.check == CHECK
        for limit in document.limits:
            assert limit.kv.source and limit.boundary in BOUNDARIES and limit.kind in KINDS
            assert (limit.kv.mark == "uncertain") == (limit.kv.value is None)
            if limit.method == "astm_d1816":
                assert limit.gap_mm in (1.0, 2.0)
    assert len(limit_table()) > 40


def test_the_edition_in_force_ships_empty() -> None:
    document = load_limits()["iec_60422_2024"]
    assert document.limits == () and "do not assume" in document.notes[0]
    with pytest.raises(InputError, match="ships without numbers"):
        limit_for("iec_60422_2024/b_poor")


def test_a_result_of_the_same_method_is_compared() -> None:
    protocol = recognise("IEC 60156")
    found = check_comparable(limit_for("iec_60422_2013/b_poor"), protocol)
    assert found.limit_kv == 40 and found.boundary == "not stated" and CHECK in found.sentence
    assert "settle it first" in found.sentence
    assert check_comparable(limit_for("iec_60296/treated"), recognise("VDE 0370")).boundary == "passes"
    assert check_comparable(limit_for("astm_d3487/d877"), recognise("D877 B")).limit_kv == 30


@pytest.mark.parametrize(
    ("limit", "text", "said"),
    [
        ("iec_60422_2013/b_poor", "ASTM D1816 2 mm", "no standard converts"),
        ("astm_d3487/d877", "IEC 60156:2018", "no standard converts"),
        ("astm_d3487/d877", "ABNT NBR 6869", "no standard converts"),  # disks, but not the same text
        ("astm_d3487/d1816_2mm", "ASTM D1816", "gap of the result is not known"),
        ("astm_d3487/d1816_2mm", "ASTM D1816 1 mm", "taken at 1 mm"),
        ("iec_60296/delivered", "IEC 60156, 1 mm", "gap of the result is not known"),
        ("iec_60296/delivered", "something", "method of the result is not known"),
        ("iec_60422_2013/g_action", "IEC 60156", "is empty"),
    ],
)
def test_refusals(limit: str, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        check_comparable(limit_for(limit), recognise(text))


OWN = """
key = "house"
document = "House rule"
edition = "3"
boundary = "fails"
[[limit]]
name = "drum"
method = "iec_60156"
gap_mm = 2.5
method_edition = "2018"
kv = 42
[[limit]]
name = "open"
method = "astm_d1816"
kv = 20
"""


def test_limits_of_ones_own_bound_to_an_edition(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "house.toml").write_text(OWN, "utf-8")
    monkeypatch.setenv("GAPSHIFT_LIMITS", str(tmp_path))
    limit = limit_for("house/drum")
    assert (limit.kv.value, limit.kv.mark, limit.boundary) == (42, "own copy", "fails")
    for good in (recognise("IEC 60156:2018"), by_key("iec_60156_2018")):
        assert check_comparable(limit, good).limit_kv == 42
    with pytest.raises(InputError, match="states none"):
        check_comparable(limit, recognise("IEC 60156"))
    with pytest.raises(InputError, match="states none"):
        check_comparable(limit, recognise("EN 60156"))
    with pytest.raises(InputError, match="result is by 1995"):
        check_comparable(limit, recognise("IEC 60156:1995"))
    with pytest.raises(InputError, match="neither the limit"):
        check_comparable(limit_for("house/open"), recognise("D1816"))
    keys = [x.key for x in comparable_limits(by_key("iec_60156_2018"))]
    assert "house/drum" in keys and "iec_60422_2013/b_poor" in keys and "iec_60422_2013/g_action" not in keys


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('document = "x"', "every document"),
        (OWN + 'colour = "red"', "no such key"),
        ('key = "x"\ndocument = "x"\n[[limit]]\nname = "a"\nkv = 30', "meaningless"),
        ('key = "x"\ndocument = "x"\n[[limit]]\nname = "a"\nmethod = "iec_60156"\nkv = -3', "above zero"),
        ('key = "x"\ndocument = "x"\n[[limit]]\nmethod = "iec_60156"', "has a name"),
        ('key = "x"\ndocument = "x"\n[[limit]]\nname = "a"\nmethod = "m"\nkind = "max"', "must be one of"),
        ('key = "x"\ndocument = "x"\nboundary = "maybe"\n[[limit]]\nname = "a"\nmethod = "m"', "must be one of"),
        (OWN + '[[limit]]\nname = "open"\nmethod = "m"', "its own name"),
    ],
)
def test_a_bad_file_is_named(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "house.toml").write_text(text, "utf-8")
    with pytest.raises(InputError, match="house.toml") as caught:
        load_limits(tmp_path)
    assert said in str(caught.value) and caught.value.rule


def test_precision_statements_are_ordinary_95_percent_limits() -> None:
    """ASTM D1816-04 cl. 11: the printed limits are 1.96 sqrt(2) times the printed CoV, rounded."""
    said = precision_statements()
    for key in ("astm_d1816_1mm", "astm_d1816_2mm"):
        s = said[key]
        for cov, limit in ((s.cov_same_percent, s.r_percent), (s.cov_between_percent, s.R_percent)):
            assert cov.mark == limit.mark == "published"
            assert 1.96 * 2**0.5 * cov.value == pytest.approx(limit.value, abs=1.3)
    assert said["astm_d1816_2mm"].r_percent.value == 30 and said["astm_d1816_1mm"].R_percent.value == 47
    for key in ("astm_d877", "iec_60156"):
        assert said[key].r_percent.value is None and said[key].R_percent.value is None


def test_a_statement_of_ones_own(tmp_path: Path) -> None:
    (tmp_path / "precision.toml").write_text('[[statement]]\nprotocol = "astm_d877"\nr_percent = 25\n', "utf-8")
    found = precision_statements(tmp_path)["astm_d877"]
    assert (found.r_percent.value, found.r_percent.mark, found.R_percent.value) == (25, "own copy", None)
    (tmp_path / "precision.toml").write_text('[[statement]]\nprotocol = "astm_d877"\nr_percent = "x"\n', "utf-8")
    with pytest.raises(InputError, match="precision.toml"):
        precision_statements(tmp_path)

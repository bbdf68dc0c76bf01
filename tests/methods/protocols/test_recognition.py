"""What laboratories write for a method: over sixty spellings, and those that must stay unknown."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from methods.protocols import load, recognise, stated_gap

KNOWN = {
    "D-1816 2MM": "astm_d1816_2mm",
    "ASTM D 1816 - 1 mm": "astm_d1816_1mm",
    "D1816-04 (2 mm)": "astm_d1816_2mm",
    "ASTM D1816-12(2019), 1 mm": "astm_d1816_1mm",
    "d1816 1,0 mm": "astm_d1816_1mm",
    "ASTM D1816 @ 2mm": "astm_d1816_2mm",
    "ASTM-D1816 2 mm VDE electrodes": "astm_d1816_2mm",
    "1816 2 mm": "astm_d1816_2mm",
    "D 1816": "astm_d1816",
    "ASTM D1816": "astm_d1816",
    "D1816-2": "astm_d1816",
    "D1816 1.5 mm": "astm_d1816",
    "D1816 1 mm / 2 mm": "astm_d1816",
    "ASTM\u00a0D1816\u20132 mm": "astm_d1816_2mm",
    "ＡＳＴＭ Ｄ１８１６ ２ｍｍ": "astm_d1816_2mm",
    "D877": "astm_d877",
    "ASTM D-877": "astm_d877",
    "astm d 877": "astm_d877",
    "877": "astm_d877",
    "D877B": "astm_d877_b",
    "D877 A": "astm_d877_a",
    "ASTM D877-02 B": "astm_d877_b",
    "ASTM D877/D877M-19": "astm_d877",
    "ASTM D877/D877M-19 Procedure B": "astm_d877_b",
    "D877 proc. A": "astm_d877_a",
    "D877 (Method B)": "astm_d877_b",
    "ASTM D877-13e1": "astm_d877",
    "ASTM D877, 2.5 mm": "astm_d877",
    "D877-A": "astm_d877_a",
    "IEC156": "iec_60156",
    "IEC 156": "iec_60156",
    "IEC 60156": "iec_60156",
    "iec-60156": "iec_60156",
    "IEC60156": "iec_60156",
    "60156": "iec_60156",
    "CEI 60156": "iec_60156",
    "IEC 60156 (2018)": "iec_60156_2018",
    "IEC 60156:2018": "iec_60156_2018",
    "IEC 60156 Ed. 3": "iec_60156_2018",
    "IEC 60156 Ed. 3.0": "iec_60156_2018",
    "IEC 60156 2nd edition": "iec_60156_1995",
    "IEC 60156-95": "iec_60156_1995",
    "IEC 156:1995": "iec_60156_1995",
    "IEC 156 (1963)": "iec_156_1963",
    "IEC_60156_2018-08": "iec_60156_2018",
    "IEC 60156:1995, mushroom": "iec_60156_1995",
    "МЭК 60156": "iec_60156",
    "EN 60156": "en_60156",
    "BS EN 60156:1996": "en_60156",
    "DIN EN 60156": "en_60156",
    "VDE 0370": "en_60156",
    "VDE 0370-5": "en_60156",
    "VDE 0370 Teil 5": "en_60156",
    "DIN EN 60156 / VDE 0370-5": "en_60156",
    "DIN EN 60156 (VDE 0370-5):1996-03": "en_60156",
    "NF EN 60156": "en_60156",
    "CEI EN 60156": "en_60156",
    "UNE-EN 60156:1997": "en_60156",
    "EN IEC 60156:2018": "iec_60156_2018",
    "GOST 6581": "gost_6581_75",
    "GOST 6581-75": "gost_6581_75",
    "ГОСТ 6581-75": "gost_6581_75",
    "GOST R IEC 60156-2013": "gost_r_iec_60156_2013",
    "ГОСТ Р МЭК 60156": "gost_r_iec_60156_2013",
    "JIS C2101": "jis_c_2101",
    "JIS C 2101:1999": "jis_c_2101",
    "JIS C 2101 (M)": "jis_c_2101_m",
    "JIS C2101 S": "jis_c_2101_s",
    "IS 6792": "is_6792_1992",
    "IS:6792-1992": "is_6792_1992",
    "GB/T 507": "gb_t_507_2002",
    "GB/T507-2002": "gb_t_507_2002",
    "GBT 507": "gb_t_507_2002",
    "GB 507-86": "gb_507_1986",
    "GB507-1986": "gb_507_1986",
    "IS 6792:2017": "is_6792_2017",
    "IS 6792-2017": "is_6792_2017",
    "AS 1767.2.1-1999": "as_1767_2_1",
    "SANS 60156": "sans_60156",
    "IRAM 2341": "iram_2341",
    "NBR 6869": "nbr_6869",
    "ABNT NBR-6869": "nbr_6869",
    "NBR 10859": "nbr_10859",
    "ABNT NBR IEC 60156": "nbr_iec_60156",
}

UNKNOWN = [
    "",
    "   ",
    None,
    math.nan,
    60156,
    "oil test",
    "BDV",
    "in-house",
    "D8770",
    "D18160",
    "IEC 1560",
    "IEC 60247",
    "VDE 0370-1",
    "VDE 0370 Teil 1",
    "ASTM D924",
    "sample 877",
    "IEC 60156 / ASTM D1816",
    "D877 or D1816",
    "IEC",
    "GB/T 5070",
    "IS 67920",
    "160156",
    "2.5 mm",
]


def test_there_are_at_least_sixty_spellings() -> None:
    assert len(KNOWN) >= 60


@pytest.mark.parametrize(("text", "key"), KNOWN.items())
def test_known(text: str, key: str) -> None:
    found = recognise(text)
    assert found is not None and found.key == key


@pytest.mark.parametrize("text", UNKNOWN)
def test_unknown_stays_unknown(text: object) -> None:
    assert recognise(text) is None


@pytest.mark.parametrize("key", sorted(load()))
def test_every_key_and_designation_means_itself(key: str) -> None:
    protocol = load()[key]
    for text in (key, protocol.designation):
        found = recognise(text)
        assert found is not None and found.key == key


@pytest.mark.parametrize(
    ("text", "edition"),
    [
        ("D1816-04 (2 mm)", "2004"),
        ("D1816-12(2019), 1 mm", "2012"),
        ("ASTM D877/D877M-19", "2019"),
        ("IEC 60156", None),
        ("IEC 60156:2018", "2018"),
        ("IEC 60156 ed. 2", "1995"),
        ("GOST 6581-75", "1975"),
        ("D1816 2 mm", None),
        ("EN 60156", None),
        ("GB/T 507-86", "1986"),
    ],
)
def test_edition_stated(text: str, edition: str | None) -> None:
    found = recognise(text)
    assert found is not None and found.edition_stated == edition


@pytest.mark.parametrize(
    ("text", "edition", "key", "stated"),
    [
        ("IEC 60156", "2018", "iec_60156_2018", "2018"),
        ("IEC 60156", 1995, "iec_60156_1995", "1995"),
        ("IEC 60156", "1995.0", "iec_60156_1995", "1995"),
        ("IEC 60156", "ed. 3", "iec_60156_2018", "2018"),
        ("IEC 60156", "3", "iec_60156_2018", "2018"),
        ("IEC 60156", "", "iec_60156", None),
        ("IEC 60156", math.nan, "iec_60156", None),
        ("IEC 60156", "unspecified", "iec_60156", None),
        ("IEC 60156:1995", "2018", "iec_60156", None),  # they contradict each other: neither is taken
        ("ASTM D1816 2 mm", "12(2019)", "astm_d1816_2mm", "2012"),
        ("ASTM D877 A", "19", "astm_d877_a", "2019"),
    ],
)
def test_edition_column(text: str, edition: object, key: str, stated: str | None) -> None:
    found = recognise(text, edition)
    assert found is not None and (found.key, found.edition_stated) == (key, stated)


def test_an_edition_that_is_not_stated_is_not_2018() -> None:
    found = recognise("IEC 60156")
    assert found is not None and found.edition == "unspecified"


def test_the_gap_of_d1816_is_never_guessed_but_taken_when_given() -> None:
    without, with_gap = recognise("ASTM D1816"), recognise("ASTM D1816", gap_mm=2.0)
    assert without is not None and without.gap_mm.value is None and "gap_mm" not in without.fixed()
    assert with_gap is not None and with_gap.key == "astm_d1816_2mm" and with_gap.fixed()["gap_mm"] == 2.0


def test_gaps_that_contradict_each_other_leave_it_open() -> None:
    found = recognise("ASTM D1816 2 mm", gap_mm=1.0)
    assert found is not None and found.key == "astm_d1816" and not found.gap_mm.known
    other = recognise("IEC 60156, 1 mm")
    assert other is not None and not other.gap_mm.known and "gap_mm" not in other.fixed()


def test_stated_choices_are_taken_and_contradictions_left_open() -> None:
    mushroom = recognise("IEC 60156 ed. 3 mushroom, unstirred")
    assert mushroom is not None and mushroom.fixed() == {
        "electrode": "mushroom",
        "gap_mm": 2.5,
        "rise_kv_s": 2.0,
        "stirring": "none",
    }
    caps = recognise("IEC 60156 partially spherical, stirred")
    assert caps is not None and caps.fixed()["electrode"] == "mushroom" and caps.fixed()["stirring"] == "continuous"
    balls = recognise("IEC 60156 spheres")
    assert balls is not None and balls.fixed()["electrode"] == "spherical" and "stirring" not in balls.fixed()
    odd = recognise("ASTM D877 with spheres")
    assert odd is not None and "electrode" not in odd.fixed() and odd.stated["electrode"] == "spherical"


@pytest.mark.parametrize(
    ("text", "gap"),
    [
        ("2 mm", 2.0),
        ("2,5mm", 2.5),
        ("gap 1.0 MM", 1.0),
        ("1 mm or 2 mm", None),
        ("36 mm", None),
        ("2 mm2/s", None),
        ("D1816", None),
    ],
)
def test_stated_gap(text: str, gap: float | None) -> None:
    assert stated_gap(text) == gap


@given(st.text(max_size=60))
def test_no_text_breaks_it(text: str) -> None:
    found = recognise(text)
    assert found is None or found.key in load()

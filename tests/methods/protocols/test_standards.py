"""The shipped protocols: values of the standards with their marks; and those of a user's own folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from methods.errors import InputError
from methods.protocols import CHECK, MARKS, by_key, load, recognise
from methods.protocols.library import STANDARDS
from methods.protocols.rules import load_rules
from methods.result import as_json


def test_what_ships() -> None:
    wanted = {
        "astm_d877_a",
        "astm_d877_b",
        "astm_d1816_1mm",
        "astm_d1816_2mm",
        "iec_60156_1995",
        "iec_60156_2018",
        "en_60156",
        "gb_t_507_2002",
        "gb_507_1986",
        "is_6792_1992",
        "is_6792_2017",
        "gost_6581_75",
        "gost_r_iec_60156_2013",
        "jis_c_2101_m",
        "jis_c_2101_s",
        "as_1767_2_1",
        "sans_60156",
        "iram_2341",
        "nbr_6869",
        "nbr_10859",
        "nbr_iec_60156",
    }
    assert wanted <= set(load())


@pytest.mark.parametrize("key", sorted(load()))
def test_marks(key: str) -> None:
    protocol = load()[key]
    assert protocol.check == CHECK and protocol.edition and CHECK in (STANDARDS / protocol.file).read_text("utf-8")
    for name, value in protocol.values.items():
        assert value.mark in MARKS and value.mark != "own copy", name
        assert value.source, name
        if value.mark == "uncertain":
            assert value.value is None and not value.choices, f"{key}.{name}: what is uncertain ships empty"
    if protocol.rule.value is not None:
        assert protocol.rule.value in load_rules()


# Published: ASTM D877 cl. 7, ASTM D1816-04 cl. 9 and 10, IEC 60156:1995 cl. 4 and 9 (as read in excerpts).
PUBLISHED = {
    "astm_d877_a": {
        "electrode": "disk",
        "gap_mm": 2.54,
        "rise_kv_s": 3.0,
        "frequency_low_hz": 45.0,
        "temperature_low_c": 20.0,
    },
    "astm_d877_b": {"breakdowns_per_filling": 1, "fillings": 5},
    "astm_d1816_1mm": {
        "gap_mm": 1.0,
        "rise_kv_s": 0.5,
        "rise_tolerance_kv_s": 0.025,
        "wait_after_filling_s": 180.0,
        "wait_after_filling_max_s": 300.0,
        "pause_s": 60.0,
        "pause_max_s": 90.0,
        "breakdowns_per_filling": 5,
        "fillings": 1,
        "stirring": "continuous",
        "rounding_digits": 2,
        "electrode": "mushroom",
    },
    "astm_d1816_2mm": {"gap_mm": 2.0, "rise_kv_s": 0.5, "breakdowns_per_filling": 5},
    "iec_60156_1995": {
        "gap_mm": 2.5,
        "gap_tolerance_mm": 0.05,
        "rise_kv_s": 2.0,
        "rise_tolerance_kv_s": 0.2,
        "wait_after_filling_s": 300.0,
        "pause_s": 120.0,
        "breakdowns_per_filling": 6,
        "fillings": 1,
        "cell_volume_min_ml": 350.0,
        "cell_volume_max_ml": 600.0,
    },
    "jis_c_2101_m": {"electrode": "spherical", "breakdowns_per_filling": 5, "fillings": 2},
    "jis_c_2101_s": {"breakdowns_per_filling": 1, "fillings": 5},
}


@pytest.mark.parametrize(("key", "name"), [(k, n) for k, names in PUBLISHED.items() for n in names])
def test_published_values(key: str, name: str) -> None:
    value = getattr(by_key(key), name)
    assert value.mark == "published" and value.value == PUBLISHED[key][name]


def test_what_each_fixes() -> None:
    assert by_key("astm_d877_a").fixed() == {"electrode": "disk", "gap_mm": 2.54, "rise_kv_s": 3.0, "stirring": "none"}
    assert by_key("astm_d1816_2mm").fixed() == {
        "electrode": "mushroom",
        "gap_mm": 2.0,
        "rise_kv_s": 0.5,
        "stirring": "continuous",
    }
    for key in ("iec_60156", "iec_60156_1995", "iec_60156_2018", "en_60156"):
        assert by_key(key).fixed() == {"gap_mm": 2.5, "rise_kv_s": 2.0}
    for key in ("sans_60156", "iram_2341", "iec_156_1963"):
        assert by_key(key).fixed() == {}


def test_an_adoption_is_never_better_known_than_the_relation() -> None:
    assert by_key("iec_60156_1995").gap_mm.mark == "published"
    assert by_key("iec_60156_2018").gap_mm.mark == by_key("en_60156").gap_mm.mark == "memory"
    assert by_key("iec_60156_2018").stirring.choices == ("continuous", "none")


def test_the_brazilian_texts_are_not_lumped_with_iec() -> None:
    assert by_key("nbr_6869").fixed() == {"electrode": "disk"}
    assert by_key("nbr_10859").fixed() == {"electrode": "mushroom"}
    assert by_key("nbr_6869").family != "iec_60156" and by_key("nbr_iec_60156").family == "iec_60156"


def test_variants() -> None:
    protocol = by_key("iec_60156_2018").variant(electrode="mushroom", stirring="none")
    assert protocol.fixed() == {"electrode": "mushroom", "gap_mm": 2.5, "rise_kv_s": 2.0, "stirring": "none"}
    with pytest.raises(InputError, match="does not offer electrode 'disk'"):
        by_key("iec_60156_2018").variant(electrode="disk")


def test_departures() -> None:
    protocol = by_key("astm_d877_a")
    assert protocol.departures(electrode="disk", gap_mm=2.5, rise_kv_s=3.5, stirring=None) == []
    found = protocol.departures(electrode="spherical", gap_mm=2.0, rise_kv_s=2.0)
    assert [f.split()[0] for f in found] == ["electrode", "gap_mm", "rise_kv_s"]


def test_json() -> None:
    document = as_json(by_key("iec_60156_1995"))
    assert document["gap_mm"] == {"value": 2.5, "mark": "published", "source": "IEC 60156:1995 cl. 4"}
    assert document["electrode"]["choices"] == ["spherical", "mushroom"] and document["check"] == CHECK


OWN = """
key = "house_fast"
designation = "House method fast"
aliases = ["HM-7"]
gap_mm = 2
electrode = "spherical"
rise_kv_s = { value = 1.0, mark = "common practice", source = "work instruction" }
breakdowns_per_filling = 8
"""


def test_a_protocol_of_ones_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "fast.toml").write_text(OWN, encoding="utf-8")
    protocol = load(tmp_path)["house_fast"]
    assert protocol.fixed() == {"electrode": "spherical", "gap_mm": 2.0, "rise_kv_s": 1.0}
    assert protocol.gap_mm.mark == "own copy" and protocol.edition == "unspecified"
    assert recognise("HM 7") is None
    monkeypatch.setenv("GAPSHIFT_PROTOCOLS", str(tmp_path))
    for text in ("HM 7", "house method FAST", "house_fast"):
        found = recognise(text)
        assert found is not None and found.key == "house_fast"


def test_a_shipped_protocol_is_replaced_by_one_of_the_same_key(tmp_path: Path) -> None:
    text = 'key = "sans_60156"\ndesignation = "SANS 60156"\nbased_on = "iec_60156_1995"\n'
    (tmp_path / "sans.toml").write_text(text, encoding="utf-8")
    assert load(tmp_path)["sans_60156"].fixed() == {"gap_mm": 2.5, "rise_kv_s": 2.0}
    assert load()["sans_60156"].fixed() == {}


@pytest.mark.parametrize(
    ("text", "column", "said"),
    [
        ("gap_mm = 2", "key", "every protocol has it"),
        (OWN + "gap = 3", "gap", "no such key"),
        (OWN + "pause_s = -5", "pause_s", "above zero"),
        (OWN + "fillings = 1.5", "fillings", "whole number"),
        (OWN + 'wait_after_filling_s = "long"', "wait_after_filling_s", "must be a number"),
        (OWN + 'stirring = "stirred"', "stirring", "one of none, between, continuous"),
        (OWN + 'pause_s = { value = 60, mark = "sure" }', "pause_s.mark", "must be one of"),
        (OWN + 'pause_s = { value = 60, mark = "published" }', "pause_s.source", "where it comes from"),
        (OWN + 'based_on = "nothing"', "based_on", "must be the key of"),
        (OWN + "pause_s = 60\npause_s = 70", None, "not valid TOML"),
        (OWN + "notes = 5", "notes", "list of texts"),
    ],
)
def test_a_bad_file_is_named(tmp_path: Path, text: str, column: str | None, said: str) -> None:
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="bad.toml") as caught:
        load(tmp_path)
    assert caught.value.column == column and said in str(caught.value) and caught.value.rule


def test_circles_twins_and_missing_folders(tmp_path: Path) -> None:
    for name, base in (("a", "b"), ("b", "a")):
        (tmp_path / f"{name}.toml").write_text(
            f'key = "{name}"\ndesignation = "{name}"\nbased_on = "{base}"\n', "utf-8"
        )
    with pytest.raises(InputError, match="circle"):
        load(tmp_path)
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text('key = "a"\ndesignation = "A"\n', "utf-8")
    with pytest.raises(InputError, match="already has it"):
        load(tmp_path)
    with pytest.raises(InputError, match="no folder"):
        load(tmp_path / "none")
    with pytest.raises(InputError, match="no protocol 'x'"):
        by_key("x")

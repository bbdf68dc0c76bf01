"""Every trap of hand-typed sheets, one row each: the file, and what must come out. All data are invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from methods.errors import InputError, UnusableFile
from methods.records import Records, read


def load(text: str | bytes, **options: Any) -> Records:
    return read(text.encode() if isinstance(text, str) else text, name="sheet.csv", **options)


def kv(records: Records) -> list[float]:
    return [round(v, 4) for v in records.table["kv"]]


def said(records: Records, words: str) -> bool:
    """Whether a guess or problem speaks of this."""
    cells = [*records.guesses.to_numpy().ravel(), *records.problems.to_numpy().ravel()]
    return not words or any(words in str(c) for c in cells)


@pytest.mark.parametrize(
    ("text", "values", "words"),
    [
        ("s;kV\nA;58,4\nA;61,2\n", [58.4, 61.2], "comma"),
        ('s,kV\nA,"58,4"\nA,"61,2"\n', [58.4, 61.2], "comma"),
        ("58,4\n61,2\n55,0\n", [58.4, 61.2, 55.0], "comma"),
        ("kV\n58,4\n61,2\n", [58.4, 61.2], "comma"),
        ("s\tBDV (V)\nA\t58.400\nA\t61.250\n", [58.4, 61.25], "thousands mark"),
        ("s;BDV (V)\nA;58 400\nA;61'250\n", [58.4, 61.25], ""),
        ("s,BDV (kV)\nA,1.250\nA,1.300\n", [1.25, 1.3], "thousands"),
        ("s,BDV\nA,58400\nA,61200\n", [58.4, 61.2], "V, turned into kV"),
        ("s,BDV (kV)\nA,58.4 kV\nA,58400 V\n", [58.4, 58.4], ""),
        ("s,gap,E (kV/mm)\nA,2.5,20\nA,2.5 mm,24\n", [50, 60], "kV/mm times the gap in mm"),
        ("s,gap,E (kV/cm)\nA,2.5,200\nA,2.5 mm,240\n", [50, 60], "kV/cm times the gap in cm"),
        ("s,gap,kV/cm\nA,2.5,200\nA,2.5 mm,240\n", [50, 60], "kV/cm times the gap in cm"),
        ("s,gap,kV/mm\nA,2.5,20\nA,2.5 mm,24\n", [50, 60], "kV/mm times the gap"),
        ("s,kVp\nA,70.71068\nA,84.85281\n", [50, 60], "divided by √2"),
        ("s;kV\nA;58,4*\nA;61.0 (bubble)\n", [58.4, 61.0], "both comma and point"),
        ("s,kV\nA,５８．４\nA,٥٨٫٤\nA,+57\n", [58.4, 58.4, 57], ""),
        ("sep=;\ns;kV\nA;44\n", [44], ""),
        ("s|kV\nA|44\nB|45\n", [44, 45], ""),
    ],
)
def test_numbers(text: str, values: list[float], words: str) -> None:
    records = load(text)
    assert kv(records) == values
    assert records.refused == 0
    assert said(records, words)


@pytest.mark.parametrize(
    ("cell", "values", "held", "words"),
    [
        (">60", [55, 60], 1, ""),
        ("> 60", [55, 60], 1, ""),
        ("60+", [55, 60], 1, ""),
        ("no breakdown at 60", [55, 60], 1, ""),
        ("NB", [55], 0, "up to which voltage"),
        ("no BD", [55], 0, "--ceiling"),
        ("FS", [55], 0, "--ceiling"),
        ("<5", [55], 0, "bound from above"),
        ("0", [55], 0, "above zero"),
        ("-1", [55], 0, "above zero"),
        ("−1", [55], 0, "above zero"),
        ("999", [55], 0, "nines"),
        ("9999", [55], 0, "nines"),
        ("", [55], 0, ""),
        ("n/a", [55], 0, ""),
        ("#REF!", [55], 0, "error"),
        ("=B2*2", [55], 0, "formula"),
        ("01-May", [55], 0, "date"),
        ("2025-05-01", [55], 0, "date"),
        ("58/61", [55], 0, "more than one"),
        ("584", [55, 584], 0, "outside 1 to 120"),
    ],
)
def test_cells_beside_a_good_one(cell: str, values: list[float], held: int, words: str) -> None:
    records = load(f"sample,kV\nA,55\nA,{cell}\n")
    assert kv(records) == values
    assert records.withstood == held
    assert said(records, words)
    blank = cell in ("", "n/a")
    assert records.rows_read == 2 - blank
    assert records.refused == len(records.problems[records.problems["action"].str.startswith("refused")])


def test_a_word_for_no_breakdown_takes_the_only_ceiling_named() -> None:
    records = load("s,kV\nA,55\nA,>60\nA,NB\n")
    assert records.withstood == 2 and kv(records) == [55, 60, 60]
    assert said(records, "the only ceiling")
    assert load("s,kV\nA,55\nA,NB\n", ceiling_kv=70).table["kv"].tolist() == [55, 70]


def test_a_wall_of_equal_round_maxima_is_a_guess_that_can_be_overruled() -> None:
    text = "oil,kV\n" + "".join(f"X,{v}\n" for v in (48.2, 60.0, 55.1, 60.0, 60.0, 51.2, 60.0, 44.7))
    records = load(text)
    assert (records.breakdowns, records.withstood) == (4, 4)
    assert "--no-ceiling" in records.guesses["option"].iloc[0]
    assert load(text, ceiling_kv=False).withstood == 0
    assert load(text, ceiling_kv=55.1).withstood == 1
    assert said(load(text, ceiling_kv=55.1), "above the given ceiling")


@pytest.mark.parametrize(
    "values", [(48, 55, 60, 60, 52, 51), (60, 52, 52, 52, 52, 60, 60, 52, 52), (48, 57, 57, 57, 55, 51)]
)
def test_no_wall_is_seen_where_there_is_none(values: tuple[int, ...]) -> None:
    assert load("oil,kV\n" + "".join(f"X,{v}\n" for v in values)).withstood == 0


def test_each_instrument_has_its_own_ceiling() -> None:
    one = "".join(f"X,{v},old\n" for v in (48.2, 60, 55.1, 60, 60, 51.2))
    two = "".join(f"X,{v},new\n" for v in (68.2, 80, 75.1, 61.3, 79.9, 81.2))
    assert load("oil,kV,instrument\n" + one + two).withstood == 3


def test_columns_beside_the_breakdowns_are_no_breakdowns() -> None:
    text = "id,b1,b2,b3,Mean,SD,CoV %,Min,Max,Range\nA,44,45,49,46,2.65,5.8,44,49,5\nB,50,51,52,48,1,2,50,52,2\n"
    records = load(text)
    assert kv(records) == [44, 45, 49, 50, 51, 52]
    mismatch = records.problems[records.problems["column"] == "Mean"]
    assert mismatch[["row", "found"]].to_numpy().tolist() == [[3, "48"]]
    assert "51" in mismatch["rule"].iloc[0]
    assert mismatch["action"].iloc[0].startswith("kept")
    assert not any(c in records.table for c in ("Mean", "SD", "Range"))


def test_a_mean_without_heading_is_found_by_arithmetic() -> None:
    records = load("A,44,45,49,46\nB,50,51,52,51\nC,40,41,48,43\n")
    assert records.breakdowns == 9 and said(records, "is the mean")


def test_a_mean_of_two_digits_is_rounding_and_a_mean_over_withstood_values_is_not() -> None:
    assert load("id,b1,b2,b3,Mean\nA,44.1,45.9,46.6,46\n").problems.empty
    assert said(load("id,b1,b2,b3,Mean\nA,44,45,>60,49.7\n"), "withstood values is too low")


def test_order_lost() -> None:
    rising = "id,b1,b2,b3,b4,b5\n" + "".join(f"S{i},{40 + i},{41 + i},{43 + i},{44 + i},{47 + i}\n" for i in range(4))
    assert said(load(rising), "the order of the breakdowns is lost")
    mixed = "id,b1,b2,b3,b4,b5\n" + "".join(f"S{i},{45 + i},{41 + i},{43 + i},{49 + i},{47 + i}\n" for i in range(4))
    assert not said(load(mixed), "order of the breakdowns is lost")


def test_duplicates_are_kept_and_flagged() -> None:
    wide = load("id,b1,b2,b3\nA,44.1,45.2,46.3\nB,51,50,52\nA,44.1,45.2,46.3\n")
    assert wide.breakdowns == 9
    assert wide.problems[["row"]].to_numpy().tolist() == [[4]] and said(wide, "exported twice")
    rows = "A,1,1,44\nA,1,2,45\nA,1,3,49\n"
    assert said(load("sample,filling,shot,kV\n" + rows + rows), "exported twice")
    bare = "A,44.1\nA,45.2\nA,46.3\nA,44.4\nA,43.1\nA,47\n"
    assert said(load("sample,kV\n" + bare + bare), "exported twice")
    assert not said(load("sample,filling,shot,kV\n" + rows), "exported twice")


def test_fewer_breakdowns_than_the_others() -> None:
    records = load("id,b1,b2,b3,b4,b5\nA,44,45,49,46,41\nB,50,51,52,51,\nC,50,54,52,51,55\n")
    assert said(records, "incomplete") and records.rows_read == 14


def test_ids_that_look_like_another_filling() -> None:
    records = load("id,b1,b2\nA,44,45\nA',41,42\nA-2,44,49\nB,50,51\n")
    assert records.table["sample"].nunique() == 4
    assert sum("another filling of 'A'" in r for r in records.problems["rule"]) == 2


@pytest.mark.parametrize(
    ("heading", "cells", "options", "values", "words"),
    [
        ("temp", ["77", "78"], {}, [25, 25.5556], "Fahrenheit"),
        ("Temp (°F)", ["77", "78"], {}, [25, 25.5556], ""),
        ("Temp (°C)", ["77", "78"], {}, [77, 78], ""),
        ("temp", ["20", "77"], {}, [20, 77], ""),
        ("temp", ["22 °C", "75 F"], {}, [22, 23.8889], ""),
        ("temp", ["295.15 K", "22,5"], {}, [22, 22.5], ""),
        ("temp", ["ambient", "22"], {}, [None, 22], "left empty"),
        ("gap", ["2.5 mm", "0.1 in"], {}, [2.5, 2.54], ""),
        ("Gap (mil)", ["100", "80"], {}, [2.54, 2.032], ""),
        ("gap", ["0.1", "2"], {}, [0.1, 2], "inches"),
        ("rise", ["2 kV/s", "500 V/s"], {}, [2, 0.5], ""),
        ("Moisture ppm", ["12", "15,5"], {}, [12, 15.5], "ppm are mg/kg"),
        ("Water (µL/L)", ["12", "15"], {}, [None, None], "left empty"),
    ],
)
def test_quantities(heading: str, cells: list[str], options: dict[str, Any], values: list[Any], words: str) -> None:
    name = {"t": "temperature_c", "g": "gap_mm", "r": "rise_kv_s", "m": "water_mg_kg", "w": "water_mg_kg"}[
        heading[0].lower()
    ]
    records = load(f"sample;kV;{heading}\nA;55;{cells[0]}\nA;56;{cells[1]}\n", **options)
    found = [None if np.isnan(v) else round(v, 4) for v in records.table[name]]
    assert found == values
    assert said(records, words)


@pytest.mark.parametrize(
    ("cells", "options", "first", "words"),
    [
        (["03/04/2025", "05/06/2025"], {}, "2025-04-03", "day first"),
        (["03/04/2025", "05/06/2025"], {"day_first": False}, "2025-03-04", ""),
        (["03/04/2025", "05/25/2025"], {}, "2025-03-04", ""),
        (["03.04.2025", "05.06.25"], {}, "2025-04-03", ""),
        (["2025-04-03", "2025-04-04 10:15"], {}, "2025-04-03", ""),
        (["3 Apr 2025", "4 Apr 2025"], {}, "2025-04-03", ""),
    ],
)
def test_dates(cells: list[str], options: dict[str, Any], first: str, words: str) -> None:
    records = load(f"sample;kV;date\nA;55;{cells[0]}\nA;56;{cells[1]}\n", **options)
    assert records.table["tested_on"].iloc[0] == first
    assert said(records, words)
    assert said(records, "--dates") == (words == "day first")


@pytest.mark.parametrize(
    ("electrode", "meaning"),
    [
        ("VDE", "mushroom"),
        ("Spherically capped", "mushroom"),
        ("partially spherical", "mushroom"),
        ("Kalotte 25 mm", "mushroom"),
        ("spheres", "spherical"),
        ("Ball 12.7 mm", "spherical"),
        ("flat discs", "disk"),
        ("Disk 1 in", "disk"),
        ("needle-plane", "needle-plane"),
    ],
)
def test_electrodes(electrode: str, meaning: str) -> None:
    assert load(f"s,electrode,kV\nA,{electrode},44\n").table["electrode"].tolist() == [meaning]


@pytest.mark.parametrize(
    ("word", "meaning", "words"),
    [
        ("no", "none", ""),
        ("none", "none", ""),
        ("still", "none", ""),
        ("yes", "continuous", "does not say when"),
        ("stirred", "continuous", "does not say when"),
        ("between", "between", ""),
        ("continuous", "continuous", ""),
        ("by hand", "by hand", ""),
        ("n/a", None, ""),
    ],
)
def test_stirring(word: str, meaning: str | None, words: str) -> None:
    records = load(f"s,stirring,kV\nA,{word},44\n")
    found = records.table["stirring"].iloc[0]
    assert (None if found != found else found) == meaning
    assert said(records, words)


def test_outcome_words() -> None:
    records = load("s,kV,status\nA,60,WS\nA,55,BD\nA,58,void\nA,57,exploded\nA,,no BD\nA,>60,exploded\n")
    assert records.table["outcome"].tolist() == ["withstood", "breakdown", "withstood", "withstood"]
    assert records.rows_read == 6 and records.problems["row"].tolist() == [4, 5]
    assert said(records, "status says 'void'") and said(records, "neither a breakdown nor withstood")
    assert load("s,kV,censored\nA,60,1\nA,55,0\n").table["outcome"].tolist() == ["withstood", "breakdown"]
    assert load("s,kV,event\nA,60,0\nA,55,1\n").table["outcome"].tolist() == ["withstood", "breakdown"]
    assert load("s,kV,outcome\nA,60,limit\nA,55,BD\n", censored="limit").withstood == 1
    other = load("s,kV,event\nA,60,ProcessDefect\nA,55,Surface\n")
    assert (
        other.withstood == 0
        and other.table["event"].tolist() == ["ProcessDefect", "Surface"]
        and said(other, "not read as outcome")
    )


def test_a_clock_beside_few_voltages() -> None:
    rows = "".join(f"{26 + 2 * (i // 4)},{5 + i * 7.1}\n" for i in range(16))
    assert said(load("kV,minutes\n" + rows), "time to breakdown at constant voltage")


def test_an_unquoted_decimal_comma_never_becomes_two_numbers() -> None:
    records = load("id,b1,b2\nA,44,45\nB,46,47\nC,58,4,61,2\nD,40,41\n")
    assert kv(records) == [44, 45, 46, 47, 40, 41]
    assert records.problems["row"].tolist() == [4, 4] and said(records, "cut a number in two")


def test_totals_footers_and_headings_again_are_accounted_for() -> None:
    records = load("sample,kV\nA,44\nA,45\nsample,kV\nB,50\n,\nMean,46.3\nSD,3\nReviewed by nobody,\n")
    assert kv(records) == [44, 45, 50]
    assert records.rows_read == 6
    assert records.problems["row"].tolist() == [4, 7, 8]
    assert said(records, "the heading again") and said(records, "summary row ('Mean')")


def test_rows_are_counted_as_the_user_sees_them() -> None:
    text = 'Report\nLab: X\n\nsample,"kV\n(rms)",note\nA,44,"two\nlines"\n\nB,abc,x\n'
    problems = load(text).problems
    assert problems["row"].tolist() == [9]
    assert problems["found"].tolist() == ["abc"]


def test_methods_fill_only_what_is_empty_and_say_so() -> None:
    records = load("s,method,gap,electrode,kV\nA,IEC 60156,,disk,44\nB,D877,,,50\nC,my own way,,,51\n")
    assert records.table["gap_mm"].tolist()[:2] == [2.5, 2.54] and np.isnan(records.table["gap_mm"].iloc[2])
    assert records.table["electrode"].tolist()[:2] == ["disk", "disk"]
    assert records.table["edition"].isna().all()
    assert said(records, "filled from protocol")
    assert records.problems[["row", "column", "found"]].to_numpy().tolist() == [[2, "electrode", "disk"]]


def test_several_spellings_of_one_method_become_one() -> None:
    records = load("s,method,gap,kV\nA,D-1816 2MM,,44\nB,ASTM D1816,2,45\nC,VDE 0370,,50\n")
    assert records.table["method"].nunique() == 2
    assert said(records, "'D-1816 2MM'")
    assert load("s,method,kV\nA,D1816 2 mm,44\n").table["method"].tolist() == ["D1816 2 mm"]


def test_d1816_without_a_gap_blocks_limits() -> None:
    records = load("s,method,kV\nA,D1816,44\n")
    assert said(records, "no comparison with a limit until the gap is given") and np.isnan(
        records.table["gap_mm"].iloc[0]
    )


def test_an_edition_is_never_assumed() -> None:
    assert load("s,method,kV\nA,60156,44\n").table["edition"].isna().all()
    assert load("s,method,kV\nA,IEC 60156:2018,44\n").table["edition"].tolist() == ["2018"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(encoding: str) -> None:
    records = load("Probe;Rührer;Durchschlagspannung (kV)\nÖl 1;ohne;58,4\nÖl 1;zwischen;61,0\n".encode(encoding))
    assert kv(records) == [58.4, 61.0]
    assert records.table["sample"].tolist() == ["Öl 1", "Öl 1"] and records.table["stirring"].tolist() == [
        "none",
        "between",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Sample,Mean kV,SD,n\nA,45,3,6\n", "summaries only"),
        ("t1,z\n44,1.2\n33,1.1\n", "'t1', 'z'"),
        ("s,kV measured,kV corrected\nA,44,40\n", "--value"),
        ("hello\nworld\n", "No number was found"),
        ("\n\n", "empty"),
        ("", "empty"),
        ("sample,kV\n", "No number was found"),
        ("sample,kV\nA,0\n", "None of the 1"),
        (bytes(range(256)) * 20, "binary"),
        ('s,kV\nA,"44\n', ""),
    ],
)
def test_unusable_files_say_why(text: str | bytes, words: str) -> None:
    if text == 's,kV\nA,"44\n':  # a quote that never ends still leaves one readable cell
        assert kv(load(text)) == [44]
        return
    with pytest.raises(UnusableFile, match=words):
        load(text)


def test_named_columns_are_taken_as_they_are() -> None:
    records = load("Batch,Yield,other\nA,1545,1\nA,1440,2\nB,999,3\n", columns={"kv": "yield", "filling": "BATCH"})
    assert kv(records) == [1545, 1440, 999] and records.table["filling"].tolist() == ["A", "A", "B"]
    assert records.problems.empty and records.table["other"].tolist() == [1, 2, 3]
    with pytest.raises(InputError, match="'Batch', 'Yield'"):
        load("Batch,Yield\nA,1\n", columns={"kv": "nowhere"})
    assert kv(load("a,b\n1,2\n3,4\n", columns={"kv": "2"})) == [2, 4]


def test_the_only_column_of_numbers_is_taken_as_a_guess() -> None:
    for text in ("y\n199.31\n999\n", "group,y,ID\n1,199.31,1\n2,999,2\n", "199.31\n999\n"):
        records = load(text)
        assert kv(records) == [199.31, 999] and said(records, "--value")


@pytest.mark.parametrize(
    "options",
    [
        {"unit": "MV"},
        {"decimal": ";"},
        {"layout": "round"},
        {"ceiling_kv": -1},
        {"ceiling_kv": True},
        {"thousands": "x"},
        {"sheet": "A"},
    ],
)
def test_wrong_options_are_refused(options: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        load("kV\n44\n", **options)


def test_options_overrule() -> None:
    assert kv(load("s;U\nA;1.250\n", thousands=".", unit="V")) == [1.25]
    assert kv(load("s;BDV\nA;58400\nB;58500\n", unit="V")) == [58.4, 58.5]
    assert kv(load("s;kV\nA;70.71068\n", unit="kVp")) == [50]
    assert kv(load("s;kV\nA;58.400\n", decimal=",")) == [58400]


def _long_list(cells: list[str]) -> bytes:
    return ("Sample;kV\n" + "".join(f"A;{c}\n" for c in cells)).encode()


def test_a_summary_over_withstands_without_a_voltage_names_the_ceiling_that_was_taken() -> None:
    cells = ["58.4", "55.1", "no bd", "52.3", "57.7", "no bd"]
    at_60 = np.array([58.4, 55.1, 60, 52.3, 57.7, 60])
    records = read(_long_list([*cells, f"{at_60.mean():.1f}", f"{at_60.std(ddof=1):.1f}"]))
    summed = records.problems[records.problems["code"] == "summary"]
    assert list(summed["found"]) == ["57.2", "3.0"]
    assert all("(withstands without a voltage counted as 60 kV)" in rule for rule in summed["rule"])


def test_readings_beside_withstands_without_a_voltage_are_hardly_taken_for_summaries() -> None:
    """Trying every ceiling finds one that fits nearly anything; invented series, of which none holds a summary."""
    rng = np.random.default_rng(1)
    lost = 0
    for _ in range(150):
        n = int(rng.integers(6, 13))
        cells = [f"{x:.1f}" for x in rng.normal(50, rng.uniform(3, 8), n)]
        for k in rng.choice(n - 3, int(rng.integers(1, 3)), replace=False):
            cells[k] = "no bd"
        lost += int((read(_long_list(cells)).problems["code"] == "summary").sum())
    assert lost == 0

"""Sheets typed by strangers: other countries, other habits, other shapes. All data are invented."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from methods.errors import InputError, UnusableFile
from methods.records import Records, read
from methods.records.table import as_table
from methods.shifts import shift


def load(text: str | bytes, name: str = "sheet.csv", **options: Any) -> Records:
    records = read(text.encode() if isinstance(text, str) else text, name=name, **options)
    refused = records.problems["action"].str.startswith("refused").sum()
    assert records.rows_read == records.breakdowns + records.withstood + refused
    return records


def kv(records: Records) -> list[float]:
    return [round(float(v), 6) for v in records.table["kv"]]


def told(records: Records, what: str) -> bool:
    return what in records.guesses["what"].tolist()


@pytest.mark.parametrize(
    ("text", "column", "levels"),
    [
        ("shot,fill 1,fill 2\n1,44,50\n2,45,51\n3,49,48\n", "filling", ["1", "2"]),
        ("Nr.;Füllung 1;Füllung 2\n1;44;50\n2;45;51\n3;49;48\n", "filling", ["1", "2"]),
        ("Fill 1;Fill 2\n44;50\n45;51\n49;48\n", "filling", ["1", "2"]),
        ("No,sphere,mushroom\n1,44,50\n2,45,51\n3,49,48\n", "electrode", ["spherical", "mushroom"]),
        ("sphere,mushroom\n44,50\n45,51\n49,48\n", "electrode", ["spherical", "mushroom"]),
        ("Oil,kV stirred,kV still\nA,44,50\nA,45,51\nB,49,48\n", "stirring", ["continuous", "none"]),
        ("Oil,D877,D1816 2mm\nA,44,50\nA,45,51\nB,49,48\n", "method", ["D877", "D1816 2mm"]),
        ("Oil;1 mm;2 mm\nA;44;50\nA;45;51\nB;49;48\n", "gap_mm", [1, 2]),
        ("Oil,BDV 1 mm (kV),BDV 2.5 mm (kV)\nA,44,50\nA,45,51\nB,49,48\n", "gap_mm", [1, 2.5]),
        ("Oil;Lab B;Lab C\nA;44;50\nA;45;51\nB;49;48\n", "laboratory", ["Lab B", "Lab C"]),
    ],
)
def test_columns_that_hold_levels(text: str, column: str, levels: list[Any]) -> None:
    records = load(text)
    by = {level: part["kv"].tolist() for level, part in records.table.groupby(column)}
    assert by == {levels[0]: [44, 45, 49], levels[1]: [50, 51, 48]}
    assert told(records, "levels") or records.source.layout == "transposed"


def test_levels_over_numbered_breakdowns() -> None:
    records = load("Oil,Fill 1,,,Fill 2,,\n,1,2,3,1,2,3\nA,58,60,61,57,55,59\nB,48,50,51,47,45,49\n")
    assert records.fillings == 4 and kv(records)[:6] == [58, 60, 61, 57, 55, 59]
    assert records.table["order"].tolist() == [1, 2, 3] * 4
    assert records.table["filling"].tolist() == ["1"] * 3 + ["2"] * 3 + ["1"] * 3 + ["2"] * 3


def test_two_tables_on_one_sheet() -> None:
    records = load("IEC 60156\nOil,b1,b2\nA,58,61\nB,60,62\n\nD1816 2 mm\nOil,b1,b2,b3\nA,45,41,44\n")
    assert records.table["method"].tolist() == ["IEC 60156"] * 4 + ["D1816 2 mm"] * 3
    assert records.origin["source_row"].tolist() == [3, 3, 4, 4, 8, 8, 8]
    assert records.fillings == 3 and told(records, "tables")
    assert kv(load("Oil,b1,b2\nA,58,61\nB,60,62\n\nSummary\nOil,Mean kV,SD\nA,59.5,2.1\n")) == [58, 61, 60, 62]
    days = load("Monday\nOil,b1,b2\nA,58,61\n\nTuesday\nOil,b1,b2\nA,57,60\n")
    assert days.fillings == 2 and days.table["table"].tolist() == ["Monday", "Monday", "Tuesday", "Tuesday"]
    assert load("Oil,kV\nA,58\n\nOil,kV\nB,60\n").refused == 1  # the heading again on a new page


def test_a_heading_is_not_looked_for_below_the_data() -> None:
    rows = "".join(f"S{i},{50 + i}\n" for i in range(9))
    assert load("Sample,kV\n" + rows + 'S9,"1,2,3"\nS10,1,2,3\n').breakdowns >= 9


@pytest.mark.parametrize(
    ("name", "method"),
    [
        ("D1816_2mm_may.csv", "D1816 2mm may"),
        ("iec60156.csv", "iec60156"),
        ("results 2025.csv", None),
        ("877 oils.csv", None),
    ],
)
def test_the_method_in_the_name_of_the_file(name: str, method: str | None) -> None:
    records = load("Sample,kV\nA,45\nA,46\n", name)
    assert (records.table["method"].iloc[0] if method else None) == method
    assert told(records, "method") == (method is not None)
    assert load("Sample,kV,Method\nA,45,D877\n", name).table["method"].tolist() == ["D877"]
    assert load("Sample,kV\nA,45\n", name, columns={"method": "-"}).table["method"].isna().all()


@pytest.mark.parametrize(
    "text",
    [
        'Probe;"Durchschlag (kV)"\n"A";"58,4"\n"B";"61,2"\n',
        'Probe,"Durchschlag, kV"\n"A","58,4"\n"B","61,2"\n',
        "Sample\tkV\t\t\nA\t58.4\t\t\nB\t61.2\t\t\n",
        "Sample|kV\nA|58.4\nB|61.2\n",
        "| Sample | kV |\n|--------|----|\n| A | 58.4 |\n| B | 61.2 |\n",
        "Sample   Gap   kV\nA        2.5   58.4\nB        2.5   61.2\n",
        "Sample   Gap   kV\nA        2,5   58,4\nB        2,5   61,2\n",
        "sample kV\nA 58.4\nB 61.2\n",
        "sep=;\nProbe;kV\nA;58,4\nB;61,2\n",
        "# exported\nsample,kV\nA,58.4\n# bubble seen\nB,61.2\n",
        "Sample,kV\rA,58.4\rB,61.2\r",
        "Sample,kV\r\nA,58.4\nB,61.2\r",
        "Sample,Gap,BDV\n(-),(mm),(kV)\nA,2.5,58.4\nB,2.5,61.2\n",
        'Sample,kV\nA,\'58.4\nB,"=""61.2"""\n',
        "Sample,kV¹\nA,58.4¹\nB,61.2 ²\n",
        "Sample,kV\nA,58·4\nB,61.2†\n",
        "Sample,kV\nA,kV58.4\nB,61.2k\n",
        "Sample,kV,param1,param2,param3\nA,58.4,1,2,3\nB,61.2,7,7,7\n",
        'Sample,kV,note\nA,58.4,"oops\nB,61.2,\n',
        "Sample,kV,Result\nA,58.4,PASS\nB,61.2,FAIL\n",
        "Sample,kV\nA,58.4\nB,61.2\nTested by: X,\n* = bubble,\n",
        "Sample;U (V)\nA;58 400\nB;61 200\n",
    ],
)
def test_two_readings_in_many_spellings(text: str) -> None:
    assert kv(load(text)) == [58.4, 61.2]


@pytest.mark.parametrize("mark", ["/", " / ", "; ", " ", ", ", " - ", "|"])
def test_several_readings_in_one_cell(mark: str) -> None:
    rows = [["58.4", "61.2", "60.0", "59.1", ">62"], ["50.4", "51.2", "50.0", "49.1", "52.3"]]
    records = load("Sample\tkV\n" + "".join(f"{s}\t{mark.join(r)}\n" for s, r in zip("AB", rows, strict=True)))
    assert kv(records) == [58.4, 61.2, 60, 59.1, 62, 50.4, 51.2, 50, 49.1, 52.3]
    assert (records.withstood, records.fillings) == (1, 2) and told(records, "breakdowns")


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("58-61", "more than one"),
        ("~58", "approximate"),
        ("ca. 58", "approximate"),
        ("58.4 ± 2.1", "its spread"),
        ("58 (2.1)", "its spread"),
        ("5.84×10¹", "power of ten"),
        ("58½", "fraction"),
        ("58o", "letter among"),
        ("0x3A", "more than one"),
        ("∞", "finite"),
        ("58.4 mm", "not one of voltage"),
        ("58.4 V/mm", "not one of voltage"),
        ("0.058 MV", "not one of voltage"),
        ("75 max", "ceiling was reached"),
        ("2x58", "more than one"),
        ("58;4", "more than one"),
        ("58_4", "more than one"),
        ("58 → 60", "more than one"),
        ("BD at 58", "words"),
    ],
)
def test_cells_that_are_refused(cell: str, words: str) -> None:
    records = load(f"Sample\tkV\nA\t55\nB\t{cell}\n")
    assert kv(records) == [55]
    problem = records.problems.iloc[0]
    assert (problem["row"], problem["column"], problem["found"]) == (3, "kV", cell) and words in problem["rule"]


@pytest.mark.parametrize(
    "cell",
    [
        ">= 75 kV",
        "75 (no breakdown)",
        "75 w/s",
        "withstood 75",
        "held 75",
        "75 held 1 min",
        "75 (+)",
        "OL",
        "OR",
        "overrange",
        "no flashover",
        "kein Durchschlag bei 75 kV",
        "pas de claquage à 75 kV",
        "bez przebicia do 75 kV",
    ],
)
def test_withstood_in_many_words(cell: str) -> None:
    records = load(f"Sample\tkV\nA\t55\nB\t>75\nC\t{cell}\n")
    assert kv(records) == [55, 75, 75] and records.withstood == 2


@pytest.mark.parametrize(
    "text",
    [
        "Probe;Füllung;Messung;Durchschlagspannung in kV;Elektroden;Rührer;Abstand\n"
        "X;1;1;58,4;Kugel;ja;2,5\nX;1;2;61,2;Kalotte;nein;2,5\n",
        "Échantillon;Remplissage;N° essai;Tension de claquage (kV);Électrodes;Agitation;Écart\n"
        "X;1;1;58,4;sphères;oui;2,5\nX;1;2;61,2;calottes;non;2,5\n",
        "Muestra;Llenado;Ensayo;Tensión de ruptura [kV];Electrodos;Agitación;Distancia (mm)\n"
        "X;1;1;58,4;esféricos;sí;2,5\nX;1;2;61,2;hongo;no;2,5\n",
        "Amostra;Enchimento;Ensaio nº;Rigidez dielétrica (kV);Eletrodos;Agitação;Distância\n"
        "X;1;1;58,4;esféricos;sim;2,5\nX;1;2;61,2;cogumelo;não;2,5\n",
        "Campione;Riempimento;Prova n.;Tensione di scarica (kV);Elettrodi;Agitazione;Distanza\n"
        "X;1;1;58,4;sferici;sì;2,5\nX;1;2;61,2;fungo;no;2,5\n",
        "Próbka;Napełnienie;Nr pomiaru;Napięcie przebicia [kV];Elektrody;Mieszanie;Odstęp [mm]\n"
        "X;1;1;58,4;kuliste;tak;2,5\nX;1;2;61,2;grzybkowe;nie;2,5\n",
    ],
    ids=["german", "french", "spanish", "portuguese", "italian", "polish"],
)
def test_headings_of_other_languages(text: str) -> None:
    table = load(text).table
    assert table["kv"].tolist() == [58.4, 61.2] and table["order"].tolist() == [1, 2]
    assert table["electrode"].tolist() == ["spherical", "mushroom"] and table["gap_mm"].tolist() == [2.5, 2.5]
    assert table["stirring"].tolist() == ["continuous", "none"] and table["filling"].tolist() == ["1", "1"]
    assert table["sample"].tolist() == ["X", "X"]


@pytest.mark.parametrize(
    ("head", "codes", "withstood"),
    [("censored", "01", 1), ("cens", "01", 1), ("event", "10", 1), ("status", "FS", 1), ("status", "12", 0)],
)
def test_codes_of_the_outcome(head: str, codes: str, withstood: int) -> None:
    records = load(f"oil,kV,{head}\nA,58,{codes[0]}\nA,75,{codes[1]}\n")
    assert records.withstood == withstood
    assert bool(records.problems["rule"].str.contains("codes other than 0 and 1").any()) == (codes == "12")


def test_counts_beside_the_voltages_are_not_expanded_and_said_so() -> None:
    records = load("oil,kV,count\nA,58,3\nA,75,1\n")
    assert records.breakdowns == 2 and records.problems["rule"].str.contains("not expanded").any()
    assert load("oil,kV,frequency\nA,58,50\nA,75,50\n").problems.empty


def test_day_numbers_of_a_spreadsheet() -> None:
    assert load("Sample,Date,kV\nA,45748,58\nB,45749,60\n").table["tested_on"].tolist() == ["2025-04-01", "2025-04-02"]


def test_a_stray_byte_does_not_spoil_the_other_letters() -> None:
    records = load("Sample,kV,note\nÖl,58,größer\n".encode() + b"B,60,22 \xb0C\n")
    assert records.table["note"].tolist() == ["größer", "22 °C"] and records.table["sample"].iloc[0] == "Öl"


@pytest.mark.parametrize("count", [150, 1000])
def test_many_columns(count: int) -> None:
    heads = ",".join(f"b{i + 1}" for i in range(count))
    assert load(f"Sample,{heads}\nA," + ",".join(["58.1"] * count) + "\n").breakdowns == count


def test_labels_stay_beside_their_own_row_when_others_are_blank() -> None:
    assert load("Sample,b1,b2\nA,44,45\nB,,\n").table["sample"].tolist() == ["A", "A"]
    assert load("Sample,b1,b2\nA,,\nB,44,45\n").table["sample"].tolist() == ["B", "B"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Sample,BDV (kV),BDV (V)\nA,58,58000\nB,60,60000\n", "--value"),
        ("Sample,01.03.2025,02.03.2025\nA,58,60\nB,59,61\n", "--value"),
        ("Sample,kV\nA,58\0\nB,60\n", "binary"),
        ("Sample," + ",".join(f"b{i}" for i in range(3000)) + "\nA,1\n", "2,000 columns"),
    ],
)
def test_unclear_sheets_are_refused_as_a_whole(text: str, words: str) -> None:
    with pytest.raises(UnusableFile, match=words):
        load(text)
    assert issubclass(UnusableFile, InputError)


# ---------------------------------------------------------------- what continues the row above


def test_what_describes_a_series_comes_along_with_its_sample() -> None:
    """Merged cells saved as text leave the id, the method and the laboratory on the first row only."""
    wide = "Sample,Method,Cell,1,2,3\nTR1,IEC 60156,1,45,48,50\n,,2,51,46,47\nTR2,IEC 60156,1,35,38,30\n,,2,31,36,37\n"
    found = read(wide.encode(), name="a.csv")
    assert found.fillings == 4 and found.conditions == 1
    assert found.table.groupby("sample")["kv"].sum().to_dict() == {"TR1": 287.0, "TR2": 207.0}
    assert {"sample", "method"} <= set(found.guesses["what"])
    five_more = "Sample,Lab,b1,b2,b3,b4,b5\nT7,North,31,44,38,29,47\n,,40,35,42,36,33\nT8,North,28,30,27,33,29\n"
    again = read(five_more.encode(), name="b.csv")
    assert again.fillings == 2 and again.table["laboratory"].eq("North").all()


def test_fillings_of_tables_without_samples_are_their_own() -> None:
    head = "Filling,1,2,3\n"
    text = f"Sphere 2.5 mm,,,\n{head}1,45,48,51\n2,43,50,47\n\nDisk 2.54 mm,,,\n{head}1,52,55,49\n2,50,57,54\n"
    assert read(text.encode(), name="a.csv").fillings == 4


def test_a_column_may_be_called_table() -> None:
    table = pd.DataFrame({"sample": "A", "table": ["x", "x", "y", "y"], "kv": [40.0, 41, 50, 52]})
    assert as_table(table)["table"].tolist() == ["x", "x", "y", "y"]
    assert shift(table, by="table").levels


def test_the_same_in_a_file_that_is_read_by_columns() -> None:
    """Some MB of merged cells: what is read as numbers comes along too, and in no more than a few seconds."""
    lines = ["Sample,Method,Lab,Gap,Rise,Cell,1,2,3,4,5,6"]
    for i in range(60_000):
        head = f"TR{i // 2},IEC 60156,North,2.5,{2 + i // 2 % 7 * 0.1:.2f},1" if i % 2 == 0 else ",,,,,2"
        values = (40 + i % 13, 41 + i % 7, 44 + i % 5, 45 + i % 11, 46 + i % 3, 47 + i % 9)
        lines.append(head + "".join(f",{v}.{at}" for at, v in enumerate(values)))
    found = read("\n".join(lines).encode(), name="large.csv")
    assert found.fillings == 60_000 and found.conditions == 7
    assert found.table[["laboratory", "gap_mm", "rise_kv_s", "method"]].notna().all(axis=None)

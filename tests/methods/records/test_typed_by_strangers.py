# ruff: noqa: E501
"""Sheets typed by hand as technicians of several countries would, each with its truth; what they found is mended.

All oils and numbers are invented. ``ASKED``: the reader asks, and the words behind it give every reading.
"""

from __future__ import annotations

import io
from typing import Any

import openpyxl
import pytest

from methods import InputError, read
from tests.reference import sheet_score


def book(**sheets: list[list[Any]]) -> bytes:
    held, workbook = io.BytesIO(), openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, rows in sheets.items():
        sheet = workbook.create_sheet(name)
        for row in rows:
            sheet.append(row)
    workbook.save(held)
    return held.getvalue()


def truth(*fillings: tuple[dict[str, Any], list[tuple[str, Any]]]) -> dict[str, Any]:
    """Of each filling what is known of it, and its cells with their kV, or ``(kV, "withstood")``."""
    readings: list[list[Any]] = []
    cells: list[str] = []
    columns: dict[str, Any] = {}
    for i, (cols, rs) in enumerate(fillings):
        columns[f"f{i}"] = cols
        for k, (cell, v) in enumerate(rs, 1):
            kv, out = v if isinstance(v, tuple) else (v, "breakdown")
            readings.append([f"f{i}", k, kv, out])
            cells.append(cell)
    return {"file": "x", "class": "stranger", "readings": readings, "cells": cells, "columns": columns, "must_ask": []}


def down(row: int, column: int, kv: list[float], sheet: str = "") -> list[tuple[str, Any]]:
    return [(f"{sheet}R{row + i}C{column}", v) for i, v in enumerate(kv)]


def across(row: int, column: int, kv: list[float]) -> list[tuple[str, Any]]:
    return [(f"R{row}C{column + i}", v) for i, v in enumerate(kv)]


S: dict[str, tuple[bytes, dict[str, Any]]] = {}
# 1 register of an Indian utility: ratings with kV in the name, tan delta, ppm, BDV 1..6, average, remark
S["register.csv"] = (
    b"""Sr. No.,Sub-station,Transformer,Make / Sl. No.,Oil temp,Moisture (ppm),BDV 1,BDV 2,BDV 3,BDV 4,BDV 5,BDV 6,Avg BDV,Remarks
1,Kothur,220/33 kV 100 MVA T/F-1,88121,38,14,52,58,61,55,57,60,57.2,OK
2,Kothur,220/33 kV 100 MVA T/F-2,88122,39,22,41,38,45,43,40,44,41.8,filter
3,Nagar,132/33 kV 50 MVA T/F-1,70013,36,11,66,71,64,69,70,68,68,OK
""",
    truth(
        *[
            ({"water_mg_kg": w, "temperature_c": t}, across(r, 7, v))
            for r, t, w, v in (
                (2, 38, 14, [52, 58, 61, 55, 57, 60]),
                (3, 39, 22, [41, 38, 45, 43, 40, 44]),
                (4, 36, 11, [66, 71, 64, 69, 70, 68]),
            )
        ]
    ),
)
# 2 a printout of a tester: lines of text with colons
S["printout.txt"] = (
    b"""OIL DIELECTRIC TEST
DATE: 14.03.2025   TIME: 09:12
SAMPLE: TANK 7
ELECTRODES: MUSHROOM
GAP: 2.5 mm
STIRRER: ON
RISE: 2.0 kV/s
OIL TEMP: 22 C
TEST 1: 45.3 kV
TEST 2: 51.0 kV
TEST 3: 48.7 kV
TEST 4: 55.2 kV
TEST 5: 49.9 kV
TEST 6: 52.6 kV
MEAN: 50.5 kV
STD DEV: 3.4 kV
""",
    truth(
        (
            {
                "sample": "TANK 7",
                "electrode": "mushroom",
                "gap_mm": 2.5,
                "stirring": "stirred",
                "rise_kv_s": 2.0,
                "tested_on": "2025-03-14",
                "temperature_c": 22,
            },
            [(f"R{9 + i}C1", v) for i, v in enumerate([45.3, 51.0, 48.7, 55.2, 49.9, 52.6])],
        )
    ),
)
# 3 Finnish form: keys above, numbered list, Keskiarvo
S["muuntaja.csv"] = (
    """Muuntaja;T2 Pohjola
Elektrodit;pallo
Etäisyys;2,5 mm
Sekoitus;ei
;
Läpilyönti;kV
1.;38,4
2.;41,9
3.;44,0
4.;39,6
5.;47,1
6.;42,3
Keskiarvo;42,2
Keskihajonta;3,1
""".encode("cp1252"),
    truth(
        (
            {"electrode": "spherical", "gap_mm": 2.5, "stirring": "none"},
            down(7, 2, [38.4, 41.9, 44.0, 39.6, 47.1, 42.3]),
        )
    ),
)
# 4 Brazilian: two trials an oil, oil only on the first row, Leitura 1..5, Media
S["ensaios.csv"] = (
    """Relatório de rigidez dielétrica - eletrodos de disco, 2,54 mm
Amostra;Data;Ensaio;Leitura 1;Leitura 2;Leitura 3;Leitura 4;Leitura 5;Média
Reator 1;05/03/2025;A;31,2;29,8;35,0;33,1;30,6;31,9
;;B;34,4;32,7;30,9;36,2;33,5;33,5
Reator 2;06/03/2025;A;26,1;24,8;28,3;25,5;27,0;26,3
;;B;25,2;27,7;26,4;24,1;28,8;26,4
""".encode("latin-1"),
    truth(
        *[
            ({"sample": s, "electrode": "disk", "gap_mm": 2.54}, across(r, 4, v))
            for s, r, v in (
                ("Reator 1", 3, [31.2, 29.8, 35.0, 33.1, 30.6]),
                ("Reator 1", 4, [34.4, 32.7, 30.9, 36.2, 33.5]),
                ("Reator 2", 5, [26.1, 24.8, 28.3, 25.5, 27.0]),
                ("Reator 2", 6, [25.2, 27.7, 26.4, 24.1, 28.8]),
            )
        ]
    ),
)
# 5 time and voltage in turn across
S["time_and_kv.xlsx"] = (
    book(
        Tests=[
            ["Oil", "gap 2 mm VDE", None, None, None, None, None, None],
            ["", "t1 (s)", "U1 (kV)", "t2 (s)", "U2 (kV)", "t3 (s)", "U3 (kV)", ""],
            ["Larch", 22.1, 44.2, 24.3, 48.6, 21.0, 42.0],
            ["Maple", 30.2, 60.4, 28.8, 57.6, 31.5, 63.0],
            ["Holly", 18.0, 36.0, 19.4, 38.8, 17.7, 35.4],
        ]
    ),
    truth(
        *[
            (
                {"sample": s, "electrode": "mushroom", "gap_mm": 2.0},
                [(f"Tests!R{r}C{c}", v) for c, v in zip((3, 5, 7), vs, strict=True)],
            )
            for r, s, vs in (
                (3, "Larch", [44.2, 48.6, 42.0]),
                (4, "Maple", [60.4, 57.6, 63.0]),
                (5, "Holly", [36.0, 38.8, 35.4]),
            )
        ]
    ),
)
# 6 oils over methods in two heading rows, shots down
S["matrix.xlsx"] = (
    book(
        Round=[
            ["", "Juniper", None, "Rowan", None],
            ["Shot", "D877", "D1816", "D877", "D1816"],
            [1, 33, 28, 41, 36],
            [2, 35, 31, 44, 33],
            [3, 31, 27, 39, 38],
            [4, 36, 30, 43, 35],
            [5, 34, 29, 40, 37],
            ["avg", 33.8, 29, 41.4, 35.8],
            ["s", 1.9, 1.6, 2.1, 1.9],
        ]
    ),
    truth(
        *[
            ({"sample": s, "method": m}, down(3, c, v, "Round!"))
            for s, m, c, v in (
                ("Juniper", "D877", 2, [33, 35, 31, 36, 34]),
                ("Juniper", "D1816", 3, [28, 31, 27, 30, 29]),
                ("Rowan", "D877", 4, [41, 44, 39, 43, 40]),
                ("Rowan", "D1816", 5, [36, 33, 38, 35, 37]),
            )
        ]
    ),
)
# 7 units and remarks in the cells, a limit of the bench
S["remarks.csv"] = (
    b"""Sample;Shot;Result
Yew;1;41.2kV (bubble)
Yew;2;45,6 kV
Yew;3;>60kV
Yew;4;52.0 kV - spark at edge
Yew;5;48 kV
Fir;1;39.9kV
Fir;2;44.1kV?
Fir;3;40.0 kV
Fir;4;>60 kV
Fir;5;43.3
""",
    truth(
        (
            {"sample": "Yew"},
            [("R2C3", 41.2), ("R3C3", 45.6), ("R4C3", (60.0, "withstood")), ("R5C3", 52.0), ("R6C3", 48.0)],
        ),
        (
            {"sample": "Fir"},
            [("R7C3", 39.9), ("R8C3", 44.1), ("R9C3", 40.0), ("R10C3", (60.0, "withstood")), ("R11C3", 43.3)],
        ),
    ),
)
# 8 Turkish
S["numune.csv"] = (
    """Numune;Elektrot;Açıklık (mm);Karıştırma;1. Delinme;2. Delinme;3. Delinme;4. Delinme;5. Delinme;6. Delinme;Ortalama
Trafo-3;mantar;2,5;var;55,1;58,4;61,0;57,7;60,2;59,3;58,6
Trafo-4;mantar;2,5;yok;43,2;47,9;45,0;44,4;49,1;46,6;46,0
""".encode(),
    truth(
        (
            {"sample": "Trafo-3", "electrode": "mushroom", "gap_mm": 2.5, "stirring": "stirred"},
            across(2, 5, [55.1, 58.4, 61.0, 57.7, 60.2, 59.3]),
        ),
        (
            {"sample": "Trafo-4", "electrode": "mushroom", "gap_mm": 2.5, "stirring": "none"},
            across(3, 5, [43.2, 47.9, 45.0, 44.4, 49.1, 46.6]),
        ),
    ),
)
# 9 ranked, high to low, rank column first, min and max at the end
S["ranked.csv"] = (
    b"""Batch K-12, sphere gap 0.1 in
Rank,kV,Order of test
1,66,4
2,63,1
3,61,6
4,58,2
5,57,3
6,52,5
Max,66,
Min,52,
""",
    truth(
        (
            {"electrode": "spherical", "gap_mm": 2.54},
            [(f"R{r}C2", v) for r, v in ((4, 63), (6, 58), (7, 57), (3, 66), (8, 52), (5, 61))],
        )
    ),
)
# 10 a log over months with the month as a row of its own
S["check_oil_log.csv"] = (
    b"""Check oil log 2025 - disc electrodes 2.54 mm
Date,Operator,kV1,kV2,kV3,kV4,kV5
January,,,,,,
06.01.2025,LM,34,36,33,38,35
13.01.2025,LM,36,31,37,34,33
20.01.2025,PK,35,33,36,32,37
February,,,,,,
03.02.2025,PK,31,34,36,35,33
10.02.2025,LM,38,35,33,36,34
""",
    truth(
        *[
            ({"electrode": "disk", "gap_mm": 2.54, "tested_on": d}, across(r, 3, v))
            for r, d, v in (
                (4, "2025-01-06", [34, 36, 33, 38, 35]),
                (5, "2025-01-13", [36, 31, 37, 34, 33]),
                (6, "2025-01-20", [35, 33, 36, 32, 37]),
                (8, "2025-02-03", [31, 34, 36, 35, 33]),
                (9, "2025-02-10", [38, 35, 33, 36, 34]),
            )
        ]
    ),
)
# 11 Japanese, full-width digits, six readings below a form
S["shiken.csv"] = (
    """絶縁油試験,
試料,変圧器３号
電極,球
間隙,２．５ｍｍ
回数,破壊電圧（ｋＶ）
１,４５．３
２,５１．０
３,４８．７
４,５５．２
５,４９．９
平均,５０．０
""".encode(),
    truth(({"electrode": "spherical", "gap_mm": 2.5}, down(6, 2, [45.3, 51.0, 48.7, 55.2, 49.9]))),
)
# 12 two benches side by side, each with its own count, totals row with n, mean, s
S["benches.xlsx"] = (
    book(
        Vergleich=[
            ["Prüfstand A (Kugel 2,5 mm)", None, None, "Prüfstand B (Kalotte 2,5 mm)", None],
            ["Nr.", "kV", None, "Nr.", "kV"],
            [1, 61.2, None, 1, 55.0],
            [2, 58.8, None, 2, 57.3],
            [3, 63.5, None, 3, 52.9],
            [4, 60.1, None, 4, 58.8],
            [5, 59.4, None, 5, 54.2],
            [6, 62.0, None, 6, 56.6],
            ["n", 6, None, "n", 6],
            ["x quer", 60.8, None, "x quer", 55.8],
            ["s", 1.7, None, "s", 2.1],
        ]
    ),
    truth(
        ({"electrode": "spherical", "gap_mm": 2.5}, down(3, 2, [61.2, 58.8, 63.5, 60.1, 59.4, 62.0], "Vergleich!")),
        ({"electrode": "mushroom", "gap_mm": 2.5}, down(3, 5, [55.0, 57.3, 52.9, 58.8, 54.2, 56.6], "Vergleich!")),
    ),
)
# 14 before and after treatment as columns, oils in blocks of five rows
S["treatment.csv"] = (
    b"""Oil,Shot,Before treatment kV,After treatment kV
Cedar,1,28,61
Cedar,2,31,66
Cedar,3,27,58
Cedar,4,30,63
Cedar,5,29,64
Aspen,1,33,70
Aspen,2,35,68
Aspen,3,31,72
Aspen,4,36,65
Aspen,5,34,69
""",
    truth(
        *[
            ({"sample": s}, down(r, c, v))
            for s, r, c, v in (
                ("Cedar", 2, 3, [28, 31, 27, 30, 29]),
                ("Cedar", 2, 4, [61, 66, 58, 63, 64]),
                ("Aspen", 7, 3, [33, 35, 31, 36, 34]),
                ("Aspen", 7, 4, [70, 68, 72, 65, 69]),
            )
        ]
    ),
)
# 15 gap as a row of the heading, kV/mm asked by nobody; three gaps of one electrode
S["gaps.xlsx"] = (
    book(
        Gaps=[
            ["Electrode: sphere", None, None, None],
            ["gap / mm", 1, 2, 2.5],
            ["kV", None, None, None],
            ["", 21.3, 40.2, 49.8],
            ["", 22.9, 43.1, 52.2],
            ["", 20.4, 41.7, 47.5],
            ["", 23.0, 39.6, 50.9],
            ["mean", 21.9, 41.2, 50.1],
        ]
    ),
    truth(
        *[
            ({"electrode": "spherical", "gap_mm": g}, down(4, c, v, "Gaps!"))
            for c, g, v in (
                (2, 1, [21.3, 22.9, 20.4, 23.0]),
                (3, 2, [40.2, 43.1, 41.7, 39.6]),
                (4, 2.5, [49.8, 52.2, 47.5, 50.9]),
            )
        ]
    ),
)


#: Sheets that leave something open -> what is said, on the page or the command line, to have every reading.
ASKED: dict[str, dict[str, Any]] = {
    "treatment.csv": {"say": ["readings@C:D", "heads=state", "fillings=column"]},
    "gaps.xlsx": {"say": ["headings@2", "readings@B:D", "heads=gap_mm", "leave-out@3", "fillings=column"]},
}


@pytest.mark.parametrize("name", list(S))
def test_a_strangers_sheet(name: str) -> None:
    raw, true = S[name]
    if name in ASKED:
        with pytest.raises(InputError, match="Several columns could hold"):
            read(raw, name=name)
    records = read(raw, name=name, **ASKED.get(name, {}))
    what, findings = sheet_score.judge(true, [records], [records.table], sheet_score.Notes(records))
    assert what == "right", findings

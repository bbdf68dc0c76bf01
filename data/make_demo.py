"""Make the invented demo sets of this folder, always the same ones: ``python data/make_demo.py``.

A fictional utility, Fenmark Grid, has its oils tested by its own laboratory and two others. Every name, oil
and kilovolt here is made up.
"""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from methods.simulate import SETTINGS, Bench, Setting, draw, setting

FOLDER = Path(__file__).parent
SEED = 20260214

#: name, fluid, state, wetness from 0 (dry) to 1 (wet), water in mg/kg at the test temperature
OILS = (
    ("Alderholt T1", "mineral oil", "processed", 0.00, 6.0),
    ("Brackwater T4", "mineral oil", "new, as delivered", 0.30, 14.0),
    ("Cinder Hill T2", "mineral oil", "in service", 0.55, 22.0),
    ("Dunmarsh T1", "mineral oil", "in service, wet", 0.95, 41.0),
    ("Elmstead T3", "natural ester", "processed", 0.10, 90.0),
)
#: laboratory, instrument, operator, level of its readings, ceiling of its set (None: the setting's), settings it runs
LABORATORIES = (
    ("Fenmark central", "bench A", "K. Ferro", 1.00, None, tuple(s.name for s in SETTINGS)),
    ("Harbour street", "bench B", "M. Osei", 0.96, 80.0,
     ("D1816 2 mm", "60156 spherical still", "60156 spherical stirred")),
    ("Valley road", "bench C", "S. Lind", 1.03, None,
     ("D877 A", "60156 spherical stirred", "60156 mushroom stirred")),
)  # fmt: skip
WIDE_LABORATORIES = (
    "Aster", "Birch", "Clover", "Dahlia", "Erica", "Fern", "Gentian", "Heather", "Iris",
)  # fmt: skip


def _rows(item: Setting, bench: Bench, rng: np.random.Generator, first_day: datetime.date, fixed: dict) -> list[dict]:
    kv, reached = draw(bench, fillings=item.fillings, breakdowns=item.breakdowns, rng=rng)
    rows = []
    for filling in range(item.fillings):
        day = first_day + datetime.timedelta(days=filling // 3)
        temperature = round(float(rng.normal(22.0, 0.8)), 1)
        for order in range(item.breakdowns):
            rows.append(
                fixed
                | {
                    "method": item.method, "edition": item.edition, "electrode": item.electrode,
                    "gap_mm": item.gap_mm, "stirring": item.stirring, "rise_kv_s": item.rise_kv_s,
                    "filling": str(filling + 1), "order": order + 1,
                    "kv": round(float(kv[0, filling, order]), 1),
                    "outcome": "withstood" if reached[0, filling, order] else "breakdown",
                    "temperature_c": temperature, "tested_on": day.isoformat(),
                }
            )  # fmt: skip
    return rows


def programme() -> pd.DataFrame:
    """The programme: five oils, eight settings, three laboratories, several fillings, some withstands."""
    rng = np.random.default_rng(SEED)
    rows: list[dict] = []
    for o, (oil, fluid, state, wetness, water) in enumerate(OILS):
        for lab, instrument, operator, level, ceiling, names in LABORATORIES:
            for s, name in enumerate(names):
                item = setting(name)
                bench = item.bench(wetness)
                bench = replace(bench, mean_kv=bench.mean_kv * level, ceiling_kv=ceiling or bench.ceiling_kv)
                day = datetime.date(2026, 1, 12) + datetime.timedelta(days=7 * o + s)
                fixed = {
                    "sample": oil, "fluid": fluid, "state": state, "laboratory": lab,
                    "instrument": instrument, "operator": operator, "water_mg_kg": water,
                }  # fmt: skip
                rows += _rows(item, bench, rng, day, fixed)
    order = [
        "sample", "fluid", "state", "laboratory", "instrument", "operator", "method", "edition", "electrode",
        "gap_mm", "stirring", "rise_kv_s", "filling", "order", "kv", "outcome", "temperature_c", "water_mg_kg",
        "tested_on",
    ]  # fmt: skip
    return pd.DataFrame(rows)[order]


def laboratory_round() -> pd.DataFrame:
    """A round: the same four oils at nine laboratories, IEC 60156 with spheres, stirred, two fillings of six.

    Gentian reads high, Heather scatters more than the others: something for the charts to find.
    """
    rng = np.random.default_rng(SEED + 1)
    item = setting("60156 spherical stirred")
    rows = []
    for laboratory in WIDE_LABORATORIES:
        bias = float(rng.normal(1.0, 0.045)) + (0.13 if laboratory == "Gentian" else 0.0)
        for oil, fluid, _, wetness, _ in OILS[:4]:
            bench = item.bench(wetness)
            wider = 1.9 if laboratory == "Heather" else 1.0
            bench = replace(
                bench, mean_kv=0.9 * bench.mean_kv * bias, within_cov=bench.within_cov * wider, ceiling_kv=None
            )
            kv, _ = draw(bench, fillings=2, breakdowns=6, rng=rng)
            for filling in range(2):
                for order in range(6):
                    rows.append(
                        {
                            "laboratory": laboratory, "sample": oil, "fluid": fluid, "method": "IEC 60156",
                            "edition": "2018", "electrode": "spherical", "gap_mm": 2.5, "stirring": "continuous",
                            "rise_kv_s": 2.0, "filling": str(filling + 1), "order": order + 1,
                            "kv": round(float(kv[0, filling, order]), 1), "outcome": "breakdown",
                        }
                    )  # fmt: skip
    return pd.DataFrame(rows)


def bench_studies() -> pd.DataFrame:
    """Three small studies on one oil, each changing one thing or two: gap, rate of rise, electrode with stirring."""
    rng = np.random.default_rng(SEED + 2)
    base = Bench(62.0, 0.05, 0.13, 0.05, 0.0, 0.01)
    plans: list[tuple[str, str, float, str, float, float]] = []
    for gap in (1.0, 1.5, 2.0, 2.5):
        plans.append(("gap", "mushroom", gap, "continuous", 0.5, 62.0 * (gap / 2.5) ** 0.72))
    for rise in (0.5, 2.0, 3.0):
        plans.append(("rate of rise", "spherical", 2.5, "continuous", rise, 62.0 * (rise / 2.0) ** (1 / 17)))
    for electrode, level in (("spherical", 64.0), ("mushroom", 58.0)):
        for stirring, change in (("none", 1.05), ("continuous", 1.0)):
            plans.append(("electrode and stirring", electrode, 2.5, stirring, 2.0, level * change))
    rows = []
    told: dict[tuple[object, ...], int] = {}  # a condition that two studies share goes on counting its fillings
    for study, electrode, gap, stirring, rise, level in plans:
        kv, _ = draw(replace(base, mean_kv=level), fillings=5, breakdowns=6, rng=rng)
        condition = (electrode, gap, stirring, rise)
        before = told.get(condition, 0)
        told[condition] = before + 5
        for filling in range(5):
            for order in range(6):
                rows.append(
                    {
                        "study": study, "sample": "Cinder Hill T2", "fluid": "mineral oil", "electrode": electrode,
                        "gap_mm": gap, "stirring": stirring, "rise_kv_s": rise, "filling": str(before + filling + 1),
                        "order": order + 1, "kv": round(float(kv[0, filling, order]), 1), "outcome": "breakdown",
                    }
                )  # fmt: skip
    return pd.DataFrame(rows)


def check_oil() -> pd.DataFrame:
    """A check oil every week for a year, IEC 60156 with mushrooms, stirred: the readings sink from the 27th week on, as
    if the electrodes had worn, and are back from the 36th, as if they had been polished."""
    rng = np.random.default_rng(SEED + 4)
    rows = []
    for week in range(52):
        level = 62.0 - 1.5 * max(0, week - 25) * (week < 35) + 1.6 * float(rng.normal())
        day = datetime.date(2025, 1, 8) + datetime.timedelta(days=7 * week)
        for order in range(6):
            rows.append({
                "sample": "Check oil 7", "fluid": "mineral oil", "laboratory": "Fenmark central",
                "instrument": "bench A", "method": "IEC 60156", "edition": "2018", "electrode": "mushroom",
                "gap_mm": 2.5, "stirring": "continuous", "rise_kv_s": 2.0, "filling": f"W{week + 1}",
                "order": order + 1, "kv": round(level + 4.5 * float(rng.normal()), 1), "outcome": "breakdown",
                "tested_on": day.isoformat(),
            })  # fmt: skip
    return pd.DataFrame(rows)


def wide() -> pd.DataFrame:
    """Routine sheets: one row a filling, five breakdowns beside each other, mean and SD at the end."""
    rng = np.random.default_rng(SEED + 3)
    rows = []
    for oil, fluid, _, wetness, water in OILS:
        for name in ("D1816 1 mm", "D1816 2 mm"):
            item = setting(name)
            kv, reached = draw(item.bench(wetness), fillings=3, breakdowns=5, rng=rng)
            for filling in range(3):
                cells = [
                    f">{c:.0f}" if top else f"{c:.1f}"
                    for c, top in zip(kv[0, filling], reached[0, filling], strict=True)
                ]
                values = np.round(kv[0, filling], 1)
                exact = not reached[0, filling].any()
                rows.append(
                    {
                        "Oil": oil, "Liquid": fluid, "Method": item.method, "Gap (mm)": item.gap_mm,
                        "Cell fill": filling + 1, "Water (mg/kg)": water,
                        **{f"b{i + 1}": c for i, c in enumerate(cells)},
                        "Mean": f"{values.mean():.1f}" if exact else "",
                        "SD": f"{values.std(ddof=1):.1f}" if exact else "",
                    }
                )  # fmt: skip
    return pd.DataFrame(rows)


def messy_rows() -> list[list[object]]:
    """A spreadsheet as people type them: title lines, a unit row, commas, remarks, ceilings, a mean column."""
    return [
        ["Fenmark Grid - invented demo sheet, no real measurements"],
        ["Method:", "D-1816 2MM"],
        ["Tester", "K. Ferro", None, "Date", "03/04/2026"],
        [],
        ["Oil no.", "Fill", "Shot 1", "Shot 2", "Shot 3", "Shot 4", "Shot 5", "Average", "Std dev", "Temp", "Remarks"],
        [None, None, "kV", "kV", "kV", "kV", "kV", "kV", "kV", "°F", None],
        ["Alderholt T1", "1", "58,4", "61,2", "> 75", "55,0", "60,9", None, None, "72", "one at the ceiling"],
        ["Alderholt T1", "2", "57,1", "49,8*", "63,3", "59,6", "61,0", "58,2", "5,1", "72", "* bubble seen"],
        ["Alderholt T1", "3", "NB 75", "66,0", "58,7", "no BD 75", "62,5", None, None, "73", None],
        ["Brackwater T4", "1", "44,6", "47,9", "41,2", "45,5 kV", "50300 V", "45,9", "3,4", "71", None],
        ["Brackwater T4", "2", "43,0", "45,1", "39,9", "48,8", None, "44,2", "3,7", "71", "fifth not taken"],
        [],
        ["Cinder Hill T2", "A", "33,1", "35,8", "29,4", "36,0", "31,7", "33,2", "2,8", "72", None],
        ["Cinder Hill T2", "A'", "30,5", "34,4", "32,6", "28,9", "35,1", "32,3", "2,6", "72", "new filling"],
        ["Dunmarsh T1", "1", "14,2", "22,8", "28,1", "12,9", "25,5", "20,7", "6,8", "70", "spread too wide"],
        ["Dunmarsh T1", "1", "18,8", "23,4", "16,1", "26,0", "21,7", "21,2", "3,9", "70", "five more"],
        ["Dunmarsh T1", "2", "\uff12\uff11,5", "\u00a019,9\u202f", "<5", "999", "\u22123", None, None, "70", "trip"],
        ["Elmstead T3", "1", "61,0 (settling)", "58,8", "64,9", "60,1", "63,7", "62,0", "2,5", "72", None],
        ["Mean of all", None, None, None, None, None, None, "44,1"],
    ]


def write_messy(path: Path) -> None:
    """Write the messy spreadsheet; every cell as text, as if it had been typed."""
    import xlsxwriter

    book = xlsxwriter.Workbook(path, {"in_memory": True})
    book.set_properties({"created": datetime.datetime(2026, 2, 14), "comments": "Invented demo data"})
    sheet = book.add_worksheet("May")
    for r, row in enumerate(messy_rows()):
        for c, cell in enumerate(row):
            if cell is not None:
                sheet.write_string(r, c, str(cell))
    book.close()


def main() -> None:
    """Write all files beside this script."""
    programme().to_csv(FOLDER / "programme_long.csv", index=False)
    wide().to_csv(FOLDER / "routine_wide.csv", index=False)
    laboratory_round().to_csv(FOLDER / "laboratory_round.csv", index=False)
    bench_studies().to_csv(FOLDER / "bench_studies.csv", index=False)
    check_oil().to_csv(FOLDER / "check_oil.csv", index=False)
    write_messy(FOLDER / "messy_sheet.xlsx")


if __name__ == "__main__":
    main()

"""What is taken away: every table of every page, plot and report is written by one function, and nothing in it runs."""

from __future__ import annotations

import ast
import io
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from bokeh.document import Document
from pandas.testing import assert_frame_equal

from dashboard import cli
from dashboard.app import build
from dashboard.pages import entries
from dashboard.pages.records_report import StudyReport
from dashboard.study import Study
from methods import read
from methods.answers.files import table_csv, table_workbook, units_note
from methods.answers.heads import OWN
from methods.errors import InputError

ROOT = Path(__file__).parents[2]
DATA = ROOT / "data"
#: The modules that write a table or a workbook.
WRITERS = {
    "methods/answers/files.py", "methods/records/export.py", "methods/records/rounds_files.py",
    "methods/studies/sheet.py",
    "dashboard/report/workbook.py",
}  # fmt: skip
#: Invented, of a laboratory whose names are formulas.
EVIL = "laboratory,sample,electrode,filling,order,kv\n" + "".join(
    f"{lab},{oil},{electrode},{filling},{order},{level + 2 * filling + (7 * order) % 5}\n"
    for lab in ("=1+1", "@b")
    for oil in ("+A", "-B")
    for electrode, level in (("=HYPERLINK(1)", 30), ("=cmd|calc", 45))
    for filling in (1, 2)
    for order in (1, 2, 3)
)
RUNS = ("=", "+", "-", "@")


def test_no_other_module_writes_tables() -> None:
    found = set()
    for path in [*(ROOT / "methods").rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
            if name in ("to_csv", "to_excel", "to_parquet", "ExcelWriter", "Workbook"):
                found.add(path.relative_to(ROOT).as_posix())
    assert found == WRITERS


@pytest.mark.parametrize("key", [entry.key for entry in entries()])
def test_no_table_of_a_page_runs_in_a_spreadsheet(key: str, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(EVIL, encoding="utf-8")
    app = build([file])
    app.study.page = key
    page = app._pages[key]
    page.shown = True
    app.page.layout.server_doc(Document())
    tables = getattr(page, "_shown_tables", {})
    for table in tables.values():
        note, _, rest = table._file("csv").decode("utf-8-sig").partition("\r\n")
        assert note.startswith("# ")
        frame = pd.read_csv(io.StringIO(rest), dtype=str, keep_default_na=False)
        assert len(frame) == len(table.frame)
        texts = [c for name, kind in table.frame.dtypes.items() if not pd.api.types.is_numeric_dtype(kind)
                 for c in frame.get(str(name), [])]  # fmt: skip
        assert not [head for head in frame.columns if head.startswith(RUNS)]
        numbers = [t for t in texts if t.lstrip("-+").replace(".", "").replace("e-", "").isdigit()]
        assert not [t for t in texts if t.startswith(RUNS) and t not in numbers]
        if len(table.frame) <= 400:
            sheet = openpyxl.load_workbook(io.BytesIO(table._file("xlsx"))).active
            assert all(c.data_type != "f" and not c.hyperlink for row in sheet.iter_rows() for c in row)
            assert sheet.max_row == len(table.frame) + 4


def test_a_workbook_is_sent_when_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    from dashboard.tables import Table

    table = Table("means", "Means", pd.DataFrame({"level": ["=x"], "mean_kv": [1 / 3]}))
    sent: list[dict[str, Any]] = []
    monkeypatch.setattr(table._text, "tell", sent.append)
    table._text.heard({"take": "xlsx"})
    assert sent[0]["file"] == "means.xlsx" and len(sent[0]["contents"]) > 1000
    table._text.heard({"take": "exe"})
    assert len(sent) == 1


def test_units_stand_above_the_headings() -> None:
    frame = pd.DataFrame({"level": ["a"], "mean_kv": [1.5], "low_percent": [2.0], "n": [3], "x": [1.0]})
    assert units_note(frame, "Means", {"x": "Gap (mm)"}) == "Means. Units: kV for mean_kv; % for low_percent; mm for x"
    assert table_csv(frame, "A, B").decode("utf-8-sig").splitlines()[0].startswith("# A; B. Units: kV for mean_kv")
    sheet = openpyxl.load_workbook(io.BytesIO(table_workbook(frame, "Means", OWN.get("shift")))).active
    assert sheet["A1"].value == "Means" and sheet["A2"].value == "Units stand behind the headings: kV, %."
    assert sheet["B4"].value == "Mean (kV)" and sheet["B5"].value == 1.5
    with pytest.raises(InputError, match="take it as CSV"):
        table_workbook(pd.DataFrame({"n": range(1_048_001)}))


@pytest.mark.parametrize("file", ["programme_long.csv", "laboratory_round.csv", "messy_sheet.xlsx"])
def test_the_readings_of_a_page_read_back(file: str) -> None:
    study = Study()
    study.open((DATA / file).read_bytes(), file)
    for kind in ("csv", "parquet"):
        name, make = StudyReport(study)._readings(kind)
        again = Study()
        again.open(make(), name)
        assert_frame_equal(
            again.table.drop(columns="file"),
            study.table.drop(columns="file"),
            check_exact=True,
            check_categorical=False,
        )
        assert again.factors == study.factors and again.by == study.by
        assert (again.table["outcome"] == "withstood").sum() == (study.table["outcome"] == "withstood").sum()


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_the_command_writes_readings_that_read_back(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"readings.{kind}"
    assert cli.main(["check", str(DATA / "messy_sheet.xlsx"), "--out", str(path)]) == 1  # some cells are refused
    assert "Readings written" in capsys.readouterr().out
    assert_frame_equal(read(path).table, read(DATA / "messy_sheet.xlsx").table, check_exact=True)
    assert cli.main(["check", str(path), "--out", str(path)]) == 2 and "another name" in capsys.readouterr().err

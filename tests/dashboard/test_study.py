"""The session's state: filters, exclusions, fingerprint, files, without a browser."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest

from dashboard import address, applying, studyfile
from dashboard.exclusions import Exclusion, filling_key
from dashboard.study import Study
from methods.errors import InputError


def sheet(seed: int = 1, shift: float = 0.0) -> bytes:
    """Two electrodes, two fillings of five each, as a CSV; invented."""
    rng = np.random.default_rng(seed)
    rows = [
        {
            "sample": "A",
            "electrode": e,
            "gap_mm": 2.5,
            "filling": f,
            "order": o,
            "kv": round(45 + shift + rng.normal(0, 5), 1),
        }
        for e in ("disk", "mushroom")
        for f in (1, 2)
        for o in range(1, 6)
    ]
    return pd.DataFrame(rows).to_csv(index=False).encode()


@pytest.fixture
def study() -> Study:
    out = Study()
    out.open(sheet(), "a.csv")
    return out


def test_a_file_opens_with_its_name_and_a_factor(study: Study) -> None:
    assert len(study.table) == 20
    assert set(study.table["file"]) == {"a.csv"}
    assert study.by == "electrode"
    assert study.levels("electrode") == ("disk", "mushroom")
    assert study.factors == ["electrode"]


def test_filters_leave_the_levels_that_are_kept(study: Study) -> None:
    before = study.fingerprint
    study.filters = {"electrode": ["disk"]}
    assert set(study.table["electrode"]) == {"disk"}
    assert study.fingerprint != before
    assert study.levels("electrode") == ("disk", "mushroom")
    assert study.present("electrode") == ("disk",)
    study.filters = {}
    assert study.fingerprint == before


def test_a_filling_and_a_breakdown_are_left_out_with_a_reason(study: Study) -> None:
    row = study.table.iloc[0].to_dict()
    study.exclude(filling_key(row), "stirrer stopped")
    assert len(study.table) == 15
    one = study.table.iloc[0]
    study.exclude(filling_key(one.to_dict()) | {"order": "1", "kv": f"{one['kv']:g}"}, "arc to the wall")
    assert len(study.table) == 14
    study.take_back(0)
    assert len(study.table) == 19
    with pytest.raises(InputError, match="reason"):
        study.exclude({"filling": "1"}, "  ")


def test_an_exclusion_that_names_nothing_leaves_out_nothing(study: Study) -> None:
    study.exclusions = [Exclusion({}, "empty"), Exclusion({"nowhere": "1"}, "no such column")]
    assert len(study.table) == 20


def test_two_files_are_one_table_and_their_fillings_stay_apart(study: Study) -> None:
    study.open(sheet(2, 3.0), "b.csv")
    from methods.records.table import filling_codes

    assert len(study.table) == 40
    assert "file" in study.factors
    assert len(set(filling_codes(study.table))) == 8


def test_the_same_content_is_not_opened_twice(study: Study) -> None:
    with pytest.raises(InputError, match="open already"):
        study.open(sheet(), "again.csv")


def test_a_wrong_setting_is_dropped_with_the_file_that_made_it_right(study: Study) -> None:
    study.param.update(reference="mushroom", filters={"electrode": ["disk"]})
    study.close("a.csv")
    assert (study.by, study.reference, study.filters, len(study.table)) == ("", "", {}, 0)


def test_the_reference_is_the_cell_itself() -> None:
    study = Study()
    frame = pd.DataFrame({"kv": [40.0, 41, 42, 43], "gap_mm": [1.0, 1.0, 2.0, 2.0], "filling": [1, 1, 2, 2]})
    study.open(frame.to_csv(index=False).encode(), "gaps.csv")
    study.param.update(by="gap_mm", reference="2")
    assert study.reference_value == 2.0
    assert study.levels("gap_mm") == ("1", "2")


# ---------------------------------------------------------------- address


def test_the_address_carries_the_study_and_brings_it_back(study: Study) -> None:
    study.param.update(page="overlay", reference="mushroom", confidence=0.9, filters={"electrode": ["disk"]})
    study.put("overlay", "view", "density")
    query = address.query(study)
    other = Study()
    other.open(sheet(), "a.csv")
    applying.apply(other, address.parse(query))
    assert address.settings(other) == address.settings(study)
    assert other.fingerprint == study.fingerprint


@pytest.mark.parametrize(
    "query",
    [
        "?page=nowhere&by=xyz&ref=nobody&conf=7&only.electrode=none&only.hole=a",
        "?conf=abc&split=a|b&data=../etc/passwd&overlay.view=<script>&overlay.none=1&other.x=1",
        "?conf=nan&page=%3Cb%3E",
        "?=&&&only.=1&.=2",
    ],
)
def test_what_cannot_be_is_ignored(study: Study, query: str) -> None:
    from dashboard.pages import page_class

    before = address.settings(study)
    applying.apply(study, address.parse(query), inputs={"overlay": page_class("overlay")})
    assert address.settings(study) == before


def test_levels_with_any_sign_survive_the_address() -> None:
    study = Study()
    names = ["a|b", "50 %", "x&y=z", "ä#?"]
    frame = pd.DataFrame({"sample": np.repeat(names, 3), "kv": np.linspace(30, 41, 12)})
    study.open(frame.to_csv(index=False).encode(), "odd.csv")
    study.filters = {"sample": names[:3]}
    query = address.query(study)
    study.filters = {}
    applying.apply(study, address.parse(query))
    assert study.filters == {"sample": names[:3]}


def test_own_files_never_show_in_the_address(study: Study) -> None:
    assert "a.csv" not in address.query(study)
    assert study.files[0].sha256[:8] not in address.query(study)


# ---------------------------------------------------------------- study file


def test_a_saved_study_reopens_to_the_same_numbers(study: Study) -> None:
    study.param.update(confidence=0.9, filters={"electrode": ["disk"]})
    study.exclude(filling_key(study.table.iloc[0].to_dict()), "spilled")
    text = studyfile.save(study)
    assert "kv" not in text.replace('"kv":', "")
    other = Study()
    studyfile.load(other, text)
    assert [w["name"] for w in other.awaited] == ["a.csv"]
    other.open(sheet(), "renamed.csv")
    assert other.awaited == []
    assert other.confidence == 0.9
    assert other.exclusions == study.exclusions
    assert other.table["kv"].tolist() == study.table["kv"].tolist()


def test_a_changed_file_is_told(study: Study) -> None:
    text = studyfile.save(study)
    other = Study()
    studyfile.load(other, text)
    other.open(sheet(9), "a.csv")
    assert other.awaited == []
    assert "changed" in other.remarks[0]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"gapshift_study": 99}', '{"gapshift_study": 1}', b"\xff\xfe"])
def test_something_else_is_not_a_study(text: str | bytes) -> None:
    with pytest.raises(InputError):
        studyfile.load(Study(), text)


def test_a_study_of_a_demo_set_reopens_by_itself() -> None:
    from dashboard import demo

    study = Study()
    study.open_demo(demo.names()[0])
    study.confidence = 0.8
    other = Study()
    studyfile.load(other, studyfile.save(study))
    assert other.fingerprint == study.fingerprint
    assert other.confidence == 0.8


def test_a_file_that_is_open_already_stays_where_others_are_closed(study: Study) -> None:
    study.open(sheet(2), "b.csv")
    kept = study.files[0]
    assert study.open(sheet(), "a.csv", alone=True) is kept
    assert study.files == [kept]
    study.open(sheet(2), "b.csv")
    assert [f.name for f in study.files] == ["a.csv", "b.csv"]


def test_exclusions_that_hold_for_another_file_of_the_same_name_are_told(study: Study) -> None:
    study.exclude(filling_key(study.table.iloc[0].to_dict()), "bubbles")
    study.open(sheet(3), "a.csv", alone=True)
    (remark,) = study.remarks
    assert remark.startswith("An exclusion made for a file called a.csv holds for this one too.")
    assert len(study.table) == 15
    study.open(sheet(4), "a.csv", alone=True)
    assert study.remarks == [remark]  # once is enough


def test_the_address_of_own_files_shows_no_demo_and_waits_for_them(study: Study) -> None:
    study.filters = {"electrode": ["disk"]}
    study.put("shift", "margin", 8.0, default=0.0)
    study.page = "shift"
    there = address.query(study)
    assert "data=own" in there
    later = Study()
    applying.apply(later, address.parse(there))
    assert not later.files and later.page == "shift"
    assert "data=own" in address.query(later) and "only.electrode=disk" in address.query(later)
    later.page = "records"
    later.open(sheet(), "whatever.csv", alone=True)
    assert later.filters == {"electrode": ["disk"]} and later.page == "shift" and later.inputs["shift.margin"] == "8"
    assert not later.pending


def test_a_demo_that_is_opened_instead_takes_nothing_of_what_waited(study: Study) -> None:
    from dashboard import demo

    study.filters = {"electrode": ["disk"]}
    later = Study()
    applying.apply(later, address.parse(address.query(study)))
    later.open_demo(demo.names()[0])
    assert not later.pending and not later.filters and "data=own" not in address.query(later)


def _sheet(shift: float) -> pd.DataFrame:
    rows = [(oil, *(level + shift + b for b in (0.0, 1.5, 2.0))) for oil, level in (("A", 40), ("B", 50), ("C", 46))]
    return pd.DataFrame(rows, columns=["Oil", "b1", "b2", "b3"])


def test_three_method_sheets_are_three_procedures_without_a_word() -> None:
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as book:
        for k, name in enumerate(("D877", "D1816 1 mm", "IEC 60156")):
            _sheet(3.0 * k).to_excel(book, sheet_name=name, index=False)
    study = Study()
    study.open(held.getvalue(), "methods.xlsx")
    assert study.by == "method" and len(study.levels("method")) == 3
    assert len(study.table) == 27


@pytest.mark.parametrize(
    "names", [("march.csv", "april.csv", "may.csv"), ("a D877.csv", "b D1816.csv", "c IEC 60156.csv")]
)
def test_three_files_are_three_procedures_without_a_word(names: tuple[str, ...]) -> None:
    study = Study()
    for k, name in enumerate(names):
        study.open(_sheet(3.0 * k).to_csv(index=False).encode(), name)
    assert study.by in ("file", "method") and len(study.levels(study.by)) == 3
    study.by = "sample"
    study.open(_sheet(9.0).to_csv(index=False).encode(), "june.csv")
    assert study.by == "sample"  # what was chosen stays


RECIPE = """gapshift_recipe = 1
[[sheet]]
name = ""
heading_row = 1
headings = ["Oil", "first kV", "second kV"]
values = ["B"]
"""
TWO_COLUMNS = b"Oil,first kV,second kV\nA,40.5,1\nA,41.5,2\nB,42.5,3\n"


def test_a_refused_file_is_kept_and_read_once_it_is_put_right() -> None:
    study = Study()
    broken = b"Oil,kV\nA,none\n"
    with pytest.raises(InputError):
        study.open(broken, "broken.csv")
    assert [r.name for r in study.refused] == ["broken.csv"] and study.refused[0].why and not study.files
    study.open(TWO_COLUMNS, "two.csv", recipe=RECIPE)
    assert study.table["kv"].tolist() == [40.5, 41.5, 42.5]
    with pytest.raises(InputError):
        study.reread("broken.csv", recipe=RECIPE)
    assert study.refused[0].options == {"recipe": RECIPE}  # the next word builds on it
    study.close("broken.csv")
    assert not study.refused and len(study.files) == 1


def test_a_recipe_is_saved_with_the_study_and_taken_when_its_file_comes() -> None:
    study = Study()
    study.open(TWO_COLUMNS, "two.csv", recipe=RECIPE)
    text = studyfile.save(study)
    again = Study()
    studyfile.load(again, text)
    assert again.recipes() == {"two.csv": RECIPE}  # offered for a file of the same shape before its own one is there
    again.open(TWO_COLUMNS, "two.csv")
    assert again.table["kv"].tolist() == [40.5, 41.5, 42.5]
    assert again.recipes() == {"two.csv": RECIPE}


def test_the_study_knows_nothing_of_addresses() -> None:
    import ast
    import inspect

    from dashboard import study as module

    named = {
        name
        for node in ast.walk(ast.parse(inspect.getsource(module)))
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for name in [getattr(node, "module", None) or "", *(a.name for a in node.names)]
    }
    assert not any("address" in name for name in named)

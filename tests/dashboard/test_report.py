"""The report: one file, safe, complete, the same numbers as the methods give."""

from __future__ import annotations

import html as html_text
import io
import json
import re
import struct
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import docx
import openpyxl
import pandas as pd
import pytest

from dashboard import cli, safety
from dashboard.pages import page_class
from dashboard.plots import printed
from dashboard.report import Asked, check_target, content, figures, sections_answers, writing
from dashboard.report.asked import together
from dashboard.report.gather import gather
from dashboard.report.workbook import shape_of
from dashboard.study import Study
from dashboard.words import cell
from methods import components, shift
from methods.answers.components import component_name
from methods.errors import InputError, MissingExtra
from methods.protocols import CHECK
from methods.result import Caution

DATA = Path(__file__).parents[2] / "data"
ROUND = DATA / "laboratory_round.csv"
SMALL = "\n".join(
    ["sample,laboratory,method,electrode,gap_mm,filling,order,kv"]
    + [
        f"A,Aster,ASTM D877 A,{electrode},2.54,{filling},{order},{level + 2 * filling + (7 * order) % 5}"
        for electrode, level in (("disk", 30), ("spherical", 45))
        for filling in (1, 2, 3)
        for order in (1, 2, 3, 4, 5)
    ]
)


P_SHAPE = '[<0.001]"< 0.001";[<0.1]0.000;0.00'


def study_of(text: str, name: str = "small.csv", **settings) -> Study:
    study = Study()
    study.open(text.encode(), name)
    study.param.update(**settings)
    return study


@pytest.fixture(scope="module")
def small():
    return gather(Asked(study_of(SMALL)))


@pytest.fixture(scope="module")
def page(small):
    return content(small, ".html").decode("utf-8")


@pytest.fixture(scope="module")
def whole():
    """The same with its appendix."""
    return content(gather(Asked(study_of(SMALL), appendix=True)), ".html").decode("utf-8")


def words_of(page: str) -> str:
    return " ".join(html_text.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_nothing_is_fetched_and_nothing_runs(page):
    assert not re.search(r"<(script|link|iframe|object|img|form)\b", page)
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!#|data:text/csv)""", page)
    assert not re.search(r"url\((?!#)|@import", page)
    assert "default-src 'none'" in page


def test_ids_are_unique(page, whole):
    for text in (page, whole):
        ids = re.findall(r'\bid="([^"]+)"', text)
        assert len(ids) == len(set(ids))


def test_the_first_page_answers_and_the_rest_is_short(small, page):
    assert small.front.sentences and len(small.front.pictures) == len(small.front.tables) == 1
    assert page.index("The answer") < page.index("What was read") < page.index("How many")
    text = words_of(page)
    assert "Order within fillings</h2>" not in page and "Distributions, order within fillings" in text
    assert page.count("<svg") == 2
    assert all(" ".join(caution.split()) in text for caution in small.cautions)


def test_two_paragraphs_to_paste(small, tmp_path, capsys):
    (tmp_path / "small.csv").write_text(SMALL)
    words = ["report", str(tmp_path / "small.csv"), "--by", "electrode", "--out", str(tmp_path / "r.html"), "--summary"]
    assert cli.main(words) == 0
    told = capsys.readouterr().out.strip()
    assert told.count("\n\n") == 1 and small.front.sentences[0] in told and "To keep in mind" in told


def test_it_says_everything_that_was_promised(whole):
    page, text = whole, words_of(whole)
    for part in ("The answer", "What was read", "Shift between levels", "Distributions", "Scatter", "How many",
                 "Consistency of the series", "Order within fillings", "How it was computed", "Settings and versions",
                 "SHA-256", "small.csv", "B. L. Welch, Biometrika 34 (1947) 28", "scipy", "seed"):  # fmt: skip
        assert part in text, part
    assert safety.SHORT in text
    assert all(lead in text for lead, _ in safety.LONG)
    assert CHECK.capitalize() in text
    assert page.count("<svg") >= 4


def test_the_numbers_are_those_of_the_methods(small):
    study = study_of(SMALL)
    found = shift(study.selection, "electrode")
    by = {s.key: s for s in small.sections}
    table = next(t for t in by["shift"].tables if t.name == "shift").frame
    assert table["difference_kv"].tolist() == [s.difference_kv for s in found.shifts]
    assert by["shift"].sentences == tuple(s.sentence for s in found.shifts)
    disk = study.table[study.table["electrode"] == "disk"]
    scatter = next(t for t in by["scatter"].tables if t.name == "components").frame
    expected = {component_name(c.factor): c.sd for c in components(disk).components}
    part = scatter[scatter["electrode"] == "disk"]
    assert dict(zip(part["source"], part["sd"], strict=True)) == pytest.approx(expected, nan_ok=True)


def test_the_same_input_gives_the_same_file(page):
    again = content(gather(Asked(study_of(SMALL))), ".html").decode("utf-8")
    assert again == page
    assert len(re.findall(r"20\d\d-\d\d-\d\d", page)) == 1


EVIL = SMALL + "\n" + '"<script>alert(1)</script>",Aster,=1+1,disk,2.54,9,1,33\n"=cmd|calc",Aster,=1+1,disk,2.54,9,1,31'


@pytest.fixture(scope="module")
def evil():
    return gather(Asked(study_of(EVIL, "<b>x</b>.csv"), title='"><script>alert(2)</script>'))


def test_text_from_the_file_is_escaped(evil):
    page = content(evil, ".html").decode("utf-8")
    assert "<script" not in page and "<b>x</b>" not in page
    assert "&lt;script&gt;" in page


def test_a_workbook_holds_texts_and_no_formulas(evil):
    book = openpyxl.load_workbook(io.BytesIO(content(evil, ".xlsx")))
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row if c.value is not None]
    assert any(c.value == "=cmd|calc" for c in cells) and all(c.data_type != "f" for c in cells)
    assert not any(c.hyperlink for c in cells)
    assert book.sheetnames[0] == "Report" and "Shift" in book.sheetnames
    assert isinstance(book["Shift"]["B5"].value, int)


def test_downloads_inside_the_page_are_harmless(evil):
    import base64

    page = content(replace(evil, with_appendix=True), ".html").decode("utf-8")
    links = re.findall(r"data:text/csv;charset=utf-8;base64,([^\"]+)", page)
    text = "\n".join(base64.b64decode(html_text.unescape(x)).decode("utf-8-sig") for x in links)
    assert "'=cmd" in text and not re.search(r"(^|,)=", text, re.M) and "Units: kV for" in text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("kV\n45.2\n50.1\n48.3\n39.9\n52.0\n", "nothing to compare"),
        ("sample,filling,b1,b2,b3\nA,1,45,47,49\n", "nothing to compare"),
        ("sample,electrode,filling,order,kv\n" + "\n".join(
            f"A,{e},{i},{o},>60" for i, e in enumerate(("mushroom", "spherical"), 1) for o in (1, 2)), "withst"),
    ],
    ids=["one column", "one filling", "all withstood"],
)  # fmt: skip
def test_what_cannot_be_answered_says_why(text, said):
    report = gather(Asked(study_of(text)))
    refused = {s.key: s.refusal for s in report.sections if s.refusal}
    assert said in refused["shift"]
    assert all(len(why) > 20 for why in refused.values())
    assert said in " ".join(report.answers)
    assert "nan" not in words_of(content(report, ".html").decode()).split()


def test_a_study_brings_its_filters_and_exclusions():
    study = study_of(SMALL, filters={"electrode": ["disk"]})
    study.exclude({"filling": "3", "order": "1"}, "lid was open")
    study.exclude({"filling": "3", "order": "2"}, "bubble seen")
    page = words_of(content(gather(Asked(study)), ".html").decode())
    assert "lid was open" in page and "bubble seen" in page and "13 breakdowns" in page


def test_no_reading_left_is_refused():
    study = study_of(SMALL)
    for filling in ("1", "2", "3"):
        study.exclude({"filling": filling}, "trial")
    with pytest.raises(InputError, match="No reading is left"):
        gather(Asked(study))


def test_precision_stands_in_the_report_of_a_round(tmp_path, capsys):
    out = tmp_path / "round.html"
    assert cli.main(["report", str(ROUND), "--out", str(out), "--by", "laboratory", "--reference", "Birch", "--json",
                     "--limit", "50", "--limit-method", "IEC 60156", "--title", "Round"]) == 0  # fmt: skip
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "html" and document["by"] == "laboratory" and document["title"] == "Round"
    assert {"key": "precision", "title": "Precision between laboratories", "answered": True} in document["sections"]
    page = out.read_text(encoding="utf-8")
    assert "Mandel" in page and "against laboratory Birch" in page and "Pass or fail" in page
    assert [p.name for p in tmp_path.iterdir()] == ["round.html"]


def test_the_workbook_draws_shifts_from_its_own_cells(small):
    book = openpyxl.load_workbook(io.BytesIO(content(small, ".xlsx")))
    drawn = {sheet.title: sheet._charts for sheet in book if sheet._charts}
    assert list(drawn) == ["Shift"]
    place = drawn["Shift"][0].series[0].val.numRef.f
    column = place.split("$")[1]
    table = next(t.frame for s in small.sections for t in s.tables if t.name == "shift")
    assert [book["Shift"][f"{column}{5 + i}"].value for i in range(len(table))] == pytest.approx(
        table["difference_percent"].tolist()
    )


@pytest.mark.parametrize("ending", [".md", ".docx"])
def test_a_committee_can_paste_from_it(small, evil, ending):
    def text_of(report):
        data = content(report, ending)
        if ending == ".md":
            return data.decode("utf-8")
        document = docx.Document(io.BytesIO(data))
        cells = [c.text for t in document.tables for row in t.rows for c in row.cells]
        return "\n".join([*(p.text for p in document.paragraphs), *cells])

    text = text_of(small).replace("\\", "")
    assert all(s in text for s in small.front.sentences)
    assert "Fillings" in text and "resuscitation" in text and "B. L. Welch" in text
    if ending == ".md":  # nothing of the user's is markup
        assert not re.search(r"(?<!\\)<(script|b)", text_of(evil))


def test_a_pdf_is_made_of_the_same(small):
    data = content(small, ".pdf")
    assert data.startswith(b"%PDF-") and len(data) > 20_000


@pytest.mark.parametrize(
    ("out", "said"),
    [("x.odt", "must end in"), ("x", "has no ending"), ("none/x.html", "no folder"), ("dir.html", "is a folder")],
)
def test_a_wrong_place_is_one_line_and_status_2(tmp_path, capsys, out, said):
    (tmp_path / "dir.html").mkdir()
    assert cli.main(["report", str(ROUND), "--out", str(tmp_path / out)]) == 2
    error = capsys.readouterr().err
    assert said in error and error.count("\n") == 1


def test_the_measured_values_are_never_overwritten(tmp_path, capsys):
    book = tmp_path / "sheet.xlsx"
    book.write_bytes((DATA / "messy_sheet.xlsx").read_bytes())
    (tmp_path / "other.xlsx").symlink_to(book)
    for out in (book, tmp_path / "other.xlsx"):
        assert cli.main(["report", str(book), "--out", str(out)]) == 2
        assert "overwrite the measured values" in capsys.readouterr().err
    assert book.read_bytes() == (DATA / "messy_sheet.xlsx").read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [(["--by", "nothing"], "no column"), (["--by", "laboratory", "--reference", "Zinnia"], "no level 'Zinnia'")],
)
def test_a_wrong_question_is_one_line_and_status_2(tmp_path, capsys, words, said):
    assert cli.main(["report", str(ROUND), "--out", str(tmp_path / "x.html"), *words]) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_pdf_without_weasyprint_names_the_extra(monkeypatch, tmp_path):
    monkeypatch.setitem(__import__("sys").modules, "weasyprint", None)
    with pytest.raises(MissingExtra, match=r"gapshift\[report\]"):
        check_target(tmp_path / "x.pdf")


def test_a_write_that_fails_leaves_nothing(monkeypatch, tmp_path):
    def broken(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(writing.os, "replace", broken)
    with pytest.raises(OSError, match="disk full"):
        writing.write(Asked(study_of("kV\n45.2\n50.1\n48.3\n")), tmp_path / "x.html")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [("p_value", 0.0001, "< 0.001"), ("p", 0.01, "1\u202f%"), ("gap_mm", 2.5, "2.5"), ("kv", 45.678, "45.7"),
     ("kv", None, "–"), ("n", 12, "12"), ("difference_kv", -2.0, "\u22122.00")],
)  # fmt: skip
def test_cells_read_well(column, value, text):
    assert cell(column, value) == text


def test_what_is_true_of_several_is_said_once():
    of = [Caution("same", f"{name} against disk: the data do not reach so far.") for name in ("mushroom", "spherical")]
    assert together(of) == ("mushroom; spherical against disk: the data do not reach so far.",)


@pytest.fixture(scope="module")
def programme():
    study = Study()
    study.open(DATA / "programme_long.csv")
    return gather(Asked(study), whole=False)


def test_the_first_page_says_which_how_far_apart_and_how_many(programme):
    """Every cell of its table is one of the tables behind it; nothing ends in "and 4 more"."""
    table = programme.front.tables[0].frame
    frames = {t.name: t.frame for s in programme.sections for t in s.tables}
    named = table["procedure"].str.replace(" (reference)", "")
    assert sorted(named) == sorted(frames["choose"]["procedure"]) and table["probability_best"].is_monotonic_decreasing
    for column, name, key in (("probability_best", "choose", "procedure"), ("low_percent", "shift", "level")):
        there = frames[name].set_index(key)[column]
        assert all(a == there[v] for v, a in zip(named, table[column], strict=True) if v in there)
    sure = frames["plan"].loc[frames["plan"]["scatter"] == "to be sure"].set_index("procedure")
    assert table["fillings"].tolist() == sure.loc[named, "fillings"].tolist()
    assert table.loc[named == "ASTM D877 B", "breakdowns_per_filling"].item() == 1  # as the method takes them
    said = " ".join([*programme.front.sentences, *programme.cautions])
    assert not re.search(r"\d more\b(?! cautions)", said) and "by procedure" in said
    assert max(map(len, programme.cautions)) < 700


def test_cautions_of_one_kind_are_told_together():
    of = [Caution("same", f"Level {name} differs. The limits allow for that.") for name in "ABC"]
    assert together([*of, Caution("else", "Another.")]) == (
        "Level A differs. Level B differs. Level C differs. The limits allow for that.",
        "Another.",
    )
    assert together(of[:2]) == tuple(c.text for c in of[:2])


@pytest.fixture(scope="module")
def round_():
    study = Study()
    study.open(ROUND)
    return gather(Asked(study), whole=False)


def test_a_round_asks_and_answers_for_its_laboratories(round_):
    assert "which laboratories stand out" in round_.asked
    assert "Gentian" in round_.gravest and "Alderholt T1" in round_.gravest
    titles = [p.title for s in round_.sections for p in s.pictures]
    assert titles[-1] == "Scatter against the level" and titles[-3].startswith("Mandel's h")


def test_what_only_the_appendix_shows_is_made_only_for_it(small, round_):
    keys = [s.key for s in round_.sections]
    assert not {"percentiles", "distributions", "order", "consistency"} & set(keys)
    assert {"distributions", "order"} <= {s.key for s in small.sections}


def test_a_picture_of_the_report_is_the_plot_of_the_page(monkeypatch):
    """What the report draws is layer for layer what the page draws."""
    study = Study()
    study.open(ROUND)
    given = {}

    def drawn(drawing, key, height=440):
        given.setdefault(key, drawing)
        return figures.Inline(drawing, key, height)

    monkeypatch.setattr(figures, "drawn", drawn)
    for section in (sections_answers.shift, sections_answers.precision):
        assert section(Asked(study)).pictures
    shown = {}
    for key in ("shift", "precision"):
        page = page_class(key)(study)
        result = page.result()
        shown |= {f.title.split(": ")[-1]: f.draw(result) for f in page.figures()[:3]}
    for key, title in (("shift", "Shift of each level"), ("mandelh", "Mandel's h"), ("mandelk", "Mandel's k"),
                       ("spread", "Spread against the level")):  # fmt: skip
        pd.testing.assert_frame_equal(printed.table(given[key]), printed.table(shown[title]))
        looks = [[(la.kind, la.look) for p in d.plots for la in p.layers] for d in (given[key], shown[title])]
        assert looks[0] == looks[1], title


def test_pictures_are_saved_one_by_one(round_, tmp_path):
    saved = writing.save_pictures(round_, tmp_path / "pictures")
    count = sum(len(s.pictures) for s in round_.sections)
    assert len(saved) == 2 * count and len({p.name for p in saved}) == 2 * count
    for path in saved:
        if path.suffix == ".svg":
            assert ElementTree.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"
        else:
            width, height = struct.unpack(">II", path.read_bytes()[16:24])
            assert width == 1440 and height > 400  # 7.2 inches at 200 dots


def test_a_text_document_carries_the_pictures(round_):
    document = docx.Document(io.BytesIO(content(round_, ".docx")))
    shown = [*round_.front.pictures, *(p for s in round_.behind for p in s.pictures)]
    assert len(document.inline_shapes) == len(shown) >= 4


def test_the_workbook_reads_and_prints_as_a_page_does(small):
    book = openpyxl.load_workbook(io.BytesIO(content(small, ".xlsx")))
    front = book["Report"]
    assert front._images and front.sheet_properties.pageSetUpPr.fitToPage and int(front.page_setup.fitToHeight) == 0
    longest = max(range(1, front.max_row + 1), key=lambda row: len(str(front.cell(row, 1).value or "")))
    assert front.row_dimensions[longest].height >= 30  # a wrapped text is seen whole
    table = next(t.frame for s in small.sections for t in s.tables if t.name == "shift")
    at = list(table.columns).index("difference_percent") + 1
    cell = book["Shift"].cell(5, at)
    assert cell.value == table["difference_percent"].iloc[0]  # all its digits
    assert cell.number_format in ("0", "0.0", "0.00", "0.000")  # three are shown


@pytest.mark.parametrize(
    ("column", "value", "shape"),
    [("mean_kv", 1234.5, "0"),
     ("mean_kv", 45.678, "0.0"), ("sd_kv", 4.5, "0.00"), ("p_value", 0.04, P_SHAPE),
     ("sd_kv", 1e-6, "0.0E+00"), ("share_above", 0.9, "0%"),
     ("gap_mm", 2.54, "General"), ("fillings", 12, "General"), ("kv", 0.0, "0")],
)  # fmt: skip
def test_three_digits_are_shown_in_a_workbook(column, value, shape):
    assert shape_of(column, value) == shape


@pytest.mark.parametrize("ending", [".html", ".md", ".docx", ".xlsx"])
def test_every_form_carries_every_caution_whole(small, ending):
    made = content(small, ending)
    if ending == ".docx":
        text = " ".join(p.text for p in docx.Document(io.BytesIO(made)).paragraphs)
    elif ending == ".xlsx":
        sheet = openpyxl.load_workbook(io.BytesIO(made))["Report"]
        text = " ".join(str(c.value) for row in sheet.iter_rows() for c in row if c.value is not None)
    else:
        text = words_of(made.decode()) if ending == ".html" else made.decode()
    text = " ".join(text.replace("*", " ").replace("\\", "").split())
    assert safety.SHORT in text
    assert not [lead for lead, body in safety.LONG if f"{lead} {body}" not in text]


def test_a_round_has_every_laboratory_at_every_level_with_its_marks(round_report):
    precision_of = next(s for s in round_report.sections if s.key == "precision")
    table = next(t for t in precision_of.tables if t.name == "by_laboratory")
    assert len(table.frame) == 9 and len(table.frame.columns) == 5
    cells = next(t for t in precision_of.tables if t.name == "cells").frame
    marked = {(r["laboratory"], c) for r in table.frame.to_dict("records") for c, v in r.items() if "*" in str(v)}
    from methods.interlab import mandel_h_critical

    beyond = {(r.laboratory, r.level) for r in cells.itertuples() if abs(r.h) > mandel_h_critical(9)}
    assert beyond <= marked and len(marked) < 6
    assert any(t.name == "by_laboratory" for s in round_report.brief for t in s.tables)
    said = " ".join(round_report.front.sentences)
    assert "One result is what the method reports" in said and "spherical electrodes" in said and "gap 2.5 mm" in said
    assert not any(s.key == "scatter" for s in round_report.brief)  # means over oils that differ


@pytest.fixture(scope="module")
def round_report():
    study = Study()
    study.open(ROUND.read_bytes(), "round.csv")
    return gather(Asked(study), whole=False)


def test_two_methods_stand_beside_each_other(tmp_path):
    from tests.methods.interlab.test_compare import rounds

    frame = rounds(levels=4)
    report = gather(Asked(study_of(frame.to_csv(index=False), "two.csv")), whole=False)
    pair = next(s for s in report.sections if s.key == "pair")
    assert "Y repeats itself less closely than X" in " ".join(pair.sentences)
    assert {"precision_ratio", "limits", "discrimination"} <= {t.name for t in pair.tables}
    brief = next(s for s in report.brief if s.key == "pair")
    assert [t.name for t in brief.tables] == ["precision_ratio", "limits", "discrimination"]
    assert any(m.statistic == "Two methods" for m in report.methods)
    means = next(t for s in report.sections if s.key == "scatter" for t in s.tables if t.name == "means")
    assert means.frame["method"].tolist() == ["X", "Y"]
    precise = next(s for s in report.sections if s.key == "precision")
    assert "relations" not in {t.name for t in precise.tables}  # of two methods together
    assert len(report.summary) < 2500


def test_grades_of_ones_own_are_told():
    asked = Asked(study_of(SMALL), limit="40", limit_method="ASTM D877 A", limit_liquid="mineral oil", poor_below=25.0)
    report = gather(asked, whole=False)
    decided = next(s for s in report.sections if s.key == "decision")
    assert "poor below 25 kV" in " ".join(report.front.sentences) and not decided.refusal
    assert any(r.setting == "grades of your own" for r in report.settings.itertuples())
    table = next(t for t in decided.tables if t.name == "decision_verdicts")
    assert {"good", "fair", "poor"} & set(table.frame.get("grade", []))


def test_no_family_is_fitted_to_oils_mixed():
    report = gather(Asked(study_of(ROUND.read_text(), "round.csv")))
    fits = next(t for s in report.sections if s.key == "distributions" for t in s.tables if t.name == "fits")
    assert "sample" in fits.frame.columns and len(fits.frame) >= 36


def test_the_command_takes_stage_and_equipment(tmp_path, capsys):
    sheet = tmp_path / "own.csv"
    rows = "".join(f"ASTM D1816 2 mm,T1,{f},{45 + 3 * f + (7 * o) % 11}\n" for f in (1, 2, 3) for o in range(5))
    sheet.write_text("method,sample,filling,kv\n" + rows, encoding="utf-8")
    limit = ["--limit", "40", "--limit-method", "ASTM D1816 2 mm", "--limit-stage", "in service"]
    said = {}
    for stage in ("in service", "as delivered"):
        out = tmp_path / f"{stage}.md"
        assert cli.main(["report", str(sheet), "--out", str(out), *limit, "--stage", stage, "--rule", "guarded"]) == 0
        said[stage] = out.read_text(encoding="utf-8")
    assert "stage of these oils" in said["in service"] and "guarded" in said["in service"]
    assert "1 × " in said["in service"] and "1 × " not in said["as delivered"]
    capsys.readouterr()
    assert cli.main(["decide", str(sheet), *limit, "--stage", "as delivered"]) == 2
    assert "in service" in capsys.readouterr().err

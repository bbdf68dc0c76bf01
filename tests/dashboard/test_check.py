"""``gapshift check`` end to end: exit status, one line on error, JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import main

CLEAN = "sample,filling,kV\nA,1,44\nA,1,45.5\nA,2,>60\n"


def write(folder: Path, text: str, name: str = "x.csv") -> str:
    path = folder / name
    path.write_bytes(text.encode())
    return str(path)


def test_clean_is_0_and_the_document_has_the_contract(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", write(tmp_path, CLEAN), "--json"]) == 0
    out = capsys.readouterr()
    document = json.loads(out.out)
    assert {k: document[k] for k in ("rows_read", "breakdowns", "withstood", "fillings", "conditions", "problems")} == {
        "rows_read": 3, "breakdowns": 2, "withstood": 1, "fillings": 2, "conditions": 1, "problems": [],
    }  # fmt: skip
    assert out.err == ""


def test_refused_is_1_and_says_where(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path, CLEAN + "A,2,-1\n")
    assert main(["check", path, "--json"]) == 1
    problems = json.loads(capsys.readouterr().out)["problems"]
    assert [set(p) for p in problems] == [{"row", "column", "found", "rule", "action", "code", "refused"}]
    assert (problems[0]["row"], problems[0]["column"], problems[0]["found"]) == (5, "kV", "-1")
    assert main(["check", path]) == 1
    assert "above zero" in capsys.readouterr().out


@pytest.mark.parametrize("text", ["", "hello\n", "Sample,Mean,SD\nA,45,3\n", "a,b\n1.5,2.5\n1,2\n"])
def test_unusable_is_2_with_one_line(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", write(tmp_path, text), "--json"]) == 2
    out = capsys.readouterr()
    assert out.out == "" and out.err.count("\n") == 1 and out.err.startswith("gapshift: ")


def test_what_is_not_there_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path / "none.csv")]) == 2
    assert main(["check", str(tmp_path)]) == 2
    assert capsys.readouterr().err.count("\n") == 2


def test_options_overrule_guesses(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def counted(text: str, *options: str) -> dict[str, int]:
        main(["check", write(tmp_path, text), "--json", *options])
        return json.loads(capsys.readouterr().out)

    wall = "s,kV\n" + "".join(f"A,{v}\n" for v in (48.2, 60, 55.1, 60, 60, 51.2))
    assert counted(wall)["withstood"] == 3
    assert counted(wall, "--no-ceiling")["withstood"] == 0
    assert counted(wall, "--ceiling", "51.2")["withstood"] == 1
    assert counted("a,b\n1.5,2.5\n1,2\n", "--value", "B")["breakdowns"] == 2
    rows = "Sample,b1,b2,b3,b4,b5\nA,44,45,46,41,40\nA,47,44,45,41,49\nB,55,56,57,58,51\n"
    assert counted(rows)["fillings"] == 2 and counted(rows, "--layout", "wide")["fillings"] == 3
    assert counted("s,Batch,kV\nA,1,44\nA,2,45\n", "--column", "filling=batch")["fillings"] == 2


def test_a_recipe_says_how_it_is_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path, "Oil,x,y\nA,44,45\nB,46,47\n")
    said = (
        "gapshift_recipe = 1\n[[sheet]]\nname = ''\nheading_row = 1\nheadings = ['Oil', 'x', 'y']\nvalues = ['B:C']\n"
    )
    recipe = write(tmp_path, said, "odd.toml")
    assert main(["check", path, "--recipe", recipe, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["breakdowns"] == 4
    assert main(["fit", path, "--recipe", recipe, "--family", "normal", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fits"][0]["n"] == 4
    other = write(tmp_path, "Oil,x,z\nA,44,45\n", "other.csv")
    assert main(["check", other, "--recipe", recipe]) == 2
    error = capsys.readouterr().err
    assert "'odd' does not fit" in error and "C1" in error and error.count("\n") == 1

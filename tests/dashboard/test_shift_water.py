"""Water on the shift page and in the command: the same line, the same numbers, a plot only where there is water."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard import cache
from dashboard.cli import main
from dashboard.pages import page_class
from dashboard.study import Study
from methods import read, shift
from methods.records.saturation import SATURATION
from tests.methods.shifts.test_water_and_temperature import wet


def _page(csv: bytes, **inputs):
    cache.forget()
    study = Study()
    study.open(csv, "wet.csv")
    study.by = "method"
    page = page_class("shift")(study)
    page.param.update(**inputs)
    page.shown = True
    return page


def test_page_command_and_call_take_out_the_same_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "wet.csv"
    wet(18, 26, oils=3).to_csv(path, index=False)
    page = _page(path.read_bytes(), model="mixed", covariates=[SATURATION])
    expected = shift(read(path), "method", model="mixed", covariates=["relative_saturation"])
    argv = ["shift", str(path), "--by", "method", "--model", "mixed", "--covariate", "relative_saturation", "--json"]
    assert main(argv) == 0
    printed = json.loads(capsys.readouterr().out)
    shown = page.result().shift
    for other in (printed["shifts"][0], vars(shown.shifts[0])):
        assert other["difference_kv"] == pytest.approx(expected.shifts[0].difference_kv)
    assert printed["covariates"][0]["slope"] == pytest.approx(shown.covariates[0].slope)
    assert "shift_covariates" in page._shown_tables
    assert any(c.code == "covariate" for c in page.cautions(page.result()))
    lines = [layer for layer in page._draw_state(page.result()).plots[0].layers if layer.kind == "line"]
    assert len(lines) == 2


def test_the_plot_is_there_only_with_water() -> None:
    page = _page(wet().to_csv(index=False).encode())
    assert page._figures[2].__panel__().visible and page._quantities()[0] == SATURATION
    dry = _page(wet().drop(columns=["water_mg_kg", "temperature_c"]).to_csv(index=False).encode())
    assert not dry._figures[2].__panel__().visible
    unnamed = _page(wet().drop(columns="fluid").to_csv(index=False).encode())
    assert SATURATION not in unnamed._quantities()
    unnamed.liquid = "mineral"
    assert SATURATION in unnamed._quantities()


def test_constants_of_your_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "wet.csv"
    wet(18, 26).drop(columns="fluid").to_csv(path, index=False)
    argv = ["shift", str(path), "--by", "method", "--model", "mixed", "--covariate", "rs", "--json"]
    assert main(argv) == 2
    assert "name the liquid" in capsys.readouterr().err
    assert main([*argv, "--liquid", "7.42,1670"]) == 0
    own = json.loads(capsys.readouterr().out)
    assert main([*argv, "--liquid", "mineral"]) == 0
    assert json.loads(capsys.readouterr().out) == own

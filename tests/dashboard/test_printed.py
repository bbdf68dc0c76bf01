"""Plots for paper: every page's drawing as SVG, PNG, CSV and XLSX."""

from __future__ import annotations

import io
from typing import Any

import pandas as pd
import panel as pn
import pytest

from dashboard import demo
from dashboard.pages import page_class
from dashboard.plots import printed
from dashboard.study import Study

SETTINGS: dict[str, dict[str, Any]] = {
    "overlay": {"view": "weibull"}, "shift": {"margin": 5.0}, "scatter": {}, "howmany": {"source": "typed"},
    "classroom": {"taken": 9, "limit_kv": 60.0, "count": 20}, "precision": {},
    "choose": {}, "method_study": {"question": "family"},
}  # fmt: skip


@pytest.fixture(scope="module")
def pages() -> dict[str, Any]:
    pn.extension()
    out = {}
    for key, settings in SETTINGS.items():
        study = Study()
        study.open_demo("labs" if key == "precision" else demo.names()[0], first_look=True)
        if key == "overlay":
            study.by = "electrode"  # few enough for one pair of axes
        page = page_class(key)(study, **settings)
        page.shown = True
        out[key] = page
    return out


@pytest.mark.parametrize("key", SETTINGS)
def test_every_plot_is_taken_away_in_four_forms(pages: dict[str, Any], key: str) -> None:
    drawn = [live for live in pages[key]._figures if any(p.layers for p in live.figure.draw(live._result).plots)]
    assert drawn
    for live in drawn:
        names = {}
        for ending in ("svg", "png", "csv", "xlsx"):
            name, make = live._taken(ending)
            contents = make()
            names[ending] = contents
            assert name.startswith("gapshift_") and name.endswith(f".{ending}") and " " not in name
        assert b"<svg" in names["svg"] and names["png"].startswith(b"\x89PNG")
        csv = pd.read_csv(io.BytesIO(names["csv"]), encoding="utf-8-sig", low_memory=False, skiprows=1)
        sheet = pd.read_excel(io.BytesIO(names["xlsx"]), engine="calamine", skiprows=3)
        assert len(csv) == len(sheet) > 0


def test_a_picture_is_of_print_size_and_its_text_is_text(pages: dict[str, Any]) -> None:
    from matplotlib.image import imread

    live = pages["overlay"]._figures[0]
    image = imread(io.BytesIO(live._taken("png")[1]()))
    assert image.shape[1] == pytest.approx(printed.WIDTH_IN * printed.DPI, abs=2)
    svg = live._taken("svg")[1]().decode()
    assert "Breakdown voltage (kV)" in svg and "99.9 %" in svg  # words of the axes, and ticks of its own scale
    for name, *_ in live.figure.draw(live._result).legend():
        assert name.split(" (")[0] in svg


def test_the_data_of_a_plot_are_what_is_drawn(pages: dict[str, Any]) -> None:
    live = pages["shift"]._figures[0]
    frame = printed.table(live.figure.draw(live._result))
    shifts = live._result.shift.shifts if hasattr(live._result, "shift") else live._result.shifts
    drawn = frame.loc[frame["mark"] == "marks", "x"].tolist()
    assert drawn[1:] == pytest.approx([s.difference_percent for s in shifts])


def test_a_picture_of_the_dark_theme_is_in_the_light_ones_colours_and_a_formula_is_text(tmp_path: Any) -> None:
    from dashboard import theme
    from dashboard.plots.layers import Drawing, Plot
    from dashboard.plots.marks import line, points

    marks = theme.DARK.marks
    layers = [line([1, 10], [i, i], c, f"level $\\badcmd{{{i}}}$") for i, c in enumerate(marks)]
    drawing = Drawing([Plot([*layers, points([2], [1], marks[3])], "kV", log_x=True)])
    svg = printed.picture(drawing, "svg", "$x$").decode().lower()
    assert "$x$" in svg and "badcmd" in svg and "mathdefault" not in svg
    assert all(c.lower() in svg for c in theme.LIGHT.marks)
    assert not any(c.lower() in svg for c in marks)

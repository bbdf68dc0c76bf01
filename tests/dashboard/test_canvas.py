"""A live plot: patched where its shape stays, made anew where it does not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import pytest
from bokeh.models import ColumnDataSource

from dashboard import theme
from dashboard.pages import page_class
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.patched import Patched
from dashboard.study import Study
from methods.errors import InputError


def _drawing(y: list[float], label: str = "a", colour: str = "#111111", top: float | None = None) -> Drawing:
    line = Layer("line", {"x": np.arange(3.0), "y": np.array(y)}, label, {"line_color": colour})
    still = Layer("marks", {"x": np.arange(2.0), "y": np.arange(2.0), "colour": ["#222222"] * 2}, look={"size": 5})
    return Drawing([Plot([line, still], "x", "y", y_range=None if top is None else (0.0, top))])


def _sources(patched: Patched) -> list[ColumnDataSource]:
    return [r.data_source for r in patched.figures[0].renderers]


def test_a_patch_replaces_only_the_columns_that_differ_and_keeps_the_models() -> None:
    patched = Patched(_drawing([1, 2, 3]), dark=False, height=300)
    figure, sources = patched.figures[0], _sources(patched)
    seen: list[Any] = []
    for source in sources:
        source.on_change("data", lambda attr, old, new: seen.append(attr))
    patched.patch(_drawing([1, 2, 4], "b", "#333333"))
    assert patched.figures[0] is figure and _sources(patched) == sources
    assert list(sources[0].data["y"]) == [1, 2, 4]
    assert len(seen) == 1  # the marks were the same
    assert figure.renderers[0].glyph.line_color == "#333333"


def test_ranges_hold_all_that_is_drawn_and_a_zoom_stays_while_they_do_not_change() -> None:
    patched = Patched(_drawing([1, 2, 3]), dark=False, height=300)
    shown = patched.figures[0].y_range
    assert shown.start < 0 and shown.end > 3
    shown.update(start=1.0, end=2.0)  # the reader zooms
    patched.patch(_drawing([1, 2, 3], "b"))
    assert (shown.start, shown.end) == (1.0, 2.0)
    patched.patch(_drawing([1, 2, 30]))
    assert shown.end > 30 and shown.reset_end == shown.end


def test_another_theme_is_a_patch() -> None:
    patched = Patched(_drawing([1, 2, 3]), dark=False, height=300)
    patched.patch(_drawing([1, 2, 3]), dark=True)
    assert patched.figures[0].background_fill_color == theme.palette(True).surface


def test_the_legend_stands_beside_the_plot_and_names_every_labelled_layer() -> None:
    drawing = _drawing([1, 2, 3])
    assert list(Patched(drawing, dark=False, height=300).figures[0].legend) == []
    assert drawing.legend() == [("a", "line", "#111111", "solid", "circle")]


def test_a_line_of_the_legend_alone_leaves_the_axes_and_what_has_no_name() -> None:
    lines = [Layer("line", {"x": np.arange(3.0), "y": np.arange(3.0) * k}, f"level {k}") for k in (1, 5)]
    both = {"x": np.array([0.0, 1.0]), "y": np.array([1.0, 9.0]), "colour": ["#222222"] * 2, "marker": ["circle"] * 2}
    strip = Layer("readings", both, about={"kV": ["1", "9"]}, of=["level 1", "level 5"], rows=[7, 8])
    still = Layer("line", {"x": np.arange(3.0), "y": np.zeros(3)})
    whole = Drawing([Plot([*lines, strip, still])])
    alone = whole.alone("level 5")
    first, second, kept, help_line = alone.plots[0].layers
    assert len(first.data["x"]) == 0 and len(second.data["x"]) == 3 and help_line is still
    assert list(kept.rows) == [8] and kept.about == {"kV": ["9"]} and list(kept.data["y"]) == [9.0]
    assert alone.ranges() == whole.ranges() and alone.shape() == whole.shape()
    assert whole.alone("") is whole


def test_what_is_selected_is_marked_and_what_is_picked_is_told_by_its_row() -> None:
    picked: list[list[int]] = []
    data = {"x": np.arange(3.0), "y": np.arange(3.0), "colour": ["#222222"] * 3, "marker": ["circle"] * 3}
    drawing = Drawing([Plot([Layer("readings", data, rows=[10, 20, 30])])])
    patched = Patched(drawing, dark=False, height=300, picked=picked.append)
    selected = _sources(patched)[0].selected
    patched.mark([20, 99])
    assert selected.indices == [1] and picked == []  # what is marked from elsewhere is nobody's pick
    selected.indices = [0, 2]
    assert picked == [[10, 30]]
    fewer = {name: values[1:] for name, values in data.items()}
    patched.patch(Drawing([Plot([Layer("readings", fewer, rows=[20, 30])])]))
    assert selected.indices == [] and len(picked) == 1


def test_the_wheel_scrolls_the_page_until_the_plot_is_clicked() -> None:
    made = Patched(_drawing([1, 2, 3]), dark=False, height=300).figures[0]
    assert made.toolbar.active_scroll is None
    assert set(made.js_event_callbacks) == {"tap", "mouseleave"}


def test_the_shape_tells_what_a_patch_cannot_carry() -> None:
    assert _drawing([1, 2, 3]).shape() == _drawing([4, 5, 6], "b", "#333333").shape()
    assert _drawing([1, 2, 3]).shape() == _drawing([1, 2, 3], "").shape()  # the legend is not in the plot
    line = _drawing([1, 2, 3]).plots[0]
    assert Drawing([line]).shape() != Drawing([Plot(line.layers, log_x=True)]).shape()
    assert Drawing([line]).shape() != Drawing([Plot(line.layers[:1])]).shape()


def test_a_logarithmic_axis_ignores_what_it_cannot_show() -> None:
    line = Layer("line", {"x": np.array([0.0, 10.0, 100.0]), "y": np.array([1.0, np.nan, 2.0])})
    (low, high), _ = Drawing([Plot([line], log_x=True)]).ranges()
    assert 0 < low < 10 and high > 100


# ------------------------------------------------------------------ the overlay, which is drawn that way


@pytest.fixture(scope="module")
def readings(tmp_path_factory: pytest.TempPathFactory) -> Any:
    rng = np.random.default_rng(1)
    rows = [
        {"sample": "S", "electrode": e, "filling": f, "order": o, "kv": round(float(kv), 1), "outcome": out}
        for e, level in (("spherical", 60), ("mushroom", 52), ("disk", 40))
        for f in range(1, 5)
        for o, (kv, out) in enumerate(_series(rng, level), 1)
    ]
    path = tmp_path_factory.mktemp("canvas") / "readings.csv"
    pd.DataFrame(rows).to_csv(path, index=False)
    return path


def _series(rng: np.random.Generator, level: float) -> Iterator[tuple[float, str]]:
    for kv in level * rng.weibull(9, 6):
        yield (kv, "breakdown") if kv < 64 else (64.0, "withstood")


@pytest.fixture
def page(readings: Any) -> Any:
    pn.extension()
    study = Study()
    study.open(readings)
    page = page_class("overlay")(study)
    page.shown = True
    page.__panel__().get_root()
    return page


def _shown(page: Any) -> Patched:
    (front,) = [p for p, view in page._figures[0]._drawn.values() if view.styles["visibility"] == "visible"]
    return front


def test_a_change_of_confidence_patches_the_bands_alone(page: Any) -> None:
    before = _shown(page)
    band, steps = before.figures[0].renderers[0], before.figures[0].renderers[4]
    wide, stepped = np.ptp(band.data_source.data["xs"][0]), steps.data_source.data["x"]
    page.study.confidence = 0.8
    assert _shown(page) is before
    assert np.ptp(band.data_source.data["xs"][0]) < wide
    assert steps.data_source.data["x"] is stepped


@pytest.mark.parametrize("view", ["density", "normal", "weibull", "box"])
def test_a_view_is_made_once_and_then_only_shown_again(page: Any, view: str) -> None:
    steps = _shown(page)
    page.view = view
    other = _shown(page)
    assert other is not steps and page._body.visible
    page.view = "ecdf"
    assert _shown(page) is steps
    page.view = view
    assert _shown(page) is other


def test_what_changed_while_another_view_was_in_front_is_there_on_return(page: Any) -> None:
    page.view = "weibull"
    page.study.confidence = 0.5
    page.view = "ecdf"
    fresh = page_class("overlay")(page.study)
    fresh.shown = True
    for mine, other in zip(_sources(_shown(page)), _sources(_shown(fresh)), strict=True):
        for name in other.data:
            np.testing.assert_array_equal(np.asarray(mine.data[name][0]), np.asarray(other.data[name][0]))


def test_fits_at_another_confidence_are_those_of_a_new_fit(page: Any) -> None:
    from methods.scatter import fit_groups

    page.study.confidence = 0.9
    new = fit_groups(page.study.selection, ["electrode"], ["weibull"], confidence=0.9)
    for kept, made in zip(page.result()["fits"], new, strict=True):
        assert kept["percentiles"] == made["percentiles"]
        assert kept["parameter_limits"] == made["parameter_limits"]
        assert kept["anderson_darling"] == made["anderson_darling"]


def test_withstands_are_marked_and_never_a_step(page: Any) -> None:
    stood, strips = (source.data for source in _sources(_shown(page))[-2:])
    assert set(stood["x"]) == {64.0}
    assert _shown(page).figures[0].renderers[-2].glyph.marker == theme.WITHSTOOD_MARKER
    starred = {x for x, marker in zip(strips["x"], strips["marker"], strict=True) if marker == theme.WITHSTOOD_MARKER}
    assert starred == {64.0}


def test_every_reading_is_on_the_plot_and_says_what_it_is(page: Any) -> None:
    strips = _sources(_shown(page))[-1].data
    table = page.study.table
    assert len(strips["x"]) == len(table)
    layer = _shown(page)._drawn[0][-1]
    for i in (0, 7, len(table) - 1):
        row = page.study.everything.iloc[layer.rows[i]]
        assert strips["x"][i] == row["kv"] and strips["kV"][i].endswith(f"{row['kv']:g}")
        assert strips["Filling"][i] == str(row["filling"]).removesuffix(".0")
        assert strips["Procedure"][i] == row["electrode"]


def test_a_selection_is_marked_in_the_plot_and_left_out_with_its_reason(page: Any) -> None:
    study, before = page.study, len(page.study.table)
    rows = [3, 4, 60]
    study.selected = rows
    front = _shown(page)
    marked = _sources(front)[-1].selected.indices
    assert sorted(front._drawn[0][-1].rows[i] for i in marked) == rows
    with pytest.raises(InputError, match="reason"):
        study.leave_out(rows, " ")
    assert study.leave_out(rows, "stirrer stopped") == 3
    assert len(study.table) == before - 3 and study.selected == []
    assert {x.reason for x in study.exclusions} == {"stirrer stopped"}
    assert len(_sources(_shown(page))[-1].data["x"]) == before - 3


def test_a_whole_filling_is_left_out_as_one(page: Any) -> None:
    study = page.study
    assert study.leave_out([0, 1, 2, 3, 4, 5], "cell not dry") == 6
    (one,) = study.exclusions
    assert "order" not in one.where and one.where["filling"] == "1"


# ------------------------------------------------------------------ other plots


def _limits(root: Any) -> list[tuple[float, float]]:
    from bokeh.models import Plot

    return [(float(p.x_range.start), float(p.x_range.end)) for p in root.select({"type": Plot})]


def test_the_axes_follow_each_frame() -> None:
    """They once kept the limits of the first, and later breakdowns lay outside the plot."""
    pn.extension()
    page = page_class("classroom")(Study(), count=20)
    page.shown = True
    root = page.__panel__().get_root()
    for taken in (1, 2, 7, 12):
        page.taken = taken
        assert (0.5, max(taken, 6) + 0.5) in _limits(root), taken


@pytest.mark.parametrize("key", ["scatter", "decision", "howmany", "shift", "overlay"])
def test_a_page_that_was_behind_another_shows_the_file_that_is_open(key: str, readings: Any) -> None:
    from dashboard import demo
    from dashboard.app import App

    study = Study()
    study.open_demo(demo.names()[0], first_look=True)
    study.page = key
    study.inputs = typed = {"decision.limit": "typed"}  # no limit is applied unasked
    shown = App(study)
    root = shown.page.layout.get_root()
    study.page = "records"
    study.open(readings)
    study.page = key
    fresh = Study(by=study.by)
    fresh.open(readings)
    fresh.by, fresh.page, fresh.inputs = study.by, key, typed
    wanted = App(fresh).page.layout.get_root()
    assert _drawn(root) == _drawn(wanted) != []


def _drawn(root: Any) -> list[str]:
    """What the plots in front show: kind of glyph and data, in no order."""
    from bokeh.models import GlyphRenderer

    found = []
    for renderer in root.select({"type": GlyphRenderer}):
        if _is_shown(root, renderer):
            data = {
                name: [np.asarray(v).tolist() for v in values] for name, values in renderer.data_source.data.items()
            }
            found.append(f"{type(renderer.glyph).__name__} {sorted(data.items())}")
    return sorted(found)


def _is_shown(root: Any, renderer: Any) -> bool:
    """Not one of a shape that waits out of sight."""
    from bokeh.models import Column, Plot

    plots = [p for p in root.select({"type": Plot}) if renderer in p.renderers]
    behind = [c for c in root.select({"type": Column}) if dict(c.styles).get("visibility") == "hidden"]
    return not any(p in c.select({"type": Plot}) for c in behind for p in plots)

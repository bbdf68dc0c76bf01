"""The plots of answers for a notebook: each a HoloViews element, drawn as the page draws it.

Importing this module says to :mod:`methods.answers.plots` what can be drawn; the installed package is found anyway.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from inspect import signature
from typing import Any

from dashboard import theme
from dashboard.plots import printed
from dashboard.plots.layers import Drawing
from methods.answers import Answer
from methods.answers.plots import register
from methods.columns import level_text


def load() -> None:
    """Say what can be drawn."""
    for name, draw in DRAWN.items():
        register(name, partial(_shown, draw), partial(_pictured, draw))


def _shown(draw: Callable[..., Drawing], answer: Answer, **options: Any) -> Any:
    """The drawing as HoloViews elements; options that it does not know go to the overlay."""
    from dashboard.plots.holo import element  # holoviews takes a second to import: only where it draws

    own = {k: options.pop(k) for k in list(options) if k in signature(draw).parameters}
    return element(draw(answer, **own), **options)


@dataclass(frozen=True)
class Picture:
    """A still picture: a notebook displays it; ``png`` and ``svg`` are its bytes, for a file."""

    png: bytes = field(repr=False)
    svg: bytes = field(repr=False)

    def _repr_png_(self) -> tuple[bytes, dict[str, int]]:
        return self.png, {"width": round(96 * printed.WIDTH_IN)}


def _pictured(draw: Callable[..., Drawing], answer: Answer, **options: Any) -> Picture:
    """The drawing as the report prints it; ``title`` and ``height`` (px of the screen) go to the printer."""
    own = {k: options.pop(k) for k in list(options) if k in signature(draw).parameters}
    drawing = draw(answer, **own)
    return Picture(printed.picture(drawing, "png", **options), printed.picture(drawing, "svg", **options))


def shift(answer: Answer, unit: str = "percent", dark: bool = False) -> Drawing:
    """Each level's shift with its limits against the reference, in ``percent`` or ``kv``."""
    from dashboard.plots import shift as plots

    found = answer.result
    names = [level_text(found.reference), *(level_text(s.level) for s in found.shifts)]
    return plots.of_shift(found, theme.cues(names, dark), unit, dark=dark)


def percentile_shift(answer: Answer, dark: bool = False) -> Drawing:
    """The shift at every percentile, by the data alone, with the band that holds for all at once."""
    from dashboard.plots import shift as plots

    found = answer.result
    names = tuple(level_text(v.level) for v in found.levels)
    return plots.whole(found.levels, theme.cues(names), names, dark)


def components(answer: Answer, dark: bool = False) -> Drawing:
    """The standard deviation that each source of scatter adds, with its limits."""
    from dashboard.plots import scatter as plots

    return plots.of_components(answer.result, dark=dark)


def order_positions(answer: Answer, dark: bool = False) -> Drawing:
    """The mean deviation from the filling's mean at each place of the series, and the pooled trend with its limits."""
    from dashboard.plots import scatter as plots
    from methods.scatter.order_curve import trend_line

    return plots.order(answer.result.positions, trend_line(answer.result), dark)


def means(answer: Answer, dark: bool = False) -> Drawing:
    """Each mean with its expanded uncertainty against the limit."""
    from dashboard.plots import decision as plots
    from methods.answers.decision import telling_columns

    made = getattr(answer.result, "decisions", (answer.result,))
    cases = [plots.Case.of(n, d) for n, d in zip(telling_columns(made), made, strict=True) if d.mean_kv is not None]
    ticks = [(y, c.label) for y, c in zip(plots.rows(len(cases)), cases, strict=True)]
    return plots.means(cases, answer.result.limit_kv, dark, ticks)


def spreads(answer: Answer, dark: bool = False) -> Drawing:
    """s_r and s_R of each level against its mean, and the relation that describes them best."""
    from dashboard.plots import precision as plots
    from methods.interlab.relation import spread_curves

    found = answer.result
    return plots.spreads(plots.levels_of(found), spread_curves(found), dark)


def mandel(answer: Answer, statistic: str, dark: bool = False) -> Drawing:
    """Mandel's h or k of each laboratory at each level, with its critical lines."""
    from dashboard.plots import precision as plots

    found = answer.result
    critical = {lv.level: getattr(lv, f"{statistic}_critical") for lv in found.levels}
    return plots.mandel(found.cells, [lv.level for lv in found.levels if not lv.error], statistic, critical, dark)


def distribution(answer: Answer, dark: bool = False) -> Drawing:
    """The fitted share of breakdowns below each voltage, and the limits of the percentiles that were asked for."""
    import numpy as np

    from dashboard.plots.layers import Plot
    from dashboard.plots.marks import line, spans
    from methods import families

    found = answer.result
    rows = found if isinstance(found, list) else [{"group": {}, **vars(found)}]
    rows = [r for r in rows if "error" not in r]
    names = [", ".join([*(level_text(v) for v in r["group"].values()), r["family"].replace("_", " ")]) for r in rows]
    looks, at = theme.cues(names, dark), np.linspace(0.001, 0.999, 200)
    layers = []
    for name, row in zip(names, rows, strict=True):
        look, p = looks[name], np.array([q.p for q in row["percentiles"]])
        ends = [np.array([getattr(q, end) for q in row["percentiles"]], dtype=float) for end in ("low", "high")]
        there = np.isfinite(ends[0]) & np.isfinite(ends[1])
        kv = families.quantile(row["family"], row["parameters"], at)
        layers.append(line(kv, at, look.colour, name, dash=look.dash))
        layers.append(spans(ends[0][there], p[there], ends[1][there], p[there], look.colour, of=[name] * there.sum()))
    return Drawing([Plot(layers, "Breakdown voltage (kV)", "Share at or below", y_range=(0.0, 1.0))])


def choose(answer: Answer, dark: bool = False) -> Drawing:
    """The half-width that bench minutes buy, a line for each procedure."""
    from dashboard.plots import choose as plots

    found = answer.result
    looks = theme.cues([r.procedure for r in found.procedures], dark)
    return plots.minutes_against_width(found.procedures, found.plans, found.half_width_percent, looks, dark)


def bench_plan(answer: Answer, dark: bool = False) -> Drawing:
    """What more fillings, or more laboratories, buy; of missing tests their order."""
    from dashboard.plots import bench_plan as plots

    return plots.plan(answer.result, dark)


def law(answer: Answer, dark: bool = False) -> Drawing:
    """The gap or rate law that rests on most levels: means, each oil's law."""
    from dashboard.plots import method_study as plots

    found = answer.result
    laws = [w for w in (found if isinstance(found, list) else [found]) if w.fit is not None]
    return plots.law(max(laws, key=lambda w: len(w.fit.levels)), dark)


def geometry(answer: Answer, dark: bool = False) -> Drawing:
    """The ratio of voltages between two geometries: observed, and predicted by each criterion."""
    from dashboard.plots import method_study as plots

    return plots.geometry(answer.result, dark)


#: Name of a plot -> what draws it.
DRAWN: dict[str, Callable[..., Drawing]] = {
    "shift": shift,
    "percentile_shift": percentile_shift,
    "components": components,
    "order_positions": order_positions,
    "means": means,
    "distribution": distribution,
    "spreads": spreads,
    "choose": choose,
    "bench_plan": bench_plan,
    "law": law,
    "geometry": geometry,
    "mandel_h": partial(mandel, statistic="h"),
    "mandel_k": partial(mandel, statistic="k"),
}

load()

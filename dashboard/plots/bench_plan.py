"""The plots of the run-sheet page: what more fillings, or more laboratories, buy."""

from __future__ import annotations

from typing import Any

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import line, points
from dashboard.plots.marks import name as named
from methods.columns import LABELS


def study(plan: Any, dark: bool) -> Drawing:
    """Half-width of the widest shift against the fillings; ``plan`` is :class:`methods.studies.StudyPlan`."""
    colours, kinds = theme.palette(dark), (f"kept in {100 * plan.assurance:g} %", "as often as not")
    looks = theme.cues(kinds, dark)
    at = [row["fillings"] for row in plan.curve]
    about = {"Fillings of each": at, "Hours": [row["bench_minutes"] / 60 for row in plan.curve]}
    layers: list[Layer] = []
    for kind, key, dash in zip(kinds, ("half_width_percent", "median_percent"), ("solid", "dashed"), strict=True):
        widths = [row[key] for row in plan.curve]
        layers.append(line(at, widths, looks[kind].colour, kind, dash=dash, about={**about, "± %": widths}))
    if plan.target_percent is not None:
        ends = [plan.target_percent] * 2
        layers.append(line([at[0], at[-1]], ends, colours.wrong, dash="dotted", silent=True))
        layers.append(named(at[-1], ends[0], f"wanted: ± {ends[0]:g} %", colours.wrong, left=False))
    mark = f"this plan: {plan.fillings} fillings, ± {plan.half_width_percent:.3g} %"
    layers.append(points([plan.fillings], [plan.half_width_percent], colours.ink, marker="star", size=15,
                         fill_alpha=0.25, line_width=2, about={"": [mark]}))  # fmt: skip
    left = 2 * plan.fillings < at[0] + at[-1]
    layers.append(named(plan.fillings, plan.half_width_percent, mark, colours.ink, left=left, off=12))
    top = 1.1 * max(min(row["half_width_percent"], 4 * plan.half_width_percent) for row in plan.curve)
    return Drawing(
        [Plot(layers, "Fillings of each oil by each procedure", "Half-width of the shift (± %)", y_range=(0.0, top))]
    )


def laboratories(plan: Any, dark: bool) -> Drawing:
    """How well s_r, s_R and their ratio become known against the laboratories; :class:`methods.studies.RoundPlan`."""
    names = {"uncertainty_s_r": "s_r", "uncertainty_s_R": "s_R", "uncertainty_ratio": "s_R / s_r"}
    looks, colours = theme.cues(list(names.values()), dark), theme.palette(dark)
    at = [row["laboratories"] for row in plan.curve]
    layers: list[Layer] = []
    for key, name in names.items():
        known, look = [100 * row[key] for row in plan.curve], looks[name]
        layers.append(line(at, known, look.colour, name, dash=look.dash, about={"Laboratories": at, "± %": known}))
        here = 100 * getattr(plan, key)
        layers.append(points([len(plan.laboratories)], [here], look.colour, marker=look.marker, size=12, of=name,
                             about={"": [f"{name}: ± {here:.0f} %"]}))  # fmt: skip
    layers.append(line([len(plan.laboratories)] * 2, [0, 100], colours.line, dash="dotted", width=1, silent=True))
    return Drawing([Plot(layers, "Laboratories", "Known to (± %)", y_range=(0.0, 110.0))])


def missing(plan: Any, dark: bool) -> Drawing:
    """The order of the runs: which test comes when; :class:`methods.studies.MissingPlan`."""
    runs = plan.sheet.drop_duplicates("run")
    known = [c for c in LABELS if c in runs and c != "filling"]
    said = [", ".join(str(v) for v in row if v == v and v is not None) for row in runs[known].itertuples(index=False)]
    names = list(dict.fromkeys(said))
    looks = theme.cues(names, dark)
    at = list(range(1, len(said) + 1))
    rows = [len(names) - names.index(s) for s in said]
    layers: list[Layer] = [
        points([a], [r], looks[s].colour, marker=looks[s].marker, size=14, about={"Run": [a], "Test": [s]})
        for a, r, s in zip(at, rows, said, strict=True)
    ]
    ticks = [(float(len(names) - i), f"test {i + 1}") for i in range(len(names))]
    return Drawing([Plot(layers, "Run", "", y_range=(0.4, len(names) + 0.6), y_ticks=ticks)])


def plan(found: Any, dark: bool) -> Drawing:
    """The plot of a plan of any kind."""
    draw = {"StudyPlan": study, "MissingPlan": missing}.get(type(found).__name__, laboratories)
    return draw(found, dark)

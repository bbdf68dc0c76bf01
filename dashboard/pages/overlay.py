"""Overlay: the distributions of the levels over each other, with fitted curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import param

from dashboard import parts, theme, words
from dashboard.controls import Several
from dashboard.levels import level_text
from dashboard.pages import glance
from dashboard.pages.base import Empty, Figure, StudyPage
from methods.answers.fit import fits
from methods.answers.heads import OWN
from methods.families import EVERY_FAMILY, titles
from methods.procedures import parts_of
from methods.result import Caution

FAMILIES = {**dict(sorted(titles(EVERY_FAMILY).items(), key=lambda f: f[0] != "weibull")), "none": "no fit"}
VIEWS = {
    "ecdf": "Steps",
    "density": "Density",
    "normal": "Normal scale",
    "weibull": "Weibull scale",
    "box": "Boxes",
}
#: Curves that are drawn at all; beyond, the page asks for a filter.
MOST_CURVES = 24

HELP = """
**Steps**: the share of readings at or below each voltage. Where some withstood, the curve is the Kaplan–Meier
estimate: a withstand counts as *above its ceiling* and is drawn as a star, never as a value.

**Normal and Weibull scale**: the same shares on an axis on which that family is a straight line. A bend at the low end
is what matters for the voltage that must not be undercut.

**Band**: at each share, the limits of the voltage at the chosen confidence, taking the fitted family as true. They know
of the fillings and hold with few readings; with one filling they hold for that filling. The limits in the tables and on
the other pages are the same ones.

**AICc**: smaller is better among families on the same readings; differences below 2 mean nothing.
**Anderson–Darling p**: small values speak against the family; with few readings large ones say little in its favour.
"""


class Page(StudyPage):
    """Distributions over each other."""

    TITLE = "Overlay"
    QUESTION = "Where do the breakdown voltages of each level lie, and how do they scatter?"
    HELP = HELP
    READINGS = True
    FOLLOWS = ("by", "split", "confidence")
    INPUTS = ("view", "family")
    COLUMNS = OWN.get("overlay", {})

    view: param.Selector[str] = param.Selector(
        default="ecdf", objects=list(VIEWS), doc="How the distributions are drawn."
    )
    family: param.Selector[str] = param.Selector(
        default="weibull", objects=list(FAMILIES), doc="The curve that is fitted to each level."
    )

    def controls(self) -> Sequence[Any]:
        self._split = Several("Split further by", most=2)
        self._split.param.watch(self._split_chosen, "value")
        self.study.param.watch(self._settle, ["by", "split", "files"])
        self._settle()
        return [
            self.choice("view", "View", VIEWS, "Each shows the same readings."),
            self.select("family", "Fitted family", FAMILIES, "The curve drawn through each level's readings."),
            parts.explained(self._split, "Up to two more factors; each combination gets its curve."),
        ]

    def _settle(self, *_: Any) -> None:
        others = {words.heading(f): f for f in self.study.factors if f not in parts_of(self.study.by)}
        self._split.param.update(options=others, value=[s for s in self.study.split if s in others.values()])

    def _split_chosen(self, event: Any) -> None:
        if list(event.new) != list(self.study.split):
            self.study.split = list(event.new)[:2]

    # ------------------------------------------------------------- numbers

    def _columns(self) -> list[str]:
        return [c for c in (self.study.by, *self.study.split) if c]

    def result(self) -> dict[str, Any]:
        from dashboard.plots import curves

        study, columns = self.study, self._columns()
        shapes = self.kept("shapes", self._shapes, columns)
        found = self.kept("estimates", self._estimates, self.family, columns)
        glance.prepared(self)
        said = self.kept("readings", lambda: self._told(shapes), columns)
        middle = self.kept("medians", self._medians, columns)
        at = study.confidence

        def limits() -> Any:  # of what was found of the rows before
            rows = [e.row(confidence=at) for e in found]
            return rows, curves.fitted(shapes, found, at), {name: m.at(at) for name, m in middle.items()}

        fits, drawn, reached = self.kept("limits", limits, self.family, at, columns)
        return {"curves": drawn, "fits": fits, "by": study.by, "said": said, "medians": reached}

    def _medians(self) -> Any:
        """The readings' own medians, by the name of the level; their limits wait for the confidence."""
        from methods.scatter import own_medians

        columns, table = self._columns(), self.study.table
        found = own_medians(table, columns)
        if not columns:
            return {"": found[0]} if found else {}
        levels = table[columns].drop_duplicates().itertuples(index=False)
        return dict(zip((", ".join(map(level_text, row)) for row in levels), found, strict=True))

    def _told(self, shapes: Any) -> Any:
        from dashboard.plots.overlay import rows_of
        from dashboard.plots.readings import told

        return told(self.study.table, self.study.places, rows_of(shapes))

    def _shapes(self) -> Any:
        """What depends on neither family nor confidence, in the order of the levels."""
        from dashboard.plots import curves

        columns = self._columns()
        codes = self.study.table[columns].drop_duplicates() if columns else [0]
        if len(codes) > MOST_CURVES:
            raise Empty(
                f"{len(codes)} curves would be drawn; {MOST_CURVES} is the most that one can read.",
                "Split by fewer factors, or filter on the Records page.",
            )
        ranks = [{v: i for i, v in enumerate(self.study.levels(c))} for c in columns]
        made = curves.shapes(self.study.table, columns)
        return sorted(made, key=lambda c: [r[v] for r, v in zip(ranks, c.levels, strict=True)])

    def _estimates(self) -> Any:
        from methods.scatter import estimate_groups

        return [] if self.family == "none" else estimate_groups(self.study.selection, self._columns(), [self.family])

    def sentence(self, result: Any) -> str:
        seen = [(m, name) for name, m in result["medians"].items() if np.isfinite(m.kv)]
        if not seen:
            n = sum(c.n for c in result["curves"])
            return f"{words.plural(n, 'reading')} in {words.plural(len(result['curves']), 'group')}."
        middle = sorted(seen, key=lambda pair: pair[0].kv)
        if len(middle) == 1:
            m, name = middle[0]
            return f"Half of the breakdowns lie below {words.number(m.kv)} kV{_reach(m)}."
        if len(middle) <= 4:
            told = words.listed(f"{words.number(m.kv)} kV for {name}" for m, name in middle)
            return f"Half of the breakdowns lie below {told}."
        (low, lowest), (high, highest) = middle[0], middle[-1]
        return (
            f"Half of the breakdowns lie below {words.number(low.kv)} kV for {lowest}, "
            f"up to {words.number(high.kv)} kV for {highest}; {len(middle) - 2} levels lie between."
        )

    def cautions(self, result: Any) -> Sequence[Caution]:
        found: dict[str, dict[str, list[str]]] = {}
        for fit in result["fits"]:
            for caution in fit.get("cautions", ()):
                found.setdefault(caution.code, {}).setdefault(caution.text, []).append(_name(fit))
        out = []
        for code, texts in found.items():
            text, names = next(iter(texts.items()))
            rest = sum(len(n) for n in texts.values()) - len(names)
            if len(names) == len(result["fits"]) > 1:
                out.append(Caution(code, f"Every level: {text[:1].lower()}{text[1:]}"))
                continue
            if names[0]:
                more = f" and {rest} more like {'them' if len(names) > 1 else 'it'}" if rest else ""
                text = f"{words.listed(names)}{more}: {text[:1].lower()}{text[1:]}"
            out.append(Caution(code, text))
        hidden = [c.label for c in result["curves"] if c.withstood] if self.view == "density" else []
        if hidden:
            told = "some readings withstood, so their density above the ceiling is not known; only the fit is drawn."
            out.append(Caution("withstood", f"{words.listed(hidden)}: {told}"))
        if any(c.thinned for c in result["curves"]):
            told = (
                "The curves are drawn with fewer points than there are readings, the lowest and highest 200 in full; "
            )
            out.append(Caution("thinned", f"{told}every number uses all of them."))
        return out

    # ------------------------------------------------------------- plot

    def figures(self) -> Sequence[Figure]:
        main = Figure(
            "Distributions", self.draw, self.describe, key=self._key, ticks=self._ticks, height=self._height,
        )  # fmt: skip
        return [main, glance.figure(self)]

    def _height(self, result: Any) -> int:
        return max(300, 120 + 44 * len(result["curves"])) if self.view == "box" else 460

    def _key(self, result: Any) -> Any:
        return self.view

    def _in_panels(self, result: Any) -> bool:
        return self.view != "box" and len(result["curves"]) > theme.MOST_LEVELS

    def _ticks(self, result: Any) -> Any:
        if self.view in ("normal", "weibull"):
            from methods.scatter import probability_ticks

            ticks = probability_ticks(self.view)
            return _apart(list(zip(ticks["position"], ticks["label"], strict=True)))
        if self.view == "box":
            return [(i, c.label) for i, c in enumerate(result["curves"])]
        return None

    def draw(self, result: Any) -> Any:
        from dashboard.plots import overlay
        from dashboard.plots.layers import Drawing

        look, said = self._look(result), result["said"]
        drawers = {
            "ecdf": lambda c: overlay.steps(c, look, said),
            "density": lambda c: overlay.densities(c, look, said),
            "normal": lambda c: overlay.scale(c, look, said, "normal"),
            "weibull": lambda c: overlay.scale(c, look, said, "weibull"),
            "box": lambda c: overlay.boxes(c, look, said),
        }
        draw = drawers[self.view]
        if self._in_panels(result):
            return overlay.panels(result["curves"], draw)
        return Drawing([draw(result["curves"])])

    def _look(self, result: Any) -> Any:
        """Colour from the compared factor; dash and marker from the split, or from the level again."""
        cues = self.looks(result["by"])
        parts_of = list(dict.fromkeys(c.levels[1:] for c in result["curves"]))
        split = len(parts_of) > 1

        def look(curve: Any) -> theme.Cue:
            base = cues.get(curve.levels[0] if curve.levels else "", theme.cues(["all"], self.dark)["all"])
            if not split:
                return base
            i = parts_of.index(curve.levels[1:])
            return theme.Cue(base.colour, theme.DASHES[i % len(theme.DASHES)], theme.MARKERS[i % len(theme.MARKERS)])

        return look

    def describe(self, result: Any) -> str:
        kinds = {
            "ecdf": "Share of readings at or below each voltage",
            "density": "Density of the readings over the voltage",
            "normal": "Readings on a normal probability scale",
            "weibull": "Readings on a Weibull probability scale",
            "box": "Quartiles, extremes and single readings",
        }
        told = []
        for c in result["curves"][:8]:
            middle = c.box.get("0.5", float("nan"))
            stood = f", {c.withstood} withstood" if c.withstood else ""
            told.append(f"{c.label}: {c.n} readings, median {words.number(middle)} kV{stood}")
        from dashboard.plots import overlay

        more = len(result["curves"]) - 8
        cut = " Some limits go on beyond the edge." if self.view != "box" and overlay.beyond(result["curves"]) else ""
        return f"{kinds[self.view]}. {'; '.join(told)}{f'; and {more} more' if more > 0 else ''}.{cut}"

    # ------------------------------------------------------------- table

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        if not result["fits"]:
            return {}
        return {t.name: (t.title, t.frame) for t in fits(result["fits"]).tables}


def _apart(ticks: list[tuple[float, str]], most: int = 22) -> list[tuple[float, str]]:
    """Leave out ticks whose labels would run into the one before."""
    span = ticks[-1][0] - ticks[0][0]
    out = ticks[:1]
    for tick in ticks[1:]:
        if tick[0] - out[-1][0] >= span / most:
            out.append(tick)
    return out


def _reach(m: Any) -> str:
    """The limits of a median in words; an open one lies among withstands."""
    if not np.isfinite(m.low):
        return ""
    what = "" if m.holds_for == "this oil" else f", for {m.holds_for}"
    sure = f"{100 * m.confidence:.3g} % confidence{what}"
    if not np.isfinite(m.high):
        return f" (above {words.number(m.low)} kV with {sure})"
    return f" (between {words.number(m.low)} and {words.number(m.high)} kV with {sure})"


def _name(fit: Mapping[str, Any]) -> str:
    return ", ".join(level_text(v) for v in fit["group"].values())

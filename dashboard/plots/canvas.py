"""A live plot on a page, which is patched instead of rebuilt."""

from __future__ import annotations

import html
import math
import re
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from functools import partial
from typing import Any

import panel as pn
import param

from dashboard import frame_styles, parts, plain, theme
from dashboard.actions import Take
from dashboard.legend import Legend
from dashboard.plots.figure import Figure
from dashboard.plots.layers import Drawing
from dashboard.plots.patched import Patched
from dashboard.turns import by_turns

#: Shapes of one figure that are kept in the browser, for going back to: views, numbers of levels.
_SHAPES = 6
#: Letters of a statement that has room beside a plot's heading, and pixels that a letter and a sign of the legend take
#: of one line of it.
_BESIDE, _LETTER_PX, _SIGN_PX, _LINE_PX = 58, 7, 46, 780
#: How one is shown and the others are kept out of sight. They keep their size: what is taken away and put back by
#: ``visible`` has all of the page laid out three times over. Both name the same rules: bokeh takes none away.
_IN_FRONT = {"position": "relative", "top": "0", "left": "0", "width": "100%", "visibility": "visible"}
_BEHIND = _IN_FRONT | {"position": "absolute", "visibility": "hidden"}


class Live(pn.viewable.Viewer):
    """A figure on a page, with its heading, its text alternative and its caption."""

    dark = param.Boolean(False, doc="Whether the dark theme is on.")
    main = param.Boolean(False, constant=True, doc="Whether it is the main plot: as high as there is room.")

    def __init__(self, figure: Figure, study: Any = None, **params: Any) -> None:
        super().__init__(**params)
        self.figure, self._study = figure, study
        self._legend = Legend(visible=False)
        self._legend.param.watch(self._alone, "alone")
        if study is not None:
            study.param.watch(self._mark, "selected")
        self._result: Any = None
        self._drawn: OrderedDict[Hashable, tuple[Patched, Any]] = OrderedDict()
        self._words = parts.raw("")
        # On paper the dark theme is turned round: see frame_styles.frame_css.
        rules = {"position": "relative", "filter": "var(--plots-on-paper, none)"}
        self._mode = "stretch_both" if self.main else "stretch_width"
        self._place = parts.column(styles=rules, sizing_mode=self._mode)
        self._save = Take("Save this plot", ["svg", "png", "csv", "xlsx"], self._taken, visible=False)
        words = parts.row(self._words, self._save, gap=8, sizing_mode="stretch_width", styles={"align-items": "center"})
        self._more, self._whole = parts.hint(""), self._place
        if self.main:  # the legend takes of the plot's room what it needs, so that both are seen whole
            self._whole = plain.Stack(
                self._legend, self._place, stylesheets=[frame_styles.plot_css()], margin=0, sizing_mode="stretch_width",
                styles={"height": frame_styles.PLOT_HEIGHT, "max-height": "none"},
            )  # fmt: skip
            self._legend.css_classes, self._place.css_classes = ["names"], ["canvas"]
            self._view = parts.column(words, self._whole, self._more, gap=2)
        else:
            self._view = parts.column(words, self._legend, self._place, gap=4)

    def __panel__(self) -> Any:
        return self._view

    def update(self, result: Any) -> None:
        """Show another result: a patch where the key is the same, a new plot otherwise."""
        by_turns(self.updating(result))

    def leave(self) -> None:
        """Let go of what the browser has of it: the page is left, and will be put together piece by piece again."""
        self._updates += 1
        self._result = None
        self._place.objects = []
        for _, view in self._drawn.values():
            view.objects = []

    #: Changes with each update: what comes later takes the place of one that is under way.
    _updates = 0

    def updating(self, result: Any) -> Iterator[None]:
        """The steps of :meth:`update`."""
        self._result = result
        self._updates += 1
        self._view.visible = self.figure.shown(result)
        if not self._view.visible:
            self._drawn.clear()  # what belongs to other records is not kept out of sight
            self._place.objects = []
            return
        drawn = self.figure.draw(result)
        figure, text = self.figure, parts.unbroken(parts.escaped(self.figure.describe(result)))
        # The words stand beside the canvas as an image of their own, so that the plot's tools stay reachable.
        heading = f"<h2>{parts.escaped(figure.title)}</h2>"
        image = f'<div role="img" aria-label="{text}"></div>'
        if self.main:
            if len(drawn.plots) > 1 and drawn.plots[0].x_label:  # small panels have no room for it
                text = f"{drawn.plots[0].x_label} across, {drawn.plots[0].y_label.lower()} upwards. {text}"
            first, rest = _first(text)
            caption = f'<p class="hint caption">{first}</p>' if first else ""
            self._words.object = f'<div class="plot-head">{heading}{caption}</div>{image}'
            # On a phone nothing stands beside the heading.
            below = f'<p class="hint caption"><span class="phone">{first}</span> {rest}</p>'
            self._more.param.update(object=below, visible=True)
        else:
            self._words.object = f'{heading}{image}<p class="hint caption">{text}</p>'
        height = _height(figure, result)
        lines = [list(line) for line in drawn.legend()]
        lines = lines if 1 < len(lines) <= theme.MOST_NAMED else []
        many = self.main and sum(_SIGN_PX + _LETTER_PX * len(line[0]) for line in lines) > _LINE_PX
        if many:  # in a column beside the plot, from top to bottom as the lines end
            ends = drawn.ends()
            if len(set(ends.values())) == len(lines):
                lines.sort(key=lambda line: -ends[line[0]])
        if self.main:
            self._whole.css_classes = ["many"] if many else []
            self._legend.css_classes = ["names", "many"] if many else ["names"]
        if self._legend.alone not in {line[0] for line in lines}:
            self._legend.alone = ""
        self._legend.param.update(lines=lines, visible=bool(lines))
        self._save.visible = True
        yield from self._patching(drawn.alone(self._legend.alone), figure.key(result), height, figure.ticks(result))

    def _patching(self, drawing: Drawing, key: Hashable, height: int, ticks: Any) -> Iterator[None]:
        """Patch the models that were made for this shape, or make them; those of other shapes wait unseen."""
        now = self._updates
        # Patched to the other theme, a canvas keeps a line of the old ground along its edge.
        shape = (key, drawing.shape(), height, self.dark)
        if shape in self._drawn:
            self._drawn.move_to_end(shape)
            patched, view = self._drawn[shape]
            patched.patch(drawing, dark=self.dark, ticks=ticks)
        else:
            several = len(drawing.plots) > 1
            each = None if self.main else max(240, height // 2) if several else height
            patched = Patched(drawing, dark=self.dark, height=each, ticks=ticks, picked=self._picked, at_once=False)
            if several and self.main:
                pairs = math.ceil(len(drawing.plots) / 2)  # as they stand on a phone
                self._place.styles = self._place.styles | {"min-height": f"calc({pairs} * var(--panel-least, 0px))"}
            view = self._grid(len(drawing.plots)) if several else parts.column(sizing_mode=self._mode)
            view.styles = view.styles | (_BEHIND if self._place.objects else _IN_FRONT)
            self._drawn[shape] = (patched, view)
            while len(self._drawn) > _SHAPES:
                self._drawn.popitem(last=False)
        self._lay()
        there = {id(pane.object) for pane in view}
        for figure in patched.making():
            yield
            if now != self._updates:
                return
            if id(figure) not in there:
                there.add(id(figure))
                view.append(pn.pane.Bokeh(figure, sizing_mode=self._mode, margin=0))
                yield
                if now != self._updates:
                    return
        for _, other in self._drawn.values():
            wanted = other.styles | (_IN_FRONT if other is view else _BEHIND)
            if wanted != other.styles:
                other.styles = wanted
        self._front = patched
        self._mark()

    def _lay(self) -> None:
        views = [v for _, v in self._drawn.values()]
        if {id(v) for v in views} != {id(v) for v in self._place.objects}:
            self._place.objects = views

    def _taken(self, ending: str) -> tuple[str, Callable[[], bytes]]:
        """The name of the plot as a file for paper, or of its data, and what makes it."""
        from dashboard.plots import printed

        figure, result = self.figure, self._result
        drawing = figure.draw(result)
        by = getattr(self._study, "by", "") if self._study is not None else ""
        name = parts.file_name(f"gapshift_{figure.title}_by_{by}" if by else f"gapshift_{figure.title}", f".{ending}")
        shown = drawing.alone(self._legend.alone) if ending in ("svg", "png") else drawing
        height = _height(figure, result)
        return name, partial(printed.taken, shown, ending, figure.title, figure.ticks(result), height)

    _front: Patched | None = None

    def _picked(self, rows: list[int]) -> None:
        if self._study is not None:
            self._study.selected = rows

    def _mark(self, *_: Any) -> None:
        if self._front is not None and self._study is not None:
            self._front.mark(self._study.selected)

    def _alone(self, *_: Any) -> None:
        if self._result is not None and self._front is not None:
            self.update(self._result)

    def _grid(self, panels: int) -> Any:
        """Room for panels beside each other, fewer in a row where the page is narrow."""
        columns = math.ceil(math.sqrt(panels * (1.6 if self.main else 1)))
        narrowest = f"max(150px, {100 / columns:.0f}% - 8px)" if self.main else "min(100%, 400px)"
        rules = {
            "display": "grid", "grid-template-columns": f"repeat(auto-fill, minmax({narrowest}, 1fr))", "gap": "4px",
        }  # fmt: skip
        if self.main:
            rules |= {"grid-auto-rows": "minmax(140px, 1fr)", "height": "100%", "overflow": "auto", "min-height": "0"}
        return parts.column(sizing_mode=self._mode, styles=rules)

    @param.depends("dark", watch=True)
    def _repaint(self) -> None:
        if self._result is not None:
            self.update(self._result)


def _first(text: str) -> tuple[str, str]:
    """The first statement of a caption, where it is short enough to stand beside the heading, and the rest."""
    told = re.split(r"(?<=[.:;])\s", text, maxsplit=1)
    if len(html.unescape(told[0])) > _BESIDE or len(told[0].split()) < 3:
        return "", text
    rest = told[1] if len(told) > 1 else ""
    return told[0].rstrip(":;"), rest if told[0].endswith(".") else rest[:1].upper() + rest[1:]


def _height(figure: Figure, result: Any) -> int:
    return figure.height(result) if callable(figure.height) else figure.height

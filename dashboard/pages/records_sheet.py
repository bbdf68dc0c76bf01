"""The sheet of a file as it stands, and what is said about it by hand: every word is read again at once."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Press, Save, Turn, Upload
from dashboard.cache import remember
from dashboard.controls import Choice, Words
from dashboard.opened import Opened, Refused, sheets_of
from dashboard.pages.records_words import for_the_page
from dashboard.sheet_grid import ROWS, SheetGrid
from dashboard.study import Study
from methods.columns import PRESCRIBED, REGISTRY, known, without
from methods.errors import InputError
from methods.records.by_click import Hand, cells_said
from methods.records.places import Place
from methods.records.recipe import CONTEXT, LAYOUTS, MEANINGS, THOUSANDS, Recipe
from methods.records.voltages import FACTORS

HINT = (
    "Click a cell, a row's number or a column's letter (drag, or click with the shift key, to select up to there), "
    "then say what it is. The file is not changed: what you say is a recipe, which can be saved."
)
_AS_READ = "–"
#: Values that are usual, to choose instead of writing.
USUAL: dict[str, tuple[str, ...]] = {
    "electrode": ("disk", "spherical", "mushroom"),
    "stirring": ("none", "between", "continuous"),
    "gap_mm": ("1", "2", "2.5", "2.54", "4"),
    "rise_kv_s": ("0.5", "2", "3"),
    "method": ("ASTM D877", "ASTM D1816", "IEC 60156"),
    "fluid": ("mineral oil", "natural ester", "synthetic ester", "silicone"),
    "state": ("new", "in service"),
}
#: Choices that hold for the whole file: what is shown -> the reader's option, and what there is to choose.
OPTIONS = {
    "Ceiling (kV)": "ceiling_kv", "Unit of the readings": "unit", "Decimal mark": "decimal",
    "Dates such as 03/04/2025": "day_first", "Layout": "layout", "Thousands mark": "thousands",
    "Words for withstood": "censored",
}  # fmt: skip
USUAL |= {
    "ceiling_kv": ("none", "60", "80", "100"), "unit": tuple(FACTORS), "decimal": ("point", "comma"),
    "day_first": ("day first", "month first"), "layout": LAYOUTS,
    "thousands": tuple(THOUSANDS),
}  # fmt: skip
#: How the readings make fillings: what is shown -> rule.
FILLINGS = {
    "as it was read": "", "each row is one filling": "row", "each column is one filling": "column",
    "all are on one filling": "one", **{f"a new one after {n}": str(n) for n in (2, 3, 5, 6, 10)},
}  # fmt: skip
#: What is said holds for ...
FOR_SELECTION, FOR_SHEET, FOR_FILE = "the selection", "this sheet", "the whole file"


class SheetByHand(pn.viewable.Viewer):
    """The sheets of the files that are open and of those that were refused."""

    study: Study = param.ClassSelector(class_=Study, constant=True)  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._drafts: dict[str, list[Recipe]] = {}
        self._busy = False
        self._file = Choice("File")
        self._name = Choice("Sheet")
        self._pages = Turn()
        self._grid = SheetGrid()
        self._told = parts.Text("p", "", "hint caption", live=True)
        self._wrong = parts.Text("p", "", "notice wrong", live=True)
        self._offer = parts.column(visible=False)
        self._place = Words("Selected", example="such as B5:F9")
        self._which = parts.wrap(self._file, self._name, gap=16)
        hint = parts.raw(f'<p class="hint caption">{parts.escaped(HINT)}</p>')
        self._view = parts.column(
            hint, self._which, self._told, self._wrong, self._offer, self._deeds(), self._grid,
            self._pages, self._panel(), gap=12,
        )  # fmt: skip
        self._file.param.watch(self._other, "value")
        self._name.param.watch(self._other, "value")
        self._pages.param.watch(self._draw, "value")
        self._grid.param.watch(lambda event: self._place.param.update(value=event.new), "chosen")
        self._place.param.watch(self._typed, "value")
        study.param.watch(lambda *_: self.follow(), ["files", "refused"])
        self.follow()

    def __panel__(self) -> Any:
        return self._view

    # ------------------------------------------------------------- the controls

    def _deeds(self) -> Any:
        """What is said of the selection with one press."""
        deeds: list[tuple[str, str, Callable[[Hand, Place], Recipe]]] = [
            ("Headings", "This row holds the headings", lambda h, p: h.heading_row(p)),
            ("No headings", "The table has no row of headings", lambda h, p: h.no_heading(p)),
            ("Readings", "These columns hold breakdown voltages", lambda h, p: h.readings(p)),
            ("No readings", "These columns hold no breakdown voltages", lambda h, p: h.readings(p, False)),
            ("Summary", "Mean, SD, minimum, verdict …: no readings", lambda h, p: h.out(p, "summary")),
            ("Leave out", "Not looked at", lambda h, p: h.out(p, "leave_out")),
            ("A table", "A table of its own, from corner to corner", lambda h, p: h.table(p)),
            ("Forget", "Nothing that was said of it holds any more", lambda h, p: h.forget(p)),
        ]
        buttons = [
            Press(label, partial(self._say, deed), more=more, margin=(20, 0, 0, 0)) for label, more, deed in deeds
        ]
        self._place.max_width = 130
        return parts.wrap(self._place, *buttons, gap=8)

    def _panel(self) -> Any:
        self._read_it = Press("Do not read this sheet", self._use)
        self._back = Press("Take back", self._take_back, more="The last thing that was said")
        self._over = Press("Start over", self._start_over, more="Nothing of what was said holds any more")
        meanings = {_AS_READ: "", **{_meaning(n): n for n in MEANINGS}}
        self._means = Choice("Its heading means", options=meanings, value="")
        heads = {"only count them": "", **{_heading(n): n for n in CONTEXT}}
        self._heads = Choice("The headings above readings", options=heads, value="")
        self._filling = Choice("Fillings", options=FILLINGS, value="")
        self._what = Choice("What", options={**{_heading(n): n for n in _first(CONTEXT)}, **OPTIONS}, value="electrode")
        self._usual = Choice("is", options=["–"], value="–")
        self._written = Words("or, in your words", example="as you call it")
        self._scope = Choice(
            "It holds for", [FOR_SELECTION, FOR_SHEET, FOR_FILE], value=FOR_SELECTION, look="buttons", max_width=340
        )
        self._means.param.watch(self._meant, "value")
        self._heads.param.watch(lambda e: self._chosen(e, lambda h, p: h.heads(p, e.new)), "value")
        self._filling.param.watch(lambda e: self._chosen(e, lambda h, p: h.filling(p, e.new)), "value")
        self._what.param.watch(lambda _: self._offer_usual(), "value")
        self._offer_usual()
        self._text = parts.raw("")
        recipe = parts.Folded(("The recipe: save it, copy it, or open one", self._recipe), level=3)
        return parts.column(
            parts.wrap(
                parts.explained(self._means, "Of the selected columns."),
                parts.explained(self._heads, "What a column of readings is, where its heading names it."),
                parts.explained(self._filling, "Which readings belong to one filling of the cell."),
                gap=16,
            ),
            parts.heading("What the sheet does not say", 3),
            parts.wrap(self._scope, self._what, self._usual, self._written, gap=16),
            parts.wrap(Press("Set it", self._set, look="main"), Press("Say it no more", self._unset), gap=8),
            parts.wrap(self._read_it, self._back, self._over, gap=8),
            recipe, gap=12,
        )  # fmt: skip

    def _recipe(self) -> Any:
        opened = Upload("Open a recipe", accept=".toml", max_width=None, sizing_mode=None)
        opened.param.watch(self._recipe_opened, "files")
        save = Save("Save the recipe", "sheet.toml", lambda: self._recipe_text().encode())
        self._show_recipe()
        return parts.column(
            parts.hint("It says how this shape of sheet is read, and none of the readings. On the command line: "
                       "--recipe sheet.toml; in Python: read(file, recipe=\"sheet.toml\")."),
            self._text, parts.row(save, opened, gap=8), gap=8,
        )  # fmt: skip

    def _offer_usual(self) -> None:
        usual = USUAL.get(self._what.value, ())
        self._usual.param.update(options=["–", *usual], value="–")
        self._usual.visible = bool(usual)
        self._scope.disabled = self._what.value in OPTIONS.values()  # they hold for the whole file
        self._written.visible = self._what.value not in ("unit", "decimal", "day_first", "layout", "thousands")

    # ------------------------------------------------------------- what is shown

    @property
    def _known(self) -> dict[str, Opened | Refused]:
        files: list[Opened | Refused] = [*self.study.refused, *self.study.files]
        return {f.name: f for f in files}

    @property
    def _now(self) -> Opened | Refused | None:
        return self._known.get(self._file.value)

    def ask_for(self, column: str) -> None:
        """Have this column ready to be named for the whole file; anything else changes nothing."""
        if column in CONTEXT:
            self._what.value = column
            self._scope.value = FOR_FILE

    def follow(self) -> None:
        """Bring the view to the files that are open and refused."""
        names = list(self._known)
        self._view.visible = bool(names)
        if not names:
            return
        new = [r.name for r in self.study.refused if r.sha256 not in self._drafts]
        value = new[0] if new else self._file.value if self._file.value in names else names[0]
        for refused in self.study.refused:
            self._drafts.setdefault(refused.sha256, [])
        self._quietly(lambda: self._file.param.update(options=names, value=value))
        self._file.visible = len(names) > 1
        self._show()

    def _sheets(self, file: Opened | Refused) -> list[Any]:
        found: list[Any] = sheets_of(file)
        return found

    def _sheet(self) -> Any | None:
        file = self._now
        try:
            sheets = self._sheets(file) if file is not None else []
        except InputError:
            return None
        return next((s for s in sheets if s.name == self._name.value), sheets[0] if sheets else None)

    def _show(self) -> None:
        file = self._now
        if file is None:
            return
        try:
            sheets = self._sheets(file)
        except InputError as error:
            self._wrong.text, self._told.text = for_the_page(str(error)), ""
            self._grid.visible = self._pages.visible = False
            return
        names = [s.name for s in sheets]
        held = self._name.value if self._name.value in names else self._first_name(file, names)
        self._quietly(lambda: self._name.param.update(options=names, value=held))
        self._name.visible = len(names) > 1
        self._which.visible = self._name.visible or self._file.visible
        sheet = self._sheet()
        pages = max(1, -(-len(sheet.rows) // ROWS)) if sheet is not None else 1
        self._quietly(lambda: self._pages.param.update(count=pages, value=min(self._pages.value, pages - 1)))
        self._pages.visible = pages > 1
        self._grid.visible = True
        self._draw()
        self._tell(file)
        self._follow_recipe()

    def _first_name(self, file: Opened | Refused, names: list[str]) -> str:
        """The first sheet that was read, else the first."""
        cells = self._cells(file)
        held = cells.loc[cells["role"] == "breakdown", "sheet"].tolist() if len(cells) else []
        return str(held[0]) if held else names[0]

    def _cells(self, file: Opened | Refused) -> pd.DataFrame:
        """What became of the cells: as they were read, or as they are said to be where nothing was read yet."""
        if isinstance(file, Refused) or not hasattr(file.records, "cells"):
            sheets = self._sheets(file)
            return pd.concat([cells_said(self._said(file), s) for s in sheets], ignore_index=True)
        return remember(("cells", file.sha256, file.name, repr(sorted(file.options.items()))), lambda: _account(file))

    def _draw(self, *_: Any) -> None:
        file, sheet = self._now, self._sheet()
        if not self._busy and file is not None and sheet is not None:
            self._grid.lay_out(sheet, self._cells(file), self._pages.value * ROWS)

    def _tell(self, file: Opened | Refused) -> None:
        if isinstance(file, Refused):
            self._told.text = f"{file.name} is not read yet."
            self._wrong.text = for_the_page(file.why)
            return
        self._wrong.text = ""
        records = file.records
        if not hasattr(records, "rows_read"):
            self._told.text = ""
            return
        bits = [
            words.plural(records.breakdowns, "breakdown"), f"{words.number(records.withstood)} withstood",
            words.plural(records.fillings, "filling"), words.plural(records.conditions, "condition"),
            f"{words.number(records.refused)} refused", words.plural(len(records.guesses), "guess", "guesses"),
        ]  # fmt: skip
        self._told.text = f"{file.name}: {', '.join(bits)}."

    # ------------------------------------------------------------- what is said

    def _said(self, file: Opened | Refused) -> Recipe:
        """The recipe as it stands: what was said last, whether or not the file could be read with it."""
        drafts = self._drafts.get(file.sha256)
        if drafts:
            return drafts[-1]
        try:
            return Recipe.of(file.options.get("recipe"))
        except InputError:
            return Recipe()

    def _typed(self, event: Any) -> None:
        try:
            text = str(Place.parse(event.new)) if event.new.strip() else ""
            self._wrong.text = "" if not isinstance(self._now, Refused) else self._wrong.text
        except InputError as error:
            self._wrong.text = str(error)
            return
        if text != self._grid.chosen:
            self._grid.chosen = text

    def _selected(self) -> Place:
        return Place.parse(self._place.value) if self._place.value.strip() else Place()

    def _say(self, deed: Callable[[Hand, Place], Recipe], _: Any = None) -> None:
        """Add one word to the recipe and read the file again."""
        file, sheet = self._now, self._sheet()
        if file is None or sheet is None:
            return
        try:
            new = deed(Hand(self._said(file), sheet, self._cells(file)), self._selected())
        except InputError as error:
            self._wrong.text = for_the_page(str(error))
            return
        self._take(file, new)

    def _take(self, file: Opened | Refused, recipe: Recipe) -> None:
        drafts = self._drafts.setdefault(file.sha256, [])
        if not drafts:
            drafts.append(Recipe.of(file.options.get("recipe")))
        drafts.append(recipe)
        self._reread(file, recipe)

    def _reread(self, file: Opened | Refused, recipe: Recipe) -> None:
        text = recipe.to_toml() if recipe != Recipe() else None
        try:
            self.study.reread(file.name, recipe=text)
        except InputError as error:
            self._follow_recipe()
            self._draw()
            before = "" if isinstance(file, Refused) else f" Until then {file.name} stands as it was read before."
            self._wrong.text = f"{for_the_page(str(error))} Say more, or take it back.{before}"
        else:
            self._show()

    def _meant(self, event: Any) -> None:
        if not self._busy and event.new:
            self._say(lambda hand, place: hand.means(place, event.new))
            self._quietly(lambda: self._means.param.update(value=""))

    def _chosen(self, _event: Any, deed: Callable[[Hand, Place], Recipe]) -> None:
        if not self._busy:
            self._say(deed)

    def _use(self, _event: Any) -> None:
        file, sheet = self._now, self._sheet()
        if file is not None and sheet is not None:
            wanted = not self._said(file).sheet(sheet.name).use
            self._say(lambda hand, _: hand.use(wanted))

    def _set(self, _event: Any) -> None:
        text = self._written.value.strip() or ("" if self._usual.value in (None, "–") else self._usual.value)
        if not text:
            self._wrong.text = f"Choose or write what the {self._what.value} is."
            return
        self._context(text)
        self._written.value = ""

    def _unset(self, _event: Any) -> None:
        self._context("")

    def _context(self, text: str) -> None:
        name, scope = self._what.value, self._scope.value
        if name in OPTIONS.values():
            self._say(lambda hand, _: hand.option(name, text))
        elif scope == FOR_FILE:
            self._say(lambda hand, _: hand.of_the_file(name, text))
        else:
            self._say(lambda hand, place: hand.context(place if scope == FOR_SELECTION else Place(), name, text))

    def _take_back(self, _event: Any) -> None:
        file = self._now
        drafts = self._drafts.get(file.sha256, []) if file is not None else []
        if file is not None and len(drafts) > 1:
            drafts.pop()
            self._reread(file, drafts[-1])

    def _start_over(self, _event: Any) -> None:
        if (file := self._now) is not None:
            self._take(file, Recipe())

    # ------------------------------------------------------------- recipes as files

    def _recipe_text(self) -> str:
        return self._said(self._now).to_toml() if self._now is not None else ""

    def _follow_recipe(self) -> None:
        """Bring the controls that show what is said to the recipe as it stands."""
        file, sheet = self._now, self._sheet()
        if file is None or sheet is None:
            return
        said = self._said(file).sheet(sheet.name)
        rule = said.whole.filling if said.whole.filling in FILLINGS.values() else ""

        def bring() -> None:
            self._heads.value, self._filling.value = said.whole.heads, rule

        self._quietly(bring)
        self._read_it.label = "Do not read this sheet" if said.use else "Read this sheet"
        self._read_it.visible = self._name.visible
        self._back.disabled = len(self._drafts.get(file.sha256, [])) < 2
        self._over.disabled = self._said(file) == Recipe()
        self._show_recipe()
        self._lay_offers(file)

    def _show_recipe(self) -> None:
        self._text.object = f'<pre tabindex="0" class="code">{parts.escaped(self._recipe_text())}</pre>'

    def _lay_offers(self, file: Opened | Refused) -> None:
        """Recipes of other files that fit this one, where nothing is said of it yet."""
        found = []
        if self._said(file) == Recipe():
            for name, text in self.study.recipes().items():
                try:
                    recipe = Recipe.of(text)
                    fits = any(s.whole.headings or s.blocks for s in recipe.sheets) and not recipe.fits(
                        self._sheets(file)
                    )
                except InputError:
                    continue
                if fits and name != file.name:
                    use = Press(f"Read it as {name} was read", partial(self._take_offered, recipe))
                    found.append(parts.row(parts.hint(f"This sheet has the shape of {name}."), use, gap=12))
        self._offer.param.update(objects=found, visible=bool(found))

    def _take_offered(self, recipe: Recipe, _: Any = None) -> None:
        if (file := self._now) is not None:
            self._take(file, recipe)

    def _recipe_opened(self, event: Any) -> None:
        if not event.new or (file := self._now) is None:
            return
        try:
            recipe = Recipe.from_toml(event.new[0][1].decode("utf-8-sig"))
        except (InputError, UnicodeDecodeError) as error:
            self._wrong.text = str(error)
            return
        self._take(file, recipe)

    # ------------------------------------------------------------- inner

    def _other(self, *_: Any) -> None:
        if not self._busy:
            self._quietly(lambda: self._pages.param.update(value=0))
            self._place.value = ""
            self._show()

    def _quietly(self, act: Callable[[], Any]) -> None:
        """Change controls without that counting as the user's word."""
        busy, self._busy = self._busy, True
        try:
            act()
        finally:
            self._busy = busy


def _account(file: Opened) -> pd.DataFrame:
    """The account of a file; of a long one that of its head, as it would be read alone."""
    from methods.cage import read_in_cage

    if file.records.rows_read <= 50_000:
        cells: pd.DataFrame = file.records.cells
        return cells
    head = "\n".join(";".join(r) for r in sheets_of(file)[0].cells[:ROWS])
    try:
        found: pd.DataFrame = read_in_cage(head.encode(), name=file.name, **file.options).cells
    except InputError:
        return pd.DataFrame(columns=["sheet", "row", "column", "role", "why"])
    return found


def _bytes(source: Any) -> bytes:
    return source if isinstance(source, bytes) else Path(source).read_bytes()


def _heading(name: str) -> str:
    column = known(name)
    return column.heading if column is not None else name


def _meaning(name: str) -> str:
    return {"own": "a column of the file's own", "unused": "nothing: not looked at"}.get(name) or _heading(name)


def _first(names: tuple[str, ...]) -> list[str]:
    """What is said most often comes first."""
    front = [n for n in (*without(PRESCRIBED, "rise_kv_s"), "method", "sample", "laboratory") if n in names]
    return [*front, *[c.name for c in REGISTRY if c.name in names and c.name not in front]]

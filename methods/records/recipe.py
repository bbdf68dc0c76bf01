"""How one shape of sheet is read, as a small file that a person can read, change and give again.

A recipe says what the reader cannot know or took for something else: which sheets, which row holds the headings, what
they mean, which columns hold the breakdowns, what is left out, and what stands nowhere in the file (electrode, gap,
stirring ...) for the file, a sheet or an area. It speaks of the layout and never of the readings::

    gapshift_recipe = 1
    unit = "kV"

    [[sheet]]
    name = "Tests"
    heading_row = 4
    values = ["C:H"]
    means = { A = "sample", B = "laboratory" }
    summary = ["J", "Streuung"]
    context = { electrode = "disk", gap_mm = "2.5" }
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from methods.columns import COLUMNS, NUMERIC, without
from methods.errors import InputError, one_line
from methods.records.places import Place, column_number, letter
from methods.records.voltages import FACTORS

FORMAT = 1
#: What can be typed for a file, a sheet or an area: everything but the readings themselves.
CONTEXT = without(COLUMNS, "kv", "order", "outcome")
#: What a heading can mean, besides a column of the file's own.
MEANINGS = (*without(COLUMNS, "kv"), "own", "unused")
FILLINGS = ("row", "column", "one")
#: Marks of thousands by what they are called.
THOUSANDS = {"point": ".", "comma": ",", "apostrophe": "'", "space": " "}
LAYOUTS = ("long", "wide", "two-block", "transposed")
#: File-wide choices and the kinds of value that each takes.
OPTIONS: dict[str, tuple[type, ...]] = {
    "unit": (str,), "decimal": (str,), "ceiling_kv": (int, float, bool), "day_first": (bool,), "thousands": (str,),
    "layout": (str,), "censored": (list,),
}  # fmt: skip
#: What can be said of a sheet, or of an area of it.
PART_KEYS = (
    "heading_row", "headings", "values", "means", "heads", "readings", "summary", "leave_out", "filling", "context",
)  # fmt: skip
SHEET_KEYS = ("name", "use", "rows", "block", *PART_KEYS)
_EVERY = re.compile(r"[1-9]\d{0,3}")


@dataclass(frozen=True)
class Part:
    """What is said of a sheet, or of an area of it that is a table of its own or has a context of its own.

    Attributes
    ----------
    cells : Place, optional
        The area; None for a whole sheet.
    table : bool
        Whether the area is read as a table of its own.
    heading_row : int, optional
        The row of the headings, from 1; 0 where there is none; None where the reader finds it.
    headings : tuple of str
        What stands in that row: a file with other headings has another shape.
    values : tuple of int
        Columns (from 0) of breakdowns; empty where the reader finds them.
    means : mapping
        Column (from 0) -> what its heading means, one of :data:`MEANINGS`.
    heads : str
        What the headings of the value columns are, such as ``sample``; empty where they only count breakdowns.
    readings : tuple of str
        Rows that hold readings, whatever the reader took them for.
    summary, leave_out : tuple of str
        Areas, or labels of rows, that are no breakdowns; what is left out is not looked at at all.
    filling : str
        ``row``, ``column``, ``one``, or a number of breakdowns after which the cell was filled anew; empty: as read.
    context : mapping
        Column of the record table -> text.
    """

    cells: Place | None = None
    table: bool = False
    heading_row: int | None = None
    headings: tuple[str, ...] = ()
    values: tuple[int, ...] = ()
    means: Mapping[int, str] = field(default_factory=dict)
    heads: str = ""
    readings: tuple[str, ...] = ()
    summary: tuple[str, ...] = ()
    leave_out: tuple[str, ...] = ()
    filling: str = ""
    context: Mapping[str, str] = field(default_factory=dict)

    @property
    def shapes(self) -> bool:
        """Whether it says where the table stands and what its columns are."""
        return bool(self.table or self.heading_row is not None or self.values or self.means)


@dataclass(frozen=True)
class SheetRecipe:
    """What is said of one sheet: ``rows`` is its last row where the recipe names rows below the heading."""

    name: str = ""
    use: bool = True
    rows: int | None = None
    whole: Part = field(default_factory=Part)
    blocks: tuple[Part, ...] = ()


@dataclass(frozen=True)
class Recipe:
    """How one shape of file is read.

    ``options`` are those of :func:`methods.read` (unit, decimal, ceiling_kv, day_first ...), ``context`` holds for the
    whole file, ``sheets`` are those that something is said of; others are left to the reader.
    """

    name: str = ""
    options: Mapping[str, Any] = field(default_factory=dict)
    context: Mapping[str, str] = field(default_factory=dict)
    sheets: tuple[SheetRecipe, ...] = ()

    @classmethod
    def from_toml(cls, text: str, name: str = "") -> Recipe:
        """Read a recipe from TOML text.

        Raises
        ------
        InputError
            One line: no TOML, no recipe, an unknown key, or a value that cannot be.
        """
        try:
            found = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"The recipe is no TOML: {error}.", column="recipe") from None
        if "gapshift_recipe" not in found:
            raise InputError("This is no recipe: the line gapshift_recipe = 1 is missing.", column="recipe")
        if found["gapshift_recipe"] != FORMAT:
            raise InputError(
                f"The recipe's format is {found['gapshift_recipe']!r}; this version reads {FORMAT}.", column="recipe"
            )
        sheets = _list(found, "sheet", dict)
        _known(found, ("gapshift_recipe", "name", "context", "sheet", *OPTIONS), "the recipe")
        for key, kinds in OPTIONS.items():
            if key in found and (type(found[key]) not in kinds or found[key] is True and key == "ceiling_kv"):
                raise InputError(f"The recipe's {key} cannot be {found[key]!r}.", column="recipe", text=key)
        return cls(
            str(found.get("name", name)), {k: found[k] for k in OPTIONS if k in found},
            _context(found.get("context", {})), tuple(_sheet(s) for s in sheets),
        )  # fmt: skip

    @classmethod
    def of(cls, source: Any) -> Recipe:
        """A recipe from what ``read(recipe=...)`` takes: a Recipe, a path, or the text of one; None says nothing."""
        if source is None:
            return cls()
        if isinstance(source, Recipe):
            return source
        if isinstance(source, str) and ("\n" in source or "gapshift_recipe" in source):
            return cls.from_toml(source)
        if isinstance(source, (str, os.PathLike)):
            try:
                text = Path(source).read_text(encoding="utf-8-sig")
            except (OSError, ValueError) as error:  # no such file, no text, or a name that can be none
                why = one_line(error, 120)
                raise InputError(f"The recipe {str(source)[:120]!r} cannot be read: {why}.", column="recipe") from None
            return cls.from_toml(text, Path(source).stem)
        raise InputError(f"A recipe is a file or its text, not {type(source).__name__}.", column="recipe")

    @classmethod
    def from_options(cls, **options: Any) -> Recipe:
        """The recipe of the options of :func:`methods.read` that are given; ``None`` says nothing."""
        return cls(options={k: v for k, v in options.items() if k in OPTIONS and v is not None})

    def overruled(self, **options: Any) -> dict[str, Any]:
        """These options of :func:`methods.read`, and the recipe's own where they are None."""
        return {k: self.options.get(k, () if k == "censored" else None) if v is None else v
                for k, v in options.items()}  # fmt: skip

    def to_toml(self) -> str:
        """The recipe as TOML that :meth:`from_toml` reads back to the same."""
        lines = ["# How one shape of sheet is read: the layout, never the readings.", f"gapshift_recipe = {FORMAT}"]
        if self.name:
            lines.append(f"name = {_text(self.name)}")
        lines += [f"{k} = {_value(v)}" for k, v in self.options.items()]
        if self.context:
            lines += ["", "[context]", *(f"{k} = {_text(v)}" for k, v in self.context.items())]
        for sheet in self.sheets:
            lines += ["", "[[sheet]]", f"name = {_text(sheet.name)}"]
            lines += ["use = false"] if not sheet.use else []
            lines += [f"rows = {sheet.rows}"] if sheet.rows is not None else []
            lines += _part_lines(sheet.whole)
            for block in sheet.blocks:
                lines += ["", "[[sheet.block]]", f"cells = {_text(str(block.cells))}"]
                lines += ["table = true"] if block.table else []
                lines += _part_lines(block)
        return "\n".join(lines) + "\n"

    def sheet(self, name: str) -> SheetRecipe:
        """What is said of the sheet of this name; an empty one where nothing is."""
        return next((s for s in self.sheets if s.name == name), SheetRecipe(name))

    def with_sheet(self, sheet: SheetRecipe) -> Recipe:
        """The recipe with this said of the sheet instead of what was."""
        kept = [s for s in self.sheets if s.name != sheet.name]
        at = next((i for i, s in enumerate(self.sheets) if s.name == sheet.name), len(kept))
        new = [*kept[:at], sheet, *kept[at:]] if sheet != SheetRecipe(sheet.name) else kept
        return replace(self, sheets=tuple(new))

    def fits(self, sheets: Sequence[Any]) -> str:
        """Why the recipe does not fit these sheets of cells, in half a sentence; empty where it does.

        Sheets have ``name``, ``cells`` and ``rows``, as :func:`methods.records.open_cells` gives them. Headings are
        compared, never values.
        """
        for said in self.sheets:
            found = matching(self, said, sheets)
            if found is None:
                names = ", ".join(repr(s.name) for s in sheets if s.name) or "none"
                return f"it speaks of a sheet {said.name!r}, and the sheets here are {names}"
            if said.use and (why := _differs(said, found)):
                return why
        return ""


def matching(recipe: Recipe, said: SheetRecipe, sheets: Sequence[Any]) -> Any | None:
    """The sheet that is meant: of the same name, or the only one where the recipe speaks of one only.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    said : SheetRecipe
        What it says of one sheet.
    sheets : sequence of object
        Sheets of the file.
    """
    found = next((s for s in sheets if s.name == said.name), None)
    if found is None and len(sheets) == 1 and len(recipe.sheets) == 1:
        return sheets[0]
    return found


def last_row(sheet: Any) -> int:
    """The last row of a sheet that holds something."""
    held = [n for n, r in zip(sheet.rows, sheet.cells, strict=True) if any(c.strip() for c in r)]
    return held[-1] if held else 0


def row_of(sheet: Any, row: int) -> list[str]:
    """The cells of a row as the user numbers it; empty where there is none."""
    return next((list(r) for n, r in zip(sheet.rows, sheet.cells, strict=True) if n == row), [])


def _differs(said: SheetRecipe, sheet: Any) -> str:
    where = f" of sheet {sheet.name!r}" if sheet.name else ""
    for part in (said.whole, *said.blocks):
        if part.heading_row and part.headings:
            here = [c.strip() for c in row_of(sheet, part.heading_row)]
            left = part.cells.left or 0 if part.cells else 0
            for at, text in enumerate(part.headings, left):
                got = here[at] if at < len(here) else ""
                if got != text:
                    return (
                        f"cell {letter(at)}{part.heading_row}{where} holds {got[:40]!r} where the recipe has "
                        f"{text[:40]!r}"
                    )
            beyond = next((i for i in range(left + len(part.headings), len(here)) if here[i]), None)
            if beyond is not None and part.cells is None:
                return f"row {part.heading_row}{where} has a heading {here[beyond][:40]!r} more, in {letter(beyond)}"
    if said.rows is not None and last_row(sheet) != said.rows:
        last = last_row(sheet)
        return f"it names rows below the heading of a sheet with {said.rows} rows, and the sheet here has {last}"
    return ""


# --------------------------------------------------------------------- from and to TOML


def _known(found: Mapping[str, Any], allowed: Sequence[str], where: str) -> None:
    wrong = next((k for k in found if k not in allowed), None)
    if wrong is not None:
        raise InputError(
            f"{where.capitalize()} has a line {wrong!r} that means nothing; it may have {', '.join(allowed)}.",
            column="recipe", text=wrong,
        )  # fmt: skip


def _list(found: Mapping[str, Any], key: str, kind: type) -> list[Any]:
    held = found.get(key, [])
    if not isinstance(held, list) or not all(isinstance(h, kind) for h in held):
        raise InputError(f"The recipe's {key} is no list of {'tables' if kind is dict else 'texts'}.", column="recipe")
    return held


def _context(found: Any) -> dict[str, str]:
    if not isinstance(found, dict):
        raise InputError('The recipe\'s context is no table such as { electrode = "disk" }.', column="recipe")
    out = {}
    for name, value in found.items():
        if name not in CONTEXT:
            raise InputError(
                f"The recipe's context speaks of {name!r}; it may speak of {', '.join(CONTEXT)}.",
                column="recipe", text=name,
            )  # fmt: skip
        out[name] = said_text(name, value)
    return out


def said_text(name: str, value: Any) -> str:
    """What was typed for a column, checked: a number where the column holds numbers."""
    text = str(value).strip()
    if isinstance(value, (dict, list, bool)) or not text:
        raise InputError(f"{name} cannot be {value!r}.", column=name, text=text)
    if name in NUMERIC:
        from methods.records.factors import amount, convert

        read = amount(text)
        converted = convert(name, read[0], read[1]) if read is not None else None
        if converted is None:
            raise InputError(f"{name} is {text!r}; write a number, such as 2.5.", column=name, text=text)
    return text


def option_said(name: str, text: str) -> Any:
    """What was said for one of the choices that hold for a whole file, as :func:`methods.read` takes it.

    Raises
    ------
    InputError
        The text is none of what there is to choose; the message lists that.
    """
    clean = text.strip()
    if name == "censored":
        return [w.strip() for w in clean.split(",") if w.strip()]
    if name == "ceiling_kv":
        if clean.casefold() in ("none", "no"):
            return False
        from methods.records.factors import amount

        read = amount(clean)
        if read is None or read[1] not in (None, "kV") or not read[0] > 0:
            raise InputError(f"The ceiling is {text!r}; write a number of kV, or none.", column=name, text=text)
        return read[0]
    every: dict[str, dict[str, Any]] = {
        "unit": {u: u for u in FACTORS}, "decimal": {"point": ".", "comma": ",", ".": ".", ",": ","},
        "day_first": {"day first": True, "month first": False}, "layout": {x: x for x in LAYOUTS},
        "thousands": THOUSANDS,
    }  # fmt: skip
    choices = every.get(name, {})
    if clean not in choices:
        raise InputError(f"{name} is {text!r}; it is one of {', '.join(choices)}.", column=name, text=text)
    return choices[clean]


def _sheet(found: dict[str, Any]) -> SheetRecipe:
    _known(found, SHEET_KEYS, "a sheet of the recipe")
    rows = found.get("rows")
    if rows is not None and (type(rows) is not int or rows < 1):
        raise InputError(f"The recipe's rows cannot be {rows!r}.", column="recipe")
    use = found.get("use", True)
    if not isinstance(use, bool):
        raise InputError(f"The recipe's use is true or false, not {use!r}.", column="recipe")
    blocks = []
    for block in _list(found, "block", dict):
        _known(block, ("cells", "table", *PART_KEYS), "a block of the recipe")
        if not isinstance(block.get("cells"), str):
            raise InputError("A block of the recipe does not say which cells it is, such as B5:F9.", column="recipe")
        blocks.append(_part(block))
    return SheetRecipe(str(found.get("name", "")), use, rows, _part(found), tuple(blocks))


def _part(found: dict[str, Any]) -> Part:
    row = found.get("heading_row")
    if row is not None and (type(row) is not int or row < 0):
        raise InputError(f"The recipe's heading_row cannot be {row!r}; 0 says that there is none.", column="recipe")
    means = found.get("means", {})
    if not isinstance(means, dict):
        raise InputError('The recipe\'s means is no table such as { A = "sample" }.', column="recipe")
    for column, name in means.items():
        if name not in MEANINGS:
            raise InputError(
                f"Column {column} cannot mean {name!r}; it may be {', '.join(MEANINGS)}.",
                column="recipe", text=str(name),
            )  # fmt: skip
    heads = found.get("heads", "")
    if heads and heads not in CONTEXT:
        raise InputError(f"The headings of the values cannot be {heads!r}.", column="recipe", text=str(heads))
    filling = str(found.get("filling", ""))
    if filling and filling not in FILLINGS and not _EVERY.fullmatch(filling):
        raise InputError(
            f"filling is {filling!r}; it is row, column, one, or the number of breakdowns on one filling.",
            column="recipe", text=filling,
        )  # fmt: skip
    areas = {k: tuple(_list(found, k, str)) for k in ("readings", "summary", "leave_out", "values", "headings")}
    return Part(
        Place.parse(found["cells"]) if "cells" in found else None, bool(found.get("table", False)), row,
        areas["headings"], tuple(c for a in areas["values"] for c in _columns(a)),
        {column_number(c): str(n) for c, n in means.items()}, heads,
        areas["readings"], areas["summary"], areas["leave_out"], filling,
        _context(found.get("context", {})),
    )  # fmt: skip


def _columns(text: str) -> list[int]:
    area = Place.parse(text)
    if area.left is None or area.right is None or area.by_rows:
        raise InputError(f"{text!r} names no columns of a sheet, such as C or C:H.", column="recipe", text=text)
    return list(range(area.left, area.right + 1))


def _part_lines(part: Part) -> list[str]:
    out = []
    if part.heading_row is not None:
        out.append(f"heading_row = {part.heading_row}")
    if part.headings:
        out.append(f"headings = {_value(part.headings)}")
    if part.values:
        out.append(f"values = {_value(column_runs(part.values))}")
    if part.means:
        inside = ", ".join(f"{letter(c)} = {_text(n)}" for c, n in sorted(part.means.items()))
        out.append(f"means = {{ {inside} }}")
    out += [f"heads = {_text(part.heads)}"] if part.heads else []
    out += [f"{k} = {_value(getattr(part, k))}" for k in ("readings", "summary", "leave_out") if getattr(part, k)]
    out += [f"filling = {_text(part.filling)}"] if part.filling else []
    if part.context:
        out.append("context = { " + ", ".join(f"{k} = {_text(v)}" for k, v in part.context.items()) + " }")
    return out


def column_runs(columns: Sequence[int]) -> list[str]:
    """Columns as areas: 2, 3, 4, 7 is ``C:E``, ``H``."""
    out: list[list[int]] = []
    for c in columns:
        if out and c == out[-1][1] + 1:
            out[-1][1] = c
        else:
            out.append([c, c])
    return [letter(a) if a == b else f"{letter(a)}:{letter(b)}" for a, b in out]


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (list, tuple, set, frozenset)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)

"""All that can be put right about how a file is read, and where: page, command line, recipe, Python."""

from __future__ import annotations

from typing import NamedTuple


class Remedy(NamedTuple):
    """One thing that can be put right.

    Attributes
    ----------
    what : str
        What it is, in words.
    control : tuple of str
        Labels of controls on the sheet of Records (of its filters for the rows that are wanted).
    option : tuple of str
        Options of every command that reads files.
    key : tuple of str
        Keys of a recipe; empty where it is nothing of a sheet's shape.
    argument : tuple of str
        Arguments of :func:`methods.read`.
    """

    what: str
    control: tuple[str, ...]
    option: tuple[str, ...]
    key: tuple[str, ...]
    argument: tuple[str, ...]


_ = Remedy
REMEDIES: tuple[Remedy, ...] = (
    _("columns that hold the readings", ("Readings",), ("--value", "--say readings"), ("values",), ("columns", "say")),
    _("columns that hold none", ("No readings",), ("--say no-readings",), ("means",), ("say",)),
    _("rows that hold readings", ("Readings",), ("--say readings",), ("readings",), ("say", "areas")),
    _("the row of headings", ("Headings",), ("--say headings",), ("heading_row", "headings"), ("say", "areas")),
    _("that there is no row of headings", ("No headings",), ("--say no-headings",), ("heading_row",), ("say",)),
    _("what a heading means", ("Its heading means",), ("--column", "--say means"), ("means",), ("columns", "say")),
    _("that headings are levels", ("The headings above readings",), ("--say heads",), ("heads",), ("say",)),
    _("what sums up", ("Summary",), ("--say summary",), ("summary",), ("say", "areas")),
    _("what is left out", ("Leave out",), ("--say leave-out",), ("leave_out",), ("say", "areas")),
    _("a table of its own", ("A table",), ("--say table",), ("block", "cells", "table"), ("say",)),
    _("which readings make a filling", ("Fillings",), ("--say fillings",), ("filling",), ("say",)),
    _("which sheets are read", ("Do not read this sheet",), ("--sheet", "--say unread"), ("sheet", "name", "use"),
      ("sheet", "say")),
    _("what stands nowhere in the file", ("What",), ("--context",), ("context",), ("context", "areas")),
    _("the ceiling", ("Ceiling (kV)",), ("--ceiling", "--no-ceiling"), ("ceiling_kv",), ("ceiling_kv",)),
    _("the unit", ("Unit of the readings",), ("--unit",), ("unit",), ("unit",)),
    _("the decimal mark", ("Decimal mark",), ("--decimal",), ("decimal",), ("decimal",)),
    _("the thousands mark", ("Thousands mark",), ("--thousands",), ("thousands",), ("thousands",)),
    _("words for withstood", ("Words for withstood",), ("--censored",), ("censored",), ("censored",)),
    _("how dates are meant", ("Dates such as 03/04/2025",), ("--dates",), ("day_first",), ("day_first",)),
    _("the layout", ("Layout",), ("--layout",), ("layout",), ("layout",)),
    _("all of it at once, from a file", ("Open a recipe",), ("--recipe",), (), ("recipe",)),
    _("which rows are wanted", ("Filters",), ("--where", "--since", "--until"), (), ("where", "since", "until")),
)  # fmt: skip

"""What somebody says by hand about part of a file: leave this out, this sums up, here the electrodes were disks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from methods.columns import COLUMNS
from methods.errors import InputError
from methods.records.headings import read_heading

#: What an area can be said to be. ``heading``: its first row holds the headings of the table that begins there.
#: ``values``: its columns hold readings. ``block``: a table of its own. ``summary`` and ``leave_out`` hold no readings.
ROLES = ("heading", "values", "block", "summary", "leave_out")
#: What can be typed for an area: a column of the record table, and the highest voltage and unit of its readings.
TYPED = (*(c for c in COLUMNS if c not in ("kv", "outcome", "order")), "ceiling", "unit")


@dataclass(frozen=True)
class Area:
    """A range of cells of one sheet, and what is said of it. Nothing given for sheet, rows, columns: all of them.

    Attributes
    ----------
    sheet : str, optional
        The sheet's name; None: every sheet (a text file has one, without a name).
    rows, columns : (first, last), optional
        As the file counts them, from 1 on, both ends included; the columns A, B, C are 1, 2, 3.
    role : str, optional
        One of :data:`ROLES`.
    context : mapping, optional
        Name -> text for the readings within the area, such as ``{"electrode": "disk", "gap_mm": "2.54 mm"}``. It
        overrules what the file says there. Names are those of :data:`TYPED` or words for them (``gap``).
    """

    sheet: str | None = None
    rows: tuple[int, int] | None = None
    columns: tuple[int, int] | None = None
    role: str | None = None
    context: Mapping[str, str] = field(default_factory=dict)

    def holds(self, sheet: str, row: int, column: int) -> bool:
        """Whether the area covers this cell.

        Parameters
        ----------
        sheet : str
            Name of the sheet.
        row : int
            Row, from 1.
        column : int
            Column, from 1.
        """
        return (
            (self.sheet is None or self.sheet == sheet)
            and (self.rows is None or self.rows[0] <= row <= self.rows[1])
            and (self.columns is None or self.columns[0] <= column <= self.columns[1])
        )

    def to_dict(self) -> dict[str, Any]:
        """The area as plain values: what was not said is left out."""
        out: dict[str, Any] = {"sheet": self.sheet, "rows": self.rows, "columns": self.columns, "role": self.role}
        out = {k: list(v) if isinstance(v, tuple) else v for k, v in out.items() if v is not None}
        return {**out, **({"context": dict(self.context)} if self.context else {})}


def areas_of(given: Iterable[Area | Mapping[str, Any]]) -> tuple[Area, ...]:
    """Areas from areas or from mappings with their fields.

    Raises
    ------
    InputError
        A field, role or name that is not known, or rows and columns that are no two whole numbers.
    """
    return tuple(_area(a) for a in given)


def _area(given: Area | Mapping[str, Any]) -> Area:
    if isinstance(given, Area):
        given = given.to_dict()
    unknown = set(given) - {"sheet", "rows", "columns", "role", "context"}
    if unknown:
        raise InputError(
            f"An area has sheet, rows, columns, role and context, not {', '.join(map(repr, sorted(unknown)))}.",
            column="areas",
        )
    role = given.get("role")
    if role is not None and role not in ROLES:
        raise InputError(f"The role of an area is one of {', '.join(ROLES)}, not {role!r}.", column="areas", text=role)
    context = {}
    for name, text in dict(given.get("context") or {}).items():
        known = name if name in TYPED else read_heading(str(name)).name
        if known not in TYPED:
            raise InputError(
                f"{name!r} cannot be given for an area; it is one of {', '.join(TYPED)}.",
                column="areas",
                text=str(name),
            )
        context[str(known)] = str(text)
    return Area(given.get("sheet"), _pair(given, "rows"), _pair(given, "columns"), role, context)


def _pair(given: Mapping[str, Any], name: str) -> tuple[int, int] | None:
    held = given.get(name)
    if held is None:
        return None
    try:
        first, last = (int(v) for v in ((held, held) if isinstance(held, int) else held))
    except (TypeError, ValueError):
        first, last = 0, 0
    if not 1 <= first <= last:
        raise InputError(
            f"The {name} of an area are two whole numbers from 1 on, the first not above the last, not {held!r}.",
            column="areas", text=str(held),
        )  # fmt: skip
    return first, last

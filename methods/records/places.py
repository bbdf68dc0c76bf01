"""Places on a sheet as a spreadsheet writes them: ``C``, ``C:F``, ``12``, ``10:12``, ``B5`` and ``B5:F9``."""

from __future__ import annotations

import re
from dataclasses import dataclass

from methods.errors import InputError

_AREA = re.compile(r"([A-Z]{0,3})([1-9]\d{0,7})?(?::([A-Z]{0,3})([1-9]\d{0,7})?)?")


def letter(column: int) -> str:
    """The letters of a column that counts from 0: 0 is ``A``, 26 ``AA``."""
    out, left = "", column + 1
    while left:
        left, rest = divmod(left - 1, 26)
        out = chr(65 + rest) + out
    return out


def column_number(letters: str) -> int:
    """The column, from 0, that these letters name; InputError where they name none."""
    text = letters.strip().upper()
    if not re.fullmatch(r"[A-Z]{1,3}", text):
        raise InputError(f"{letters!r} is no column of a sheet: write its letters, such as C.", text=letters)
    out = 0
    for char in text:
        out = out * 26 + ord(char) - 64
    return out - 1


@dataclass(frozen=True)
class Place:
    """A rectangle of cells on one sheet: rows from 1, columns from 0; None where it is open on that side."""

    top: int | None = None
    left: int | None = None
    bottom: int | None = None
    right: int | None = None

    @classmethod
    def parse(cls, text: str) -> Place:
        """Read ``B5:F9`` and its like; InputError where the text is none."""
        found = _AREA.fullmatch(text.strip().upper())
        first = (found[1], found[2]) if found else ("", None)
        last = (found[3], found[4]) if found and ":" in text else first
        if not any(first) or [bool(x) for x in first] != [bool(x) for x in last]:
            raise InputError(
                f"{text!r} is no area of a sheet: write it as B5:F9, as rows 10:12 or as columns C:F.", text=text
            )
        columns = sorted(column_number(c) for c in (first[0], last[0]) if c)
        rows = sorted(int(r) for r in (first[1], last[1]) if r)
        top, bottom = rows or (None, None)
        left, right = columns or (None, None)
        return cls(top, left, bottom, right)

    def __str__(self) -> str:
        first = (letter(self.left) if self.left is not None else "") + str(self.top or "")
        last = (letter(self.right) if self.right is not None else "") + str(self.bottom or "")
        return first if first == last and self.top and self.left is not None else f"{first}:{last}"

    @property
    def by_columns(self) -> bool:
        """Whether it takes some columns only."""
        return self.left is not None

    @property
    def by_rows(self) -> bool:
        """Whether it takes some rows only."""
        return self.top is not None

    def has(self, row: int, column: int) -> bool:
        """Whether this cell lies within."""
        return self.has_row(row) and self.has_column(column)

    def has_row(self, row: int) -> bool:
        """Whether it reaches this row."""
        return self.top is None or self.top <= row <= (self.bottom or self.top)

    def has_column(self, column: int) -> bool:
        """Whether it reaches this column."""
        return self.left is None or self.left <= column <= (self.left if self.right is None else self.right)

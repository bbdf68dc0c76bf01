"""What a piece of a worksheet's XML names, found in one pass over its bytes: rows, columns, cells, what is hidden.

Only where something rare is met (a formula, a merged range, a hidden row, a place beyond the sheet) is the piece looked
through with patterns; see :mod:`methods.records.workbook_parts`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_ROOM = 32  # zeros behind a piece, so that what follows its last mark can be asked for
_DIGITS = 8  # of a row's number; one with as many lies beyond every sheet
_LETTERS = 4  # of a column; one with as many lies beyond every sheet
_SPACE = np.isin(np.arange(256), (9, 10, 13, 32))
_DIGIT = np.isin(np.arange(256), np.arange(48, 58))
_LETTER = np.isin(np.arange(256), np.arange(65, 91))
_ENDS = _SPACE | np.isin(np.arange(256), (ord(">"), ord("/")))


@dataclass(frozen=True)
class Marks:
    """``rows``, ``columns``: the furthest that are named; ``cells``: how many there are.

    ``far``: a place may lie beyond every sheet. ``hidden``, ``formulas`` (or errors), ``merged``: the piece may hold
    some.
    """

    rows: int
    columns: int
    cells: int
    far: bool
    hidden: bool
    formulas: bool
    merged: bool


def marks_of(piece: bytes) -> Marks:
    """What a piece of a worksheet names.

    Parameters
    ----------
    piece : bytes
        XML that begins and ends between tags.
    """
    octets = np.frombuffer(piece + bytes(_ROOM), np.uint8)
    opens = (octets == ord("<")) | (octets == ord(":"))
    cells = np.flatnonzero(opens[:-1] & (octets[1:] == ord("c"))) + 2
    given = (octets[:-1] == ord("=")) & (octets[1:] == ord('"'))  # ="
    places = np.flatnonzero((octets[:-2] == ord("r")) & given[1:])
    places = places[_SPACE[octets[places - 1]]] + 3  # r="
    first = octets[places]
    rows = places[_DIGIT[first]]
    named = places[_LETTER[first] | (first == ord("$"))]
    long = _DIGIT[octets[named + 4]] & _DIGIT[octets[named + 5]] & _DIGIT[octets[named + 6]]
    ends = octets[:-3][(octets[:-3] != 0) & given[1:-1]]
    errors = (octets[:-3] == ord("t")) & given[1:-1] & (octets[3:] == ord("e"))
    return Marks(
        rows=_largest(octets, rows),
        columns=_furthest(octets, named),
        cells=int(_ENDS[octets[cells]].sum()),
        far=bool((long & _DIGIT[octets[named + 7]]).any()) or bool((first == ord("$")).any()),
        hidden=bool((ends == ord("n")).any()) and b"hidden=" in piece,
        formulas=bool((opens[:-1] & (octets[1:] == ord("f"))).any()) or bool(errors.any()),
        merged=bool((opens[:-1] & (octets[1:] == ord("m"))).any()) and b"mergeCell" in piece,
    )


def _largest(octets: np.ndarray, places: np.ndarray) -> int:
    """The largest of the numbers that begin at these places; of more digits than a row has: beyond every sheet."""
    if not len(places):
        return 0
    value = np.zeros(len(places), np.int64)
    going = np.ones(len(places), bool)
    for at in range(_DIGITS):
        digit = octets[places + at]
        going &= _DIGIT[digit]
        value = np.where(going, value * 10 + (digit.astype(np.int64) - 48), value)
    return 10**_DIGITS if going.any() else int(value.max())


def _furthest(octets: np.ndarray, places: np.ndarray) -> int:
    """The furthest column, from 1, of the cells whose names begin at these places."""
    if not len(places):
        return 1
    one = int(octets[places].max()) - 64
    wide = places[_LETTER[octets[places]] & _LETTER[octets[places + 1]]]
    if not len(wide):
        return max(one, 1)
    value = np.zeros(len(wide), np.int64)
    going = np.ones(len(wide), bool)
    for at in range(_LETTERS):
        letter = octets[wide + at]
        going &= _LETTER[letter]
        value = np.where(going, value * 26 + (letter.astype(np.int64) - 64), value)
    return max(int(value.max()), one, 1)

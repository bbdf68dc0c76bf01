"""The other columns: electrode, gap, stirring, temperature, dates ... brought to the contract's words and units.

Each works on the different cells of a column only. What cannot be read stays empty (numbers) or as it was written
(words); nothing is inferred from the voltages.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from functools import lru_cache

import numpy as np
import pandas as pd

from methods.columns import FACTORS
from methods.records.cells import BLANK, normalise, parse, parse_number
from methods.records.coded import Coded
from methods.records.facts import electrode_in, stirring_in
from methods.records.headings import Heading, any_unit, fold, plain_stirring, word
from methods.records.kept import Log
from methods.records.summary_words import summary_kind

try:  # an optional part: only faster
    import pyarrow
except ImportError:  # pragma: no cover
    pyarrow = None

_AMOUNT = re.compile(
    r"(?P<number>[+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*(?P<unit>[^\d\s(±+-][^\s(±,;]*(?:\s*/\s*\w+)?)?(?P<rest>.*)"
)
_LENGTH = {"mm": 1.0, "cm": 10.0, "in": 25.4, "mil": 0.0254, "um": 1e-3}
_RISE = {"kV/s": 1.0, "V/s": 1e-3, "kV/min": 1 / 60}
_DAMAGED = re.compile(r"\d{4}-\d\d-\d\d(?: 00:00:00)?")
_SERIAL = re.compile(r"[2-5]\d{4}(?:[.,]\d+)?")  # 1954 to 2064
_NUMERIC_DATE = re.compile(r"(\d{1,2})([/.-])(\d{1,2})\2(\d{2}|\d{4})(?:[ T]+(.*))?")


def amount(text: str) -> tuple[float, str | None] | None:
    """A number with the unit behind it: ``2.5 mm`` -> (2.5, ``mm``); None when it is no number."""
    clean = normalise(text)
    found = _AMOUNT.fullmatch(clean)
    if found is None:
        return None
    value = parse_number(found["number"])
    unit = any_unit(found["unit"]) if found["unit"] else None
    if value is None or not np.isfinite(value) or (found["unit"] and unit is None):
        return None
    return value, unit


def numbers(name: str, cells: Coded, head: Heading, rows: np.ndarray, log: Log) -> np.ndarray:
    """A numeric column of the contract in the contract's unit, one float a row.

    Parameters
    ----------
    name : str
        Column of the record table.
    cells : Coded
        Its cells.
    head : Heading
        Its heading.
    rows : ndarray
        Row of each cell in the file.
    log : Log
        Takes the problems and guesses.
    """
    if cells.numbers is not None:
        cells = _as_text(cells)
    out = np.full(len(cells.uniques) + 1, np.nan)
    unitless: list[tuple[int, float]] = []
    for at, text in enumerate(cells.uniques):
        read = amount(text)
        if read is None:
            shot = re.fullmatch(r"\D{0,12}(\d{1,4})\D{0,2}", normalise(text)) if name == "order" else None
            if shot:
                out[at] = int(shot[1])
            elif parse(text).kind != BLANK and not (name == "order" and summary_kind(text, True)):
                _unread(name, cells, at, head, rows, log)
            continue
        value, unit = read
        unit = unit or head.unit
        converted = convert(name, value, unit)
        if converted is None:
            _unread(name, cells, at, head, rows, log)
            continue
        out[at] = converted
        if unit is None or unit == "-":
            unitless.append((at, value))
    if name == "temperature_c" and unitless:
        _fahrenheit(out, unitless, head, log)
    if name == "gap_mm" and any(0 < v < 0.3 for _, v in unitless):
        log.problem(None, head.text, f"{min(v for _, v in unitless):g}",
                    "a gap without unit is in mm; below 0.3 it may be inches",
                    "kept as mm; write the unit if it is inches", code="gap_unit_doubtful")  # fmt: skip
    if name == "water_mg_kg" and head.unit == "ppm":
        log.guess("water", "ppm are mg/kg", f"heading {head.text!r}", "write mg/kg or µL/L in the heading")
    return out[cells.codes]


def _as_text(cells: Coded) -> Coded:
    codes, uniques = pd.factorize(np.asarray(cells.numbers))
    return Coded(codes, [f"{u:.12g}" for u in uniques])


def _unread(name: str, cells: Coded, at: int, head: Heading, rows: np.ndarray, log: Log) -> None:
    where = np.flatnonzero(cells.codes == at)
    if len(where):
        more = f" (and {len(where) - 1} more such cells)" if len(where) > 1 else ""
        log.problem(rows[where[0]], head.text, cells.uniques[at], f"{name} is a number with a known unit",
                    f"kept; {name} left empty{more}", code="no_number")  # fmt: skip


def convert(name: str, value: float, unit: str | None) -> float | None:
    """Turn a number of this column into the unit of the record table; None where the unit is no unit of it.

    Parameters
    ----------
    name : str
        Column of the record table.
    value : float
        The number as it stands.
    unit : str or None
        Its unit; without one it is that of the record table.
    """
    if unit in (None, "-"):
        return value
    if name == "gap_mm":
        return round(value * _LENGTH[unit], 9) if unit in _LENGTH else None
    if name == "rise_kv_s":
        return round(value * _RISE[unit], 9) if unit in _RISE else None
    if name == "temperature_c":
        if unit == "F":
            return round((value - 32) / 1.8, 6)
        return round(value - 273.15, 6) if unit == "K" else value if unit == "C" else None
    if name == "water_mg_kg":
        return value if unit in ("ppm", "mg/kg") else None
    return value if name == "order" else None


def _fahrenheit(out: np.ndarray, unitless: list[tuple[int, float]], head: Heading, log: Log) -> None:
    """Temperatures of 60 to 110 without a unit: a room, in degrees Fahrenheit."""
    values = [v for _, v in unitless]
    if min(values) >= 60 and max(values) <= 110:
        for at, value in unitless:
            out[at] = round((value - 32) / 1.8, 6)
        log.guess(
            "temperature",
            "Fahrenheit, turned into °C",
            f"{head.text!r}: {min(values):g} to {max(values):g} without a unit",
            "write °C in the heading",
        )


def mapped(cells: Coded, change: Callable[[str], str | None]) -> Coded:
    """Apply ``change`` to each different cell; cells that become the same are merged, None becomes empty."""
    if cells.numbers is not None:
        cells = _as_text(cells)
    new = [change(t) for t in cells.uniques]
    if new == cells.uniques:
        return cells
    order: dict[str, int] = {}
    lookup = np.array([order.setdefault(t, len(order)) if t else -1 for t in new] + [-1], dtype=np.int32)
    return Coded(lookup[cells.codes], list(order))


def tidy(text: str) -> str | None:
    """A label: one spelling of spaces and digits; a cell that only says "nothing" is empty."""
    if text.isascii() and text[-1:].isdecimal() and " " not in text and text[0] not in "='":
        return text
    clean = normalise(text)
    return None if clean.casefold() in ("", "-", "--", "n/a", "na", "nan", "null", "n.a.", "?") else clean


def electrodes(cells: Coded, log: Log | None = None) -> Coded:
    """``disk``, ``spherical``, ``mushroom``, or the words as they stand."""

    def change(text: str) -> str | None:
        clean = tidy(text)
        if clean is None:
            return None
        known = word("electrode", clean)
        if known is None:
            folded = fold(clean)
            hits = {
                shape
                for shape, stems in (
                    ("mushroom", ("mushroom", "vde", "calott", "kalott", "partial", "partly spher", "capped", "pilz")),
                    ("disk", ("disk", "disc", "flat", "platte")),
                    ("spherical", ("spher", "sphär", "sphar", "ball", "kugel", "esfer")),
                )
                if any(re.search(rf"\b{s}", folded) for s in stems)
            }
            if hits == {"mushroom", "spherical"}:
                hits = {"mushroom"} if re.search(r"partial|partly|capped|cap\b", folded) else set()
            known = hits.pop() if len(hits) == 1 else electrode_in(clean)
        if known is None and log is not None:
            log.guess("electrode", clean, f"the word {clean!r} is not known: kept as it is written",
                      "--column electrode=HEADING", code="unknown_word")  # fmt: skip
        return known or clean

    return mapped(cells, change)


def stirring(cells: Coded, log: Log) -> Coded:
    """``none``, ``between``, ``continuous``, or the words as they stand; a plain yes is continuous, as a guess."""

    def change(text: str) -> str | None:
        clean = normalise(text)
        if fold(clean) == "none":
            return "none"
        if tidy(text) is None:
            return None
        known = word("stirring", clean)
        told = stirring_in(clean, asked=True) if known is None else None
        known = told if known is None and told != "stirred" else known
        if known is None and (plain_stirring(clean) or told == "stirred"):
            log.guess(
                "stirring",
                "continuous",
                f"{clean!r} does not say when",
                "write none, between or continuous in the column",
            )
            return "continuous"
        if known is None:
            log.guess("stirring", clean, f"the words {clean!r} are not known: kept as they are written",
                      "write none, between or continuous in the column", code="unknown_word")  # fmt: skip
        return known or clean

    return mapped(cells, change)


def labels(name: str, cells: Coded, head: Heading, rows: np.ndarray, log: Log) -> Coded:
    """A column of names; warns where a spreadsheet turned labels such as 1-5 into dates.

    Parameters
    ----------
    name : str
        Column of the record table.
    cells : Coded
        Its cells.
    head : Heading
        Its heading.
    rows : ndarray
        Row of each cell in the file.
    log : Log
        Takes the problems and guesses.
    """
    joined = "".join(cells.uniques)
    if cells.numbers is None and joined.isascii() and joined.isdecimal():
        return cells  # bare numbers need no tidying
    if cells.numbers is None:
        dates = [i for i, t in enumerate(cells.uniques) if _DAMAGED.fullmatch(t)]
        if dates and name in (*FACTORS, "filling"):
            where = np.flatnonzero(np.isin(cells.codes, dates))
            log.problem(rows[where[0]], head.text, cells.uniques[cells.codes[where[0]]],
                        "a date where a name belongs: spreadsheets turn 1-5 into a date",
                        f"kept as written ({len(where)} rows)", code="date_for_name")  # fmt: skip
    return mapped(cells, tidy)


def dates(cells: Coded, head: Heading, day_first: bool | None, log: Log) -> Coded:
    """Dates as YYYY-MM-DD (with the time behind it where there is one); what is no date stays as written.

    Parameters
    ----------
    cells : Coded
        The cells.
    head : Heading
        Their heading.
    day_first : bool or None
        Whether 03/04 is a day in April; None: told by the dates.
    log : Log
        Takes the problems and guesses.
    """
    if cells.numbers is not None:
        cells = _as_text(cells)
    if cells.uniques and all(_SERIAL.fullmatch(t) for t in cells.uniques):
        shown = cells.uniques[0]
        log.guess(
            "dates", f"a spreadsheet's day numbers: {shown} is {_from_serial(shown)}", repr(head.text), "write dates"
        )
        return mapped(cells, _from_serial)
    parts = [(_NUMERIC_DATE.fullmatch(normalise(t))) for t in cells.uniques]
    found = [p for p in parts if p]
    first = any(int(p[1]) > 12 for p in found)
    second = any(int(p[3]) > 12 for p in found)
    order = day_first
    if found and order is None:
        slashes = any(p[2] != "." for p in found)
        order = not (second and not first)
        if first and second:
            log.guess("dates", "mixed: each as its numbers allow, day first where both do", found[0][0], "--dates")
        elif not first and not second and slashes:
            log.guess("dates", "day first", f"{found[0][0]!r} could be either", "--dates month-first")

    def change(text: str) -> str | None:
        clean = tidy(text)
        if clean is None:
            return None
        hit = _NUMERIC_DATE.fullmatch(clean)
        if hit is None:
            return _named_date(clean)
        day, month = (int(hit[1]), int(hit[3])) if order else (int(hit[3]), int(hit[1]))
        if month > 12:
            day, month = month, day
        year = int(hit[4]) + (2000 if len(hit[4]) == 2 else 0)
        try:
            return date(year, month, day).isoformat() + (f" {hit[5]}" if hit[5] else "")
        except ValueError:
            return clean

    return mapped(cells, change)


def _from_serial(text: str) -> str:
    """A spreadsheet's day number: days since 1899-12-30, the time of day as the fraction."""
    stamp = pd.Timestamp("1899-12-30") + pd.Timedelta(days=float(text.replace(",", ".")))
    return (
        stamp.strftime("%Y-%m-%d") if float(text.replace(",", ".")).is_integer() else stamp.strftime("%Y-%m-%d %H:%M")
    )


def _named_date(text: str) -> str:
    if re.match(r"\d{4}-\d\d-\d\d", text):
        return text.removesuffix(" 00:00:00").removesuffix("T00:00:00")
    slashed = re.fullmatch(r"(\d{4})[/.](\d{1,2})[/.](\d{1,2})(.*)", text)
    if slashed:
        return f"{slashed[1]}-{int(slashed[2]):02d}-{int(slashed[3]):02d}{slashed[4]}"
    for form in ("%d %b %Y", "%d-%b-%Y", "%d-%b-%y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%d. %B %Y", "%Y%m%d"):
        try:
            return pd.to_datetime(text, format=form).date().isoformat()
        except (ValueError, OverflowError):
            continue
    return text


def looks_like_dates(cells: Coded) -> bool:
    """Whether at least half of the different cells look like dates."""
    if cells.numbers is not None:
        return bool(len(cells.numbers)) and all(20_000 <= v <= 60_000 for v in cells.numbers[:200])
    if cells.empty:
        return False
    if all(_SERIAL.fullmatch(t) for t in cells.uniques):
        return True
    seen = cells.uniques[:200]
    hits = sum(
        bool(_NUMERIC_DATE.fullmatch(normalise(t)))
        or _named_date(normalise(t)) != t
        or bool(re.match(r"\d{4}-\d\d-\d\d", t))
        for t in seen
    )
    return hits >= len(seen) / 2


def extra(cells: Coded) -> pd.Series:
    """A column of the file's own: numbers when every cell is plainly one, otherwise text."""
    if cells.numbers is not None:
        return pd.Series(cells.numbers)
    texts = pd.Series(cells.uniques, dtype=object)
    plain = texts.str.fullmatch(r"-?(?:0|[1-9]\d{0,14})(?:\.\d+)?").astype(bool) if len(texts) else texts
    if len(texts) and plain.all():
        values = np.append(pd.to_numeric(texts).to_numpy(dtype=float), np.nan)[cells.codes]
        whole = not texts.str.contains(".", regex=False).any() and not np.isnan(values).any()
        return pd.Series(values.astype(np.int64) if whole else values)
    return text_series(mapped(cells, lambda t: normalise(t) or None))


def text_series(cells: Coded, mask: np.ndarray | None = None) -> pd.Series:
    """A coded column as text, or its rows where ``mask`` is true; empty cells are missing."""
    if cells.source is not None:
        kept = cells.source if mask is None else cells.source.filter(pyarrow.array(mask))
        return pd.Series(pd.array(kept, dtype="str"))
    codes = cells.codes if mask is None else cells.codes[mask]
    if cells.empty:
        return no_text(len(codes))
    pool = pd.array(cells.uniques, dtype="str")
    return pd.Series(pool.take(codes, allow_fill=bool(codes.min(initial=0) < 0)))


def one_text(text: str, size: int) -> pd.Series:
    """A text column whose cells are all alike."""
    if pyarrow is not None:
        return pd.Series(pd.array(pyarrow.repeat(pyarrow.scalar(text, pyarrow.large_string()), size), dtype="str"))
    return pd.Series(pd.array([text], dtype="str").repeat(size))


@lru_cache(maxsize=1)
def no_number(size: int) -> pd.Series:
    """A column of nothing but missing numbers."""
    return pd.Series(np.full(size, np.nan))


@lru_cache(maxsize=1)
def no_text(size: int) -> pd.Series:
    """A text column of nothing but missing cells."""
    return pd.Series(pd.array([pd.NA], dtype="str").repeat(size))


def labels_of(table: pd.DataFrame, name: str, where: np.ndarray, texts: list[str]) -> None:
    """Write these texts into the rows of a text column where ``where`` is True, in place; a list has one for each.

    Parameters
    ----------
    table : DataFrame
        Rows (n); changed in place.
    name : str
        Column that is written.
    where : ndarray
        (n,) Which rows.
    texts : list of str
        One text for all of these rows, or a list with one for each.
    """
    new = table[name].to_numpy(dtype=object, copy=True)
    new[where] = texts
    table[name] = pd.Series(new, index=table.index, dtype="str")

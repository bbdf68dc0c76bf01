"""The grammar of one cell: what somebody typed where a voltage was expected.

Cells arrive as text. A cell is a number (perhaps with a unit and a remark behind it), a number that was
withstood (``>60``, ``60+``), words that say that no breakdown came (``NB``), nothing, or something that cannot
be a breakdown voltage and is refused with the rule that it breaks.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

BLANK, VALUE, WITHSTOOD, NO_BREAKDOWN, REFUSED = range(5)

_SPACES = dict.fromkeys(map(ord, "\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000\t\r\n"), " ")  # fmt: skip
_HIDDEN = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff\u00ad"), None)
_SIGNS = {
    **dict.fromkeys(map(ord, "\u2212\u2010\u2011\u2012\u2013\u2014\ufe63\uff0d"), "-"),
    **dict.fromkeys(map(ord, "\u2019\u2018\u02bc\u00b4\u2032`"), "'"),
    0x066B: ".", 0x066C: "'", 0x060C: ",",
}  # fmt: skip
_MARKS: dict[int, str | None] = {**_SPACES, **_HIDDEN, **_SIGNS}

_NUMBER = r"[+-]?(?:\d[\d.,']*(?: \d{3}(?:[\d.,']*))*|[.,]\d+)(?:[eE][+-]?\d+)?"
_UNIT = r"(?:kv|v|volts?|kilovolts?)(?:\s*/\s*(?:mm|cm)|\s*(?:\(?(?:rms|eff|peak|pk|p)\)?))?|mv/m"
_CELL = re.compile(
    rf"(?P<prefix>>=|=>|>|<=|=<|<|≥|≧|≤|≦|over |above |more than |greater than |at least |under |below |less than )?"
    rf"\s*(?P<number>{_NUMBER})\s*(?P<plus>\+(?!/))?\s*(?P<unit>(?:{_UNIT})(?![a-z]|\.\s*[a-z]))?\s*(?P<plus2>\+(?!/))?(?P<rest>.*)",
    re.IGNORECASE | re.DOTALL,
)
_HIGH = {">", ">=", "=>", "≥", "≧", "over", "above", "more than", "greater than", "at least"}

#: Words for "the ceiling was reached and no arc came". FS is full scale.
NO_BREAKDOWN_WORDS = frozenset(
    "nb,nbd,n/b,no bd,no b/d,no bdv,no breakdown,none at ceiling,no break,no arc,no flashover,no trip,fs,full scale,"
    "fullscale,f.s.,ws,withstood,withstand,w/s,held,hold,passed ceiling,ceiling,max reached,ol,overrange,over range,"
    "kein durchschlag,kd,pas de claquage,sin ruptura,no rompe,sem ruptura,nessuna scarica".split(",")
)
_NO_BREAKDOWN_AT = re.compile(
    rf"(?P<words>[a-z/. ]+?)\s*(?:at|@|to|up to|till|until|bis|a|\(|:|,)?\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?\s*\)?",
    re.IGNORECASE,
)
_BLANKS = frozenset(
    ["", "-", "--", "---", "n/a", "na", "nan", "null", "none", "nil", "n.a.", "not tested", "not measured", "nt", "n.t.", "/", "."]
)  # fmt: skip
_ERROR = re.compile(r"#(?:ref|div/0|value|n/?a|name|num|null|spill|calc|getting_data)[!?]?|#+|err:\d+", re.IGNORECASE)
_MONTH = "jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"
_DATE = re.compile(
    rf"\d{{4}}-\d\d-\d\d(?:[ T].*)?|\d{{1,2}}[-/. ](?:{_MONTH})[a-z]*(?:[-/. ]\d{{2,4}})?|(?:{_MONTH})[a-z]*[- ]\d{{1,4}}"
    r"|\d{1,2}(?P<sep>[/.-])\d{1,2}(?P=sep)\d{2,4}|\d{1,2}:\d{2}(?::\d{2})?",
    re.IGNORECASE,
)
_FORMULA = re.compile(r"=.+", re.DOTALL)


@dataclass(frozen=True)
class Cell:
    """What one cell says. ``value`` is in ``unit`` (None: the column's); ``rule`` is set when it is refused."""

    kind: int
    value: float = float("nan")
    unit: str | None = None
    note: str | None = None
    rule: str | None = None


def normalise(text: str) -> str:
    """One spelling for what looks the same: full-width and other digits, minus signs, spaces, apostrophes.

    NFKC first (so that full-width digits and squared units become plain), then every decimal digit of any
    script becomes 0-9. Zero-width characters go.
    """
    out = text.translate(_MARKS)
    if not out.isascii():
        out = unicodedata.normalize("NFKC", out).translate(_MARKS)
        out = "".join(str(unicodedata.decimal(c)) if not c.isascii() and c.isdecimal() else c for c in out)
    out = out.strip()
    if len(out) > 3 and out.startswith('="') and out.endswith('"'):  # a number kept as text by a spreadsheet
        out = out[2:-1].strip()
    if out.startswith("'") and len(out) > 1:
        out = out[1:].strip()
    return " ".join(out.split())


def number(token: str, decimal: str | None = None) -> float | None:
    """Read a number that may carry thousands marks; None when the marks contradict each other.

    ``decimal`` is the file's decimal mark if known. A single mark that is not the file's and stands before
    exactly three digits is a thousands mark; before any other count of digits it can only be a decimal mark.
    """
    token = token.strip().rstrip(".,'") if not token.strip().isdigit() else token.strip()
    mantissa, _, exponent = token.replace("E", "e").partition("e")
    sign = -1.0 if mantissa.startswith("-") else 1.0
    body = mantissa.lstrip("+-")
    marks = [c for c in body if not c.isdigit()]
    plain: str | None
    if not marks:
        plain = body
    else:
        kinds = set(marks)
        last = max(kinds, key=body.rfind)
        head, _, tail = body.rpartition(last)
        single = marks.count(last) == 1
        if len(kinds) == 1:
            grouped = _grouped(body, last)
            if last == " " or (last == "'" and grouped):
                plain = body.replace(last, "") if grouped else None
            elif not single:
                plain = body.replace(last, "") if grouped else None
            elif grouped and decimal is not None and last != decimal:
                plain = body.replace(last, "")
            else:
                plain = f"{head or '0'}.{tail}"
        elif single and len(kinds) == 2 and last != " ":
            other = next(iter(kinds - {last}))
            plain = f"{head.replace(other, '')}.{tail}" if _grouped(head, other) else None
        else:
            plain = None
    if plain is None:
        return None
    try:
        return sign * float(plain + (f"e{exponent}" if exponent else ""))
    except ValueError:
        return None


def _grouped(body: str, mark: str) -> bool:
    """Whether ``mark`` cuts the digits as a thousands mark does: 1 to 3 digits, then threes."""
    first, *rest = body.split(mark)
    return first.isdigit() and len(first) <= 3 and first != "0" and all(len(r) == 3 and r.isdigit() for r in rest)


def unit_of(text: str | None) -> str | None:
    """One name for a unit of voltage: ``kV``, ``V``, ``kVp``, ``Vp``, ``kV/mm``, ``kV/cm``; None for any other."""
    key = re.sub(r"[\s().\[\]_]", "", (text or "").casefold())
    return _UNITS.get(key)


_UNITS = {
    "kv": "kV", "kvrms": "kV", "kveff": "kV", "kvac": "kV", "kilovolt": "kV", "kilovolts": "kV", "rmskv": "kV",
    "v": "V", "volt": "V", "volts": "V", "vrms": "V", "vac": "V",
    "kvp": "kVp", "kvpk": "kVp", "kvpeak": "kVp", "peakkv": "kVp", "kvcrest": "kVp",
    "vp": "Vp", "vpk": "Vp", "vpeak": "Vp",
    "kv/mm": "kV/mm", "kvmm": "kV/mm", "mv/m": "kV/mm", "kv/cm": "kV/cm", "kvcm": "kV/cm",
}  # fmt: skip


@lru_cache(maxsize=100_000)
def parse(text: str, decimal: str | None = None, withstood_words: frozenset[str] = frozenset()) -> Cell:
    """Read one cell of a voltage column.

    Parameters
    ----------
    text : str
        The cell as it was written.
    decimal : "." or ",", optional
        The decimal mark of the column.
    withstood_words : frozenset of str
        More words (lower case) that mean "no breakdown up to the ceiling".
    """
    clean = normalise(text)
    low = clean.casefold()
    if low in withstood_words or low.strip(" .()*") in NO_BREAKDOWN_WORDS:
        return Cell(NO_BREAKDOWN, note=clean)
    if low in _BLANKS:
        return Cell(BLANK)
    if _ERROR.fullmatch(clean):
        return Cell(REFUSED, rule="the spreadsheet shows an error here, not a number")
    if _FORMULA.fullmatch(clean):
        return Cell(REFUSED, rule="a formula without its computed value: open and save the sheet, or paste values")
    if _DATE.fullmatch(clean):
        return Cell(REFUSED, rule="a date or time where a voltage belongs: spreadsheets turn 1-5 or 5.8 into a date")
    found = _CELL.fullmatch(clean)
    if found is None:
        return _words(clean, decimal)
    return _numeric(clean, found, decimal)


def _words(clean: str, decimal: str | None) -> Cell:
    """A cell that does not start with a number: perhaps ``no breakdown at 60``."""
    found = _NO_BREAKDOWN_AT.fullmatch(clean)
    if found and found["words"].casefold().strip(" .") in NO_BREAKDOWN_WORDS | {"no bd at", "nb at"}:
        value = number(found["number"], decimal)
        if value is not None and value > 0:
            return Cell(WITHSTOOD, value, unit_of(found["unit"]), note=clean)
    if clean.casefold().strip(" .!").split(" ")[0] in ("inf", "infinity", "∞"):
        return Cell(REFUSED, rule="a breakdown voltage is a finite number")
    return Cell(REFUSED, rule="words where a voltage belongs")


def _numeric(clean: str, found: re.Match[str], decimal: str | None) -> Cell:
    prefix = (found["prefix"] or "").casefold().strip()
    rest = found["rest"].strip()
    value = number(found["number"], decimal)
    if value is None:
        return Cell(REFUSED, rule="the marks in this number contradict each other (decimal or thousands?)")
    unit = unit_of(found["unit"])
    if rest and re.match(r"[\d]|[-–/;:]\s*\d|\+/-|±|to \d|and \d|&\s*\d", rest.casefold()):
        return Cell(REFUSED, rule="more than one number in the cell")
    if rest.startswith("%"):
        return Cell(REFUSED, rule="a percentage where a voltage belongs")
    if value < 0 or value == 0:
        return Cell(REFUSED, rule="a breakdown voltage is above zero; 0 and negative codes stand for no reading")
    if value == float("inf"):
        return Cell(REFUSED, rule="a breakdown voltage is a finite number")
    if prefix and prefix not in _HIGH:
        return Cell(REFUSED, rule="below what the instrument shows: a bound from above cannot be used as a value")
    note = rest.strip(" ;,:-") or None
    words = (note or "").casefold().strip(" ().*!")
    high = bool(prefix or found["plus"] or found["plus2"])
    if high or words in NO_BREAKDOWN_WORDS or re.search(r"\bno (?:bd|breakdown|arc)\b|\bwithst", words):
        return Cell(WITHSTOOD, value, unit, note=note)
    return Cell(VALUE, value, unit, note=note)

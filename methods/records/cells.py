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

_SPACES = dict.fromkeys(
    [0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000, 0x09, 0x0D, 0x0A], " "
)  # no-break, thin and wide spaces, tabs, line ends
_HIDDEN = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff\u00ad"), None)
_SIGNS = {
    **dict.fromkeys(map(ord, "\u2212\u2010\u2011\u2012\u2013\u2014\ufe63\uff0d"), "-"),
    **dict.fromkeys(map(ord, "\u2019\u2018\u02bc\u00b4\u2032`"), "'"),
    0x066B: ".", 0x066C: "'", 0x060C: ",",
}  # fmt: skip
_MARKS: dict[int, str | None] = {**_SPACES, **_HIDDEN, **_SIGNS}

_NUMBER = r"[+-]?(?:\d[\d.,']*(?: \d{3}(?:[\d.,']*))*|[.,]\d+)(?:[eE][+-]?\d+)?"
_UNIT = r"(?:kv|кв|v|в|volts?|kilovolts?)(?:\s*/\s*(?:mm|cm|мм|см)|\s*(?:\(?(?:rms|eff|peak|pk|p)\)?))?|mv/m"
_CELL = re.compile(
    rf"(?P<prefix>>=|=>|>|<=|=<|<|≥|≧|≤|≦|over |above |more than |greater than |at least |under |below |less than )?"
    rf"\s*(?P<number>{_NUMBER})\s*(?P<plus>\+(?!/))?\s*(?P<unit>(?:{_UNIT})(?![a-z]|\.\s*[a-z]))?\s*(?P<plus2>\+(?!/))?(?P<rest>.*)",
    re.IGNORECASE | re.DOTALL,
)
_HIGH = {">", ">=", "=>", "≥", "≧", "over", "above", "more than", "greater than", "at least"}

#: Words for "the ceiling was reached and no arc came". FS is full scale, OL overload, OR over range.
NO_BREAKDOWN_WORDS = frozenset(
    (
        "nb,nbd,n/b,no bd,no b/d,no bdv,no breakdown,none at ceiling,no break,no arc,no flashover,no trip,fs,"
        "full scale,"
        "fullscale,f.s.,ws,withstood,withstand,w/s,held,hold,passed ceiling,ceiling,max reached,ol,overrange,"
        "over range,"
        "or,o/r,over limit,overload,no failure,did not break down,>fs,>max,> fs,> max,>limit,> limit,"
        "kein durchschlag,kein ds,ohne durchschlag,gehalten,kd,pas de claquage,sans claquage,tenu,sin ruptura,"
        "sin perforación,sin perforacion,no rompe,no perfora,sem ruptura,sem descarga,suportou,nessuna scarica,"
        "nessuna perforazione,brak przebicia,bez przebicia"
    ).split(",")
)
_NO_BREAKDOWN_AT = re.compile(
    r"(?P<words>[^\W\d][^\W\d/. ]*(?:[/. ]+[^\W\d]+)*?)\s*(?:at|@|to|up to|till|until|bis|bei|à|a|do|przy|\(|:|,)?\s*"
    rf"(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?\s*\)?(?:\s+\d+\s*(?:min|s)\b)?",
    re.IGNORECASE,
)
_BLANKS = frozenset(
    (
        ",-,--,---,----,n/a,na,nan,null,none,nil,n.a.,not tested,not measured,nt,n.t.,/,.,…,...,nicht geprüft,"
        "non testé,no ensayado,nie badano"
    ).split(",")
)
_ABOUT = re.compile(
    r"(?:~|≈|≃|∼|ca\.?|circa|about|approx\.?(?:imately)?|abt\.?|etwa|env\.?|environ|aprox\.?|ok\.)\s*\d"
)
_OTHER_QUANTITY = re.compile(
    r"(?:mm|cm|µm|um|μm|hz|khz|°\s*[cf]|degc|k?ω|m?ω|ma|µa|μa|mv|gv|kw|ppm|mg/kg|mins?|sec|rpm|bar|kv/s|v/s|kv/min)\b.*"
    r"|(?:in|s|c|mil)",
    re.IGNORECASE,
)
_WITHSTOOD_REMARK = re.compile(
    r"\bno (?:bd|breakdown|arc|flashover|failure)\b|\bwithst|^held\b|^(?:not broken|did not break)|"
    r"^(?:kein durchschlag|ohne durchschlag|pas de claquage|sans claquage|sin ruptura|sin perfor|sem ruptura|"
    r"sem descarga|"
    r"nessuna (?:scarica|perfor)|brak przebicia|bez przebicia)"
)
_UNCLEAR_END = frozenset("max,maximum,limit,lim,↑,up,cap,top,end of range,stop,stopped,no,>,≥".split(","))
_ERROR = re.compile(r"#(?:ref|div/0|value|n/?a|name|num|null|spill|calc|getting_data)[!?]?|#+|err:\d+", re.IGNORECASE)
_MONTH = "jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"
_DATE = re.compile(
    rf"\d{{4}}-\d\d-\d\d(?:[ T].*)?|\d{{1,2}}[-/. ](?:{_MONTH})[a-z]*(?:[-/. ]\d{{2,4}})?"
    rf"|(?:{_MONTH})[a-z]*[- ]\d{{1,4}}"
    r"|\d{1,2}(?P<sep>[/.-])\d{1,2}(?P=sep)\d{2,4}|\d{1,2}:\d{2}(?::\d{2})?",
    re.IGNORECASE,
)
_FORMULA = re.compile(r"=.+", re.DOTALL)


#: Numbers outside are no reading in any unit: their squares no longer add up.
SMALLEST, LARGEST = 1e-9, 1e9
#: Characters of a number with its remark.
_LONGEST = 1_000


@dataclass(frozen=True)
class Cell:
    """What one cell says. ``value`` is in ``unit`` (None: the column's); ``rule`` is set when it is refused."""

    kind: int
    value: float = float("nan")
    unit: str | None = None
    note: str | None = None
    rule: str | None = None


_MIDDLE_DOT = re.compile(r"(?<=\d)[\u00b7\u22c5\u2219\u30fb](?=\d)")


def _apart(character: str) -> str:
    """Keep NFKC from making ``58.41`` of ``58.4¹``."""
    if character.isascii() or "\u2080" <= character <= "\u2089" or unicodedata.category(character) != "No":
        return character
    return "^" + character if unicodedata.normalize("NFKC", character) != character else character


@lru_cache(maxsize=65_536)  # a column shows the same few cells again and again
def normalise(text: str) -> str:
    """One spelling for what looks the same: full-width and other digits, minus signs, spaces, apostrophes.

    NFKC first (so that full-width digits and squared units become plain), then every decimal digit of any
    script becomes 0-9. Zero-width characters go. A raised or circled figure is a footnote's mark, not a digit
    of the number: ``58.4¹`` becomes ``58.4^1``. A middle dot between digits is a decimal point.
    """
    out = text.translate(_MARKS)
    if not out.isascii():
        out = "".join(_apart(c) for c in out)
        out = _MIDDLE_DOT.sub(".", out)
        out = unicodedata.normalize("NFKC", out).translate(_MARKS)
        out = "".join(str(unicodedata.decimal(c)) if not c.isascii() and c.isdecimal() else c for c in out)
    out = out.strip()
    if len(out) > 3 and out.startswith('="') and out.endswith('"'):  # a number kept as text by a spreadsheet
        out = out[2:-1].strip()
    if out.startswith("'") and len(out) > 1:
        out = out[1:].strip()
    return " ".join(out.split())


def parse_number(token: str, decimal: str | None = None) -> float | None:
    """Read a number that may carry thousands marks; None when the marks contradict each other.

    ``decimal`` is the file's decimal mark if known. A single mark that is not the file's and stands before
    exactly three digits is a thousands mark; before any other count of digits it can only be a decimal mark.
    """
    token = token.strip().rstrip(".,'") if not token.strip().isdecimal() else token.strip()
    mantissa, _, exponent = token.replace("E", "e").partition("e")
    sign = -1.0 if mantissa.startswith("-") else 1.0
    body = mantissa.lstrip("+-")
    marks = [c for c in body if not c.isdecimal()]
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
    return first.isdecimal() and len(first) <= 3 and first != "0" and all(len(r) == 3 and r.isdecimal() for r in rest)


def is_date(text: str) -> bool:
    """Whether a cell reads as a date or a time of day."""
    return _DATE.fullmatch(normalise(text)) is not None


def unit_of(text: str | None) -> str | None:
    """One name for a unit of voltage: ``kV``, ``V``, ``kVp``, ``Vp``, ``kV/mm``, ``kV/cm``; None for any other."""
    key = re.sub(r"[\s().\[\]_]", "", (text or "").casefold())
    return _UNITS.get(key)


_UNITS = {
    "кв": "kV", "в": "V", "кв/мм": "kV/mm", "кв/см": "kV/cm", "千伏": "kV",
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
    if len(text) > _LONGEST:
        return Cell(REFUSED, rule=f"more than {_LONGEST:,} characters where a voltage belongs")
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
    if "\u2044" in clean:
        return Cell(REFUSED, rule="a fraction where a voltage belongs: write it with a decimal mark")
    found = _CELL.fullmatch(re.sub(r"^kv\s*(?=\d)", "", clean, flags=re.IGNORECASE))
    if found is None:
        return _words(clean, decimal)
    return _numeric(clean, found, decimal)


def _words(clean: str, decimal: str | None) -> Cell:
    """A cell that does not start with a number: perhaps ``no breakdown at 60``."""
    found = _NO_BREAKDOWN_AT.fullmatch(clean)
    if found and found["words"].casefold().strip(" .") in NO_BREAKDOWN_WORDS | {"no bd at", "nb at"}:
        value = parse_number(found["number"], decimal)
        if value is not None and value > 0:
            return Cell(WITHSTOOD, value, unit_of(found["unit"]), note=clean)
    if clean.casefold().strip(" .!").split(" ")[0] in ("inf", "infinity", "∞"):
        return Cell(REFUSED, rule="a breakdown voltage is a finite number")
    if _ABOUT.match(clean.casefold()):
        return Cell(REFUSED, rule="an approximate value in words: write the reading itself")
    return Cell(REFUSED, rule="words where a voltage belongs")


def _clash(rest: str, clean: str) -> str | None:
    """The rule broken by what stands behind a number, if it is more than a remark."""
    low = rest.casefold()
    if not low:
        return None
    if re.match(r"\+\s*/?\s*-|±|\(\s*±|\(?\s*(?:sd|s\.d\.|std)\b|\(\s*\d+[.,]\d+\s*(?:kv)?\s*\)", low):
        return "a mean with its spread, not one breakdown"
    if re.match(r"\(?\s*[x×*·]\s*10\s*\^?", low):
        return "a power of ten: write the number plainly"
    if re.match(r"\d|[x×*]\s*\d|[^\w\s(^]{1,3}\s*\d|_\d|(?:to|and|or|bis|oder|ou|et|und|y|o|e|lub|then|/)\s*\d", low):
        return "more than one number in the cell"
    if re.match(r"[oli](?![a-z])", low) and not clean.endswith((" " + rest, ")")):
        return "a letter among the digits: O for 0, or l for 1?"
    if low.startswith("%"):
        return "a percentage where a voltage belongs"
    if _OTHER_QUANTITY.fullmatch(low) and low not in NO_BREAKDOWN_WORDS:
        return "a unit that is not one of voltage (kV, V)"
    if low.strip(" ().!") in _UNCLEAR_END:
        return "a remark that may mean the ceiling was reached: write >75 for withstood, 75 for a breakdown"
    return None


def _numeric(clean: str, found: re.Match[str], decimal: str | None) -> Cell:
    prefix = (found["prefix"] or "").casefold().strip()
    rest = found["rest"].strip()
    value = parse_number(found["number"], decimal)
    if value is None:
        return Cell(REFUSED, rule="the marks in this number contradict each other (decimal or thousands?)")
    unit = unit_of(found["unit"])
    clash = _clash(rest, clean)
    if found["unit"] and unit is None:
        clash = "a unit that is not one of voltage (kV, V)"
    if clash is not None:
        return Cell(REFUSED, rule=clash)
    if rest.casefold() == "k":  # 58.4k
        unit, rest = "kV", ""
    if value < 0 or value == 0:
        return Cell(REFUSED, rule="a breakdown voltage is above zero; 0 and negative codes stand for no reading")
    if not SMALLEST < value < LARGEST:
        return Cell(REFUSED, rule="a breakdown voltage is a finite number that a test can give")
    if prefix and prefix not in _HIGH:
        return Cell(REFUSED, rule="below what the instrument shows: a bound from above cannot be used as a value")
    note = rest.strip(" ;,:-") or None
    words = (note or "").casefold().strip(" ().*!")
    high = bool(prefix or found["plus"] or found["plus2"]) or words == "+"
    if high or words in NO_BREAKDOWN_WORDS or _WITHSTOOD_REMARK.search(words):
        return Cell(WITHSTOOD, value, unit, note=note)
    return Cell(VALUE, value, unit, note=note)

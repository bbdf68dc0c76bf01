"""A workbook's parts before its cells are laid out: how far they reach, and what cells alone do not show.

A spreadsheet names each cell by its place, so that a file of a few KB can ask for thousands of millions of them. The
parts are looked through as bytes, a piece at a time, with patterns that never go back.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree import ElementTree

from methods.errors import UnusableFile
from methods.records.sheet_marks import marks_of

#: Unpacked size beyond which a workbook is refused, and how many sheets one may have.
MAX_UNPACKED = 1_200_000_000
MAX_SHEETS = 1_000
#: Cells of a sheet laid out in full, the empty ones too; how many for each that is there, and from where that counts.
MAX_LAID_OUT = 80_000_000
_EMPTY_FOR_EACH, _FROM = 50, 5_000_000
#: Texts that a workbook's list may announce, and cells that merged ranges may fill.
_MOST_TEXTS = 30_000_000
MAX_MERGED = 20_000_000
_PIECE = 1 << 22
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384

_SPACE = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_TAG = rb"<(?:[A-Za-z][A-Za-z0-9]{0,19}:)?"
_HIDDEN = re.compile(_TAG + rb"row\s([^<>]*)>")
_IS_HIDDEN = re.compile(rb'\bhidden="(?:1|true)"')
_CELL = re.compile(_TAG + rb"c(?=[\s/>])")
_BEYOND = re.compile(rb'\sr="(\$?[A-Z]+(?:[0-9]{8,}|[2-9][0-9]{6}))"')
_PLACE = re.compile(rb'\sr="([A-Z]{1,9})([0-9]{1,18})"')
_FORMULA = re.compile(_TAG + rb"f(?:\s[^<>]*)?(?:/>|>([^<]*))")
_VALUE = re.compile(_TAG + rb"v(?:\s[^<>]*)?>\s*([^<\s][^<]*)")
_MERGED = re.compile(_TAG + rb'mergeCell\s(?:[^<>]*?\s)?ref="([A-Z]{1,9})([0-9]{1,18}):([A-Z]{1,9})([0-9]{1,18})"')
_COUNT = re.compile(rb'(?:uniqueCount|count)="([0-9]+)"')


@dataclass
class SheetFacts:
    """What the cells alone do not show; rows and columns from 0, ``hidden`` as the user counts rows."""

    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    hidden: set[int] = field(default_factory=set)
    uncomputed: dict[tuple[int, int], str] = field(default_factory=dict)
    rows: int = 0
    columns: int = 0
    cells: int = 0
    far: str = ""  # a cell that lies outside any sheet


def sheet_facts(raw: bytes) -> dict[str, SheetFacts]:
    """What each sheet of an XLSX workbook holds, by its name; nothing for another kind of archive.

    Raises
    ------
    UnusableFile
        No intact archive, no workbook, more than it may unpack to, too many sheets, or cells too far apart.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            return _facts(archive)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError) as error:
        if isinstance(error, UnusableFile):
            raise
        raise UnusableFile(
            "The workbook is damaged: it is no intact ZIP archive.", rule="an intact XLSX file"
        ) from None


def _facts(archive: zipfile.ZipFile) -> dict[str, SheetFacts]:
    unpacked = sum(i.file_size for i in archive.infolist())
    if unpacked > MAX_UNPACKED:
        raise UnusableFile(
            f"The workbook unpacks to {unpacked / 1e6:,.0f} MB; the limit is {MAX_UNPACKED / 1e6:,.0f} MB.",
            rule="size limit",
        )
    names = set(archive.namelist())
    if "xl/workbook.xml" not in names or "xl/_rels/workbook.xml.rels" not in names:
        if not any(n.startswith(("xl/", "content.xml")) for n in names):
            raise UnusableFile("This ZIP archive is not a workbook.", rule="CSV, TSV, XLSX or Parquet")
        return {}
    parts = _parts(archive, names)
    if len(parts) > MAX_SHEETS:
        raise UnusableFile(
            f"The workbook has {len(parts):,} sheets; the limit is {MAX_SHEETS:,}.", rule="number of sheets"
        )
    if "xl/sharedStrings.xml" in names:
        _check_texts(archive)
    out = {}
    for name, path in parts.items():
        out[name] = _look_through(archive, path)
        _check_reach(name, out[name])
    return out


def _parts(archive: zipfile.ZipFile, names: set[str]) -> dict[str, str]:
    """The part of each sheet, by the sheet's name."""
    try:
        for path in ("xl/workbook.xml", "xl/_rels/workbook.xml.rels"):
            if b"<!DOCTYPE" in archive.read(path)[:100_000]:
                raise UnusableFile("The workbook defines entities of its own.", rule="a workbook without a DOCTYPE")
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        links = {
            e.get("Id"): e.get("Target") or ""
            for e in ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        }
    except (ElementTree.ParseError, LookupError):
        return {}
    out = {}
    for element in book.iter(f"{_SPACE}sheet"):
        target = links.get(element.get(_RELATION), "").lstrip("/")
        path = target if target.startswith("xl/") else f"xl/{target}"
        if path in names:
            out[str(element.get("name"))] = path
    return out


def _check_texts(archive: zipfile.ZipFile) -> None:
    """The list of texts: what it announces is made room for before it is read."""
    with archive.open("xl/sharedStrings.xml") as stream:
        piece = stream.read(4096)
        announced = max((int(n) for n in _COUNT.findall(piece) if len(n) < 19), default=0)
        texts = 0
        while piece:
            texts += piece.count(b"si>")
            piece = stream.read(_PIECE)
    if announced > _MOST_TEXTS or texts > 2 * _MOST_TEXTS:
        raise UnusableFile(
            f"The workbook's list of texts announces {announced:,} and holds {texts // 2:,} of them; the limit is "
            f"{_MOST_TEXTS:,}.", rule="size limit",
        )  # fmt: skip


def _check_reach(name: str, facts: SheetFacts) -> None:
    if facts.far:
        raise UnusableFile(
            f"Sheet {name!r} names a cell that no sheet has ({facts.far}): save it again.", rule="an intact XLSX file"
        )
    laid_out = facts.rows * facts.columns
    if laid_out > MAX_LAID_OUT or (laid_out > _FROM and laid_out > _EMPTY_FOR_EACH * max(facts.cells, 1)):
        raise UnusableFile(
            f"Sheet {name!r} holds {facts.cells:,} cells, but they reach to row {facts.rows:,} and column "
            f"{facts.columns:,}: delete what stands far outside the table.", rule="cells that lie together",
        )  # fmt: skip


def _pieces(archive: zipfile.ZipFile, path: str) -> Iterator[bytes]:
    """The part in pieces that end where a tag begins, at the end of a row where there is one."""
    rest = b""
    with archive.open(path) as stream:
        while read := stream.read(_PIECE):
            read = rest + read
            cut = read.rfind(b"row>") + 4
            if cut < 4:
                cut = read.rfind(b"<")
            if cut <= 0 or len(read) > 16 * _PIECE:
                cut = len(read)
            rest = read[cut:]
            yield read[:cut]
    if rest:
        yield rest


def _look_through(archive: zipfile.ZipFile, path: str) -> SheetFacts:
    facts = SheetFacts()
    for piece in _pieces(archive, path):
        marks = marks_of(piece)
        facts.rows = max(facts.rows, marks.rows)
        facts.cells += marks.cells
        facts.columns = max(facts.columns, marks.columns)
        beyond = _BEYOND.search(piece) if marks.far else None
        if beyond is not None or facts.columns > _LAST_COLUMN or facts.rows > _LAST_ROW:
            facts.far = beyond[1].decode() if beyond else f"row {facts.rows:,}, column {facts.columns:,}"
            return facts
        if marks.hidden:
            for attributes in _HIDDEN.findall(piece):
                found = re.search(rb'\br="([0-9]{1,9})"', attributes)
                if found and _IS_HIDDEN.search(attributes):
                    facts.hidden.add(int(found[1]))
        if marks.formulas:
            _uncomputed(piece, facts)
        if marks.merged:
            for left, top, right, bottom in _MERGED.findall(piece):
                facts.merged.append((int(top) - 1, _number(left) - 1, int(bottom) - 1, _number(right) - 1))
    facts.merged = list(dict.fromkeys(facts.merged))
    return facts


def _uncomputed(piece: bytes, facts: SheetFacts) -> None:
    """Formulas without a value, and errors that the spreadsheet shows."""
    for cell in _CELL.split(piece)[1:]:
        formula = _FORMULA.search(cell)
        error = b't="e"' in cell[: cell.find(b">")]
        if formula is None and not error:
            continue
        value, place = _VALUE.search(cell), _PLACE.search(cell[: cell.find(b">") + 1])
        if place is None or (value is not None and not error):
            continue
        at = int(place[2]) - 1, _number(place[1]) - 1
        if value is not None:
            facts.uncomputed[at] = _plain(value[1])
        elif formula is not None:
            facts.uncomputed[at] = "=" + (_plain(formula[1] or b"") or "…")


def _plain(text: bytes) -> str:
    shown = text.decode("utf-8", errors="replace").strip()
    for name, mark in (("&lt;", "<"), ("&gt;", ">"), ("&quot;", '"'), ("&apos;", "'"), ("&amp;", "&")):
        shown = shown.replace(name, mark)
    return shown


def _number(letters: bytes) -> int:
    """A column's number, from 1."""
    out = 0
    for letter in letters[:12]:
        out = out * 26 + letter - 64
    return out


def fill_merged(texts: list[list[str]], facts: SheetFacts) -> None:
    """Give each cell of a column that is merged downwards the text of the first, in place.

    Headings that span columns are carried by the shape reader.
    """
    width, filled = max(map(len, texts), default=0), 0
    for top, left, bottom, right in facts.merged:
        if top == bottom or left != right or not (0 <= top < len(texts)) or left >= min(width, len(texts[top])):
            continue
        last = min(bottom + 1, len(texts))
        filled += last - top
        if filled > MAX_MERGED:
            raise UnusableFile(f"The merged ranges hold more than {MAX_MERGED:,} cells.", rule="size limit")
        text = texts[top][left]
        if not text:
            continue
        for row in range(top + 1, last):
            if left < len(texts[row]) and not texts[row][left]:
                texts[row][left] = text

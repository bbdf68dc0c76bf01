"""From bytes to text cells: encoding, delimiter, and the line on which each record starts."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
from collections import Counter
from dataclasses import dataclass, field

from methods.errors import UnusableFile
from methods.records.coded import Coded

#: Beyond this a file is refused with a clear word instead of filling the memory.
MAX_ROWS = 20_000_000
MAX_COLUMNS = 2_000

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}


@dataclass(frozen=True)
class Said:
    """One thing that is said of all readings of a table: ``level`` 0 by hand, 1 the title of the table, 2 a line of
    the sheet, 3 the sheet's name, 4 the file's name; ``place`` says it in words."""

    name: str
    text: str
    place: str
    level: int


@dataclass
class Sheet:
    """Text cells of one sheet. ``rows`` holds each record's number as the user sees it, from 1."""

    cells: list[list[str]]
    rows: list[int]
    name: str = ""
    hidden: frozenset[int] = frozenset()
    text: str | None = None  # the whole text, when only its head was cut into cells
    raw: bytes | None = None  # or its bytes, where they are plain ASCII
    columns: list[Coded] | None = None  # or all its cells by columns, from row 1 on; see plain_sheet
    delimiter: str = ""
    cols: list[int] | None = None  # the file's column of each cell of a row, where not 1, 2, 3 ...
    sizes: list[int] | None = None  # how many cells each row has in the file, where ``cells`` are filled up
    head: int | None = None  # where in ``cells`` the headings stand, when that is settled
    context: tuple[Said, ...] = ()  # what stands around the table: titles, the names of sheet and file
    hidden_sheet: bool = False
    aside: list[Sheet] = field(default_factory=list)  # its tables, where they are not read for its name
    wanted: bool = False  # somebody asked for this sheet by its name
    legend: dict[str, dict[str, str]] = field(default_factory=dict)  # what letters of the sheet stand for
    turned: bool = False  # rows and columns have changed places: ``rows`` are the file's columns, ``cols`` its rows
    title: str | None = None  # the line above, where one sheet holds several tables
    said: bool = False  # a recipe says where the table stands
    means: dict[int, str] = field(default_factory=dict)  # then: what the headings of columns mean
    notes: list[tuple[str, str, str]] = field(default_factory=list)

    def with_cells(self, cells: list[list[str]]) -> Sheet:
        """The same sheet with other cells in the same rows."""
        return dataclasses.replace(self, cells=cells)

    @property
    def long(self) -> bool:
        """Whether ``cells`` are the head only of what is kept in another way."""
        return self.text is not None or self.raw is not None or self.columns is not None

    def laid_out(self, most: int | None = None) -> list[list[str]]:
        """The rows of a sheet that is kept by columns; of them the first ``most``."""
        across = []
        for column in self.columns or []:
            texts = [*column.uniques, ""]
            across.append([texts[c] for c in column.codes[:most].tolist()])
        return [list(row) for row in zip(*across, strict=True)]

    def lay_out(self) -> None:
        """Have all its rows as cells, in place, where it is kept by columns."""
        if self.columns is not None:
            self.cells, self.columns = self.laid_out(), None
            self.rows = list(range(1, len(self.cells) + 1))

    def octets(self) -> bytes:
        """The whole of a long text in UTF-8."""
        return self.raw if self.raw is not None else (self.text or "").encode("utf-8")

    def whole(self) -> str:
        """The whole of a long text."""
        return self.raw.decode("ascii") if self.raw is not None else (self.text or "")


_ORDER_MARKS = (
    (b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"), (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"),
)  # fmt: skip


def decode(raw: bytes) -> tuple[str, str]:
    """Text and the name of the encoding: a byte-order mark, UTF-8, UTF-16 by its zero bytes, else cp1252."""
    if len(raw) < 10_000 and not raw.strip(b"\0 \t\r\n"):
        raise UnusableFile("The file is empty.", rule="a table with breakdown voltages")
    for mark, name in _ORDER_MARKS:
        if raw.startswith(mark):
            try:
                return raw.decode(name), name
            except UnicodeDecodeError:
                break
    head = raw[:4000]
    if b"\0" in head:
        fours = [head[k::4].count(0) for k in range(4)]
        if sum(n > len(head) / 5 for n in fours) == 3 and len(head) >= 8:
            try:
                name = "utf-32-le" if fours[0] < fours[3] else "utf-32-be"
                return raw.decode(name), name
            except UnicodeDecodeError:
                pass
        even, odd = head[::2].count(0), head[1::2].count(0)
        name = "utf-16-le" if odd > even else "utf-16-be"
        if max(even, odd) < len(head) / 8:
            raise UnusableFile("This is a binary file, not a table of text.", rule="CSV, TSV, XLSX or Parquet")
        try:
            return raw.decode(name), name
        except UnicodeDecodeError:
            raise UnusableFile("The file's text cannot be decoded.", rule="UTF-8, UTF-16 or cp1252") from None
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        mended = _mended(raw)
        if mended is not None:
            return mended, "utf-8"
    control = sum(head.count(bytes([c])) for c in range(1, 9))
    if control > len(head) / 50:
        raise UnusableFile("This is a binary file, not a table of text.", rule="CSV, TSV, XLSX or Parquet")
    try:
        return raw.decode("cp1252"), "cp1252"
    except UnicodeDecodeError:
        return raw.decode("latin-1"), "latin-1"


def _mended(raw: bytes) -> str | None:
    """UTF-8 with a few stray cp1252 bytes pasted in: those alone are read as cp1252. None when it is not UTF-8."""
    text = raw.decode("utf-8", errors="surrogateescape")
    strays = sum("\udc80" <= c <= "\udcff" for c in text)
    proper = sum(c > "\x7f" for c in text) - strays
    if proper <= strays:
        return None
    return "".join(
        bytes([ord(c) - 0xDC00]).decode("cp1252", errors="replace") if "\udc80" <= c <= "\udcff" else c for c in text
    )


#: Lines of a long text in which its shape is looked for: some titles, the heading, and several hundred rows.
_HEAD_LINES = 600


_HEAD_ROWS = 40  # of them this many hold something
_HEAD_MOST = 30_000_000  # characters in which they are looked for


def head_of(text: str, size: int = 60_000) -> str:
    """The first lines of a long text, cut at the end of a line: at least forty that hold something."""
    while size < len(text):
        cut = text.rfind("\n", 0, size)
        if cut > 0 and (_held(text[: cut + 1]) >= _HEAD_ROWS or size > _HEAD_MOST):
            return text[: cut + 1]
        if size > _HEAD_MOST:
            return text[:size]
        size *= 4
    return text


def _held(text: str) -> int:
    """How many lines hold something besides delimiters."""
    return sum(bool(line.strip(" ,;|\t\r")) for line in text.split("\n", 100_000)[:100_000])


def _first_lines(text: str) -> str:
    """Of the head of a long text so many lines that several hundred of them hold something."""
    lines = text.splitlines(keepends=True)
    first = next((i for i, line in enumerate(lines) if line.strip(" ,;|\t\r\n")), 0)
    return "".join(lines[: first + _HEAD_LINES])


_DECIMAL = re.compile(r"(?<=\d),(?=\d)")


def sniff(text: str) -> str:
    """The delimiter: the mark that cuts most lines into the same number of cells.

    A comma between digits may be a decimal mark (``58,4``), so a comma counts only where it also
    separates something else, or where no other mark does the cutting.
    """
    head = head_of(text)
    first = head.split("\n", 1)[0].strip().casefold()
    if first.startswith("sep=") and len(first) == 5:
        return first[4] if first[4] in DELIMITERS else ","
    best, best_score, best_share, most, alike, uncut = ",", 0.0, 0.0, 0, 0, True
    within = _within_cells(head)
    for mark in (";", "\t", "|", ","):
        if mark in within:
            continue
        widths = [len(r) for r in records_of(head, mark)[0] if any(c.strip() for c in r)]
        cut = [w for w in widths if w > 1]
        if not cut:
            continue
        width, count = Counter(cut).most_common(1)[0]
        score = count / len(widths) * (1 + min(width, 20) / 100)
        if mark == "," and best_share > 0.5 and len(_DECIMAL.findall(head)) > head.count(",") / 2:
            continue  # the other mark cuts most lines, and commas stand between digits
        if mark == "," and (len(cut) < most or count < alike):
            continue  # a heading without a comma over one row of ``58,4``, commas in its title
        if mark == "," and max(best_score, best_share) > 0.5 and not (count == len(widths) and uncut):
            continue
        if score > best_score or (mark == "," and best_score):
            best, best_score, uncut = mark, max(score, best_score), len(cut) < len(widths)
            best_share, most, alike = len(cut) / len(widths), len(cut), count
    if best == "," and best_score and _decimal_commas_only(head):
        return "\t"
    return best


def _within_cells(head: str) -> str:
    """Marks that stand within cells only: headings without digits are cut by another one, and so is the line below."""
    lines = [line for line in head.splitlines() if line.strip()]
    for line, below in zip(lines, lines[1:], strict=False):
        if any(c.isdecimal() for c in line):
            continue
        cutting = [m for m in DELIMITERS if m in line]
        if len(cutting) == 1 and _cuts(below, cutting[0]) >= _cuts(line, cutting[0]) > 0:
            return "".join(m for m in DELIMITERS if m not in cutting)
    return ""


def _cuts(line: str, mark: str) -> int:
    """How often a mark cuts a line: not within quotes."""
    return len(next(csv.reader([line], delimiter=mark, skipinitialspace=True), [])) - 1


def _decimal_commas_only(head: str) -> bool:
    """One column of ``58,4``: every line has at most one comma, and where it stands digits stand on both sides."""
    lines = [ln.strip() for ln in head.splitlines() if ln.strip()]
    held = [ln for ln in lines if "," in ln]
    bare = re.compile(r"[<>≥≤]?\s*[+-]?\d{1,3},\d{1,2}\s*(?:kV|V)?\s*[*+]?", re.IGNORECASE)
    return (
        bool(held)
        and all(bare.fullmatch(ln) for ln in held)
        and "," not in lines[0][:0] + (lines[0] if not any(c.isdecimal() for c in lines[0]) else "")
    )


def records_of(text: str, delimiter: str, quoted: bool = True) -> tuple[list[list[str]], list[int]]:
    """Records and the line on which each starts; a quoted cell may hold line ends.

    Parameters
    ----------
    text : str
        The text.
    delimiter : str
        Between cells.
    quoted : bool, default True
        Whether quotes hold cells together.

    Examples
    --------
    >>> records_of("a;b", ";")
    ([['a', 'b']], [1])
    """
    csv.field_size_limit(10_000_000)
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True,
        quoting=csv.QUOTE_MINIMAL if quoted else csv.QUOTE_NONE,
    )  # fmt: skip
    cells: list[list[str]] = []
    rows: list[int] = []
    start = 1
    try:
        for record in reader:
            cells.append(record if quoted else [c.strip().strip('"') for c in record])
            rows.append(start)
            start = reader.line_num + 1
            if len(cells) > MAX_ROWS:
                raise UnusableFile(f"The file has more than {MAX_ROWS:,} lines; split it.", rule="row limit")
    except csv.Error as error:
        raise UnusableFile(
            f"Line {start}: the text is not a table: {error}.", row=start, rule="quoted cells must end"
        ) from None
    if quoted and text.count('"') % 2 and cells and any("\n" in c for c in cells[-1]):
        return records_of(text, delimiter, quoted=False)  # a quote that never ends has swallowed lines
    return cells, rows


def mark_of(delimiter: str) -> str:
    """The mark for a delimiter's name."""
    return next(k for k, v in DELIMITERS.items() if v == delimiter)


def cut_text(text: str, *, large: int = 3_000_000) -> Sheet:
    """Cut text into a sheet of cells. Beyond ``large`` characters only the head is cut and ``text`` is kept."""
    text = text.lstrip("\ufeff")
    if len(text) <= large:
        return _cut(text)
    sheet = _cut(head_of(text))
    if sheet.delimiter == "spaces":
        return _cut(text)
    sheet.text = text
    return sheet


def from_ascii(raw: bytes) -> Sheet:
    """The head of a long text of plain ASCII; its bytes are kept for reading it by columns."""
    size = 70_000
    while size < min(len(raw), _HEAD_MOST) and _held(raw[:size].decode("ascii")) <= _HEAD_ROWS:
        size *= 4
    sheet = _cut(_first_lines(head_of(raw[:size].decode("ascii"))))
    if sheet.delimiter == "spaces":
        return _cut(raw.decode("ascii"))
    sheet.raw = raw
    return sheet


def _cut(text: str) -> Sheet:
    delimiter = sniff(text)
    cells, rows = records_of(text, delimiter)
    spaced = _by_spaces(text, cells)
    if spaced is not None:
        cells, rows = spaced
    elif cells and all(sum(bool(c.strip()) for c in r) < 2 for r in cells):
        cells = _by_colons(cells)
    first = "".join(cells[0]).strip().casefold() if cells else ""
    if first in ("sep=", f"sep={delimiter}") and len(cells[0]) <= 2:
        cells, rows = cells[1:], rows[1:]
    if cells and max(map(len, cells)) > MAX_COLUMNS:
        raise UnusableFile(f"The file has more than {MAX_COLUMNS:,} columns.", rule="column limit")
    if not any(c.strip() for r in cells for c in r):
        raise UnusableFile("The file holds no cells with contents.", rule="a table with breakdown voltages")
    kept = [i for i, r in enumerate(cells) if not _is_rule(r)]
    cells, rows = [cells[i] for i in kept], [rows[i] for i in kept]
    return Sheet(cells, rows, delimiter="spaces" if spaced is not None else DELIMITERS[delimiter])


def _is_rule(row: list[str]) -> bool:
    """A line drawn between the heading and the rows: ``|----|:---:|``, ``=====``."""
    if row and row[0][:1].isalnum():  # most rows
        return False
    filled = [c.strip() for c in row if c.strip()]
    return bool(filled) and all(re.fullmatch(r":?[-=_+]{3,}:?", c) for c in filled)


def _by_spaces(text: str, cells: list[list[str]]) -> tuple[list[list[str]], list[int]] | None:
    """Columns set apart by spaces only: by two or more, else by one where every line then has as many cells."""
    decimal = re.compile(r"\d,\d")
    if any(sum(bool(c.strip()) for c in r) > 1 for r in cells) and not _only_decimal_commas(text, decimal):
        return None
    lines = [(at, line) for at, line in enumerate(text.splitlines(), 1) if line.strip()]
    for mark in (r"\s{2,}|\t", r"\s+"):
        cut = [re.split(mark, line.strip()) for _, line in lines]
        widths = Counter(len(c) for c in cut if len(c) > 1)
        if not widths:
            continue
        width, count = widths.most_common(1)[0]
        digits = sum(any(ch.isdecimal() for ch in c[-1]) for c in cut if len(c) == width)
        if count >= (0.6 if mark != r"\s+" else 1) * len(cut) and count >= 2 and digits >= count / 2:
            return cut, [at for at, _ in lines]
    return None


_COLON = re.compile(r"\s*([^:]{2,40}?)\s*:\s*(\S.*)")


def _by_colons(cells: list[list[str]]) -> list[list[str]]:
    """Lines such as ``Test 1: 45.3 kV`` as two cells, where most lines are such."""
    lines = ["".join(r) for r in cells]
    found = [_COLON.fullmatch(line) for line in lines]
    held = sum(bool(line.strip()) for line in lines)
    if sum(f is not None and any(c.isdecimal() for c in f[2]) for f in found) < max(3, 0.5 * held):
        return cells
    return [[f[1], f[2]] if f else r for f, r in zip(found, cells, strict=True)]


def _only_decimal_commas(text: str, decimal: re.Pattern[str]) -> bool:
    """Whether every comma stands between digits and spaces do the cutting: ``A   58,4   61,2``."""
    if any(mark in text for mark in ';\t|"') or "," not in text:
        return False
    commas = text.count(",")
    lines = [line for line in text.splitlines() if line.strip()]
    return (
        len(decimal.findall(text)) == commas and sum(bool(re.search(r"\S\s{2,}\S", x)) for x in lines) > len(lines) / 2
    )


def line_starts(text: str, delimiter: str) -> list[int]:
    """The line on which each record starts, for a text whose quoted cells may hold line ends."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark_of(delimiter), skipinitialspace=True)
    out, start = [], 1
    for _ in reader:
        out.append(start)
        start = reader.line_num + 1
    return out

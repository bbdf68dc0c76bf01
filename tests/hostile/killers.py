"""Small files that take their reader down where it takes them at their word. All invented; each is a few KB to some MB.

Each is made by a function without arguments that gives a name and bytes. What they attack is in the docstring.
"""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable

File = tuple[str, bytes]
KILLERS: dict[str, Callable[[], File]] = {}

_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>'
)
_ROOT = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" '
    'Target="xl/workbook.xml"/></Relationships>'
)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def killer(make: Callable[[], File]) -> Callable[[], File]:
    """Register one."""
    KILLERS[make.__name__] = make
    return make


def workbook(rows: str, after: str = "", *, sheets: int = 1, prologue: str = "", strings: str = "") -> bytes:
    """A workbook whose first sheet holds these rows of XML; the others are empty."""
    names = range(1, sheets + 1)
    listed = "".join(f'<sheet name="S{i}" sheetId="{i}" r:id="rId{i}"/>' for i in names)
    links = "".join(
        f'<Relationship Id="rId{i}" Target="worksheets/sheet{i}.xml" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"/>'
        for i in names
    )
    if strings:
        links += (
            '<Relationship Id="rIdS" Target="sharedStrings.xml" '
            'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"/>'
        )
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", _TYPES)
        archive.writestr("_rels/.rels", _ROOT)
        archive.writestr(
            "xl/workbook.xml",
            f'<?xml version="1.0"?>{prologue}<workbook xmlns="{_MAIN}" xmlns:r="http://schemas.openxmlformats.org/'
            f'officeDocument/2006/relationships"><sheets>{listed}</sheets></workbook>',
        )
        archive.writestr(
            "xl/_rels/workbook.xml.rels",
            '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
            f"{links}</Relationships>",
        )
        if strings:
            archive.writestr("xl/sharedStrings.xml", strings)
        for i in names:
            body = f"<sheetData>{rows if i == 1 else ''}</sheetData>{after if i == 1 else ''}"
            archive.writestr(
                f"xl/worksheets/sheet{i}.xml", f'<?xml version="1.0"?><worksheet xmlns="{_MAIN}">{body}</worksheet>'
            )
    return held.getvalue()


def cell(place: str, value: object) -> str:
    """One cell in XML: a number, or text in the cell itself."""
    if isinstance(value, str):
        return f'<c r="{place}" t="inlineStr"><is><t>{value}</t></is></c>'
    return f'<c r="{place}"><v>{value}</v></c>'


def sound_rows(count: int = 12) -> str:
    """Rows of a table in order: electrode and kV."""
    head = f'<row r="1">{cell("A1", "electrode")}{cell("B1", "kv")}</row>'
    return head + "".join(
        f'<row r="{r}">{cell(f"A{r}", "disk")}{cell(f"B{r}", 40 + r % 7)}</row>' for r in range(2, count + 2)
    )


@killer
def far_cell() -> File:
    """One cell in the last corner of a sheet: laid out in full, 17,000 million cells."""
    return "far_cell.xlsx", workbook(sound_rows() + f'<row r="1048576">{cell("XFD1048576", 1)}</row>')


@killer
def far_row() -> File:
    """200 columns, and one cell in the last row."""
    wide = "".join(cell(f"{column(i)}1", i) for i in range(1, 201))
    return "far_row.xlsx", workbook(f'<row r="1">{wide}</row><row r="1048576">{cell("A1048576", 1)}</row>')


@killer
def row_beyond_the_sheet() -> File:
    return "row_beyond.xlsx", workbook(sound_rows() + f'<row r="4294967290">{cell("A4294967290", 1)}</row>')


@killer
def column_beyond_the_sheet() -> File:
    return "column_beyond.xlsx", workbook(f'<row r="1">{cell("A1", 1)}{cell("ZZZZZZ1", 1)}</row>')


@killer
def thousand_merged() -> File:
    """1,000 columns, each merged from the first row to the last."""
    merged = "".join(f'<mergeCell ref="{column(i)}1:{column(i)}1048576"/>' for i in range(1, 1001))
    rows = sound_rows() + f'<row r="1048576">{cell("A1048576", 1)}</row>'
    return "merged.xlsx", workbook(rows, f'<mergeCells count="1000">{merged}</mergeCells>')


@killer
def merged_over_each_other() -> File:
    merged = '<mergeCell ref="A2:A1048576"/>' * 100_000
    return "merged_over.xlsx", workbook(sound_rows(20_000), f"<mergeCells>{merged}</mergeCells>")


@killer
def unpacks_to_much() -> File:
    """575 KB that unpack to 590 MB of cells, without an entity."""
    row = f"<row>{'<c><v>1</v></c>' * 1000}</row>"
    return "unpacks.xlsx", workbook(row * 39_000)


@killer
def unpacks_to_more_than_it_says() -> File:
    """A part that unpacks to more than the archive's list says."""
    data = bytearray(workbook(sound_rows() + f'<row r="20">{cell("A20", "x" * 300_000_000)}</row>'))
    at = data.rfind(b"PK\x01\x02", 0, data.rfind(b"xl/worksheets/sheet1.xml"))
    data[at + 24 : at + 28] = (1000).to_bytes(4, "little")
    return "says_less.xlsx", bytes(data)


@killer
def entities() -> File:
    """Entities made of entities."""
    levels = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    doctype = f'<!DOCTYPE workbook [<!ENTITY a0 "lots of text">{levels}]>'
    data = workbook(sound_rows(), prologue=doctype)
    return "entities.xlsx", data


@killer
def many_sheets() -> File:
    return "sheets.xlsx", workbook(sound_rows(), sheets=8_000)


@killer
def many_strings() -> File:
    """Shared strings without number, and a count that is not true."""
    strings = f'<sst xmlns="{_MAIN}" count="4294967295" uniqueCount="4294967295">' + "<si><t>a</t></si>" * 3_000_000
    return "strings.xlsx", workbook(sound_rows(), strings=f"{strings}</sst>")


@killer
def row_without_a_number() -> File:
    rows = sound_rows().replace('<row r="3">', '<row r="abc" hidden="1">')
    return "no_number.xlsx", workbook(rows)


@killer
def damaged_deflate() -> File:
    data = bytearray(workbook(sound_rows(3_000)))
    at = data.find(b"xl/worksheets/sheet1.xml") + 80
    data[at : at + 400] = bytes(random.Random(1).randbytes(400))
    return "damaged.xlsx", bytes(data)


@killer
def deep_elements() -> File:
    return "deep.xlsx", workbook("<row>" * 200_000 + "</row>" * 200_000)


@killer
def parquet_of_runs() -> File:
    """Some KB that stand for 60 million rows of one text."""
    import pyarrow
    import pyarrow.parquet

    held = io.BytesIO()
    piece = pyarrow.table({"sample": pyarrow.array(["oil " * 30] * 1_000_000), "kv": pyarrow.array([50.0] * 1_000_000)})
    with pyarrow.parquet.ParquetWriter(held, piece.schema, compression="zstd") as writer:
        for _ in range(60):
            writer.write_table(piece, row_group_size=1_000_000)
    return "runs.parquet", held.getvalue()


@killer
def parquet_of_wide_text() -> File:
    """A few MB that unpack to texts of 600 MB."""
    import pyarrow
    import pyarrow.parquet

    held = io.BytesIO()
    text = pyarrow.table({"note": pyarrow.array([f"{i}{'x' * 30_000_000}" for i in range(20)]), "kv": [50.0] * 20})
    pyarrow.parquet.write_table(text, held, compression="zstd")
    return "wide.parquet", held.getvalue()


@killer
def parquet_cut_short() -> File:
    name, data = parquet_of_runs()
    return name, data[: len(data) // 2] + data[-500:]


@killer
def parquet_of_other_things() -> File:
    """Cells that are lists, structures and bytes."""
    import pyarrow
    import pyarrow.parquet

    held = io.BytesIO()
    table = pyarrow.table({"kv": [[50.0, 51.0], [52.0]], "electrode": [{"a": 1}, {"a": 2}], "b": [b"\xff", b"\x00"]})
    pyarrow.parquet.write_table(table, held)
    return "other.parquet", held.getvalue()


@killer
def spaces_without_end() -> File:
    """Where a pattern looks for spaces before something that never comes."""
    return "spaces.csv", b"electrode,kv\n" + b"disk,5" + b" " * 60_000 + b"x\n" + b"disk,41\n"


@killer
def heading_of_spaces() -> File:
    return "heading_spaces.csv", b"electrode,kv" + b" " * 30_000 + b"(" * 30_000 + b"\n" + b"disk,41\n" * 20


@killer
def heading_of_words() -> File:
    return "heading_words.csv", b"electrode,breakdown" + b" voltage" * 8_000 + b"\n" + b"disk,41\n" * 20


@killer
def digits_and_marks() -> File:
    return "marks.csv", b"electrode,kv\n" + b"disk," + b"1.1" * 20_000 + b"\n" + b"disk,41\n" * 5


@killer
def number_of_many_digits() -> File:
    return "digits.csv", b"electrode,gap,kv\n" + b"disk," + b"9" * 5_000 + b"," + b"4" * 5_000 + b"\ndisk,2,41\n" * 5


@killer
def headings_without_end() -> File:
    """1,900 headings, all different, over short rows."""
    names = ",".join(f"voltage {i} of oil {i * 7} in kV at {i % 60} mm" for i in range(1_900))
    return "headings.csv", names.encode() + b"\n" + b"41," * 1_899 + b"42\n" + b"43," * 1_899 + b"44\n"


@killer
def columns_without_end() -> File:
    return "columns.csv", b"kv," * 100_000 + b"kv\n" + b"41," * 100_000 + b"42\n"


@killer
def headings_again_and_again() -> File:
    """Thousands of small tables under each other."""
    return "tables.csv", b"".join(b"electrode,kv,note %d\ndisk,%d,x\n\n" % (i, 40 + i % 9) for i in range(9_000))


@killer
def rows_without_end() -> File:
    """30 million short rows."""
    return "rows.csv", b"kv\n" + b"41\n" * 30_000_000


@killer
def quotes_without_end() -> File:
    return "quotes.csv", b"electrode,kv\n" + b'"disk,41\n' * 200_001


@killer
def one_cell_of_everything() -> File:
    return "cell.csv", b'electrode,kv\n"' + b"disk\n" * 2_500_000 + b'",41\n'


@killer
def readings_in_one_cell() -> File:
    return "several.csv", b"electrode,kv\ndisk," + b"41/42/" * 20_000 + b"43\n"


@killer
def voltages_beyond_numbers() -> File:
    return "beyond.csv", b"electrode,filling,kv\n" + b"".join(
        b"%s,%d,%s\n" % (e, f, v) for e in (b"disk", b"sphere") for f in (1, 2, 3) for v in (b"1e308", b"1e-300", b"41")
    )


@killer
def half_characters() -> File:
    return "half.csv", b"\xff\xfe" + "electrode,kv\ndisk,41\n".encode("utf-16-le")[:-1] + b"\x00\xd8\x00"


@killer
def zeros() -> File:
    return "zeros.csv", b"\0" * 5_000_000


def column(number: int) -> str:
    """The letters of a column, from 1."""
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters

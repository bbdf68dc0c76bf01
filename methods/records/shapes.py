"""The shape of a sheet: where the heading stands, what lies above it, which columns hold breakdowns.

Long (one row a breakdown), wide (one row a filling, a column a breakdown) and transposed (samples in columns)
are all brought to one description, :class:`Layout`: headings, the rows of data, the columns of values.
"""

from __future__ import annotations

from methods.columns import LABELS, without
from methods.errors import UnusableFile
from methods.records.cells import NO_BREAKDOWN, parse, unit_of
from methods.records.heading_row import find_heading, headings_of
from methods.records.headings import Heading, any_unit, fold, read_heading
from methods.records.layout import Layout, counts_breakdowns, is_number, is_unit_row
from methods.records.levels import level_of, levels_of
from methods.records.text import Sheet
from methods.records.value_columns import apply_means, apply_names, choose_values, share_of_numbers

_LOOK = 300  # columns are judged by this many rows of data


def layout_of(sheet: Sheet, columns: dict[str, str] | None = None, shape: str | None = None) -> Layout:
    """Describe the sheet.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    columns : dict of str to str, optional
        Column of the record table to heading, as the caller said.
    shape : str, optional
        The layout that the caller said; None: told by the cells.

    Raises
    ------
    UnusableFile
        No column that can hold breakdowns, several that could, or summaries only.
    InputError
        ``columns`` names a heading that is not there.
    """
    if not any(is_number(c) or parse(c).kind == NO_BREAKDOWN for r in sheet.cells for c in r):
        raise UnusableFile(
            "No number was found in the file, so nothing can be read as a voltage.", rule="a table with voltages"
        )
    width = max(map(len, sheet.cells))
    cells = [r + [""] * (width - len(r)) for r in sheet.cells]
    wanted = {fold(t) for t in (columns or {}).values()}
    head = sheet.head if sheet.said or sheet.head is not None else find_heading(cells, wanted)
    meta: dict[str, str] = {}
    if sheet.title is not None:
        meta["table"] = sheet.title
    told = bool(sheet.means) or sheet.turned
    if shape == "transposed" and not sheet.turned or (shape is None and not told and is_transposed(cells, head)):
        return transposed(cells, sheet.rows, head, meta, columns or {})
    plan = plain_layout(cells, sheet.rows, head, columns or {}, shape, sheet.means)
    if sheet.turned:
        plan.kind, plan.column_rows = "transposed", sheet.cols
    plan.meta = {k: v for k, v in {**meta, **plan.meta}.items() if k not in plan.unwanted}
    return plan


def plain_layout(
    cells: list[list[str]], rows: list[int], head: int | None, columns: dict[str, str], shape: str | None,
    means: dict[int, str] | None = None,
) -> Layout:  # fmt: skip
    """The layout of a sheet with a heading above each column.

    Parameters
    ----------
    cells : list of list[str]
        The sheet, a list a row, all of one length.
    rows : list of int
        Row of each in the file.
    head : int or None
        Index of the heading; None: there is none.
    columns : dict of str to str
        Column of the record table to heading, as the caller said.
    shape : str or None
        The layout that the caller said; None: told by the cells.
    means : dict of int to str, optional
        Index of a column to what it was said to be.
    """
    heads, first, guesses = headings_of(cells, head)
    body = [r for r in cells[first : first + _LOOK] if any(c.strip() for c in r)]
    plan = Layout("long", heads, cells, rows, first, [], [], guesses=guesses, head=first if head is None else head)
    apply_means(plan, means or {})
    apply_names(plan, columns)
    plan.summaries = {i: h.summary for i, h in enumerate(plan.headings) if h.summary and i not in plan.values}
    if plan.values:
        plan.named = True
        plan.kind = "wide" if len(plan.values) > 1 else "long"
        plan.shots = list(range(1, len(plan.values) + 1)) if len(plan.values) > 1 else []
        plan.voltage = False
        return plan
    shares = [share_of_numbers(body, i) for i in range(len(heads))]
    choose_values(plan, body, shares, head, shape)
    return plan


def is_transposed(cells: list[list[str]], head: int | None) -> bool:
    """Whether the first column counts the breakdowns and the others are samples."""
    start = 0 if head is None else head
    heads = [read_heading(c) if c.strip() else Heading("") for c in cells[start]]
    counted = [h for h in heads[1:] if h.shot is not None]
    if head is not None and (any(h.name == "kv" for h in heads) or (len(counted) >= 2 and counts_breakdowns(counted))):
        return False
    labels = [r[0] for r in cells[start + (head is not None) :]]
    kept = [read_heading(t) for t in labels if t.strip()]
    numbers = [h.shot for h in kept if h.shot is not None]
    if len(numbers) < 3 or numbers != list(range(1, len(numbers) + 1)):
        return False
    columns = [[r[i] for r in cells[start + 1 :] if r[i].strip()] for i in range(1, len(cells[0]))]
    numeric = [c for c in columns if c and sum(map(is_number, c)) >= len(c) / 2]
    named = [h for h in heads[1:] if h.name is not None and h.name not in ("sample", "fluid")]
    return len(numeric) >= 2 and not named and head is not None


def _same_levels(texts: list[str]) -> list[dict[str, str]] | None:
    """Levels of one factor that come again, as under several oils: ``D877, D1816, D877, D1816``."""
    found = [level_of(t) for t in texts]
    told = [f for f in found if f]
    if len(told) < 2 or len(told) < len(found) or any(set(f) != set(told[0]) or len(f) > 1 for f in told):
        return None
    return told if len({str(f) for f in told}) > 1 and set(told[0]) <= {"method", "electrode", "gap_mm"} else None


def _groups(row: list[str]) -> list[str]:
    """What stands over each column of headings, carried on to the right; none where it is no row of names."""
    held = [c for c in row[1:] if c.strip()]
    if len(held) < 2 or any(map(is_number, held)) or any(read_heading(c).name for c in held):
        return []
    out, carried = [""], ""
    for text in row[1:]:
        carried = text.strip() or carried
        out.append(carried)
    return out


def transposed(
    cells: list[list[str]], rows: list[int], head: int | None, meta: dict[str, str], columns: dict[str, str]
) -> Layout:
    """The layout of a sheet with a heading before each row: it is turned and laid out as any other.

    Parameters
    ----------
    cells : list of list[str]
        The sheet, a list a row, all of one length.
    rows : list of int
        Row of each in the file.
    head : int or None
        Index of the first row of the table; None: it is the first of the sheet.
    meta : dict of str to str
        What is said above the table.
    columns : dict of str to str
        Column of the record table to heading, as the caller said.
    """
    start = head or 0
    body = [(r, n) for r, n in zip(cells[start:], rows[start:], strict=True) if any(c.strip() for c in r)]
    if len(body) > 1 and is_unit_row(body[1][0]):
        units = [any_unit(c) for c in body[1][0] if c.strip()]
        meta = {**meta, **({"unit": str(units[-1])} if unit_of(str(units[-1])) else {})}
        del body[1]
    turned = [list(c) for c in zip(*[r for r, _ in body], strict=True)]
    corner = read_heading(turned[0][0]) if turned[0][0].strip() else Heading("")
    unit = corner.unit if unit_of(corner.unit) else None
    if corner.name not in (*without(LABELS, "gap_mm", "stirring"), "fluid"):
        turned[0][0] = "sample"
    texts = [r[0] for r in turned[1:] if r[0].strip() and read_heading(r[0]).summary is None]
    levels = levels_of(texts) or _same_levels(texts)
    over = _groups(cells[start - 1]) if start and levels else []
    if levels and len(levels[0]) == 1 and corner.name in (None, "order"):
        turned[0][0] = next(iter(levels[0]))
        for row in turned[1:]:
            level = level_of(row[0])
            row[0] = next(iter(level.values())) if level else row[0]
    numbers = [n for _, n in body]
    if over and turned[0][0] != "sample":  # oils over the methods
        for at, row in enumerate(turned):
            row.insert(1, over[at] if at else "sample")
        numbers.insert(1, rows[start - 1])
    keep = [i for i, r in enumerate(turned) if any(c.strip() for c in r[2 if over else 1 :])]
    plan = plain_layout([turned[i] for i in keep], [i + 1 for i in keep], 0, columns, "wide")
    plan.kind = "transposed"
    plan.column_rows = numbers
    plan.meta = {**meta, **({"unit": unit} if unit else {})}
    plan.guesses.insert(
        0,
        (
            "shape",
            "transposed: a column is one filling, a row one breakdown",
            "the first column counts 1, 2, 3 ...",
            "--layout wide",
        ),
    )
    return plan

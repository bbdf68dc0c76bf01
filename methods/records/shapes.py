"""The shape of a sheet: where the heading stands, what lies above it, which columns hold breakdowns.

Long (one row a breakdown), wide (one row a filling, a column a breakdown) and transposed (samples in columns)
are all brought to one description, :class:`Layout`: headings, the rows of data, the columns of values.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field

from methods.errors import InputError, UnusableFile
from methods.records.cells import NO_BREAKDOWN, VALUE, WITHSTOOD, normalise, parse, unit_of
from methods.records.headings import Heading, any_unit, fold, heading, is_label, is_time
from methods.records.table import COLUMNS
from methods.records.text import Sheet

_SEARCH = 60  # a heading is looked for in this many rows
_LOOK = 300  # columns are judged by this many rows of data
_PAIR = re.compile(r"#?\s*([^:=]{2,40}?)\s*[:=]\s*(\S.*)", re.DOTALL)
_COUNTING = frozenset(["", "ordinal", "b", "k", "x", "r", "test", "trial", "value", "measurement", "messung", "essai", "ensayo", "run", "reading", "no", "nr", "wert", "mesure"])  # fmt: skip # noqa: E501


@dataclass
class Layout:
    """How a sheet is laid out. Column numbers count from 0 within ``cells``."""

    kind: str
    headings: list[Heading]
    cells: list[list[str]]
    rows: list[int]
    first: int
    values: list[int]
    shots: list[int]
    meta: dict[str, str] = field(default_factory=dict)
    guesses: list[tuple[str, str, str, str]] = field(default_factory=list)
    summaries: dict[int, str] = field(default_factory=dict)
    named: bool = False  # the user said which column holds the voltages
    voltage: bool = True  # the heading speaks of a voltage
    column_rows: list[int] | None = None  # transposed: the sheet's row of each value column


def is_number(text: str) -> bool:
    """Whether a cell can be read as a voltage or a plain number."""
    text = normalise(text)
    if not any(c.isdigit() for c in text):
        return False
    if re.fullmatch(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?", text):
        return True
    cell = parse(text)
    return cell.kind in (VALUE, WITHSTOOD) and not (cell.note and len(cell.note) > 25)


def shot_run(row: list[str]) -> list[int]:
    """Columns whose cells are the bare whole numbers 1, 2, 3 ... in a row (at least three)."""
    best: list[int] = []
    run: list[int] = []
    for at, cell in enumerate(row):
        text = normalise(cell).rstrip(".")
        if text.isdigit() and int(text) == len(run) + 1:
            run.append(at)
        elif text == "1":
            run = [at]
        elif text:
            best, run = max(best, run, key=len), []
    best = max(best, run, key=len)
    return best if len(best) >= 3 else []


def _is_unit_row(row: list[str]) -> bool:
    filled = [c for c in row if c.strip()]
    return len(filled) > 1 and all(any_unit(c) is not None for c in filled) and not shot_run(row)


def _score(row: list[str], below: list[list[str]], wanted: set[str]) -> float:
    filled = [c for c in row if c.strip()]
    if not filled or not any(is_number(c) for r in below for c in r):
        return float("-inf")
    if _is_unit_row(row):
        return 1.0
    run = set(shot_run(row))
    total = 0.0
    for at, cell in enumerate(row):
        text = cell.strip()
        if not text:
            continue
        read = heading(text) if len(text) <= 80 else Heading(text)
        if fold(text) in wanted and fold(text) and not is_number(text):
            total += 6
        elif at in run:
            total += 2
        elif is_number(text) and (read.shot is None or text[-1].isdigit() or text[-1] == "."):
            total -= 2
            continue
        elif _PAIR.fullmatch(text) and not read.name:
            total -= 1
        elif read.name:
            total += 4 if read.name == "kv" else 3
        elif read.shot:
            total += 2
        elif read.summary:
            total += 1.5
        else:
            total += 0.5
        if sum(is_number(r[at]) for r in below if at < len(r)) > len(below) / 2:
            total += 1
    return total


def _find_heading(cells: list[list[str]], wanted: set[str]) -> int | None:
    best, best_score = None, 0.9
    for at in range(min(len(cells), _SEARCH)):
        below = [r for r in cells[at + 1 : at + 12] if any(c.strip() for c in r) and not _is_unit_row(r)][:5]
        score = _score(cells[at], below, wanted)
        if score > best_score:
            best, best_score = at, score
    return best


def _meta(cells: list[list[str]]) -> dict[str, str]:
    """``Method: D1816``, or the two cells ``Method`` and ``D1816``, in the lines above the heading."""
    out: dict[str, str] = {}
    for row in cells:
        filled = [normalise(c) for c in row if c.strip()]
        for at, text in enumerate(filled):
            pair = _PAIR.fullmatch(text)
            key, value = (pair[1], pair[2]) if pair else (text.rstrip(" :=#"), "")
            if (
                not pair
                and at + 1 < len(filled)
                and (text.endswith((":", "=")) or len(filled) == 2)
                and not _PAIR.fullmatch(filled[at + 1])
            ):
                value = filled[at + 1]
            read = heading(key.lstrip("# "))
            folded = fold(key)
            name = read.name
            if folded in (
                "ceiling",
                "max voltage",
                "maximum voltage",
                "full scale",
                "instrument ceiling",
                "upper limit",
            ):
                name = "ceiling"
            elif folded in ("unit", "units", "einheit") and unit_of(value):
                name = "unit"
            if value and name and name not in ("kv", "outcome", "order") and name not in out:
                unit = f" {read.unit}" if read.unit and read.unit != "-" and not re.search(r"[a-zA-Z]", value) else ""
                out[name] = value + unit
    return out


def layout_of(sheet: Sheet, columns: dict[str, str] | None = None, shape: str | None = None) -> Layout:
    """Describe the sheet.

    Raises
    ------
    UnusableFile
        No column that can hold breakdowns, several that could, or summaries only.
    InputError
        ``columns`` names a heading that is not there.
    """
    if not any(is_number(c) or parse(c).kind == NO_BREAKDOWN for r in sheet.cells for c in r):
        raise UnusableFile("No number was found: the file holds words only.", rule="a table with breakdown voltages")
    width = max(map(len, sheet.cells))
    cells = [r + [""] * (width - len(r)) for r in sheet.cells]
    wanted = {fold(t) for t in (columns or {}).values()}
    head = _find_heading(cells, wanted)
    meta = _meta(cells[:head] if head is not None else [])
    if sheet.method is not None:
        meta.setdefault("method", sheet.method)
        meta.setdefault("sheet", sheet.method)
    if shape == "transposed" or (shape is None and _is_transposed(cells, head)):
        return _transposed(cells, sheet.rows, head, meta, columns or {})
    plan = _plain(cells, sheet.rows, head, columns or {}, shape)
    plan.meta = {**meta, **plan.meta}
    return plan


def _headings(cells: list[list[str]], head: int | None) -> tuple[list[Heading], int, list[tuple[str, str, str, str]]]:
    """The heading of each column, with units from a row of units above or below, and the first row of data."""
    width = len(cells[0])
    if head is None:
        first = next(i for i, r in enumerate(cells) if any(c.strip() for c in r))
        guess = (
            "heading",
            "none: the first line is data",
            " | ".join(c for c in cells[first] if c.strip())[:60],
            "--value",
        )
        return [Heading(f"column {i + 1}") for i in range(width)], first, [guess]
    row, first = cells[head], head + 1
    units: list[str | None] = [None] * width
    while first < len(cells) and not any(c.strip() for c in cells[first]):
        first += 1
    if first < len(cells) and _is_unit_row(cells[first]):
        units = [any_unit(c) for c in cells[first]]
        first += 1
    counted = _sub_heading(row, cells[first]) if first < len(cells) else []
    if counted:  # a second line of headings: 1, 2, 3 ... under one wide heading
        over = heading(row[counted[0]])
        row = [cells[first][i] if i in counted else c for i, c in enumerate(row)]
        units = [over.unit if i in counted else u for i, u in enumerate(units)]
        first += 1
        if first < len(cells) and _is_unit_row(cells[first]):
            units = [any_unit(c) or u for c, u in zip(cells[first], units, strict=True)]
            first += 1
    above = cells[head - 1] if head else []
    group = [""] * width
    if above and _is_unit_row(above):
        units = [any_unit(c) or u for c, u in zip(above, units, strict=True)]
    elif above:
        carried = ""
        for at in range(width):
            carried = above[at].strip() or carried
            group[at] = carried
    out = []
    for at in range(width):
        read = heading(row[at]) if row[at].strip() else Heading("")
        over = heading(group[at]) if group[at] and len(group[at]) < 80 else Heading("")
        if not read.text and above and above[at].strip() and (over.name or over.summary):
            read = over
        unit = read.unit or units[at]
        if unit is None and read.shot is not None and over.name == "kv":
            unit = over.unit
        if (
            unit in (None, "-")
            and read.name is None
            and read.shot is None
            and over.name == "kv"
            and over.unit
            and row[at].strip()
        ):
            unit = over.unit if not read.summary else None
        out.append(Heading(read.text, read.name, unit, read.shot, read.prefix, read.summary, read.second))
    return out, first, []


def _sub_heading(row: list[str], below: list[str]) -> list[int]:
    """The columns that the line below the heading numbers, when it does nothing else and starts under a voltage."""
    filled = [i for i, c in enumerate(below) if c.strip()]
    if len(filled) < 2 or not row[filled[0]].strip() or heading(row[filled[0]]).name != "kv":
        return []
    numbers = [heading(below[i]).shot for i in filled]
    bare = not any(row[i].strip() for i in filled[1:])
    return filled if bare and numbers == list(range(1, len(filled) + 1)) else []


def _is_transposed(cells: list[list[str]], head: int | None) -> bool:
    """Whether the first column counts the breakdowns and the others are samples."""
    start = 0 if head is None else head
    heads = [heading(c) if c.strip() else Heading("") for c in cells[start]]
    counted = [h for h in heads[1:] if h.shot is not None]
    if head is not None and (any(h.name == "kv" for h in heads) or (len(counted) >= 2 and _counts_breakdowns(counted))):
        return False
    labels = [r[0] for r in cells[start + (head is not None) :]]
    kept = [heading(t) for t in labels if t.strip()]
    numbers = [h.shot for h in kept if h.shot is not None]
    if len(numbers) < 3 or numbers != list(range(1, len(numbers) + 1)):
        return False
    columns = [[r[i] for r in cells[start + 1 :] if r[i].strip()] for i in range(1, len(cells[0]))]
    numeric = [c for c in columns if c and sum(map(is_number, c)) >= len(c) / 2]
    named = [h for h in heads[1:] if h.name is not None and h.name not in ("sample", "fluid")]
    return len(numeric) >= 2 and not named and head is not None


def _counts_breakdowns(heads: list[Heading]) -> bool:
    """Whether numbered headings count breakdowns (``b1 b2``, ``1 2``) and not samples (``Oil 1``, ``A-1``)."""
    prefixes = {h.prefix for h in heads}
    return all(p in _COUNTING or heading(p).name in ("kv", "order") for p in prefixes)


def _transposed(
    cells: list[list[str]], rows: list[int], head: int | None, meta: dict[str, str], columns: dict[str, str]
) -> Layout:
    start = head or 0
    body = [(r, n) for r, n in zip(cells[start:], rows[start:], strict=True) if any(c.strip() for c in r)]
    if len(body) > 1 and _is_unit_row(body[1][0]):
        units = [any_unit(c) for c in body[1][0] if c.strip()]
        meta = {**meta, **({"unit": str(units[-1])} if unit_of(str(units[-1])) else {})}
        del body[1]
    turned = [list(c) for c in zip(*[r for r, _ in body], strict=True)]
    corner = heading(turned[0][0]) if turned[0][0].strip() else Heading("")
    unit = corner.unit if unit_of(corner.unit) else None
    if corner.name not in ("sample", "fluid", "filling", "laboratory", "electrode", "method"):
        turned[0][0] = "sample"
    keep = [r for r in turned if any(c.strip() for c in r[1:])]
    plan = _plain(keep, list(range(1, len(keep) + 1)), 0, columns, "wide")
    plan.kind = "transposed"
    plan.column_rows = [n for _, n in body]
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


def _plain(
    cells: list[list[str]], rows: list[int], head: int | None, columns: dict[str, str], shape: str | None
) -> Layout:
    heads, first, guesses = _headings(cells, head)
    body = [r for r in cells[first : first + _LOOK] if any(c.strip() for c in r)]
    plan = Layout("long", heads, cells, rows, first, [], [], guesses=guesses)
    _name(plan, columns)
    plan.summaries = {i: h.summary for i, h in enumerate(plan.headings) if h.summary and i not in plan.values}
    if plan.values:
        plan.named = True
        plan.kind = "wide" if len(plan.values) > 1 else "long"
        plan.shots = list(range(1, len(plan.values) + 1)) if len(plan.values) > 1 else []
        plan.voltage = False
        return plan
    shares = [_share(body, i) for i in range(len(heads))]
    _choose(plan, body, shares, head, shape)
    return plan


def _share(body: list[list[str]], at: int) -> float:
    """The share of the column's non-empty cells that are numbers or withstands."""
    held = [r[at] for r in body if r[at].strip()]
    good = sum(is_number(t) or parse(t).kind == NO_BREAKDOWN for t in held)
    numbers = sum(map(is_number, held))
    return good / len(held) if held and numbers else 0.0


def _name(plan: Layout, columns: dict[str, str]) -> None:
    """Apply what the user said about columns."""
    for name, text in columns.items():
        known = name if name in COLUMNS else (heading(name).name or name)
        found = [i for i, h in enumerate(plan.headings) if h.text == text] or [
            i for i, h in enumerate(plan.headings) if fold(h.text) == fold(text) and (h.text or text)
        ]
        if not found and text.isdigit() and 1 <= int(text) <= len(plan.headings):
            found = [int(text) - 1]
        if not found:
            named = [i for i, h in enumerate(plan.headings) if h.name == heading(text).name and h.name]
            found = named if len(named) == 1 else []
        if not found:
            heads = ", ".join(repr(h.text) for h in plan.headings if h.text)
            raise InputError(
                f"There is no heading {text!r}. The headings are {heads}.",
                column=name,
                text=text,
                rule="an existing heading",
            )
        for i, h in enumerate(plan.headings):
            if i in found[: None if known == "kv" else 1]:
                unit = h.unit if known == "kv" or known in COLUMNS else None
                plan.headings[i] = Heading(h.text, known if known != "kv" else "kv", unit)
            elif h.name == known:
                plan.headings[i] = Heading(h.text, None, h.unit)
        if known == "kv":
            plan.values = found


def _choose(plan: Layout, body: list[list[str]], shares: list[float], head: int | None, shape: str | None) -> None:
    heads = plan.headings
    shots = [] if shape == "long" else _shots(heads, shares)
    named = [
        i
        for i, h in enumerate(heads)
        if h.name == "kv" and not (h.text and any(h.text == heads[s].text for s in shots))
    ]
    strong = [i for i in named if shares[i] > 0 or not any(shares)]
    if shots and (len(shots) > 1 or not strong):
        plan.values, plan.shots, plan.kind = shots, [heads[i].shot or 0 for i in shots], "wide"
        if not _counts_breakdowns([heads[i] for i in shots]):
            shown = f"{heads[shots[0]].text!r} to {heads[shots[-1]].text!r}"
            plan.guesses.append(("breakdowns", shown, "numbered headings over numbers", "--value"))
        for i in named:
            heads[i] = Heading(heads[i].text, None, heads[i].unit)
            plan.summaries[i] = "mean"
        return
    if len(strong) == 1 and shape != "wide":
        more = _unlabelled(heads, shares, strong[0])
        if not more:
            plan.values = strong
            return
        plan.guesses.append(
            (
                "breakdowns",
                f"{len(more) + 1} columns from {heads[strong[0]].text!r} on",
                "columns without heading hold numbers beside it",
                "--layout long",
            )
        )
        strong = [strong[0], *more]
        _as_wide(plan, strong)
        return
    if len(strong) > 1:
        if len({heads[i].text for i in strong}) == 1:
            _as_wide(plan, strong)
            return
        _refuse_several(heads, strong)
    _fallback(plan, shares, head, body)


def _as_wide(plan: Layout, columns: list[int]) -> None:
    unit = plan.headings[columns[0]].unit
    for i in columns:
        plan.headings[i] = Heading(plan.headings[i].text, "kv", plan.headings[i].unit or unit)
    plan.values, plan.shots, plan.kind = columns, list(range(1, len(columns) + 1)), "wide"


def _unlabelled(heads: list[Heading], shares: list[float], at: int) -> list[int]:
    out = []
    for i in range(at + 1, len(heads)):
        if heads[i].text or shares[i] < 0.5:
            break
        out.append(i)
    return out


def _shots(heads: list[Heading], shares: list[float]) -> list[int]:
    """The numbered headings that count breakdowns: one prefix, 1 2 3 ..., cells that are numbers."""
    groups: dict[str, list[int]] = {}
    for i, h in enumerate(heads):
        if h.shot is not None and (shares[i] >= 0.3 or _counts_breakdowns([h])):
            groups.setdefault(h.prefix, []).append(i)
    good: list[list[int]] = []
    for prefix, members in groups.items():
        if not any(shares[i] > 0 for i in members):
            continue
        numbers = [heads[i].shot for i in members]
        known = heading(prefix).name if prefix else "kv"
        known = "order" if prefix in _COUNTING else known
        if known in (
            "sample",
            "filling",
            "fluid",
            "laboratory",
            "method",
            "operator",
            "instrument",
            "temperature_c",
            "water_mg_kg",
        ):
            continue
        if numbers == list(range(1, len(numbers) + 1)) and (len(numbers) >= 2 or known in ("kv", "order")):
            good.append(members)
        elif len(numbers) >= 2 and sorted({n or 0 for n in numbers}) == numbers and known in ("kv", "order"):
            good.append(members)
    return max(good, key=len, default=[])


def _refuse_several(heads: list[Heading], found: list[int]) -> None:
    names = ", ".join(repr(heads[i].text) for i in found)
    raise UnusableFile(
        f"Several columns could hold the breakdown voltages: {names}. Say which with --value.",
        rule="one column of voltages, or b1, b2, b3 ...",
    )


def _fallback(plan: Layout, shares: list[float], head: int | None, body: list[list[str]]) -> None:
    """No heading speaks of voltage: the only column of numbers, or a plain refusal that says what to do."""
    heads = plan.headings
    units = [
        i
        for i, h in enumerate(heads)
        if h.unit in ("kV", "V", "kVp", "Vp", "kV/mm") and not h.summary and h.name is None
    ]
    numeric = [i for i, s in enumerate(shares) if s >= 0.5 and heads[i].name is None and not heads[i].summary]
    numeric = [i for i in numeric if i in units] or [
        i for i in numeric if not is_label(heads[i]) and not _counts(body, i)
    ]
    if not numeric:
        numeric = [i for i, s in enumerate(shares) if s >= 0.5 and heads[i].name is None and is_time(heads[i])][:2]
    means = [h for h in heads if h.summary]
    if means and (not numeric or any(h.summary in ("sd", "cov", "count") for h in means)):
        raise UnusableFile(
            "The file holds summaries only ("
            + ", ".join(repr(h.text) for h in means)
            + "), no single breakdowns; distributions and shifts need the breakdowns themselves. "
            "If a column does hold one result a row, name it with --value.",
            rule="single breakdowns, not means",
        )
    if head is None and len(numeric) > 1:
        _headless(plan, body, numeric)
        return
    if len(numeric) == 1:
        plan.values = numeric
        plan.voltage = numeric[0] in units
        text = heads[numeric[0]].text
        plan.guesses.append(
            (
                "breakdown voltages",
                text or f"column {numeric[0] + 1}",
                "the only column of numbers that is no label",
                "--value",
            )
        )
        return
    if len(numeric) > 1:
        _refuse_several(heads, numeric)
    listed = ", ".join(repr(h.text) for h in heads if h.text) or "none"
    raise UnusableFile(
        f"No column of breakdown voltages was found (headings: {listed}). Say which with --value.",
        rule="a column of voltages",
    )


def _counts(body: list[list[str]], at: int) -> bool:
    """Whether the column only counts rows: 1, 2, 3 ... or 0, 1, 2 ..."""
    held = [normalise(r[at]) for r in body if r[at].strip()]
    if len(held) < 3 or not all(t.isdigit() for t in held):
        return False
    numbers = [int(t) for t in held]
    return numbers in (list(range(1, len(numbers) + 1)), list(range(len(numbers))))


def _headless(plan: Layout, body: list[list[str]], numeric: list[int]) -> None:
    """Several columns of numbers without a heading: one row a filling, if they look alike."""
    like = []
    for i in numeric:
        held = [parse(r[i]).value for r in body if is_number(r[i])]
        middle = sorted(held)[len(held) // 2] if held else 0
        if 1 <= middle <= 120:
            like.append(i)
    if len(body) == 1:
        plan.guesses.append(("shape", "one row of breakdowns", "a single row of numbers", "--layout"))
    if len(like) < 2 or like != list(range(like[0], like[-1] + 1)):
        _refuse_several(plan.headings, numeric)
    plan.guesses.append(
        (
            "breakdowns",
            f"columns {like[0] + 1} to {like[-1] + 1}, one row a filling",
            "numbers between 1 and 120 without a heading",
            "--value",
        )
    )
    _as_wide(plan, like)
    texts = Counter(bool(r[i].strip()) for r in body for i in range(len(r)) if i not in like)
    if texts[True] and like[0] > 0 and plan.headings[0].name is None:
        plan.headings[0] = Heading(plan.headings[0].text, "sample")
        plan.guesses.append(("sample", "the first column", "labels before the numbers", "--column sample="))

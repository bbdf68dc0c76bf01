"""Which columns hold the breakdowns: said by the user, by the headings, or by being the only numbers."""

from __future__ import annotations

from collections import Counter

from methods.columns import COLUMNS, OIL, PLACE
from methods.errors import InputError, UnusableFile
from methods.records.cells import NO_BREAKDOWN, normalise, parse, unit_of
from methods.records.headings import Heading, fold, is_label, is_time, read_heading
from methods.records.layout import COUNTING, Layout, counts_breakdowns, is_number
from methods.records.levels import level_columns, shown

#: A number behind these is a name or a measurement, not the number of a breakdown: ``sample 1``.
_NUMBERED = (*OIL, *PLACE, "method", "filling", "temperature_c", "water_mg_kg")


def apply_means(plan: Layout, means: dict[int, str]) -> None:
    """Apply what was said of columns by their place: the name of a column of the table, ``kv``, or ``own``."""
    for i, h in enumerate(plan.headings):
        name = means.get(i)
        if name == "kv":
            plan.headings[i] = Heading(h.text, "kv", h.unit if unit_of(h.unit) else None)
        elif name in COLUMNS:
            plan.headings[i] = Heading(h.text, name, h.unit)
        elif name is not None or (h.name in means.values() and h.name is not None):
            plan.headings[i] = Heading(h.text, None, h.unit)
    if "kv" in means.values():
        plan.values = sorted(i for i, name in means.items() if name == "kv")


def apply_names(plan: Layout, columns: dict[str, str]) -> None:
    """Apply what the user said about columns."""
    for name, text in columns.items():
        known = name if name in COLUMNS else (read_heading(name).name or name)
        if text.strip() == "-" and known != "kv":  # no column is this one
            for i, h in enumerate(plan.headings):
                if h.name == known:
                    plan.headings[i] = Heading(h.text, None, h.unit)
            plan.unwanted.add(known)
            continue
        found = [i for i, h in enumerate(plan.headings) if h.text == text] or [
            i for i, h in enumerate(plan.headings) if fold(h.text) == fold(text) and (h.text or text)
        ]
        if not found and text.isdecimal() and 1 <= int(text) <= len(plan.headings):
            found = [int(text) - 1]
        if not found:
            named = [i for i, h in enumerate(plan.headings) if h.name == read_heading(text).name and h.name]
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


def choose_values(
    plan: Layout, body: list[list[str]], shares: list[float], head: int | None, shape: str | None
) -> None:
    """Say which columns of the layout hold breakdowns, in place.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out; changed in place.
    body : list of list[str]
        Its first rows below the heading.
    shares : list of float
        Share of numbers in each column, fractions.
    head : int or None
        Index of the heading; None: there is none.
    shape : str or None
        The layout that the caller said; None: told by the cells.
    """
    heads = plan.headings
    if shape is None and _by_levels(plan, shares):
        return
    shots = [] if shape == "long" else _shots(heads, shares)
    named = [
        i
        for i, h in enumerate(heads)
        if h.name == "kv" and not (h.text and any(h.text == heads[s].text for s in shots))
    ]
    strong = [i for i in named if shares[i] > 0 or not any(shares)]
    if named and not strong and not shots and not any(r[i].strip() for r in body for i in named):
        _refuse_empty(plan, named)
    strong = _believed(plan, body, strong)
    if strong and shots and not counts_breakdowns([heads[i] for i in shots]):
        shots = []  # param1, param2 ... beside a column that speaks of a voltage
    if shots and (len(shots) > 1 or not strong):
        plan.values, plan.shots, plan.kind = shots, [heads[i].shot or 0 for i in shots], "wide"
        if not counts_breakdowns([heads[i] for i in shots]):
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


def _refuse_empty(plan: Layout, named: list[int]) -> None:
    others = ", ".join(repr(h.text) for i, h in enumerate(plan.headings) if h.text and i not in named)
    raise UnusableFile(
        f"The column {plan.headings[named[0]].text!r} holds nothing. If another one holds the voltages ({others}), "
        "say which with --value.", column=plan.headings[named[0]].text, rule="a column of voltages that holds some",
    )  # fmt: skip


def counts_up(cells: list[str]) -> bool:
    """Whether numbers count breakdowns: 1, 2, 3 ..., from 1 on again and again."""
    held = [t for c in cells if (t := normalise(c).rstrip("."))]
    numbers = [int(t) for t in held if t.isdecimal()]
    if len(numbers) < 3 or len(numbers) < 0.6 * len(held) or numbers[0] != 1 or max(numbers) > 100:
        return False
    return all(b in (a + 1, 1) for a, b in zip(numbers, numbers[1:], strict=False))


def _believed(plan: Layout, body: list[list[str]], strong: list[int]) -> list[int]:
    """The columns that speak of a voltage without those that count the breakdowns; those become their order."""
    counting = [i for i in strong if counts_up([r[i] for r in body])]
    if not counting:
        return strong
    heads = plan.headings
    for i in counting:
        taken = any(h.name == "order" for h in heads)
        plan.guesses.append(("order", heads[i].text, "its numbers count 1, 2, 3 ...: not voltages", "--value"))
        heads[i] = Heading(heads[i].text, None if taken else "order")
    return [i for i in strong if i not in counting]


def share_of_numbers(body: list[list[str]], at: int) -> float:
    """The share of the column's non-empty cells that are numbers or withstands."""
    held = [r[at] for r in body if r[at].strip()]
    good = sum(is_number(t) or parse(t).kind == NO_BREAKDOWN for t in held)
    numbers = sum(map(is_number, held))
    return good / len(held) if held and numbers else 0.0


def _by_levels(plan: Layout, shares: list[float]) -> bool:
    """Columns whose headings are levels of a factor, where no other column speaks of a voltage."""
    heads = plan.headings
    columns, levels = level_columns(heads, shares)
    plain = [i for i, h in enumerate(heads) if h.name == "kv" and shares[i] > 0 and i not in columns]
    if not columns or plain or any(h.name == n for h in heads for n in levels[0] if heads.index(h) not in columns):
        return False
    shots = _shots(heads, shares)
    if len(shots) > 1 and not set(shots) & set(columns):
        return False
    values: list[int] = []
    plan.shots, plan.levels = [], []
    for at, level in zip(columns, levels, strict=True):
        unit = heads[at].unit if unit_of(heads[at].unit) else None
        group = [at, *_unlabelled(heads, shares, at)]
        for shot, i in enumerate(group, 1):
            heads[i] = Heading(heads[i].text, "kv", unit)
            values.append(i)
            plan.shots.append(shot)
            plan.levels.append(level)
    plan.values, plan.kind = values, "levels"
    below = plan.cells[plan.first] if plan.first < len(plan.cells) else []
    if len(values) > len(columns) and [below[i].strip().rstrip(".") for i in values] == [str(s) for s in plan.shots]:
        plan.first += 1  # a second line of headings that counts the breakdowns
    texts = ", ".join(repr(heads[i].text) for i in columns)
    plan.guesses.append(("levels", shown(levels), f"the headings {texts} over numbers", "--value or --layout wide"))
    return True


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
        if h.shot is not None and (shares[i] >= 0.3 or counts_breakdowns([h])):
            if h.unit in (None, "-", "kV", "V", "kVp", "Vp", "kV/mm", "kV/cm"):  # 2 mm is a gap, not the second
                groups.setdefault(h.prefix, []).append(i)
    good: list[list[int]] = []
    for prefix, members in groups.items():
        if not any(shares[i] > 0 for i in members):
            continue
        numbers = [heads[i].shot for i in members]
        known = read_heading(prefix).name if prefix else "kv"
        known = "order" if prefix in COUNTING else known
        if known in _NUMBERED:
            continue
        if numbers == list(range(1, len(numbers) + 1)) and (len(numbers) >= 2 or known in ("kv", "order")):
            good.append(members)
        elif len(numbers) >= 2 and sorted({n or 0 for n in numbers}) == numbers and known in ("kv", "order"):
            good.append(members)
    return max(good, key=len, default=[])


def _refuse_several(heads: list[Heading], found: list[int]) -> None:
    names = ", ".join(repr(heads[i].text or str(i + 1)) for i in found)
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
    if not numeric and any(h.name == "order" for h in heads):  # one result a row, and the rows are counted
        numeric = [i for i, s in enumerate(shares) if s >= 0.5 and _result(heads[i])]
        if len(numeric) == 1:
            heads[numeric[0]] = Heading(heads[numeric[0]].text, None, heads[numeric[0]].unit)
    means = [h for h in heads if h.summary and h.summary not in ("count", "total")]
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


def _result(head: Heading) -> bool:
    return head.summary == "total" or head.name == "outcome"


def _counts(body: list[list[str]], at: int) -> bool:
    """Whether the column only counts rows: 1, 2, 3 ... or 0, 1, 2 ..."""
    held = [normalise(r[at]) for r in body if r[at].strip()]
    if len(held) < 3 or not all(t.isdecimal() for t in held):
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

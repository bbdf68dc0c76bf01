"""Which column is which: rivals for one meaning, contents that belie a heading, units of the voltages, the gap."""

from __future__ import annotations

import re

import numpy as np

from methods.columns import PLACE, without
from methods.records import factors
from methods.records.coded import Body
from methods.records.facts import topic_of
from methods.records.headings import Heading, doubtful, fold, read_heading, vocabulary
from methods.records.kept import Log
from methods.records.layout import COUNTING, Layout
from methods.records.options import Options
from methods.records.value_columns import counts_up
from methods.records.voltages import FACTORS

#: What a doubtful heading may be taken for only with a word.
_TOLD = ("sample", "filling", "method", *without(PLACE, "operator"))
_FLUIDS = re.compile(
    r"mineral|ester|silicon|naphthen|paraffin|hydrocarbon|synthetic|uninhibited|inhibited|askarel|mineralol"
)


def settle_names(plan: Layout, body: Body, log: Log) -> None:
    """Give each contract column to one heading: the best known one; the others keep their own heading.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out; changed in place.
    body : Body
        Its cells below the heading.
    log : Log
        Takes the problems and guesses.
    """
    heads = plan.headings
    for i, h in enumerate(heads):
        if h.name == "tested_on" and not factors.looks_like_dates(body.columns[i]):
            heads[i] = Heading(h.text, None, h.unit)
        if h.summary and i not in plan.values:
            plan.summaries[i] = h.summary
    _by_topic(plan, body, log)
    _find_order(plan, body, log)
    names = {h.name for h in heads if not doubtful(h.text)}
    for i, h in enumerate(heads):
        if h.name == "fluid" and "sample" not in names and i not in plan.values:
            seen = body.columns[i].uniques
            if not seen or not any(_FLUIDS.search(fold(t)) for t in seen):
                heads[i] = Heading(h.text, "sample", h.unit)
                if fold(h.text) not in ("oil", "ol"):
                    log.guess("sample", f"the column {h.text!r}", "its cells name no kind of liquid",
                              "--column fluid=HEADING", code="heading")  # fmt: skip
    for name in sorted({h.name for i, h in enumerate(heads) if h.name and h.name != "kv" and i not in plan.values}):
        rivals = [i for i, h in enumerate(heads) if h.name == name]
        if len(rivals) > 1:
            _rank(plan, name, rivals)
    for i, h in enumerate(heads):
        if plan.levels and i not in plan.values and h.name in plan.levels[0]:  # the heading of the values says it
            heads[i] = Heading(h.text, None, h.unit)
    for i, h in enumerate(heads):
        if h.name == "kv" and i not in plan.values:
            heads[i] = Heading(h.text, None, h.unit)
    for i, h in enumerate(heads):
        if i not in plan.values and h.name in _TOLD and doubtful(h.text):
            log.guess(h.name, f"the column {h.text!r}", "a heading that may mean something else",
                      f"--column {h.name}=HEADING, or --column {h.name}=- for none", code="heading")  # fmt: skip
    if plan.summaries:
        shown = ", ".join(repr(heads[i].text) for i in sorted(plan.summaries) if heads[i].text)
        if shown:
            log.guess("summaries", shown, "the headings; not read as breakdowns", "--value")


def _by_topic(plan: Layout, body: Body, log: Log) -> None:
    """Headings that are not known but speak of electrodes, the gap or stirring."""
    for i, h in enumerate(plan.headings):
        if i in plan.values or i in plan.summaries or h.name is not None or h.shot is not None or not h.text:
            continue
        name = topic_of(h.text)
        if name is None or any(o.name == name for o in plan.headings) or body.columns[i].numbers is not None:
            continue
        plan.headings[i] = Heading(h.text, name, h.unit)
        log.guess(
            name, f"the column {h.text!r}", "the heading speaks of it", f"--column {name}=HEADING", code="heading"
        )


def _find_order(plan: Layout, body: Body, log: Log) -> None:
    """``No.`` over numbers that count 1, 2, 3 ... in a long table is the order of the breakdowns."""
    heads = plan.headings
    if len(plan.values) != 1 or any(h.name == "order" for h in heads):
        return
    for i, h in enumerate(heads):
        column = body.columns[i]
        if i in plan.values or h.name is not None or column.numbers is not None or len(body) > 100_000:
            continue
        if fold(h.text) not in COUNTING | {"nº", "lp", "n o", "c", "№"}:
            continue
        texts = [column.text(r) for r in range(len(body))]
        if counts_up([t for t in texts if t.rstrip(".").isdecimal()]):
            heads[i] = Heading(h.text, "order", None)
            log.guess("order", f"the column {h.text!r}", "its numbers count 1, 2, 3 ...", "--column order=HEADING")
            return


def _rank(plan: Layout, name: str, rivals: list[int]) -> None:
    words = [fold(w) for w in vocabulary()["headings"][name]]

    def place(i: int) -> tuple[int, int]:
        text = plan.headings[i].text
        key = fold(text)
        rank = -1 if text == name else words.index(key) if key in words else 999
        return (rank + (2000 if doubtful(text) else 0), i)

    for i in sorted(rivals, key=place)[1:]:
        h = plan.headings[i]
        second = read_heading(h.text).second
        free = second if second and not any(o.name == second for o in plan.headings) else None
        plan.headings[i] = Heading(h.text, free, h.unit)


def gaps_below(plan: Layout, body: Body, gaps: np.ndarray) -> np.ndarray:
    """The gap of each row; a row with nothing but readings goes on with the gap of the row above.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    gaps : ndarray
        (rows,) Gaps, mm; nan where none stands.
    """
    if not np.isnan(gaps).any() or np.isnan(gaps).all() or len(gaps) > 200_000:
        return gaps
    labels = [c for i, c in enumerate(body.columns) if i not in plan.values and i not in plan.summaries]
    bare = np.ones(len(gaps), bool)
    for column in labels:
        bare &= np.isnan(column.numbers) if column.numbers is not None else column.codes < 0
    out = gaps.copy()
    for r in np.flatnonzero(bare & np.isnan(gaps)):
        out[r] = out[r - 1] if r else np.nan
    return out


def units_of(plan: Layout, options: Options, log: Log) -> list[str | None]:
    """The unit of each voltage column: said by the caller, the heading, or a line above the heading.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    options : Options
        What the caller said.
    log : Log
        Takes the problems and guesses.
    """
    out: list[str | None] = []
    for i in plan.values:
        own = plan.headings[i].unit
        unit = options.unit or (own if own in FACTORS else None) or plan.meta.get("unit")
        unit = unit if unit in FACTORS else _named_unit(unit)
        out.append(unit)
        if unit in ("kVp", "Vp"):
            log.guess(
                "unit",
                f"{unit}: peak, divided by √2",
                repr(plan.headings[i].text) if own == unit else "as given",
                "--unit kV",
            )
    return out


def _named_unit(text: str | None) -> str | None:
    from methods.records.cells import unit_of

    return unit_of(text)


def gap_of(plan: Layout, body: Body, rows: np.ndarray, log: Log) -> np.ndarray:
    """The gap of each row in mm: from its column, else from the lines above the heading.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    rows : ndarray
        Row of each in the file.
    log : Log
        Takes the problems and guesses.
    """
    at = next((i for i, h in enumerate(plan.headings) if h.name == "gap_mm" and i not in plan.values), None)
    out = np.full(len(body), np.nan)
    if at is not None:
        out = factors.numbers("gap_mm", body.columns[at], plan.headings[at], rows, log)
    if "gap_mm" in plan.meta and np.isnan(out).all():
        read = factors.amount(plan.meta["gap_mm"])
        if read is not None:
            value = factors.convert("gap_mm", read[0], read[1])
            log.guess("gap_mm", plan.meta["gap_mm"], plan.places.get("gap_mm", "a line above the heading"),
                      "--column gap_mm=HEADING, or --column gap_mm=- for none")  # fmt: skip
            log.guess("gap_mm", plan.meta["gap_mm"], plan.places.get("gap_mm", "a line above the heading"),
                      "--column gap_mm=HEADING, or --column gap_mm=- for none")  # fmt: skip
            out = np.full(len(body), np.nan if value is None else value)
    return out

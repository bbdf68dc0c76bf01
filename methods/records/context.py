"""What is said around a table by its title, lines of the sheet, names of sheet and file; and who is believed.

A column of the table comes first (:mod:`methods.records.assemble`), then the title of the table, lines of the sheet,
the sheet's name, the file's name. Two that contradict each other are shown, never settled silently.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable
from pathlib import Path

from methods.columns import COLUMNS, PROCEDURE, SETTING
from methods.records.account import Account
from methods.records.blocks import Cut, Line
from methods.records.cells import normalise
from methods.records.facts import Facts, column_called, facts_of, plain_value
from methods.records.headings import fold, read_heading
from methods.records.kept import Log
from methods.records.layout import Layout, is_number
from methods.records.text import Said, Sheet

HAND, TITLE, LINE, SHEET, FILE = range(5)
_LEGEND = re.compile(
    r"\s*(?:[^\W\d_]{0,12}\s)?([A-Z]|[IVX]{1,4}|\d{1,2}|[^\W\d_]{1,12} ?[A-Z0-9]{1,2})\s*[:=)–-]\s*(.+)", re.DOTALL
)
#: A file's name tells a method only where it says more than a number.
_NAMES_METHOD = re.compile(r"astm|iec|vde|d\s*-?\s*(?:877|1816)|1816|60156", re.IGNORECASE)
#: Names that a sheet's or a file's name can tell of.
_BODY = re.compile(r"(?:iec|astm|din|jis|gost|gb|ieee|bs|en)", re.IGNORECASE)  # a sheet that is called so
_BY_NAME = (*PROCEDURE, "edition", "temperature_c")


def said_by_lines(lines: Iterable[Line], level: int, place: str, account: Account | None, sheet: str) -> list[Said]:
    """What lines of text say: labels with a value in the next cell, pairs within a cell, running words.

    Parameters
    ----------
    lines : iterable of Line
        Row, column and text of each.
    level : int
        How near to the table it stands; the nearest counts.
    place : str
        What the lines are, for messages.
    account : Account or None
        Told of every cell that says something.
    sheet : str
        Name of the sheet.
    """
    out: list[Said] = []
    by_row: dict[int, list[Line]] = {}
    for line in lines:
        by_row.setdefault(line[0], []).append(line)
    for row, cells in sorted(by_row.items()):
        where = f"{place} (row {row})"
        at = 0
        while at < len(cells):
            text = normalise(cells[at][2])
            name, unit = _label(text)
            value = normalise(cells[at + 1][2]) if at + 1 < len(cells) else ""
            of_the_way = name in ("sample", "fluid") and set(facts_of(value).said) & set(SETTING)
            if name and value and not _is_label(value) and not of_the_way:
                text = value + (f" {unit}" if unit and not re.search(r"[^\W\d]|°", value) else "")
                out.append(Said(name, text, where, level))
                _mark(account, sheet, cells[at : at + 2], "context", f"{name}: {text}")
                at += 2
                continue
            found = facts_of(text)
            out += [Said(n, t, where, level) for n, t in found.said.items()]
            if found.said:
                _mark(account, sheet, cells[at : at + 1], "context", _shown(found))
            else:
                _mark(account, sheet, cells[at : at + 1], "title", "a line of text")
            at += 1
    return out


def _shown(found: Facts) -> str:
    return ", ".join(f"{n}: {t}" for n, t in found.said.items())


def _mark(account: Account | None, sheet: str, lines: list[Line], role: str, why: str) -> None:
    if account is not None:
        for row, column, _ in lines:
            account.mark(sheet, row, column, role, why)


def _label(text: str) -> tuple[str | None, str | None]:
    """The column that a label cell (``Electrodes:``) stands for, and its unit; none for any other text."""
    bare = text.rstrip(" :=：#")
    if not bare or len(bare) > 40 or is_number(bare):
        return None, None
    name = column_called(bare)
    unit = read_heading(bare).unit
    return name, None if unit == "-" else unit


def _is_label(text: str) -> bool:
    """Whether a cell is a label itself and not the value of the label before it."""
    return text.endswith((":", "：", "="))


def by_name(name: str, level: int, place: str) -> list[Said]:
    """What the name of a sheet or a file says.

    Parameters
    ----------
    name : str
        The name.
    level : int
        How near to the table it stands; the nearest counts.
    place : str
        Whose name it is, for messages.
    """
    text = re.sub(r"[_]+|-{2,}|(?<=[a-zA-Z])-(?=[a-zA-Z\d])|(?<=[a-zA-Z\d])-(?=[a-zA-Z])", " ", name)
    found = facts_of(text)
    if not found.said:
        found = facts_of(name)
    return [Said(n, t, place, level) for n, t in found.said.items() if n in _BY_NAME]


def by_file(called: str) -> list[Said]:
    """What a file's name says."""
    stem = Path(called).stem if "." in called else called
    found = by_name(stem, FILE, "the file's name")
    return found if _NAMES_METHOD.search(stem) else [s for s in found if s.name != "method"]


def give_context(found: Cut, sheet: str, file: list[Said], account: Account, log: Log) -> None:
    """Put beside each table what is said of it, in place.

    Parameters
    ----------
    found : Cut
        The tables of a sheet and the lines between them.
    sheet : str
        Name of the sheet.
    file : list of Said
        What the file's name says.
    account : Account
        Told of every cell that says something.
    log : Log
        Takes the problems and guesses.
    """
    legend, lines = _legend(found.lines)
    everywhere = said_by_lines(lines, LINE, "a line of the sheet", account, sheet)
    everywhere += by_name(sheet, SHEET, f"the sheet's name {sheet!r}") if sheet else []
    if _BODY.fullmatch(sheet.strip()):  # it does not say which of its methods
        everywhere.append(Said("method", sheet.strip(), f"the sheet's name {sheet!r}", SHEET))
    own = []
    for block in found.blocks:
        said = said_by_lines(block.lines, TITLE, "the title of the table", account, sheet)
        for _, _, text in block.lines:
            said += [Said(n, t, f"the line {text!r}", TITLE) for n, t in _from_legend(text, legend).items()]
        own.append(said)
    first = {s.name for s in own[0]}
    told = [{s.name for s in said} for said in own]
    alone = {n for n in first if not any(n in t for t in told[1:])}
    shared = [
        dataclasses.replace(s, level=LINE) for s in own[0] if s.name in alone and s.name not in ("sample", "filling")
    ]
    for at, (block, said) in enumerate(zip(found.blocks, own, strict=True)):
        block.sheet.context = (*said, *everywhere, *(shared if at else ()), *file)
        block.sheet.legend = legend
        missing = {n for t in told for n in t if n in PROCEDURE} - {s.name for s in block.sheet.context}
        if missing and said:
            log.problem(
                block.sheet.rows[0], ", ".join(sorted(missing)), block.lines[0][2] if block.lines else "",
                f"the titles of other tables of the sheet say {', '.join(sorted(missing))}, that of this one does not",
                f"kept; {', '.join(sorted(missing))} stay empty where no column says it", code="context_missing",
            )  # fmt: skip


def _legend(lines: list[Line]) -> tuple[dict[str, dict[str, str]], list[Line]]:
    """``A = disk 2.54 mm, no stirring``: what letters and numbers stand for; and the lines that are no such thing."""
    out: dict[str, dict[str, str]] = {}
    rest = []
    for line in lines:
        found = _LEGEND.fullmatch(normalise(line[2]))
        said = facts_of(found[2]).said if found and _label(found[1])[0] is None else {}
        if found and any(n in said for n in PROCEDURE):
            out[fold(found[1])] = said
        else:
            rest.append(line)
    return (out, rest) if len(out) > 1 else ({}, lines)


def _from_legend(text: str, legend: dict[str, dict[str, str]]) -> dict[str, str]:
    words = fold(text).split()
    for key in (fold(text), words[-1] if words else ""):
        if key in legend:
            return legend[key]
    return {}


def settled(said: Iterable[Said], log: Log) -> tuple[dict[str, str], dict[str, str]]:
    """Name -> text and name -> place, from the nearest that says it; those further off that differ are told."""
    meta: dict[str, str] = {}
    places: dict[str, str] = {}
    for entry in sorted(said, key=lambda s: s.level):
        if entry.name not in meta:
            meta[entry.name], places[entry.name] = entry.text, entry.place
        elif plain_value(entry.name, entry.text) != plain_value(entry.name, meta[entry.name]) and entry.name in COLUMNS:
            if entry.name == "method" and entry.level >= SHEET:
                continue
            log.problem(
                None, entry.name, f"{meta[entry.name]} ({places[entry.name]}); {entry.text} ({entry.place})",
                "two places say different things", f"kept {meta[entry.name]}", code="contradiction",
            )  # fmt: skip
    return meta, places


def take_context(plan: Layout, sheet: Sheet, log: Log) -> None:
    """Settle what is said around a table into ``plan.meta``, in place.

    Parameters
    ----------
    plan : Layout
        How the table is laid out; changed in place.
    sheet : Sheet
        The table.
    log : Log
        Takes the problems and guesses.
    """
    meta, places = settled(sheet.context, log)
    plan.meta = {k: v for k, v in {**meta, **plan.meta}.items() if k not in plan.unwanted}
    plan.places = places

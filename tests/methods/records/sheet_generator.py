# ruff: noqa: E501
"""Sheets composed from a truth, as different people would type them, to be read back and scored against it.

All oils and numbers are invented. A seed gives a sheet. From the command line, in the root of the project::

    python -m tests.methods.records.sheet_generator 100000 --from 0   # counts, and the seeds of what went wrong
    python -m tests.methods.records.sheet_generator --show 17         # one sheet and what is found wrong with it
"""

from __future__ import annotations

import argparse
import io
import json
import random
import statistics
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.methods.records.sheet_words import WORDS

GAPS = {"disk": (2.54, 2.5, 2.0), "spherical": (2.5, 2.0), "mushroom": (1.0, 2.0, 2.5)}
NAMES = ("Elm", "Ash", "Oak", "T 12", "Q-88", "Lot A7", "Drum 3", "North tank", "5540", "5541", "H/17", "Nr 4", "S1", "Marl", "B 20")  # fmt: skip


@dataclass
class Reading:
    filling: str
    order: int
    kv: float
    outcome: str = "breakdown"
    shown: float = 0.0  # in the unit of the sheet
    text: str = ""  # as it is written, where that is no number


@dataclass
class Series:
    """One filling: its sample, its procedure (electrode, gap, stirring) and its readings."""

    name: str
    sample: str
    procedure: tuple[str, float, str]
    number: int
    readings: list[Reading]


@dataclass
class Made:
    """A file and its truth."""

    name: str
    raw: bytes
    truth: dict[str, Any]
    how: dict[str, Any] = field(default_factory=dict)


class Writer:
    """One sheet in the making: words of one language, chances, what is told where."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.lang = self.rng.choice(list(WORDS))
        self.words = WORDS[self.lang]
        self.how: dict[str, Any] = {"language": self.lang}
        self.unit = self.rng.choice(("kV",) * 10 + ("V", "kV/mm", "kV/cm"))
        self.whole = self.rng.random() < 0.1 and self.unit == "kV"
        self.stood = self.unit == "kV" and not self.whole and self.rng.random() < 0.12
        self.stood_words = False  # the ceiling stands in a line above
        self.chosen: dict[str, str] = {}

    def word(self, key: str) -> str:
        return self.rng.choice(self.words.get(key) or WORDS["en"][key])

    def same(self, key: str) -> str:
        """The same spelling throughout the sheet."""
        return self.chosen.setdefault(key, self.word(key))

    def chance(self, p: float) -> bool:
        return self.rng.random() < p

    # ------------------------------------------------------------------ truth

    def series(self) -> list[Series]:
        rng = self.rng
        count = rng.choice((1, 1, 2, 2, 3))
        procedures: list[tuple[str, float, str]] = []
        while len(procedures) < count:
            electrode = rng.choice(("disk", "spherical", "mushroom"))
            new = (
                electrode,
                rng.choice(GAPS[electrode]),
                rng.choice(("none", "none", "continuous", "continuous", "between")),
            )
            if new not in procedures:
                procedures.append(new)
        samples = rng.sample(NAMES, rng.choice((1, 2, 2, 3, 4)))
        fillings = 2 if self.chance(0.2) else 1
        size = rng.choice((5, 5, 6, 6, 3, 10))
        used: set[float] = set()
        out = []
        for procedure in procedures:
            for sample in samples:
                middle = rng.uniform(28, 68)
                for number in range(1, fillings + 1):
                    name = f"f{len(out)}"
                    values: list[Reading] = []
                    while len(values) < size:
                        kv = round(rng.gauss(middle, 0.1 * middle), 0 if self.whole else 1)
                        if 5 < kv < 74 and (self.whole or kv not in used):
                            used.add(kv)
                            values.append(self.reading(name, len(values) + 1, kv, procedure[1]))
                    out.append(Series(name, sample, procedure, number, values))
        self.how |= {"procedures": count, "samples": len(samples), "fillings": fillings, "size": size}
        return out

    def reading(self, name: str, order: int, kv: float, gap: float) -> Reading:
        """One reading in the unit of the sheet; now and then withstood."""
        if self.stood and self.chance(0.15):
            return Reading(name, order, 75.0, "withstood", 75.0, self.same_stood())
        per = {"kV": 1.0, "V": 1e-3, "kV/mm": gap, "kV/cm": gap / 10}[self.unit]
        digits = {"kV": 1, "V": 0, "kV/mm": 2, "kV/cm": 1}[self.unit]
        shown = round(kv / per, digits)
        return Reading(name, order, shown * per, "breakdown", shown)

    def same_stood(self) -> str:
        if "stood" not in self.chosen:
            self.stood_words = self.chance(0.4)
            spellings = (">75", "> 75", "≥75", "75+", ">75 kV", "75 no BD", "> 75.0")
            self.chosen["stood"] = self.word("nobd") if self.stood_words else self.rng.choice(spellings)
            self.how["stood"] = self.chosen["stood"]
        return self.chosen["stood"]

    def kv_head(self) -> str:
        """The heading of the readings, with their unit."""
        if self.unit == "kV":
            return self.same("kv")
        return (
            self.same("volt")
            if self.unit == "V"
            else self.same("field")
            .replace("kV/mm", self.unit)
            .replace("кВ/мм", {"kV/cm": "кВ/см"}.get(self.unit, "кВ/мм"))
        )

    @property
    def digits(self) -> int:
        return {"kV": 0 if self.whole else 1, "V": 0, "kV/mm": 2, "kV/cm": 1}[self.unit]

    # ------------------------------------------------------------------ words for a procedure

    def title(self, procedure: tuple[str, float, str], stirring: bool = True) -> str:
        electrode, gap, stir = procedure
        parts = [self.word(f"t_{electrode}"), self.gap(gap)]
        if stirring:
            parts.append(self.word(f"t_{stir}"))
        if self.chance(0.2):
            parts[1:] = reversed(parts[1:])
        mark = self.rng.choice((", ", ", ", " - ", "; ", " / ", " "))
        text = mark.join(parts)
        return self.rng.choice((text, text, f"{self.word('title')}: {text}", f"{self.word('title')} – {text}"))

    def gap(self, mm: float, bare: bool = False) -> str:
        text = f"{mm:g}" if self.chance(0.7) or mm != int(mm) else f"{mm:.1f}"
        text = text.replace(".", ",") if self.comma else text
        return text if bare else text + self.rng.choice((" mm", " mm", "mm"))

    @property
    def comma(self) -> bool:
        return self.lang not in ("en", "zh", "ja") and self.decimal == ","

    # ------------------------------------------------------------------ tables

    def labels(self, s: Series, keys: list[str]) -> list[Any]:
        out: list[Any] = []
        electrode, gap, stir = s.procedure
        for key in keys:
            out.append({
                "sample": lambda: s.sample, "electrode": lambda: self.same(electrode), "stirring": lambda: self.same(stir),
                "gap": lambda: self.gap(gap, bare="mm" in self.same("gap") or "мм" in self.same("gap")),
                "filling": lambda: str(s.number), "one": lambda: self.one(s.procedure),
                "date": lambda: f"2025-{1 + len(s.name) % 9:02d}-{10 + s.number:02d}", "temp": lambda: f"{20 + s.number}",
                "water": lambda: f"{12 + 7 * s.number}", "bottle": lambda: f"{40 + hash_of(s.name) % 20}.{s.number}",
            }[key]())  # fmt: skip
        return out

    def one(self, procedure: tuple[str, float, str]) -> str:
        """A procedure in one cell, always in the same words."""
        key = f"one{procedure}"
        if key not in self.chosen:
            electrode, gap, stir = procedure
            self.chosen[key] = (
                f"{self.word(electrode)} {self.gap(gap)}{self.rng.choice((', ', ' '))}{self.word('t_' + stir)}"
            )
        return self.chosen[key]

    def heads(self, keys: list[str]) -> list[str]:
        told = {"one": self.rng.choice(("Procedure", "Method", "Setup", self.same("electrode")))}
        return [told[k] if k in told else self.same(k) for k in keys]

    def sum_text(self, kind: str, values: list[float]) -> float:
        mean = statistics.fmean(values)
        sd = statistics.stdev(values) if len(values) > 1 else 0.0
        figure = {"mean": mean, "sd": sd, "min": min(values), "max": max(values), "range": max(values) - min(values),
                  "cov": 100 * sd / mean}[kind]  # fmt: skip
        return round(figure, max(1, self.digits) if kind == "cov" else 1 if self.whole else self.digits)

    def kinds(self) -> list[str]:
        return ["mean", *[k for k in ("sd", "min", "max", "cov") if self.chance(0.35)]]

    def long(self, series: list[Series], keys: list[str]) -> list[list[Any]]:
        counted = self.chance(0.75) or any(s.number > 1 for s in series)
        note = self.chance(0.3)
        values = self.kv_head()
        heads = [
            *self.heads(keys),
            *([self.same("order")] if counted else []),
            values,
            *([self.same("note")] if note else []),
        ]
        sums = self.rng.choice(("", "", "order", "sample", "note", "bare")) if len(series[0].readings) >= 4 else ""
        sums = "" if (sums == "order" and not counted) or (sums == "note" and not note) else sums
        kinds = self.kinds() if sums and sums != "bare" else ["mean", *(["sd"] if self.chance(0.5) else [])]
        down = sums not in ("sample",) and self.chance(0.25) and "filling" not in keys
        gaps = self.chance(0.3)
        out: list[list[Any]] = [heads]
        last = None
        for s in series:
            if gaps and last is not None:
                out.append([""] * len(heads))
            again = down and not (last is not None and last.sample == s.sample and last.procedure != s.procedure)
            for at, r in enumerate(s.readings):
                labels = self.labels(s, keys)
                if again and at:
                    labels = [BELOW] * len(labels)
                remark = self.rng.choice(("", "", "", "bubble", "rest 5 min", "45 s")) if note else ""
                out.append([*labels, *([str(r.order)] if counted else []), r, *([remark] if note else [])])
            if sums:
                for kind in kinds:
                    figure = self.sum_text(kind, [r.shown for r in s.readings])
                    labels = self.labels(s, keys) if not again else [""] * len(keys)
                    if sums == "sample":
                        labels = [self.same(kind), *[""] * (len(keys) - 1)]
                    row = [*labels, *([self.same(kind) if sums == "order" else ""] if counted else []), figure]
                    out.append([*row, *([self.same(kind) if sums == "note" else ""] if note else [])])
            last = s
        self.how |= {"summaries": sums, "counted": counted, "down": down}
        if sums == "bare" and not counted:  # nothing but arithmetic tells them
            self.how["bare"] = True
        return out

    def wide(self, series: list[Series], keys: list[str], feet: bool = True) -> list[list[Any]]:
        size = len(series[0].readings)
        rows_of_five = (
            size == 10 and self.chance(0.6) and "filling" not in keys and series[0].number == series[-1].number
        )
        width = 5 if rows_of_five else size
        style = self.same_style(width)
        sums = self.kinds() if self.chance(0.5) and width >= 3 else []
        named = self.chance(0.8)
        front = bool(sums) and named and self.chance(0.15)
        sum_heads = [self.same(k) if named else "" for k in sums]
        heads = [*self.heads(keys), *(sum_heads if front else []), *style, *([] if front else sum_heads)]
        out: list[list[Any]] = [heads]
        for s in series:
            for part in range(size // width):
                held = s.readings[part * width : (part + 1) * width]
                labels = self.labels(s, keys) if part == 0 else [""] * len(keys)
                figures = (
                    [self.sum_text(k, [r.shown for r in held]) for k in sums]
                    if not rows_of_five
                    else ["" for _ in sums]
                )
                out.append([*labels, *(figures if front else []), *held, *([] if front else figures)])
        if feet and not rows_of_five and len(series) >= 3 and self.chance(0.4):
            bare = self.chance(0.3)
            for kind in self.kinds():
                columns = [[s.readings[i].shown for s in series] for i in range(size)]
                label = "" if bare else self.same(kind)
                row = [label, *[""] * (len(keys) - 1), *[self.sum_text(kind, c) for c in columns]]
                if not front:
                    out.append([*row, *[""] * len(sums)])
            self.how["feet"] = True
        self.how |= {"wide_sums": sums, "two_rows": rows_of_five}
        return out

    def in_cells(self, series: list[Series], keys: list[str]) -> list[list[Any]]:
        return in_cells(self, series, keys)

    def same_style(self, width: int) -> list[str]:
        if "style" not in self.chosen:
            self.chosen["style"] = (
                self.rng.choice(("{n}", "{n}", "kV {n}", "BD{n}", "{n}.", "b{n}", "U{n} (kV)"))
                if self.unit == "kV"
                else "U{n} (" + self.unit + ")"
            )
        return [self.chosen["style"].format(n=n) for n in range(1, width + 1)]


#: A cell that belongs to the one above it: empty, or merged with it.
BELOW = "\0"


def hash_of(text: str) -> int:
    return sum(map(ord, text))


def make(seed: int) -> Made:
    """One file."""
    w = Writer(seed)
    w.decimal = w.rng.choice((",", "."))  # type: ignore[attr-defined]
    series = w.series()
    procedures = list(dict.fromkeys(s.procedure for s in series))
    several = len(procedures) > 1
    kind = w.rng.choice(("csv", "csv", "xlsx"))
    places = (
        ["columns", "columns", "one", "blocks", "blocks"] if several else ["columns", "one", "title", "file", "form"]
    )
    if kind == "xlsx":
        places += ["sheets", "names"] if several else ["names"]
    if several:
        places += ["side", "groups"]
    where = w.rng.choice(places)
    layout = w.rng.choice(("long", "wide", "wide", "across", "cell")) if where in ("columns", "one", "title", "file", "form") else w.rng.choice(("long", "wide"))  # fmt: skip
    if layout == "across" and w.unit != "kV" or (layout == "cell" and w.stood):
        layout = "wide"
    if where == "groups" and w.unit != "kV":
        where = "blocks"
    if where == "groups" or layout == "across":
        w.how["asked"] = layout
    w.how |= {"where": where, "layout": layout, "kind": kind, "unit": w.unit}
    stirring = not (w.chance(0.12) and where not in ("columns", "one"))
    if not stirring and len({p[:2] for p in procedures}) < len(procedures):
        stirring = True
    keys = ["sample"]
    if where == "columns":
        keys += ["electrode", "gap", "stirring"]
    elif where == "one":
        keys += ["one"]
    if any(s.number > 1 for s in series):
        keys.append("filling")
    keys += [k for k in ("date", "temp", "water", "bottle") if w.chance(0.12)]
    table = {"long": w.long, "cell": w.in_cells}.get(layout, w.wide)
    sheets: list[tuple[str, list[list[Any]]]] = []
    file = "sheet"
    by = {p: [s for s in series if s.procedure == p] for p in procedures}
    titles = {p: w.title(p, stirring) for p in procedures}
    if where in ("columns", "one", "title", "file", "form"):
        body = across(w, series, keys) if layout == "across" else table(series, keys)
        head: list[list[Any]] = []
        if where == "title":
            head = [[titles[procedures[0]]], *([[""]] if w.chance(0.5) else [])]
        elif where == "form":
            electrode, mm, stir = procedures[0]
            colon = w.rng.choice((":", ""))
            head = [[w.word("electrode") + colon, w.word(electrode)], ["Gap" + colon, w.gap(mm)]]
            head += [[w.word("stirring") + colon, w.word(stir)]] if stirring else []
            head.append([""])
        elif w.chance(0.3):
            head = [[w.word("title")], [""]]
        if where == "file":
            file = titles[procedures[0]].replace("/", " ").replace(":", "")
        sheets.append(("Sheet1", [*head, *body]))
    elif where in ("sheets", "names"):
        for n, p in enumerate(procedures):
            named = titles[p].replace("/", " ").replace(":", "").replace(";", ",")
            if where == "names" and len(named) <= 31:
                sheets.append((named, table(by[p], keys)))
            else:
                sheets.append((f"T{n + 1}", [[titles[p]], *([[""]] if w.chance(0.5) else []), *table(by[p], keys)]))
    elif where == "blocks":
        rows: list[list[Any]] = []
        gap = w.chance(0.8)
        for p in procedures:
            if rows and gap:
                rows.append([""])
            rows += [[titles[p]], *table(by[p], keys)]
        sheets.append(("Sheet1", rows))
    elif where == "side":
        parts = [table(by[p], keys) for p in procedures]
        sheets.append(("Sheet1", beside([titles[p] for p in procedures], parts, w.rng.choice((1, 2)))))
    else:
        sheets.append(("Sheet1", grouped(w, by, titles, keys)))
    name, rows0 = sheets[0]
    if w.chance(0.25) and where != "groups":
        foot = w.word("foot")
        rows0 = [*rows0, [""], [foot]]
    if w.stood_words:  # no reading says how far it was raised
        ceiling = w.word("ceiling")
        for at, (called, held) in enumerate(sheets):
            sheets[at] = (called, [*held, [""], [ceiling]])
        rows0 = [*rows0, [""], [ceiling]]
    if w.chance(0.12):
        rows0 = [[""], [""], *rows0]
    if w.chance(0.1):
        rows0 = [["", *r] for r in rows0]
    sheets[0] = (name, rows0)
    truth: dict[str, Any] = {"file": "", "class": where, "readings": [], "cells": [], "columns": {}, "must_ask": []}
    for s in series:
        electrode, mm, stir = s.procedure
        known: dict[str, Any] = {"sample": s.sample, "electrode": electrode, "gap_mm": mm}
        if stirring:
            known["stirring"] = stir
        if "filling" in keys:
            known["filling"] = str(s.number)
        truth["columns"][s.name] = known
    if not stirring:
        truth["must_ask"].append("stirring: the sheet does not say")
    raw, suffix = write(w, sheets, truth, kind)
    truth["file"] = f"{file}{suffix}"
    return Made(truth["file"], raw, truth, w.how)


def in_cells(w: Writer, series: list[Series], keys: list[str]) -> list[list[Any]]:
    """A filling a row, its readings in one cell."""
    mark = w.rng.choice((" / ", "/", "; ", " - ") if w.comma else (" / ", "/", "; ", ", "))
    return [[*w.heads(keys), w.kv_head()], *[[*w.labels(s, keys), (mark, s.readings)] for s in series]]


def across(w: Writer, series: list[Series], keys: list[str]) -> list[list[Any]]:
    """Labels in the first column, a filling a column."""
    size = len(series[0].readings)
    rows: list[list[Any]] = [list(r) for r in zip(w.heads(keys), *[w.labels(s, keys) for s in series], strict=True)]
    style = (
        w.rng.choice(("{n}", "{n}.", "kV {n}", "BD {n}"))
        if len(keys) == 1
        else w.rng.choice(("BD {n}", "kV {n}", "{n}"))
    )
    for i in range(size):
        rows.append([style.format(n=i + 1), *[s.readings[i] for s in series]])
    if w.chance(0.4):
        for kind in w.kinds():
            rows.append([w.same(kind), *[w.sum_text(kind, [r.shown for r in s.readings]) for s in series]])
    return rows


def beside(titles: list[str], parts: list[list[list[Any]]], gap: int) -> list[list[Any]]:
    height = max(map(len, parts))
    out: list[list[Any]] = []
    for at in range(-1, height):
        row: list[Any] = []
        for title, part in zip(titles, parts, strict=True):
            width = len(part[0])
            held = [title] if at < 0 else part[at] if at < len(part) else []
            row += [*held, *[""] * (width - len(held)), *[""] * gap]
        out.append(row)
    return out


def grouped(w: Writer, by: dict[Any, list[Series]], titles: dict[Any, str], keys: list[str]) -> list[list[Any]]:
    """One table with the procedures over groups of columns."""
    w.how["layout"] = "groups"
    first = next(iter(by.values()))
    size = len(first[0].readings)
    top: list[Any] = [""] * len(keys)
    heads: list[Any] = w.heads(keys)
    mean = w.chance(0.3)
    for p in by:
        block = [*[str(n) for n in range(1, size + 1)], *([w.same("mean")] if mean else [])]
        top += [titles[p], *[""] * (len(block) - 1)]
        heads += block
    out = [top, heads]
    for at in range(len(first)):
        row: list[Any] = w.labels(first[at], keys)
        for p in by:
            s = by[p][at]
            row += [*s.readings, *([w.sum_text("mean", [r.shown for r in s.readings])] if mean else [])]
        out.append(row)
    return out


def write(w: Writer, sheets: list[tuple[str, list[list[Any]]]], truth: dict[str, Any], kind: str) -> tuple[bytes, str]:
    comma = w.comma
    unit_in_cell = w.chance(0.05)
    merged = kind == "xlsx" and w.chance(0.4)
    w.how["merged"] = merged

    def number(value: float) -> str:
        text = f"{value:.{w.digits}f}" if w.digits != 0 or value == int(value) else f"{value:.1f}"
        return text.replace(".", ",") if comma else text

    out: list[tuple[str, list[list[Any]]]] = []
    for name, rows in sheets:
        new = []
        for r, row in enumerate(rows, 1):
            line: list[Any] = []
            for c, cell in enumerate(row, 1):
                if isinstance(cell, tuple):  # several in one cell
                    for one in cell[1]:
                        truth["readings"].append([one.filling, one.order, one.kv, one.outcome])
                        truth["cells"].append(f"{name}!R{r}C{c}" if len(sheets) > 1 else f"R{r}C{c}")
                    line.append(cell[0].join(number(one.shown) for one in cell[1]))
                elif isinstance(cell, Reading):
                    truth["readings"].append([cell.filling, cell.order, cell.kv, cell.outcome])
                    truth["cells"].append(f"{name}!R{r}C{c}" if len(sheets) > 1 else f"R{r}C{c}")
                    line.append(
                        cell.text
                        or (
                            f"{number(cell.shown)} {w.unit}" if unit_in_cell
                            else cell.shown if kind == "xlsx" else number(cell.shown)
                        )
                    )  # fmt: skip
                elif cell == BELOW:
                    line.append(cell if merged else "")
                elif isinstance(cell, float):
                    line.append(cell if kind == "xlsx" else number(cell))
                else:
                    line.append(cell)
            new.append(line)
        out.append((name, new))
    if kind == "xlsx":
        import openpyxl

        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in out:
            sheet = book.create_sheet(name[:31])
            for row in rows:
                sheet.append([None if v in ("", BELOW) else v for v in row])
            if merged:
                _merge(sheet, rows)
        held = io.BytesIO()
        book.save(held)
        return held.getvalue(), ".xlsx"
    mark = ";" if comma else w.rng.choice((",", ";", "\t"))
    width = max(len(r) for r in out[0][1])
    full = w.chance(0.7)
    lines = []
    for row in out[0][1]:
        cells = [*row, *[""] * (width - len(row) if full else 0)]
        lines.append(mark.join(f'"{c}"' if mark in str(c) else str(c) for c in cells))
    text = "\n".join(lines) + "\n"
    encodings = [
        "utf-8",
        "utf-8-sig",
        "utf-16",
        *(["cp1252"] if w.lang in ("en", "de", "fr", "es", "it", "nl", "pt", "sv") else []),
    ]
    encoding = w.rng.choice(encodings)
    try:
        return text.encode(encoding), ".csv" if mark != "\t" else ".tsv"
    except UnicodeEncodeError:
        return text.encode("utf-8"), ".csv" if mark != "\t" else ".tsv"


def _merge(sheet: Any, rows: list[list[Any]]) -> None:
    """Merge titles over the width of the sheet, and labels with the cells below that belong to them."""
    width = max(map(len, rows))
    for r, row in enumerate(rows, 1):
        if len(row) == 1 and row[0] and width > 1:
            sheet.merge_cells(start_row=r, end_row=r, start_column=1, end_column=width)
    for c in range(width):
        r = 0
        while r < len(rows):
            last = r
            while last + 1 < len(rows) and c < len(rows[last + 1]) and rows[last + 1][c] == BELOW:
                last += 1
            if last > r:
                sheet.merge_cells(start_row=r + 1, end_row=last + 1, start_column=c + 1, end_column=c + 1)
            r = last + 1


def verdict(made: Made, folder: Path | None = None) -> tuple[str, list[str]]:
    """How the reader reads it: one of the classes of :mod:`tests.reference.sheet_score`, and what was found."""
    from methods import InputError, read
    from tests.reference import sheet_score

    try:
        records = read(made.raw, name=made.name)
    except InputError as error:
        with tempfile.TemporaryDirectory() as place:
            path = Path(folder or place) / ("x" + Path(made.name).suffix)
            path.write_bytes(made.raw)
            out = sheet_score.way_out(path, made.truth, error)
        return ("asked" if out else "dead end"), [f"{out or 'no way out'}: {error}"]
    return sheet_score.judge(made.truth, [records], [records.table], sheet_score.Notes(records))


def run(first: int, count: int) -> tuple[Counter[str], dict[str, list[int]]]:
    """Verdicts of many seeds, and the seeds of each that is not right."""
    found: Counter[str] = Counter()
    seeds: dict[str, list[int]] = {}
    for seed in range(first, first + count):
        try:
            what, _ = verdict(make(seed))
        except Exception as error:  # a crash is a finding, too
            what = f"crash {type(error).__name__}"
        found[what] += 1
        if what != "right":
            seeds.setdefault(what, []).append(seed)
    return found, seeds


def in_parts(first: int, count: int, out: Path) -> tuple[Counter[str], dict[str, list[int]]]:
    """Like :func:`run`, a thousand at a time, each written to ``out`` as a line of JSON; those written are not run again."""
    done = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()] if out.exists() else []
    had = {part["from"] for part in done}
    for start in range(first, first + count, 1000):
        if start in had:
            continue
        found, seeds = run(start, min(1000, first + count - start))
        done.append({"from": start, "found": dict(found), "seeds": seeds})
        with out.open("a", encoding="utf-8") as file:
            file.write(json.dumps(done[-1]) + "\n")
    total: Counter[str] = Counter()
    wrong: dict[str, list[int]] = {}
    for part in done:
        total.update(part["found"])
        for what, held in part["seeds"].items():
            wrong.setdefault(what, []).extend(held)
    return total, wrong


def show(seed: int) -> None:
    made = make(seed)
    what, findings = verdict(made)
    print(seed, made.name, made.how)
    if made.name.endswith("xlsx"):
        import openpyxl

        for sheet in openpyxl.load_workbook(io.BytesIO(made.raw)):
            print("--", sheet.title)
            for row in sheet.iter_rows(values_only=True):
                print(" | ".join("" if v is None else str(v) for v in row))
    else:
        for encoding in ("utf-8-sig", "utf-16", "cp1252"):
            try:
                print(made.raw.decode(encoding))
                break
            except UnicodeError:
                continue
    print(what)
    for finding in findings[:12]:
        print("   ", finding)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=2000)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument(
        "--out", type=Path, help="a line for each thousand, written as it is done; goes on where it was"
    )
    parser.add_argument("--show", type=int)
    args = parser.parse_args()
    if args.show is not None:
        show(args.show)
        return
    if args.out is not None:
        found, seeds = in_parts(args.first, args.count, args.out)
    else:
        found, seeds = run(args.first, args.count)
    for what, n in found.most_common():
        print(f"{what:16} {n:7} {100 * n / args.count:6.2f}%  {seeds.get(what, [])[:15]}")


if __name__ == "__main__":
    main()

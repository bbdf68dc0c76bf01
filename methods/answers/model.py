"""What an answer is made of: a sentence, cautions, tables, and the names of its plots."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

import pandas as pd

from methods.answers.heads import Head, explanation, heading
from methods.answers.writing import cell
from methods.columns import level_text
from methods.result import Caution

#: Rows of a table that a notebook and a command show; the frame has all.
MOST_ROWS = 40


@dataclass(frozen=True)
class Table:
    """One result table.

    Attributes
    ----------
    name : str
        Of its download and its sheet.
    title : str
        What stands above.
    frame : DataFrame
        The numbers, with every digit.
    note : str
        What stands below.
    own : mapping, optional
        Column -> (heading, help) where they differ from the usual ones.
    digits : int
        Significant figures that people see.
    """

    name: str
    title: str
    frame: pd.DataFrame
    note: str = ""
    own: Mapping[str, Head] = field(default_factory=dict)
    digits: int = 3

    @property
    def headings(self) -> list[str]:
        """What stands above each column."""
        return [heading(str(c), self.own) for c in self.frame.columns]

    @property
    def helps(self) -> list[str]:
        """One line about each column, or nothing."""
        return [explanation(str(c), self.own) for c in self.frame.columns]

    @property
    def numeric(self) -> list[bool]:
        """Which columns hold numbers."""
        types = self.frame.dtypes
        return [pd.api.types.is_numeric_dtype(d) and not pd.api.types.is_bool_dtype(d) for d in types]

    def cells(self, rows: int | None = None) -> list[list[str]]:
        """The first ``rows`` rows as they are read; all of them by default."""
        part = self.frame if rows is None else self.frame.head(rows)
        written = [[cell(str(n), v, self.digits) for v in part[n].tolist()] for n in part.columns]
        return [list(row) for row in zip(*written, strict=True)]

    def text(self, rows: int = MOST_ROWS) -> str:
        """The table in aligned columns."""
        lines = [self.headings, *self.cells(rows)]
        widths = [max(len(line[i]) for line in lines) for i in range(len(self.headings))]
        lines.insert(1, ["-" * w for w in widths])
        out = [
            "  ".join(t.rjust(w) if r else t.ljust(w) for t, w, r in zip(line, widths, self.numeric, strict=True))
            for line in lines
        ]
        more = len(self.frame) - rows
        return "\n".join([*(line.rstrip() for line in out), *([f"… and {more} more"] if more > 0 else [])])

    def html(self, rows: int = MOST_ROWS) -> str:
        """The table as markup, everything in it escaped."""
        looks = [' style="text-align:right"' if r else ' style="text-align:left"' for r in self.numeric]
        head = "".join(
            f'<th scope="col"{look} title="{html.escape(tip)}">{html.escape(name)}</th>'
            for name, tip, look in zip(self.headings, self.helps, looks, strict=True)
        )
        body = "".join(
            "<tr>" + "".join(f"<td{k}>{html.escape(t)}</td>" for t, k in zip(row, looks, strict=True)) + "</tr>"
            for row in self.cells(rows)
        )
        more = len(self.frame) - rows
        note = f"… and {more} more. {self.note}" if more > 0 else self.note
        return (
            f"<table><caption>{html.escape(self.title)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
            f"</table>{f'<p>{html.escape(note)}</p>' if note else ''}"
        )


@dataclass(frozen=True)
class Answer:
    """The answer to one question, as every surface shows it.

    Attributes
    ----------
    question : str
        Its name: ``shift``, ``decision`` ... :data:`methods.answers.heads.OWN` goes by it.
    sentences : tuple of str
        What the data say.
    cautions : tuple of Caution
        The gravest first.
    tables : tuple of Table
        The main one first.
    plots : tuple of str
        Names of its plots, the main one first (``dashboard.plots.results`` draws them).
    result
        What it was made of.
    """

    question: str
    sentences: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()
    tables: tuple[Table, ...] = ()
    plots: tuple[str, ...] = ()
    result: Any = None

    @property
    def sentence(self) -> str:
        """The sentences one after the other, each begun as a sentence is."""
        return " ".join(s[:1].upper() + s[1:] for s in self.sentences if s)

    def table(self, name: str) -> Table:
        """The table of this name.

        Raises
        ------
        KeyError
            There is none.
        """
        return {t.name: t for t in self.tables}[name]

    def text(self) -> str:
        """Sentences, tables and cautions, as a command prints them."""
        lines = [s[:1].upper() + s[1:] for s in self.sentences if s]
        for table in self.tables:
            lines += ["", f"{table.title}:", "", table.text(rows=len(table.frame))]
            lines += ["", table.note] if table.note else []
        if self.cautions:
            lines += ["", "Cautions:", *(f"- {c.code}: {c.text}" for c in self.cautions)]
        return "\n".join(lines)

    def html(self) -> str:
        """Sentence, cautions and the main table as markup."""
        said = f"<p><strong>{html.escape(self.sentence)}</strong></p>"
        notes = "".join(f"<li>{html.escape(c.text)}</li>" for c in self.cautions)
        return said + (f"<ul>{notes}</ul>" if notes else "") + (self.tables[0].html() if self.tables else "")

    def with_cautions(self, cautions: Iterable[Caution]) -> Answer:
        """The same with other cautions."""
        return replace(self, cautions=tuple(cautions))


def rows_of(results: Iterable[Any], columns: Sequence[str] | None = None, **fixed: Any) -> pd.DataFrame:
    """A row for each result: the fields named, or those that hold single values, with ``fixed`` cells before them."""
    rows = []
    for result in results:
        names = [f.name for f in fields(result)] if is_dataclass(result) else list(result)
        values = {n: getattr(result, n) if is_dataclass(result) else result.get(n) for n in columns or names}
        rows.append({**fixed, **values})
    out = pd.DataFrame(rows, columns=[*fixed, *columns] if columns else None)
    if columns is None:
        out = out[[c for c in out.columns if not out[c].map(lambda v: isinstance(v, (list, dict, tuple))).any()]]
    return out


def varying(frame: pd.DataFrame, columns: Sequence[str]) -> tuple[pd.DataFrame, str]:
    """The table without those of the columns that say the same in every row, and what they say, once."""
    alike = [c for c in columns if c in frame and len(frame) > 1 and frame[c].nunique(dropna=False) == 1]
    said = "; ".join(f"{heading(c)}: {cell(c, level_text(frame[c].iloc[0]))}" for c in alike)
    return frame.drop(columns=alike), f"In every row: {said}." if said else ""


def stacked(answers: Sequence[tuple[Mapping[str, Any], Answer]]) -> tuple[Table, ...]:
    """The tables of several answers below each other, those of one name in one, what tells them apart in front."""
    out: dict[str, Table] = {}
    for head, made in answers:
        for table in made.tables:
            front = {k: v for k, v in head.items() if k not in table.frame}
            frame = pd.DataFrame({**{k: [v] * len(table.frame) for k, v in front.items()}, **table.frame})
            before = out.get(table.name)
            if before is not None:
                frame = pd.concat([before.frame, frame], ignore_index=True)
            out[table.name] = replace(before or table, frame=frame)
    return tuple(out.values())

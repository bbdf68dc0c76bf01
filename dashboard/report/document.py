"""What a report is made of, whatever it is written to: sections of sentences, notices, pictures and tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from methods import answers


@dataclass(frozen=True)
class Table:
    """A result table. ``note`` stands under it; ``headings`` overrules the usual names of columns."""

    name: str
    title: str
    frame: pd.DataFrame
    note: str = ""
    headings: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, table: answers.Table) -> Table:
        """A table of an answer, as the pages show it."""
        own = {column: head for column, (head, _) in table.own.items()}
        return cls(table.name, table.title, table.frame, table.note, own)


@dataclass(frozen=True)
class Picture:
    """A drawing as inline SVG, with what it shows in words for those who do not see it, and a note under it."""

    title: str
    svg: str
    words: str
    note: str = ""


@dataclass(frozen=True)
class Section:
    """One part of the report.

    ``sentences`` answer it in words; ``refusal`` says instead why it cannot be answered. ``notices`` are cautions in
    words; ``check`` is true where something passes or fails. ``short`` is what is said at the top of the report, where
    that is not the sentences.
    """

    key: str
    title: str
    sentences: tuple[str, ...] = ()
    refusal: str = ""
    notices: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
    check: bool = False
    short: tuple[str, ...] = ()


@dataclass(frozen=True)
class Method:
    """How one statistic is made, and where it is published."""

    statistic: str
    text: str
    reference: str


@dataclass(frozen=True)
class Report:
    """Everything that is written: the answers first, then the sections they come from."""

    title: str
    asked: str
    answers: tuple[str, ...]
    sections: tuple[Section, ...]
    settings: pd.DataFrame  # setting, value
    versions: pd.DataFrame  # program, version
    methods: tuple[Method, ...]
    written_on: str

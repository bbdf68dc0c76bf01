"""What a report is made of, whatever it is written to: sections of sentences, notices, pictures and tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from methods import answers

#: Characters of a caution that the first page says whole.
LONGEST = 260


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
    """A drawing as inline SVG (``str`` of it), with what it shows in words for those who do not see it, and a note."""

    title: str
    svg: Any
    words: str
    note: str = ""

    @property
    def png(self) -> bytes | None:
        """The drawing in points, for documents that take no SVG; None where the SVG is all there is."""
        draw = getattr(self.svg, "png", None)
        return draw() if callable(draw) else None


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
    """Everything that is written.

    ``front`` is the first page; ``sections`` are whole, ``brief`` the same as they stand behind the first page. The
    whole ones are printed as an appendix where ``with_appendix`` is true; ``cautions`` are those of all sections.
    """

    title: str
    asked: str
    answers: tuple[str, ...]
    sections: tuple[Section, ...]
    settings: pd.DataFrame  # setting, value
    versions: pd.DataFrame  # program, version
    methods: tuple[Method, ...]
    written_on: str
    front: Section = field(default_factory=lambda: Section("answer", "The answer"))
    brief: tuple[Section, ...] = ()
    cautions: tuple[str, ...] = ()
    with_appendix: bool = False

    @property
    def summary(self) -> str:
        """Two paragraphs of plain text."""
        from dashboard.report.brief import paragraphs

        return paragraphs(self.title, self.front, self.cautions)

    @property
    def gravest(self) -> str:
        """The first caution, cut to its first sentence where it is long: all of it stands among the cautions."""
        from dashboard.report.brief import shortened

        return shortened(self.cautions[0]) if self.cautions else ""

    @property
    def behind(self) -> tuple[Section, ...]:
        """The brief sections without the picture, table and sentences that the first page shows already."""
        shown = {t.name for t in self.front.tables}
        out = []
        for section in self.brief:
            left = replace(
                section,
                sentences=tuple(s for s in section.sentences if not any(s in told for told in self.front.sentences)),
                pictures=tuple(p for p in section.pictures if p not in self.front.pictures),
                tables=tuple(t for t in section.tables if t.name not in shown),
            )
            if left.pictures or left.tables or left.sentences or left.refusal:
                out.append(left)
        return tuple(out)

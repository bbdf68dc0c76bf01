"""Opening files, demo sets and studies, and what each file's reader did."""

from __future__ import annotations

import re
from typing import Any

import pandas as pd
import panel as pn
import param

from dashboard import demo, parts, studyfile, words
from dashboard.actions import Press, Save, Upload
from dashboard.controls import Choice, Tick, Words
from dashboard.jobs import aside
from dashboard.opened import Opened
from dashboard.pages.records_words import for_the_page
from dashboard.study import Study
from dashboard.tables import Table
from methods.errors import InputError

#: Largest upload, MB: what a browser tab and this process carry without trouble.
MOST_MB = 200
_AS_GUESSED = "as guessed"
#: How the breakdowns stand: what is shown -> the reader's word.
_LAYOUTS = {
    _AS_GUESSED: "", "one row a breakdown": "long", "one row a filling": "wide", "two rows a filling": "two-block",
    "one column a filling": "transposed",
}  # fmt: skip
_UNITS = ("kV", "V", "kVp", "Vp", "kV/mm", "kV/cm")


class Opener(pn.viewable.Viewer):
    """The three ways in: a file, a demo set, a saved study."""

    study: Study = param.ClassSelector(class_=Study, constant=True)  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._file = Upload(
            "Open files", several=True, accept=".csv,.tsv,.txt,.xlsx,.parquet,.duckdb", most_mb=MOST_MB, look="main"
        )
        self._word = parts.Text("p", "", "hint", live=True)
        self._wrong = parts.Text("p", "", "notice wrong", live=True)
        self._add = Tick("Add to the files that are open", max_width=320)
        names = {"–": "", **{demo.SETS[n][1]: n for n in demo.names()}}
        self._demo = Choice("Demo set", options=names, value=study.dataset)
        self._saved = Upload("Open study", accept=".json", max_width=None, sizing_mode=None)
        self._save = Save("Save study", "study.json", lambda: studyfile.save(study).encode(), look="plain")
        self._file.param.watch(self._dropped, "files")
        self._demo.param.watch(self._demo_chosen, "value")
        self._saved.param.watch(self._study_opened, "files")
        study.param.watch(lambda e: self._demo.param.update(value=e.new), "dataset")

    def parts(self) -> list[Any]:
        """The three, each explained."""
        self._file.hint = "CSV or other text, XLSX, Parquet. Nothing leaves this machine."
        column = parts.column(self._file, self._add, self._word, self._wrong, max_width=320, gap=8)
        study = parts.row(self._save, self._saved, gap=8)
        text = "Settings, file names and exclusions with reasons, in one file; never the readings."
        return [
            column,
            parts.explained(self._demo, "Invented data, to look around with.", width=320),
            parts.explained(study, text, width=320),
        ]

    def __panel__(self) -> Any:
        return parts.wrap(*self.parts())

    def _dropped(self, event: Any) -> None:
        if not event.new:
            return
        files = list(event.new)
        self._say(f"Reading {words.plural(len(files), 'file')} …" if len(files) > 1 else f"Reading {files[0][0]} …")
        # In a thread: nobody else is kept waiting.
        aside(lambda: [self.study.read_ahead(c, n) for n, c in files], lambda read: self._arrived(files, read))

    def _arrived(self, files: list[tuple[str, bytes]], read: list[Any]) -> None:
        told: list[str] = []
        refused: list[str] = []
        add = self._add.value
        for (name, content), ready in zip(files, read, strict=True):
            try:
                opened = self.study.open(content, name, alone=not add, ready=ready)
                told.append(f"{name}: {words.plural(len(opened.records.table), 'reading')}.")
                add = True
            except InputError as error:
                refused.append(f"{name} was not read. {for_the_page(str(error))} Its sheet is shown below.")
        self._say(" ".join(told), " ".join(refused))

    def _say(self, text: str = "", wrong: str = "") -> None:
        self._word.text, self._wrong.text = text, wrong

    def _demo_chosen(self, event: Any) -> None:
        if event.new:
            try:
                self.study.open_demo(event.new, first_look=True)
                self._say()
            except InputError as error:
                self._say(wrong=str(error))

    def _study_opened(self, event: Any) -> None:
        if not event.new:
            return
        try:
            studyfile.load(self.study, event.new[0][1])
            self._say("The study is open.")
        except InputError as error:
            self._say(wrong=str(error))


class FileCard(pn.viewable.Viewer):
    """One file: what was read, refused and guessed, and how to overrule it."""

    study: Study = param.ClassSelector(class_=Study, constant=True)  # type: ignore[assignment]

    def __init__(self, study: Study, file: Opened, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._file = file
        self._word = parts.Text("p", "", "hint", live=True)
        self._view = self._layout()

    def __panel__(self) -> Any:
        return self._view

    def _layout(self) -> Any:
        records, name = self._file.records, self._file.name
        calm = not len(getattr(records, "problems", ())) and not len(getattr(records, "guesses", ()))
        card = parts.Folded((f"{name}: {self._headline()}", self._inside))
        if not calm:
            card.open()
        return card.__panel__()

    def _inside(self) -> Any:
        records, name = self._file.records, self._file.name
        problems, guesses = getattr(records, "problems", pd.DataFrame()), getattr(records, "guesses", pd.DataFrame())
        found: list[Any] = [parts.raw(f'<p class="hint">{parts.escaped(self._read())}</p>')]
        if len(problems):
            found.append(Table(f"{name}_problems", "Refused and noticed", _on_page(problems), page_size=10))
        if len(guesses):
            shown = guesses[["what", "guess", "evidence"]].astype("str")
            shown["what"] = [words.heading(w) for w in shown["what"]]
            shown["guess"] = [_in_words(g) for g in shown["guess"]]
            table = Table(f"{name}_guesses", "Guessed: check these", shown, page_size=10)
            found.append(table)
        found.append(parts.Folded(("Read it otherwise", self._overrule), level=3))
        close = Press(f"Close {name}", lambda _: self.study.close(name))
        return parts.column(*found, close, gap=12)

    def _headline(self) -> str:
        records = self._file.records
        if not hasattr(records, "rows_read"):
            return words.plural(len(records.table), "reading")
        bits = [f"{words.plural(records.rows_read, 'reading')} read"]
        bits.append(f"{words.number(records.refused)} refused" if records.refused else "none refused")
        if len(records.guesses):
            bits.append(words.plural(len(records.guesses), "guess", "guesses"))
        return ", ".join(bits)

    def _read(self) -> str:
        records = self._file.records
        if not hasattr(records, "rows_read"):
            return "A table that was passed by a program."
        source = records.source
        how = [f"{k} {v!r}" for k, v in (("sheet", source.sheet), ("encoding", source.encoding)) if v]
        shape = f"Read as {source.layout} form" if source.layout else "Read"
        return (
            f"{shape}{' (' + ', '.join(how) + ')' if how else ''}: {words.plural(records.breakdowns, 'breakdown')}, "
            f"{words.plural(records.withstood, 'withstand')}, {words.plural(records.fillings, 'filling')}, "
            f"{words.plural(records.conditions, 'condition')}. SHA-256 {self._file.sha256[:12]}…"
        )

    def _overrule(self) -> Any:
        """One control for each thing that is guessed; together they read the file again."""
        given = self._file.options
        marks = {_AS_GUESSED: "", "point: 48.5": ".", "comma: 48,5": ","}
        self._decimal = Choice("Decimal mark", options=marks, value=given.get("decimal", ""))
        units = {_AS_GUESSED: "", **{u: u for u in _UNITS}}
        self._unit = Choice("Unit of the voltages", options=units, value=given.get("unit", ""))
        ceiling = given.get("ceiling_kv")
        self._ceiling = Words(
            "Ceiling (kV)", example=_AS_GUESSED,
            value="none" if ceiling is False else "" if ceiling is None else f"{ceiling:g}",
        )  # fmt: skip
        orders = {_AS_GUESSED: "", "day first": "day", "month first": "month"}
        first = {None: "", True: "day", False: "month"}[given.get("day_first")]
        self._dates = Choice("Dates such as 03/04/2025", options=orders, value=first)
        self._layout_is = Choice("Layout", options=_LAYOUTS, value=given.get("layout", ""))
        self._value = Words("Voltage column", example=_AS_GUESSED, value=(given.get("columns") or {}).get("kv", ""))
        button = Press("Read again", self._again, look="main")
        return parts.column(
            parts.wrap(
                parts.explained(self._decimal, "How 48.5 is written in the file."),
                parts.explained(self._unit, "Peak values are divided by √2."),
                parts.explained(self._ceiling, "Values at it withstood. Write none where all are breakdowns."),
                parts.explained(self._dates, "Which number is the day."),
                parts.explained(self._layout_is, "How the breakdowns stand in the file."),
                parts.explained(self._value, "Its heading, as it stands in the file."),
            ),
            parts.row(button, self._word, gap=12), gap=12,
        )  # fmt: skip

    def _again(self, _event: Any) -> None:
        others = {k: v for k, v in (self._file.options.get("columns") or {}).items() if k != "kv"}
        value = self._value.value.strip()
        columns = {**others, **({"kv": value} if value else {})}
        try:
            wanted = {
                "decimal": self._decimal.value or None, "unit": self._unit.value or None,
                "ceiling_kv": _ceiling(self._ceiling.value), "layout": self._layout_is.value or None,
                "day_first": {"day": True, "month": False}.get(self._dates.value), "columns": columns or None,
            }  # fmt: skip
        except InputError as error:
            self._word.text = for_the_page(str(error))
            return
        self._word.text, name = "Reading …", self._file.name
        aside(lambda: self.study.read_ahead(None, name, **wanted), lambda ready: self._read_again(ready, wanted))

    def _read_again(self, ready: Any, wanted: dict[str, Any]) -> None:
        self._word.text = ""
        try:
            self.study.reread(self._file.name, ready=ready, **wanted)
        except InputError as error:
            self._word.text = for_the_page(str(error))


def _ceiling(text: str) -> float | bool | None:
    """What was written in the field of the ceiling."""
    cleaned = text.strip().lower().removesuffix("kv").strip().replace(",", ".")
    if not cleaned:
        return None
    if cleaned in ("none", "no", "0"):
        return False
    try:
        return float(cleaned)
    except ValueError:
        raise InputError(f"Ceiling {text!r}: write a number of kV, or none.", column="ceiling_kv", text=text) from None


def _on_page(problems: pd.DataFrame) -> pd.DataFrame:
    """The problems as text, with the page's controls where they name options of the command line."""
    told = problems.drop(columns=["code", "refused"], errors="ignore").astype("str")
    return told.assign(rule=told["rule"].map(for_the_page))


def _in_words(text: str) -> str:
    """Names of columns as their headings."""
    return re.sub(r"\b[a-z]+_[a-z_]+\b", lambda found: words.heading(found[0]), text)

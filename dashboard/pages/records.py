"""Records: what was read from the files, what was refused, what was guessed, and what is left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.pages.base import Empty, StudyPage
from dashboard.pages.records_filters import Exclude, Filters
from dashboard.pages.records_open import FileCard, Opener
from dashboard.pages.records_report import StudyReport
from dashboard.pages.records_sheet import SheetByHand
from methods.columns import LABELS
from methods.records.one_name import said as one_name_said
from methods.records.table import WITHSTOOD

HELP = """
**Refused** rows hold something that is not a breakdown voltage; nothing of them enters any number. **Kept** remarks
say what was changed or noticed on the way. Rows read are always rows kept plus rows refused.

**Withstood** means that the set's ceiling was reached without a breakdown: the true value is only known to lie above
it. It is never averaged as if it were a value.

**A filling** is one filling of the cell. Breakdowns on one filling resemble each other, so fillings are what counts as
independent. Rows without a filling count as one filling for each sample and condition.

**Leaving out** a breakdown needs a reason, which the study file and the report carry. A low value is not a reason.
"""


#: What one wants to know of records that are read: page -> question.
NEXT = (
    ("decision", "Does the oil pass?"), ("shift", "What shifts?"), ("choose", "Which method?"),
    ("howmany", "How many more?"), ("precision", "How precise?"),
)  # fmt: skip


class Page(StudyPage):
    """The records that are open."""

    TITLE = "Records"
    QUESTION = "What was read from the files, and can it be trusted?"
    HELP = HELP
    FOLLOWS = ("files", "awaited", "remarks", "refused")
    INPUTS = ("sheet",)
    NEEDS_RECORDS = False
    EXACT = ("readings",)

    sheet = param.String("", doc="The column that is to be named on the sheet; 'open' shows the sheet alone.")

    def _layout(self) -> Any:
        self._cards = parts.column(gap=16)
        self._card_of: dict[tuple[Any, ...], FileCard] = {}
        view = super()._layout()
        self._by_hand = parts.Folded(("The sheet as it stands, to be put right by hand", self._sheet_by_hand))
        self._next = parts.wrap(
            parts.raw('<p class="hint">Next:</p>', sizing_mode="fixed", width=44, styles={"padding-top": "8px"}),
            *(Press(f"{asked} ▸", partial(self._go, key), look="quiet") for key, asked in NEXT), gap=4,
            visible=False,
        )  # fmt: skip
        view.insert(view.index(self._body), self._next)
        view.insert(view.index(self._body), self._by_hand.__panel__())
        view.insert(view.index(self._body), self._cards)
        self._choose = parts.Folded(
            ("Filter by level", lambda: Filters(self.study).__panel__()),
            ("Leave readings out, with a reason", lambda: Exclude(self.study).__panel__()),
            ("Take the whole study home: a report", lambda: StudyReport(self.study).__panel__()),
        ).__panel__()
        view.insert(view.index(self._body), self._choose)
        return view

    def _go(self, page: str, _: Any) -> None:
        self.study.page = page

    def _sheet_by_hand(self) -> Any:
        by_hand = SheetByHand(self.study)
        self.param.watch(lambda event: by_hand.ask_for(event.new), "sheet")
        by_hand.ask_for(self.sheet)
        return by_hand.__panel__()

    def controls(self) -> Sequence[Any]:
        return Opener(self.study).parts()

    def result(self) -> pd.DataFrame:
        self._lay_cards()
        self._choose.visible = bool(self.study.files)
        self._next.visible = bool(len(self.study.table))
        self._by_hand.__panel__().visible = bool(self.study.files or self.study.refused)
        if self.study.refused or self.sheet:
            self._by_hand.open()
        if not self.study.files and self.study.awaited:
            names = words.listed(w["name"] for w in self.study.awaited)
            raise Empty("The study is open, but its files are not.", f"Drop {names} above to see its numbers.")
        if not self.study.files and self.study.refused:
            names = words.listed(r.name for r in self.study.refused)
            raise Empty(f"{names} could not be read as it stands.", "Say on the sheet what stands where.")
        if not self.study.files:
            raise Empty("No file is open.", "Drop a file above, or choose a demo set to look around.")
        if not len(self.study.table):
            raise self._nothing()
        return self.study.table

    def sentence(self, result: pd.DataFrame) -> str:
        withstood = int((result["outcome"] == WITHSTOOD).sum())
        refused = sum(getattr(f.records, "refused", 0) for f in self.study.files)
        kept = words.plural(len(result) - withstood, "breakdown")
        stood = f" and {words.plural(withstood, 'withstand')}" if withstood else ""
        hidden = len(self.study.everything) - len(result)
        rest = "nothing was refused" if not refused else f"{words.plural(refused, 'reading')} refused"
        left = f"; {words.plural(hidden, 'reading')} filtered or left out" if hidden else ""
        files = [f.name for f in self.study.files]
        names = words.listed(files) if len(files) <= 3 else f"{len(files)} files"
        guesses = sum(len(getattr(f.records, "guesses", ())) for f in self.study.files)
        check = f" Check {words.plural(guesses, 'guess', 'guesses')} below." if guesses else ""
        return f"{kept}{stood} from {names}: {rest}{left}.{check}"

    def tables(self, result: pd.DataFrame) -> Mapping[str, tuple[str, pd.DataFrame]]:
        full = [c for c in result.columns if bool(result[c].notna().any())]
        if len(self.study.files) == 1:
            full.remove("file")
        front = [c for c in (*LABELS, "order", "kv", "outcome") if c in full]
        return {"readings": ("Readings", result[[*front, *[c for c in full if c not in front]]])}

    def readings_of(self, name: str, frame: pd.DataFrame) -> np.ndarray | None:
        return self.study.places if name == "readings" else None

    def extras(self) -> Sequence[Any]:
        return ()

    def _lay_cards(self) -> None:
        kept: dict[tuple[Any, ...], FileCard] = {}
        for file in self.study.files:
            key = (file.name, file.sha256, repr(sorted(file.options.items())))
            kept[key] = self._card_of.get(key) or FileCard(self.study, file)
        notes = [parts.notice(r) for r in (*self.study.remarks, one_name_said(self.study.one_name)) if r]
        notes += [
            parts.notice(f"The study also needs {w['name']}: drop it above.", kind="calm")
            for w in self.study.awaited
            if self.study.files
        ]
        if list(kept) != list(self._card_of) or notes or len(self._cards) != len(kept):
            self._card_of = kept
            self._cards.objects = [*notes, *[card.__panel__() for card in kept.values()]]

"""Records: what was read from the files, what was refused, what was guessed, and what is left out."""

from __future__ import annotations

from dashboard import words
from dashboard.pages.base import StudyPage


class Page(StudyPage):
    TITLE = "Records"
    QUESTION = "What was read from the files, and can it be trusted?"
    FOLLOWS = ("files",)

    def result(self):
        return self.study.table

    def sentence(self, result):
        return f"{words.plural(len(result), 'reading')} read."

    def tables(self, result):
        return {"records": ("Readings", result)}

"""What the shift page computes on request: the whole distributions, and what the tests can tell apart."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import Any

import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.cache import known, remember
from dashboard.jobs import Progress, Runner
from dashboard.levels import level_text
from dashboard.pages.shift_words import COLUMNS
from dashboard.plots.figure import Figure
from dashboard.tables import Table
from methods.answers import answer
from methods.answers.heads import OWN
from methods.result import Caution

#: Resamples of whole fillings behind the band.
RESAMPLES = 2000
#: Invented studies behind the count of what limits hold.
PROVED = 2000

Work = Callable[[Progress], Any]


def recalled(key: Hashable) -> Any:
    """What a finished job of this key gave, or None."""
    return remember(key, lambda: None) if known(key) else None


class Section(pn.viewable.Viewer):
    """A heading, what it is for, a button that starts the work, and what it found; for one key of settings.

    ``ask`` gives the work and its key for the present settings. ``show`` puts a result on the screen.
    """

    dark = param.Boolean(False, doc="Whether the dark theme is on.")

    def __init__(
        self, title: str, lead: str, button: str, hint: str, ask: Callable[[], tuple[Work, Hashable]], **params: Any
    ) -> None:
        super().__init__(**params)
        self._ask = ask
        self._said = parts.Text("p", "", "", live=True)
        self._notes = parts.raw("", visible=False)
        self._tables = parts.column(gap=16)
        self._found = parts.column(
            self._said, self._notes, *self.figures(), self._tables,
            visible=False, gap=16,
        )  # fmt: skip
        runner = Runner(button, ask, lambda _: self.update(), hint)
        self._view = parts.column(
            parts.heading(title), parts.hint(lead), runner, self._found,
            gap=8,
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self._view

    def figures(self) -> Sequence[Any]:
        """Plots between the words and the tables."""
        return ()

    def update(self) -> None:
        """Show what is known for the present settings, or only the button."""
        found = recalled(self._ask()[1])
        with pn.io.hold():
            self._found.visible = found is not None
            if found is not None:
                self.tell(found)

    def tell(self, found: Any) -> None:
        """Put a result on the screen."""
        raise NotImplementedError

    def say(
        self, text: str, cautions: Sequence[Caution], tables: Mapping[str, tuple[str, pd.DataFrame]], columns: Any
    ) -> None:
        """Words, cautions and tables of a result."""
        self._said.text = text
        notes = parts.cautions(cautions)
        self._notes.param.update(object=notes, visible=bool(notes))
        self._tables.objects = [
            Table(name, title, frame, columns).__panel__() for name, (title, frame) in tables.items()
        ]


class Whole(Section):
    """The shift of the 1, 10 and 50 % points, and of every percentile with its band."""

    def __init__(
        self, ask: Callable[[], tuple[Work, Hashable]], looks: Callable[[str], Any], shown: Callable[[], set[str]],
        **params: Any,
    ) -> None:  # fmt: skip
        self._looks, self._already = looks, shown
        super().__init__(
            "Beyond the mean",
            "A mean can stay where it is while the low end moves. This compares the 1, 10 and 50 % points by a fitted "
            "family, and every percentile by the data alone.",
            "Compare the whole distributions",
            f"Resamples whole fillings {RESAMPLES} times; a few seconds for each level.", ask, **params,
        )  # fmt: skip

    def figures(self) -> Sequence[Any]:
        from dashboard.plots.canvas import Live

        self._live = Live(
            Figure("Shift at every percentile", self.draw, self.describe, key=self._names), dark=self.dark
        )  # fmt: skip
        return [self._live]

    @param.depends("dark", watch=True)
    def _repaint(self) -> None:
        self._live.dark = self.dark

    def _names(self, found: Any) -> tuple[str, ...]:
        return tuple(level_text(v.level) for v in found.levels)

    def draw(self, found: Any) -> Any:
        from dashboard.plots import shift as plots

        return plots.whole(found.levels, self._looks(found.by), self._names(found), self.dark)

    def describe(self, found: Any) -> str:
        return (
            f"Shift against {level_text(found.reference)} at each percentile by the data alone; each band holds "
            f"for all percentiles at once with {100 * found.confidence:g} % confidence, "
            f"{found.repetitions} resamples of whole fillings."
        )

    def tell(self, found: Any) -> None:
        self._live.update(found)
        made, already = answer(found), self._already()
        self.say(
            made.sentence,
            [w for w in made.cautions if w.text not in already],
            {t.name: (t.title, t.frame) for t in made.tables},
            dict(COLUMNS),
        )


class Counted(Section):
    """How often such limits hold the truth at this very design."""

    def __init__(self, ask: Callable[[], tuple[Work, Hashable]], **params: Any) -> None:
        super().__init__(
            "Do such limits hold?",
            "These tests, with the scatter found, are invented again and again with a known shift; counted is how "
            "often the limits hold it.",
            "Count", f"{PROVED} invented studies; some ten seconds for each level.", ask, **params,
        )  # fmt: skip

    def tell(self, found: Any) -> None:
        frame = pd.DataFrame([vars(r) for r in found.rows])
        self.say(found.sentence, (), {"shift_proof": ("Counted", frame)}, {**OWN["decision"], **COLUMNS})


class Design(Section):
    """Which effects the tests can tell apart, and which tests would set them free."""

    def __init__(self, ask: Callable[[], tuple[Work, Hashable]], **params: Any) -> None:
        super().__init__(
            "What these tests can tell apart",
            "Where two factors always change together, no computation separates them; only further tests do. This "
            "reads from the design which effects can be estimated, and which tests are missing.",
            "Look for what changes together",
            "A second or two; the tables say what each effect shares and which tests would free it.", ask, **params,
        )  # fmt: skip

    def tell(self, found: Any) -> None:
        wanted = [s[:1].upper() + s[1:] for s in found.suggestions]
        if found.aliased:
            sets = "; ".join(words.listed(words.factor(f) for f in group) for group in found.aliased)
            text = f"These change together, wholly or in part, and cannot be told apart: {sets}."
        else:
            text = " ".join(found.sentences)
        effects = [*found.effects, *found.combinations]
        frame = pd.DataFrame(
            [{"effect": e.effect, "status": e.status, "aliased_with": ", ".join(e.aliased_with) or "–",
              "sentence": e.sentence} for e in effects]
        )  # fmt: skip
        tables = {"shift_effects": ("Effects and combinations", frame)}
        if wanted:
            tables["shift_missing_tests"] = ("Tests that would help", pd.DataFrame({"test": wanted}))
        self.say(text, (), tables, dict(COLUMNS))

"""The field for the guesses of a class, and who was nearest."""

from __future__ import annotations

from typing import Any

import panel as pn
import param

from dashboard import parts, words
from dashboard.controls import Words
from methods.errors import InputError
from methods.guesses import Guesses, names, read_guesses

#: Places of the score that are shown beside the plot; the table below has all.
_PLACES = 5


class GuessField(pn.viewable.Viewer):
    """Where guesses are typed or pasted; the nearest come under it once the truth is shown."""

    found: Guesses = param.ClassSelector(class_=Guesses, default=Guesses((), ()), doc="What was read of it.")  # type: ignore[assignment]

    def __init__(self, **params: Any) -> None:
        super().__init__(**params)
        self._field = Words("Guesses of the true mean (kV)", lines=3, example="AB 55\nCD 62,5 ...")
        self._score = parts.raw("", visible=False)
        self._field.param.watch(self._typed, "value")
        self._wrong = ""
        self._view = parts.column(
            parts.explained(
                self._field,
                "One a line, or parted by commas: initials and a number. They stay on this screen: neither the address "
                "nor a file keeps them.",
            ),
            self._score, gap=4,
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self._view

    def clear(self) -> None:
        """Take all guesses away."""
        self._field.value = ""

    def _typed(self, event: Any) -> None:
        try:
            self._wrong, found = "", read_guesses(event.new)
        except InputError as error:
            self._wrong, found = str(error), Guesses((), ())
        self.found = found
        self.tell(None)

    def tell(self, truth_kv: float | None) -> None:
        """Say how many guesses there are, what could not be read, and with the truth who was nearest."""
        problems = [self._wrong] if self._wrong else list(self.found.problems)
        lines = [f'<p class="notice" role="note">{parts.escaped(p)}</p>' for p in problems]
        if self.found.guesses:
            scored = self.found.scored(truth_kv)
            count = words.plural(len(scored), "guess", "guesses")
            if truth_kv is None:
                middle = words.number(float(scored["guess_kv"].median()))
                lines.insert(0, f"<p>{count}, the middle one at {middle}\u00a0kV.</p>")
            else:
                rows = "".join(
                    f"<li><b>{parts.escaped(r.name)}</b> {r.guess_kv:g}\u00a0kV, {r.off_kv:+.1f}</li>"
                    for r in scored.head(_PLACES).itertuples(index=False)
                )
                lines.insert(0, f'<p>Nearest of {count}:</p><ol class="score">{rows}</ol>')
        self._score.param.update(object="".join(lines), visible=bool(lines))

    def winners(self, truth_kv: float) -> str:
        """Who was nearest, in words; empty where nobody guessed."""
        scored = self.found.scored(truth_kv)
        first = scored[scored["rank"] == 1]
        return names(first["name"].tolist()) if len(first) else ""

"""What is pressed: buttons, opening and saving files, turning pages of a table, unfolding a section.

Made of the browser's own elements, like :mod:`dashboard.controls`.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from pathlib import Path
from typing import Any

import param

from dashboard import part_styles
from dashboard.arrivals import Arrival
from dashboard.component import Component


class _Action(Component):
    """What they share."""

    kind = param.String(default="press", constant=True, doc="Which of them the browser is to make.")
    label = param.String(default="", doc="What it says.")
    disabled = param.Boolean(default=False)

    SCRIPT = Path(__file__).with_suffix(".js")

    def __init__(self, label: str, **params: Any) -> None:
        super().__init__(label=label, stylesheets=[part_styles.action_css()], **{"margin": 0, **params})


class Press(_Action):
    """A button.

    Parameters
    ----------
    label : str
        What it says: the deed.
    on_click : callable, optional
        Called with the event; may be a coroutine.
    """

    look: param.Selector[str] = param.Selector(
        default="plain", objects=["main", "plain", "quiet"], doc="How much it stands out."
    )
    more = param.String(default="", doc="What it does, where the label is short.")
    clicks = param.Integer(default=0, doc="How often it was pressed; the browser counts.")

    def __init__(self, label: str, on_click: Callable[[Any], Any] | None = None, **params: Any) -> None:
        super().__init__(label, **params)
        if on_click is not None:
            self.on_click(on_click)

    def on_click(self, act: Callable[[Any], Any]) -> None:
        """Call ``act(event)`` at each press."""
        self.param.watch(act, "clicks")


class Save(_Action):
    """A button that saves what ``give()`` returns, made when it is pressed.

    Parameters
    ----------
    label : str
        What it says.
    file : str
        Name under which the browser offers to save it.
    give : callable
        Gives the contents as bytes.
    """

    look: param.Selector[str] = param.Selector(
        default="quiet", objects=["main", "plain", "quiet"], doc="How much it stands out."
    )

    def __init__(self, label: str, file: str, give: Callable[[], bytes], **params: Any) -> None:
        super().__init__(label, kind="save", **params)
        self.file, self.give = file, give

    def heard(self, _message: Any) -> None:
        contents = b""
        try:
            contents = self.give()
        finally:  # whatever happened, the button can be pressed again
            text = base64.b64encode(contents).decode("ascii")
            self.tell({"file": self.file if contents else "", "contents": text})


class Take(_Action):
    """One button for each form in which something can be taken away.

    Parameters
    ----------
    label : str
        What is taken away.
    forms : sequence of str
        Endings: ``svg``, ``png`` …
    give : callable
        From the ending to the file's name and its contents, or what makes them: aside, while nobody waits.
    """

    forms = param.List(default=[], item_type=str, doc="Endings of the files that can be had.")
    told = param.Boolean(default=False, doc="Whether what is taken away is said beside the buttons.")

    def __init__(self, label: str, forms: list[str], give: Callable[[str], tuple[str, Any]], **params: Any) -> None:
        super().__init__(label, kind="take", forms=forms, **params)
        self.give = give

    def heard(self, message: Any) -> None:
        from dashboard.jobs import aside

        name, contents = "", b""
        try:
            if message.get("wanted") in self.forms:
                name, contents = self.give(message["wanted"])
        finally:  # whatever happened, the buttons can be pressed again
            if callable(contents):
                aside(contents, lambda made: self._made(name, made))
            else:
                self._made(name, contents)

    def _made(self, name: str, contents: Any) -> None:
        if isinstance(contents, Exception):
            self.tell({"file": "", "contents": "", "wrong": str(contents)})
        else:
            self.tell({"file": name, "contents": base64.b64encode(contents).decode("ascii")})


class Upload(_Action):
    """A button, and a place to drop files on; they come in pieces, so that the connection carries large ones.

    Parameters
    ----------
    label : str
        What it says.
    accept : str
        Endings of the files that are offered, separated by commas.
    most_mb : float
        Larger files are not taken, and the reader is told.
    """

    look: param.Selector[str] = param.Selector(
        default="plain", objects=["main", "plain"], doc="How much it stands out."
    )
    accept = param.String(default="", doc="Endings of the files that are offered.")
    several = param.Boolean(default=False, doc="Whether more than one file may be chosen.")
    most_mb = param.Number(default=200.0, doc="The largest file that is taken, in 10⁶ bytes.")
    hint = param.String(default="", doc="One line of explanation under it.")
    files = param.List(default=[], doc="What was opened last: pairs of name and contents.")

    HERE = ("files",)

    def __init__(self, label: str, **params: Any) -> None:
        super().__init__(label, kind="upload", **{"sizing_mode": "stretch_width", "max_width": 320, **params})
        # The browser may set what it is told of the limit, and so must not be asked for it.
        self._arrival = Arrival(int(self.most_mb * 1e6))

    def heard(self, message: Any) -> None:
        """A piece of a file: ``first`` of its file, ``last`` of its file, ``final`` of all."""
        whole, refused = self._arrival.take(message)
        try:
            if whole:
                self.files = whole
                self.files = []  # so that the same file can be opened again, and is not kept twice
        finally:  # or the browser would wait for ever
            number = message.get("number") if isinstance(message, dict) else None
            self.tell({"got": number, **({"refused": refused} if refused else {})})


class Turn(_Action):
    """Which of many pages: to the first, the one before, the next, the last."""

    count = param.Integer(default=1, bounds=(1, None), doc="How many pages there are.")
    value = param.Integer(default=0, bounds=(0, None), doc="The page that is shown, from 0; the browser sets it.")

    def __init__(self, **params: Any) -> None:
        super().__init__("Pages", kind="turn", **params)


class Fold(_Action):
    """The heading of a section that opens and closes; what is in it is another's business."""

    level = param.Integer(default=2, bounds=(1, 6), doc="Level of the heading.")
    open = param.Boolean(default=False, doc="Whether it is open; the browser sets it.")

    def __init__(self, label: str, **params: Any) -> None:
        super().__init__(label, kind="fold", **{"sizing_mode": "stretch_width", **params})

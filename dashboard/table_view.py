"""A result table in the browser: its headings sort, its further columns unfold, its rows are selected.

By click, or with the keyboard: headings and the button of further columns are buttons, and in a table of readings Tab
leads to the first row, the arrows from row to row, Enter or Space select it (with Ctrl, beside those selected before).
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from pathlib import Path
from typing import Any

import param

from dashboard.plain import Markup


class TableView(Markup):
    """Markup of a table, and what is pressed on it.

    Parameters
    ----------
    pressed : callable
        Called with one of ``sort=column``, ``more=True``, ``row=study row, several=bool``, ``take="xlsx"``.
    """

    marked = param.List(default=[], doc="Rows of the study that are selected.")

    SCRIPT = Path(__file__).with_suffix(".js")

    def __init__(self, pressed: Callable[..., None], object: str = "", **params: Any) -> None:
        super().__init__(object, **params)
        self._pressed = pressed

    def heard(self, message: Any) -> None:
        if not isinstance(message, dict):
            return
        if isinstance(message.get("sort"), int):
            self._pressed(sort=message["sort"])
        elif message.get("more"):
            self._pressed(more=True)
        elif message.get("take") == "xlsx":
            self._pressed(take="xlsx")
        elif isinstance(message.get("row"), int):
            self._pressed(row=message["row"], several=bool(message.get("several")))

    def give(self, file: str, contents: bytes | Exception) -> None:
        """Have the browser save a file, or say why there is none."""
        if isinstance(contents, Exception):
            self.tell({"file": "", "wrong": str(contents)})
        else:
            self.tell({"file": file, "contents": base64.b64encode(contents).decode("ascii")})

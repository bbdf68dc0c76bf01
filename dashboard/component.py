"""What the dashboard's own components are made of: a script of the browser's beside each Python class.

The one module that names what panel writes with a leading underscore. ``_bundle``, ``_rename``, ``_handle_msg`` and
``_send_msg`` are those by which panel's documentation has a component name its script, keep parameters to itself and
talk with the browser. ``_debounce`` is not documented:
panel waits 50 ms for more changes of a control, and here each change is one; without the line controls answer so much
later and nothing else changes.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

import panel as pn


class Component(pn.custom.JSComponent):
    """Base of the components."""

    #: The script: an ES module that exports ``render``.
    SCRIPT: ClassVar[Path | None] = None
    #: Parameters that stay in Python.
    HERE: ClassVar[tuple[str, ...]] = ()
    _debounce = 0

    def __init_subclass__(cls) -> None:
        if "SCRIPT" in vars(cls):
            cls._bundle = cls.SCRIPT
        if "HERE" in vars(cls):
            cls._rename = dict.fromkeys(cls.HERE)
        super().__init_subclass__()

    def heard(self, message: Any) -> None:
        """What the browser said with ``model.send_msg``."""

    def tell(self, message: Any) -> None:
        """Say something to the browser, which hears it with ``model.on("msg:custom", …)``."""
        self._send_msg(message)

    def _handle_msg(self, message: Any) -> None:
        self.heard(message)

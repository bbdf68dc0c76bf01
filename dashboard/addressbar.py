"""The browser's address bar, both ways: Panel's own Location does not hear back and forward."""

from __future__ import annotations

from pathlib import Path

import panel as pn
import param


class AddressBar(pn.custom.JSComponent):
    """Invisible. ``search`` is the query of the address; the browser sets it on back and forward.

    ``fixed`` counts up when the address is to be corrected in place instead of gaining an entry in the history.
    """

    search = param.String("", doc="The query, with its question mark.")
    fixed = param.Integer(0, doc="Count of corrections in place.")

    narrow = param.Boolean(False, doc="Whether the window is too narrow for menu and page side by side.")
    settled = param.Boolean(False, doc="Whether the menu has been put away where the window is narrow.")

    _bundle = Path(__file__).with_suffix(".js")

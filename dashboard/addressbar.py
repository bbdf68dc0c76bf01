"""The browser's address bar, both ways: Panel's own Location does not hear back and forward."""

from __future__ import annotations

from pathlib import Path

import param

from dashboard.component import Component


class AddressBar(Component):
    """Invisible. ``search`` is the query of the address; the browser sets it on back and forward.

    ``fixed`` counts up when the address is to be corrected in place instead of gaining an entry in the history.
    """

    search = param.String("", doc="The query, with its question mark.")
    fixed = param.Integer(0, doc="Count of corrections in place.")
    title = param.String("gapshift", doc="What the browser's tab, its history and its bookmarks say.")

    SCRIPT = Path(__file__).with_suffix(".js")

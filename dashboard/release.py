"""Lets a closed session go.

Two references outlive a session otherwise (panel 1.9 with panel-material-ui 0.16): the page's ``busy`` follows the
process-wide ``pn.state`` through a watcher that is never removed, and the notification area of the document stays
in ``pn.state._views``. Both hold everything the page holds. This touches private names, so a test opens and closes
sessions and counts what stays.
"""

from __future__ import annotations

from typing import Any

import panel as pn


def release_on_close(page: Any) -> None:
    """Cut what holds ``page`` when its session is destroyed. Call once, while the session is built."""
    document = pn.state.curdoc
    if document is None:
        return

    def release(_context: Any) -> None:
        _unwatch(page)
        views = pn.state._views
        for key in [k for k, view in views.items() if len(view) > 2 and view[2] is document]:
            views.pop(key, None)

    document.on_session_destroyed(release)


def _unwatch(page: Any) -> None:
    """Remove the watchers through which a parameter of ``page`` follows the process-wide state."""
    for _names, watcher in list(page._param__private.ref_watchers):
        if watcher.inst is pn.state:
            pn.state.param.unwatch(watcher)

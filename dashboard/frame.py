"""The page frame, with one saving that panel (1.9) does not make."""

from __future__ import annotations

from typing import Any

import panel_material_ui as pmui


class Frame(pmui.Page):
    """A page whose busy bar costs nothing.

    Whenever the server begins or ends to work, the frame's ``busy`` is set; panel then walks through every model of
    the page to tag what might be new. That took more than half of the server's time for one change of a control.
    A busy bar brings nothing new, so it is set without the walk.
    """

    def _update_model(self, events: Any, msg: dict[str, Any], root: Any, model: Any, doc: Any, comm: Any) -> None:
        if set(msg) != {"busy"}:
            super()._update_model(events, msg, root, model, doc, comm)
            return
        reference = root.ref["id"]
        before = self._changing.get(reference, [])
        self._changing[reference] = [*before, "busy"]  # so that it does not come back as the browser's wish
        try:
            model.data.busy = msg["busy"]
        finally:
            if before:
                self._changing[reference] = before
            else:
                self._changing.pop(reference, None)

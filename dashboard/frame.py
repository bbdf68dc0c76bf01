"""The page frame, with the savings that panel 1.9 does not make."""

from __future__ import annotations

from typing import Any

import panel_material_ui as pmui
from bokeh.themes import Theme
from panel.io.resources import LOCAL_DIST, patch_model_css

from dashboard.addressbar import AddressBar
from dashboard.controls import Choice
from dashboard.mends import Mends
from dashboard.menu import Menu

#: The frame's own document, with a few lines before its scripts. Panel has every script module fetched, rewritten and
#: wrapped by a shim for browsers that cannot load modules by themselves; every browser of the last years can, and
#: then keeps what it compiled for the next visit. No component here imports by bare names, so maps have no use.
_DOCUMENT = """{% extends "base.html" %}
{% block js_resources %}
{% for module in modules %}<link rel="modulepreload" href="{{ module }}">
{% endfor %}<script>
  const load = Object.assign((url) => import(url), {addImportMap: () => {}})
  Object.defineProperty(window, "importShim", {get: () => load, set: () => {}})
  const early = {{ modules | tojson }}
  document.addEventListener("DOMContentLoaded", () => setTimeout(() => early.forEach(load)))
</script>
{{ super() }}
{% endblock %}"""

#: Parts of a plot that :mod:`dashboard.theme` dresses. The frame would dress them a second time in the browser, each
#: with a message to the server and the plot laid out anew, in lines too faint to read and dashes too short to tell.
_OWN_LOOKS: dict[str, Any] = {name: {} for name in ("Axis", "Grid", "Legend", "Title", "Plot", "Figure")}


class Frame(pmui.Page):
    """A page whose busy bar costs nothing.

    Whenever the server begins or ends to work, the frame's ``busy`` is set; panel then walks through every model of
    the page to tag what might be new. That took more than half of the server's time for one change of a control.
    A busy bar brings nothing new, so it is set without the walk.
    """

    def __init__(self, **params: Any) -> None:
        super().__init__(template=_DOCUMENT, **params)
        self._custom_theme = list(_OWN_LOOKS.keys())

    def get_root(self, doc: Any = None, *args: Any, **params: Any) -> Any:
        if doc is not None:
            doc.theme = Theme(json={"attrs": _OWN_LOOKS})  # the frame leaves alone what a document's own theme names
        root = super().get_root(doc, *args, **params)
        if doc is not None and doc.session_context is not None:  # style sheets come from this server
            doc._template_variables["dist_url"] = LOCAL_DIST
            patch_model_css(root, dist_url=LOCAL_DIST)
        return root

    def _populate_template_variables(self, template_variables: dict[str, Any]) -> None:
        super()._populate_template_variables(template_variables)
        # Fetched and run while the server is still building the session.
        parts = (type(self), AddressBar, Mends, Menu, Choice)
        template_variables["modules"] = [part._render_esm(compiled=True, server=True) for part in parts]

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

"""The browser says when it has drawn what it was sent.

Bokeh's browser side makes the views of new models while other messages are heard. Until they are made, a change of a
container's children passes it by, and a second change makes its views twice: a page that is put together in steps
would lack what stands at its end. So the next step waits for the answer of this component.
"""

from __future__ import annotations

from pathlib import Path

import param

from dashboard.component import Component


class Echo(Component):
    """Invisible. ``asked`` counts the steps that were sent; the browser sets ``drawn`` to it once they are drawn."""

    asked = param.Integer(0, doc="The last step that was sent.")
    drawn = param.Integer(0, doc="The last step that was drawn.")

    SCRIPT = Path(__file__).with_suffix(".js")

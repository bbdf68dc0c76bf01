"""What is mended in the browser, from outside, until the libraries do it themselves.

Seen with panel 1.9, panel-material-ui 0.16 and bokeh 3.9. Five kinds:

* *Views that are told something before they are drawn* (text in a closed expander, a plot put into a row a moment
  before) answer with an uncaught error. What they were told stands in their model, which they read when they are
  drawn, so nothing is lost by letting them wait.
* *Names and roles that assistive technology needs*: options of a drop-down called menu items, buttons and progress
  bars without a name, headings without text.
* *Layout that is computed again and again*: once a message is enough, and a control without parts of its own asks none.
* *Drop-downs that open by a click only*: the keys that should open them do.
* *A button that skips the menu*, as the first stop of the tabulator key.

Roles and names are put right a moment after something was added to the page, in one pass over what is there.
"""

from __future__ import annotations

from pathlib import Path

import panel as pn
import param

from dashboard import theme


class Mends(pn.custom.JSComponent):
    """Invisible; loads ``mends.js`` once."""

    css = param.String(theme.FOCUS, doc="Rules for every part of the page, also those that style sheets do not reach.")

    _bundle = Path(__file__).with_suffix(".js")

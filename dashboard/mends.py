"""What is mended in the browser, from outside, until the libraries do it themselves.

Seen with panel 1.9 and bokeh 3.9. Three kinds:

* *Views that are told something before they are drawn* (text in a closed section, a plot put into a row a moment
  before) answer with an uncaught error. What they were told stands in their model, which they read when they are
  drawn, so nothing is lost by letting them wait.
* *A scroll button that is not asked for* and moves what is added to a column later.
* *Layout that is computed again and again*: once a message is enough, and a control without parts of its own asks none.
"""

from __future__ import annotations

from pathlib import Path

import panel as pn

from dashboard import plain


class Mends(plain.Plain, pn.custom.JSComponent):
    """Invisible; loads ``mends.js`` once."""

    _bundle = Path(__file__).with_suffix(".js")

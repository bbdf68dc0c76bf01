"""What is mended in the browser, from outside, until the libraries do it themselves."""

from __future__ import annotations

import panel as pn


class Mends(pn.custom.JSComponent):
    """Invisible.

    A component of panel (1.9) that is resized measures its children, and a plot that was put into it a moment
    before has no layout to measure yet: an uncaught error in the console. Such a plot is measured when it is drawn.
    """

    _esm = """
    export function render() {
      const figure = window.Bokeh?.Models?.get?.("Figure")?.prototype?.default_view?.prototype
      for (const name of ["_measure_layout", "_after_layout"]) {
        let owner = figure
        while (owner && !Object.hasOwn(owner, name)) { owner = Object.getPrototypeOf(owner) }
        if (!owner || owner[name]._gapshift) { continue }
        const original = owner[name]
        owner[name] = function(...args) { return this.layout == null ? undefined : original.apply(this, args) }
        owner[name]._gapshift = true
      }
      return null
    }
    """

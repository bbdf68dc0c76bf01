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
      let owner = figure
      while (owner && !Object.hasOwn(owner, "_measure_layout")) { owner = Object.getPrototypeOf(owner) }
      if (owner && !owner._gapshift_mended) {
        const measure = owner._measure_layout
        owner._measure_layout = function(...args) {
          return this.layout == null ? undefined : measure.apply(this, args)
        }
        owner._gapshift_mended = true
      }
      return null
    }
    """

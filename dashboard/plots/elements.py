"""What HoloViews needs before it draws: loaded where a notebook asks for elements."""

from __future__ import annotations

import holoviews as hv

hv.extension("bokeh", logo=False) if "bokeh" not in hv.Store.renderers else None
hv.renderer("bokeh").webgl = False  # without a GPU, WebGL is many times slower, and thinned curves gain nothing from it

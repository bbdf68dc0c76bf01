"""What HoloViews needs before it draws: loaded where a notebook asks for elements."""

from __future__ import annotations

import holoviews as hv

if "bokeh" not in hv.Store.renderers:  # in a notebook its scripts come with it, from no other host
    hv.extension("bokeh", inline=True, logo=False)
hv.renderer("bokeh").webgl = False  # without a GPU, WebGL is many times slower, and thinned curves gain nothing from it

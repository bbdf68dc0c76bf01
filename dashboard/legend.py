"""The legend of a plot: a button for each line of it, which shows that level alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import param

from dashboard import frame_styles
from dashboard.component import Component


class Legend(Component):
    """Beside the plot instead of in it: takes nothing of it, is reached by keyboard and told to screen readers."""

    SCRIPT = Path(__file__).with_suffix(".js")

    lines = param.List(default=[], doc="For each line its name, kind of mark, colour, dash and marker.")
    alone = param.String(default="", doc="The line that is shown alone; the browser sets it.")

    def __init__(self, **params: Any) -> None:
        super().__init__(stylesheets=[frame_styles.legend_css()], sizing_mode="stretch_width", margin=0, **params)

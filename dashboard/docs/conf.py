"""Sphinx: the documentation, built from these pages, from docstrings and from the tests. Static; asks no other host.

python -m sphinx -W -b html dashboard/docs build/docs
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE)]

from generated import write_all  # noqa: E402

project = "gapshift"
author = "The gapshift authors"
extensions = ["myst_parser"]
myst_enable_extensions = ["colon_fence", "deflist"]
myst_heading_anchors = 3
exclude_patterns = ["generated.py"]
html_theme = "furo"
html_title = "gapshift"
html_show_sphinx = False
html_show_copyright = False
html_static_path = ["_static"]
html_css_files = ["site.css"]  # wide tables in smaller type
nitpicky = True

write_all(HERE)

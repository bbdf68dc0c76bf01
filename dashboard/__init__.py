"""Everything that gapshift shows; computes nothing that a notebook would want.

In a notebook::

    import dashboard

    dashboard.show("series.csv")              # the whole dashboard, inline
    dashboard.page("overlay", records)        # one page of it
"""

from __future__ import annotations

from typing import Any

__all__ = ["page", "show"]


def __getattr__(name: str) -> Any:
    if name in __all__:  # the command line imports this package and must not wait for panel
        from dashboard import notebook

        return getattr(notebook, name)
    raise AttributeError(f"module 'dashboard' has no attribute {name!r}")

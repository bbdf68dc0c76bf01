"""The dashboard as an object that a notebook displays."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import panel as pn

from dashboard.opened import Opened
from dashboard.study import Study
from methods.records.table import as_table


def _extend() -> None:
    """Load panel's extension once, with everything inside the notebook and nothing from another host."""
    import holoviews as hv

    pn.extension(inline=True, respect_explicit_sizing=True)
    hv.extension("bokeh", inline=True, logo=False)
    hv.renderer("bokeh").webgl = False


def _study(sources: tuple[Any, ...]) -> Study:
    study = Study()
    for number, source in enumerate(sources, 1):
        if isinstance(source, Study):
            return source
        if isinstance(source, (str, Path)):
            study.open(source)
        else:
            study.files = [*study.files, _from_table(source, number)]
    if not sources:
        from dashboard import demo

        study.open_demo(demo.names()[0])
    return study


def _from_table(source: Any, number: int) -> Opened:
    from dashboard.study import Selection

    table = as_table(source)
    digest = f"table-{pd.util.hash_pandas_object(table, index=False).sum():016x}"
    records = source if hasattr(source, "table") else Selection(table)
    return Opened(getattr(source, "name", None) or f"table {number}", digest, {}, records, b"")


def show(*sources: Any) -> Any:
    """The whole dashboard over files, records or tables; over the demo programme when none is given."""
    _extend()
    from dashboard.app import App

    return App(_study(sources))


def page(key: str, *sources: Any, **settings: Any) -> Any:
    """One page over files, records, tables or a study.

    Parameters
    ----------
    key : str
        ``records``, ``overlay``, ``shift`` ...; see :data:`dashboard.pages.PAGES`.
    **settings
        Parameters of the study (``by="gap_mm"``) or of the page (``view="density"``).
    """
    _extend()
    from dashboard.pages import keys, page_class

    if key not in keys():
        raise ValueError(f"There is no page {key!r}; the pages are {', '.join(sorted(keys()))}.")
    study, cls = _study(sources), page_class(key)
    shared = {k: v for k, v in settings.items() if k in Study.param}
    study.param.update(**shared)
    own = {k: v for k, v in settings.items() if k not in shared}
    shown = cls(study, **own)
    shown.shown = True
    shown.stand_alone()
    return shown

"""Packages that only some features need, and the one sentence that says how to get a missing one."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from methods.errors import MissingExtra

#: How a package is called where it is not called by its name.
_TITLES = {"duckdb": "DuckDB", "docx": "python-docx", "weasyprint": "WeasyPrint", "distributed": "Dask"}


def need(package: str, feature: str, extra: str, otherwise: str = "") -> Any:
    """The package ``package``, which ``feature`` needs.

    Parameters
    ----------
    package : str
        The name to import it by.
    feature : str
        What needs it, with an article: it begins the sentence.
    extra : str
        The extra of gapshift that brings it.
    otherwise : str, optional
        What can be done without it.

    Raises
    ------
    MissingExtra
        It is not installed.
    """
    try:
        return import_module(package)
    except ImportError as why:
        title = _TITLES.get(package, package.partition(".")[0])
        rest = f", or {otherwise}" if otherwise else ""
        raise MissingExtra(
            f"{feature} needs {title}: install gapshift[{extra}] (pip install 'gapshift[{extra}]'){rest}."
        ) from why

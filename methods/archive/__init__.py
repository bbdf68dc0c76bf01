"""The laboratory's own tests in one file: added once, kept with their source, read again as one set of records.

The file is a DuckDB database (extra ``archive``). Wherever a file is read, an archive can stand::

    from methods.archive import Archive

    with Archive("oils.duckdb") as archive:
        archive.add("march.xlsx")
    read("oils.duckdb", where={"sample": "check oil"}, since="2025-01-01")

For many, each puts its archive into one folder as Parquet (:func:`share`), and the folder stands wherever an archive
can.
"""

from __future__ import annotations

from typing import Any

__all__ = ["Added", "Archive", "Listed", "gather_shared", "list_archive", "share"]


def __getattr__(name: str) -> Any:
    if name in __all__:  # imported when first asked for: every reader of files looks into this package
        from methods.archive import shared, store

        return getattr(shared if name in ("gather_shared", "share") else store, name)
    raise AttributeError(f"module 'methods.archive' has no attribute {name!r}")

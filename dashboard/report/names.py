"""Headings of the columns of a report's tables: those of the pages and commands."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard import words


def heading(column: str, own: Mapping[str, str] | None = None) -> str:
    """What stands above a column."""
    return (own or {}).get(column) or words.heading(column)

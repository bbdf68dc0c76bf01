"""What bad input raises: one family of errors that say where and why."""

from __future__ import annotations


class InputError(ValueError):
    """Input that cannot be used as it stands.

    Parameters
    ----------
    message : str
        One sentence: what was wrong and how to mend it.
    row : int or str, optional
        The line or sheet row as the user sees it, from 1.
    column : str, optional
        The heading, or the argument's name.
    text : str, optional
        What was found there, as it was written.
    rule : str, optional
        The rule that it breaks.
    lacks : str, optional
        What has to be said for it to work (``limit_method``, ``two_levels`` ...): who asks knows how it is said there.
    """

    def __init__(
        self,
        message: str,
        *,
        row: int | str | None = None,
        column: str | None = None,
        text: str | None = None,
        rule: str | None = None,
        lacks: str = "",
    ) -> None:
        super().__init__(message)
        self.row = row
        self.column = column
        self.text = text
        self.rule = rule
        self.lacks = lacks


class UnusableFile(InputError):
    """A file from which nothing can be read: not a table, no breakdown voltages, too large."""


class NotEstimable(InputError):
    """Numbers that are in order but cannot answer the question (all withstood, one value, no shared level)."""


class MissingExtra(InputError, ImportError):
    """A feature whose optional package is not installed; the message names the extra to install."""


def one_line(text: object, most: int = 400) -> str:
    """A text on one line and short, without the characters that steer a terminal."""
    line = " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())
    return line if len(line) <= most else f"{line[: most - 1]}…"

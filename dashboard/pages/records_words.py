"""The reader's remedies in the words of the page: it names options of the command line, the page names its controls."""

from __future__ import annotations

import re

_INSTEAD: tuple[tuple[str, str], ...] = (
    (r"Say which with --value\.?", "Select them on the sheet and press Readings."),
    (r"name it with --value", "select it on the sheet and press Readings"),
    (r"--value(?: or --layout \w+)?", "Readings, on the sheet"),
    (r"--column (\w+)=HEADING(?:, or --column \w+=- for none)?", r"“Its heading means”, on the sheet"),
    (r"--column(?: \w+=\S*)?(?: or a sheet of its own)?", "“Its heading means”, on the sheet"),
    (r"--sheet(?: \S+)?", "“Sheet”, and whether it is read"),
    (r"--layout(?: \w+(?:-\w+)?)?", "“Layout”, under “What the sheet does not say”"),
    (r"--unit(?: \S+)?", "“Unit of the readings”, under “What the sheet does not say”"),
    (r"--no-ceiling or --ceiling KV", "“Ceiling (kV)”, under “What the sheet does not say”"),
    (r"--(?:no-)?ceiling(?: \S+)?", "“Ceiling (kV)”, under “What the sheet does not say”"),
    (r"--decimal(?: \S+)?", "“Decimal mark”, under “What the sheet does not say”"),
    (r"the column with \w+=HEADING", "it on the sheet"),
    (r"--dates(?: \S+)?", "“Dates”, under “What the sheet does not say”"),
)


def for_the_page(text: str) -> str:
    """A message of the reader, naming controls where it names options."""
    for option, control in _INSTEAD:
        text = re.sub(option, control, text)
    return text


def lacking(text: str) -> str:
    """The column that a message asks to be named, or nothing."""
    found = re.search(r"\b(\w+)=HEADING", text)
    return found[1] if found else ""

"""The reader's remedies in the words of the page: it names options of the command line, the page names its controls."""

from __future__ import annotations

import re

_UNDER = "under “What the sheet does not say”"
_INSTEAD: tuple[tuple[str, str], ...] = (
    (r"Say which with --value\.?", "Select them on the sheet and press Readings."),
    (r"name it with --value", "select it on the sheet and press Readings"),
    (r"--value(?: or --layout \w+)?", "Readings, on the sheet"),
    (r"--column filling=HEADING, or --say fillings=\w+", "“Its heading means” or “Fillings”, on the sheet"),
    (
        r"--column (\w+)=HEADING(?:, or --column \w+=- for none)?(?: of another column)?",
        "“Its heading means”, on the sheet",
    ),
    (r"--column(?: \w+=\S*)?", "“Its heading means”, on the sheet"),
    (r"--sheet(?: \S+)?", "“Sheet”, and whether it is read"),
    (r"--layout(?: \w+(?:-\w+)?)?", f"“Layout”, {_UNDER}"),
    (r"--unit(?: [\w/]+)?(?: or --unit [\w/]+)?", f"“Unit of the readings”, {_UNDER}"),
    (r"--no-ceiling or --ceiling KV", f"“Ceiling (kV)”, {_UNDER}"),
    (r"--(?:no-)?ceiling(?: \d\S*)?", f"“Ceiling (kV)”, {_UNDER}"),
    (r"--decimal(?: \w+)?", f"“Decimal mark”, {_UNDER}"),
    (r"--thousands(?: \w+)?", f"“Thousands mark”, {_UNDER}"),
    (r"--censored(?: \w+)?", f"“Words for withstood”, {_UNDER}"),
    (r"--dates(?: [\w-]+)?", f"“Dates such as 03/04/2025”, {_UNDER}"),
    (r"--context(?: \w+=[\w@!:]+(?: \(or [\w, ]+\))?)?", f"“What”, {_UNDER}"),
    (r"--say table(?:@[\w!:]+)?", "“A table”, on the sheet"),
    (r"--say readings(?:@[\w!:]+)?", "Readings, on the sheet"),
    (r"--say fillings=\w+", "“Fillings”, on the sheet"),
    (r"--recipe(?: \S+)?", "“Open a recipe”, below the sheet"),
    (r"--(?:where \w+=\w+|where|since|until)", "the filters of Records"),
    (r"--read-(?:memory MB|seconds S), or ", ""),
    (r"Leave --by out, or name these too", "Let the other oils and procedures go with the filters of Records"),
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

"""The invented demo sets that come with the program, by the names that an address may carry."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

#: Name in the address -> (file, what it is).
SETS: dict[str, tuple[str, str]] = {
    "programme": ("programme_long.csv", "A utility's programme: five oils, eight ways to test them"),
    "bench": ("bench_studies.csv", "One oil: gaps, rates of rise, electrodes still and stirred"),
    "labs": ("laboratory_round.csv", "Four oils at nine laboratories"),
    "routine": ("routine_wide.csv", "A routine bench's sheets, one row a filling"),
    "messy": ("messy_sheet.xlsx", "A spreadsheet as people type it, full of traps"),
}


def folder() -> Path | None:
    """Where the demo files are: ``data/`` beside the packages, or the installed package of files."""
    beside = Path(__file__).resolve().parents[1] / "data"
    if beside.is_dir():
        return beside
    try:
        return Path(str(resources.files("gapshift_demo")))
    except ModuleNotFoundError:
        return None


def path(name: str) -> Path | None:
    """The file of one demo set, or None when there is no such set."""
    home = folder()
    if home is None or name not in SETS:
        return None
    file = home / SETS[name][0]
    return file if file.is_file() else None


def names() -> list[str]:
    """The demo sets whose files are there."""
    return [name for name in SETS if path(name) is not None]

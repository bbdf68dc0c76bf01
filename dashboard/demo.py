"""The invented demo sets that come with the program, by the names that an address may carry."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Any

#: Name in the address -> (file, what it is).
SETS: dict[str, tuple[str, str]] = {
    "programme": ("programme_long.csv", "Programme: five oils, eight methods"),
    "bench": ("bench_studies.csv", "Bench: gap, rate of rise, stirring"),
    "labs": ("laboratory_round.csv", "Round: nine laboratories"),
    "routine": ("routine_wide.csv", "Routine sheets, one row a filling"),
    "check": ("check_oil.csv", "Check oil: one oil, every week"),
    "messy": ("messy_sheet.xlsx", "Spreadsheet full of traps"),
}

#: What one sees first of a set that was chosen without an address: factor, reference and filters that make one clean
#: comparison.
FIRST: dict[str, dict[str, Any]] = {
    "programme": {
        "by": "procedure",
        "reference": "IEC 60156 spherical, stirred",
        "filters": {"laboratory": ["Fenmark central"]},
    },
    "bench": {"by": "electrode", "filters": {"study": ["electrode and stirring"]}},
    "labs": {"by": "laboratory", "filters": {"sample": ["Alderholt T1"]}},
    "routine": {"by": "method", "filters": {"sample": ["Alderholt T1"]}},
}


def folder() -> Path | None:
    """Where the demo files are: ``data/`` beside the packages, or the installed package of files."""
    beside = Path(__file__).resolve().parents[1] / "data"
    if (beside / "make_demo.py").is_file():  # any other folder of that name is somebody else's
        return beside
    try:
        # The package holds files only and has no __init__: it may stand in several places, and any of its files tells.
        first = resources.files("gapshift_demo").joinpath(next(iter(SETS.values()))[0])
    except ModuleNotFoundError:
        return None
    return first.parent if isinstance(first, Path) and first.is_file() else None


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

"""What every plan that comes with a sheet shares."""

from __future__ import annotations

from typing import Any

from methods.result import Shown


class WithSheet(Shown):
    """A plan whose sheet is a file of its own."""

    def to_dict(self) -> dict[str, Any]:
        """What JSON shows: everything but the sheet."""
        return {name: value for name, value in vars(self).items() if name != "sheet"}

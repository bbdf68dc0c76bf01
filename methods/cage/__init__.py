"""Reading a file in a process with limits, and what those limits are. Light: imports the reader only where it reads."""

from __future__ import annotations

from methods.cage.limits import Limits, limits_for, set_limits
from methods.cage.reader import keep_warm, open_sheets_in_cage, read_all_in_cage, read_in_cage

__all__ = ["Limits", "keep_warm", "limits_for", "open_sheets_in_cage", "read_all_in_cage", "read_in_cage", "set_limits"]

"""The caution that stands under every page, and the long list behind it."""

from __future__ import annotations

from typing import Any

from dashboard import parts
from dashboard.safety import LONG, SHORT


def footer() -> Any:
    """The standing footer."""
    items = "".join(f"<li><b>{parts.escaped(lead)}</b> {parts.escaped(text)}</li>" for lead, text in LONG)
    return parts.raw(
        f'<footer><p class="hint">{parts.escaped(SHORT)}</p>'
        f'<details class="hint"><summary>All cautions</summary><ul>{items}</ul></details></footer>',
        styles={"border-top": "1px solid var(--rule)", "padding-top": "12px"},
    )

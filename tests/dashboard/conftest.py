"""Warnings of other libraries about each other, named one by one; ours stay errors."""

from __future__ import annotations

from pathlib import Path

import pytest

#: bokeh 3.9 calls pandas 3.1 with a deprecated keyword.
BOKEH = "ignore:The inplace keyword in DataFrame:DeprecationWarning"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.filterwarnings(BOKEH))

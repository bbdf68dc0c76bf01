"""Shared by all tests. The BLAS threads are limited before NumPy loads: see ``dashboard/cli.py``."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

#: Every file that a test reads is held to its account: see ``methods/records/balance.py``.
os.environ.setdefault("GAPSHIFT_CHECK_ACCOUNT", "1")

BROWSER = Path(__file__).parent / "browser"

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # Playwright keeps an event loop running in the main thread once it has started; tests that run a loop of
    # their own must come before it.
    items.sort(key=lambda item: BROWSER in item.path.parents)

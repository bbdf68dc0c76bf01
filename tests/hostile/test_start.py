"""A process that could not start is not called a file that asks for too much."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_a_script_that_cannot_be_imported_anew_is_told_so() -> None:
    script = (
        "from dashboard.study import Study\nfrom methods.errors import InputError\n"
        "try:\n    Study().open(b'kv\\n40\\n41\\n42\\n', 'small.csv')\n"
        "except InputError as error:\n    print(error)\n"
    )
    told = subprocess.run(
        [sys.executable, "-"], input=script, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True, text=True,
    ).stdout  # fmt: skip
    assert "could not start" in told and "MB" not in told

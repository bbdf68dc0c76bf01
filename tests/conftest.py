"""Shared by all tests. The BLAS threads are limited before NumPy loads: see ``dashboard/cli.py``."""

from __future__ import annotations

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

"""One thread for the linear algebra of small matrices.

The matrices of variance components have tens of rows. Threads of the linear algebra library then mostly wait for each
other: on a busy two-core machine one profile of a crossed design took 38 s with two threads and 0.7 s with one.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
R = TypeVar("R")


@cache
def _libraries() -> ThreadpoolController:
    import scipy.linalg  # noqa: F401  (SciPy brings a library of its own, which is limited only once it is loaded)

    return ThreadpoolController()


def single_threaded(function: Callable[P, R]) -> Callable[P, R]:
    """Decorator: run ``function`` with one BLAS thread, and give the threads back afterwards."""

    @wraps(function)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        with _libraries().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return run

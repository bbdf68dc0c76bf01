"""What is random takes ``rng``: a seed or a generator, as SciPy's functions do."""

from __future__ import annotations

from typing import Any

import numpy as np

from methods.errors import InputError

#: A seed or a generator.
Rng = int | np.random.Generator


def seed_of(rng: Any) -> int:
    """The seed that a random computation starts from, so that it can be told with the result.

    Parameters
    ----------
    rng : int or numpy.random.Generator
        A seed gives the same numbers every time. A generator gives the next ones: a seed is drawn from it.

    Raises
    ------
    InputError
        Neither a whole number from 0 on nor a generator.

    Examples
    --------
    >>> seed_of(7)
    7
    """
    if isinstance(rng, np.random.Generator):
        return int(rng.integers(2**53))
    if isinstance(rng, (int, np.integer)) and not isinstance(rng, bool) and rng >= 0:
        return int(rng)
    raise InputError(
        f"rng is {rng!r}; it must be a whole number from 0 on or a numpy Generator.",
        column="rng", text=str(rng), rule="a seed or a generator",
    )  # fmt: skip

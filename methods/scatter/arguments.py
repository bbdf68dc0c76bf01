"""What the functions of this package accept as values and as withstands."""

from __future__ import annotations

from typing import Any

import numpy as np

from methods.errors import InputError

Array = np.ndarray[Any, Any]


def as_numbers(values: Any, name: str = "kv") -> Array:
    """``values`` as floats, what is missing as nan.

    Raises
    ------
    InputError
        Something that is not a number.
    """
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        pass
    try:
        import pandas as pd

        return np.asarray(pd.array(values, dtype="Float64").to_numpy(dtype=float, na_value=np.nan))
    except (TypeError, ValueError):
        raise InputError(f"{name} must hold plain numbers.", column=name, rule="numbers") from None


def as_flags(values: Any, shape: tuple[int, ...], name: str = "withstood") -> Array:
    """``values`` as booleans of the given shape; None means all False.

    Parameters
    ----------
    values : array_like or None
        Flags.
    shape : tuple of int
        Shape that they must have.
    name : str, default 'withstood'
        The argument's name, for the message.

    Raises
    ------
    InputError
        Another shape, or something other than True and False (or 1 and 0): a word would count as True.
    """
    if values is None:
        return np.zeros(shape, dtype=bool)
    flags = np.asarray(values)
    if flags.shape != shape:
        raise InputError(
            f"{name} has shape {flags.shape} and kv {shape}; there must be one for each value.", column=name
        )
    if flags.dtype != bool:
        if not all(f in (0, 1) for f in flags.ravel().tolist()):
            raise InputError(f"{name} must hold True and False only.", column=name, rule="True or False")
        flags = flags.astype(bool)
    return flags


def check_values(kv: Any, withstood: Any = None, *, positive: bool = True) -> tuple[Array, Array]:
    """Check one group; give ``kv`` as floats and ``withstood`` as booleans, both (n,).

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional, optional
        (n,) Which of them are withstands; none by default.
    positive : bool, default True
        Whether every value must be above zero.

    Raises
    ------
    InputError
        Not one-dimensional, lengths that differ, a missing, infinite or (with ``positive``) non-positive value.
    """
    x = as_numbers(kv)
    if x.ndim != 1:
        raise InputError(f"kv must be a plain list of values; this has {x.ndim} dimensions.", column="kv")
    gone = as_flags(withstood, x.shape)
    bad = ~np.isfinite(x) | ((x <= 0) if positive else False)
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        raise InputError(
            f"Value {row + 1} is {x[row]}; a breakdown voltage is a finite number above zero. Mend it or leave it out.",
            row=row + 1, column="kv", text=str(x[row]), rule="finite and above 0 kV",
        )  # fmt: skip
    return x, gone

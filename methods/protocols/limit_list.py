"""The acceptance limits that are known, and those for one method or liquid."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

import pandas as pd

from methods.errors import InputError
from methods.protocols.bench import as_protocol
from methods.protocols.fitting import liquid_of
from methods.protocols.limits import limit_table, load_limits
from methods.protocols.protocol import CHECK
from methods.result import Shown


@dataclass(frozen=True, repr=False)
class LimitList(Shown):
    """The result of :func:`list_limits`.

    ``limits`` as :func:`methods.protocols.limit_table` has them; ``without_numbers``: the documents that ship without
    any, with key, document, edition and notes; ``check``: what to do before a result is judged.
    """

    limits: pd.DataFrame
    without_numbers: list[dict[str, Any]]
    check: str = CHECK


def list_limits(
    method: str | None = None, fluid: str | None = None, *, folder: str | os.PathLike[str] | None = None
) -> LimitList:
    """Every limit, or those for results of ``method`` (at its gap) or for the liquid ``fluid``.

    Parameters
    ----------
    method : str, optional
        A test method by any name that is known.
    fluid : str, optional
        A kind of liquid.
    folder : str or path, optional
        The user's own files beside those that are shipped; by default the folder that the environment names.

    Raises
    ------
    InputError
        A method or liquid that is not known.

    Examples
    --------
    >>> from methods.protocols.limit_list import list_limits
    >>> set(list_limits("ASTM D1816 2 mm").limits["method"])
    {'astm_d1816'}
    """
    table = limit_table(folder)
    if method is not None:
        wanted = as_protocol(method)
        table = table[table["method"] == wanted.family]
        gap = wanted.gap_mm.value
        if gap is not None:
            table = table[table["gap_mm"].isna() | ((table["gap_mm"] - float(gap)).abs() <= 0.05)]
    if fluid is not None:
        kind = liquid_of(fluid)
        if kind is None:
            raise InputError(
                f"No liquid is known as {fluid!r}; say mineral oil, natural ester, synthetic ester, blended ester or "
                "silicone.", text=fluid,
            )  # fmt: skip
        table = table[table["liquid"].map(liquid_of) == kind]
    empty = [d for d in load_limits(folder).values() if not d.limits]
    documents = [{"key": d.key, "document": d.document, "edition": d.edition, "notes": d.notes} for d in empty]
    return LimitList(table.reset_index(drop=True), documents)

"""A limit as somebody gives it (kV, or an entry of a document), and whether a result may be compared with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from methods.errors import InputError
from methods.planning.inputs import positive
from methods.protocols.fitting import liquid_refusal, open_points
from methods.protocols.limits import Limit, compare, limit_for
from methods.protocols.protocol import Protocol, Value
from methods.protocols.recognition import recognise
from methods.result import Caution


@dataclass(frozen=True)
class LimitGiven:
    """A limit in kV, the words for it, and the entry that binds it to a method (None: nobody said which)."""

    kv: float
    title: str
    entry: Limit | None

    @property
    def bound(self) -> bool:
        """Whether it is known for which method the limit is written."""
        return self.entry is not None

    def reaches(self, kv: np.ndarray) -> np.ndarray:
        """Which voltages meet the limit; exactly on it passes unless the document says that it fails."""
        strict = self.entry is not None and self.entry.boundary == "fails"
        return np.asarray(kv > self.kv if strict else kv >= self.kv)

    def check(self, protocol: Protocol | None, fluid: Any = None, state: Any = None) -> list[Caution]:
        """Cautions about the comparison with a result of ``protocol`` on this liquid in this state.

        Raises
        ------
        InputError
            The limit is another method's, gap's, edition's or liquid's; the message says why they are not compared.
        """
        if self.entry is None:
            return [
                Caution(
                    "limit_method_unknown",
                    "Nobody said for which method this limit is written. A limit holds for results of its own method "
                    "and gap only: make sure that it is the one of these results.",
                )
            ]
        compare(self.entry, protocol)
        why = liquid_refusal(self.entry, fluid)
        if why is not None:
            raise InputError(f"Not compared: {why}.", column="limit", text=self.entry.key, rule="the same liquid")
        found = open_points(self.entry, fluid, state)
        if self.entry.kv.mark == "own copy":
            return found
        return [
            *found,
            Caution(
                "limit_from_document",
                f"The limit is {self.kv:g} kV by {self.title} (mark: {self.entry.kv.mark}); {self.entry.check}.",
            ),
        ]


def limit_given(limit: Any, method: str | None = None) -> LimitGiven:
    """Take a limit: kV (with the method that it is written for, if told), a key of the limit documents, or an entry.

    Raises
    ------
    InputError
        Not a positive number, an unknown key, an empty entry, an unknown method.
    """
    entry = limit if isinstance(limit, Limit) else None
    if isinstance(limit, str):
        try:
            limit = float(limit.lower().removesuffix("kv").strip().replace(",", "."))
        except ValueError:
            entry = limit_for(limit)
    if entry is not None:
        if method is not None:
            raise InputError(f"{entry.title} says itself for which method it is written; leave the method out.")
        if entry.kv.value is None:
            raise InputError(f"The value of {entry.title} is empty; enter it from your own copy.", text=entry.key)
        return LimitGiven(float(entry.kv.value), entry.title, entry)
    kv = positive(limit, "limit")
    if method is None:
        return LimitGiven(kv, f"{kv:g} kV", None)
    protocol = recognise(method)
    if protocol is None:
        raise InputError(
            f"No method is known as {method!r}; write it as ASTM D1816 2 mm or IEC 60156.",
            column="limit_method",
            text=method,
        )
    gap = protocol.gap_mm.value
    own = Limit(
        key="given", document=f"{kv:g} kV", edition="unspecified", liquid="", stage="", equipment="", kind="",
        method=protocol.family, gap_mm=None if gap is None else float(gap),
        kv=Value(value=kv, mark="own copy", source="given with the question"),
        method_edition=protocol.edition_stated,
    )  # fmt: skip
    return LimitGiven(kv, f"{kv:g} kV by {protocol.designation}", own)

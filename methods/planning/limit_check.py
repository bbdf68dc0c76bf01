"""A limit as somebody gives it (kV, or an entry of a document), and whether a result may be compared with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from methods.errors import InputError
from methods.planning.inputs import positive
from methods.protocols.fitting import LIQUIDS, liquid_of, liquid_refusal, open_points, stage_refusal
from methods.protocols.grades import Bands, bands_of
from methods.protocols.limits import Limit, check_comparable, limit_for
from methods.protocols.protocol import Protocol, Value
from methods.protocols.recognition import recognise
from methods.result import Caution


@dataclass(frozen=True)
class LimitGiven:
    """A limit in kV, the words for it, and the entry that binds it to a method (None: nobody said which).

    ``bands``: where good, fair and poor part, for a limit of a graded document or a graded one of the user's own.
    """

    kv: float
    title: str
    entry: Limit | None
    bands: Bands | None = None

    @property
    def bound(self) -> bool:
        """Whether it is known for which method the limit is written."""
        return self.entry is not None

    def reaches(self, kv: np.ndarray) -> np.ndarray:
        """Which voltages meet the limit; exactly on it passes unless the document says that it fails.

        The limit above which an oil is good is not met by what lies on it, unless the document says so.
        """
        strict = self.entry is not None and self.entry.boundary == "fails"
        if self.bands is not None and self.kv == self.bands.good_kv:
            strict = not self.bands.edge_good
        return np.asarray(kv > self.kv if strict else kv >= self.kv)

    def check(
        self, protocol: Protocol | None, fluid: Any = None, state: Any = None, stage: str = "", equipment: str = ""
    ) -> list[Caution]:
        """Cautions about the comparison with a result of ``protocol`` on this liquid in this state.

        ``stage`` and ``equipment``: what the user says of these oils.

        Parameters
        ----------
        protocol : Protocol or None
            The method of the results; None where nobody says it.
        fluid : str or None, optional
            The liquid that the records name.
        state : str or None, optional
            The state that the records name.
        stage : str, optional
            What the user says of these oils' stage.
        equipment : str, optional
            What the user says of the equipment.

        Raises
        ------
        InputError
            The limit is another method's, gap's, edition's, liquid's, stage's or equipment's; the message says why they
            are not compared.
        """
        if self.entry is None:
            return [
                Caution(
                    "limit_method_unknown",
                    "Nobody said for which method this limit is written. A limit holds for results of its own method "
                    "and gap only: make sure that it is the one of these results.",
                )
            ]
        check_comparable(self.entry, protocol)
        why = liquid_refusal(self.entry, fluid)
        if why is not None:
            raise InputError(f"Not compared: {why}.", column="limit", text=self.entry.key, rule="the same liquid")
        why = stage_refusal(self.entry, stage, equipment)
        if why is not None:
            raise InputError(f"Not compared: {why}.", column="limit", text=self.entry.key, rule="the same stage")
        found = open_points(self.entry, fluid, state, stage, equipment)
        if self.entry.newer:
            found.append(
                Caution(
                    "newer_edition",
                    f"The limit is by {self.entry.document} ({self.entry.edition}); newer: {self.entry.newer}. Make "
                    "sure which edition your contract or your rules name.",
                )
            )
        if self.entry.kv.mark == "own copy":
            return found
        return [
            *found,
            Caution(
                "limit_from_document",
                f"The limit is {self.kv:g} kV by {self.title} (mark: {self.entry.kv.mark}); {self.entry.check}.",
            ),
        ]


def limit_given(
    limit: Any,
    method: str | None = None,
    *,
    liquid: str | None = None,
    stage: str | None = None,
    equipment: str | None = None,
    poor_below: float | None = None,
) -> LimitGiven:
    """Take a limit: kV (with the method that it is written for, if told), a key of the limit documents, or an entry.

    Parameters
    ----------
    liquid, stage, equipment : str, optional
        With a limit in kV of one's own: the liquid (``mineral oil``), the stage (``in service``) and the class of the
        equipment (``up to 69 kV``) it is for.
    poor_below : float, optional
        With a limit in kV of one's own, which then is the one above which an oil is good: below this, kV, it is poor.
    limit : object
        kV, a key of the limit documents, or an entry.
    method : str, optional
        For which method a limit in kV is written.

    Raises
    ------
    InputError
        Not a positive number, an unknown key, an empty entry, an unknown method or liquid.
    """
    entry = limit if isinstance(limit, Limit) else None
    if isinstance(limit, str):
        try:
            limit = float(limit.lower().removesuffix("kv").strip().replace(",", "."))
        except ValueError:
            entry = limit_for(limit)
    if entry is not None:
        said = {"method": method, "liquid": liquid, "stage": stage, "equipment": equipment, "poor below": poor_below}
        return _of_document(entry, said)
    kv = positive(limit, "limit")
    bands = None if poor_below is None else _own_bands(kv, positive(poor_below, "poor_below"))
    if liquid and liquid_of(liquid) is None:
        raise InputError(
            f"No liquid is known as {liquid!r}; say {', '.join(LIQUIDS)}.", column="limit_liquid", text=liquid
        )
    if method is None:
        if liquid or stage or equipment:
            raise InputError("Say for which method the limit is written, too.", column="limit_method")
        return LimitGiven(kv, f"{kv:g} kV", None, bands)
    protocol = recognise(method)
    if protocol is None:
        raise InputError(
            f"No method is known as {method!r}; write it as ASTM D1816 2 mm or IEC 60156.",
            column="limit_method",
            text=method,
        )
    gap = protocol.gap_mm.value
    own = Limit(
        key="given", document=f"{kv:g} kV", edition="unspecified", liquid=liquid or "", stage=stage or "",
        equipment=equipment or "",
        kind="", method=protocol.family, gap_mm=None if gap is None else float(gap),
        kv=Value(value=kv, mark="own copy", source="given with the question"),
        method_edition=protocol.edition_stated,
    )  # fmt: skip
    title = ", ".join(w for w in (f"{kv:g} kV by {protocol.designation}", liquid, stage, equipment) if w)
    return LimitGiven(kv, title, own, bands)


def _of_document(entry: Limit, said: dict[str, Any]) -> LimitGiven:
    """The entry of a document, which says everything itself."""
    for word, value in said.items():
        if value is not None and value != "":
            known = "for which method it is written" if word == "method" else f"its {word}"
            raise InputError(f"{entry.title} says itself {known}; leave the {word} out.")
    if entry.kv.value is None:
        raise InputError(f"The value of {entry.title} is empty; enter it from your own copy.", text=entry.key)
    return LimitGiven(float(entry.kv.value), entry.title, entry, bands_of(entry))


def _own_bands(good_kv: float, poor_kv: float) -> Bands:
    if not poor_kv < good_kv:
        raise InputError(
            f"Poor below {poor_kv:g} kV must lie under good above {good_kv:g} kV.", column="poor_below",
            text=f"{poor_kv:g}", rule="below the limit",
        )  # fmt: skip
    return Bands(good_kv, poor_kv)

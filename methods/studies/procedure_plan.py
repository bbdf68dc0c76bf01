"""The procedures of a plan: what the bench sets for each, how many breakdowns, how long a filling takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from methods.choosing.evidence import Evidence, common_rows, gather_each
from methods.choosing.facts import procedure_facts
from methods.choosing.scores import draw_oils
from methods.errors import InputError, NotEstimable
from methods.procedures import FIELDS
from methods.protocols.bench import bench_time, for_liquid
from methods.protocols.protocol import Protocol
from methods.protocols.recognition import recognise

_STIRRED = {"stirred": "continuous", "unstirred": "none", "still": "none"}


@dataclass(frozen=True)
class ProcedurePlan:
    """One procedure: what is set, the scatter it is planned with (fractions of the mean), minutes of one filling.

    ``wait_s`` and ``pause_s`` are the method's rest after filling and its pause between breakdowns; ``waits_s`` the
    rest of oils that are known to need another (esters and other viscous liquids), by their name.
    """

    procedure: str
    settings: dict[str, Any]
    breakdowns_per_filling: int
    within_cov: float
    between_cov: float
    minutes: float
    wait_s: float | None
    pause_s: float | None
    waits_s: Mapping[str, float] = field(default_factory=dict)

    def rest_s(self, oil: str) -> float | None:
        """The rest of this oil after filling, s; None: as the method says."""
        return self.waits_s.get(oil, self.wait_s)

    @property
    def filling_cov(self) -> float:
        """Scatter of the mean of one filling."""
        return float(np.sqrt(self.between_cov**2 + self.within_cov**2 / self.breakdowns_per_filling))


def from_text(text: str, cov: float | None, between_cov: float | None) -> ProcedurePlan:
    """A procedure in words: a method, and behind commas what it leaves open, ``IEC 60156, spherical, stirred``.

    Parameters
    ----------
    text : str
        The procedure in words.
    cov : float or None
        Scatter within a filling, a fraction of the mean; without it nothing can be planned.
    between_cov : float or None
        Scatter between fillings, a fraction of the mean; None: none.

    Raises
    ------
    InputError
        An unknown method or word, a choice that the method does not offer, no scatter given.
    """
    if cov is None:
        raise InputError(f"The scatter of {text!r} is not known: give cov, or records of this procedure.", text=text)
    method, *rest = [part.strip() for part in text.split(",")]
    known = recognise(", ".join([method, *[r for r in rest if r.endswith("mm")]])) or recognise(method)
    if known is None:
        raise InputError(
            f"No method is known as {method!r}; 'gapshift protocols' lists them.", text=method, rule="a known method"
        )
    for word in rest:
        if word.endswith("mm"):
            continue
        if word in _STIRRED:
            known = known.variant(stirring=_STIRRED[word])
        else:
            known = known.variant(electrode=word)
    open_ = [n for n in ("electrode", "stirring", "gap_mm") if getattr(known, n).value is None]
    if open_:
        offered = "; ".join(f"{n}: {', '.join(map(str, getattr(known, n).choices))}" for n in open_)
        raise InputError(f"{text}: the method leaves open {offered}. Say which, behind a comma.", text=text)
    settings = {"method": known.designation, **known.fixed()}
    for name in ("electrode", "stirring"):
        settings[name] = getattr(known, name).value
    per = int(known.breakdowns_per_filling.value or 5)
    time = bench_time(known, fillings=1, breakdowns_per_filling=per)
    return ProcedurePlan(text, settings, per, cov, between_cov or 0.0, time.minutes, *_waits(known))


def from_records(
    data: Any, names: Sequence[str], cov: float | None, between_cov: float | None
) -> tuple[list[ProcedurePlan], dict[str, float]]:
    """The procedures of records with the scatter that they show there, and each oil's mean over them in kV.

    Where no oil was tested by all of them, the scatter is that of each on its own oils, and no means are known.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    names : sequence of str
        The procedures that are planned, as the records name them.
    cov : float or None
        Scatter within a filling in place of the records', a fraction of the mean.
    between_cov : float or None
        Scatter between fillings in place of the records', a fraction of the mean.

    Raises
    ------
    InputError
        A procedure that the records do not have.
    NotEstimable
        Fewer than two, or scatter that cannot be seen and is not given.
    """
    each = gather_each(data, names)
    found = [common_rows(data, names)] if each is None else each
    have = [n for one in found for n in one.procedures]
    lacking = [n for n in names if n not in have]
    if lacking:
        raise InputError(
            f"There is no procedure {lacking[0]!r} in the records; there are {', '.join(have)}.", text=lacking[0]
        )
    out = [plan for one in found for plan in _of_evidence(one, cov, between_cov)]
    if each is not None:  # what one procedure reads of its oils says nothing of another's
        return out, {}
    one = found[0]
    means = {
        oil: float(np.mean([one.means[p][o].mean() for p in range(len(one.procedures))]))
        for o, oil in enumerate(one.scatter_oils)
    }
    return out, means


def _of_evidence(found: Evidence, cov: float | None, between_cov: float | None) -> list[ProcedurePlan]:
    facts = [procedure_facts(found, p) for p in range(len(found.procedures))]
    draws = draw_oils(found, [(1, f.per_filling) for f in facts], np.random.default_rng(0), 0)
    out = []
    for p, (name, fact) in enumerate(zip(found.procedures, facts, strict=True)):
        within = cov if cov is not None else float(draws.within[0, p])
        between = between_cov if between_cov is not None else float(np.nan_to_num(draws.between[0, p]))
        if not np.isfinite(within):
            within = float(draws.result_cov[0, p] * np.sqrt(fact.per_filling)) if between == 0 else between
        if not within > 0:
            raise NotEstimable(f"The scatter of {name} cannot be seen in the records; give cov.")
        rows = found.table[found.table["procedure"] == name]
        settings = {f: rows[f].iloc[0] for f in FIELDS if rows[f].notna().all()}
        minutes = fact.minutes_of(1, fact.per_filling)
        own = recognise(found.methods[p]) if found.methods[p] else None
        waits = _waits(fact.protocol if own is None else own)
        slow = {} if own is None else _slow(own, rows)
        out.append(ProcedurePlan(name, settings, fact.per_filling, within, between, minutes, *waits, slow))
    return out


def _slow(protocol: Protocol, rows: pd.DataFrame) -> dict[str, float]:
    """The rest of the oils of these rows that need another than the method's, s."""
    out = {}
    for oil, fluid in rows.drop_duplicates("sample")[["sample", "fluid"]].itertuples(index=False):
        rest = for_liquid(protocol, [fluid]).wait_after_filling_s.value
        if rest is not None and rest != protocol.wait_after_filling_s.value:
            out[str(oil)] = float(rest)
    return out


def from_mapping(given: Mapping[str, Any], cov: float | None, between_cov: float | None) -> ProcedurePlan:
    """A procedure as a mapping with ``procedure`` and any of the fields; scatter and breakdowns where they differ.

    Parameters
    ----------
    given : mapping of str to object
        ``procedure`` (or ``method``), the fields that are set, and where they differ ``cov``, ``between_cov`` and
        ``breakdowns_per_filling``.
    cov : float or None
        Scatter within a filling where the mapping has none, a fraction of the mean.
    between_cov : float or None
        Scatter between fillings where the mapping has none.
    """
    name = str(given.get("procedure") or given.get("method") or "")
    if not name:
        raise InputError("A procedure needs a name: give procedure or method.", rule="procedure or method")
    within = given.get("cov", cov)
    if within is None:
        raise InputError(f"The scatter of {name!r} is not known: give cov.", text=name)
    known = recognise(str(given.get("method") or name))
    settings = {f: given[f] for f in FIELDS if given.get(f) is not None}
    if known is not None:
        settings = {"method": known.designation, **known.fixed(), **settings}
    per = int(given.get("breakdowns_per_filling") or (known and known.breakdowns_per_filling.value) or 5)
    bare = known or Protocol("unnamed", "unnamed", name, "unspecified", name)
    time = bench_time(bare, fillings=1, breakdowns_per_filling=per)
    return ProcedurePlan(
        name, settings, per, float(within), float(given.get("between_cov", between_cov) or 0.0), time.minutes,
        *_waits(bare),
    )  # fmt: skip


def _waits(protocol: Protocol) -> tuple[float | None, float | None]:
    return protocol.wait_after_filling_s.value, protocol.pause_s.value

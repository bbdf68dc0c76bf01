"""What a procedure costs and what is known of it: result, bench minutes, oil, consistency rule, published remarks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from methods.choosing.evidence import Evidence
from methods.errors import InputError
from methods.procedures import PROCEDURE
from methods.procedures.reported import check_result, reported_by
from methods.protocols.bench import bench_time, for_liquid
from methods.protocols.library import load
from methods.protocols.protocol import Protocol, Value
from methods.protocols.recognition import recognise
from methods.protocols.rules import rule_of
from methods.protocols.trip_rates import has_exact, trip_rate

#: Words by which a protocol's remark is one about what the method is sensitive to.
_ABOUT = ("sensitiv", "contamination", "dissolved", "edges", "gas")

#: Litres of a cell whose volume is not known (common practice, no source).
ASSUMED_CELL_L = 0.5


@dataclass(frozen=True)
class ProcedureFacts:
    """Of one procedure.

    A reported result is the mean of ``per_filling`` breakdowns on each of ``result_fillings`` fillings; ``minutes``
    and ``litres`` are what one takes; ``asks``: no method says the number of fillings.
    ``protocol`` has the rate of rise of the records where the method is not known.
    """

    protocol: Protocol
    known: bool
    mean_kv: float
    per_filling: int
    result_fillings: int
    minutes: float
    litres: float
    assumed: tuple[str, ...]
    notes: tuple[str, ...]
    asks: bool = False

    def minutes_of(self, fillings: int, per_filling: int) -> float:
        """Bench minutes of a plan."""
        return bench_time(
            self.protocol, fillings=fillings, breakdowns_per_filling=per_filling, mean_kv=self.mean_kv
        ).minutes

    def litres_of(self, fillings: int) -> float:
        """Oil of a plan: the cell filled so many times, without rinsing."""
        return self.litres / self.result_fillings * fillings

    def false_alarm(self, within: float, between: float) -> float:
        """How often its rule asks for more although nothing is wrong, percent; nan without a rule that can."""
        if not self.known:
            return float("nan")
        return _false_alarm(self.protocol.key, round(within, 4), round(between, 4))


@lru_cache(maxsize=256)
def _false_alarm(key: str, within: float, between: float) -> float:
    protocol = recognise(key)
    try:
        rule = rule_of(protocol) if protocol is not None else None
        if rule is None or not rule.usable or rule.kind in ("chart", "none"):
            return float("nan")
        quick = has_exact(rule, "normal") and not (rule.kind == "three_r" and between > 0)
        found = trip_rate(
            rule, within, "normal", between_cov=between, exact=None if quick else False, repetitions=20_000
        )
    except InputError:
        return float("nan")
    return 100 * found.probability


def procedure_facts(found: Evidence, p: int, result: str | int = "result") -> ProcedureFacts:
    """Take from the protocol what it says, from the records what it does not, and name what is assumed.

    Parameters
    ----------
    found : Evidence
        What the records hold of the procedures.
    p : int
        Which procedure, from 0.
    result : str or int, default 'result'
        What one result is: ``result``, ``filling``, ``breakdown``, or so many fillings.
    """
    name, method = found.procedures[p], found.methods[p]
    rows = found.table[found.table[PROCEDURE] == name]
    mean = float(np.mean([np.mean(m) for m in found.means[p]]))
    known = recognise(method) if method else None
    protocol = for_liquid(known or _bare(rows), list(rows.drop_duplicates("sample")["fluid"]))
    per = protocol.breakdowns_per_filling.value
    kind, one = check_result(result), reported_by(protocol)
    times = one.fillings if one is not None else kind if isinstance(kind, int) else 1
    assumed = []
    if per is None:
        per = int(np.median(np.concatenate(found.counts[p])))
        fillings = "one filling" if times == 1 else f"{times} fillings"
        assumed.append(f"a reported result is taken as {fillings} of {per} breakdowns, as in these records")
    time = bench_time(protocol, fillings=int(times), breakdowns_per_filling=int(per), mean_kv=mean)
    guessed = [a for a in time.assumptions if "assumed" in a]
    if guessed:
        assumed += [a.replace(f" for {protocol.designation}", "") for a in guessed]
    litres = time.oil_volume_ml
    whole = load().get(protocol.family)
    remarks = dict.fromkeys([*protocol.notes, *(whole.notes if whole is not None else ())])
    notes = tuple(n for n in remarks if any(w in n.lower() for w in _ABOUT)) if known else ()
    return ProcedureFacts(
        protocol, known is not None, mean, int(per), int(times), time.minutes,
        ASSUMED_CELL_L * int(times) if litres is None else litres / 1000, tuple(assumed), notes,
        one is None and not isinstance(kind, int),
    )  # fmt: skip


def _bare(rows: Any) -> Protocol:
    """A protocol of nothing but the rate of rise of the rows."""
    rises = rows["rise_kv_s"].dropna().unique()
    rise = Value(float(rises[0]), "own copy", "the records") if len(rises) == 1 else Value(None, "uncertain", "")
    return Protocol("unnamed", "unnamed", "the procedure", "unspecified", "no method named", rise_kv_s=rise)

"""Whether a limit fits a test: the liquid, the stage, and how far the test departs from its method."""

from __future__ import annotations

import math
import re
from typing import Any

import pandas as pd

from methods.columns import factor_name, with_unit
from methods.protocols.limits import Limit, load_limits
from methods.protocols.protocol import Protocol
from methods.result import Caution
from methods.wording import list_words

#: Kind of liquid -> words by which a record or a document says it.
LIQUIDS: dict[str, tuple[str, ...]] = {
    "natural ester": ("natural ester", "vegetable", "seed oil", "fr3", "rapeseed", "soya", "soybean"),
    "synthetic ester": ("synthetic ester", "pentaerythritol"),
    "blended ester": ("blended ester", "modified ester"),
    "silicone": ("silicone", "silicon", "pdms", "polydimethylsiloxane"),
    "mineral oil": ("mineral", "naphthenic", "paraffinic", "hydrocarbon", "gas to liquid", "gtl"),
}


def liquid_of(text: Any) -> str | None:
    """The kind of liquid that a text names; None where it names none that is known, or only "ester" or "oil"."""
    if not isinstance(text, str):
        return None
    plain = re.sub(r"[\s_-]+", " ", text.casefold())
    return next((kind for kind, words in LIQUIDS.items() if any(w in plain for w in words)), None)


def liquid_refusal(limit: Limit, fluid: Any) -> str | None:
    """Why the limit is not one for this liquid; None where it is, or where either is not known."""
    wanted, found = liquid_of(limit.liquid), liquid_of(fluid)
    if wanted is None or found is None or wanted == found:
        return None
    return f"the oil is {fluid}, the limit {limit.title} is written for {limit.liquid}"


def known_stages() -> dict[str, list[str]]:
    """The stages, and the classes of equipment, of the limit documents, in their order: ``stage`` and ``equipment``."""
    every = [x for d in load_limits().values() for x in d.limits]
    return {n: list(dict.fromkeys(getattr(x, n) for x in every if getattr(x, n))) for n in ("stage", "equipment")}


def alike(one: Any, two: Any) -> bool:
    """Whether two texts say the same stage or class: letters and digits alone count."""
    plain = [re.sub(r"[^a-z0-9]+", " ", t.casefold()).strip() if isinstance(t, str) else "" for t in (one, two)]
    return bool(plain[0]) and plain[0] == plain[1]


def stage_refusal(limit: Limit, stage: str, equipment: str) -> str | None:
    """Why the limit is not one for oils of which this was said; None where it is, or nothing was said.

    Parameters
    ----------
    limit : Limit
        The limit.
    stage : str
        What is said of the oils' stage; empty for nothing.
    equipment : str
        What is said of the equipment; empty for nothing.
    """
    for wanted, said in ((limit.stage, stage), (limit.equipment, equipment)):
        if wanted and said and not alike(wanted, said):
            return f"these oils are said to be {said}, the limit {limit.title} is for {wanted}"
    return None


def open_points(limit: Limit, fluid: Any, state: Any, stage: str = "", equipment: str = "") -> list[Caution]:
    """What is not known of the oil that the limit asks for: its liquid, its stage, its equipment.

    ``state`` is what the records say, ``stage`` and ``equipment`` what the user says of these oils.

    Parameters
    ----------
    limit : Limit
        The limit.
    fluid : str or None
        The liquid that the records name.
    state : str or None
        The state that the records name.
    stage : str, optional
        What the user says of the oils' stage.
    equipment : str, optional
        What the user says of the equipment.
    """
    out = []
    if limit.liquid and liquid_of(fluid) is None:
        said = f"say {fluid!r}" if isinstance(fluid, str) and fluid.strip() else "do not say what liquid it is"
        out.append(
            Caution(
                "liquid_unknown",
                f"The limit is for {limit.liquid}; the records {said}. For another liquid there is no verdict.",
            )
        )
    no_stage = bool(limit.stage) and not stage and not alike(limit.stage, state)
    no_class = bool(limit.equipment) and not equipment
    if no_stage or no_class:
        has_state = isinstance(state, str) and state.strip()
        told = f"the records say {state!r} of its state" if has_state else "the records do not say its state"
        if no_stage and no_class:
            told += " and nothing of the equipment"
        elif no_class:
            told = "of the equipment nothing is said"
        asked = [w for w, lacks in ((limit.stage, no_stage), (limit.equipment, no_class)) if lacks]
        lacking = list_words([w for w, lacks in (("stage", no_stage), ("equipment", no_class)) if lacks])
        text = f"The limit is for oil {list_words(asked)}; {told}: say the {lacking} of these oils, or make sure of it."
        out.append(Caution("limit_stage", text))
    return out


_REST = re.compile(
    r"^(?:(?:rest(?:ing)?|stand(?:ing)?|wait(?:ing)?|settling)(?: time| after filling)?)[ (]*"
    r"(?P<unit>s|sec|secs|seconds|min|mins|minutes)[)]?$"
)


def rests(table: pd.DataFrame) -> tuple[float, float] | None:
    """Shortest and longest rest of the oil between filling and the first breakdown, s; None where nobody noted it.

    Read from a column of the file's own whose heading says what it is and in which unit: ``rest (min)``, ``wait s``.
    """
    for name in table.columns:
        said = _REST.match(re.sub(r"[\s_]+", " ", str(name).casefold()).strip())
        if said is None:
            continue
        numbers = pd.to_numeric(table[name], errors="coerce").dropna()
        if len(numbers):
            seconds = 60.0 if said["unit"].startswith("min") else 1.0
            return seconds * float(numbers.min()), seconds * float(numbers.max())
    return None


def departures(
    protocol: Protocol | None,
    found: dict[str, Any],
    temperatures: tuple[float, float] | None,
    rest_s: tuple[float, float] | None = None,
) -> tuple[str, ...]:
    """Where the test departs from its method, as far as both sides are known, each with what is prescribed.

    Parameters
    ----------
    protocol : Protocol or None
        The method.
    found : dict
        Column -> what the records say: ``electrode, gap_mm, stirring, rise_kv_s``.
    temperatures : (float, float), optional
        Lowest and highest oil temperature of the test, degrees Celsius.
    rest_s : (float, float), optional
        Shortest and longest rest between filling and the first breakdown, s.
    """
    if protocol is None:
        return ()
    told = [
        f"{factor_name(name)} {with_unit(name, value)} "
        f"(prescribed: {' or '.join(with_unit(name, v) for v in _allowed(protocol, name))})"
        for name, value in found.items()
        if protocol.departures(**{name: value})
    ]
    low, high = protocol.temperature_low_c.value, protocol.temperature_high_c.value
    if temperatures is not None and all(math.isfinite(t) for t in temperatures) and None not in (low, high):
        coldest, warmest = temperatures
        if coldest < low - 0.5 or warmest > high + 0.5:
            told.append(f"temperature {coldest:g} to {warmest:g} °C (prescribed: {low:g} to {high:g} °C)")
    told += _rest(protocol, rest_s)
    return tuple(told)


def _rest(protocol: Protocol, rest_s: tuple[float, float] | None) -> list[str]:
    least, most = protocol.wait_after_filling_s.value, protocol.wait_after_filling_max_s.value
    if rest_s is None or least is None:
        return []
    if rest_s[0] >= 0.95 * least and (most is None or rest_s[1] <= 1.05 * most):
        return []
    wanted = f"at least {least / 60:g} min" if most is None else f"{least / 60:g} to {most / 60:g} min"
    span = " to ".join(dict.fromkeys(f"{s / 60:.3g}" for s in rest_s))
    return [f"rest after filling {span} min (prescribed: {wanted})"]


def departure_caution(protocol: Protocol | None, told: tuple[str, ...]) -> list[Caution]:
    """A caution that names the :func:`departures`; nothing where there are none."""
    if protocol is None or not told:
        return []
    return [
        Caution(
            "departs_from_method",
            f"The test departs from {protocol.designation} in {list_words(list(told))}: strictly it is no result of "
            "that method, and its limits are not for it.",
        )
    ]


def sensitivity_cautions(protocol: Protocol | None) -> list[Caution]:
    """What a method is known to see and not to see, as far as a verdict hangs on it; nothing for the others."""
    if protocol is None:
        return []
    if protocol.family == "astm_d1816":
        return [
            Caution(
                "dissolved_gas",
                f"Dissolved gas lowers results by {protocol.designation}: gassy but otherwise good oil may fall under "
                "the limit (second hand). Before a low result is laid to water or particles, ask how much gas the oil "
                "holds.",
            )
        ]
    if protocol.family == "astm_d877":
        return [
            Caution(
                "not_sensitive",
                f"{protocol.designation} is not sensitive to low contamination (ASTM D877-13/-19 cl. 3.2), and less "
                "to water below 60 % of saturation (ASTM D877-02 cl. 1.3), for the edges of its disks govern the "
                "breakdown: a pass says little of moderate water or few particles.",
            )
        ]
    return []


def _allowed(protocol: Protocol, name: str) -> tuple[Any, ...]:
    value = getattr(protocol, name)
    return (value.value,) if value.value is not None else tuple(value.choices)

"""Consistency rules as data: what spread a protocol tolerates before it asks for more breakdowns.

Kinds: ``three_r`` (a factor times the range against the next-to-lowest value), ``range_percent`` (range in %
of the mean), ``cov_ceiling`` (coefficient of variation in %), ``chart`` (SD/mean against the mean, a band from
the user's own copy) and ``none``. The numbers are in ``rules.toml``, each with its mark.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError
from methods.protocols.library import problem, read_value, stamp, toml, user_folder
from methods.protocols.protocol import CHECK, UNKNOWN, Protocol, Value

KINDS: tuple[str, ...] = ("three_r", "range_percent", "cov_ceiling", "chart", "none")
_FILE = Path(__file__).parent / "rules.toml"
_VALUES = ("n", "factor", "limit_percent", "more", "second_limit_percent")


@dataclass(frozen=True)
class Rule:
    """One consistency rule: ``n`` breakdowns are judged; when they fail, ``more`` are added and all are averaged.

    ``factor`` is for ``three_r``, ``limit_percent`` and ``second_limit_percent`` (for all ``n + more``
    together) are % of the mean; ``points`` of a chart are rows (mean_kv, low, middle, high), the last three
    as fractions of the mean.
    """

    key: str
    kind: str
    title: str
    n: Value = UNKNOWN
    factor: Value = UNKNOWN
    limit_percent: Value = UNKNOWN
    more: Value = UNKNOWN
    second_limit_percent: Value = UNKNOWN
    points: tuple[tuple[float, float, float, float], ...] = ()
    check: str = CHECK

    @property
    def usable(self) -> bool:
        """Whether the first step can be judged: all numbers it needs are there."""
        if self.kind in ("none", "chart"):
            return self.kind == "chart" and len(self.points) >= 2 and self.n.value is not None
        limit = self.factor if self.kind == "three_r" else self.limit_percent
        return self.n.value is not None and limit.value is not None


#: What applies when nothing is known of a rule.
NO_RULE = Rule("none", "none", "no consistency rule")


def own_rule(
    kind: str, limit: float, *, n: int = 5, more: int = 5, second_limit: float | None = None, key: str = "own"
) -> Rule:
    """A rule of one's own: ``limit`` is the factor of ``three_r`` or the % of the mean of the two others.

    ``n`` breakdowns are judged (3 or more), and ``more`` are asked for when they fail (0: none).

    Parameters
    ----------
    kind : str
        ``three_r``, ``range_percent`` or ``cov_ceiling``.
    limit : float
        Factor of ``three_r``, or % of the mean.
    n : int, default 5
        Breakdowns that are judged.
    more : int, default 5
        Breakdowns that are asked for.
    second_limit : float, optional
        Limit of all ``n + more``, % of the mean; none by default.
    key : str, default 'own'
        What the rule is called.

    Raises
    ------
    InputError
        An unknown kind, fewer than 3 values, a limit that is not above zero.
    """
    allowed = ("three_r", "range_percent", "cov_ceiling")
    if kind not in allowed:
        raise InputError(
            f"A rule of your own is one of {', '.join(allowed)}, not {kind!r}.",
            column="kind", text=str(kind), rule=f"one of {', '.join(allowed)}",
        )  # fmt: skip
    for name, value, least in (("n", n, 3), ("more", more, 0)):
        if value != int(value) or value < least:
            rule = f"a whole number, {least} or more"
            raise InputError(f"{name} of the rule is {value}; it must be {rule}.", column=name, rule=rule)
    for name, number in (("limit", limit), ("second_limit", second_limit)):
        if number is not None and not 0 < number < float("inf"):
            raise InputError(f"{name} of the rule is {number}; it must be above 0.", column=name, rule="above 0")

    def mine(value: Any) -> Value:
        return Value(value, "own copy", "entered")

    factor, percent = (mine(float(limit)), UNKNOWN) if kind == "three_r" else (UNKNOWN, mine(float(limit)))
    second = mine(None if second_limit is None else float(second_limit))
    title = {
        "three_r": f"{limit:g} times the range against the next-to-lowest of {n}",
        "range_percent": f"range of {n} at most {limit:g} % of the mean",
        "cov_ceiling": f"coefficient of variation of {n} at most {limit:g} %",
    }[kind]
    return Rule(key, kind, title, mine(int(n)), factor, percent, mine(int(more)), second)


def load_rules(folder: str | os.PathLike[str] | None = None) -> dict[str, Rule]:
    """All rules by key: the shipped ones, then those of ``rules.toml`` in the user's folder (same key replaces).

    Raises
    ------
    InputError
        An entry that breaks a rule, naming file, key, text and rule.
    """
    path = user_folder(folder, "GAPSHIFT_PROTOCOLS")
    return dict(_load(path, stamp(path)))


@lru_cache(maxsize=16)
def _load(folder: Path | None, _stamp: Any) -> dict[str, Rule]:
    files = [_FILE] + ([folder / "rules.toml"] if folder is not None and (folder / "rules.toml").exists() else [])
    out: dict[str, Rule] = {}
    for file in files:
        content = toml(file)
        entries = content.get("rule")
        if not isinstance(entries, list) or set(content) != {"rule"}:
            raise problem(file, "rule", sorted(content), "the file holds [[rule]] tables and nothing else")
        for entry in entries:
            found = _read(file, entry)
            out[found.key] = found
    return out


def _read(file: Path, raw: dict[str, Any]) -> Rule:
    for name in raw:
        if name not in (*_VALUES, "key", "kind", "title", "points", "check"):
            raise problem(file, name, name, "no such key; see the shipped rules.toml")
    key, kind = raw.get("key"), raw.get("kind")
    if not isinstance(key, str) or not key:
        raise problem(file, "key", key, "every rule has one")
    if kind not in KINDS:
        raise problem(file, f"{key}.kind", kind, f"it must be one of {', '.join(KINDS)}")
    values = {name: read_value(file, f"{key}.{name}", raw[name]) for name in _VALUES if name in raw}
    for name, value in values.items():
        number = value.value
        if number is None:
            continue
        whole, least = name in ("n", "more"), 3 if name == "n" else 0
        if isinstance(number, bool) or not isinstance(number, (int, float)) or not number > 0:
            raise problem(file, f"{key}.{name}", number, "it must be a number above zero")
        if whole and (number != int(number) or number < least):
            raise problem(file, f"{key}.{name}", number, f"it must be a whole number, {max(least, 1)} or more")
    points = raw.get("points", [])
    good = isinstance(points, list) and all(
        isinstance(p, list) and len(p) == 4 and all(isinstance(x, (int, float)) for x in p) for p in points
    )
    if not good or any(not 0 <= p[1] <= p[2] <= p[3] for p in points) or len({p[0] for p in points}) != len(points):
        raise problem(file, f"{key}.points", points, "rows of mean_kv, low, middle, high with low <= middle <= high")
    chart = tuple(sorted(tuple(float(x) for x in p) for p in points))
    return Rule(key, kind, raw.get("title", key), points=chart, check=raw.get("check", CHECK), **values)  # type: ignore[arg-type]


def rule_of(protocol: Protocol, folder: str | os.PathLike[str] | None = None) -> Rule:
    """The rule that a protocol names; :data:`NO_RULE` when it names none or the gap on which it hangs is unknown.

    Raises
    ------
    InputError
        The protocol names a rule that is in no file.
    """
    name = protocol.rule.value
    if name is None:
        return NO_RULE
    if protocol.family == "astm_d1816" and not protocol.gap_mm.known:
        return NO_RULE  # its limit hangs on the gap, and the stated gaps contradict each other
    known = load_rules(folder)
    if name not in known:
        raise problem(Path(protocol.file), "rule", name, f"it must be the key of one of {', '.join(known)}")
    return known[name]


def spread(rule: Rule, kv: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the rule compares: (value, reference) along the last axis, so that ``value > limit * reference`` fails.

    ``three_r``: range and next-to-lowest in kV. ``range_percent``: range and mean. Others: SD (n - 1) and mean.
    """
    x = np.asarray(kv, dtype=float)
    if rule.kind == "three_r":
        low_two = np.partition(x, 1, axis=-1)
        return np.ptp(x, axis=-1), low_two[..., 1]
    if rule.kind == "range_percent":
        return np.ptp(x, axis=-1), x.mean(axis=-1)
    return x.std(axis=-1, ddof=1), x.mean(axis=-1)


def exceeds(rule: Rule, kv: ArrayLike, *, second: bool = False) -> NDArray[np.bool_]:
    """Whether each series (last axis) breaks the rule; ``second`` judges ``n + more`` by the second limit.

    Parameters
    ----------
    rule : Rule
        The rule.
    kv : array_like
        (..., n) Series of breakdowns, kV.
    second : bool, default False
        Whether the second limit judges.

    Raises
    ------
    InputError
        The limit is empty, or the rule is of a kind that fails no series.
    """
    limit = rule.second_limit_percent if second else rule.limit_percent
    number = (
        (rule.factor.value if rule.kind == "three_r" and not second else limit.value) if rule.kind != "none" else None
    )
    if rule.kind == "chart" or number is None:
        raise InputError(
            f"The rule {rule.key!r} has no {'second ' if second else ''}limit; enter it from your own copy.",
            column="second_limit_percent" if second else "limit_percent", rule="a limit is needed",
        )  # fmt: skip
    value, reference = spread(rule, kv)
    if rule.kind == "three_r" and not second:
        return np.asarray(number * value > reference)
    return np.asarray(100 * value > number * reference)

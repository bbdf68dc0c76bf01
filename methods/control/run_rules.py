"""Patterns that a series of results in control seldom shows; they are data, in ``run_rules.toml``."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from methods.errors import InputError

#: A file of the user's own rules, in place of those that come along.
OWN = "GAPSHIFT_RUN_RULES"
_KINDS = ("beyond", "trend", "alternate", "within", "outside")

Array = np.ndarray


@dataclass(frozen=True)
class RunRule:
    """One pattern.

    ``kind``: ``beyond`` (``count`` of ``of`` farther than ``distance`` SD, all on one side), ``trend`` and
    ``alternate`` (``count`` in a row), ``within`` and ``outside`` (``count`` in a row nearer or farther than
    ``distance`` SD).
    """

    key: str
    title: str
    kind: str
    count: int
    of: int
    distance: float
    edition: str
    mark: str


def run_rules() -> Mapping[str, RunRule]:
    """The rules by their keys.

    Raises
    ------
    InputError
        The user's own file is not as it must be.
    """
    return _load(os.environ.get(OWN) or str(Path(__file__).with_name("run_rules.toml")))


@cache
def _load(path: str) -> Mapping[str, RunRule]:
    try:
        found = tomllib.loads(Path(path).read_text(encoding="utf-8")).get("rule", {})
        rules = {
            key: RunRule(key, str(r["title"]), str(r["kind"]), int(r["count"]), int(r.get("of", r["count"])),
                         float(r.get("distance", 0.0)), str(r.get("edition", "")), str(r.get("mark", "")))
            for key, r in found.items()
        }  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as why:
        raise InputError(f"The run rules in {path!r} cannot be used: {why}.", rule="run rules") from None
    for rule in rules.values():
        if rule.kind not in _KINDS or not 1 <= rule.count <= rule.of or rule.distance < 0:
            raise InputError(f"Run rule {rule.key!r}: a kind of {', '.join(_KINDS)}, and 1 <= count <= of.", text=path)
    return rules


def chosen(keys: Sequence[str]) -> list[RunRule]:
    """The rules of these keys.

    Raises
    ------
    InputError
        One is not known.
    """
    known = run_rules()
    for key in keys:
        if key not in known:
            raise InputError(f"There is no run rule {key!r}; there are {', '.join(known)}.", text=key)
    return [known[k] for k in dict.fromkeys(keys)]


def broken(z: Array, rule: RunRule) -> Array:
    """Where a rule is broken: at each result that completes the pattern.

    Parameters
    ----------
    z : array (..., results)
        Distance of each result from the centre, in standard deviations, in the order of the tests. Not a number
        where there is no result: no pattern goes across it.
    rule : RunRule

    Returns
    -------
    bool array of the same shape
    """
    if rule.kind == "beyond":
        return _of(z > rule.distance, rule) | _of(z < -rule.distance, rule)
    if rule.kind == "within":
        return _row(np.abs(z) < rule.distance, rule.count)
    if rule.kind == "outside":
        return _row(np.abs(z) > rule.distance, rule.count)
    step = np.full(z.shape, np.nan)
    step[..., 1:] = np.sign(np.diff(z, axis=-1))
    if rule.kind == "trend":
        return _row(step > 0, rule.count - 1) | _row(step < 0, rule.count - 1)
    turns = np.zeros(z.shape, bool)
    turns[..., 1:] = step[..., 1:] * step[..., :-1] < 0
    return _row(turns, rule.count - 2)


def _of(hit: Array, rule: RunRule) -> Array:
    """At least ``count`` of the last ``of``, the last one among them."""
    return hit & (_last(hit, rule.of) >= rule.count)


def _row(hit: Array, count: int) -> Array:
    return np.asarray(_last(hit, count) >= count)


def _last(hit: Array, number: int) -> Array:
    """How many of the last ``number`` are true."""
    sums = np.cumsum(hit, axis=-1)
    out = sums.copy()
    out[..., number:] -= sums[..., :-number]
    return out

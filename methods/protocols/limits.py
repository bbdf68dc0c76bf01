"""Acceptance limits by document and edition, and the refusal to compare a result with another method's limit.

The limits are in ``limit_documents/``, one TOML a document and edition, each value with its mark; a folder of
the user's own (``GAPSHIFT_LIMITS``) adds documents or replaces those of the same key.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd

from methods.errors import InputError
from methods.protocols.library import load as load_protocols
from methods.protocols.library import problem, read_value, stamp, toml, user_folder
from methods.protocols.protocol import CHECK, Protocol, Value

SHIPPED = Path(__file__).parent / "limit_documents"

#: Whether a result exactly on the limit passes. The documents differ or are silent, so every limit says.
BOUNDARIES: tuple[str, ...] = ("passes", "fails", "not stated")
KINDS: tuple[str, ...] = ("minimum", "good above", "poor below", "action below")
_HEAD = ("key", "document", "edition", "liquid", "title", "notes", "check", "newer", "boundary", "limit")
_ROW = ("name", "equipment", "stage", "kind", "method", "gap_mm", "method_edition", "kv", "boundary")


@dataclass(frozen=True)
class Limit:
    """One limit, in kV, for results of one method at one gap.

    ``method`` is the family of a protocol (``iec_60156``, ``astm_d1816`` ...); ``method_edition`` is set only
    where the document binds the limit to an edition of the method. ``kv`` may be empty. ``boundary`` says
    whether a result exactly on the limit ``passes``, ``fails``, or that it is ``not stated``. ``newer`` names a
    later edition of the document, empty where none is known.
    """

    key: str
    document: str
    edition: str
    liquid: str
    stage: str
    equipment: str
    kind: str
    method: str
    gap_mm: float | None
    kv: Value
    boundary: str = "not stated"
    method_edition: str | None = None
    check: str = CHECK
    newer: str = ""

    @property
    def title(self) -> str:
        """The limit in words."""
        words = [self.document if self.edition == "unspecified" else f"{self.document} ({self.edition})", self.stage]
        return ", ".join(w for w in (*words, self.equipment, self.kind) if w)


@dataclass(frozen=True)
class Document:
    """A document with its limits; an edition whose numbers are not known has none."""

    key: str
    document: str
    edition: str
    liquid: str
    title: str
    notes: tuple[str, ...]
    limits: tuple[Limit, ...]
    check: str = CHECK
    newer: str = ""


@dataclass(frozen=True)
class LimitComparison:
    """A result may be compared with this limit: both are of the same method and gap."""

    limit: Limit
    protocol: str
    limit_kv: float
    boundary: str
    sentence: str
    check: str = CHECK


def load_limits(folder: str | os.PathLike[str] | None = None) -> dict[str, Document]:
    """All documents by key: the shipped ones, then those of the user's folder (or ``GAPSHIFT_LIMITS``).

    Raises
    ------
    InputError
        A file that breaks a rule, naming file, key, text found and rule.
    """
    path = user_folder(folder, "GAPSHIFT_LIMITS")
    return dict(_load(path, stamp(path)))


@lru_cache(maxsize=16)
def _load(folder: Path | None, _stamp: Any) -> dict[str, Document]:
    out: dict[str, Document] = {}
    for place in (SHIPPED, folder):
        for file in sorted(place.glob("*.toml")) if place is not None else ():
            found = _read(file)
            out[found.key] = found
    return out


def _read(file: Path) -> Document:
    raw = toml(file)
    for name in raw:
        if name not in _HEAD:
            raise problem(file, name, name, f"no such key; a document has {', '.join(_HEAD)}")
    for name in ("key", "document"):
        if not isinstance(raw.get(name), str) or not raw[name].strip():
            raise problem(file, name, raw.get(name), "every document has it, as a text")
    boundary = raw.get("boundary", "not stated")
    rows = raw.get("limit", [])
    if not isinstance(rows, list):
        raise problem(file, "limit", rows, "limits are [[limit]] tables")
    limits = tuple(_limit(file, raw, row, i, boundary) for i, row in enumerate(rows, start=1))
    keys = [x.key for x in limits]
    twice = next((k for k in keys if keys.count(k) > 1), None)
    if twice is not None:
        raise problem(file, "limit.name", twice, "each limit of a document has its own name")
    return Document(
        raw["key"], raw["document"], str(raw.get("edition", "unspecified")), raw.get("liquid", ""),
        raw.get("title", raw["document"]), tuple(raw.get("notes", ())), limits, raw.get("check", CHECK),
        raw.get("newer", ""),
    )  # fmt: skip


def _limit(file: Path, head: dict[str, Any], raw: dict[str, Any], place: int, boundary: str) -> Limit:
    spot = f"limit {place}"
    for entry in raw:
        if entry not in _ROW:
            raise problem(file, f"{spot}.{entry}", entry, f"no such key; a limit has {', '.join(_ROW)}")
    name = raw.get("name")
    if not isinstance(name, str) or not name.strip():
        raise problem(file, f"{spot}.name", name, "every limit has a name")
    kind, edge = raw.get("kind", "minimum"), raw.get("boundary", boundary)
    families = sorted({p.family for p in load_protocols().values()})
    for entry, word, allowed in (("kind", kind, KINDS), ("boundary", edge, BOUNDARIES)):
        if word not in allowed:
            raise problem(file, f"{spot}.{entry}", word, f"it must be one of {', '.join(allowed)}")
    if not isinstance(raw.get("method"), str):
        rule = f"the family of a protocol, such as {', '.join(families)}; a limit without its method is meaningless"
        raise problem(file, f"{spot}.method", raw.get("method"), rule)
    value = read_value(file, f"{spot}.kv", raw.get("kv", {"mark": "uncertain", "source": "not entered"}))
    gap, bound = raw.get("gap_mm"), raw.get("method_edition")
    for key, number in (("kv", value.value), ("gap_mm", gap)):
        if number is not None and (isinstance(number, bool) or not isinstance(number, (int, float)) or not number > 0):
            raise problem(file, f"{spot}.{key}", number, "it must be a number above zero")
    return Limit(
        f"{head['key']}/{name}", head["document"], str(head.get("edition", "unspecified")), head.get("liquid", ""),
        raw.get("stage", ""), raw.get("equipment", ""), kind, raw["method"], None if gap is None else float(gap),
        value, edge, bound if bound is None else str(bound), head.get("check", CHECK), head.get("newer", ""),
    )  # fmt: skip


def limit_table(folder: str | os.PathLike[str] | None = None) -> pd.DataFrame:
    """Every limit as a row: key, document, edition, liquid, stage, equipment, kind, method, gap, kV, mark, source.

    Besides: ``boundary``, and ``newer``, the later edition of the document that is known to exist.
    """
    rows = [
        {
            "key": x.key, "document": x.document, "edition": x.edition, "liquid": x.liquid, "stage": x.stage,
            "equipment": x.equipment, "kind": x.kind, "method": x.method, "gap_mm": x.gap_mm, "kv": x.kv.value,
            "mark": x.kv.mark, "source": x.kv.source, "boundary": x.boundary, "newer": x.newer,
        }
        for d in load_limits(folder).values() for x in d.limits
    ]  # fmt: skip
    return pd.DataFrame(rows)


def limit_for(key: str, folder: str | os.PathLike[str] | None = None) -> Limit:
    """One limit by its key, ``document/name``.

    Raises
    ------
    InputError
        There is none of that key, or its document ships without numbers.
    """
    documents = load_limits(folder)
    for document in documents.values():
        for limit in document.limits:
            if limit.key == key:
                return limit
    head = documents.get(key.split("/")[0])
    rule = f"one of {', '.join(x.key for x in head.limits)}" if head and head.limits else "a key of the table of limits"
    extra = " That document ships without numbers; enter them from your own copy." if head and not head.limits else ""
    raise InputError(
        f"There is no limit {key!r}; it must be {rule}.{extra}", column="limit", text=key, rule=rule, lacks="limit"
    )


def comparable_limits(protocol: Protocol, folder: str | os.PathLike[str] | None = None) -> list[Limit]:
    """The limits with which results of a protocol may be compared; empty values are left out."""
    return [
        x for d in load_limits(folder).values() for x in d.limits if x.kv.value is not None and not refusal(x, protocol)
    ]


def refusal(limit: Limit, protocol: Protocol | None) -> str | None:
    """Why a result of the protocol must not be compared with the limit, or ``None`` when it may be."""
    wanted = limit.method + ("" if limit.gap_mm is None else f" at {limit.gap_mm:g} mm")
    if protocol is None:
        return f"the method of the result is not known; the limit is written for {wanted}"
    if protocol.family != limit.method:
        return (
            f"the result is by {protocol.designation}, the limit {limit.title} is written for {wanted}; "
            "no standard converts one into the other"
        )
    if limit.gap_mm is not None:
        if not protocol.gap_mm.known:
            return f"the gap of the result is not known; the limit {limit.title} is written for {wanted}"
        if abs(float(protocol.gap_mm.value) - limit.gap_mm) > 0.05:
            return f"the result was taken at {protocol.gap_mm.value:g} mm, the limit {limit.title} is for {wanted}"
    elif protocol.gap_mm.value is None and len(protocol.gap_mm.choices) > 1:
        return f"neither the limit {limit.title} nor the result states the gap of {protocol.designation}"
    if limit.method_edition is not None:
        by_name = protocol.edition if protocol.key.endswith(f"_{protocol.edition}") else None
        stated = protocol.edition_stated or by_name
        if stated is None:
            return f"the limit is bound to edition {limit.method_edition} of the method; the result states none"
        if stated != limit.method_edition:
            return f"the limit is bound to edition {limit.method_edition} of the method; the result is by {stated}"
    return None


def check_comparable(limit: Limit, protocol: Protocol | None) -> LimitComparison:
    """Make sure that a result of the protocol may be compared with the limit.

    Raises
    ------
    InputError
        Another method, another or an unknown gap, another or an unspecified edition where the limit is bound
        to one, or a limit whose value is empty; the message gives the reason.
    """
    why = refusal(limit, protocol)
    if why is not None:
        raise InputError(f"Not compared: {why}.", column="limit", text=limit.key, rule="same method, gap and edition")
    if limit.kv.value is None:
        raise InputError(
            f"Not compared: the value of {limit.title} is empty ({limit.kv.source}); enter it from your own copy.",
            column="limit", text=limit.key, rule="a value is needed",
        )  # fmt: skip
    assert protocol is not None  # refusal() has seen to it
    number = float(limit.kv.value)
    edge = {
        "passes": "a result exactly on it passes",
        "fails": "a result exactly on it fails",
        "not stated": "whether a result exactly on it passes is not stated here; settle it first",
    }[limit.boundary]
    sentence = f"{limit.title}: {number:g} kV by {protocol.designation}; {edge}; {limit.check}."
    return LimitComparison(limit, protocol.key, number, limit.boundary, sentence, limit.check)

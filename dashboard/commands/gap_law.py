"""``gapshift gap-law``: how the voltage grows with the gap of one electrode pair."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, add_reading_options, columns, emit, open_records, probability
from methods.errors import InputError, NotEstimable

NAME = "gap-law"
HELP = "fit V = a d^m to data with two or more gaps of one electrode"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument(
        "--by", metavar="COLUMN", action="append",
        help="what separates the laws (electrode, stirring and rise_kv_s unless given); may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--at", metavar="MM", type=_millimetres, action="append", default=[],
        help="predict at this gap; may be repeated",
    )  # fmt: skip
    parser.add_argument("--beyond", action="store_true", help="predict also far outside the tested gaps")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    add_json(parser)


def _millimetres(text: str) -> float:
    try:
        value = float(text.strip().lower().removesuffix("mm").strip().replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a gap in mm") from None
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be above 0 mm")
    return value


def name_of(group: dict[str, Any]) -> str:
    """The group in words."""
    shown = [f"{v:g}" if isinstance(v, float) else str(v) for v in group.values() if v is not None]
    return ", ".join(shown) or "all rows"


def _predictions(law: Any, gaps: list[float], beyond: bool) -> list[dict[str, Any]]:
    from methods.result import as_json

    out = []
    for gap in gaps:
        try:
            found = as_json(law.predict(gap, beyond=beyond))
            found["gap_mm"] = found.pop("x")
        except NotEstimable as why:
            found = {"gap_mm": gap, "error": str(why)}
        out.append(found)
    return out


def text(laws: list[Any], predictions: list[list[dict[str, Any]]]) -> str:
    rows = [
        [
            name_of(v.group),
            " ".join(f"{g:g}" for g in v.gaps_mm),
            v.units,
            v.unit,
            v.a_kv,
            v.m,
            v.m_low,
            v.m_high,
            v.lack_of_fit_p,
        ]
        for v in laws
        if not v.error
    ]
    lines = [columns(rows, ["group", "gaps mm", "units", "unit", "a kV", "m", "from", "to", "lack of fit p"], 3), ""]
    for law, found in zip(laws, predictions, strict=True):
        name = name_of(law.group)
        for p in found:
            if "error" in p:
                lines.append(f"{name} at {p['gap_mm']:g} mm: {p['error']}")
            else:
                lines.append(
                    f"{name} at {p['gap_mm']:g} mm: {p['kv']:.3g} kV ({p['low_kv']:.3g} to {p['high_kv']:.3g}); one "
                    f"new {law.unit} {p['band_low_kv']:.3g} to {p['band_high_kv']:.3g} kV"
                )
                lines += [f"Caution: {w['text']}" for w in p["cautions"]]
        lines += [f"Caution ({name}): {w.text}" for w in law.cautions]
    return "\n".join(lines + without_law(laws))


def without_law(laws: list[Any]) -> list[str]:
    """One line for each reason why groups have no law."""
    reasons: dict[str, list[str]] = {}
    for law in laws:
        if law.error:
            reasons.setdefault(law.error, []).append(name_of(law.group))
    return [f"No law for {'; '.join(names)}: {why}" for why, names in reasons.items()]


def run(args: argparse.Namespace) -> int:
    from methods.laws.gap_law import GROUPS, gap_laws
    from methods.records import resolve_column
    from methods.result import as_json

    records = open_records(args)
    by = [resolve_column(records, b) for b in args.by] if args.by else list(GROUPS)
    if "gap_mm" in by:
        raise InputError("A gap law cannot be separated by the gap itself.", column="gap_mm")
    laws = gap_laws(records, by=by, confidence=args.confidence)
    predictions = [[] if law.error else _predictions(law, args.at, args.beyond) for law in laws]
    document = {"laws": [{**as_json(v), "predictions": p} for v, p in zip(laws, predictions, strict=True)]}
    emit(args, document, text(laws, predictions))
    return 0

"""``gapshift gap-law``: how the voltage grows with the gap of one electrode pair."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, add_reading_options, emit, open_records, probability
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


def _predictions(law: Any, gaps: list[float], beyond: bool) -> dict[float, Any]:
    """What the law predicts at each gap, or why it does not."""
    out: dict[float, Any] = {}
    for gap in gaps:
        try:
            out[gap] = law.predict(gap, beyond=beyond)
        except NotEstimable as why:
            out[gap] = str(why)
    return out


def _document(gap: float, found: Any) -> dict[str, Any]:
    from methods.result import as_json

    if isinstance(found, str):
        return {"gap_mm": gap, "error": found}
    made: dict[str, Any] = as_json(found)
    return {**{k: v for k, v in made.items() if k != "x"}, "gap_mm": made["x"]}


def run(args: argparse.Namespace) -> int:
    from methods.answers.laws import gap
    from methods.laws.gap_law import GROUPS, gap_laws
    from methods.records import resolve_column
    from methods.result import as_json

    records = open_records(args)
    by = [resolve_column(records, b) for b in args.by] if args.by else list(GROUPS)
    if "gap_mm" in by:
        raise InputError("A gap law cannot be separated by the gap itself.", column="gap_mm")
    laws = gap_laws(records, by=by, confidence=args.confidence)
    asked = {i: _predictions(law, args.at, args.beyond) for i, law in enumerate(laws) if not law.error}
    predictions = [[_document(g, p) for g, p in asked.get(i, {}).items()] for i in range(len(laws))]
    document = {"laws": [{**as_json(v), "predictions": p} for v, p in zip(laws, predictions, strict=True)]}
    emit(args, document, gap(laws, asked).text())
    return 0

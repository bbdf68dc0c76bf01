"""``gapshift report``: what the records answer in one file: HTML, PDF, a workbook, a text document or Markdown."""

from __future__ import annotations

import argparse
import hashlib
from pathlib import Path
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_judging,
    add_reading_options,
    emit,
    judging,
    kilovolts,
    percentage,
    probability,
    reading_arguments,
)
from dashboard.commands.progress import progress
from methods.errors import InputError

NAME = "report"
HELP = "write what the records answer into one file: .html, .pdf, .xlsx, .docx or .md"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--out", required=True, metavar="PATH", help="ends in .html, .pdf, .xlsx, .docx or .md")
    parser.add_argument(
        "--by", metavar="COLUMN", help="the factor to compare (default: electrode, method, or what differs)"
    )
    parser.add_argument("--reference", metavar="LEVEL", help="compare with this level (default: most fillings)")
    parser.add_argument("--confidence", type=probability, default=0.95, metavar="95%", help="of the limits (95%%)")
    parser.add_argument("--title", default="", metavar="TEXT", help="the title of the report")
    parser.add_argument("--limit", default="", metavar="KEY|KV", help="also judge against this limit (kV, or its key)")
    parser.add_argument(
        "--limit-method", default="", metavar="TEXT", help="the method for which a limit in kV is written"
    )
    parser.add_argument("--limit-liquid", default="", metavar="LIQUID", help="the liquid that a limit in kV is for")
    parser.add_argument(
        "--poor-below", type=kilovolts, metavar="KV", help="grades of your own: good above --limit, poor below this"
    )
    add_judging(parser)
    parser.add_argument(
        "--half-width", type=percentage, default=0.10, metavar="10%", help="half-width to plan a mean for (10%%)"
    )
    parser.add_argument("--appendix", action="store_true", help="also every table and picture, as an appendix")
    parser.add_argument(
        "--summary",
        action="store_true",
        help="print two paragraphs to paste in a message",
    )
    parser.add_argument(
        "--pictures", metavar="FOLDER", help="also save every picture there, each as .svg and as .png at print size"
    )
    parser.add_argument("--seed", type=int, default=0, help="of the resampling (0)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Write the report, print where it is and its first sentences."""
    from dashboard.report import Asked, check_target, ending_of, write
    from dashboard.report.writing import save_pictures

    check_target(args.out, args.file)  # before anything is computed
    study = _study(args)
    asked = Asked(study, args.title, args.limit, args.limit_method, args.half_width, args.seed, args.appendix,
                  args.limit_liquid, args.poor_below, tuple(judging(args).items()))  # fmt: skip
    with progress("Report") as tell:
        report = write(asked, args.out, tell, whole=bool(args.pictures))
    pictures = save_pictures(report, args.pictures) if args.pictures else []
    data = Path(args.out).read_bytes()
    document = {
        "path": str(args.out), "format": ending_of(args.out).lstrip("."), "bytes": len(data),
        "sha256": hashlib.sha256(data).hexdigest(), "title": report.title, "asked": report.asked,
        "by": study.by or None, "confidence": args.confidence, "answers": list(report.answers),
        "summary": report.summary, "pictures": [str(p) for p in pictures],
        "sections": [{"key": s.key, "title": s.title, "answered": not s.refusal} for s in report.sections],
    }  # fmt: skip
    emit(
        args,
        document,
        report.summary
        if args.summary
        else "\n".join([f"Wrote {args.out}", *(f"Wrote {p}" for p in pictures), "", *report.answers]),
    )
    return 0


def _study(args: argparse.Namespace) -> Any:
    """The study that the command line describes."""
    from dashboard.levels import texts
    from dashboard.study import Study
    from methods.records import resolve_column
    from methods.records.by_word import for_file

    study = Study()
    with progress("Reading") as tell:
        for at, file in enumerate(args.file, 1):
            study.open(file, **for_file(reading_arguments(args), file, args.file))
            tell(at, len(args.file))
    study.confidence = args.confidence
    if args.by is not None:
        study.by = resolve_column(study.table, args.by)
    if args.reference is not None:
        if not study.by:
            raise InputError("--reference needs a factor: the readings all stand under one condition.")
        wanted = args.reference.strip()
        levels = study.levels(study.by)
        known = {v.casefold(): v for v in levels}
        plain = texts(_number(wanted)).iloc[0] if _number(wanted) is not None else wanted
        level = known.get(plain.casefold()) or known.get(wanted.casefold())
        if level is None:
            raise InputError(
                f"{study.by} has no level {wanted!r}; it has {', '.join(levels)}.", column=study.by, text=wanted
            )
        study.reference = level
    return study


def _number(text: str) -> Any:
    """A column of one number, or None where the text is none."""
    import pandas as pd

    try:
        return pd.Series([float(text.replace(",", "."))])
    except ValueError:
        return None

"""``gapshift precision``: repeatability and reproducibility over laboratories."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    add_result,
    emit,
    files,
    note_reading,
    probability,
    reading_arguments,
    told,
)
from dashboard.commands.progress import progress

NAME = "precision"
HELP = "repeatability and reproducibility over laboratories (ISO 5725-2, ASTM E691)"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--laboratory", metavar="COLUMN", help="the column that names the laboratory")
    parser.add_argument(
        "--level", metavar="COLUMN", action="append",
        help="the column that makes a level (repeat for several); without it: the oil, split by procedure",
    )  # fmt: skip
    add_result(parser)
    parser.add_argument(
        "--exclude", nargs=3, metavar=("LABORATORY", "LEVEL", "REASON"), action="append", default=[],
        help="leave a cell out, with the level * a laboratory altogether; the reason is kept in the result",
    )  # fmt: skip
    parser.add_argument(
        "--compare", nargs="*", metavar="LEVEL", help="instead: ratios of s_r and s_R of two procedures on the same "
        "oils; their names, or none where the file has two",
    )  # fmt: skip
    parser.add_argument("--by", metavar="COLUMN", action="append", help="for --compare: what separates them")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (95%%)")
    add_json(parser)


def _resolve(records: Any, name: str) -> str:
    """The table's column for a heading as the file writes it."""
    table = records.table
    plain = {str(c).strip().casefold(): str(c) for c in table.columns}
    return name if name in table.columns else plain.get(name.strip().casefold(), name)


def _read(args: argparse.Namespace) -> tuple[Any, str, list[str] | None]:
    """Read the file with the laboratory and level headings given their meaning.

    A level heading that is no known column stands for the oil, unless the file has other samples.
    """
    from methods.cage import read_all_in_cage
    from methods.columns import COLUMNS

    options = reading_arguments(args)
    mapping = dict(options.pop("columns") or {})
    if args.laboratory and args.laboratory not in COLUMNS:
        mapping["laboratory"] = args.laboratory
    own = [x for x in args.level or [] if x not in COLUMNS and x != "condition"]
    if len(own) == 1 and "sample" not in mapping and "sample" not in (args.level or []):
        mapping["sample"] = own[0]
    with progress("Reading") as tell:
        records = read_all_in_cage(files(args), progress=tell, columns=mapping or None, **options)
    note_reading(args, records)
    laboratory = args.laboratory if args.laboratory in COLUMNS else "laboratory"
    levels = None
    if args.level:
        levels = ["sample" if mapping.get("sample") == x else _resolve(records, x) for x in args.level]
    return records, laboratory, levels


def run(args: argparse.Namespace) -> int:
    from methods.interlab import precision

    records, laboratory, levels = _read(args)
    if args.compare is not None:
        from methods.errors import InputError
        from methods.interlab import compare_precision
        from methods.procedures import PROCEDURE

        if len(args.compare) not in (0, 2):
            raise InputError("--compare takes two names, or none where the file has two procedures.")
        first, second = args.compare or (None, None)
        ratio = compare_precision(
            records, by=args.by or PROCEDURE, first=first, second=second, laboratory=laboratory, result=args.result,
            exclude=args.exclude, confidence=args.confidence,
        )  # fmt: skip
        emit(args, ratio, "\n\n".join(told([ratio])))
        return 0
    result = precision(
        records,
        laboratory=laboratory,
        level=levels,
        result=args.result,
        exclude=args.exclude,
        confidence=args.confidence,
    )
    emit(args, result, "\n\n".join(told([result])))
    return 0

"""``gapshift precision``: repeatability and reproducibility over laboratories."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    columns,
    emit,
    files,
    note_reading,
    probability,
    reading_arguments,
)

NAME = "precision"
HELP = "repeatability and reproducibility over laboratories (ISO 5725-2, ASTM E691)"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--laboratory", metavar="COLUMN", help="the column that names the laboratory")
    parser.add_argument(
        "--level", metavar="COLUMN", action="append",
        help="the column that makes a level (repeat for several); without it: the oil, split by procedure",
    )  # fmt: skip
    parser.add_argument(
        "--result", choices=["result", "filling", "breakdown"], default="result",
        help="what counts as one: what the method reports (default), the mean of a filling, or each breakdown",
    )  # fmt: skip
    parser.add_argument(
        "--exclude", nargs=3, metavar=("LABORATORY", "LEVEL", "REASON"), action="append", default=[],
        help="leave a cell out; the reason is kept in the result",
    )  # fmt: skip
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
    records = read_all_in_cage(files(args), columns=mapping or None, **options)
    note_reading(args, records)
    laboratory = args.laboratory if args.laboratory in COLUMNS else "laboratory"
    levels = None
    if args.level:
        levels = ["sample" if mapping.get("sample") == x else _resolve(records, x) for x in args.level]
    return records, laboratory, levels


def text(result: Any) -> str:
    """The result as aligned tables and sentences."""
    heads = ["level", "labs", "n", "mean", "s_r", "s_L", "s_R", "r", "R", "r %", "R %", "s_r from–to", "s_R from–to"]
    rows = []
    for v in result.levels:
        if v.error:
            continue
        spans = [
            f"{a:.3g} – {b:.3g}" if a == a and b == b else None
            for a, b in ((v.s_r_low, v.s_r_high), (v.s_R_low, v.s_R_high))
        ]
        rows.append(
            [v.level, v.laboratories, v.n, v.mean, v.s_r, v.s_L, v.s_R, v.r, v.R, v.r_percent, v.R_percent, *spans]
        )
    lines = [columns(rows, heads), ""]
    lines += [f"{v.level}: {v.error}" for v in result.levels if v.error]
    lines.append(f"r and R are {result.limit_factor} times s_r and s_R; limits at {result.confidence:.0%}.")
    if len(result.flags):
        names = list(result.flags.columns)
        lines += ["", "Standing out (kept in every figure above):", columns(result.flags.to_numpy().tolist(), names)]
    chosen = result.relations[result.relations["chosen"]] if len(result.relations) else result.relations
    for row in chosen.itertuples():
        a, b = (f"{row.a:.3g}", f"{row.b:.3g}")
        lines.append(
            f"{row.kind} against the level is best described as {row.reads} (a = {a}, b = {b}).".replace("nan", "–")
        )
    if len(result.published):
        names = ["method", "edition", "cov_same_percent", "cov_between_percent", "r_percent", "R_percent"]
        heads = ["method", "edition", "CoV same %", "CoV between %", "r %", "R %"]
        rows = result.published[names].astype(object).where(result.published[names].notna(), None).to_numpy().tolist()
        lines += ["", "Published by the standards for one reported result (compare with --result result):",
                  columns(rows, heads)]  # fmt: skip
        lines += [f"  {row.method}: {row.note}" for row in result.published.itertuples()]
        lines.append("")
    lines += [
        f"Left out: laboratory {e.laboratory} at {e.level} ({e.n} results): {e.reason}" for e in result.exclusions
    ]
    lines += [f"Caution: {w.text}" for w in result.cautions]
    return "\n".join(lines)


def run(args: argparse.Namespace) -> int:
    from methods.interlab import precision

    records, laboratory, levels = _read(args)
    result = precision(
        records,
        laboratory=laboratory,
        level=levels,
        result=args.result,
        exclude=args.exclude,
        confidence=args.confidence,
    )
    emit(args, result, text(result))
    return 0

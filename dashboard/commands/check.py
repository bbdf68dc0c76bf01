"""``gapshift check``: what was read, what was refused and why, what was guessed."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.commands.common import add_json, add_reading_options, columns, emit, files, open_records
from methods.errors import InputError

NAME = "check"
HELP = "read a file and say what was kept, refused and guessed"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--cells", action="store_true", help="also say of every cell what it was taken for, and why")
    parser.add_argument(
        "--out", metavar="FILE", help="write the readings as .csv or .parquet, which reads back as it is"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Exit 0 when nothing was refused, 1 when some rows were; an unusable file raises and exits 2."""
    from methods.columns import COLUMNS

    records = open_records(args)
    document = records.to_dict()
    lines = [
        f"{document['rows_read']} read: {_count(document['breakdowns'], 'breakdown')}, "
        f"{document['withstood']} withstood, {_count(document['fillings'], 'filling')}, "
        f"{_count(document['conditions'], 'condition')}"
    ]
    if document["problems"]:
        heads = ["row", "column", "found", "rule", "action"]
        lines += ["", columns([[p[h] for h in heads] for p in document["problems"]], heads)]
    if document.get("guesses"):
        heads = ["what", "guess", "evidence", "option"]
        lines += ["", "Guessed (overrule with the option):", ""]
        lines += [columns([[g[h] for h in heads] for g in document["guesses"]], heads)]
    own = [str(c) for c in records.table.columns if c not in COLUMNS]
    if own:
        lines += ["", f"Kept as columns of the file's own: {', '.join(map(repr, own))}. If one of them is, say, the "
                  "filling, name it with --column filling=HEADING."]  # fmt: skip
    if args.cells:
        heads = ["sheet", "row", "column", "text", "role", "why"]
        heads = heads if records.cells["sheet"].astype(bool).any() else heads[1:]
        document["cells"] = records.cells.to_dict("records")
        lines += ["", columns(records.cells[heads].to_numpy(dtype=object).tolist(), heads)]
        counted = records.cells[records.cells["number"]]["role"].value_counts()
        lines += ["", f"{counted.sum()} cells with numbers: " + ", ".join(f"{n} {r}" for r, n in counted.items())]
    if args.out:
        from methods.records import write_records

        if any(Path(args.out).resolve() == Path(f).resolve() for f in files(args)):
            raise InputError(f"--out {args.out} is the file that is read; give it another name.", text=args.out)
        document["written"] = str(write_records(records, args.out))
        lines += ["", f"Readings written to {args.out}."]
    emit(args, document, "\n".join(lines))
    return 1 if any(p["refused"] for p in document["problems"]) else 0


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"

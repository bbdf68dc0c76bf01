"""``gapshift archive``: the laboratory's own tests in one file, added once and read again wherever a file is taken."""

from __future__ import annotations

import argparse
import os

from dashboard.commands.common import add_json, add_reading_options, emit, reading_arguments, told
from dashboard.commands.examples import kinds_of
from methods.errors import InputError

NAME = "archive"
HELP = "keep the laboratory's own tests in one file: add, list, mark (the electrode log), remove; share, gather"
#: Where the archive is named once and for all.
PLACE = "GAPSHIFT_ARCHIVE"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_kind = kinds_of(parser, NAME, "DO")
    add = add_kind("add", "add files; what is kept already is not added twice")
    add_reading_options(add)
    show = add_kind("list", "which files it holds, and the electrode log")
    mark = add_kind("mark", "write into the electrode log")
    mark.add_argument("day", metavar="YYYY-MM-DD")
    mark.add_argument("what", metavar="TEXT", help="polished, conditioned, gap reset ...")
    mark.add_argument("--electrode", default="", metavar="NAME")
    mark.add_argument("--instrument", default="", metavar="NAME")
    mark.add_argument("--note", default="", metavar="TEXT")
    remove = add_kind("remove", "take a file out again")
    remove.add_argument("name", metavar="NAME", help="its name, or the beginning of its SHA-256")
    share = add_kind("share", "put its readings into a folder that many read, as Parquet")
    share.add_argument("folder", metavar="FOLDER", help="afterwards it can stand wherever a FILE can")
    gather = add_kind("gather", "make one archive of what such a folder holds")
    gather.add_argument("folder", metavar="FOLDER")
    for sub in (add, show, mark, remove, share, gather):
        sub.add_argument(
            "--archive", metavar="FILE", default=os.environ.get(PLACE) or "archive.duckdb",
            help=f"the archive (default: archive.duckdb; also {PLACE})",
        )  # fmt: skip
        add_json(sub)


def run(args: argparse.Namespace) -> int:
    from methods.archive import Archive, gather_shared, list_archive, share

    if args.kind == "add":
        return _add(args)
    if args.kind == "gather":
        gather_shared(args.folder, args.archive)
    elif args.kind != "list" and not os.path.exists(args.archive):
        raise InputError(
            f"There is no archive {args.archive!r}; 'gapshift archive add FILE' makes one.", lacks="archive"
        )
    if args.kind == "share":
        share(args.archive, args.folder)
    if args.kind in ("mark", "remove"):
        with Archive(args.archive) as archive:
            if args.kind == "mark":
                archive.mark(args.day, args.what, electrode=args.electrode, instrument=args.instrument, note=args.note)
            else:
                archive.remove(args.name)
    found = list_archive(args.archive)
    emit(args, found, "\n\n".join(told([found])))
    return 0


def _add(args: argparse.Namespace) -> int:
    """Exit 0 when nothing was refused, 1 when some rows were."""
    import pandas as pd

    from methods.archive import Added, Archive
    from methods.records.by_word import for_file

    options = reading_arguments(args)
    for name in ("where", "since", "until"):
        if options.pop(name):
            raise InputError(
                "Files are added whole; --where, --since and --until choose among them when they are read."
            )
    recipe = options.pop("recipe") or ""
    with Archive(args.archive) as archive:
        parts = [archive.add(file, recipe=recipe, **for_file(options, file, args.file)) for file in args.file]
    added = Added(args.archive, pd.concat([p.files for p in parts], ignore_index=True),
                  tuple(c for p in parts for c in p.cautions))  # fmt: skip
    emit(args, added, "\n\n".join(told([added])))
    return 1 if bool(added.files["refused"].any()) else 0

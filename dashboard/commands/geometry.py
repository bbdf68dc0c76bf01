"""``gapshift geometry``: stressed oil between electrodes, and the weakest-link shift beside the observed one."""

from __future__ import annotations

import argparse

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    emit,
    open_records,
    percentage,
    probability,
    told,
)
from methods.errors import InputError

NAME = "geometry"
HELP = "stressed area and volume between electrodes, and the shift that the weakest link expects"


def _pair(text: str) -> tuple[str, float]:
    shape, sign, gap = text.partition("@")
    try:
        value = float(gap.strip().lower().removesuffix("mm").strip().replace(",", "."))
    except ValueError:
        value = 0.0
    if not sign or not shape.strip() or not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r}: write it as ELECTRODE@MM, such as mushroom@2.5")
    return shape.strip().lower(), value


def _shape(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = 0.0
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a Weibull shape above 0")
    return value


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="*", help="records that hold both electrodes")
    add_reading_options(parser, file=False)
    parser.add_argument("--first", type=_pair, metavar="ELECTRODE@MM", help="such as spherical@2.5")
    parser.add_argument("--second", type=_pair, metavar="ELECTRODE@MM", help="such as mushroom@2.5")
    parser.add_argument("--shape", type=_shape, help="Weibull shape, where no file gives it")
    parser.add_argument("--fraction", type=percentage, default=0.9, help="of the peak field that counts (90%%)")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    from methods.answers.geometry import stress
    from methods.laws.geometry import stressed
    from methods.laws.weakest_link import compare_geometry, predict_geometry

    if (args.first is None) != (args.second is None):
        raise InputError("Give both --first and --second, or neither.")
    if args.first is None:
        if args.file:
            raise InputError("Say which to compare: --first ELECTRODE@MM --second ELECTRODE@MM.")
        usual = [("spherical", 2.5), ("mushroom", 2.5), ("mushroom", 2.0), ("mushroom", 1.0)]
        found = [stressed(*pick, fraction=args.fraction) for pick in usual]
        table = stress(found)
        emit(args, {"stress": found}, f"{table.title}:\n\n{table.text()}")
        return 0
    if args.file:
        records = open_records(args)
        shift = compare_geometry(records, args.first, args.second, fraction=args.fraction, confidence=args.confidence)
    elif args.shape is not None:
        shift = predict_geometry(args.first, args.second, args.shape, fraction=args.fraction)
    else:
        raise InputError("Give a file that holds both electrodes, or a Weibull --shape.")
    emit(args, shift, "\n".join(told([shift])))
    return 0

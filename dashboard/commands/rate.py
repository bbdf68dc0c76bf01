"""``gapshift rate``: what another rate of rise does under a power life law."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    FILES,
    add_json,
    add_reading_options,
    amount,
    emit,
    open_records,
    probability,
    told,
)
from methods.errors import InputError

NAME = "rate"
HELP = "life exponent n from two or more rates of rise, or the shift expected for a given n"


def _positive(text: str) -> float:
    return amount(text.strip().lower().removesuffix("kv/s"))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="*", help=FILES)
    add_reading_options(parser, file=False)
    parser.add_argument("--from", dest="from_kv_s", type=_positive, metavar="KV/S", help="rate of rise to start from")
    parser.add_argument("--to", dest="to_kv_s", type=_positive, metavar="KV/S", help="rate of rise to go to")
    parser.add_argument("--exponent", type=_positive, metavar="N", help="life exponent n, where no file gives it")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    add_json(parser)


def _shift(args: argparse.Namespace, n: float, low: float | None, high: float | None) -> Any:
    from methods.laws.rate_law import rate_shift

    if args.from_kv_s is None or args.to_kv_s is None or not 0 < n < float("inf"):
        return None
    return rate_shift(args.from_kv_s, args.to_kv_s, n, n_low=low, n_high=high)


def run(args: argparse.Namespace) -> int:
    from methods.answers.laws import rate
    from methods.laws.rate_law import rate_laws

    if not args.file:
        if args.exponent is None or args.from_kv_s is None or args.to_kv_s is None:
            raise InputError("Without a file give --exponent, --from and --to.")
        found = _shift(args, args.exponent, None, None)
        emit(args, {"laws": [], "shift": found}, "\n".join(told([found])))
        return 0
    laws = rate_laws(open_records(args), confidence=args.confidence)
    shifts = [None if law.error else _shift(args, law.n, max(law.n_low, 0.0), law.n_high) for law in laws]
    made = rate(laws, {i: s for i, s in enumerate(shifts) if s is not None})
    emit(args, {"laws": laws, "shifts": shifts}, made.text())
    return 0

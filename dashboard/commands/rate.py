"""``gapshift rate``: what another rate of rise does under a power life law."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, add_reading_options, amount, columns, emit, open_records, probability
from dashboard.commands.gap_law import name_of, without_law
from methods.errors import InputError

NAME = "rate"
HELP = "life exponent n from two or more rates of rise, or the shift expected for a given n"


def _positive(text: str) -> float:
    return amount(text.strip().lower().removesuffix("kv/s"))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="?", help="CSV, TSV or semicolon text, XLSX or Parquet")
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


def _sentence(s: Any) -> str:
    span = f" (between {s.low_percent:+.1f} % and {s.high_percent:+.1f} %)" if s.low_percent != s.high_percent else ""
    return f"From {s.from_kv_s:g} to {s.to_kv_s:g} kV/s with n = {s.n:.3g}: {s.percent:+.1f} %{span}. Not a conversion."


def run(args: argparse.Namespace) -> int:
    from methods.laws.rate_law import rate_laws

    if args.file is None:
        if args.exponent is None or args.from_kv_s is None or args.to_kv_s is None:
            raise InputError("Without a file give --exponent, --from and --to.")
        found = _shift(args, args.exponent, None, None)
        emit(args, {"laws": [], "shift": found}, _sentence(found))
        return 0
    laws = rate_laws(open_records(args), confidence=args.confidence)
    rows = [
        [name_of(v.group), " ".join(f"{g:g}" for g in v.rates_kv_s), v.units, v.unit, v.n, v.n_low, v.n_high, v.slope]
        for v in laws
        if not v.error
    ]
    lines = [columns(rows, ["group", "kV/s", "units", "unit", "n", "from", "to", "slope"], 3), ""]
    shifts = []
    for law in laws:
        found = None if law.error else _shift(args, law.n, max(law.n_low, 0.0), law.n_high)
        shifts.append(found)
        lines += [_sentence(found)] if found else []
        lines += [f"Caution ({name_of(law.group)}): {w.text}" for w in law.cautions]
    emit(args, {"laws": laws, "shifts": shifts}, "\n".join(lines + without_law(laws)))
    return 0

"""``gapshift shift``: how far the breakdown voltage shifts between the levels of a factor, and how surely."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

from dashboard.commands.common import (
    add_by,
    add_json,
    add_proof,
    add_reading_options,
    emit,
    executor_of,
    history_of,
    open_records,
    probability,
    told,
)
from dashboard.commands.progress import progress
from methods.errors import InputError

NAME = "shift"
HELP = "compare the levels of a factor: shift of the mean and of the scatter, with limits"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    add_by(parser)
    parser.add_argument("--reference", metavar="LEVEL", help="compare with this level (default: most fillings)")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (default: 95%%)")
    parser.add_argument(
        "--within", metavar="COLUMN", action="append", default=[],
        help="compare only where this is equal, as the sample must be; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--model", choices=["filling_means", "mixed"], default="filling_means",
        help="how the shift is estimated (default: filling_means)",
    )  # fmt: skip
    parser.add_argument(
        "--with", dest="factors", metavar="COLUMN", action="append", default=[],
        help="for the mixed model: another factor whose effect is taken out; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--covariate", dest="covariates", metavar="COLUMN", action="append", default=[],
        help="for the mixed model: a quantity taken out as a line, such as relative_saturation (of water, temperature "
        "and fluid), water_mg_kg, temperature_c; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--liquid", metavar="NAME|A,B", type=liquid,
        help="whose solubility of water gives the relative saturation: mineral, mineral_alternative, or constants "
        "of your own of log10 S = A - B / T (default: by the file's fluid)",
    )  # fmt: skip
    parser.add_argument(
        "--samples", choices=["fixed", "random"], default="fixed", help="for the mixed model (default: fixed)"
    )  # fmt: skip
    parser.add_argument(
        "--history", metavar="FILE", action="append",
        help="earlier tests of the laboratory: their scatter between fillings serves a level with one filling",
    )  # fmt: skip
    parser.add_argument("--log", action="store_true", help="analyse log kV: geometric means, the shift as a ratio")
    parser.add_argument(
        "--adjust", choices=["holm", "bonferroni", "none"], default="holm",
        help="p-values over several levels (default: holm)",
    )  # fmt: skip
    parser.add_argument(
        "--percentiles", action="store_true",
        help="also the shift of percentiles and of the whole distribution, with a band",
    )  # fmt: skip
    parser.add_argument(
        "--p", type=probability, action="append", default=[], metavar="PERCENT",
        help="a percentile for --percentiles; may be repeated (default: 1%%, 10%%, 50%%)",
    )  # fmt: skip
    parser.add_argument("--family", help="the family for --percentiles (default: the one that fits best)")
    parser.add_argument("--repetitions", type=int, default=2000, help="for --percentiles (default: 2000)")
    parser.add_argument("--seed", type=int, default=0, help="for --percentiles (default: 0)")
    parser.add_argument(
        "--all-pairs", choices=["games_howell", "tukey", "holm"], nargs="?", const="games_howell",
        help="also every pair of levels at once (default procedure: games_howell)",
    )  # fmt: skip
    parser.add_argument(
        "--other-tests", action="store_true",
        help="also rank tests with Hodges-Lehmann shifts, Welch's ANOVA, Kruskal-Wallis and Brown-Forsythe, oil by oil",
    )  # fmt: skip
    add_proof(parser)
    add_json(parser)


#: What the percentiles do with the scatter of earlier tests.
UNUSED = (
    "The scatter of earlier tests serves the shift of the mean; limits of percentiles rest on these fillings alone."
)


def run(args: argparse.Namespace) -> int:
    from methods.result import Caution, as_json
    from methods.shifts import all_pairs, other_tests, percentile_shift, shift

    records = open_records(args)
    result = shift(
        records, args.by, reference=args.reference, confidence=args.confidence,
        log=args.log, adjust=args.adjust, within=args.within, model=args.model, factors=args.factors,
        samples=args.samples, history=history_of(args),
        covariates=args.covariates, liquid=args.liquid,
    )  # fmt: skip
    document = as_json(result)
    asked: list[Any] = [result]
    if args.percentiles or args.p:
        with executor_of(args) as executor, progress("Percentiles") as tell:
            found = percentile_shift(
                records, args.by, reference=args.reference, percentiles=args.p or (0.01, 0.1, 0.5),
                confidence=args.confidence, repetitions=args.repetitions, rng=args.seed, family=args.family,
                within=args.within, progress=tell, executor=executor,
            )  # fmt: skip
        if args.history:
            found = replace(found, cautions=[*found.cautions, Caution("history_unused", UNUSED)])
        document["percentiles"] = as_json(found)
        asked.append(found)
    if args.all_pairs:
        pairs = all_pairs(
            records, args.by, procedure=args.all_pairs, confidence=args.confidence, within=args.within
        )  # fmt: skip
        document["all_pairs"] = as_json(pairs)
        asked.append(pairs)
    if args.other_tests:
        others = other_tests(
            records, args.by, reference=args.reference, confidence=args.confidence, within=args.within
        )  # fmt: skip
        document["other_tests"] = as_json(others)
        asked.append(others)
    text = told(asked)
    if args.prove:
        proof = _proof(args, records)
        document["proof"] = as_json(proof)
        text.append(proof.sentence)
    emit(args, document, "\n\n".join(text))
    return 0


def _proof(args: argparse.Namespace, records: Any) -> Any:
    """Coverage of the limits by filling means at the design of the records."""
    from methods.shifts import prove_shift

    if args.model == "mixed" or args.covariates:
        raise InputError("--prove counts the limits by filling means alone: leave out the mixed model and covariates.")
    with executor_of(args) as executor, progress("Proof") as tell:
        return prove_shift(
            records, args.by, reference=args.reference, confidence=args.confidence, log=args.log, within=args.within,
            history=history_of(args), repetitions=args.prove, rng=args.rng, executor=executor, progress=tell,
        )  # fmt: skip


def liquid(text: str) -> str | tuple[float, float]:
    """A liquid by name, or its two constants."""
    parts = text.split(",")
    if len(parts) != 2:
        return text
    try:
        return float(parts[0]), float(parts[1])
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r}: a name, or two numbers such as 7.42,1670") from None

"""``gapshift plan``: how many breakdowns, on how many fillings, for the confidence that is wanted."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_proof,
    add_reading_options,
    amount,
    emit,
    executor_of,
    history_of,
    kilovolts,
    open_records,
    percentage,
    probability,
    told,
    whole,
)
from dashboard.commands.examples import kinds_of
from dashboard.commands.plan_study import add_round, add_study, run_round, run_study
from dashboard.commands.progress import progress
from methods.errors import InputError
from methods.result import Caution, as_json

NAME = "plan"
HELP = "how many breakdowns and fillings it takes: for a mean, a difference, a percentile, a decision"


def _share_or_kv(text: str) -> tuple[str, float]:
    """Read ``10%`` as a fraction of the mean and ``3`` or ``3 kV`` as kV."""
    if text.strip().endswith("%"):
        return "fraction", percentage(text)
    return "kv", kilovolts(text)


def _correlation(text: str) -> float:
    value = probability(text) if text.strip() not in ("0", "0%", "0.0") else 0.0
    return value


def _scatter_options(parser: argparse.ArgumentParser, *, serial: bool = True, mean: bool = True) -> None:
    group = parser.add_argument_group("scatter")
    either = group.add_mutually_exclusive_group()
    either.add_argument("--cov", type=percentage, metavar="15%", help="scatter of breakdowns, per cent of the mean")
    either.add_argument("--sd", type=kilovolts, metavar="KV", help="scatter of breakdowns, kV")
    group.add_argument(
        "--history", metavar="FILE", action="append", help="earlier tests: their scatter within and between fillings"
    )
    both = group.add_mutually_exclusive_group()
    both.add_argument("--between-cov", type=percentage, metavar="5%", help="scatter between fillings, per cent")
    both.add_argument("--between-sd", type=kilovolts, metavar="KV", help="scatter between fillings, kV")
    if serial:
        group.add_argument(
            "--serial-correlation", type=_correlation, metavar="RHO", help="lag-1 correlation inside a filling"
        )
    if mean:
        group.add_argument("--mean", type=kilovolts, metavar="KV", help="expected mean, to turn per cent into kV")


def _design_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--fillings", type=whole, metavar="K", help="fix the number of fillings")
    parser.add_argument("--breakdowns-per-filling", type=whole, metavar="N", help="fix the breakdowns on each filling")
    parser.add_argument("--protocol", metavar="METHOD", help="test method whose times give the bench minutes")
    parser.add_argument("--fluid", metavar="LIQUID", help="what is tested: esters and silicone rest longer")
    parser.add_argument(
        "--filling-minutes", type=amount, metavar="M", help="without a method: to empty, rinse, fill and rest (10)"
    )
    parser.add_argument(
        "--breakdown-minutes", type=amount, metavar="M", help="without a method: a breakdown with its pause (1.5)"
    )


def _confidence(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--confidence", type=probability, default=0.95, metavar="95%", help="95%% unless said")


def _add_mean(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--half-width", type=_share_or_kv, metavar="10%", help="half-width wanted: 10%% or 3 (kV)")
    _scatter_options(parser)
    _confidence(parser)
    parser.add_argument("--assurance", type=probability, metavar="90%", help="how sure it will be that narrow")
    parser.add_argument(
        "--known", action="store_true", help="plan for scatter known from history, not the bench's own interval"
    )
    _design_options(parser)
    add_proof(parser)


def _add_difference(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--difference", type=_share_or_kv, required=True, metavar="10%", help="smallest worth seeing: 10%% or 3 (kV)"
    )
    _scatter_options(parser)
    _confidence(parser)
    parser.add_argument("--power", type=probability, default=0.8, metavar="80%", help="80%% unless said")
    parser.add_argument("--one-sided", action="store_true", help="only one direction matters")
    parser.add_argument("--paired", action="store_true", help="the same samples are tested under both conditions")
    _design_options(parser)
    add_proof(parser)


def _add_percentile(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--p", type=percentage, required=True, metavar="1%", help="which percentile: 1%%")
    parser.add_argument("--half-width", type=_share_or_kv, metavar="10%", help="wanted: 10%% of the mean, or 3 (kV)")
    _scatter_options(parser, serial=False)
    _confidence(parser)
    parser.add_argument("--family", default="normal", help="normal, lognormal, weibull or gumbel_min")
    parser.add_argument("--assurance", type=probability, metavar="90%", help="how sure it will be that narrow")
    parser.add_argument("--seed", type=int, default=20250101, help="seed of the simulated plans")
    _design_options(parser)
    add_proof(parser)


def _add_decision(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--limit", type=kilovolts, required=True, metavar="KV", help="the limit, kV")
    parser.add_argument("--mean", type=kilovolts, required=True, metavar="KV", help="true mean to tell from it, kV")
    _scatter_options(parser, serial=False, mean=False)
    parser.add_argument("--risk", type=probability, default=0.05, metavar="5%", help="chance of the wrong verdict")
    parser.add_argument("--rule", default="simple", help="simple, guarded or every")
    parser.add_argument("--confidence", type=probability, default=0.95, metavar="95%", help="of the guarded rule")
    parser.add_argument("--known", action="store_true", help="the guarded rule uses scatter known from history")
    _design_options(parser)
    add_proof(parser)


def _add_equivalence(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--margin", type=_share_or_kv, required=True, metavar="5%", help="agreement within: 5%% or 3 (kV)"
    )
    parser.add_argument(
        "--expected-difference", type=_share_or_kv, metavar="1%", help="true difference; none unless said"
    )
    _scatter_options(parser)
    parser.add_argument("--power", type=probability, default=0.8, metavar="80%", help="80%% unless said")
    parser.add_argument(
        "--confidence", type=probability, default=0.95, metavar="95%", help="of each one-sided test (95%%)"
    )
    _design_options(parser)
    add_proof(parser)


def _add_sd(parser: argparse.ArgumentParser) -> None:
    wanted = parser.add_mutually_exclusive_group(required=True)
    wanted.add_argument("--within", type=percentage, metavar="20%", help="how close the SD is to be")
    wanted.add_argument("--ratio", type=float, metavar="1.5", help="ratio of two SDs that is to be seen")
    parser.add_argument(
        "--kind", dest="kind_of_sd", default="within", help="within, upper or upper_one_sided: what --within bounds"
    )
    _confidence(parser)
    parser.add_argument("--power", type=probability, default=0.8, metavar="80%", help="for --ratio")
    parser.add_argument("--fillings", type=whole, default=1, metavar="K", help="fillings the breakdowns come from")
    add_proof(parser)


def _add_design(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--half-width", type=_share_or_kv, metavar="10%", help="half-width wanted: 10%% or 3 (kV)")
    parser.add_argument("--minutes", type=amount, metavar="M", help="bench minutes that there are")
    parser.add_argument("--oil", dest="oil_ml", type=amount, metavar="ML", help="oil that there is, mL")
    parser.add_argument("--goal", help="what to make small: minutes, oil or half-width")
    parser.add_argument("--protocol", required=True, metavar="METHOD", help="test method whose times and cell count")
    _scatter_options(parser)
    _confidence(parser)
    parser.add_argument("--known", action="store_true", help="plan for scatter known from history")
    add_proof(parser)


def _add_pilot(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--half-width", type=_share_or_kv, required=True, metavar="10%", help="10%% or 3 (kV)")
    parser.add_argument("--by", action="append", metavar="COLUMN", help="a plan for each level; may be repeated")
    parser.add_argument(
        "--assured", type=probability, default=0.8, metavar="80%", help="how sure the second plan is to be enough"
    )
    _confidence(parser)
    _design_options(parser)
    add_proof(parser)


def _add_next(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kv", type=kilovolts, nargs="+", metavar="KV", help="breakdowns so far, in order")
    parser.add_argument(
        "--half-width", type=_share_or_kv, default=("fraction", 0.10), metavar="10%", help="10%% or 3 (kV)"
    )
    parser.add_argument(
        "--on", dest="on", type=whole, metavar="N", help="breakdowns on each filling: 5 means 5, 5, ..."
    )
    _confidence(parser)
    parser.add_argument("--seed", type=int, default=1, help="seed of the simulated error rates")
    add_proof(parser)


_KINDS: dict[str, tuple[str, Any]] = {
    "mean": ("for the mean of one oil under one condition", _add_mean),
    "difference": ("for the difference of two conditions", _add_difference),
    "percentile": ("for a low percentile", _add_percentile),
    "decision": ("for the verdict against a limit", _add_decision),
    "equivalence": ("to show that two conditions agree", _add_equivalence),
    "sd": ("for the scatter itself, or the ratio of two", _add_sd),
    "design": ("for a target under bench minutes and oil", _add_design),
    "pilot": ("with existing data as the pilot", _add_pilot),
    "next": ("after those taken so far: stop or go on", _add_next),
    "study": ("to compare procedures on the same oils, with a run sheet", add_study),
    "round": ("for a round of laboratories, with a run sheet", add_round),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_kind = kinds_of(parser, NAME, "KIND")
    for kind, (text, add) in _KINDS.items():
        sub = add_kind(kind, text, f"How many breakdowns {text}.")
        add(sub)
        add_json(sub)


def _in_unit(args: argparse.Namespace, given: tuple[str, float] | None, option: str) -> float | None:
    """Bring a width to the unit of the scatter: a fraction beside --cov, kV beside --sd."""
    if given is None:
        return None
    unit, value = given
    wanted = "fraction" if args.cov is not None else "kv"
    if unit == wanted:
        return value
    if args.mean is None:
        other = "in kV beside --cov, which is in %" if unit == "kv" else "in % beside --sd, which is in kV"
        raise InputError(f"{option} is {other}: write both in the same unit, or give --mean to convert.")
    return value * args.mean if wanted == "kv" else value / args.mean


#: Options that every plan takes as they are, where the kind has them.
_SHARED = (
    "cov sd mean between_cov between_sd serial_correlation confidence fillings breakdowns_per_filling protocol "
    "assurance power paired p family seed limit risk rule within ratio kind_of_sd minutes oil_ml goal"
).split()


def _options(args: argparse.Namespace) -> dict[str, Any]:
    """The keyword arguments of the plan that these options stand for."""
    from methods.planning.bench_cost import bench_times

    options = {name: getattr(args, name) for name in _SHARED if hasattr(args, name)}
    times = bench_times(getattr(args, "filling_minutes", None), getattr(args, "breakdown_minutes", None))
    if getattr(args, "fluid", None) is not None:
        options["protocol"] = _for_fluid(options["protocol"], args.fluid)
    if times is not None:
        if options["protocol"] is not None:
            raise InputError("--protocol gives the times itself; leave --filling-minutes and --breakdown-minutes out.")
        options["protocol"] = times
    if args.kind in ("pilot", "next"):
        options = {"rng" if name == "seed" else name: value for name, value in options.items()}
        return options | _from_data(args)
    for name in ("half_width", "difference", "margin", "expected_difference"):
        if hasattr(args, name):
            options[name] = _in_unit(args, getattr(args, name), "--" + name.replace("_", "-"))
    if hasattr(args, "known"):
        options["interval"] = "known" if args.known else "bench"
    if hasattr(args, "one_sided"):
        options["sides"] = 1 if args.one_sided else 2
    if options.get("expected_difference", 0.0) is None:
        del options["expected_difference"]
    if "seed" in options:
        options["rng"] = options.pop("seed")
    if "kind_of_sd" in options:
        options["kind"] = options.pop("kind_of_sd")
    return options


def _for_fluid(method: str | None, fluid: str) -> Any:
    """The method with the rest that this liquid needs."""
    from methods.protocols.bench import as_protocol, for_liquid
    from methods.protocols.fitting import LIQUIDS, liquid_of

    if method is None:
        raise InputError("--fluid changes the rest that a method prescribes: name it with --protocol.")
    if liquid_of(fluid) is None:
        raise InputError(f"No liquid is known as {fluid!r}; say {', '.join(LIQUIDS)}.", text=fluid)
    return for_liquid(as_protocol(method), fluid)


def _from_data(args: argparse.Namespace) -> dict[str, Any]:
    """Arguments of the plans that start from breakdowns."""
    unit, value = args.half_width
    if args.kind == "pilot":
        wanted = {"half_width": value} if unit == "fraction" else {"half_width_kv": value}
        return {"data": open_records(args), "assured": args.assured, **wanted}
    fillings = None if args.on is None else [i // args.on for i in range(len(args.kv))]
    wanted = {"target": value} if unit == "fraction" else {"target_kv": value}
    return {"kv": args.kv, "fillings": fillings, **wanted}


def run(args: argparse.Namespace) -> int:
    """Print the plan; exit 0."""
    from methods.planning import plan

    if args.kind in ("study", "round"):
        return (run_study if args.kind == "study" else run_round)(args)
    if getattr(args, "by", None):
        return _by_group(args)
    past = _from_history(args)
    options = _options(args)
    result = getattr(plan, args.kind)(**options)
    if past is not None:
        result = replace(result, cautions=(past, *result.cautions))
    text = told([result])
    if not getattr(args, "prove", None):
        emit(args, result, "\n\n".join(text))
        return 0
    proof = _proof(args, result, options)
    emit(args, {**as_json(result), "proof": as_json(proof)}, "\n\n".join([*text, proof.sentence]))
    return 0


def _from_history(args: argparse.Namespace) -> Caution | None:
    """Take the scatter of earlier tests for that of the plan, and say so; nothing where none are named."""
    if not hasattr(args, "history"):
        return None
    given = [bool(args.history), args.cov is not None, args.sd is not None]
    if sum(given) != 1:
        raise InputError("Say the scatter of breakdowns by one of --cov, --sd and --history.", column="cov")
    if not args.history:
        return None
    from methods.scatter.history import scatter_history

    if args.between_cov is not None or args.between_sd is not None:
        raise InputError("--history gives the scatter between fillings too: leave --between-cov and --between-sd out.")
    found = scatter_history(history_of(args))
    args.cov, args.between_cov = found.within_cov, found.between_cov
    return Caution("history", found.sentence)


def _proof(args: argparse.Namespace, made: Any, options: dict[str, Any]) -> Any:
    """What the plan delivers: benches of the planned scatter, judged by the analysis that will judge the real one."""
    from methods.prove_plans import prove_plan

    if args.kind in ("sd", "pilot", "next"):
        return _proof_alone(args, made, options)
    unit = 1.0 if args.cov is not None else args.mean
    if unit is None:
        raise InputError("--prove beside --sd needs --mean.")
    if getattr(args, "serial_correlation", None) or getattr(args, "known", False):
        raise InputError("--prove draws independent breakdowns and counts the bench's own limits: leave out the rest.")
    width = _in_unit(args, getattr(args, "half_width", None), "--half-width")
    with executor_of(args) as executor, progress("Proof") as tell:
        return prove_plan(
            made, cov=(args.cov if args.cov is not None else args.sd) / unit,
            between_cov=_either(args.between_cov, args.between_sd, args),
            half_width=None if width is None else width / unit, repetitions=args.prove, rng=args.rng,
            executor=executor, progress=tell,
        )  # fmt: skip


def _proof_alone(args: argparse.Namespace, made: Any, options: dict[str, Any]) -> Any:
    """The same of plans that need no scatter said: for an SD any will do, the others start from breakdowns."""
    from methods.prove_plans import prove_plan
    from methods.prove_steps import prove_next, prove_pilot

    with executor_of(args) as executor, progress("Proof") as tell:
        given = {"repetitions": args.prove, "rng": args.rng, "executor": executor, "progress": tell}
        if args.kind == "sd":
            return prove_plan(made, **given)
        if args.kind == "pilot":
            return prove_pilot(**options, **given)
        return prove_next(**{k: v for k, v in options.items() if k != "rng"}, **given)


def _either(cov: float | None, sd: float | None, args: argparse.Namespace) -> float | None:
    """A scatter between fillings as a fraction of the mean."""
    if cov is not None or sd is None:
        return cov
    if args.mean is None:
        raise InputError("--between-sd needs --mean here.")
    return float(sd / args.mean)


def _by_group(args: argparse.Namespace) -> int:
    """A pilot and its plan for each combination of columns; what cannot be planned from is listed with the reason."""
    from methods.planning.pilot_data import pilot, plan_from_pilot
    from methods.records.table import as_table, group_codes

    if args.prove:
        raise InputError(
            "--prove carries out one pilot: leave --by out, and choose the rows with --where.", column="by"
        )
    options = _options(args)
    table = as_table(options.pop("data"))
    for name in args.by:
        if name not in table.columns:
            raise InputError(f"There is no column {name!r}.", column=name, text=name)
    plans, refused, lines = [], [], []
    codes = group_codes(table, args.by)
    for code in dict.fromkeys(codes.tolist()):
        part = table[codes == code].reset_index(drop=True)
        group = {name: part[name].iloc[0] for name in args.by}
        head = ", ".join(f"{k} {v}" for k, v in group.items())
        try:
            pilots: Any = pilot(part, by=args.by, assured=args.assured)
            (known,) = pilots
            plans.append(plan_from_pilot(known, **options))
            lines.append(f"{head}: {plans[-1].sentence}")
        except InputError as error:
            refused.append({"group": group, "reason": str(error)})
            lines.append(f"{head}: no plan: {error}")
    emit(args, {"plans": plans, "refused": refused}, "\n\n".join(lines))
    return 0

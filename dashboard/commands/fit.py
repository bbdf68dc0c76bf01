"""``gapshift fit``: distributions of the breakdown voltages of each group, with percentiles and their limits."""

from __future__ import annotations

import argparse
from itertools import groupby
from pathlib import Path
from typing import Any

from dashboard.commands.common import add_json, add_proof, add_reading_options, columns, emit, open_records, probability
from methods.errors import InputError
from methods.families import EVERY_FAMILY, FAMILIES

NAME = "fit"
HELP = "fit distributions to each group: parameters, low percentiles, limits"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    # Not required here: `--by electrode FILE` would be read as two columns; `_settle_file` sorts that out.
    parser.add_argument("file", metavar="FILE", nargs="?", help="CSV, TSV or semicolon text, XLSX or Parquet")
    add_reading_options(parser, file=False)
    parser.add_argument(
        "--by", metavar="COLUMN", nargs="+", action="extend", default=[],
        help="one group for each level of this column, or combination of levels of several",
    )  # fmt: skip
    parser.add_argument(
        "--family", metavar="NAME", nargs="+", action="extend", default=[],
        help=f"one of {', '.join(EVERY_FAMILY)} (default: {', '.join(FAMILIES)})",
    )  # fmt: skip
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (default: 95%%)")
    parser.add_argument(
        "--percentile", metavar="P", type=probability, action="append", default=[],
        help="such as 1%%; may be repeated (default: 1%%, 10%%, 50%%)",
    )  # fmt: skip
    parser.add_argument(
        "--interval", choices=["pivot", "wald", "profile"], default="pivot",
        help="how the limits are made (default: pivot, which holds with few values and knows of fillings)",
    )  # fmt: skip
    parser.add_argument(
        "--history", metavar="FILE", help="earlier tests from which the scatter within and between fillings is borrowed"
    )  # fmt: skip
    add_proof(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    from methods.result import as_json
    from methods.scatter import fit_groups

    _settle_file(args)
    families = [f.strip() for item in args.family for f in item.split(",") if f.strip()]
    records = open_records(args)
    fits = fit_groups(
        records, args.by, families or FAMILIES, confidence=args.confidence,
        percentiles=args.percentile or (0.01, 0.1, 0.5), interval=args.interval, history=args.history,
    )  # fmt: skip
    if args.prove:
        _prove(args, records, fits)
    document = {"fits": as_json(fits)}
    emit(args, document, text(document["fits"]))
    return 0


def _prove(args: argparse.Namespace, records: Any, fits: list[dict[str, Any]]) -> None:
    """Add to each fit how often its limits hold the truth at its own design; default limits only."""
    from methods.prove import prove_oil
    from methods.scatter import estimate_groups

    if args.interval != "pivot" or args.history:
        raise InputError("--prove counts the default limits: leave out --interval and --history.", column="prove")
    found = estimate_groups(records, args.by, [f["family"] for f in fits])
    by_key = {(repr(e.group), e.head["family"]): e.estimate for e in found}
    for row in fits:
        estimate = by_key.get((repr(row["group"]), row["family"]))
        if estimate is None or row["family"] == "weibull3":
            continue
        row["proof"] = prove_oil(
            estimate.kv, estimate.withstood, estimate.fillings, family=row["family"], confidence=args.confidence,
            percentiles=args.percentile or (0.01, 0.1, 0.5), repetitions=args.prove, rng=args.rng,
        )  # fmt: skip


def _settle_file(args: argparse.Namespace) -> None:
    """Find the file when it stands behind an option that takes several words."""
    if args.file is not None:
        return
    lists = [words for words in (args.by, args.family) if words]
    for words in lists:
        for word in words:
            if Path(word).is_file():
                words.remove(word)
                args.file = word
                return
    tail = next((words for words in lists if len(words) > 1), None)
    if tail is None:
        raise InputError("Name the file to fit: gapshift fit FILE.", column="FILE")
    args.file = tail.pop()  # opening it says that it is not there


def text(fits: list[dict[str, Any]]) -> str:
    """For each group: a table of the families, best AICc first, and its cautions."""
    lines: list[str] = []
    for group, rows in groupby(fits, key=lambda f: f["group"]):
        lines += _group_text(group, list(rows)) + [""]
    made = {(f["confidence"], f["interval"]) for f in fits if "error" not in f}
    from methods.scatter.fitting import INTERVALS

    lines += [f"Limits: {100 * c:g} % confidence, {INTERVALS[i]}." for c, i in sorted(made)]
    return "\n".join(lines).rstrip()


def _group_text(group: dict[str, Any], rows: list[dict[str, Any]]) -> list[str]:
    title = ", ".join(f"{k} {'–' if v is None else v}" for k, v in group.items()) or "all values"
    first = rows[0]
    filled = f", {first['fillings']} fillings" if first["fillings"] else ""
    lines = [f"{title}: {first['n']} values, {first['withstood']} of them withstood{filled}", ""]
    fitted = sorted((r for r in rows if "error" not in r), key=lambda r: (r["aicc"] is None, r["aicc"] or 0.0))
    if fitted:
        points = [f"{100 * q['p']:g} %" for q in fitted[0]["percentiles"]]
        heads = ["family", "parameters", "AICc", "A-D p", *[f"{p} kV (limits)" for p in points]]
        lines.append(columns([_family_row(r) for r in fitted], heads))
    lines += [f"{r['family']}: {r['error']}" for r in rows if "error" in r]
    oil = next((r["oil"] for r in rows if r.get("oil")), None)
    lines += [] if oil is None else _oil_lines(oil)
    lines += [f"{r['family']}: {r['proof']['sentence']}" for r in rows if r.get("proof")]
    seen: dict[str, list[str]] = {}
    for row in fitted:
        for caution in row["cautions"]:
            seen.setdefault(caution["text"], []).append(row["family"])
    for words, named in seen.items():  # what concerns some families only names them
        lines.append(f"- {words}" if len(named) == len(fitted) else f"- {', '.join(named)}: {words}")
    return lines


def _oil_lines(oil: dict[str, Any]) -> list[str]:
    """Mean, SDs and what most breakdowns lie above, whatever the family of the table."""
    sure = f"{100 * oil['confidence']:g} %"

    def given(value: float | None, limits: list[float | None], unit: str) -> str:
        return f"{_kv(value)} {unit} ({_kv(limits[0])} to {_kv(limits[1])})"

    lines = [
        f"Mean {given(oil['mean_kv'], [oil['mean_low_kv'], oil['mean_high_kv']], 'kV')} for {oil['holds_for']}; "
        f"SD of one result {given(oil['sd_kv'], oil['sd_limits_kv'], 'kV')}, CoV "
        f"{given(oil['cov_percent'], oil['cov_limits_percent'], '%')}."
    ]
    if oil["between_sd_kv"] is not None:
        lines.append(
            f"SD within fillings {given(oil['within_sd_kv'], oil['within_sd_limits_kv'], 'kV')}, between fillings "
            f"{given(oil['between_sd_kv'], oil['between_sd_limits_kv'], 'kV')}."
        )
    above = [q for q in oil["percentiles"] if q["p"] < 0.5 and q["surely_above_kv"] is not None]
    lines += [
        f"At least {100 * (1 - q['p']):g} % of the breakdowns lie above {_kv(max(q['surely_above_kv'], 0.0))} kV, with "
        f"a one-sided confidence of {sure} (normal law)."
        for q in above
    ]
    return lines


def _family_row(row: dict[str, Any]) -> list[Any]:
    parameters = ", ".join(f"{k} {v:.4g}" for k, v in row["parameters"].items())
    test = row["anderson_darling"]
    limits = [f"{_kv(q['kv'])} ({_kv(q['low'])} to {_kv(q['high'])})" for q in row["percentiles"]]
    p_value = None if test is None else _p(test["p_value"])
    return [row["family"], parameters, row["aicc"] if row["aicc"] is None else f"{row['aicc']:.2f}", p_value, *limits]


def _p(value: float) -> str:
    return "< 0.001" if value < 0.001 else f"{value:.3f}"


def _kv(value: float | None) -> str:
    return "–" if value is None else f"{value:.4g}"

"""What the subcommands share: reading options, percentages, printing one JSON document or a readable table."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Any

from dashboard.commands.progress import progress
from methods.columns import level_text
from methods.errors import InputError
from methods.result import as_json

#: What stands behind FILE in every help.
FILES = "CSV, TSV or semicolon text, XLSX, Parquet or an archive (.duckdb); several are taken together"


def percentage(text: str) -> float:
    """Read ``10%`` as 0.10; anything without the sign is refused, because 0.5 could be either."""
    cleaned = text.strip().replace(",", ".")
    if not cleaned.endswith("%"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a percentage: write it with the sign, such as 10%")
    try:
        value = float(cleaned[:-1]) / 100
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a percentage such as 10%") from None
    if not value > 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be above 0%")
    return value


def probability(text: str) -> float:
    """Read a probability strictly between 0 and 1, written ``95%`` or ``0.95``."""
    cleaned = text.strip().replace(",", ".")
    try:
        value = float(cleaned[:-1]) / 100 if cleaned.endswith("%") else float(cleaned)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a probability such as 95% or 0.95") from None
    if not 0 < value < 1:
        raise argparse.ArgumentTypeError(f"{text!r} must lie between 0 and 1, such as 95% or 0.95")
    return value


def kilovolts(text: str) -> float:
    """Read a positive number of kV."""
    try:
        value = float(text.strip().lower().removesuffix("kv").strip().replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of kV") from None
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be above 0 kV")
    return value


def amount(text: str) -> float:
    """Read a number above zero, with a decimal point or comma."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be above 0")
    return value


def coefficient(text: str) -> float:
    """Read a number other than zero, of either sign."""
    sign = -1.0 if text.strip().startswith(("-", "\u2212")) else 1.0
    return sign * amount(text.strip().lstrip("-\u2212+"))


def whole(text: str) -> int:
    """Read a whole number of at least 1."""
    if not text.strip().isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of at least 1")
    return int(text)


def add_reading_options(parser: argparse.ArgumentParser, *, file: bool = True) -> None:
    """Options that overrule what the reader guesses; the same for every command that reads a file."""
    if file:
        parser.add_argument(
            "file",
            metavar="FILE",
            nargs="+",
            help=FILES,
        )
    group = parser.add_argument_group("reading", "each overrules a guess of the reader")
    group.add_argument("--value", metavar="COLUMN", help="the column that holds the breakdown voltages")
    group.add_argument(
        "--column", metavar="NAME=HEADING", action="append", default=[],
        help="say what a column is, such as filling=Batch; may be repeated",
    )  # fmt: skip
    group.add_argument("--sheet", help="the worksheet to read")
    group.add_argument("--decimal", choices=["point", "comma"], help="the decimal mark")
    group.add_argument("--unit", choices=["kV", "V", "kVp", "Vp", "kV/mm", "kV/cm"], help="the unit of the voltages")
    group.add_argument("--ceiling", type=kilovolts, metavar="KV", help="values at this ceiling are withstood")
    group.add_argument("--no-ceiling", action="store_true", help="repeated equal maxima are breakdowns")
    group.add_argument(
        "--layout", choices=["long", "wide", "two-block", "transposed"], help="how the breakdowns stand in the file"
    )
    group.add_argument(
        "--recipe", metavar="TOML", action="append", default=[],
        help="how this shape of sheet is read, as the Records page wrote it; of several each file takes the first that "
        "fits",
    )  # fmt: skip
    group.add_argument(
        "--context", metavar="NAME=TEXT[@PLACE]", action="append", default=[],
        help="what stands nowhere in the file, such as electrode=disk; of a part of it: gap_mm=2.5@B5:F9, @Tests!C:H, "
        "@Tests (a sheet), @week1.csv (of several files); may be repeated",
    )  # fmt: skip
    group.add_argument(
        "--say", metavar="ROLE[@PLACE]", action="append", default=[],
        help="what cells are: headings@4, no-headings, readings@C:H, no-readings@C, summary@J, leave-out@40:60, "
        "table@B5:F9, means=sample@A, heads=sample, fillings=row (column, one, 6), unread@Notes; may be repeated",
    )  # fmt: skip
    group.add_argument(
        "--thousands", choices=["point", "comma", "apostrophe", "space"], help="the mark between thousands"
    )
    group.add_argument(
        "--censored", metavar="WORD", action="append", default=[], help="a word that means withstood; may be repeated"
    )
    group.add_argument("--dates", choices=["day-first", "month-first"], help="how 03/04/2025 is meant")
    group.add_argument(
        "--where", metavar="COLUMN=LEVEL", action="append", default=[],
        help="only rows of this level; the same column again adds a level",
    )  # fmt: skip
    group.add_argument("--since", metavar="YYYY-MM-DD", help="only tests from this day on")
    group.add_argument("--until", metavar="YYYY-MM-DD", help="only tests up to this day")
    add_reading_limits(group)


def add_proof(parser: argparse.ArgumentParser) -> None:
    """Coverage counted at the design of the records, on request."""
    parser.add_argument(
        "--prove", type=whole, nargs="?", const=2000, metavar="N",
        help="invent this design N times (2000) and count how often such limits hold the truth",
    )  # fmt: skip
    parser.add_argument("--rng", type=int, default=1, metavar="SEED", help="seed of what --prove invents (default: 1)")
    add_workers(parser, "have it (and resamples) worked on")


def add_workers(parser: argparse.ArgumentParser, what: str) -> None:
    """Who works on what takes long; the numbers are the same."""
    parser.add_argument("--workers", type=whole, metavar="N", help=f"{what} in N processes")
    parser.add_argument("--cluster", metavar="tcp://HOST:PORT", help="or on this Dask scheduler's workers")


def result_kind(text: str) -> str | int:
    """Read what counts as one result: ``result``, ``filling``, ``breakdown`` or a number of fillings."""
    from methods.procedures import check_result

    try:
        return check_result(text)
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def add_result(parser: argparse.ArgumentParser) -> None:
    """What counts as one result; the same for every command that counts them."""
    parser.add_argument(
        "--result", type=result_kind, default="result", metavar="WHAT",
        help="what counts as one: result (default: what the method reports), filling (its mean) or breakdown; a number "
        "says of how many fillings a result is the mean where no method does",
    )  # fmt: skip


def add_reported(parser: argparse.ArgumentParser) -> None:
    """Of how many fillings a reported result is the mean, for commands that judge whole oils."""
    parser.add_argument(
        "--result", type=result_kind, default="result", metavar="N",
        help="of how many fillings a reported result is the mean, where no method says it (default: the method's)",
    )  # fmt: skip


def executor_of(args: argparse.Namespace) -> AbstractContextManager[Any]:
    """Who works, by ``--workers`` and ``--cluster``, as a context: an executor, or None for this process."""
    if args.workers and args.cluster:
        raise InputError("--workers and --cluster exclude each other.")
    if not (args.workers or args.cluster):
        return nullcontext()
    from methods.workers import cluster, processes

    return cluster(args.cluster) if args.cluster else processes(args.workers)


def history_of(args: argparse.Namespace) -> Any:
    """What ``--history`` names: records of one file or several, ``study``, or None."""
    from methods.cage import read_all_in_cage

    named = args.history or []
    return None if not named else named[0] if named == ["study"] else read_all_in_cage(named)


def add_by(parser: argparse.ArgumentParser) -> None:
    """The factor that is compared: a column, the procedure, or several columns together."""
    parser.add_argument(
        "--by", required=True, metavar="COLUMN", action="append",
        help="the factor, such as electrode or procedure; several make one factor of their combinations",
    )  # fmt: skip


def add_reading_limits(group: Any) -> None:
    """Options that raise what reading one file may take."""
    group.add_argument(
        "--read-memory", type=amount, metavar="MB",
        help="memory that reading may take (default: 1,200 and ten times the file); also GAPSHIFT_READ_MEMORY",
    )  # fmt: skip
    group.add_argument(
        "--read-seconds", type=amount, metavar="S",
        help="processor time that reading may take (default: 8 s and 1 s a MB); also GAPSHIFT_READ_SECONDS",
    )  # fmt: skip


def reading_arguments(args: argparse.Namespace) -> dict[str, Any]:
    """The keyword arguments of :func:`methods.read` that these options stand for."""
    from methods.records.recipe import THOUSANDS

    columns: dict[str, str] = {}
    for item in args.column:
        name, sign, heading = item.partition("=")
        if not sign or not name.strip() or not heading.strip():
            raise InputError(f"--column {item!r}: write it as NAME=HEADING, such as filling=Batch.")
        columns[name.strip()] = heading.strip()
    if args.value:
        columns["kv"] = args.value
    where: dict[str, list[str]] = {}
    for item in args.where:
        name, sign, level = item.partition("=")
        if not sign or not name.strip():
            raise InputError(f"--where {item!r}: write it as COLUMN=LEVEL, such as sample=A.")
        where.setdefault(name.strip(), []).append(level.strip())
    if args.no_ceiling and args.ceiling is not None:
        raise InputError("--ceiling and --no-ceiling exclude each other.")
    return {
        "recipe": _recipes(args.recipe),
        "context": args.context or None,
        "say": args.say or None,
        "thousands": THOUSANDS[args.thousands] if args.thousands else None,
        "censored": args.censored or None,
        "columns": columns or None,
        "sheet": args.sheet,
        "decimal": {"point": ".", "comma": ",", None: None}[args.decimal],
        "unit": args.unit,
        "ceiling_kv": False if args.no_ceiling else args.ceiling,
        "layout": args.layout,
        "day_first": {"day-first": True, "month-first": False, None: None}[args.dates],
        "where": where or None,
        "since": args.since,
        "until": args.until,
    }


def _recipes(paths: Sequence[str]) -> str | list[str] | None:
    """The recipes' own texts, which a saved study keeps; InputError where a file is none."""
    if not paths:
        return None
    from methods.records import Recipe

    texts = [Recipe.of(path).to_toml() for path in paths]
    return texts[0] if len(texts) == 1 else texts


def files(args: argparse.Namespace) -> list[str]:
    """The files that the command line names."""
    return args.file if isinstance(args.file, list) else [args.file]


def open_records(args: argparse.Namespace) -> Any:
    """Read what the command line names; :func:`emit` then says on standard error what was refused."""
    from methods.cage import read_all_in_cage

    with progress("Reading") as tell:
        records = read_all_in_cage(files(args), progress=tell, **reading_arguments(args))
    note_reading(args, records)
    return records


def note_reading(args: argparse.Namespace, records: Any) -> None:
    """Remember what the reader did that bears on every number, for :func:`emit` to say."""
    problems = records.to_dict()["problems"]
    refused = sum(p["refused"] for p in problems)
    args.refused, said = [], []
    if refused:
        what = "1 value was refused and takes" if refused == 1 else f"{refused} values were refused and take"
        args.refused = [f"{what} no part; 'gapshift check' says which and why"]
    if any(p["code"] == "twice" for p in problems):
        said.append("some values stand in the file twice and count twice; 'gapshift check' says which")
    if any(p["code"] == "unusual" for p in problems):
        said.append("some values lie outside the usual range and are used as they stand; 'gapshift check' says which")
    said += [
        f"guessed: {g.guess} ({g.option} overrules it)"
        for g in records.guesses.itertuples() if g.code == "ceiling"
    ]  # fmt: skip
    said += [
        f"taken as one oil: {g.guess} ({g.evidence}; {g.option})"
        for g in records.guesses.itertuples() if g.code == "same_sample"
    ]  # fmt: skip
    args.said = said


def add_judging(parser: argparse.ArgumentParser) -> None:
    """What a verdict needs besides its limit: the same of every command that judges; see :func:`judging`."""
    parser.add_argument("--limit-stage", metavar="TEXT", help="the stage that a limit in kV is for: in service")
    parser.add_argument(
        "--limit-equipment", metavar="TEXT", help="the equipment that a limit in kV is for: up to 69 kV"
    )
    parser.add_argument("--stage", metavar="TEXT", help="the stage of these oils: a limit for another is refused")
    parser.add_argument("--equipment", metavar="TEXT", help="the class of their equipment: likewise")
    parser.add_argument("--rule", default="simple", help="simple (mean), guarded (lower limit of the mean) or every")
    parser.add_argument("--risk", type=probability, default=0.05, metavar="5%", help="risk for the guard band")
    parser.add_argument("--between-sd", type=kilovolts, metavar="KV", help="scatter between fillings, from history")
    parser.add_argument(
        "--instrument", type=kilovolts, default=0.0, metavar="KV", help="standard uncertainty of voltmeter and gap"
    )


def judging(args: argparse.Namespace) -> dict[str, Any]:
    """What :func:`add_judging` read, as keywords of :func:`methods.planning.decide_all`."""
    return {
        "limit_stage": args.limit_stage, "limit_equipment": args.limit_equipment, "stage": args.stage,
        "equipment": args.equipment, "rule": args.rule, "risk": args.risk, "between_sd": args.between_sd,
        "instrument_kv": args.instrument,
    }  # fmt: skip


def add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")


def emit(args: argparse.Namespace, result: Any, text: str) -> None:
    """Print the result: as JSON when asked, otherwise the readable text.

    What the reader refused bears on it, which a line on standard error says: nothing is dropped silently. So do values
    that it found twice and ceilings that it guessed, said beside the readable text. ``check`` lists all of it itself.
    """
    if args.command != "check":
        if _asks(result):
            print(f"gapshift: {ASKED}", file=sys.stderr)
        for line in [*getattr(args, "refused", ()), *([] if args.json else getattr(args, "said", ()))]:
            print(harmless(f"gapshift: {line}"), file=sys.stderr)
    if args.json:
        said = json.dumps(as_json(result), ensure_ascii=False, allow_nan=False)
        print(_STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", said))
    else:
        print(harmless(text))


#: The question of a file whose method does not say what a result is, with the options that answer it.
ASKED = (
    "what is one reported result? No method says it for some rows: the mean of one filling is taken. Answer with "
    "--result 1 (that it is), --result 5 (the mean of five fillings), or name the method in the file."
)


def _asks(result: Any) -> bool:
    """Whether any of the answers was counted with an assumed result."""
    if isinstance(result, dict):
        return any(_asks(v) if k != "cautions" else _assumed(v) for k, v in result.items())
    if isinstance(result, (list, tuple)):
        return any(_asks(v) for v in result)
    return _assumed(getattr(result, "cautions", ())) or any(
        _assumed(getattr(d, "cautions", ())) for d in getattr(result, "decisions", ())
    )


def _assumed(cautions: Any) -> bool:
    codes = [c.get("code") if isinstance(c, dict) else getattr(c, "code", "") for c in cautions or ()]
    return "result_assumed" in codes


#: What steers a terminal or turns the direction of writing: control characters but tab and line end, bidirectional
#: marks, and halves of characters that no terminal can show.
_STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def harmless(text: str) -> str:
    """A text of which nothing steers the terminal, whatever stands in the file: such characters become a mark."""
    return _STEERING.sub("\N{REPLACEMENT CHARACTER}", text)


def columns(rows: Sequence[Sequence[Any]], heads: Sequence[str], digits: int = 4) -> str:
    """Lay rows out in aligned columns; numbers to ``digits`` significant figures, what is missing as a dash."""

    def show(value: Any) -> str:
        if value is None or (isinstance(value, float) and value != value):
            return "–"
        if isinstance(value, float):
            return f"{value:.{digits}g}"
        return str(value)

    cells = [[show(v) for v in row] for row in rows]
    widths = [max(len(h), *(len(r[i]) for r in cells)) if cells else len(h) for i, h in enumerate(heads)]
    numeric = [all(isinstance(row[i], (int, float)) or row[i] is None for row in rows) for i in range(len(heads))]

    def line(parts: Sequence[str]) -> str:
        return "  ".join(
            p.rjust(w) if right else p.ljust(w) for p, w, right in zip(parts, widths, numeric, strict=True)
        ).rstrip()

    return "\n".join([line(list(heads)), line(["-" * w for w in widths]), *(line(r) for r in cells)])


def told(results: Sequence[Any]) -> list[str]:
    """The answers of results as text; a caution that an earlier one has is not said again."""
    from methods.answers import answer

    out, said = [], set()
    for made in map(answer, results):
        new = [c for c in made.cautions if c not in said]
        said |= set(new)
        out.append(made.with_cautions(new).text())
    return out


def grouped(result: Any) -> str:
    """The answer of a result as text, and below it those of its groups; a group that has none says why."""
    from methods.answers import answer

    out = [answer(result).text()]
    for group in result.groups or []:
        refused = isinstance(group, dict)
        label = group["group"] if refused else group.group
        out += ["", f"== {', '.join(f'{k} {level_text(v)}' for k, v in label.items())}"]
        out.append(group["error"] if refused else grouped(group))
    return "\n".join(out)

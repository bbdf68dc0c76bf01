"""The proof of a shift's limits: ``python -m tests.calibration.shift_limits [--long] [--seed N] [--out [FILE]]``.

Uneven benches as they stand in laboratories: oils that scatter differently, few and unequal fillings, a shift that
differs by oil, one filling of a level, heavy tails. Judged more strictly than the large table: a share is *poor* where
the claim lies above the simulation's own limits, by whatever amount.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np

from methods import plan
from methods.shifts.compare import LIKE_THESE, compare
from methods.shifts.mixed_shifts import mixed_levels
from tests.calibration.registry import Claim, Found, Outcomes, Study, count, inside, now, repeat
from tests.calibration.running import add_update, counted_when, each, jobs_of, kept_rows, put
from tests.calibration.shift_designs import SHIFT_KV, Bench, Design, draw

RESULTS = Path(__file__).with_name("SHIFTS.md")
SEED = 20250101
BETWEEN = (0.0, 1 / 3, 1.0, 2.0)

HEAD = """\
# Calibration of the limits of a shift

Invented benches of known truth; limits at 95 %. Two levels, a mean of 50 kV that varies by 8 kV from oil to oil, a
shift of -5 kV, an SD of 5 kV within fillings of five breakdowns and sf/sw times as much between them, unless a line
says otherwise. *Oils like these*: the limits hold the average shift of all oils; *these oils*: that of those drawn.
In brackets: 95 % limits of the share found (Clopper and Pearson). Marks:

- **holds**: the claim lies within the limits of the share, or the share above it by no more than 2 points.
- **wider**: the share is above the claim by more than 2 points; the limits are on the safe side.
- **poor**: the claim lies above the limits of the share, by whatever amount.

*Counted*: the hour (UTC), so of the code of that hour. Seed {seed};
`python -m tests.calibration.shift_limits --long --out` runs all again, `--update --only TEXT` some lines, keeping the
others.
"""

#: What a poor or surprising line means for whoever reads the number.
ADVICE = {
    "borrowed": "One filling against several: the limits hold if it scatters as those that lend their scatter; the "
    "caution one_filling says whose they are, and a second filling ends the borrowing.",
    "mixed": "The mixed model takes each level's scatter to be the same on every oil, as its method line says; where "
    "oils scatter differently the default, filling means, holds.",
    "level": "Welch's limits, widened where few fillings ask for it, hold to half a point at the worst ratio of SDs.",
}


def state(found: Found) -> str:
    """``holds``, ``wider`` or ``poor``; for a promise the claim is the power that a plan tells."""
    low, high = found.limits()
    claim = found.claim.nominal
    if high < claim:
        return "poor"
    return "wider" if low > claim + 0.02 else "holds"


def filling_means(b: Bench) -> dict[str, float]:
    c = compare(b.lay, 1, 0)
    if c.difference is None or not np.isfinite(c.difference.standard_error):
        return {}
    these = c.these or c.difference
    low, high = c.difference.limits(0.95)
    out = {"these": inside(these.limits(0.95)[0], b.these_kv, these.limits(0.95)[1])}
    ratio = c.difference.ratio_limits(0.95)
    if c.holds_for == LIKE_THESE:
        out["like"] = inside(low, SHIFT_KV, high)
        out["percent"] = inside(ratio[0], b.ratio, ratio[1])
    else:
        out["percent"] = inside(ratio[0], b.these_ratio, ratio[1])
    return out  # type: ignore[return-value]


def mixed_model(b: Bench) -> dict[str, float]:
    fit = mixed_levels(b.lay, 0, (), log=False, confidence=0.95)
    (v,), (t,) = fit.levels, fit.these or fit.levels
    assert v.difference is not None and t.difference is not None
    out = {"these": inside(t.difference.low, b.these_kv, t.difference.high)}
    if fit.holds_for == LIKE_THESE:
        out["like"] = inside(v.difference.low, SHIFT_KV, v.difference.high)
        out["percent"] = inside(v.low_ratio, b.ratio, v.high_ratio)
    else:
        out["percent"] = inside(v.low_ratio, b.these_ratio, v.high_ratio)
    return out  # type: ignore[return-value]


def _run(repetitions: int, rng: np.random.Generator, *, design: Design, mixed: bool, keys: Sequence[str]) -> Outcomes:
    look = mixed_model if mixed else filling_means
    return repeat(repetitions, lambda: look(draw(rng, design)), keys)


def _studies_of(name: str, data: str, text: str, design: Design, *, mixed: bool = False) -> list[Study]:
    keys = {"like": "shift in kV, oils like these", "these": "shift in kV, these oils", "percent": "shift in per cent"}
    used = [k for k in keys if k != "like" or design.oils >= 3]
    out = []
    for between in BETWEEN:
        own = Design(**{**vars(design), "between": between})
        ratio = f"sf/sw = {between:.2g}"
        out.append(
            Study(
                f"{name} {between:.2g}{' mixed' if mixed else ''}", "mixed model" if mixed else "filling means",
                f"{data}; {ratio}" if data else ratio, text, tuple(Claim(k, keys[k]) for k in used),
                partial(_run, design=own, mixed=mixed, keys=used), (40, 1000),
            )
        )  # fmt: skip
    return out


def power_of(repetitions: int, rng: np.random.Generator, *, k: int, n: int, between: float, share: float) -> Outcomes:
    """A planned study carried out and judged by the limits of the shift itself."""
    design = Design([(k, k)], breakdowns=n, within=0.15 * 50, between=between / 0.15, oils_kv=0.0)

    def one() -> dict[str, float | bool]:
        b = draw(rng, design)
        kv = np.where(b.lay.level == 1, b.lay.kv - SHIFT_KV - share * 50, b.lay.kv)
        d = compare(type(b.lay)(**{**vars(b.lay), "kv": kv}), 1, 0).difference
        assert d is not None
        low, high = d.limits(0.95)
        return {"power": low > 0 or high < 0}

    return repeat(repetitions, one, ["power"])


def _plans() -> list[Study]:
    out = []
    for between in (0.0, 0.05, 0.15, 0.30):
        for share, options in ((0.25, {"fillings": 3, "breakdowns_per_filling": 5}), (0.25, {})):
            asked = {**options, "breakdowns_per_filling": options.get("breakdowns_per_filling", 5)}
            made = plan.difference(cov=0.15, difference=share, between_cov=between, **asked)
            k, n = made.fillings_per_condition, made.breakdowns_per_filling
            told = f"{100 * share:.0f} % to be found, CoV 15 % within, {100 * between:.0f} % between"
            if any(s.data == told and s.design == f"2 × {k} fillings of {n}" for s in out):
                continue
            claim = Claim("power", "power that the plan tells", "promise", made.power)
            out.append(
                Study(f"plan {between} {k}", "difference plan", told, f"2 × {k} fillings of {n}", (claim,),
                      partial(power_of, k=k, n=n, between=between, share=share), (100, 2000))
            )  # fmt: skip
    return out


def studies() -> list[Study]:
    """Every study of the limits of a shift and of the difference plan."""

    def alike(*k: int) -> list[tuple[int, int]]:
        return [(n, n) for n in k]

    uneven = {"sd": (3, 4, 6), "within": 1.0}
    cases = [
        ("three oils", "SDs of the oils as 3:4:6", "3 oils, 2 fillings each", Design(alike(2, 2, 2), **uneven)),
        ("6 6 2", "SDs of the oils as 3:4:6", "3 oils, 6, 6 and 2 fillings", Design(alike(6, 6, 2), **uneven)),
        ("4 3 1", "", "3 oils, 4, 3 and 1 fillings", Design(alike(4, 3, 1))),
        ("wild", "one oil with 4 times the SD", "4 oils, 2 fillings each", Design(alike(2, 2, 2, 2), sd=(1, 1, 1, 4))),
        ("wild 3", "one oil with 5 times the SD", "3 oils, 3 fillings each", Design(alike(3, 3, 3), sd=(1, 1, 5))),
        ("wild 8", "one oil with 5 times the SD", "8 oils, 2 fillings each", Design(alike(*[2] * 8), sd=[1] * 7 + [5])),
        ("interaction", "shift differs by oil, SD 5 kV", "3 oils, 2 fillings each",
         Design(alike(2, 2, 2), interaction=5)),
        ("interaction 8", "shift differs by oil, SD 5 kV", "8 oils, 2 fillings each",
         Design(alike(*[2] * 8), interaction=5)),
        ("single", "", "5 oils, 1 filling each", Design(alike(*[1] * 5))),
        ("single interaction", "shift differs by oil, SD 5 kV", "5 oils, 1 filling each",
         Design(alike(*[1] * 5), interaction=5)),
        ("levels", "SD of one level twice the other's", "3 oils, 3 against 2 fillings", Design([(3, 2)] * 3, level=2)),
        ("two oils", "SDs of the oils as 1:3", "2 oils, 2 fillings each", Design(alike(2, 2), sd=(1, 3))),
        ("two oils single", "", "2 oils, 3 and 1 fillings", Design(alike(3, 1))),
        ("one 2 2", "", "1 oil, 2 and 2 fillings", Design(alike(2))),
        ("one 3 3", "SD of one level twice the other's", "1 oil, 3 and 3 fillings", Design(alike(3), level=2)),
        ("one 5 5", "SD of one level twice the other's", "1 oil, 5 and 5 fillings", Design(alike(5), level=2)),
        ("one 5 2", "SD of the two twice that of the five", "1 oil, 5 and 2 fillings", Design([(5, 2)], level=2)),
        ("one 5 2 alike", "", "1 oil, 5 and 2 fillings", Design([(5, 2)])),
        ("one numbers", "", "1 oil, 4 and 3 fillings of 3 and 8", Design([(4, 3)], breakdowns=(3, 8))),
        ("borrowed", "", "1 oil, 4 fillings against 1", Design([(4, 1)])),
        ("tails", "contaminated", "1 oil, 3 and 3 fillings", Design(alike(3), law="contaminated")),
        ("tails 3", "contaminated", "3 oils, 2 fillings each", Design(alike(2, 2, 2), law="contaminated")),
    ]  # fmt: skip
    mixed = ("three oils", "6 6 2", "interaction", "one 3 3", "one 5 2", "one numbers")
    out = [s for name, data, text, d in cases for s in _studies_of(name, data, text, d)]
    out += [s for name, data, text, d in cases if name in mixed for s in _studies_of(name, data, text, d, mixed=True)]
    return out + _plans()


def row_of(study: Study, f: Found) -> str:
    """One row of the table, counted now."""
    low, high = f.limits()
    return (
        f"| {f.claim.what} | {study.data} | {study.design} | {100 * f.claim.nominal:.3g} % | {100 * f.share:.1f} % "
        f"({100 * low:.1f} to {100 * high:.1f}) | {f.given} | {state(f)} | {now()} |"
    )


def keys_of(study: Study) -> list[tuple[str, ...]]:
    """What tells the rows of a study from the others."""
    return [
        (_heading(study.area), c.what, study.data, study.design, f"{100 * c.nominal:.3g} %") for c in study.claims
    ]  # fmt: skip


def _heading(area: str) -> str:
    return area[0].upper() + area[1:]


def render(chosen: Sequence[Study], rows: Sequence[Sequence[str]], seed: int) -> str:
    """The published table; ``rows`` are those of each study."""
    marks = {area: Counter[str]() for area in dict.fromkeys(s.area for s in chosen)}
    for s, own in zip(chosen, rows, strict=True):
        marks[s.area].update(row.split("|")[-3].strip() for row in own)
    text = [HEAD.format(seed=seed)]
    for area, found in marks.items():
        told = ", ".join(f"{found[m]} {m}" for m in ("holds", "wider", "poor"))
        text.append(f"- {area}: {sum(found.values())} lines: {told}.")
    areas = [s.area for s, own in zip(chosen, rows, strict=True) for _ in own]
    text += ["", counted_when([row for own in rows for row in own], areas)]
    for area in marks:
        text += ["", f"## {_heading(area)}", "",
                 "| what | data | design | claim | found | repetitions | mark | counted |"]  # fmt: skip
        text.append("| --- | --- | --- | --- | --- | --- | --- | --- |")
        text += [row for s, own in zip(chosen, rows, strict=True) if s.area == area for row in own]
    text += ["", "What the limits hang on:", "", *(f"- {a}" for a in ADVICE.values()), ""]
    return "\n".join(text)


def _counted(name: str, long: bool, seed: int) -> list[Found]:
    study = next(s for s in studies() if f"{s.area} {s.name}" == name)
    return count(study, study.repetitions[1 if long else 0], seed)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print or write the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--long", action="store_true", help="the repetitions of the published table")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", default="", help="studies whose name or area holds this text")
    add_update(parser)
    parser.add_argument("--jobs", type=jobs_of, default=1)
    parser.add_argument("--out", nargs="?", const=str(RESULTS), help="write to a file (SHIFTS.md unless named)")
    given = parser.parse_args(arguments)
    meant = [s for s in studies() if given.only in f"{s.area} {s.name}"]
    chosen = meant if given.update is None else studies()
    old = kept_rows(RESULTS, given.update)
    again = {(s.area, s.name) for s in meant} if given.update is None or given.only else set()
    anew = [s for s in chosen if (s.area, s.name) in again or not all(k in old for k in keys_of(s))]
    names = [f"{s.area} {s.name}" for s in anew]
    work = partial(_counted, long=given.long, seed=given.seed)
    counts = dict(zip(names, each(work, names, given.jobs), strict=True))
    rows = [
        [row_of(s, f) for f in counts[name] if f.given] if name in counts else [old[k] for k in keys_of(s)]
        for s in chosen
        for name in [f"{s.area} {s.name}"]
    ]
    put(render(chosen, rows, given.seed), given.out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""Run the calibration studies: ``python -m tests.calibration.table [--long] [--update] [--seed N] [--out [FILE]]``.

``--long`` runs the published number of repetitions; without it half of them, and the table is printed.
Without ``--out`` nothing is written.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from tests.calibration.catalogue import studies  # noqa: E402
from tests.calibration.known import known, told  # noqa: E402
from tests.calibration.registry import WORDS, Claim, Found, Study, count, now  # noqa: E402
from tests.calibration.running import add_update, counted_when, each, jobs_of, kept_rows, put  # noqa: E402

#: Areas whose lines are defaults of the package: no claim there may fall short.
DEFAULTS = (
    "One oil under one procedure",
    "Shift between two conditions",
    "Plans for a mean and a difference",
    "Verdicts, next steps, uncertainty budgets",
    "Plans carried out, judged by the analysis",
)
RESULTS = Path(__file__).with_name("RESULTS.md")
SEED = 20250101

HEAD = """\
# Calibration: what the intervals, tests and plans deliver

Invented benches of known truth were drawn again and again, each time the package was asked, and the answers were
counted. An interval of 95 % should hold the truth in 95 of 100 cases, a test at 5 % should reject a true hypothesis in
5 of 100, a plan should deliver what it promises. Unless a line says otherwise a bench has a mean of 50 kV, an SD of
7.5 kV within fillings and of 2.5 kV between them; *contaminated* scatter is normal with 5 % of the values three times
as wide, fillings and breakdowns alike. The benches are invented; the claims are those of the package's documentation.

In brackets: 95 % limits of the share found, for its number of repetitions (Clopper and Pearson). Marks:

- **holds**: the share lies within 2 points of the claim (3 points for the promise of a plan).
- **close**: it does not, but by no more than the simulation's own error; more repetitions would tell.
- **a little ...**: it does, but the claim lies outside the simulation's limits on the unsafe side, by whatever amount
  (of lines that hold exactly, one in forty does by chance).
- **conservative**, **better than promised**: on the safe side; limits wider, tests more reluctant than claimed.
- **too narrow**, **rejects too often**, **falls short**: on the unsafe side; a sentence under the table of the area
  says what to do then.

*None* counts the repetitions in which the package gave no answer and said so, *counted* is when: of the code of that
hour. Seed {seed}; the repetitions are in each line: quick studies have many, slow ones few.
`python -m tests.calibration.table --long` runs all again, without `--long` with half of the repetitions, and
`--update --only TEXT` some lines, keeping the others.
"""


def repetitions_of(study: Study, long: bool) -> int:
    """How often the table runs a study."""
    fast, full = study.repetitions
    return full if long else max(fast, full // 2)


def _measure(name: str, long: bool, seed: int) -> list[Found]:
    study = next(s for s in studies() if s.name == name)
    return count(study, repetitions_of(study, long), seed)


def measure(chosen: Sequence[Study], *, long: bool, seed: int, jobs: int = 1) -> list[list[Found]]:
    """Run studies, one list of counts a study."""
    work = partial(_measure, long=long, seed=seed)
    names = [s.name for s in chosen]
    return each(work, names, jobs)


def percent(share: float, low: float, high: float) -> str:
    return f"{100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def line(study: Study, found: Found, when: str = "") -> str:
    """One row of the table; ``when`` it was counted, now unless said."""
    claim = found.claim
    cells = [claim.what, study.data, study.design, f"{100 * claim.nominal:.3g} %"]
    if found.given:
        cells += [percent(found.share, *found.limits()), f"{found.given}", str(found.missing or "")]
        cells.append(found.word)
    else:
        cells += ["no answer in any repetition", "0", str(found.missing), "no answer"]
    cells.append(when or now())
    return "| " + " | ".join(cells) + " |"


def key_of(study: Study, claim: Claim) -> tuple[str, ...]:
    """What tells a line from the others."""
    return claim.what, study.data, study.design, f"{100 * claim.nominal:.3g} %"


def poor(row: str) -> bool:
    """Whether a row of the table is marked short of its claim, by whatever amount."""
    return any(word in row.split("|")[-3] for word in (WORDS[k, "poor"] for k in ("interval", "test", "promise")))


def render(chosen: Sequence[Study], lines: Sequence[Sequence[str]], seed: int) -> str:
    """The whole document; ``lines`` are the rows of each study."""
    marks = Counter(row.split("|")[-3].strip() for rows in lines for row in rows)
    text = [HEAD.format(seed=seed)]
    text.append(f"{sum(marks.values())} lines: " + ", ".join(f"{n} *{m}*" for m, n in marks.most_common()) + ".\n")
    areas = [s.area for s, rows in zip(chosen, lines, strict=True) for _ in rows]
    text.append(counted_when([row for rows in lines for row in rows], areas) + "\n")
    short = [
        (c, s, row)
        for s, rows in zip(chosen, lines, strict=True)
        for c, row in zip(s.claims, rows, strict=True)
        if s.area in DEFAULTS and poor(row)
    ]
    named = [told(s.name, c.key) for c, s, _ in short]
    text.append(
        f"Defaults of fit, shift, decide and plans ({'; '.join(DEFAULTS)}): {len(short)} lines short of their claim by "
        f"whatever amount, {sum(named)} of them in circumstances that are told at the number or under their table"
        f"{':' if short else '.'}\n"
    )
    text += [
        f"- {c.what} ({s.data}; {s.design}): {row.split('|')[5].strip()}" + (", told" if known_ else "")
        for (c, s, row), known_ in zip(short, named, strict=True)
    ]
    text += [""] if short else []
    for area in dict.fromkeys(s.area for s in chosen):
        text += [f"## {area}\n", "| what | data | design | claim | found | repetitions | none | mark | counted |"]
        text.append("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
        advice: dict[str, None] = {}
        for study, rows in zip(chosen, lines, strict=True):
            if study.area != area:
                continue
            for claim, row in zip(study.claims, rows, strict=True):
                text.append(row)
                note = known(study.name, claim.key)
                if note is not None and note.advice:
                    advice[note.advice] = None
        text.append("")
        if advice:
            text += ["What to do where it does not hold:\n", *(f"- {a}" for a in advice), ""]
    return "\n".join(text)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print or write the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--long", action="store_true", help="the repetitions of the published table")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", default="", help="studies whose name holds this text")
    add_update(parser)
    parser.add_argument("--area", default="", help="studies whose area holds this text")
    parser.add_argument("--jobs", type=jobs_of, default=1)
    parser.add_argument("--out", nargs="?", const=str(RESULTS), help="write to a file (RESULTS.md unless named)")
    given = parser.parse_args(arguments)
    update = given.update is not None
    chosen = [s for s in studies() if update or given.only in s.name and given.area in s.area]
    old = {key[1:]: row for key, row in kept_rows(RESULTS, given.update).items()}
    anew = [
        s for s in chosen
        if not all(key_of(s, c) in old for c in s.claims) or bool(given.only) and given.only in s.name
    ]  # fmt: skip
    counts = dict(zip((s.name for s in anew), measure(anew, long=given.long, seed=given.seed, jobs=given.jobs),
                      strict=True))  # fmt: skip
    lines = [
        [line(s, f) for f in counts[s.name]] if s.name in counts else [old[key_of(s, c)] for c in s.claims]
        for s in chosen
    ]  # fmt: skip
    text = render(chosen, lines, given.seed)
    put(text, given.out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

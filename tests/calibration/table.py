"""Run the calibration studies: ``python -m tests.calibration.table [--long] [--seed N] [--out [FILE]]``.

``--long`` runs the published number of repetitions; without it half of them, and the table is printed.
Without ``--out`` nothing is written.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from tests.calibration.catalogue import studies  # noqa: E402
from tests.calibration.known import known  # noqa: E402
from tests.calibration.registry import Found, Study, count  # noqa: E402

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
- **conservative**, **better than promised**: on the safe side; limits wider, tests more reluctant than claimed.
- **too narrow**, **rejects too often**, **falls short**: on the unsafe side; a sentence under the table of the area
  says what to do then.

*None* counts the repetitions in which the package gave no answer and said so. Seed {seed}; the repetitions are in each
line: quick studies have many, slow ones few. `python -m tests.calibration.table --long` runs all again, and
without `--long` half of the repetitions.
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
    if jobs == 1:
        return [work(n) for n in names]
    with ProcessPoolExecutor(jobs, mp_context=get_context("fork")) as pool:
        return list(pool.map(work, names))


def percent(share: float, low: float, high: float) -> str:
    return f"{100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def line(study: Study, found: Found) -> str:
    """One row of the table."""
    claim = found.claim
    cells = [claim.what, study.data, study.design, f"{100 * claim.nominal:.3g} %"]
    if found.given:
        cells += [percent(found.share, *found.limits()), f"{found.given}", str(found.missing or "")]
        cells.append(found.word)
    else:
        cells += ["no answer in any repetition", "0", str(found.missing), "no answer"]
    return "| " + " | ".join(cells) + " |"


def render(chosen: Sequence[Study], counts: Sequence[Sequence[Found]], seed: int) -> str:
    """The whole document."""
    marks = Counter(f.state for rows in counts for f in rows if f.given)
    text = [HEAD.format(seed=seed)]
    text.append(
        f"{sum(marks.values())} lines: {marks['holds']} hold, {marks['close']} are close, {marks['conservative']} are "
        f"conservative, {marks['poor']} are poor.\n"
    )
    for area in dict.fromkeys(s.area for s in chosen):
        text += [f"## {area}\n", "| what | data | design | claim | found | repetitions | none | mark |"]
        text.append("| --- | --- | --- | --- | --- | --- | --- | --- |")
        advice: dict[str, None] = {}
        for study, rows in zip(chosen, counts, strict=True):
            if study.area != area:
                continue
            for found in rows:
                text.append(line(study, found))
                note = known(study.name, found.claim.key)
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
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", nargs="?", const=str(RESULTS), help="write to a file (RESULTS.md unless named)")
    given = parser.parse_args(arguments)
    chosen = [s for s in studies() if given.only in s.name]
    text = render(chosen, measure(chosen, long=given.long, seed=given.seed, jobs=given.jobs), given.seed)
    if given.out:
        Path(given.out).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""How far may results of one laboratory and of several differ, and which laboratory stands out?"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table, rows_of
from methods.answers.writing import number, plural
from methods.interlab.compare import PrecisionRatio
from methods.interlab.experiment import Precision
from methods.interlab.patterns import patterns
from methods.result import Caution

QUESTION = "precision"
#: What counted as one result -> two of them in a sentence.
RESULTS = {"result": "reported results", "filling": "filling means", "breakdown": "single breakdowns"}
#: Tests of a round in words.
TESTS = {
    "cochran": "Cochran", "grubbs_high": "Grubbs, highest mean", "grubbs_low": "Grubbs, lowest mean",
    "grubbs_two_high": "Grubbs, two highest means", "grubbs_two_low": "Grubbs, two lowest means",
}  # fmt: skip
_LEVEL = (
    "level", "laboratories", "n", "mean", "s_r", "s_r_low", "s_r_high", "s_L", "s_L_low", "s_L_high", "s_R", "s_R_low",
    "s_R_high", "r", "r_percent", "R", "R_percent", "error",
)  # fmt: skip
_ROBUST = ("level", "robust_mean", "mean_uncertainty", "robust_s_r", "robust_s_R", "r", "R")
_RELATIONS = ("kind", "reads", "a", "b", "aic", "lack_of_fit_p", "chosen")
_RATIO = (
    "level", "kind", "first", "second", "ratio", "low", "high", "p_value", "ratio_of_cov", "cov_low", "cov_high",
    "laboratories",
)  # fmt: skip
_SCORES = ("level", "laboratory", "mean", "assigned", "sigma", "z", "score", "verdict")
_CELLS = ("level", "laboratory", "n", "mean", "sd", "cov_percent", "h", "k")


def precision(found: Precision) -> Answer:
    """r and R in a sentence; the levels, what stands out, relation, robust figures, scores and cells."""
    levels = rows_of(found.levels, _LEVEL)
    if levels["error"].isna().all():
        levels = levels.drop(columns="error")
    note = f"r and R are {found.limit_factor:g} times s_r and s_R; limits at {100 * found.confidence:g} % confidence."
    tables = [_table("precision", "Precision of each level", levels, note)]
    if len(found.flags):
        flags = found.flags.assign(test=[TESTS.get(t, t) for t in found.flags["test"]])
        tables.append(_table("flags", "Standing out: flagged, kept", flags))
    if found.exclusions:
        tables.append(_table("left_out", "Cells left out", rows_of(found.exclusions)))
    if len(found.published):
        tables.append(_table("published", "What the standards publish of their own precision", found.published))
    if len(found.robust):
        robust = found.robust.rename(columns={"s_r": "robust_s_r", "s_R": "robust_s_R", "mean": "robust_mean"})
        tables.append(_table("robust", "The same, robust against outlying laboratories", robust[list(_ROBUST)]))
    if len(found.relations):
        tables.append(_table("relations", "Relation to the level", found.relations[list(_RELATIONS)]))
    if len(found.cells):
        tables.append(by_laboratory(found))
    told = patterns(found.cells)
    if len(told) > 1:
        tables.append(_table("patterns", "What each laboratory does at all levels", told))
    if len(found.scores):
        tables.append(_table("scores", "z-scores of the laboratories", found.scores[list(_SCORES)]))
    cells = found.cells.assign(cov_percent=100 * found.cells["sd"] / found.cells["mean"])
    tables.append(_table("cells", "Every cell", cells[list(_CELLS)]))
    drawn = ("spreads", "mandel_h", "mandel_k")
    return Answer(QUESTION, (_said(found),), tuple(_cautions(found)), tuple(tables), drawn, found)


def by_laboratory(found: Precision) -> Table:
    """Laboratory by level: mean and SD of each cell, with a mark where h or k is beyond its critical value."""
    levels = {lv.level: lv for lv in found.levels}
    rows: dict[str, dict[str, str]] = {}
    for cell in found.cells.to_dict("records"):
        at = levels.get(cell["level"])
        spread = f" ({_spread(cell['sd'], cell['mean'])})" if cell["sd"] == cell["sd"] else ""
        marks = _mark("h", cell["h"], at.h_critical) + _mark("k", cell["k"], at.k_critical) if at else ""
        rows.setdefault(str(cell["laboratory"]), {})[str(cell["level"])] = f"{number(cell['mean'])}{spread}{marks}"
    columns = [str(v) for v in dict.fromkeys(found.cells["level"])]
    told = [{"laboratory": lab, **cells} for lab, cells in rows.items()]
    frame = pd.DataFrame(told, columns=["laboratory", *columns])
    turned = len(columns) > len(rows)  # the longer side goes down the page
    if turned:
        frame = frame.set_index("laboratory").T.rename_axis("level").reset_index().rename_axis(columns=None)
    own = {str(c): (str(c), "Mean and SD of the results, kV.") for c in frame.columns[1:]}
    note = (
        "Mean and, in brackets, SD of the results of each cell, kV. Behind them h or k where Mandel's statistic is "
        "beyond its critical value at 5 % (*) or 1 % (**)."
    )
    return Table("by_laboratory", "Laboratory by level", frame, note, {**OWN[QUESTION], **own})


def _spread(sd: float, mean: float) -> str:
    """An SD to three digits, and to no more places than one beyond those of its mean."""
    text = number(sd)
    places = len(number(mean).partition(".")[2]) + 1
    return text if len(text.partition(".")[2]) <= places else f"{sd:.{places}f}"


def _mark(letter: str, value: float, critical: dict[str, float]) -> str:
    for share, stars in (("0.01", "**"), ("0.05", "*")):
        if share in critical and abs(value) > critical[share]:
            return f" {letter}{stars}"
    return ""


def ratio(found: PrecisionRatio) -> Answer:
    """Which of two methods is the more precise; ratios over all oils and oil by oil, the relation of each."""
    tables = []
    if found.overall:
        tables.append(_table("precision_ratio", "Ratio over all oils", rows_of(found.overall, _RATIO[1:])))
    tables.append(_table("precision_ratios", "Ratio oil by oil", rows_of(found.ratios, _RATIO)))
    both = [
        p.relations[p.relations["chosen"].astype(bool)].assign(procedure=name)[["procedure", *_RELATIONS[:-1]]]
        for name, p in ((found.first, found.first_precision), (found.second, found.second_precision))
        if len(p.relations)
    ]
    if both:
        tables.append(_table("relations", "Relation to the level, of each", pd.concat(both, ignore_index=True)))
    return Answer(QUESTION, (found.sentence,), found.cautions, tuple(tables), (), found)


def relation_words(found: Precision) -> list[str]:
    """Which simple form describes each spread against the level."""
    if not len(found.relations):
        return []
    told = []
    chosen = found.relations[found.relations["chosen"].astype(bool)]
    for row in chosen.to_dict("records"):
        values = ", ".join(f"{n} = {number(row[n])}" for n in ("a", "b") if row[n] == row[n])
        told.append(f"{row['kind']} is best described by {row['reads']} ({values})")
    return told


def _said(found: Precision) -> str:
    levels = [lv for lv in found.levels if not lv.error]
    what = RESULTS.get(found.result, "results")
    r = f"{_range([lv.r for lv in levels])} kV ({_range([lv.r_percent for lv in levels])} %)"
    big = [lv for lv in levels if lv.R == lv.R]
    if not big:
        return f"In one laboratory, two {what} of the same oil differ by less than {r} in 19 of 20 cases."
    laboratories = max(lv.laboratories for lv in big)
    far = f"{_range([lv.R for lv in big])} kV ({_range([lv.R_percent for lv in big])} %)"
    return (
        f"Two {what} of the same oil differ by less than {r} in one laboratory and by less than {far} between "
        f"laboratories, in 19 of 20 cases; {plural(laboratories, 'laboratory', 'laboratories')}, "
        f"{plural(len(levels), 'level')}."
    )


def _cautions(found: Precision) -> list[Caution]:
    made = list(found.cautions)
    if len(found.flags):
        rows = [f"{f.laboratories} at {f.level} ({TESTS.get(str(f.test), f.test)}, {f.verdict})"
                for f in found.flags.itertuples()]  # fmt: skip
        made.append(Caution("flags", f"Standing out, and kept in every figure: {'; '.join(rows)}."))
    if found.exclusions:
        rows = [f"{e.laboratory} at {e.level} ({e.reason})" for e in found.exclusions]
        made.append(Caution("excluded", f"Left out on your word: {'; '.join(rows)}."))
    return made


def _range(values: Sequence[float]) -> str:
    low, high = number(min(values), 2), number(max(values), 2)
    return low if low == high else f"{low} to {high}"


def _table(name: str, title: str, frame: pd.DataFrame, note: str = "") -> Table:
    return Table(name, title, frame, note, OWN[QUESTION])

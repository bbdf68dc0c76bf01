"""What of a report stands in front: the first page that answers, and the sections cut to what is read first.

The whole sections, with every table and picture, are the appendix, which is printed on request; the workbook has
them always. Nothing is computed here, and every number is a cell of the section that it comes from.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from dashboard import words
from dashboard.levels import level_text
from dashboard.report.asked import Asked
from dashboard.report.document import LONGEST, Section, Table

#: Section -> table -> the columns that stand in front (none named: all of them). Sections not named are appendix only.
TABLES: dict[str, dict[str, tuple[str, ...]]] = {
    "read": {
        "sources": ("file", "rows_read", "refused", "sha256"), "exclusions": (), "filters": (), "problems": (),
        "guesses": ("what", "guess", "option", "file"),
    },
    "shift": {
        "shift": ("level", "fillings", "breakdowns", "mean_kv", "difference_percent", "low_percent", "high_percent",
                  "p_value"),
    },
    "scatter": {"means": ("*", "mean_kv", "low_kv", "high_kv", "breakdowns", "effective_breakdowns")},
    "plan": {
        "plan": ("*", "scatter", "fillings", "breakdowns_per_filling", "half_width_percent",
                 "half_width_known_percent", "bench_minutes"),
    },
    "decision": {
        "decision_verdicts": ("case", "verdict", "mean_kv", "expanded_uncertainty_kv", "probability_above",
                              "wrong_verdict_probability", "breakdowns", "withstood", "fillings"),
    },
    "precision": {
        "precision": ("level", "laboratories", "mean", "s_r", "s_R", "r", "R", "r_percent", "R_percent"),
        "flags": (), "left_out": (), "by_laboratory": (), "relations": ("kind", "reads", "a", "b", "lack_of_fit_p"),
    },
    "pair": {
        "precision_ratio": ("kind", "first", "second", "ratio", "low", "high", "p_value"), "limits": (),
        "discrimination": ("method", "oils", "results", "discrimination", "discrimination_low", "discrimination_high",
                           "per_hour"),
    },
}  # fmt: skip
#: What a reader must know of the tests where it is the same for all of them.
HELD = {
    "method": "{}", "edition": "edition {}", "electrode": "{} electrodes", "gap_mm": "gap {} mm",
    "stirring": "stirring {}", "rise_kv_s": "{} kV/s", "fluid": "{}", "laboratory": "laboratory {}",
}  # fmt: skip
#: Rows of a front table; one that is longer goes to the appendix whole, and the section says so.
MOST_ROWS = 24
#: Bars of a front picture of scatter.
MOST_BARS = 12
#: Sentences of a section: where there are more, its table says the same.
MOST_SENTENCES = 3
#: The two plans of a pilot, as their table calls them.
PILOT, SURE = "as the pilot stands", "to be sure"
#: Laboratories from which records are a round.
ROUND = 4


def is_round(asked: Asked) -> bool:
    """Whether the records are a round: laboratories are what is compared, or several tested everything."""
    return asked.by == "laboratory" and len(asked.levels()) >= ROUND


def cut(section: Section, of_round: bool = False) -> Section | None:
    """The section as it stands in front; None where it is appendix only: in a round also the laboratories' means over
    oils that differ, and their scatter, which precision says oil by oil."""
    wanted = TABLES.get(section.key)
    if wanted is None or (of_round and section.key == "scatter" and not section.refusal):
        return None
    if section.refusal:
        return replace(section, notices=(), tables=(), pictures=())
    tables, longer = [], []
    for table in section.tables:
        if table.name not in wanted:
            continue
        if len(table.frame) > MOST_ROWS:
            longer.append(table.title)
            continue
        frame = table.frame[table.frame["chosen"]] if "chosen" in table.frame.columns else table.frame
        tables.append(replace(table, frame=_columns(frame, wanted[table.name])))
    said = section.sentences if len(section.sentences) <= MOST_SENTENCES or not tables else ()
    if longer:
        said = (*said, f"In the appendix, because of their length: {words.listed(longer)}.")
    crowded = any(t.name == "components" and len(t.frame) > MOST_BARS for t in section.tables)
    pictures = () if crowded else section.pictures
    return replace(section, sentences=said, notices=(), tables=tuple(tables), pictures=pictures)


def _columns(frame: pd.DataFrame, wanted: Sequence[str]) -> pd.DataFrame:
    """The wanted columns that there are; ``*`` stands for the factor, which comes first."""
    if not wanted:
        return frame
    names = [frame.columns[0] if name == "*" else name for name in wanted]
    kept = [name for name in dict.fromkeys(names) if name in frame.columns]
    kept = [name for name in kept if frame[name].notna().any()]
    return frame[kept] if kept else frame


def front(asked: Asked, sections: Sequence[Section]) -> Section:
    """The first page: what was asked, answered in a paragraph, one picture and one table."""
    by = {s.key: s for s in sections}
    for key in ("precision", "shift") if is_round(asked) else ("shift", "precision"):
        section = by.get(key)
        if section is not None and not section.refusal and section.tables:
            break
    else:
        return _single(by)
    said = _round(section) if key == "precision" else _comparison(asked, section, by)
    if is_round(asked) and "pair" in by and not by["pair"].refusal:
        said += by["pair"].sentences[:1]
    said += [s for k in ("decision",) if k in by for s in by[k].short]
    said += _held(asked)
    said += [" ".join(by["read"].sentences)] if "read" in by else []
    short = cut(section) or section
    tables = (answer_table(asked, by),) if key == "shift" else short.tables[:1]
    return Section("answer", "The answer", tuple(said), pictures=section.pictures[:1], tables=tables)


def _single(by: dict[str, Section]) -> Section:
    """Where nothing is compared: mean, scatter and plan of what there is."""
    said = [s for key in ("decision", "scatter", "plan", "read") if key in by for s in by[key].sentences[:3]]
    said += [by["shift"].refusal] if "shift" in by and by["shift"].refusal else []
    source = next((by[k] for k in ("scatter", "distributions") if k in by and by[k].pictures), None)
    pictures = source.pictures[:1] if source else ()
    tables = next((t.tables[:1] for k in ("scatter",) if k in by and (t := cut(by[k])) and t.tables), ())
    return Section("answer", "The answer", tuple(said), pictures=pictures, tables=tables)


def _comparison(asked: Asked, section: Section, by: dict[str, Section]) -> list[str]:
    """Which procedure, where several were tested on the same oils; the shifts in one sentence; how many it takes."""
    return [*_which(asked, section, by.get("choose")), *_how_many(asked, by.get("plan"))]


def _how_many(asked: Asked, plan: Section | None) -> list[str]:
    """The fewest and the most fillings of the plans, as the pilot stands and to be sure."""
    table = None if plan is None else next((t.frame for t in plan.tables if t.name == "plan"), None)
    if table is None:
        return []
    ranges = []
    for scatter in (PILOT, SURE):
        found = table.loc[table["scatter"] == scatter, "fillings"]
        ranges.append("" if not len(found) else words.listed(dict.fromkeys([str(found.min()), str(found.max())])))
    here, sure = (r.replace(" and ", " to ") for r in ranges)
    tail = f", and {sure} to be 80 % sure that it is enough" if sure else ""
    many = "" if len(table) < 3 else f", by {words.factor(asked.by)}"
    return [
        f"A mean within ± {100 * asked.half_width:g} % takes {here} fillings as these readings scatter{tail}{many}."
    ]


def answer_table(asked: Asked, by: dict[str, Section]) -> Table:
    """A line a level, from the tables behind it: how likely it is the best, how far apart, how many it takes."""
    frames = {t.name: t.frame for key in ("shift", "choose", "plan") if key in by for t in by[key].tables}
    shifts = frames["shift"].set_index("level")
    reference = [level for level in asked.levels() if level not in shifts.index]
    rows = [{asked.by: f"{v} (reference)" if v in reference else v, "level": v} for v in [*reference, *shifts.index]]
    table = pd.DataFrame(rows)
    notes = [
        f"{n}." for t in by["shift"].tables if t.name == "shift" for n in [t.note.partition(". Means")[0].rstrip(".")]
    ]
    if "choose" in frames:
        best = frames["choose"].set_index("procedure")["probability_best"]
        table["probability_best"] = table["level"].map(best)
        table = table.sort_values("probability_best", ascending=False, kind="stable", ignore_index=True)
        notes.insert(0, "Best with: the probability to be the best.")
    for column in ("difference_percent", "low_percent", "high_percent", "p_value"):
        table[column] = table["level"].map(shifts[column])
    heads = {"probability_best": "Best with"}
    wide = f"{100 * asked.half_width:g} %"
    if "plan" in frames and asked.by in frames["plan"]:
        sure, pilot = (frames["plan"].loc[frames["plan"]["scatter"] == s].set_index(asked.by) for s in (SURE, PILOT))
        table["pilot_fillings"] = table["level"].map(pilot["fillings"])
        for column in ("fillings", "breakdowns_per_filling", "bench_minutes"):
            if column in sure:  # without a method nobody knows the minutes
                table[column] = table["level"].map(sure[column])
        heads |= {
            "pilot_fillings": "Fillings", "fillings": "80 % sure", "breakdowns_per_filling": "Each of",
        }  # fmt: skip
        notes.append(
            f"Fillings for a mean within ± {wide}: as these readings scatter, and to be 80 % sure that they are "
            f"enough, of so many breakdowns each{'; bench minutes of the latter' if 'bench_minutes' in table else ''}."
        )
    table = table.drop(columns="level")
    whole = [c for c in ("pilot_fillings", "fillings", "breakdowns_per_filling") if c in table]
    table[whole] = table[whole].apply(pd.to_numeric).astype("Int64")
    title = "Which, how far apart, how many" if "choose" in frames else "How far apart, how many"
    return Table("answer", title, table.dropna(axis=1, how="all"), " ".join(notes), heads)


def _which(asked: Asked, section: Section, choice: Section | None) -> list[str]:
    """Which procedure, where several were tested on the same oils; then the shifts in one sentence."""
    said = []
    if choice is not None:
        said = [f"Which procedure is best cannot be said: {choice.refusal}"] if choice.refusal else [*choice.sentences]
    if len(section.sentences) <= MOST_SENTENCES:
        return [*said, *section.sentences]
    table = next(t.frame for t in section.tables if t.name == "shift")
    told = table.dropna(subset=["low_percent", "high_percent"])
    apart = told[(told["low_percent"] > 0) | (told["high_percent"] < 0)]
    reference = [level for level in asked.levels() if level not in set(table["level"])]
    if len(told):
        said.append(
            f"{len(apart)} of {words.plural(len(told), words.factor(asked.by), 'others')} read apart from "
            f"{words.listed(reference)}, each by its own limits; the shifts lie between "
            f"{words.signed(told['difference_percent'].min())} and {words.signed(told['difference_percent'].max())} %."
        )
    return said


def _round(section: Section) -> list[str]:
    """Repeatability and reproducibility over the levels."""
    table = next(t.frame for t in section.tables if t.name == "precision")

    def between(column: str) -> str:
        low, high = words.number(table[column].min()), words.number(table[column].max())
        return low if low == high else f"{low} to {high}"

    return [
        f"Two results of one laboratory differ by less than r = {between('r')} kV ({between('r_percent')} % of the "
        f"mean), two of different laboratories by less than R = {between('R')} kV ({between('R_percent')} %), 19 times "
        f"in 20; {words.plural(len(table), 'level')}, {between('laboratories')} laboratories. "
        + " ".join(section.short)
    ]


def _held(asked: Asked) -> list[str]:
    """How everything was tested alike: the columns of the condition that say one thing throughout."""
    table = asked.table
    alike = [c for c in HELD if table[c].nunique() == 1 and table[c].notna().all()]
    told = [HELD[c].format(level_text(table[c].iloc[0])) for c in alike]
    return [f"Alike throughout: {', '.join(told)}."] if told else []


def cautions(sections: Sequence[Section]) -> tuple[str, ...]:
    """Every caution of the sections once, the gravest in front, in their order."""
    return tuple(dict.fromkeys(n for s in sections for n in s.notices))


def shortened(caution: str) -> str:
    """A caution cut to its first sentence where it is long: all of it stands among the cautions."""
    if len(caution) <= LONGEST:
        return caution
    return re.split(r"(?<=[.!?]) (?=[A-Z0-9])", caution)[0]


def paragraphs(title: str, first: Section, kept: Sequence[str]) -> str:
    """Two paragraphs of plain text to paste in a message: the answer, and what bears on it."""
    answer = " ".join(first.sentences)
    told = " ".join(shortened(k) for k in kept[:3])
    rest = f" {words.plural(len(kept) - 3, 'more caution')} in the report." if len(kept) > 3 else ""
    bears = f"{told}{rest}" if kept else "No caution bears on it."
    return f"{title}. {answer}\n\nTo keep in mind: {bears}"


__all__ = ["Table", "cautions", "cut", "front", "is_round", "paragraphs"]

"""The sections that describe the readings: what was read, distributions, scatter, order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from dashboard import theme, words
from dashboard.plots import overlay
from dashboard.plots import scatter as scatter_plots
from dashboard.plots.curves import gather as gather_curves
from dashboard.plots.layers import Drawing
from dashboard.plots.readings import told
from dashboard.report import figures
from dashboard.report.asked import Asked, answered, filled, parts, together
from dashboard.report.document import Picture, Section, Table
from methods.answers import answer, stacked
from methods.records.one_name import said as one_name_said
from methods.result import Caution
from methods.scatter.order_curve import trend_line

#: The family whose curve is drawn thin over the steps.
DRAWN_FAMILY = "weibull"
#: Rows that a picture of components has room for.
MOST_BARS = 12
#: Groups up to which each is told in a sentence.
MOST_SENTENCES = 12


def reading(asked: Asked) -> Section:
    """What was read from the files, refused and guessed, and what was left out."""
    study = asked.study
    sources: list[dict[str, Any]] = []
    problems: list[Any] = []
    guesses: list[Any] = []
    for file in study.files:
        r = file.records
        source = getattr(r, "source", None)
        sources.append(
            {
                "file": file.name, "sha256": file.sha256, "sheet": getattr(source, "sheet", None),
                "encoding": getattr(source, "encoding", None), "delimiter": getattr(source, "delimiter", None),
                "layout": getattr(source, "layout", None), "rows_read": getattr(r, "rows_read", len(r.table)),
                "refused": getattr(r, "refused", 0),
            }
        )  # fmt: skip
        for name, into in (("problems", problems), ("guesses", guesses)):
            found = getattr(r, name, None)
            if found is not None and len(found):
                into.append(found.assign(file=file.name) if len(study.files) > 1 else found)
    stood = int((asked.table["outcome"] == "withstood").sum())
    refused = sum(s["refused"] for s in sources)
    hidden = len(study.everything) - len(asked.table)
    said = [
        f"{words.plural(len(asked.table) - stood, 'breakdown')}"
        f"{' and ' + words.plural(stood, 'withstand') if stood else ', no withstand,'} of "
        f"{words.listed(s['file'] for s in sources)} enter this report."
    ]
    said.append(
        f"{words.plural(refused, 'reading')} refused; each is listed with the reason."
        if refused
        else "No reading was refused."
    )
    if hidden:
        said.append(f"{words.plural(hidden, 'reading')} left out by filters or exclusions; the lists below say which.")
    fingerprint = filled(pd.DataFrame(sources))
    tables = [Table("sources", "Files, by which this report can be checked", fingerprint)]
    if study.exclusions:
        left = [{"left_out": ", ".join(f"{k} {v}" for k, v in x.where.items()), "reason": x.reason}
                for x in study.exclusions]  # fmt: skip
        tables.append(Table("exclusions", "Left out on purpose", pd.DataFrame(left)))
    if study.filters:
        kept = [{"column": c, "kept": ", ".join(v)} for c, v in study.filters.items()]
        tables.append(Table("filters", "Filters", pd.DataFrame(kept), "Only these levels enter the report."))
    if problems:
        tables.append(Table("problems", "Refused or noticed", pd.concat(problems, ignore_index=True)))
    if guesses:
        note = "What the file does not say outright. If a guess is wrong, read the file again with the option named."
        tables.append(Table("guesses", "Guessed", pd.concat(guesses, ignore_index=True), note))
    notices = tuple(r for r in (*study.remarks, one_name_said(study.one_name)) if r)
    return Section("read", "What was read", tuple(said), notices=notices, tables=tuple(tables))


def distributions(asked: Asked) -> Section:
    """Step curves with fitted curves, and the table of fits."""
    empty = Section("distributions", "Distributions")
    return answered(empty, lambda: _distributions(asked))


def _distributions(asked: Asked) -> Section:
    from methods.scatter import fit_groups

    by = [asked.by] if asked.by else []
    mixed = asked.by != "sample" and asked.table["sample"].nunique() > 1  # no family describes oils mixed
    looks, curves = asked.looks(), gather_curves(asked.table, by, "none" if mixed else DRAWN_FAMILY, asked.confidence)
    sure = f"Thin: fitted Weibull curve, with its limits at {100 * asked.confidence:g} % confidence."
    last = "The oils are mixed here; families are fitted oil by oil." if mixed else sure
    pictures = []
    for at in range(0, len(curves), theme.MOST_LEVELS):
        some = curves[at : at + theme.MOST_LEVELS]
        said = told(asked.table, asked.study.places, overlay.rows_of(some))
        drawing = Drawing([overlay.steps(some, lambda c: looks[c.label], said)])
        pictures.append(
            Picture(
                "Share of readings at or below each voltage", figures.drawn(drawing, f"overlay{at}", 460),
                f"Step curves of {words.listed(c.label for c in some)}, a dot below for each reading; an asterisk "
                "marks a ceiling that was withstood"
                + ("." if mixed else "; the thin curve is the fitted Weibull one, with its limits."),
                f"{last} Dots: single readings. Asterisk: a ceiling withstood.",
            )
        )  # fmt: skip
    fits = fit_groups(asked.data, [*by, "sample"] if mixed else by, confidence=asked.confidence)
    made = answer(fits)
    notices = list(together(made.cautions))
    notices += list(dict.fromkeys(f"{words.cell('family', f['family'])}: {f['error']}" for f in fits if "error" in f))
    if all("error" in f for f in fits):
        return Section("distributions", "Distributions", pictures=tuple(pictures), notices=tuple(notices),
                       refusal="No distribution can be fitted to these readings; the reasons stand below.")  # fmt: skip
    tables = tuple(Table.of(t) for t in made.tables)
    sentences: tuple[str, ...] = made.sentences
    if len(sentences) > MOST_SENTENCES:
        sentences = (f"The families fitted to each of {len(sentences)} groups, best first, stand in the tables.",)
    return Section("distributions", "Distributions", sentences, notices=tuple(notices), pictures=tuple(pictures),
                   tables=tables)  # fmt: skip


def scatter(asked: Asked) -> Section:
    """How the scatter divides among laboratory, sample, filling and breakdown, for each level."""
    return answered(Section("scatter", "Scatter"), lambda: _scatter(asked))


def _scatter(asked: Asked) -> Section:
    from methods.errors import InputError
    from methods.scatter import components

    said, rows, means, bars = [], [], [], []
    kept: list[Caution] = []
    refusals = []
    for level, data in parts(asked):
        try:
            found = components(data, confidence=asked.confidence)
        except InputError as error:
            refusals.append(f"{level}: {error}")
            continue
        head = {asked.by: level} if asked.by else {}
        table = answer(found).table("components").frame
        rows.append(table.assign(**head)[[*head, *table.columns]])
        means.append(
            {**head, "mean_kv": found.mean_kv, "standard_error_kv": found.standard_error_kv, "low_kv": found.low_kv,
             "high_kv": found.high_kv, "df": found.df, "breakdowns": found.breakdowns, "withstood": found.withstood,
             "effective_breakdowns": found.effective_breakdowns, "estimated_by": found.method, "limits": found.limits}
        )  # fmt: skip
        said.append(
            f"{level[:1].upper() + level[1:]}: mean {words.number(found.mean_kv)} kV ({words.number(found.low_kv)} to "
            f"{words.number(found.high_kv)} kV); {words.number(found.breakdowns)} breakdowns know it as well as "
            f"{words.number(found.effective_breakdowns, 2)} independent ones would."
        )
        kept += found.cautions
        bars.append(scatter_plots.component_rows(found, before=f"{level}: " if asked.by else ""))
    notices = [*together(kept), *refusals]
    if not rows:
        return Section("scatter", "Scatter", refusal=" ".join(refusals))
    worth = (
        "Limits of the mean are for oils like these, which differ far more than fillings do. Worth: as many "
        "independent breakdowns would know the mean as well."
    )
    pictures = tuple(
        Picture(
            "Components of scatter",
            figures.drawn(scatter_plots.components(some), f"components{at}", scatter_plots.height(len(some))),
            "Standard deviation of each component of scatter with its confidence limits, kV.",
            f"Each line: limits at {100 * asked.confidence:g} % confidence; an arrow: farther than drawn.",
        )
        for at, some in enumerate(_packed(bars))
    )
    tables = (
        Table("components", "Sources of scatter", pd.concat(rows, ignore_index=True)),
        Table("means", "Mean over all oils, and what its breakdowns are worth", pd.DataFrame(means), worth),
    )  # fmt: skip
    return Section("scatter", "Scatter", tuple(said), notices=tuple(notices), pictures=pictures, tables=tables)


def _packed(groups: Sequence[list[Any]]) -> list[list[Any]]:
    """Rows of several levels in as few pictures as have room for them; a level is not divided."""
    out: list[list[Any]] = []
    for rows in groups:
        if out and len(out[-1]) + len(rows) <= MOST_BARS:
            out[-1] += rows
        else:
            out.append(list(rows))
    return [rows for rows in out if rows]


def order(asked: Asked) -> Section:
    """Whether the place in the filling matters."""
    return answered(Section("order", "Order within fillings"), lambda: _order(asked))


def _order(asked: Asked) -> Section:
    from methods.scatter import order_effects

    found = [(level, order_effects(data, confidence=asked.confidence)) for level, data in parts(asked)]
    made = [(level, answer(one)) for level, one in found]
    notices = together(w for _, one in made for w in one.cautions)
    tables = tuple(Table.of(t) for t in stacked([({asked.by: level} if asked.by else {}, one) for level, one in made]))
    if not tables:
        return Section("order", "Order within fillings", notices=notices, refusal=made[0][1].sentence)
    drawn = [(level, one) for level, one in found if len(one.positions)]
    pictures = tuple(
        Picture("Where in the filling it reads higher or lower", _positions(some, f"order{at}", len(drawn) > 1),
                "Mean deviation from the filling's mean at each place, with one standard error each way, and the "
                "pooled trend with its limits.",
                "Bars: one standard error each way. Shaded: limits of the pooled trend.")
        for at in range(0, len(drawn), theme.MOST_LEVELS) for some in [drawn[at : at + theme.MOST_LEVELS]]
    )  # fmt: skip
    said = tuple(f"{level[:1].upper() + level[1:]}: {t}" for level, one in made if one.tables for t in one.sentences)
    return Section("order", "Order within fillings", said, notices=notices, pictures=pictures, tables=tables)


def _positions(found: Sequence[tuple[str, Any]], key: str, titled: bool) -> figures.Inline:
    """The plot of the page for each level, side by side."""
    plots = [scatter_plots.order(one.positions, trend_line(one), dark=False).plots[0] for _, one in found]
    if titled:
        plots = [replace(p, title=level) for p, (level, _) in zip(plots, found, strict=True)]
    return figures.drawn(Drawing(plots), key, 380)

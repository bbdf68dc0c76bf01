"""The plot that shows at one glance how results move between electrodes, gaps and stirring."""

from __future__ import annotations

from typing import Any

import numpy as np

from dashboard import theme, words
from dashboard.plots.figure import Figure
from methods.columns import SETTING


def columns_of(study: Any) -> list[str]:
    """What makes a procedure here: electrode, gap and stirring, or where they are all the same the compared factor."""
    table = study.table
    told = [c for c in SETTING if c in table.columns and table[c].notna().any()]
    if told and len(table[told].drop_duplicates()) > 1:
        return told
    return [study.by] if study.by in table.columns else told


def prepared(page: Any) -> Any:
    """The clusters and what is told of each reading, kept by the records."""
    study = page.study
    columns = page.kept("procedures of the glance", lambda: columns_of(study), study.by)

    def compute() -> Any:
        from dashboard.plots.glance import shown_rows
        from dashboard.plots.readings import told
        from methods.scatter.clusters import clusters

        found = clusters(study.selection, columns)
        return found, told(study.table, study.places, shown_rows(found))

    found, said = page.kept("glance", compute, columns)
    return found.at(study.confidence), said


def figure(page: Any) -> Figure:
    """The plot as one of a page's."""

    def draw(_result: Any) -> Any:
        from dashboard.plots.glance import glance

        found, said = prepared(page)
        cues = theme.cues([str(o) for o in found.oils], page.dark)
        return glance(found, said, lambda oil: cues[oil], page.dark)

    def describe(_result: Any) -> str:
        from dashboard.plots.glance import MOST_GROUPS, MOST_OILS, shown_fillings

        found, said = prepared(page)
        oils, groups = len(found.oils), len(found.groups)
        text = (
            f"{words.plural(oils, 'oil')} through {words.plural(groups, 'procedure')}: a line joins the means of one "
            "oil, a dash is the mean of a filling, a dot a reading, a star a withstand."
        )
        if oils > MOST_OILS or groups > MOST_GROUPS:
            text += f" Shown: the first {min(oils, MOST_OILS)} oils and {min(groups, MOST_GROUPS)} procedures."
        inside = int(np.sum((found.rows["oil"] < MOST_OILS) & (found.rows["group"] < MOST_GROUPS)))
        if len(said.at) < inside:
            text += f" {words.number(len(said.at))} of {words.number(inside)} readings are drawn, evenly chosen."
        fillings = len(shown_fillings(found))
        if fillings < (held := int(found.filling_means["mean_kv"].notna().sum())):
            text += f" {words.number(fillings)} of {words.number(held)} fillings have their dash."
        lost = int((found.means["mean_kv"].isna()).sum())
        return text + (f" {words.plural(lost, 'mean')} not drawn: a ceiling is no value." if lost else "")

    return Figure("At one glance: electrode, gap and stirring", draw, describe, height=430)

"""What a report is asked for, and small things that its sections share."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import pandas as pd

from dashboard import theme
from dashboard.report.document import Section
from dashboard.study import Study
from methods.errors import InputError
from methods.result import as_json


@dataclass(frozen=True)
class Asked:
    """The study and the questions. ``limit`` is kV or the key of a limit document's entry, as text; of a limit in kV
    ``limit_method`` and ``limit_liquid`` say what it is for, and ``poor_below`` (kV) makes grades of it; ``judging``
    are further keywords of :func:`methods.planning.decide_all` with their values: stage and equipment, of the limit
    and of these oils, rule and what is known of the bench. With ``appendix`` every table and picture is printed."""

    study: Study
    title: str = ""
    limit: str = ""
    limit_method: str = ""
    half_width: float = 0.10
    seed: int = 0
    appendix: bool = False
    limit_liquid: str = ""
    poor_below: float | None = None
    judging: tuple[tuple[str, Any], ...] = ()

    @property
    def data(self) -> Any:
        """The readings that filters and exclusions leave, as the functions of ``methods`` take them."""
        return self.study.selection

    @property
    def table(self) -> pd.DataFrame:
        return self.study.table

    @property
    def by(self) -> str:
        return self.study.by

    @property
    def confidence(self) -> float:
        return float(self.study.confidence)

    def levels(self) -> tuple[str, ...]:
        """The levels of the factor that the filters left, as text."""
        return self.study.present(self.by) if self.by else ()

    def looks(self) -> dict[str, theme.Cue]:
        """Level -> its look, the same as on the pages; one for everything where nothing is compared."""
        return theme.cues(self.study.levels(self.by)) if self.by else theme.cues(["all readings"])


def parts(asked: Asked) -> Iterable[tuple[str, Any]]:
    """Each level of the factor with its readings; everything at once where there is no factor."""
    from dashboard.levels import texts
    from dashboard.study import Selection

    if not asked.by:
        yield "all readings", asked.data
        return
    written = texts(asked.table[asked.by])
    for level in asked.levels():
        yield level, Selection(asked.table[(written == level).to_numpy()].reset_index(drop=True))


def answered(section: Section, make: Callable[[], Section]) -> Section:
    """Make a section; where the data cannot answer, it says why in words."""
    try:
        return make()
    except InputError as error:
        return replace(section, refusal=str(error))


def frame(results: Iterable[Any], columns: Sequence[str] | None = None) -> pd.DataFrame:
    """A table of results, a row each; only the columns asked for, or those that hold single values."""
    rows = []
    for result in results:
        names = [f.name for f in fields(result)] if is_dataclass(result) else list(result)
        take = (lambda n, r=result: getattr(r, n)) if is_dataclass(result) else (lambda n, r=result: r.get(n))
        rows.append({n: take(n) for n in (columns or names)})
    out = pd.DataFrame(rows, columns=list(columns) if columns else None)
    if columns is None:
        out = out[[c for c in out.columns if not out[c].map(lambda v: isinstance(v, (list, dict, tuple))).any()]]
    return out


def texts_of(cautions: Iterable[Any]) -> tuple[str, ...]:
    """The words of cautions, each once."""
    return tuple(dict.fromkeys(str(w.text if hasattr(w, "text") else w["text"]) for w in cautions))


#: Cautions of one kind from which they are told together.
SEVERAL = 3


def together(cautions: Iterable[Any]) -> tuple[str, ...]:
    """The words of cautions, each once. Of several of one kind, what they share comes once, after what differs."""
    by: dict[str, list[str]] = {}
    for caution in cautions:
        texts = by.setdefault(caution.code, [])
        if caution.text not in texts:
            texts.append(caution.text)
    by = {code: under_one_head(texts) for code, texts in by.items()}
    said: list[str] = []
    for texts in by.values():
        if len(texts) < SEVERAL:
            said += texts
            continue
        parts_of = [re.split(r"(?<=[.!?]) (?=[A-Z0-9])", text) for text in texts]
        shared = [p for p in parts_of[0] if all(p in other for other in parts_of[1:])]
        own = [" ".join(p for p in one if p not in shared) for one in parts_of]
        said.append(" ".join([*(o for o in own if o), *shared]))
    return tuple(dict.fromkeys(said))


def under_one_head(texts: Sequence[str]) -> list[str]:
    """Of texts such as ``A: so it is`` and ``B: so it is`` one, ``A; B: so it is``."""
    heads: dict[str, list[str]] = {}
    for text in texts:
        head, colon, rest = text.partition(": ")
        heads.setdefault(rest if colon else text, []).append(head if colon else "")
    return [f"{_joined(names)}: {rest}" if any(names) else rest for rest, names in heads.items()]


def _joined(names: Sequence[str]) -> str:
    """Heads in a row; what all end on ("... against the reference") comes once."""
    if len(names) < 2:
        return names[0]
    ends = {name.partition(" against ")[2] for name in names}
    if len(ends) == 1 and "" not in ends:
        return f"{'; '.join(name.partition(' against ')[0] for name in names)} against {ends.pop()}"
    return "; ".join(names)


def filled(table: pd.DataFrame) -> pd.DataFrame:
    """Without the columns that hold nothing."""
    return table[[c for c in table.columns if bool(table[c].notna().any())]]


def plain(value: Any) -> Any:
    """A cell that text and workbook can write."""
    value = as_json(value)
    if isinstance(value, dict):
        return ", ".join(f"{k} {plain(v)}" for k, v in value.items())
    if isinstance(value, list):
        return ", ".join(str(plain(v)) for v in value)
    return value

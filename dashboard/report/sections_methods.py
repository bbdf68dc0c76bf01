"""Where there are two methods: which is the more precise, how far they agree, which tells oils apart."""

from __future__ import annotations

from typing import Any

from dashboard import words
from dashboard.report.asked import Asked, texts_of
from dashboard.report.document import Section, Table
from methods.answers import answer
from methods.errors import InputError

TITLE = "Two methods on the same oils"


def pair_of(asked: Asked) -> tuple[str, str, str] | None:
    """What separates two methods, and the two; None where there are not just two."""
    from methods.procedures import PROCEDURE, name_procedures

    if asked.by and asked.by != "laboratory":
        levels = asked.levels()
        if len(levels) != 2:
            return None
        reference = asked.study.reference
        first = reference if reference in levels else levels[0]
        return asked.by, first, next(v for v in levels if v != first)
    names = name_procedures(asked.table).names
    return (PROCEDURE, names[0], names[1]) if len(names) == 2 else None


def two_methods(asked: Asked) -> Section | None:
    """Precision compared, agreement and discrimination of the two; nothing where there are not just two, or where no
    oil was tested by both."""
    pair = pair_of(asked)
    if pair is None:
        return None
    by, first, second = pair
    said: list[str] = []
    notices: list[str] = []
    tables: list[Table] = []
    refused: list[str] = []
    for ask in (_precision, _agreement, _discrimination):
        try:
            found = ask(asked, by, first, second)
        except InputError as error:
            refused.append(str(error))
            continue
        if found is None:
            continue
        made = answer(found)
        said += made.sentences
        notices += texts_of(made.cautions)
        tables += [Table.of(t) for t in made.tables]
    if not said:
        return None if not refused else Section("pair", TITLE, refusal=" ".join(dict.fromkeys(refused)))
    named = f"{first} and {second}, told apart by the {words.factor(by)}."
    return Section("pair", TITLE, tuple(said), notices=tuple(dict.fromkeys([*notices, *refused])),
                   tables=tuple(tables), short=(*said[:1], named))  # fmt: skip


def _precision(asked: Asked, by: str, first: str, second: str) -> Any:
    from methods.interlab import compare_precision

    if asked.table["laboratory"].nunique() < 2:
        return None  # of one laboratory the scatter is compared among the shifts
    return compare_precision(asked.data, by=by, first=first, second=second, confidence=asked.confidence)


def _agreement(asked: Asked, by: str, first: str, second: str) -> Any:
    from methods.agreement.agreement import compare_methods

    return compare_methods(asked.data, by=by, first=first, second=second, confidence=asked.confidence)


def _discrimination(asked: Asked, by: str, first: str, second: str) -> Any:
    from methods.agreement.sensitivity import discrimination
    from methods.procedures import minutes_of, with_factor

    table, name = with_factor(asked.table, by)
    return discrimination(table, by=name, minutes=minutes_of(table, name), confidence=asked.confidence)

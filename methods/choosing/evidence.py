"""What the records say of each procedure on the oils that all of them tested: filling means and their scatter."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.columns import PLACE
from methods.errors import NotEstimable
from methods.procedures import PROCEDURE, with_factor
from methods.procedures.naming import NOT_GIVEN
from methods.records.one_name import key_of
from methods.records.table import as_table, filling_codes, withstood
from methods.result import Caution
from methods.wording import list_words

LABORATORY = PLACE[0]


@dataclass(frozen=True)
class Evidence:
    """The fillings of every procedure on every common oil.

    ``table`` holds the rows compared, with the column ``procedure``; ``methods`` the method that each procedure
    names (empty: none or several). ``scatter_oils`` are the common oils on which no filling was withstood; for
    each procedure and each of these, ``means[p][o]`` are the filling means in kV, ``squares[p][o]`` the sums of
    squares about them and ``counts[p][o]`` the numbers of breakdowns, one entry a filling.
    """

    table: pd.DataFrame
    procedures: list[str]
    methods: list[str]
    oils: list[str]
    scatter_oils: list[str]
    means: list[list[np.ndarray]]
    squares: list[list[np.ndarray]]
    counts: list[list[np.ndarray]]
    withstood_share: list[float]
    fillings: list[int]
    named: bool
    cautions: tuple[Caution, ...]


def common_rows(data: object, only: Sequence[str] = ()) -> Evidence:
    """Take the rows of the oils (and the laboratories) that every procedure has.

    Parameters
    ----------
    data : Records or DataFrame
    only : sequence of str
        The procedures to compare, by name; by default all.

    Raises
    ------
    NotEstimable
        Fewer than two procedures, or no oil that all tested.
    """
    table, _ = with_factor(as_table(data), PROCEDURE)
    if only:
        table = table[table[PROCEDURE].isin(list(only))].reset_index(drop=True)
    names = list(dict.fromkeys(table[PROCEDURE].dropna()))
    if len(names) < 2:
        said = bool(names) and names[0] != NOT_GIVEN
        found = f"only {names[0]}" if said else "no method, electrode, gap or stirring is given"
        raise NotEstimable(
            f"There are no two procedures to choose between: {found}. Open the file of another method beside this one, "
            "or one in which electrode, gap, stirring or method differ.",
            lacks="procedures",
        )
    notes: list[Caution] = []
    table = _same_laboratories(table, names, notes)
    named = bool(table["sample"].notna().any())
    if named:
        names = names if only else _that_share_oils(table, names, notes)
        table = _same_oils(table[table[PROCEDURE].isin(names)], names, notes)
    if not named:
        notes.append(
            Caution("sample_unknown", "The file names no samples: all tests count as of one and the same oil.")
        )
    return _evidence(table, names, named, notes)


def gather_each(data: object, only: Sequence[str] = ()) -> list[Evidence] | None:
    """Every procedure by itself, on the oils that it tested, where no oil was tested by all; None where one was.

    Scatter can be planned with from that; nothing is compared by it.
    """
    table, _ = with_factor(as_table(data), PROCEDURE)
    names = [n for n in dict.fromkeys(table[PROCEDURE].dropna()) if not only or n in only]
    tested = table[table[PROCEDURE].isin(names)].groupby("sample")[PROCEDURE].nunique()
    if len(names) < 2 or not len(tested) or int(tested.max()) == len(names):
        return None
    known = table[table["sample"].notna()]
    return [_evidence(known[known[PROCEDURE] == n].reset_index(drop=True), [n], True, []) for n in names]


def _evidence(table: pd.DataFrame, names: list[str], named: bool, notes: list[Caution]) -> Evidence:
    """The fillings of these rows, whose oils every procedure has."""
    oils = list(dict.fromkeys(table["sample"].fillna("")))
    codes, stood = filling_codes(table, by=(PROCEDURE,)), withstood(table)
    frame = pd.DataFrame(
        {
            "p": table[PROCEDURE].to_numpy(), "o": table["sample"].fillna("").to_numpy(), "f": codes,
            "kv": table["kv"].to_numpy(dtype=float), "stood": stood,
        }
    )  # fmt: skip
    shares = frame.groupby("p")["stood"].mean()
    topped = set(frame.loc[frame["stood"], "o"])
    scatter_oils = [o for o in oils if o not in topped]
    if topped and scatter_oils:
        notes.append(
            Caution(
                "withstood",
                f"On {list_words(sorted(topped))} some tests were withstood: these oils count for mean and shift (as "
                "'at least the ceiling') but not for scatter, time and telling oils apart.",
            )
        )
    if not scatter_oils:
        raise NotEstimable(
            "Every common oil has withstood tests, so the scatter of no procedure can be compared; test weaker oils, "
            "or at a smaller gap."
        )
    groups = frame.groupby(["p", "o", "f"], sort=False)["kv"]
    cell = groups.agg(["mean", "size"]).assign(ss=groups.var(ddof=0) * groups.size()).reset_index()
    parts = {key: part for key, part in cell.groupby(["p", "o"], sort=False)}
    pick = [[parts[(p, o)] for o in scatter_oils] for p in names]
    methods = [_one_method(table.loc[table[PROCEDURE] == p, "method"]) for p in names]
    return Evidence(
        table, names, methods, oils,
        scatter_oils,
        [[c["mean"].to_numpy() for c in row] for row in pick], [[c["ss"].to_numpy() for c in row] for row in pick],
        [[c["size"].to_numpy() for c in row] for row in pick], [float(shares[p]) for p in names],
        [int(frame.loc[frame["p"] == p, "f"].nunique()) for p in names], named, tuple(notes),
    )  # fmt: skip


def _one_method(column: pd.Series) -> str:
    """The method that all rows name; empty where they name none or several."""
    return str(column.iloc[0]) if column.notna().all() and column.nunique() == 1 else ""


def _same_laboratories(table: pd.DataFrame, names: Sequence[str], notes: list[Caution]) -> pd.DataFrame:
    """The rows of the laboratories that ran every procedure, where not all did."""
    if table[LABORATORY].nunique(dropna=False) < 2:
        return table
    sets = [set(table.loc[table[PROCEDURE] == p, LABORATORY].fillna("not said")) for p in names]
    common = set.intersection(*sets)
    if all(s == sets[0] for s in sets):
        return table
    if not common:
        text = "No laboratory ran every procedure: what differs between laboratories is part of what is compared here."
        notes.append(Caution("laboratories_differ", text))
        return table
    kept = sorted(common)
    gone = int((~table[LABORATORY].fillna("not said").isin(common)).sum())
    notes.append(
        Caution(
            "like_with_like",
            f"The choice rests on {list_words(kept)} alone, which ran every procedure; the {gone} readings of the "
            "other laboratories take no part in it.",
        )
    )
    return table[table[LABORATORY].fillna("not said").isin(common)].reset_index(drop=True)


def _that_share_oils(table: pd.DataFrame, names: list[str], notes: list[Caution]) -> list[str]:
    """All procedures where they share an oil; else the most that share one, and of as many those with most oils."""
    tested = table[table["sample"].notna()].groupby("sample", sort=False)[PROCEDURE].agg(frozenset)
    if any(len(s) == len(names) for s in tested):
        return names
    groups = [s for s in dict.fromkeys(tested) if len(s) > 1]
    if not groups:
        return names
    best = max(groups, key=lambda s: (len(s), sum(s <= other for other in tested)))
    left = [n for n in names if n not in best]
    notes.insert(
        0,
        Caution(
            "procedures_left_out",
            f"{list_words(left, 4)} shares no oil with {'all ' if len(best) > 2 else ''}the others and takes no part: "
            "test one of their oils by it too."
            if len(left) == 1
            else f"{list_words(left, 4)} share no oil with all of the others and take no part: test one of their oils "
            "by them too.",
        ),
    )
    return [n for n in names if n in best]


def _spelt_alike(sets: Iterable[set[str]]) -> str:
    """Two names of these oils that may be meant for one, as a remark; empty where there are none."""
    first: dict[tuple[str, ...], str] = {}
    for name in (n for names in sets for n in sorted(names)):
        other = first.setdefault(key_of(name), name)
        if other != name:
            return f"{other!r} and {name!r} count as two oils: if they are one, give it one name. "
    return ""


def _same_oils(table: pd.DataFrame, names: Sequence[str], notes: list[Caution]) -> pd.DataFrame:
    known = table[table["sample"].notna()]
    sets = {p: set(known.loc[known[PROCEDURE] == p, "sample"]) for p in names}
    common = set.intersection(*sets.values())
    if not common:
        most = max(set.union(*sets.values()), key=lambda o: sum(o in s for s in sets.values()))
        lacking = [p for p in names if most not in sets[p]]
        whom = f"both {list_words(list(names))}" if len(names) == 2 else f"all of {list_words(list(names))}"
        raise NotEstimable(
            f"No oil was tested by {whom}, so they cannot be compared. {_spelt_alike(sets.values())}Test {most} by "
            f"{list_words(lacking)} too, or leave out (filter) the procedures that tested other oils."
        )
    left = sorted(set.union(*sets.values()) - common)
    if left:
        notes.append(Caution("samples_left_out", f"{list_words(left)}: not tested by every procedure, and left out."))
    return known[known["sample"].isin(common)].reset_index(drop=True)

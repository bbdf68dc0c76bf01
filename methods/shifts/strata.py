"""Like with like: which further factors must be equal so that a comparison does not set mixtures against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from methods.columns import OIL, PRESCRIBED, STIRRED, factor_name, name_level, with_unit
from methods.procedures import FIELDS, PROCEDURE, name_procedures, parts_of
from methods.shifts.pairing import CodedRows, plain_level
from methods.wording import list_words

#: What the result of a test hangs on beside the oil. The method's name says no more where all of these are given.
CONDITIONS: tuple[str, ...] = PRESCRIBED
NAMES: tuple[str, ...] = tuple(f for f in FIELDS if f not in PRESCRIBED)
PLACE = "laboratory"

#: Gaps that differ by less than this share are one gap of two methods, such as 2.5 and 2.54 mm.
SAME_GAP = 0.02


@dataclass(frozen=True)
class Strata:
    """What a comparison holds equal.

    ``layout`` has the held factors in its blocks; ``held`` names them; ``left_out`` is the number of fillings
    that have no counterpart; ``refused`` says why nothing like can be compared with like (else empty);
    ``pooled`` says of what the levels pool several, ``compared`` names the levels of each held factor that are left.
    """

    layout: CodedRows
    held: tuple[str, ...] = ()
    left_out: int = 0
    refused: str = ""
    pooled: tuple[str, ...] = ()
    compared: tuple[str, ...] = ()


def like_with_like(lay: CodedRows, levels: Sequence[int], taken_out: Sequence[str] = ()) -> Strata:
    """Hold equal whatever the compared levels pool, as long as they have something in common.

    A factor is pooled where one oil was tested under several of its levels within one compared level: the
    level's mean then depends on how many tests fell to which. Such a factor goes into the blocks, and only blocks
    that every compared level has are compared. A factor that is pooled and of which the levels have nothing in
    common leaves no comparison at all.

    Parameters
    ----------
    lay : Layout
    levels : sequence of int
        Indices of the levels that are compared.
    taken_out : sequence of str
        Factors that a model takes out.
    """
    if not len(lay.table.columns):  # a layout made of codes alone has no further factors
        return Strata(lay)
    inside = np.isin(lay.level, levels)
    factors = {f: c for f, c in _codes(lay).items() if f not in taken_out}
    block, held, pooled, compared = lay.block.copy(), [], [], []
    keep = inside & _shared(lay, block, levels, inside)
    nothing_shared = not keep.any()
    if nothing_shared:
        keep = inside
        if lay.by not in OIL and (lay.within or _several_oils(lay, levels)):
            return Strata(lay, refused=_no_common_oil(lay, levels))
        block = np.zeros_like(block)
    while True:
        open_ = [f for f in factors if f not in held and _pooled(lay, block, factors[f], levels, keep)]
        if not open_:
            break
        usable = [f for f in open_ if _common(lay, _joint(block, factors[f]), levels, keep).any()]
        if not usable:
            return Strata(lay, refused=_nothing_in_common(lay, open_[0], factors[open_[0]], levels, keep))
        name = usable[0]
        pooled.append(_plural(name))
        compared.append(_left(lay, name, factors[name], levels, keep))
        block = _joint(block, factors[name])
        keep &= _common(lay, block, levels, keep)
        held.append(name)
    if not held:
        return Strata(lay)
    before = inside & (_shared(lay, lay.block, levels, inside) if not nothing_shared else True)
    gone = lay.fillings_of(before) - lay.fillings_of(keep)
    return Strata(
        _relaid(lay, block, keep, held, nothing_shared), tuple(held), gone, "", tuple(pooled), tuple(compared)
    )


def _codes(lay: CodedRows) -> dict[str, np.ndarray]:
    """The factors that may have to be held, coded; whole procedures where the compared factor is not part of one."""
    table, own = lay.table, set(parts_of(lay.by)) | set(lay.within)
    out: dict[str, np.ndarray] = {}
    if PROCEDURE not in own:
        known = [c for c in CONDITIONS if table[c].notna().all()]
        names = () if len(known) == len(CONDITIONS) or "method" in own else NAMES
        if not own & {*CONDITIONS, "method"}:
            codes = name_procedures(table).codes
            out[PROCEDURE] = codes
        else:
            for name in (*CONDITIONS, *names):
                if name not in own:
                    out[name] = _factor_codes(lay, name)
    if not own & {PLACE, "instrument", "operator"}:
        out[PLACE] = _factor_codes(lay, PLACE)
    return {f: c for f, c in out.items() if len(np.unique(c)) > 1}


def _factor_codes(lay: CodedRows, name: str) -> np.ndarray:
    """Codes of a column, an empty cell being a level of its own; gaps that are one gap of two methods are one."""
    column = lay.table[name]
    if name != "gap_mm":
        from methods.shifts.bundles import factor_codes

        return factor_codes(column)[0]
    values = column.to_numpy(dtype=float)
    order = np.sort(np.unique(values[~np.isnan(values)]))
    starts = [v for i, v in enumerate(order) if i == 0 or v > order[i - 1] * (1 + SAME_GAP)]
    codes = np.searchsorted(np.array(starts), values, side="right")
    return np.where(np.isnan(values), 0, codes).astype(np.int64)


def _joint(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    return one.astype(np.int64) * (int(two.max(initial=0)) + 1) + two


def _common(lay: CodedRows, block: np.ndarray, levels: Sequence[int], rows: np.ndarray) -> np.ndarray:
    """Boolean, one entry a row: the row is in a block that all compared levels have among ``rows``."""
    sets = [np.unique(block[rows & (lay.level == i)]) for i in levels]
    shared = sets[0]
    for other in sets[1:]:
        shared = np.intersect1d(shared, other)
    return rows & np.isin(block, shared)


def _shared(lay: CodedRows, block: np.ndarray, levels: Sequence[int], rows: np.ndarray) -> np.ndarray:
    return _common(lay, block, levels, rows)


def _pooled(lay: CodedRows, block: np.ndarray, codes: np.ndarray, levels: Sequence[int], rows: np.ndarray) -> bool:
    """Whether within a compared level some block was tested under several levels of the factor."""
    for level in levels:
        mine = rows & (lay.level == level)
        pairs = np.unique(np.column_stack([block[mine], codes[mine]]), axis=0)
        if len(pairs) > len(np.unique(block[mine])):
            return True
    return False


def _several_oils(lay: CodedRows, levels: Sequence[int]) -> bool:
    oils = lay.table["sample"]
    return any(oils[lay.level == i].nunique() > 1 for i in levels)


def _labels(lay: CodedRows, name: str, rows: np.ndarray) -> list[str]:
    if name == PROCEDURE and PROCEDURE not in lay.table.columns:
        found = name_procedures(lay.table)
        return [found.names[i] for i in np.unique(found.codes[rows])]
    column = lay.table.loc[rows, name]
    words = [with_unit(name, plain_level(v)) for v in column.dropna().unique()]
    if name == "stirring":
        words = [STIRRED.get(w, w) for w in words]
    return sorted(words) + (["not said"] if column.isna().any() else [])


def _left(lay: CodedRows, name: str, codes: np.ndarray, levels: Sequence[int], rows: np.ndarray) -> str:
    """The levels of a held factor that all compared levels have, such as ``laboratory Fenmark``."""
    left = _labels(lay, name, _common(lay, codes, levels, rows))
    if name == "stirring":
        return list_words(left)
    return f"{factor_name(name) if len(left) == 1 else _plural(name)} {list_words(left)}"


def _plural(name: str) -> str:
    return {
        "electrode": "electrodes", "gap_mm": "gaps", "stirring": "kinds of stirring", "rise_kv_s": "rates of rise",
        "method": "methods", "edition": "editions", PROCEDURE: "procedures", PLACE: "laboratories",
    }.get(name, factor_name(name) + "s")  # fmt: skip


def _pair(lay: CodedRows, levels: Sequence[int]) -> str:
    return list_words([name_level(lay.by, lay.levels[i]) for i in levels])


def _no_common_oil(lay: CodedRows, levels: Sequence[int]) -> str:
    equal = f" with equal {list_words([factor_name(w) for w in lay.within])}" if lay.within else ""
    return (
        f"no oil was tested under {_pair(lay, levels)}{equal}, so that the oils and the {factor_name(lay.by)} cannot "
        f"be told apart: test the same oils under {'both' if len(levels) == 2 else 'all'}"
        + (", or hold less equal" if lay.within else "")
    )


def _nothing_in_common(
    lay: CodedRows, name: str, codes: np.ndarray, levels: Sequence[int], rows: np.ndarray
) -> str:  # fmt: skip
    parts = [
        f"{name_level(lay.by, lay.levels[i])}: {list_words(_labels(lay, name, rows & (lay.level == i)))}"
        for i in levels
    ]
    way = "filter to one of them" if lay.by == PROCEDURE else "compare by procedure, filter to one of them"
    return (
        f"{_pair(lay, levels)} pool different {_plural(name)} ({'; '.join(parts)}) and have none in common, so one "
        f"number would be the mixture's: {way}, or test both with the same {factor_name(name)}"
    )


def _relaid(lay: CodedRows, block: np.ndarray, keep: np.ndarray, held: Sequence[str], unnamed: bool) -> CodedRows:
    """The layout with the held factors in its blocks, blocks numbered as they first appear."""
    codes, index = np.unique(block, return_inverse=True)
    first = np.full(len(codes), len(block))
    np.minimum.at(first, index, np.arange(len(block)))
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    names = []
    found = name_procedures(lay.table) if PROCEDURE in held and PROCEDURE not in lay.table.columns else None
    for row in first[order]:
        words = [] if unnamed else [lay.blocks[lay.block[row]]]
        for name in held:
            if found is not None and name == PROCEDURE:
                words.append(found.names[found.codes[row]])
            else:
                value = lay.table[name].iloc[row]
                words.append("not said" if value != value or value is None else with_unit(name, plain_level(value)))
        names.append(", ".join(words))
    return replace(lay, blocks=names, block=rank[index])


def held_words(held: Sequence[str]) -> str:
    """``the same gap and stirring``: how a sentence says what was held equal."""
    return "the same " + list_words([factor_name(h) for h in held])

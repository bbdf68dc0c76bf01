"""Which columns of a wide table are seen at once: what the reader decides by. The others come on request."""

from __future__ import annotations

from collections.abc import Sequence

from methods.columns import PROCEDURE

#: Width, in letters, that a table has beside the menu on a window of 1440 pixels.
_LETTERS = 138
#: Letters that the edges of a cell take, and the most that one of text takes before it breaks.
_EDGE, _TEXT = 4, 36

#: Table -> the columns that come first, where its own order does not say it.
FIRST: dict[str, tuple[str, ...]] = {
    "shift": ("level", "fillings", "mean_kv", "difference_percent", "low_percent", "high_percent", "p_value",
              "holds_for"),
    "shift_these_oils": ("level", "low_percent", "high_percent", "p_value", "sentence"),
    "shift_scatter": ("level", "sd_ratio", "sd_ratio_low", "sd_ratio_high", "sd_p_value", "sd_ratio_of"),
    "precision": ("level", "laboratories", "mean", "s_r", "s_R", "r", "r_percent", "R", "R_percent", "error"),
    "published": ("method", "edition", "r_percent", "R_percent", "note"),
    "outliers": ("sample", "laboratory", "method", "filling", "order", "kv", "test", "p_value"),
    "rule_verdicts": ("sample", "method", "electrode", "filling", "value", "limit", "sentence"),
    "classroom_designs": ("design", "mean_of_means_kv", "spread_percent", "lowest_kv", "highest_kv", "fillings_covers",
                          "passes"),
    "classroom_laboratories": ("design", "laboratory", "mean_kv", "pooled_low_kv", "pooled_high_kv", "passes"),
    "check_oil": ("result", "tested_on", "mean_kv", "low_kv", "high_kv", "broken", "sd_kv", "moving_range_kv"),
    "bench_runs": ("run", "planned_day", "sample", *PROCEDURE, "filling", "before"),
    "choose_scatter": ("procedure", "oils", "results", "cov_within_percent", "cov_between_percent",
                       "discrimination_per_result", "discrimination_per_hour", "withstood_percent",
                       "false_alarm_percent"),
}  # fmt: skip
#: Ends of names of columns that come last where there is no room.
_LATER = ("df", "method", "_low", "_high", "standard_error_kv", "aicc", "log_likelihood", "confidence")
_SURE = ("low_percent", "high_percent", "low_kv", "high_kv", "p_value", "verdict", "passes")


def first_columns(name: str, headings: Sequence[str], columns: Sequence[str], longest: Sequence[int]) -> list[bool]:
    """Which columns are seen at once.

    Parameters
    ----------
    name : str
        Of the table.
    headings, columns : sequence of str
        What stands above, and what they are called.
    longest : sequence of int
        Letters of the longest cell that is shown in each.
    """
    wide = [
        _EDGE + max(min(longest[i], _TEXT), max(len(w) for w in h.split()) if h else 0, _two_lines(h))
        for i, h in enumerate(headings)
    ]
    if sum(wide) <= _LETTERS:
        return [True] * len(columns)
    wanted = FIRST.get(name, ())
    rank = sorted(range(len(columns)), key=lambda i: (_place(columns[i], i, wanted), i))
    room, shown = _LETTERS, [False] * len(columns)
    for i in rank:
        if wide[i] <= room:
            shown[i] = True
            room -= wide[i]
        elif i:  # the first says what a row is
            break
    return shown


def _two_lines(heading: str) -> int:
    """Letters of a heading that breaks in two."""
    words = heading.split()
    return min((max(len(" ".join(words[:k])), len(" ".join(words[k:]))) for k in range(len(words))), default=0)


def _place(column: str, at: int, wanted: Sequence[str]) -> float:
    if at == 0:
        return -1
    if column in wanted:
        return wanted.index(column)
    if wanted:
        return 1000 + at
    if column in _SURE:
        return 2
    return 500 + at if column.endswith(_LATER) else 10 + at

"""What the classroom says: short enough to be read from the last row."""

from __future__ import annotations

from typing import Any

from dashboard import words

HELP = (
    "Every voltage on this page is **invented**: drawn by a seeded generator, so that everyone who types the same "
    "settings and class number sees the same numbers. Send the address to share them; guesses are not in it.\n\n"
    "* What **one result** is comes from the method of the setting: five or six breakdowns on one filling, or five "
    "fillings of one. *As the method* lets each laboratory report one.\n"
    "* **Mean so far** and its band are what a bench computes after each breakdown: Student's *t* on the "
    "breakdowns, as if they were independent.\n"
    "* **Between fillings** is what refilling the cell changes. A single filling cannot show it: the band "
    "shrinks around that filling's own mean, and the truth may lie outside.\n"
    "* **Covers** counts how often a laboratory's interval holds the true mean. *Pooled* treats all breakdowns "
    "as independent; *fillings* uses only the means of fillings.\n"
    "* **Water**: what counts is the relative saturation, water over what the oil can dissolve at that "
    "temperature. The fall of the voltage with it is an illustration (from memory), not a law.\n"
    "* The **limit** is the lesson's own, no standard's: move it.\n"
    "* A **ceiling** reached without breakdown is not a value. Once it happens there is no mean to show.\n"
    "* **Lesson of 45 minutes** sets the page for each step; the plan and a sheet for the class are in the "
    "documentation, under the instructor's start."
)


def of_test(test: Any, truth_kv: float | None, winners: str, limit_kv: float | None) -> str:
    """The sentence while one test grows; ``truth_kv`` None: hidden."""
    if not test.taken:
        return "Nothing is measured yet. Take one."
    so_far = f"{words.plural(test.taken, 'breakdown')} on {words.plural(test.fillings, 'filling')}"
    so_far += f" ({words.plural(test.results, 'reported result')}): " if test.results else ": "
    if test.mean_kv is None:
        return f"{so_far}the ceiling was reached, so there is no mean. Dry oil needs a set that goes higher."
    body = f"{so_far}mean {words.number(test.mean_kv)} kV"
    if test.taken == 1:
        body = f"One breakdown: {words.number(test.mean_kv)} kV"
    elif test.low_kv is not None:
        body += f", {words.number(test.low_kv)} to {words.number(test.high_kv)} by this bench"
    if truth_kv is not None:
        inside = "" if test.covers is None else ", inside" if test.covers else ", outside"
        won = f" Nearest: {winners}." if winners else ""
        return f"{body}. The truth is {words.number(truth_kv)} kV{inside}.{won}"
    if test.taken == 1:
        return f"{body}. Would you judge the oil by it? Take the next."
    verdict = ""
    if limit_kv is not None:
        verdict = f" {'Pass' if test.mean_kv >= limit_kv else 'Fail'} at {limit_kv:g} kV."
    return f"{body}.{verdict} Guess the true mean, then reveal it."


def of_laboratories(shown: Any, count: int, design: str, limit_kv: float | None, truth_kv: float | None) -> str:
    """The sentence while laboratories report one after the other."""
    known = shown["mean_kv"].dropna()
    fillings, breakdowns = (int(n) for n in design.split(" × "))
    how = f"{words.plural(fillings, 'filling')} of {breakdowns}"
    if known.empty:
        return f"{len(shown)} of {count} laboratories met the ceiling: no mean. Play on."
    spread = f"{words.number(known.min())} to {words.number(known.max())} kV"
    truth = f" The truth is {words.number(truth_kv)} kV." if truth_kv is not None else ""
    if len(known) == 1:
        first = words.number(known.iloc[0])
        return f"The first laboratory reports {first} kV by {how}. Play: the others test the same oil."
    if limit_kv is None:
        return f"{len(shown)} laboratories, one oil, {how} each: means from {spread}.{truth}"
    failed = int((known < limit_kv).sum())
    return (
        f"{len(shown)} laboratories, one oil, {how} each: {failed} fail it at {limit_kv:g} kV, "
        f"{len(known) - failed} pass it. Means from {spread}.{truth}"
    )

"""Does the check oil still read as it did?"""

from __future__ import annotations

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import number, plural
from methods.control.check_oil import CheckOil

QUESTION = "check_oil"


def check_oil(found: CheckOil) -> Answer:
    """Which results break a rule, and the limits that they are judged by."""
    points, own = found.points, OWN.get(QUESTION, {})
    out = points[points["broken"] != ""]
    titles = {r.key: r.title for r in found.rules}
    low, high = points["low_kv"].iloc[-1], points["high_kv"].iloc[-1]
    frame = f"Centre {number(found.centre_kv)} kV, limits {number(low)} to {number(high)} kV"
    name = found.oil[:1].upper() + found.oil[1:]
    if len(out):
        last = out.iloc[-1]
        when = f" ({last['tested_on']})" if isinstance(last["tested_on"], str) else ""
        why = titles[str(last["broken"]).split(", ")[0]]
        said = (
            f"{name}: {plural(len(out), 'result')} of {len(points)} {'breaks' if len(out) == 1 else 'break'} a rule, "
            f"the latest result {int(last['result'])}{when}: {why}."
        )
    else:
        said = f"{name}: none of {plural(len(points), 'result')} breaks a rule."
    what = "moving range of results" if found.chart == "individuals" else "SD within fillings"
    note = (
        f"Limits at 3 SD from the {what}, {plural(found.baseline, 'result')}; of 100 further results in control "
        f"{found.false_alarms:.1f} are flagged. Rules: "
        + "; ".join(f"{r.key} {r.title} ({r.edition}, {r.mark})" for r in found.rules)
        + ". Check against your own copy of the standard."
    )
    tables = [Table("check_oil", "Results", points, note, own)]
    if len(found.marks):
        tables.append(Table("electrode_log", "Electrode log", found.marks, "Results before each entry and after it, up "
                            "to the next; limits by Welch's t, 95 %.", OWN.get("archive", {})))  # fmt: skip
    return Answer(QUESTION, (said, f"{frame}."), found.cautions, tuple(tables), (), found)

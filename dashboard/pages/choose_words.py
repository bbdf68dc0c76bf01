"""Headings and help of the page on which method to choose."""

from __future__ import annotations

COLUMNS: dict[str, tuple[str, str]] = {
    "probability_best": ("Best with (%)", "How often this one scores highest when oils and fillings are drawn again."),
    "shift_percent": ("Shift (%)", "Against the procedure with 0: its mean on the same oils."),
    "low_percent": ("From (%)", "Lower limit of the shift."),
    "high_percent": ("To (%)", "Upper limit of the shift."),
    "fillings": ("Fillings", "That the half-width wanted takes for one oil."),
    "breakdowns_per_filling": ("Of", "Breakdowns on each filling, as the method prescribes or the records have it."),
    "bench_minutes": ("Bench (min)", "Cleaning, waits, ramps and pauses of these fillings."),
    "oil_litres": ("Oil (L)", "The cell filled so many times, without rinsing; 0.5 L where the cell is not known."),
    "half_width_percent": ("± (%)", "Half-width that these fillings give."),
    "half_width_low_percent": ("± from (%)", "The scatter is itself an estimate: it may come out so small,"),
    "half_width_high_percent": ("± to (%)", "or so large."),
    "oils": ("Oils", "Tested by every procedure."),
    "results": ("Fillings so far", "In the records, on these oils."),
    "cov_within_percent": ("Within (%)", "Scatter of breakdowns on one filling, relative to the mean."),
    "cov_between_percent": ("Between (%)", "Scatter of the fillings' own levels, relative to the mean."),
    "cov_result_percent": ("A result (%)", "Scatter of one reported result."),
    "discrimination_per_result": ("Apart, a result", "Spread between these oils over the scatter of one result."),
    "discrimination_per_result_low": ("From", "Lower limit."),
    "discrimination_per_result_high": ("To", "Upper limit; none where a dash stands."),
    "discrimination_per_hour": ("Apart, an hour", "The same for the mean of as many results as an hour holds."),
    "withstood_percent": ("At the ceiling (%)", "Share of the readings that met the ceiling."),
    "false_alarm_percent": ("False alarms (%)", "How often its consistency rule asks for more with nothing wrong."),
    "wrong_verdict_percent": ("Wrong side (%)", "One result of an oil 10 % from its limit falls on the wrong side."),
    "minutes": ("Bench (min)", "Of these fillings."),
    "note": ("Published", "What the method's text, or what is remembered of it, says."),
}

HELP = """
A **procedure** is method, edition, electrode, gap, stirring and rate of rise together. Only oils (and laboratories)
that every procedure has are compared.

The **score** is the weighted mean of logarithms: half the scatter of a result, half the minutes, half the oil or twice
the discrimination count alike at equal weights. Precision and minutes both follow from the scatter, so raise or clear
weights to say what matters to you. A procedure that past results were *not* taken by counts as half as good at a weight
of one for the link to history.

The **probability** is how often a procedure scores highest when oils are drawn again with replacement, and their
fillings from the scatter that fillings show. Below 90 % the sentence says which further fillings would settle it,
if the difference is as it looks now.

The **minutes** come from the method's own waits and pauses where it is known; what had to be assumed is named in a
caution. Shifts between methods are association in these data, never a conversion.
"""

"""What the how-many page says: goals, explanations of its columns."""

from __future__ import annotations

from methods.families import PLANNED, titles

GOALS = {
    "mean": "a mean",
    "difference": "a difference",
    "percentile": "a low percentile",
    "decision": "a verdict",
    "equivalence": "agreement",
}
INTERVALS = {"bench": "the bench's own interval", "known": "scatter known from history"}
RULES = {"simple": "mean reaches it", "guarded": "surely above it", "every": "every breakdown reaches it"}
STOPS = {"two_stage": "decide once, now", "stop_when_narrow": "look after each, stop when narrow"}
FAMILIES = titles(PLANNED)

HELP = """
**Two half-widths.** *The bench's own* interval is computed from the means of its own fillings: with few fillings the
scatter itself is hardly known, and Student's *t* makes the interval wide. *Known scatter* is narrower, but rests on
history: that the scatter found before still holds.

**More breakdowns on one filling never beat the floor.** Breakdowns on one filling share its oil, particles and
handling. However many are taken, what fillings differ by stays in the mean; only more fillings take it out.

**Assurance.** The scatter is an estimate, so half of the time the interval comes out wider than planned. An assurance
of 90 % asks for a design whose interval is as narrow as wanted nine times in ten.

**Bench minutes** are the method's own waits, pauses and ramps, plus five minutes to empty, rinse and fill the cell.

**Stop or go on** looks at one series: how many more give the half-width wanted if the scatter stays what it is today.
Deciding once, from the first look, keeps the promise of the interval; looking after every breakdown and stopping when
it seems narrow does not: it stops just when the scatter happens to look small. The table says by how much.
"""

COLUMNS = {
    "fillings_per_condition": ("Fillings each", "Fillings under each of the two conditions."),
    "breakdowns_per_filling": ("Breakdowns each", "Breakdowns on each filling; – where no number is enough."),
    "breakdowns_per_condition": ("Breakdowns per condition", "Under each of the two conditions."),
    "half_width_percent": ("± own (%)", "Half-width of the bench's own interval; – where one filling cannot have one."),
    "half_width_known_percent": ("± known (%)", "Half-width if the scatter is known from history."),
    "assurance": ("Assurance", "Chance that the bench's own interval is as narrow as wanted."),
    "bench_minutes": ("Minutes", "On the bench, by the method's own times."),
    "oil_ml": ("Oil (mL)", "The smallest cell filled so many times, without rinsing."),
    "reaches_target": ("Reaches it", "Whether the design gives the half-width wanted."),
    "power": ("Found", "Chance that the difference is found."),
    "power_known": ("Found, known scatter", "The same if the scatter is known from history."),
    "wrong_verdict_probability": ("Wrong verdict", "Chance of the wrong verdict with this design."),
    "rule": ("Rule", "simple: the mean; guarded: its lower limit; every: the lowest breakdown."),
    "part": ("Scatter", "Of single breakdowns on one filling, of fillings, or neighbours' correlation."),
    "cov_percent": ("CoV (%)", "As coefficient of variation, % of the mean."),
    "cov_upper_percent": ("up to (%)", "Upper limit: so large the scatter could still be, 80 % sure."),
    "from": ("From", "Where the figure is taken from."),
    "coverage": (
        "Holds the truth",
        "How often the interval of the rule holds the true mean; the promise is the confidence.",
    ),
    "average_total": ("Taken on average", "Units that the rule takes in all, on average."),
    "total_95": ("Taken at most (95 %)", "Nineteen times in twenty the rule takes no more."),
    "not_stopped": ("Never stopped", "Share of benches on which the rule did not stop within 300."),
}

"""What the decision page says: rules, explanations of its columns."""

from __future__ import annotations

TYPED = "typed"
RULES = {
    "simple": "simple: the mean reaches it",
    "guarded": "guarded: surely above it",
    "every": "every breakdown reaches it",
}
CHECK = "check against your own copy of the standard"

HELP = """
**A limit belongs to its method.** A limit written for one method, gap and edition says nothing about a result by
another, and no standard converts one into the other: such comparisons are refused, with the reason.

**Rules.** *Simple* compares the mean, as the standards do: an oil on the limit passes every other time. *Guarded* asks
that the lower confidence limit of the mean reaches it: a bad oil passes rarely, a good one fails more often. *Every*
asks it of the lowest breakdown: the more breakdowns, the more often a good oil fails.

**Probability that the true mean reaches the limit**: from the scatter of these breakdowns alone, no earlier knowledge
of the oil (ISO/IEC Guide 98-4). **Wrong verdict**: the probability that the verdict given is not that of the true mean.

**Guard band**: how far above the limit the mean must lie, so that a pass is wrong with no more than the risk chosen.

**Operating characteristic**: how often an oil of each true mean passes. The steeper, the better the rule tells good
from bad; what it does far from the limit hardly matters.

**Budget** (ISO/IEC Guide 98-3): what each source adds to the uncertainty of the mean. What is not typed is not in it.

Every limit shipped carries its edition and how well it is known; before anything depends on it, check it against your
own copy of the standard.
"""

COLUMNS = {
    "verdict": ("Verdict", "pass, fail, or undecided where the records cannot say."),
    "expanded_uncertainty_kv": ("± (kV)", "Half-width of the interval of the mean, at the confidence chosen."),
    "low_kv": ("Surely above (kV)", "One-sided lower confidence limit of the mean."),
    "minimum_kv": ("Lowest (kV)", "The lowest value of the series."),
    "probability_above": ("True mean reaches it", "Probability that the true mean reaches the limit."),
    "wrong_verdict_probability": ("Verdict wrong", "Probability that the verdict is not that of the true mean."),
    "guard_band_kv": ("Guard band (kV)", "What the mean must lie above the limit for the risk chosen."),
    "basis": ("Uncertainty from", "What the uncertainty of the mean rests on."),
    "case": ("Oil and condition", "One oil under one condition."),
    "reason": ("Not compared because", "A limit holds for its own method, gap and edition only."),
    "source": ("Source", "What adds to the uncertainty."),
    "kind": ("Type", "A: from repeated values; B: from anything else."),
    "value": ("Value", "SD, or half-width of the distribution, in its unit."),
    "unit": ("Unit", "Of the value."),
    "distribution": ("Distribution", "What shape the value is the half-width of."),
    "standard_uncertainty": ("Standard uncertainty", "In its own unit."),
    "sensitivity": ("kV per unit", "What one unit does to the mean."),
    "contribution_kv": ("Contributes (kV)", "Standard uncertainty times sensitivity."),
    "df": ("df", "Degrees of freedom; – where taken as certain."),
    "share_percent": ("Share (%)", "Of the combined variance."),
    "design": ("Fillings × breakdowns", "Fillings times breakdowns on each, and the methods that prescribe it."),
    "true_mean_kv": ("True mean (kV)", "Of an oil that is tested."),
    "pass_probability": ("Passes", "Chance that an oil of this true mean passes."),
    "document": ("Document", "Where the limit is from."),
    "stage": ("Stage", "For which oil."),
    "equipment": ("Equipment", "For which equipment."),
    "mark": ("Known from", "How well the value is known: published, memory, own copy …"),
    "boundary": ("Exactly on it", "Whether a result exactly on the limit passes."),
    "key": ("Key", "How the command line and the Python interface call it."),
}

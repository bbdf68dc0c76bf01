"""What the precision page says: headings and help."""

from __future__ import annotations

HELP = """
**s_r** (repeatability) is the spread of one laboratory's results on one oil; **s_R** (reproducibility) that of results
from different laboratories, **s_L** what the laboratories' own levels add. **r** and **R** are 2.8 times s_r and s_R:
two results differ by more in about one case of twenty (published: ISO 5725-2, ASTM E691).

**A result** is the mean of a filling, as it is reported. Taking single breakdowns as results answers another question:
how far two breakdowns differ.

**Mandel's h** shows whose means lie high or low, **k** whose results scatter more than the others'. Bars beyond the
critical lines deserve a question to that laboratory. All bars of one laboratory on one side say more than one long bar.

**Cochran's test** looks for a laboratory that scatters too much, **Grubbs'** for means that stand apart: *straggler*
below 5 %, *outlier* below 1 %. The program flags and removes nothing. You may leave a cell out, with a reason that the
study, the tables and the report carry.

**Relation**: which simple form describes s_r and s_R against the level best; with it the precision of other levels
within this range can be read off.

**Robust** figures (ISO 5725-5 and ISO 13528, algorithms A and S) give outlying laboratories little weight instead of
leaving them out. Where they differ much from the others, a few laboratories decide the result.

**z-scores** compare each laboratory with the robust mean: up to 2 satisfactory, from 3 unsatisfactory.

**Published**: what the standards say of their own precision, for the methods in these data, with edition and source.
A result is there what the method reports, so compare with results taken as a filling's mean. Where it is empty the
standard gives no such figure, or it was not read: the source says which.

**Scatter against mean**: some standards print a chart of the expected SD over mean. None is shipped here. Type points
of the chart from your own copy to see the cells against it.
"""

COLUMNS: dict[str, tuple[str, str]] = {
    "laboratories": ("Laboratories", "Laboratories at this level, or those that are flagged."),
    "n": ("Results", "Results at this level or in this cell."),
    "mean": ("Mean (kV)", "Average of the results."),
    "s_r": ("s_r (kV)", "Repeatability standard deviation."),
    "s_r_low": ("from", "Lower limit of s_r (kV)."),
    "s_r_high": ("to", "Upper limit of s_r (kV)."),
    "s_L": ("s_L (kV)", "Standard deviation between laboratories."),
    "s_L_low": ("from", "Lower limit of s_L (kV)."),
    "s_L_high": ("to", "Upper limit of s_L (kV)."),
    "s_R": ("s_R (kV)", "Reproducibility standard deviation."),
    "s_R_low": ("from", "Lower limit of s_R (kV)."),
    "s_R_high": ("to", "Upper limit of s_R (kV)."),
    "r": ("r (kV)", "Repeatability limit: 2.8 s_r."),
    "R": ("R (kV)", "Reproducibility limit: 2.8 s_R."),
    "r_percent": ("r (%)", "r in per cent of the mean."),
    "R_percent": ("R (%)", "R in per cent of the mean."),
    "cov_same_percent": ("CoV, same operator (%)", "Published scatter of one reported result."),
    "cov_between_percent": ("CoV, laboratories (%)", "Published scatter between laboratories."),
    "source": ("Source", "Where the figure was read, or why it is empty."),
    "note": ("Remark", "What else is known of the statement."),
    "error": ("No figures", "Why this level has none."),
    "test": ("Test", "Cochran: too much scatter. Grubbs: a mean that stands apart."),
    "statistic": ("Statistic", "Value of the test's statistic."),
    "p_value": ("p", "Chance of so much if all laboratories were alike."),
    "verdict": ("Verdict", "Straggler: below 5 %. Outlier: below 1 %. For z-scores: satisfactory up to 2."),
    "assigned": ("Assigned (kV)", "Robust mean of the laboratories."),
    "sigma": ("σ (kV)", "Robust standard deviation of their means."),
    "z": ("z", "Distance from the assigned value in σ."),
    "score": ("Score", "z, or z′ where the assigned value is itself uncertain."),
    "h": ("h", "Mandel's h: how far this laboratory's mean lies from the others'."),
    "k": ("k", "Mandel's k: its scatter against the others'."),
    "sd": ("SD (kV)", "Spread of the results in this cell."),
    "cov_percent": ("SD (% of mean)", "The same in per cent of the cell's mean."),
    "place": ("In your band", "Where the cell lies in the band that you typed."),
    "kind": ("Spread", "Which one the form describes."),
    "reads": ("Form", "s: spread, m: mean of the level."),
    "a": ("a", "Parameter of the form."),
    "b": ("b", "Parameter of the form."),
    "aic": ("AIC", "Smaller describes better; differences below 2 decide nothing."),
    "lack_of_fit_p": ("Lack of fit p", "Small: the form does not describe these levels."),
    "chosen": ("Chosen", "The simplest form among the best."),
    "s_means": ("SD of means (kV)", "Robust spread of the laboratories' means."),
    "robust_s_r": ("Robust s_r (kV)", "Algorithm S."),
    "robust_s_R": ("Robust s_R (kV)", "From algorithms A and S."),
    "robust_mean": ("Robust mean (kV)", "Algorithm A."),
    "mean_uncertainty": ("Its uncertainty (kV)", "Standard uncertainty of the robust mean."),
}

"""Which lines of the table are known not to hold, which way, and what to do then."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase

from tests.calibration.registry import State


@dataclass(frozen=True)
class Known:
    """A documented departure: studies and claims by pattern, and one plain sentence (empty: harmless)."""

    study: str
    claim: str
    state: State
    advice: str = ""


FIT_FEW = (
    "Limits of a fit by normal approximation from few breakdowns are too narrow, most of all at the 1 % point: ask for "
    "profile limits, and below ten breakdowns take even those as narrower than their name."
)
PROFILE_FEW = (
    "Profile limits from 6 or 10 breakdowns are a little too narrow too: for a normal SD or percentile take the exact "
    "limits that the plans use, or test more."
)
THREE = (
    "The three-parameter Weibull has no regular likelihood: with few breakdowns its limits say less than their name. "
    "Use the two-parameter family unless there are many breakdowns and a reason for a threshold."
)
FIT_FILLINGS = (
    "A fit takes all breakdowns as independent. Where they come from few fillings its limits do not hold what differs "
    "from filling to filling: take the limits of the mean and of the components instead, or test more fillings."
)
FIT_LAW = (
    "Where the family is wrong the low percentiles are wrong, whatever their limits: compare families, and ask for "
    "low percentiles from the data (ranks) where the decision hangs on them."
)
PLAIN_KM = (
    "Plain Kaplan-Meier limits fail in the tails; the log-log limits, which are the ones used unless others are asked "
    "for, hold better. With 10 values no limits near the lowest breakdowns can be relied on."
)
KM_FILLINGS = (
    "Survival curves and bands count breakdowns as independent: with filling effects they promise "
    "too much. Compare fillings (shift, percentile shift) instead."
)
OUTLIERS = (
    "Outlier tests assume normal scatter: a Weibull has a long low tail and contaminated scatter has wide ones, and "
    "both are flagged more often than the level says. A flag is a reason to look, never one to leave a value out."
)
CONTAMINATED_SD = (
    "Limits of an SD, a variance or a ratio of SDs rest on normal scatter: a few wide values make them too narrow. "
    "Those of one oil's SD allow for wide values that are seen; what misses then are upper limits of series in which "
    "none happened to fall (6 to 9 in 100), and nothing in the series can tell. Use the robust limits of the ratio of "
    "SDs (nearer, still narrow), and look at the flagged values first."
)
CORRELATED_COMPONENTS = (
    "Correlation of neighbours inside fillings passes for scatter between fillings: where the order effects show it, "
    "read the component between fillings as too large and the one within as too small."
)
FEW_AGAINST_MANY = (
    "Two fillings against five: the limits are widened so that they hold where the two scatter most, and are wider "
    "than need be where all scatter alike. A third filling narrows them by half."
)
UNADJUSTED = (
    "Several comparisons at once need Holm, Tukey or Games-Howell; unadjusted tests find a difference too often."
)
UNEQUAL_TUKEY = (
    "Tukey takes one SD for all levels: where SDs differ use Games-Howell, which is what is used unless asked."
)
HIDDEN = (
    "A plan that counts breakdowns of one filling as independent does not cover what differs between fillings or what "
    "neighbours share: give `between_cov` (and `serial_correlation`), or plan several fillings."
)
PLAN_WIDE = (
    "A plan keeps its promised width only where the scatter is as planned; low breakdowns and correlation that were "
    "not planned for make the interval wider, and a difference is seen less often. Plan from a pilot of your own oil."
)
PIVOT_LAW = (
    "Weibull limits of a low percentile fail on normal breakdowns (and the other way round): the family decides."
)
STOPPING = (
    "Stopping as soon as the interval looks narrow makes it too narrow; the rate is told with every such advice. The "
    "two-stage rule keeps its promise."
)
GUARDED_ONE = (
    "On one filling the guarded rule counts on other fillings to differ by up to twice the scatter within: where they "
    "are alike it passes fewer oils than it may. Test more fillings, or borrow the scatter from earlier tests."
)
GUARDED_FEW = (
    "Few fillings whose means agree better than the scatter within lets one expect are not believed, so the guarded "
    "rule passes an oil on the limit more rarely than the risk says. More fillings mend it."
)
GUARDED_WEIBULL = (
    "The guarded rule passes a good oil somewhat more often than told where breakdowns have the Weibull's low tail: "
    "the plan counts with normal scatter."
)
GUARDED_EXPANDED = (
    "The expanded uncertainty of one filling is about this filling, which it says: the mean of the oil lies outside "
    "far more often where fillings differ. Test two or more fillings, or borrow the scatter from earlier tests."
)
LABS = (
    "Limits of s_r, s_L and s_R and the tests of Cochran and Grubbs rest on normal scatter: wide values make limits "
    "too narrow and flags too frequent. Find the cause of a flag before a laboratory is left out; look at the robust "
    "figures beside."
)
AGREEMENT = (
    "Limits of agreement are normal quantiles: wide values make their own limits too narrow. Look at the differences."
)
MEAN_SAFE = "The mean over few fillings has limits on the safe side where the data show no scatter between fillings."
MEAN_WIDE = (
    "Where fillings hardly differ the limits of a mean or a median from few fillings are wider than they need be: "
    "a few filling means cannot show that they are alike, and those that agree by luck are not believed."
)
SD_WIDE = (
    "With very unequal numbers of breakdowns in the fillings the limits of the SD of one result are wider than they "
    "need be: the fillings count equally, as in the mean."
)
PILOT_TAIL = (
    "A pilot's upper limit of the SD between fillings rests on normal scatter: of fillings with a long low tail it "
    "holds in some 75 of 100 where 80 are told. The design that is assured from it is enough all the same, in about 90."
)
SD_ALIKE = (
    "Where fillings differ little, or there are two, the limits of the SD of one result are wider than they need be: "
    "its low limit is never above that of fillings that are all alike, nor above what wide values ask for."
)
RANKS = (
    "Rank tests on one short series can hardly reject (the runs test never did at 6): no "
    "finding there is no proof. Pool the fillings."
)

CORRELATED_TEST = (
    "Correlation of neighbours passes for trend in rank tests: read them together with the correlation, and take the "
    "trend's own limits, which rest on the fillings and hold."
)

_FEW = ("normal 6", "normal 6 withstood", "normal 10", "normal 10 withstood", "weibull 6", "weibull 6 withstood",
        "weibull 10", "lognormal 10", "gumbel_min 10")  # fmt: skip

KNOWN: tuple[Known, ...] = (
    Known("one oil [2-9]-* ratio 0", "mean", "conservative", MEAN_WIDE),
    Known("one oil [2-9]-* ratio 1/3*", "mean", "conservative", MEAN_WIDE),
    Known("one oil *-* ratio 0", "median", "conservative", MEAN_WIDE),
    Known("one oil 5-* ratio 1/3", "median", "conservative", MEAN_WIDE),
    Known("default weibull 5-5-5 ratio 0", "half", "conservative", MEAN_WIDE),
    Known("default weibull 5-5-5 ratio 1/3", "half", "conservative", MEAN_WIDE),
    Known("one oil 5-5 ratio 1", "mean", "conservative", MEAN_WIDE),
    Known("one oil 5-5-5 ratio 1 contaminated", "mean", "conservative", MEAN_WIDE),
    Known("one oil 5-5* ratio 0", "tenth", "conservative"),
    Known("one oil 5-5 ratio [01]*", "sd", "conservative", SD_ALIKE),
    Known("one oil 5-5-5 ratio 0", "sd", "conservative", SD_ALIKE),
    Known("one oil 5-5-5 ratio 1/3", "sd", "conservative", SD_ALIKE),
    Known("one oil 5-5-5-5-5 ratio 1/3", "sd", "conservative", SD_ALIKE),
    Known("default weibull 5-5-5 ratio 0", "tenth", "conservative"),
    Known("one oil 2-3-6-6-1 ratio 1/3", "sd", "conservative", SD_WIDE),
    Known("one oil 2-3-6-6-1 ratio 1", "sd", "conservative", SD_WIDE),
    *(Known(f"fit {name}", "wald_*", "poor", FIT_FEW) for name in _FEW),
    Known("fit normal 6", "profile_*", "poor", PROFILE_FEW),
    Known("fit normal 6 withstood", "profile_half", "poor", PROFILE_FEW),
    Known("fit weibull 10 withstood", "profile_*", "poor", PROFILE_FEW),
    Known("fit weibull 10 withstood", "wald_*", "poor", FIT_FEW),
    Known("fit lognormal 10", "profile_spread", "poor", PROFILE_FEW),
    Known("fit weibull3 *", "wald_low", "poor", THREE),
    Known("fit weibull3 *", "wald_spread", "poor", THREE),
    Known("fit normal to normal with fillings", "*", "poor", FIT_FILLINGS),
    Known("fit normal to weibull", "*", "poor", FIT_LAW),
    Known("fit * to contaminated", "low", "poor", FIT_LAW),
    Known("order 20 x 6 correlated", "Mann-Kendall", "poor", CORRELATED_TEST),
    Known("next step 4 normal", "when_narrow", "poor", STOPPING),
    Known("order statistics", "ranks", "conservative"),
    Known("pilot *", "enough", "conservative"),
    Known("pilot 8 weibull", "between", "poor", PILOT_TAIL),
    Known("precision 8 x 3 contaminated", "s_[rR]", "poor", LABS),
    Known("precision 8 x 3 weibull", "s_L", "conservative"),
    Known("precision 5 x 2 normal", "s_L", "conservative"),
    Known("precision 8 x 3 contaminated", "grubbs", "poor", LABS),
    Known("precision 8 uneven normal", "s_L", "conservative"),
    Known("survival normal 1 x 10", "log_low", "poor", PLAIN_KM),
    Known("survival normal 1 x 10", "plain_low", "conservative"),
    Known("survival normal 1 x 10", "plain_half", "poor", PLAIN_KM),
    Known("survival normal 5 x 6", "*_half", "poor", KM_FILLINGS),
    Known("survival normal 5 x 6", "plain_low", "poor", PLAIN_KM),
    Known("survival weibull 1 x 30", "log_low", "conservative"),
    Known("survival *", "plain_low", "poor", PLAIN_KM),
    Known("ecdf band 5 x 6", "band", "poor", KM_FILLINGS),
    Known("outliers contaminated 6", "grubbs", "poor", OUTLIERS),
    Known("components 3 x 5", "mean", "conservative", MEAN_SAFE),
    Known("components 5 x 5", "mean", "conservative", MEAN_SAFE),
    *(
        Known(f"components {name}", "mean", "conservative", MEAN_SAFE)
        for name in ("5 x 5 none between", "5 x 5 weibull", "5 x 5 contaminated", "5 x 5 wald", "6 uneven")
    ),
    Known("components 5 x 5 contaminated", "breakdown", "poor", CONTAMINATED_SD),
    Known("components 5 x 5 correlated", "filling", "poor", CORRELATED_COMPONENTS),
    Known("components 5 x 5 correlated", "icc", "poor", CORRELATED_COMPONENTS),
    Known("one way contaminated", "within", "poor", CONTAMINATED_SD),
    Known("one way contaminated", "total", "poor", CONTAMINATED_SD),
    Known("one way contaminated", "satterthwaite", "poor", CONTAMINATED_SD),
    Known("series of 6 normal", "Mann-Kendall", "conservative", RANKS),
    Known("series of 6 normal", "runs", "conservative", RANKS),
    Known("series of 6 normal", "sen", "conservative"),
    Known("shift 2-2 filling_means", "kv", "conservative"),
    Known("shift 2-2 mixed", "*", "conservative"),
    Known("shift withstood mixed", "*", "conservative"),
    Known("shift 2-5 *", "*", "conservative", FEW_AGAINST_MANY),
    Known("shift contaminated * filling_means", "f", "poor", CONTAMINATED_SD),
    Known("shift contaminated * filling_means", "robust", "poor", CONTAMINATED_SD),
    Known("holm *", "none", "poor", UNADJUSTED),
    Known("holm 3 normal", "holm", "conservative"),
    Known("pairs 5 normal unequal", "tukey", "poor", UNEQUAL_TUKEY),
    Known("agreement 30 contaminated", "*_lower", "poor", AGREEMENT),
    Known("plan mean fillings", "covers", "conservative", MEAN_WIDE),
    Known("plan mean low ones", "covers", "conservative", MEAN_WIDE),
    Known("plan mean hidden fillings", "covers", "poor", HIDDEN),
    Known("plan mean correlated one filling", "covers", "poor", HIDDEN),
    Known("plan mean correlation ignored", "narrow", "poor", PLAN_WIDE),
    Known("plan mean low ones", "narrow", "poor", PLAN_WIDE),
    Known("plan difference correlation ignored", "power", "poor", PLAN_WIDE),
    Known("pivot tails 20 normal", "point", "poor", PIVOT_LAW),
    Known("verdicts weibull", "guarded", "conservative", GUARDED_WEIBULL),
    Known("promise pilot", "narrow", "conservative"),
    Known("guarded 3 x 5 *", "*", "conservative", GUARDED_FEW),
    Known("borrowed 3 ratio 0", "mean", "conservative", MEAN_WIDE),
    Known("guarded 1 x 6 *", "pass", "conservative", GUARDED_ONE),
    Known("guarded 1 x 6 *", "band", "conservative", GUARDED_ONE),
    Known("paired 6 2 1.5 *", "bias", "conservative"),
    Known("paired 6 2 *", "band", "conservative"),
    Known("guarded 1 x 6 normal 5", "expanded", "poor", GUARDED_EXPANDED),
    Known("precision 8 x 3 contaminated", "cochran", "poor", LABS),
    Known("flags 6 x 2 contaminated", "cochran", "poor", LABS),
)


#: Short of the claim by less than the room, in circumstances that are told at the number.
TOLD: tuple[tuple[str, str], ...] = (("next step *", "when_narrow"), ("shift weibull *", "f"))


def told(study: str, claim: str) -> bool:
    """Whether a claim of a study is known, and said, to be short."""
    item = known(study, claim)
    return (item is not None and item.state == "poor") or any(
        fnmatchcase(study, s) and fnmatchcase(claim, c) for s, c in TOLD
    )


def known(study: str, claim: str) -> Known | None:
    """The first departure that is documented for a claim of a study; None where it is said to hold."""
    for item in KNOWN:
        if fnmatchcase(study, item.study) and fnmatchcase(claim, item.claim):
            return item
    return None

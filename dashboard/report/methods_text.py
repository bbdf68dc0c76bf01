"""How each statistic of a report is made, with the published source beside it."""

from __future__ import annotations

from dashboard.report.document import Method

#: Section key -> the statistics that it shows.
BY_SECTION: dict[str, tuple[Method, ...]] = {
    "read": (
        Method(
            "Reading",
            "Cells are read as text and parsed by one grammar; what is a guess is listed as one. Rows read are rows "
            "kept plus rows refused. The file is never changed; its SHA-256 identifies the bytes that were read.",
            "FIPS 180-4 (SHA-256)",
        ),
        Method(
            "Withstood",
            "A ceiling that was reached without a breakdown is right-censored: it is known only that the breakdown "
            "voltage lies above it. It never enters a mean as a value.",
            "W. Nelson, Applied Life Data Analysis, Wiley 1982",
        ),
    ),
    "percentiles": (
        Method(
            "Shift of percentiles",
            "By the family that fits best and by the data alone; limits by resampling fillings, seeded.",
            "B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, Chapman & Hall 1993",
        ),
    ),
    "distributions": (
        Method(
            "Step curve",
            "Share of readings at or below each voltage; with withstands the product-limit estimate.",
            "E. L. Kaplan and P. Meier, J. Am. Stat. Assoc. 53 (1958) 457",
        ),
        Method(
            "Fitted families",
            "Maximum likelihood, withstands as right-censored. Limits of parameters and percentiles by the normal "
            "approximation (delta method); they take the readings as independent.",
            "W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data, Wiley 1998",
        ),
        Method(
            "Choice between families",
            "AICc, smaller is better; a difference below about 2 decides nothing.",
            "K. P. Burnham and D. R. Anderson, Model Selection and Multimodel Inference, 2nd ed., Springer 2002",
        ),
        Method(
            "Anderson-Darling",
            "Goodness of fit with parameters estimated from the same readings.",
            "R. B. D'Agostino and M. A. Stephens, Goodness-of-Fit Techniques, Dekker 1986",
        ),
    ),
    "shift": (
        Method(
            "Shift of the mean",
            "The mean of a filling is the unit. Levels are compared within the same oil and averaged over the oils "
            "with equal weights; limits by Student's t with Welch's and Satterthwaite's degrees of freedom. The shift "
            "in per cent is a ratio of means with its own limits.",
            "B. L. Welch, Biometrika 34 (1947) 28; F. E. Satterthwaite, Biometrics Bull. 2 (1946) 110; "
            "E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175",
        ),
        Method(
            "p-values of several levels",
            "Adjusted so that the chance of any false alarm stays at the stated level; the limits are not adjusted.",
            "S. Holm, Scand. J. Stat. 6 (1979) 65",
        ),
        Method(
            "Ratio of scatters",
            "SD within fillings over that of the reference, with limits from F.",
            "G. W. Snedecor and W. G. Cochran, Statistical Methods, 8th ed., Iowa State 1989",
        ),
    ),
    "scatter": (
        Method(
            "Components of scatter",
            "Restricted maximum likelihood; with withstands maximum likelihood of the censored normal model. Columns "
            "of method and fluid that take several values are held fixed.",
            "S. R. Searle, G. Casella and C. E. McCulloch, Variance Components, Wiley 1992",
        ),
    ),
    "order": (
        Method(
            "Order effects",
            "Slope and first breakdown within each filling, averaged over fillings, Student's t; correlation of "
            "neighbours corrected for short series; tests of order summed over fillings.",
            "H. B. Mann, Econometrica 13 (1945) 245; J. von Neumann, Ann. Math. Stat. 12 (1941) 367; "
            "R. Bartels, J. Am. Stat. Assoc. 77 (1982) 40",
        ),
    ),
    "plan": (
        Method(
            "How many",
            "Variance of a mean = between-fillings variance / fillings + within-fillings variance / breakdowns. Two "
            "half-widths: the interval that the bench will compute from its own filling means (t), and the one for "
            "scatter known from history (normal quantile).",
            "W. G. Cochran, Sampling Techniques, 3rd ed., Wiley 1977, ch. 10",
        ),
    ),
    "consistency": (
        Method(
            "Consistency rules",
            "Each series is judged by the rule of its recognised protocol, in the order taken. Limits of how often a "
            "rule fired are those of Clopper and Pearson.",
            "C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404; the standard named in each row",
        ),
    ),
    "decision": (
        Method(
            "Pass or fail",
            "Mean against a limit of the same method, with the probability that the true mean lies on the other side.",
            "JCGM 106:2012 (ISO/IEC Guide 98-4); JCGM 100:2008 (GUM)",
        ),
    ),
    "precision": (
        Method(
            "Repeatability and reproducibility",
            "One-way analysis for each level; r and R are 2.8 times s_r and s_R. Mandel's h and k with computed "
            "critical values; Cochran's and Grubbs' tests flag and never remove.",
            "ISO 5725-2:2019; ASTM E691; J. Mandel, J. Qual. Technol. 17 (1985) 29",
        ),
    ),
    "pair": (
        Method(
            "Two methods",
            "Ratios of s_r and s_R with limits from F, averaged over the oils on the log scale. Limits of agreement on "
            "the same oils with the share of the methods' own scatter; lines with error in both. Discrimination: "
            "spread of the oils over that of a result.",
            "J. M. Bland and D. G. Altman, Stat. Methods Med. Res. 8 (1999) 135; K. Linnet, Clin. Chem. 39 (1993) 424; "
            "J. Mandel, The Statistical Analysis of Experimental Data, Wiley 1964",
        ),
    ),
}  # fmt: skip


def methods_of(keys: tuple[str, ...]) -> tuple[Method, ...]:
    """The methods of these sections, in their order."""
    return tuple(m for key in keys for m in BY_SECTION.get(key, ()))

"""What the method-study page says: questions, headings and help."""

from __future__ import annotations

from methods.families import DRAWN, EVERY_FAMILY, titles

QUESTIONS: dict[str, str] = {
    "rules": "What does a consistency rule do?",
    "gap": "Does the gap follow a power law?",
    "rate": "What does the rate of rise do?",
    "geometry": "Does the stressed oil explain the shift?",
    "agreement": "Do two methods agree on the same oils?",
    "apart": "Which method tells oils apart better?",
    "design": "Do more fillings beat more breakdowns?",
    "family": "Normal or Weibull: where does it matter?",
}

#: Scatter of breakdowns as it can be taken to be.
ASSUMED = {**titles(DRAWN), "contaminated": "normal, one in ten low"}
FAMILY_NAMES = {**titles(EVERY_FAMILY), **ASSUMED}

HELP = """
**Consistency rules.** A rule asks for more breakdowns when a series scatters too much. It fires on sound oils too: how
often depends on the oil's true scatter (coefficient of variation, SD in % of the mean). Check every limit against your
own copy of the standard.

**Gap law**: V = a · dᵐ, fillings as units, an own factor for each oil. A prediction beyond the tested gaps by more than
half is refused. **Rate of rise**: under a power life law with exponent n the voltage grows as rate^(1/(n+1)).

**Stressed oil**: the larger the surface near the peak field, the likelier a weak spot lies in it. The *weakest-link*
prediction takes the Weibull shape of these breakdowns; sharp-edged disks are out of reach, because their field has no
finite peak.

**Agreement**: differences on the same oils with the limits that hold 95 % of them. Lines with error in both methods
(Deming; Passing–Bablok, which no single oil can drag away). What stands there is an *association in these data, not a
conversion*.

**Telling oils apart**: signal (SD between oils) over noise (SD of a result on one oil), for a result and for an hour of
bench time. It holds for oils like these.

**Designs**: the variance of a mean is that between fillings over the fillings, plus that between breakdowns over all
breakdowns. **Gain**: how many times smaller the standard error is.

**Families** differ little in the middle and much at the low end, which no few dozen breakdowns can see.
"""

COLUMNS: dict[str, tuple[str, str]] = {
    "rule": ("Rule", "Consistency rule of a test method, or your own."),
    "cov_percent": ("CoV (%)", "True scatter within a filling, in % of the mean."),
    "own_cov_percent": ("Your CoV (%)", "Scatter within the series of these records, pooled."),
    "expected_percent": ("Expected (%)", "Share of sound tests of which it asks more at that scatter."),
    "fired_percent": ("In these records (%)", "Share of the judged series that broke the rule."),
    "fired_low": ("from", "Lower limit of that share (%)."),
    "fired_high": ("to", "Upper limit of that share (%)."),
    "judged": ("Judged", "Series long enough and without a withstood value."),
    "fired": ("Asked for more", "Series that broke the rule."),
    "more_percent": ("Asks for more (%)", "Share of tests."),
    "repeat_percent": ("Repeats (%)", "Share of tests repeated from the start; – where that limit is empty."),
    "bias_percent": ("Bias (%)", "Reported mean less the true one."),
    "bias_se": ("± SE", "Standard error of the simulation (%)."),
    "sd_percent": ("SD with rule (%)", "Scatter of the reported mean."),
    "sd_without_percent": ("SD without (%)", "Scatter of the plain mean of the first series."),
    "breakdowns": ("Breakdowns", "Taken, or on average taken for a reported mean."),
    "group": ("Group", "What was held apart."),
    "a_kv": ("a (kV)", "Voltage at 1 mm of the average oil."),
    "m": ("m", "Exponent of the gap."),
    "m_low": ("m from", "Lower limit of the exponent."),
    "m_high": ("m to", "Upper limit of the exponent."),
    "lack_of_fit_p": ("Lack of fit p", "Small: the points do not follow one power law. – with two values only."),
    "n_exponent": ("n", "Life exponent."),
    "n_low": ("n from", "Lower limit of n."),
    "n_high": ("n to", "Upper limit of n; – where no effect is not excluded."),
    "units": ("Units", "Fillings (or breakdowns) that the fit rests on."),
    "error": ("Not fitted", "Why this group has none."),
    "criterion": ("Criterion", "From where on oil counts as stressed."),
    "first_mm2": ("First (mm²)", "Stressed surface of the first electrode pair."),
    "second_mm2": ("Second (mm²)", "Stressed surface of the second."),
    "ratio": ("Ratio", "Second over first: predicted voltage."),
    "enhancement": ("Peak / mean field", "1 for flat plates."),
    "area_mm2": ("Stressed area (mm²)", "Surface at or above the chosen share of the peak field."),
    "volume_mm3": ("Stressed volume (mm³)", "Oil at or above it."),
    "midplane_percent": ("Midplane (%)", "Field half-way, in % of the peak."),
    "mark": ("Dimensions from", "Where the electrode's shape comes from."),
    "value": ("Value", "In the unit named beside the quantity."),
    "quantity": ("Quantity", "Of second less first."),
    "first_kv": ("First (kV)", "Mean of the first method on this oil."),
    "second_kv": ("Second (kV)", "Mean of the second method on this oil."),
    "first_results": ("Results of first", "Results on this oil."),
    "second_results": ("Results of second", "Results on this oil."),
    "line": ("Line", "With errors in both methods."),
    "slope": ("Slope", "kV of the second per kV of the first."),
    "slope_low": ("from", "Lower limit of the slope."),
    "slope_high": ("to", "Upper limit of the slope."),
    "intercept": ("Intercept (kV)", "Of the line."),
    "intercept_low": ("from", "Lower limit of the intercept (kV)."),
    "intercept_high": ("to", "Upper limit of the intercept (kV)."),
    "oils": ("Oils", "Tested by all of the methods."),
    "results": ("Results", "On these oils."),
    "signal_kv": ("Signal (kV)", "SD between oils, the noise taken out."),
    "noise_kv": ("Noise (kV)", "SD of a result on one oil."),
    "discrimination": ("Signal / noise", "Of one result."),
    "discrimination_low": ("from", "Lower limit."),
    "discrimination_high": ("to", "Upper limit."),
    "minutes": ("Bench minutes", "From the protocol's waits, pauses and ramps."),
    "per_hour": ("Per bench hour", "Signal over noise of the mean of an hour's results."),
    "per_hour_low": ("from", "Lower limit."),
    "per_hour_high": ("to", "Upper limit."),
    "design": ("Fillings × breakdowns", "Fillings of the cell times breakdowns on each."),
    "standard_error_kv": ("Standard error (kV)", "How far the mean lies from the truth, on average."),
    "gain": ("Gain", "How many times smaller the standard error is than the first design's."),
    "gain_low": ("from", "Lower limit of the gain."),
    "gain_high": ("to", "Upper limit of the gain."),
    "half_width_known_kv": ("± known (kV)", "Half-width when the scatter is known from history."),
    "half_width_kv": ("± own (kV)", "Half-width from the design's own fillings; – for one filling."),
    "half_width_percent": ("± own (%)", "The same in % of the mean."),
    "oil_ml": ("Oil (mL)", "Smallest cell, filled so many times."),
    "family": ("Family", "Family of distributions, best first."),
    "aicc": ("AICc", "Akaike's criterion for small samples: smaller is better on the same readings."),
    "delta": ("ΔAICc", "0 for the best; below 2 decides nothing."),
    "weight": ("Weight", "Support among these families, 1 in all."),
    "kv": ("At the low end (kV)", "The low percentile under this family."),
    "median_kv": ("At 50 % (kV)", "The median under this family."),
    "shift_percent": ("Expected shift (%)", "Between the two rates that you typed."),
    "shift_low": ("from", "Lower limit of the shift (%)."),
    "shift_high": ("to", "Upper limit of the shift (%)."),
}

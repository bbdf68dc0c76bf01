"""Water and temperature of the oil: a column, a confounder that is named, a line that the mixed model takes out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods import choose, read, shift
from methods.errors import InputError, NotEstimable
from methods.records.saturation import SATURATION, saturation, solubility_liquid
from methods.shifts import confounding
from methods.shifts.filling_model import Sums, fit_fillings
from methods.water import relative_saturation


def wet(dry: float = 8.0, moist: float = 35.0, seed: int = 0, slope: float = -0.5, oils: int = 1) -> pd.DataFrame:
    """Invented: two methods that read alike at like saturation; each filling has its own water."""
    rng = np.random.default_rng(seed)
    rows = []
    for oil in range(oils):
        for method, water in (("D877", dry), ("D1816", moist)):
            for f in range(6):
                w = water + rng.uniform(-4, 4)
                level = 60 + 5 * oil + slope * 100 * relative_saturation(w, 22.0) + rng.normal(0, 1.5)
                for _ in range(5):
                    rows.append(
                        {"sample": f"oil {oil}", "fluid": "mineral oil", "method": method, "filling": f"{f}",
                         "water_mg_kg": w, "temperature_c": 22.0, "kv": level + rng.normal(0, 3)}
                    )  # fmt: skip
    return pd.DataFrame(rows)


def test_the_column_is_water_over_what_dissolves() -> None:
    found = saturation(wet())
    assert found.iloc[0] == pytest.approx(100 * relative_saturation(wet()["water_mg_kg"].iloc[0], 22.0))
    assert [solubility_liquid(f) for f in ("Mineral oil", "natural-ester", "silicone")] == [
        "mineral",
        "natural_ester",
        None,
    ]
    unnamed = wet().drop(columns="fluid")
    assert saturation(unnamed).isna().all()  # the liquid is not guessed
    assert saturation(unnamed, "mineral").notna().all()
    assert saturation(wet().assign(fluid="natural ester")).isna().all()  # its constants are not certain enough


def test_reading_gives_the_column() -> None:
    rows = ["sample,fluid,water (mg/kg),temperature (C),b1,b2,b3", "A,mineral oil,20,22,50,52,48"]
    text = "\n".join([*rows, "B,mineral oil,,22,40,41,44", ""])
    table = read(text.encode(), name="wet.csv").table
    assert table.loc[0, SATURATION] == pytest.approx(100 * relative_saturation(20.0, 22.0))
    assert table.loc[table["sample"] == "B", SATURATION].isna().all()
    assert SATURATION not in read(b"sample,b1,b2\nA,50,52\n", name="dry.csv").table.columns


def test_a_method_tested_dry_and_the_other_wet_is_named() -> None:
    found = shift(wet(), "method", reference="D877")
    text = next(c.text for c in found.cautions if c.code == "confounded")
    assert "water content (D1816: 35" in text and "mg/kg" in text and "relative saturation" in text
    assert "cannot be told from these data" in text
    assert "confounded" not in [c.code for c in shift(wet(20, 21), "method").cautions]
    warm = wet(20, 20.5)
    warm.loc[warm["method"] == "D877", "temperature_c"] = 35.0
    assert any("temperature (D1816: 22 °C" in c.text for c in shift(warm, "method", reference="D877").cautions)


def test_water_said_for_one_method_alone_is_told() -> None:
    frame = wet()
    frame.loc[frame["method"] == "D877", "water_mg_kg"] = np.nan
    caution = next(c for c in shift(frame, "method", reference="D877").cautions if c.code == "state_not_said")
    assert "for D1816 but not for D877" in caution.text


def test_confounding_names_water_and_says_what_to_test() -> None:
    frame = wet().assign(electrode=lambda t: np.where(t["method"] == "D877", "disk", "mushroom"))
    found = confounding(frame)
    assert any("water content" in s and "disk" in s for s in found.sentences)
    assert any("like water content" in s for s in found.suggestions)
    assert not any("water" in s for s in confounding(frame.assign(water_mg_kg=20.0)).sentences)


def test_the_line_is_taken_out() -> None:
    frame = wet(18, 26, seed=3, oils=3)
    plain = shift(frame, "method", reference="D877").shifts[0]
    found = shift(frame, "method", reference="D877", model="mixed", covariates=["relative saturation"])
    level, line = found.shifts[0], found.covariates[0]
    assert plain.difference_kv < -4 and level.low_kv < 0 < level.high_kv
    assert line.low < -0.5 < line.high and line.covariate == SATURATION
    codes = [c.code for c in found.cautions]
    assert "covariate" in codes and not any("water content" in c.text for c in found.cautions if c.code == "confounded")
    assert "straight line of kV" in line.sentence


def test_the_line_agrees_with_statsmodels() -> None:
    """statsmodels live: MixedLM with one scatter for all; GLS with the variances found where each has its own."""
    import statsmodels.api as sm
    import statsmodels.formula.api as smf

    frame = wet(18, 26, seed=1).assign(rs=lambda t: saturation(t))
    frame["cell"] = frame["method"] + frame["filling"]
    found = shift(frame, "method", reference="D877", model="mixed", covariates=[SATURATION])
    live = smf.mixedlm("kv ~ C(method, Treatment('D877')) + rs", frame, groups=frame["cell"]).fit(reml=True)
    name = "C(method, Treatment('D877'))[T.D1816]"
    sums = Sums.of(frame["kv"].to_numpy(), pd.factorize(frame["cell"])[0])
    first = frame.iloc[sums.first]
    x = np.column_stack([np.ones(len(first)), first["method"] == "D1816", first["rs"]]).astype(float)
    one = fit_fillings(sums, x, np.zeros(len(first), dtype=np.int64))
    for i, key in ((1, name), (2, "rs")):
        assert one.beta[i] == pytest.approx(live.params[key], rel=1e-3)
        assert np.sqrt(one.plain[i, i]) == pytest.approx(live.bse[key], rel=1e-2)
    own = fit_fillings(sums, x, x[:, 1].astype(np.int64))
    of_mean = [own.variances[f"between {i}"] + own.variances[f"within {i}"] / 5 for i in (0, 1)]
    gls = sm.GLS(sums.mean, x, sigma=np.array(of_mean)[x[:, 1].astype(int)]).fit()
    assert found.shifts[0].difference_kv == pytest.approx(gls.params[1], rel=1e-5)
    assert found.covariates[0].slope == pytest.approx(gls.params[2], rel=1e-5)


def test_what_cannot_be_taken_out_is_said() -> None:
    with pytest.raises(InputError, match="mixed model only"):
        shift(wet(), "method", covariates=[SATURATION])
    with pytest.raises(NotEstimable, match="name the liquid"):
        shift(wet().drop(columns="fluid"), "method", model="mixed", covariates=["rs"])
    same = wet(oils=3).assign(water_mg_kg=lambda t: 10.0 + t["sample"].str[-1].astype(float))
    with pytest.raises(NotEstimable, match="the same in all tests of an oil"):
        shift(same, "method", model="mixed", covariates=["water_mg_kg"])
    apart = shift(wet(), "method", model="mixed", covariates=["water_mg_kg"])
    assert "extrapolated" in [c.code for c in apart.cautions]
    holes = wet(18, 26)
    holes.loc[holes["filling"] == "0", "water_mg_kg"] = np.nan
    lost = shift(holes, "method", model="mixed", covariates=["water_mg_kg"])
    assert any(c.code == "covariate_missing" and "10 of 60" in c.text for c in lost.cautions)


def _wet(stirring: str | None = None) -> pd.DataFrame:
    """Invented: two oils, one method tested at 8 mg/kg of water, the other at 35."""
    return pd.DataFrame(
        [
            {"method": m, "sample": o, "filling": f, "kv": base + 3 * i - 10 * j + f, "water_mg_kg": w,
             "temperature_c": 22.0, "fluid": "mineral oil", "stirring": stirring if j else "continuous"}
            for j, (m, w) in enumerate((("IEC 60156", 8.0), ("ASTM D1816 2 mm", 35.0)))
            for o, base in (("A", 55.0), ("B", 65.0)) for f in (1, 2, 3) for i in range(3)
        ]
    )  # fmt: skip


def test_which_method_says_first_that_one_was_tested_wet() -> None:
    first = choose(_wet(), repetitions=100).cautions[0]
    assert first.code == "confounded" and "water content" in first.text and "35 mg/kg" in first.text
    dry = _wet().assign(water_mg_kg=8.0)
    assert "water" not in " ".join(c.text for c in choose(dry, repetitions=100).cautions)


def test_between_methods_water_is_said_before_what_the_methods_prescribe() -> None:
    texts = [c.text for c in shift(_wet(), "method").cautions if c.code == "confounded"]
    assert "water content" in texts[0] and len(texts) > 1


def test_no_test_asks_for_what_is_not_said() -> None:
    found = confounding(_wet())
    assert any("like water content" in s for s in found.suggestions)
    assert not any("not said" in s for s in found.suggestions)


def test_where_no_oil_is_shared_the_first_test_is_one_that_a_method_prescribes() -> None:
    table = _wet().drop(columns=["water_mg_kg"])
    table["gap_mm"] = table["method"].map({"IEC 60156": 2.5}).fillna(2.0)
    apart = table[(table["method"] == "IEC 60156") == (table["sample"] == "A")]
    found = confounding(apart)
    assert found.suggestions[0].endswith("on B too") and "gap 2.5 mm" in found.suggestions[0]
    assert found.missing[0]["sample"] == "B" and found.missing[0]["gap_mm"] == 2.5

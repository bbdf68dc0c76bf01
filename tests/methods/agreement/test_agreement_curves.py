"""The curves of the agreement plots lie on the numbers of the agreement."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.agreement import compare_methods
from methods.agreement.agreement_curves import differences, line_points, prediction_band


@pytest.fixture(scope="module")
def found() -> object:
    rng = np.random.default_rng(4)
    rows = [
        {"sample": f"oil {o}", "method": m, "filling": str(f), "order": 1, "outcome": "breakdown",
         "kv": (1.2 if m == "B" else 1.0) * (30 + 4 * o) + rng.normal(0, 1)}
        for o in range(8) for m in ("A", "B") for f in (1, 2)
    ]  # fmt: skip
    return compare_methods(pd.DataFrame(rows))


def test_differences_average_to_the_bias(found: object) -> None:
    assert differences(found)["difference"].mean() == pytest.approx(found.absolute.bias)
    ratios = differences(found, relative=True)["difference"]
    assert np.expm1(np.log1p(ratios / 100).mean()) * 100 == pytest.approx(found.relative.bias)


def test_lines_and_band_are_those_of_the_agreement(found: object) -> None:
    lines = line_points(found)
    assert set(lines["line"]) == {"equal", found.deming.method, found.passing_bablok.method}
    x, y = lines.loc[lines["line"] == found.deming.method, ["first_kv", "second_kv"]].to_numpy().T
    assert np.diff(y)[0] / np.diff(x)[0] == pytest.approx(found.deming.slope)
    band = prediction_band(found)
    point = found.predict(float(band["first_kv"].iloc[7]))
    assert (point.low_kv, point.high_kv) == tuple(band.loc[7, ["low_kv", "high_kv"]])

"""Solubility of water and relative saturation."""

from __future__ import annotations

import numpy as np
import pytest

from methods.errors import InputError
from methods.water import SOLUBILITY, constants, relative_saturation, solubility

# Worked from the constants (trade knowledge): mg/kg at 20, 25, 60 degrees Celsius.
WORKED = {"mineral": (53, 66, 255), "mineral_alternative": (56, 68, 243)}


@pytest.mark.parametrize("liquid", WORKED)
def test_solubility(liquid: str) -> None:
    found = solubility([20, 25, 60], liquid)
    assert np.allclose(found, WORKED[liquid], atol=0.6)


def test_relative_saturation_of_20_mg_kg() -> None:
    """36, 29 and 8 % at 20, 25 and 60 degrees with the second set of constants; the first gives 38, 30 and 8 %."""
    assert np.round(100 * relative_saturation(20, [20, 25, 60], "mineral_alternative")).tolist() == [36, 29, 8]
    assert np.round(100 * relative_saturation(20, [20, 25, 60], "mineral")).tolist() == [38, 30, 8]


def test_constants_of_ones_own() -> None:
    """Natural ester as remembered: about 1000, 1090 and 1900 mg/kg at 20, 25 and 60 degrees."""
    own = (5.3318, 684.0)
    assert np.allclose(solubility([20, 25, 60], own), (1000, 1090, 1900), rtol=0.01)
    assert relative_saturation(500.0, 20.0, own) == pytest.approx(0.5, abs=0.01)


def test_shapes_and_missing() -> None:
    assert isinstance(relative_saturation(10, 20), float)
    assert np.isnan(relative_saturation([np.nan, 10], [20, np.nan])).all()
    assert solubility(np.full((2, 3), 20.0)).shape == (2, 3)
    rising = solubility(np.linspace(-20, 100, 50))
    assert (np.diff(rising) > 0).all()


def test_marks() -> None:
    for entry in SOLUBILITY.values():
        assert entry.source and (entry.mark == "uncertain") == (entry.a is None)


@pytest.mark.parametrize("liquid", ["natural_ester", "synthetic_ester", "whale", (1.0, -5.0), (float("nan"), 2.0)])
def test_uncertain_or_unknown_liquids_are_refused(liquid: object) -> None:
    with pytest.raises(InputError):
        constants(liquid)  # type: ignore[arg-type]


@pytest.mark.parametrize(("water", "temperature"), [(-1, 20), (10, 200), (10, float("inf")), ([10, -3], 20)])
def test_out_of_range(water: object, temperature: float) -> None:
    with pytest.raises(InputError):
        relative_saturation(water, temperature)  # type: ignore[arg-type]

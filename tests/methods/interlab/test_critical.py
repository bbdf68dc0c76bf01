"""Critical values against ISO 5725-2's tables and R packages (every value of case E06)."""

from __future__ import annotations

import re

import numpy as np
import pytest

from methods.errors import InputError
from methods.interlab import (
    cochran_critical,
    grubbs_pair_critical,
    mandel_h_critical,
    mandel_k_critical,
)
from methods.interlab.critical import cochran_p, grubbs_pair_p
from methods.scatter.outliers import grubbs_critical, grubbs_p
from tests.reference import agrees, names


@pytest.mark.parametrize("name", names("E06"))
def test_critical_value(name: str) -> None:
    p, a = int(re.search(r"_p(\d+)", name)[1]), float(name.rpartition("_a")[2])
    n = int(found[1]) if (found := re.search(r"_n(\d+)", name)) else 0
    if name.startswith("h_"):
        value = mandel_h_critical(p, 1 - a)
    elif name.startswith("k_"):
        value = mandel_k_critical(p, n, 1 - a)
    elif name.startswith("cochran"):
        value = cochran_critical(p, n, 1 - a)
    else:
        value = grubbs_critical(p, 1 - a, two_sided="two_sided" in name)
    agrees("E06", name, value)


@pytest.mark.parametrize(
    ("p", "one_percent", "five_percent"),
    # ISO 5725-2:1994 table 5, two largest or two smallest (from memory)
    [(5, 0.0018, 0.0090), (6, 0.0116, 0.0349), (8, 0.0563, 0.1101), (10, 0.1150, 0.1864)],
)
def test_two_value_grubbs(p: int, one_percent: float, five_percent: float) -> None:
    assert grubbs_pair_critical(p, 0.99) == pytest.approx(one_percent, abs=0.003)
    assert grubbs_pair_critical(p, 0.95) == pytest.approx(five_percent, abs=0.003)


def test_p_values_meet_the_critical_values() -> None:
    assert grubbs_p(grubbs_critical(9, 0.95), 9) == pytest.approx(0.05)
    assert grubbs_pair_p(grubbs_pair_critical(9, 0.95), 9) == pytest.approx(0.05, abs=1e-3)
    assert 0 < grubbs_pair_p(1e-6, 9) < 1e-6
    c = cochran_critical(8, 3, 0.99)
    rest = np.full(7, (1 - c) / 7)
    assert cochran_p(np.array([c, *rest]), np.full(8, 3)) == pytest.approx(0.01)


def test_too_few_laboratories_are_refused() -> None:
    with pytest.raises(InputError, match="at least 3"):
        mandel_h_critical(2)

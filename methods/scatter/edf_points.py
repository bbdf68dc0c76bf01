"""Published points and p-value formulas of goodness-of-fit statistics with estimated parameters."""

from __future__ import annotations

import numpy as np

#: Upper-tail levels of the tables below.
LEVELS = (0.25, 0.10, 0.05, 0.025, 0.01)
#: Modified Anderson-Darling points; published: Stephens, JASA 69 (1974) 730; D'Agostino & Stephens,
#: Goodness-of-Fit Techniques (1986), tables 4.7 and 4.17. nan: not in the source as recalled.
TABLE_NORMAL = (np.nan, 0.631, 0.752, 0.873, 1.035)
TABLE_EXTREME = (0.474, 0.637, 0.757, 0.877, 1.038)

# Pieces of Stephens' p-value formulas for estimated mean and SD (D'Agostino & Stephens 1986, table 4.9):
# up to the first number, coefficients of the exponent, and whether p is one minus the exponential.
_AD = (
    (0.2, (-13.436, 101.14, -223.73), True),
    (0.34, (-8.318, 42.796, -59.938), True),
    (0.6, (0.9177, -4.279, -1.38), False),
    (10.0, (1.2937, -5.709, 0.0186), False),
)
_CVM = (
    (0.0275, (-13.953, 775.5, -12542.61), True),
    (0.051, (-5.903, 179.546, -1515.29), True),
    (0.092, (0.886, -31.62, 10.897), False),
    (1.1, (1.111, -34.242, 12.832), False),
)


def _piecewise(value: float, pieces: tuple[tuple[float, tuple[float, float, float], bool], ...]) -> float:
    for upper, (c0, c1, c2), complement in pieces:
        if value < upper:
            e = float(np.exp(c0 + c1 * value + c2 * value**2))
            return min(1.0, max(0.0, 1 - e if complement else e))
    return 0.0


def normal_p_value(modified: float) -> float:
    """p-value of the modified Anderson-Darling statistic for a normal with estimated mean and SD."""
    return _piecewise(modified, _AD)


def cramer_p_value(modified: float) -> float:
    """p-value of the modified Cramer-von Mises statistic for a normal with estimated mean and SD."""
    return _piecewise(modified, _CVM)


def lilliefors_p_value(d: float, n: int) -> float:
    """p-value of Kolmogorov's D for a normal with estimated mean and SD.

    Dallal & Wilkinson, Amer. Statist. 40 (1986) 294 where it is at most 0.1 (their range); above that the
    polynomials fitted to the percentage points of Stephens (1974), as in R's nortest.
    """
    size = min(n, 100)
    scaled = d if n <= 100 else d * (n / 100) ** 0.49
    root = np.sqrt(size + 2.78019)
    p = float(
        np.exp(
            -7.01256 * scaled**2 * root**2
            + 2.99587 * scaled * root
            - 0.122119
            + 0.974598 / np.sqrt(size)
            + 1.67997 / size
        )
    )
    if p <= 0.1:
        return p
    k = (np.sqrt(n) - 0.01 + 0.85 / np.sqrt(n)) * d
    if k <= 0.302:
        return 1.0
    for upper, c in (
        (0.5, (2.76773, -19.828315, 80.709644, -138.55152, 81.218052)),
        (0.9, (-4.901232, 40.662806, -97.490286, 94.029866, -32.355711)),
        (1.31, (6.198765, -19.558097, 23.186922, -12.234627, 2.423045)),
    ):
        if k <= upper:
            return min(1.0, float(np.polyval(c[::-1], k)))
    return 0.0

"""Regression of location on explanatory columns with one common scatter, withstands right-censored.

``y = X b + sigma z`` with ``y = kv`` or ``ln kv`` and ``z`` from the family's standard kernel; for the Weibull
this is ``ln(scale) = X b`` with a common shape ``1 / sigma`` (the power law when a column of X is a logarithm).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable
from methods.families import Family, family_of
from methods.scatter.arguments import check_values
from methods.scatter.many import aicc

Array = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Regression:
    """A fitted location-scale regression.

    Attributes
    ----------
    family : str
    n, withstood : int
        All values; how many were right-censored.
    coefficients, standard_errors : dict
        By name, on the scale of kV or (Weibull, lognormal) ln kV.
    sigma, sigma_log_se : float
        Common scatter on that scale, and the standard error of its logarithm. Weibull shape = 1 / sigma.
    log_likelihood : float
        On the original scale of the values.
    aicc : float
    covariance : array (k + 1, k + 1)
        Of the coefficients and, last, ``ln sigma``.
    """

    family: str
    n: int
    withstood: int
    coefficients: dict[str, float]
    standard_errors: dict[str, float]
    sigma: float
    sigma_log_se: float
    log_likelihood: float
    aicc: float
    covariance: Array

    @property
    def shape(self) -> float:
        """``1 / sigma``: the common shape, for the Weibull."""
        return 1 / self.sigma

    def limits(self, confidence: float = 0.95) -> dict[str, tuple[float, float]]:
        """Wald limits of each coefficient, two-sided."""
        z = float(scipy.special.ndtri(0.5 + confidence / 2))
        return {
            k: (b - z * self.standard_errors[k], b + z * self.standard_errors[k]) for k, b in self.coefficients.items()
        }

    def quantile(self, x: Any, p: float, *, confidence: float = 0.95) -> tuple[Array, Array, Array]:
        """Voltage, kV, below which the fraction ``p`` breaks down at design rows ``x`` (m, k), and its limits.

        Wald limits, on ln kV for families of positive voltages. Three arrays (m,).
        """
        fam = family_of(self.family)
        rows = np.atleast_2d(np.asarray(x, dtype=float))
        z_p = float(fam.kernel.quantile(np.array(p)))
        centre = rows @ np.array(list(self.coefficients.values())) + self.sigma * z_p
        grad = np.column_stack([rows, np.full(len(rows), self.sigma * z_p)])
        se = np.sqrt(np.einsum("mi,ij,mj->m", grad, self.covariance, grad))
        z = float(scipy.special.ndtri(0.5 + confidence / 2))
        out = (centre, centre - z * se, centre + z * se)
        return tuple(np.exp(v) for v in out) if fam.log else out


def location_scale_regression(
    kv: Any,
    x: Any,
    withstood: Any = None,
    family: str = "weibull",
    *,
    names: Sequence[str] | None = None,
    offset: Any = None,
) -> Regression:
    """Fit ``y = x b + sigma z`` by maximum likelihood with right-censored withstands.

    Parameters
    ----------
    kv : array (n,)
        Values; for Weibull and lognormal positive, and their logarithm is taken here.
    x : array (n, k)
        Design matrix; include a column of ones for an intercept.
    withstood : bool array (n,), optional
    family : str
        Any but ``weibull3``.
    names : sequence of str, optional
        Of the columns; default ``b0, b1, ...``.
    offset : array (n,), optional
        Added to ``z``: a known proportionality of the cumulative hazard on the log scale. With the logarithm of
        the stressed area this is the weakest-link model of the Weibull.

    Raises
    ------
    InputError
        Shapes that differ, values that cannot be used.
    NotEstimable
        Columns that cannot be told apart, too few breakdowns, no scatter left over.

    Notes
    -----
    Newton on ``(b / sigma, 1 / sigma)``, where the log-likelihood is concave (Burridge 1981). Lawless,
    Statistical Models and Methods for Lifetime Data (2003), chapter 6.
    """
    fam = family_of(family)
    if len(fam.parameters) == 3:
        raise InputError("The three-parameter Weibull has no regression here.", column="family")
    values, gone = check_values(kv, withstood, positive=fam.log)
    design, shift, labels = _check_design(values, x, names, offset)
    y = np.log(values) if fam.log else values
    _check_rank(y, design, gone)
    beta, sigma, value, info = _solve(fam, y, design, ~gone, shift)
    try:
        cov = np.linalg.inv(info)
    except np.linalg.LinAlgError:
        raise NotEstimable(
            "The coefficients cannot be told apart: too few breakdowns for so many.", column="x"
        ) from None
    ll = value - (float(y[~gone].sum()) if fam.log else 0.0)
    se = np.sqrt(np.diag(cov))
    return Regression(
        fam.name, len(y), int(gone.sum()), dict(zip(labels, beta.tolist(), strict=True)),
        dict(zip(labels, se[:-1].tolist(), strict=True)), float(sigma), float(se[-1]), ll,
        float(aicc(ll, design.shape[1] + 1, len(y))), cov,
    )  # fmt: skip


def power_law(stress: Any, kv: Any, withstood: Any = None, family: str = "weibull") -> Regression:
    """``ln(location) = b0 + b1 ln(stress)`` with a common scatter; coefficients ``intercept, exponent``.

    ``stress`` (n,) is whatever is raised to a power: gap in mm, rate of rise in kV/s, voltage. The family must
    live on ln kV (``weibull``, ``lognormal``).
    """
    s, _ = check_values(stress, None)
    if not family_of(family).log:
        raise InputError(f"A power law needs a family of ln kV, not {family}.", column="family")
    return location_scale_regression(
        kv, np.column_stack([np.ones(len(s)), np.log(s)]), withstood, family, names=("intercept", "exponent")
    )


def _check_design(values: Array, x: Any, names: Sequence[str] | None, offset: Any) -> tuple[Array, Array, list[str]]:
    design = np.asarray(x, dtype=float)
    design = design[:, None] if design.ndim == 1 else design
    if design.ndim != 2 or len(design) != len(values) or not np.isfinite(design).all():
        raise InputError(f"x must hold finite numbers in {len(values)} rows, one a value.", column="x")
    shift = np.zeros(len(values)) if offset is None else np.asarray(offset, dtype=float)
    if shift.shape != values.shape or not np.isfinite(shift).all():
        raise InputError(f"offset must hold {len(values)} finite numbers.", column="offset")
    labels = [f"b{i}" for i in range(design.shape[1])] if names is None else [str(n) for n in names]
    if len(labels) != design.shape[1] or len(set(labels)) != len(labels):
        raise InputError(f"names must name each of the {design.shape[1]} columns once.", column="names")
    return design, shift, labels


def _check_rank(y: Array, design: Array, gone: Array) -> None:
    k = design.shape[1]
    if np.linalg.matrix_rank(design[~gone]) < k:
        raise NotEstimable(
            f"The breakdowns cannot tell the {k} coefficients apart: some columns move together, or hold no breakdown.",
            column="x",
        )
    b, *_ = np.linalg.lstsq(design[~gone], y[~gone], rcond=None)
    left = y[~gone] - design[~gone] @ b
    size = np.sqrt((left**2).mean())
    if size <= 1e-10 * max(1.0, float(np.abs(y).max())) and not (y[gone] > design[gone] @ b).any():
        raise NotEstimable(
            "The coefficients fit every breakdown exactly, so there is no scatter to judge by.", column="kv"
        )


def _solve(fam: Family, y: Array, design: Array, event: Array, shift: Array) -> tuple[Array, float, float, Array]:
    """Maximise over ``theta = (b / sigma, 1 / sigma)``; estimates, value and information of ``(b, ln sigma)``."""
    basis, r_matrix = np.linalg.qr(design)
    start, *_ = np.linalg.lstsq(basis, y, rcond=None)
    spread = float(np.sqrt(((y - basis @ start) ** 2).mean())) or 1.0
    residual = (y - basis @ start) / spread
    full = np.column_stack([-basis, residual])
    r = int(event.sum())
    gone = ~event

    def terms(theta: Array) -> tuple[float, Array, Array]:
        z = full @ theta + shift
        value, d1, d2 = fam.kernel.density(z)
        if gone.any():
            value[gone], d1[gone], d2[gone] = fam.kernel.survival(z[gone])
        tau = theta[-1]
        grad = full.T @ d1
        hess = (full * d2[:, None]).T @ full
        grad[-1] += r / tau
        hess[-1, -1] -= r / tau**2
        return float(value.sum() + r * np.log(tau)), grad, hess

    theta = np.append(np.zeros(design.shape[1]), fam.kernel.sd)
    value, grad, hess = terms(theta)
    for _ in range(200):
        step = -np.linalg.lstsq(hess, grad, rcond=None)[0]
        size = min(1.0, 0.75 * theta[-1] / max(abs(step[-1]), 1e-300), 3.0 / max(np.abs(full @ step).max(), 1e-300))
        if np.abs(step).max() <= 1e-9 * (1 + np.abs(theta).max()):
            break
        new = terms(theta + size * step)
        while not new[0] >= value - 1e-9 * (1 + abs(value)) and size > 1e-12:
            size /= 2
            new = terms(theta + size * step)
        theta, (value, grad, hess) = theta + size * step, new
    else:
        raise NotEstimable("The regression found no maximum: too few breakdowns for so many coefficients.", column="x")
    sigma = spread / theta[-1]
    in_basis = start + sigma * theta[:-1]
    beta = np.linalg.solve(r_matrix, in_basis)
    # (b, ln sigma) -> theta: b enters through r_matrix, and every entry of theta scales with 1 / sigma.
    k = design.shape[1]
    jac = np.zeros((k + 1, k + 1))
    jac[:k, :k] = r_matrix / sigma
    jac[:, -1] = -theta
    return beta, sigma, value - r * float(np.log(spread)), jac.T @ -hess @ jac

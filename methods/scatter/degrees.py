"""How well the variances are known, and the degrees of freedom that follow for a contrast of fixed effects.

Sources: Kenward & Roger, Biometrics 53 (1997) 983; Fai & Cornelius, J. Stat. Comput. Simul. 54 (1996) 363
(Satterthwaite for mixed models). For a single contrast both give the same degrees of freedom,
``2 v^2 / (g' W g)``; they differ in the standard error, which Kenward and Roger correct for the variances
having been estimated. A variance at zero stays in ``W``: leaving it out would pretend that it is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from methods.scatter.reml import Collapsed, Criterion, VarianceEstimate

Floats = NDArray[Any]

#: Above this number of cells the exact information (dense matrices) gives way to a numerical one.
DENSE_CELLS = 1200


@dataclass(frozen=True)
class FixedEffects:
    """Covariance of the fixed effects, its correction, of the variances, and what a contrast needs."""

    covariance: Floats
    corrected: Floats
    variance_covariance: Floats
    slopes: Floats

    def degrees(self, row: Floats) -> float:
        """Satterthwaite degrees of freedom of the contrast ``row @ beta``."""
        v = float(row @ self.covariance @ row)
        g = np.array([row @ s @ row for s in self.slopes])
        spread = float(g @ self.variance_covariance @ g)
        return 2 * v * v / spread if spread > 0 else np.inf


def fixed_effects(criterion: Criterion, estimate: VarianceEstimate) -> FixedEffects:
    """Information on the variances (factors first, then residual groups) at the estimate."""
    cells = criterion.cells
    if len(cells.mean) > DENSE_CELLS:
        return _numerical(criterion, estimate)
    z = [_columns(f, n) for f, n in zip(cells.factors, criterion.levels, strict=True)]
    inverse = _inverse(cells, z, estimate)
    vx = inverse @ cells.x
    covariance = np.linalg.inv(cells.x.T @ vx)
    p = inverse - vx @ covariance @ vx.T
    groups = [np.where(cells.group == g, 1 / cells.weight, 0.0) for g in range(criterion.groups)]
    pv = [(p @ zk) @ zk.T for zk in z] + [p * d for d in groups]
    information = np.array([[0.5 * float(np.sum(a * b.T)) for b in pv] for a in pv])
    k = len(z)
    for g in range(criterion.groups):
        information[k + g, k + g] += 0.5 * cells.within_df[g] / estimate.residual[g] ** 2
    w = np.linalg.pinv(information, hermitian=True)
    # X'V^-1 V_i V^-1 X, which is minus the slope of X'V^-1X in variance i, and the second-order products
    half = [zk.T @ vx for zk in z] + [np.sqrt(d)[:, None] * vx for d in groups]
    first = [h.T @ h for h in half]
    applied = [zk @ h for zk, h in zip(z, half[:k], strict=True)] + [d[:, None] * vx for d in groups]
    middle = np.zeros_like(covariance)
    for i, a in enumerate(applied):
        for j, b in enumerate(applied):
            middle += w[i, j] * (a.T @ inverse @ b - first[i] @ covariance @ first[j])
    corrected = covariance + 2 * covariance @ middle @ covariance
    slopes = np.array([covariance @ f @ covariance for f in first])
    return FixedEffects(covariance, (corrected + corrected.T) / 2, w, slopes)


def _columns(code: NDArray[np.int64], levels: int) -> Floats:
    z = np.zeros((len(code), levels))
    keep = code >= 0
    z[np.flatnonzero(keep), code[keep]] = 1.0
    return z


def _inverse(cells: Collapsed, z: list[Floats], estimate: VarianceEstimate) -> Floats:
    v = np.diag(estimate.residual[cells.group] / cells.weight)
    for zk, variance in zip(z, estimate.variances, strict=True):
        v += variance * (zk @ zk.T)
    return np.linalg.inv(v)


def _covariance_at(criterion: Criterion, variances: Floats, residual: Floats) -> Floats:
    s2 = residual[0]
    return np.linalg.inv(criterion.parts(variances / s2, residual / s2)[0]) * s2


def _numerical(criterion: Criterion, estimate: VarianceEstimate) -> FixedEffects:
    """Observed information by differences, for large tables; the correction is negligible there and left out."""
    k = len(estimate.variances)
    at = np.concatenate([estimate.variances, estimate.residual])
    scale = at.copy()
    scale[:k] = np.maximum(at[:k], estimate.residual.mean() / criterion.size)
    step = 2e-3 * scale
    base = at.copy()
    base[:k] = np.maximum(at[:k], step[:k])  # differences must stay where the variances are not negative

    def f(d: Floats) -> float:
        v = base + d * step
        return criterion.evaluate(v[:k] / v[k], v[k:] / v[k], v[k])[0]

    m = len(at)
    eye = np.eye(m)
    centre = f(np.zeros(m))
    plus = [f(e) for e in eye]
    minus = [f(-e) for e in eye]
    hessian = np.zeros((m, m))
    for i in range(m):
        hessian[i, i] = plus[i] - 2 * centre + minus[i]
        for j in range(i):
            both = f(eye[i] + eye[j]) + f(-eye[i] - eye[j])
            hessian[i, j] = hessian[j, i] = (both - plus[i] - plus[j] - minus[i] - minus[j] + 2 * centre) / 2
    w = np.linalg.pinv(hessian / np.outer(step, step) / 2, hermitian=True)
    covariance = _covariance_at(criterion, estimate.variances, estimate.residual)
    slopes = []
    for e in eye:
        up, down = base + e * step, base - e * step
        difference = _covariance_at(criterion, up[:k], up[k:]) - _covariance_at(criterion, down[:k], down[k:])
        slopes.append(difference / (2 * (e @ step)))
    return FixedEffects(covariance, covariance, w, np.array(slopes))

"""The three-parameter Weibull: a threshold below which no breakdown happens, found by profiling.

The likelihood is unbounded as the threshold rises to the smallest breakdown with a shape below 1. What is
reported is the interior local maximum (shape above 1) where there is one, as published fits do (Lawless,
Statistical Models and Methods for Lifetime Data, 2nd ed. 2003, section 4.2; Smith & Naylor, Appl. Statist.
36 (1987) 358). A threshold below 0 kV means nothing for a voltage, so the search stops at 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from methods.families import SEV
from methods.scatter.newton import fit_batch

Array = np.ndarray[Any, Any]

UNBOUNDED = (
    "the likelihood has no maximum: it grows without bound as the threshold nears the smallest breakdown, so these "
    "values cannot tell a threshold; use the two-parameter Weibull"
)
TOO_FEW = "a shape, a scale and a threshold need at least three different breakdowns"
AT_ZERO = "at_zero"
LOCAL = "local"

#: Fractions of the way from the smallest breakdown down to 0 kV at which the profile is first looked at.
_GRID = np.concatenate([np.geomspace(1e-5, 0.05, 14), np.linspace(0.08, 1.0, 18)])[::-1]


#: Numbers worked on in one call while looking along the grid.
_TOGETHER = 100_000


@dataclass(frozen=True)
class Threshold:
    """Arrays with one row a group; ``covariance`` (rows, 3, 3) is of ``(mu, ln sigma, threshold)``."""

    mu: Array
    sigma: Array
    threshold: Array
    log_likelihood: Array
    covariance: Array
    reason: Array
    note: Array


def fit_threshold(x: Array, event: Array, valid: Array) -> Threshold:
    """Fit shape, scale and threshold to each row of ``x`` (rows, n), kV; every row must be estimable in two.

    Parameters
    ----------
    x : ndarray
        (rows, n) Voltages, kV.
    event : ndarray
        (rows, n) Which of them are breakdowns.
    valid : ndarray
        (rows, n) Which of them are values and no padding.
    """
    rows = len(x)
    lowest = np.where(event, x, np.inf).min(1)
    reason = np.full(rows, "", dtype=object)
    distinct = _distinct(x, event)
    reason[distinct < 3] = TOO_FEW
    mu, sigma, gamma, ll = (np.full(rows, np.nan) for _ in range(4))
    note = np.full(rows, "", dtype=object)
    cov = np.full((rows, 3, 3), np.nan)
    todo = np.flatnonzero(distinct >= 3)
    if len(todo):
        xs, es, vs, low = x[todo], event[todo], valid[todo], lowest[todo]
        left, right, at_zero, found, unbounded = _bracket(xs, es, vs, low)
        root = _root(xs, es, vs, left, right)
        g = np.where(at_zero, 0.0, root)
        profile = _Profile(xs, es, vs, g)
        use = todo[found]
        mu[use], sigma[use], gamma[use] = profile.mu[found], profile.sigma[found], g[found]
        ll[use] = profile.value[found]
        cov[use] = _covariance(profile, at_zero)[found]
        note[use] = np.where(at_zero[found], AT_ZERO, np.where(unbounded[found], LOCAL, ""))
        reason[todo[~found]] = UNBOUNDED
    return Threshold(mu, sigma, gamma, ll, cov, reason, note)


def _distinct(x: Array, event: Array) -> Array:
    """Number of different breakdowns in each row."""
    ordered = np.sort(np.where(event, x, np.inf), axis=1)
    with np.errstate(invalid="ignore"):
        steps = (np.diff(ordered, axis=1) > 0) & np.isfinite(ordered[:, 1:])
    return steps.sum(1) + np.isfinite(ordered[:, 0])


class _Profile:
    """Shape and scale fitted at a given threshold, the log-likelihood there and its slope by the threshold."""

    def __init__(
        self, x: Array, event: Array, valid: Array, gamma: Array, start: tuple[Array, Array] | None = None
    ) -> None:
        # A withstand at or below the threshold says nothing: it survives with certainty.
        keep = valid & (event | (x > gamma[:, None]))
        distance = np.where(keep, x - gamma[:, None], 1.0)
        y = np.log(distance)
        batch = fit_batch(SEV, y, event, keep, start)
        self.mu, self.sigma = batch.mu, batch.sigma
        self.value = batch.log_likelihood - np.where(event, y, 0.0).sum(1)
        self.event, self.keep = event, keep
        self.z = (y - self.mu[:, None]) / self.sigma[:, None]
        self.inverse = np.where(keep, 1 / distance, 0.0)
        with np.errstate(over="ignore", under="ignore", invalid="ignore"):
            self.w = np.where(keep, np.exp(self.z), 0.0)
        shape = 1 / self.sigma
        # By the envelope theorem the slope of the profile is the partial derivative.
        self.slope = -(shape - 1) * np.where(event, self.inverse, 0.0).sum(1) + shape * (self.w * self.inverse).sum(1)


def _bracket(x: Array, event: Array, valid: Array, low: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Look along the grid for where the slope changes from up to down at a shape above 1."""
    rows, points = len(x), len(_GRID)
    grid = low[:, None] * (1 - _GRID)[None, :]  # from 0 kV up to just below the smallest breakdown
    value, slope, shape = (np.empty((rows, points)) for _ in range(3))
    together = max(1, _TOGETHER // x.size)  # few rows: several grid points in one call
    start = None
    for j in range(0, points, together):
        some = grid[:, j : j + together]
        times = some.shape[1]
        xs, es, vs = (np.repeat(v, times, axis=0) if times > 1 else v for v in (x, event, valid))
        profile = _Profile(xs, es, vs, some.ravel(), start)
        start = (profile.mu, profile.sigma) if together == 1 else None
        for table, found in ((value, profile.value), (slope, profile.slope), (shape, 1 / profile.sigma)):
            table[:, j : j + times] = found.reshape(rows, times)
    turning = (slope[:, :-1] > 0) & (slope[:, 1:] <= 0) & (shape[:, :-1] > 1)
    height = np.where(turning, np.maximum(value[:, :-1], value[:, 1:]), -np.inf)
    best = height.argmax(1)
    line = np.arange(rows)
    interior = height[line, best] > -np.inf
    bound = (slope[:, 0] <= 0) & ~(interior & (height[line, best] > value[:, 0]))
    left = np.where(interior, grid[line, best], 0.0)
    right = np.where(interior, grid[line, best + 1], 0.0)
    peak = np.where(bound, value[:, 0], height[line, best])
    unbounded = value.max(1) > peak + 1e-6
    return left, right, bound, interior | bound, unbounded


def _root(x: Array, event: Array, valid: Array, left: Array, right: Array) -> Array:
    """Where the slope is zero between ``left`` and ``right``: Illinois regula falsi, all rows together."""
    a, b = left.copy(), right.copy()
    first = _Profile(x, event, valid, a)
    fa, fb = first.slope, _Profile(x, event, valid, b).slope
    start = (first.mu, first.sigma)
    side = np.zeros(len(a))
    c = a.copy()
    for _ in range(60):
        with np.errstate(divide="ignore", invalid="ignore"):
            c = (fa * b - fb * a) / (fa - fb)
        c = np.where(np.isfinite(c), np.clip(c, np.minimum(a, b), np.maximum(a, b)), a)
        here = _Profile(x, event, valid, c, start)
        start = (here.mu, here.sigma)
        up = here.slope > 0
        fb = np.where(up & (side == 1), fb / 2, fb)
        fa = np.where(~up & (side == -1), fa / 2, fa)
        a, fa = np.where(up, c, a), np.where(up, here.slope, fa)
        b, fb = np.where(up, b, c), np.where(up, fb, here.slope)
        side = np.where(up, 1, -1)
        if np.all((np.abs(b - a) <= 1e-12 * right) | (np.abs(here.slope) <= 1e-9)):
            break
    return c


def _covariance(profile: _Profile, at_zero: Array) -> Array:
    """Inverse observed information of ``(mu, ln sigma, threshold)``; at the bound only of the first two."""
    s, z, w, u = profile.sigma, profile.z, profile.w, profile.inverse
    failed_u = np.where(profile.event, u, 0.0)
    info = np.empty((len(s), 3, 3))
    info[:, 0, 0] = w.sum(1) / s**2
    zw = np.where(w > 0, z * w, 0.0)
    failures = profile.event.sum(1)
    info[:, 0, 1] = zw.sum(1) / s + w.sum(1) / s - failures / s
    failed_z = np.where(profile.event, z, 0.0).sum(1)
    info[:, 1, 1] = (zw * z).sum(1) + zw.sum(1) - failed_z
    info[:, 0, 2] = (w * u).sum(1) / s**2
    info[:, 1, 2] = (zw * u).sum(1) / s + (w * u).sum(1) / s - failed_u.sum(1) / s
    info[:, 2, 2] = -((failed_u**2).sum(1) * (1 - 1 / s) + (w * u**2).sum(1) * (1 / s - 1 / s**2))
    for i, j in ((0, 1), (0, 2), (1, 2)):
        info[:, j, i] = info[:, i, j]
    cov = np.full_like(info, np.nan)
    for row in range(len(s)):
        k = 2 if at_zero[row] else 3
        part = info[row, :k, :k]
        if np.isfinite(part).all() and np.all(np.linalg.eigvalsh(part) > 0):
            cov[row, :k, :k] = np.linalg.inv(part)
    return cov

"""Censored maximum likelihood for many groups at once: one damped Newton iteration over a 2-D batch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from methods.families import SEV, Kernel

Array = np.ndarray[Any, Any]

#: Elements worked on at a time: the arrays of one block stay in the processor's cache.
BLOCK = 32_768
_ROUNDS = 200
#: Relative size of the last step; convergence is quadratic, so what remains after it is far smaller.
_TOLERANCE = 1e-8


@dataclass(frozen=True)
class Batch:
    """Maximum-likelihood location and scale of each row.

    Attributes
    ----------
    mu, sigma : array (rows,)
        Estimates on the scale of ``y``; nan where not found.
    log_likelihood : array (rows,)
        On the scale of ``y``.
    information : array (rows, 2, 2)
        Observed information of ``(mu, ln sigma)``.
    """

    mu: Array
    sigma: Array
    log_likelihood: Array
    information: Array

    def covariance(self) -> Array:
        """Covariance of ``(mu, ln sigma)``; shape (rows, 2, 2), nan where the information is singular."""
        a, b, d = self.information[:, 0, 0], self.information[:, 0, 1], self.information[:, 1, 1]
        with np.errstate(divide="ignore", invalid="ignore"):
            det = a * d - b * b
            det = np.where(det > 0, det, np.nan)
            return np.stack([np.stack([d, -b], -1), np.stack([-b, a], -1)], -2) / det[:, None, None]


def why_not_estimable(y: Array, event: Array, valid: Array) -> Array:
    """Why each row has no finite estimate: an array of words, empty where it has one.

    Location and scale are finite when there are two failures and the failures are not all equal, or are equal
    with a censored value above them. With all failures equal and nothing above, the likelihood grows without
    bound as the scatter goes to zero.

    Parameters
    ----------
    y : ndarray
        (rows, n) Values, or their logarithms.
    event : ndarray
        (rows, n) Which of them are breakdowns.
    valid : ndarray
        (rows, n) Which of them are values and no padding.
    """
    n, r = valid.sum(1), event.sum(1)
    high = np.where(event, y, -np.inf).max(1, initial=-np.inf)
    low = np.where(event, y, np.inf).min(1, initial=np.inf)
    above = (np.where(valid & ~event, y, -np.inf).max(1, initial=-np.inf) > high) & (r > 0)
    with np.errstate(invalid="ignore"):
        equal = (high - low) <= 1e-12 * np.maximum(np.abs(high), 1e-300)
    reason = np.full(len(y), "", dtype=object)
    reason[equal & ~above & (r > 1)] = "all breakdowns are equal, so there is no scatter to fit"
    reason[r == 1] = "only one breakdown, so the scatter cannot be told"
    reason[r == 0] = "all withstood: no breakdown was seen, so nothing says how far above the ceiling they lie"
    reason[n < 2] = "one value only, so the scatter cannot be told"
    reason[n == 0] = "no values"
    return reason


def fit_batch(kernel: Kernel, y: Array, event: Array, valid: Array, start: tuple[Array, Array] | None = None) -> Batch:
    """Fit ``y = mu + sigma z`` to each row by maximum likelihood; every row must be estimable.

    Parameters
    ----------
    kernel : Kernel
        The standard distribution of ``z``.
    y : array (rows, n)
        Values; whatever stands where ``valid`` is False is ignored, but must be finite.
    event, valid : bool array (rows, n)
        A failure (density) or not (survival); a value or padding.
    start : (mu, sigma), optional
        Where to begin, one a row.
    """
    rows, n = y.shape
    mu, sigma, ll = (np.full(rows, np.nan) for _ in range(3))
    info = np.full((rows, 2, 2), np.nan)
    step = max(1, BLOCK // max(1, n))
    for at in range(0, rows, step):
        part = slice(at, at + step)
        begin = None if start is None else (start[0][part], start[1][part])
        mu[part], sigma[part], ll[part], info[part] = _block(kernel, y[part], event[part], valid[part], begin)
    return Batch(mu, sigma, ll, info)


def _block(
    kernel: Kernel, y: Array, event: Array, valid: Array, start: tuple[Array, Array] | None
) -> tuple[Array, Array, Array, Array]:
    """One block: standardise, iterate on ``(mu / sigma, 1 / sigma)``, give back on the scale of ``y``."""
    r = event.sum(1).astype(float)
    count = valid.sum(1)
    y = np.where(valid, y, 0.0)
    centre = y.sum(1) / count
    dev = np.where(valid, y - centre[:, None], 0.0)
    spread = np.sqrt(np.einsum("ij,ij->i", dev, dev) / count)
    x = dev / spread[:, None]
    if start is None:
        tau = np.full(len(y), kernel.sd)
        alpha = np.full(len(y), -kernel.mean)
    else:
        tau = spread / start[1]
        alpha = (start[0] - centre) / start[1]
    work = _Likelihood(kernel, x, event, valid, r)
    alpha, tau = _iterate(work, alpha, tau)
    value, _, hess = work(alpha, tau)
    sigma = spread / tau
    mu = centre + sigma * alpha
    # From (alpha, tau) of the standardised values to (mu, ln sigma) of y; the gradient is zero there.
    jac = np.zeros((len(y), 2, 2))
    jac[:, 0, 0], jac[:, 0, 1], jac[:, 1, 1] = 1 / sigma, -alpha, -tau
    info = np.einsum("nki,nkl,nlj->nij", jac, -hess, jac)
    return mu, sigma, value - r * np.log(spread), info


class _Likelihood:
    """Log-likelihood, gradient and Hessian in ``(alpha, tau)`` where ``z = tau x - alpha``."""

    def __init__(self, kernel: Kernel, x: Array, event: Array, valid: Array, r: Array) -> None:
        self.kernel, self.x, self.event, self.valid, self.r = kernel, x, event, valid, r
        self.full = bool(valid.all())
        self.complete = bool((event == valid).all())
        self.event_x = np.where(event, x, 0.0).sum(1)

    def take(self, rows: Array) -> _Likelihood:
        return _Likelihood(self.kernel, self.x[rows], self.event[rows], self.valid[rows], self.r[rows])

    def __call__(self, alpha: Array, tau: Array) -> tuple[Array, Array, Array]:
        if self.kernel is SEV:
            total, d1, d1x, s0, s1, s2 = self._extreme(alpha, tau)
        else:
            total, d1, d1x, s0, s1, s2 = self._general(alpha, tau)
        grad = np.stack([-d1, d1x + self.r / tau], -1)
        hess = np.stack([np.stack([s0, -s1], -1), np.stack([-s1, s2 - self.r / tau**2], -1)], -2)
        return total + self.r * np.log(tau), grad, hess

    def _extreme(self, alpha: Array, tau: Array) -> tuple[Array, ...]:
        """Smallest extreme value: density and survival share one exponential, so one pass is enough."""
        x = self.x
        w = tau[:, None] * x
        w -= alpha[:, None]
        with np.errstate(over="ignore", under="ignore"):
            np.exp(w, out=w)
        if not self.full:
            w *= self.valid
        wx = w * x
        s0, s1, s2 = w.sum(1), wx.sum(1), np.einsum("ij,ij->i", wx, x)
        linear = tau * self.event_x - self.r * alpha
        return linear - s0, self.r - s0, self.event_x - s1, -s0, -s1, -s2

    def _general(self, alpha: Array, tau: Array) -> tuple[Array, ...]:
        x = self.x
        z = tau[:, None] * x - alpha[:, None]
        value, d1, d2 = self.kernel.density(z)
        if not self.complete:
            gone = self.valid & ~self.event
            value[gone], d1[gone], d2[gone] = self.kernel.survival(z[gone])
        if not self.full:
            for part in (value, d1, d2):
                part[~self.valid] = 0.0
        d2x = d2 * x
        ij = "ij,ij->i"
        return value.sum(1), d1.sum(1), np.einsum(ij, d1, x), d2.sum(1), d2x.sum(1), np.einsum(ij, d2x, x)


def _iterate(work: _Likelihood, alpha: Array, tau: Array) -> tuple[Array, Array]:
    """Damped Newton; rows that have converged leave the work. Rows that never do become nan."""
    alpha, tau = alpha.copy(), tau.copy()
    settled = np.zeros(len(alpha), dtype=bool)
    rows = np.arange(len(alpha))
    a, t = alpha.copy(), tau.copy()
    value, grad, hess = work(a, t)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(_ROUNDS):
            h00, h01, h11 = hess[:, 0, 0], hess[:, 0, 1], hess[:, 1, 1]
            det = h00 * h11 - h01 * h01
            da = -(h11 * grad[:, 0] - h01 * grad[:, 1]) / det
            dt = -(h00 * grad[:, 1] - h01 * grad[:, 0]) / det
            # tau stays positive and neither runs away in one step
            size = np.minimum(1.0, np.minimum(0.75 * t / np.maximum(np.abs(dt), 1e-300), 3.0 / np.abs(da)))
            done = (np.abs(dt) <= _TOLERANCE * t) & (np.abs(da) <= _TOLERANCE * (1 + np.abs(a)))
            na, nt = a + size * da, t + size * dt
            new = work(na, nt)
            slack = 1e-9 * (1 + np.abs(value))
            for _ in range(40):
                worse = ~(new[0] >= value - slack) & ~done
                if not worse.any():
                    break
                size[worse] /= 2
                na[worse], nt[worse] = (a + size * da)[worse], (t + size * dt)[worse]
                again = work.take(worse)(na[worse], nt[worse])
                for whole, piece in zip(new, again, strict=True):
                    whole[worse] = piece
            a, t, (value, grad, hess) = na, nt, new
            if done.any():
                alpha[rows[done]], tau[rows[done]] = a[done], t[done]
                settled[rows[done]] = True
                left = ~settled[rows]
                if not left.any():
                    return alpha, tau
                if left.mean() < 0.75:
                    rows, a, t = rows[left], a[left], t[left]
                    value, grad, hess = value[left], grad[left], hess[left]
                    work = work.take(left)
    alpha[~settled], tau[~settled] = np.nan, np.nan
    return alpha, tau

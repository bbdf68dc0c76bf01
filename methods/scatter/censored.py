"""Random fillings with withstood ceilings: a normal (or lognormal) model in which a ceiling is only a lower bound.

Maximum likelihood. The filling effects are integrated out by adaptive Gauss-Hermite quadrature (Pinheiro & Bates,
J. Comput. Graph. Stat. 4 (1995) 12); without censoring it is exact. Without fillings the model is the censored
normal regression of Tobin, Econometrica 26 (1958) 24.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError, NotEstimable
from methods.result import Caution
from methods.scatter.mixed import Contrast
from methods.scatter.reml import check_codes
from methods.threads import single_threaded

Floats = NDArray[Any]
Codes = NDArray[np.int64]

_NODES = 21
_ROOT_2_OVER_PI = float(np.sqrt(2 / np.pi))


@dataclass(frozen=True)
class Censored:
    """A fitted censored model; kV, or log kV for the lognormal family.

    ``beta`` (p,) with ``covariance`` (p, p) from the observed information; ``filling_sd`` and ``residual_sd``
    (groups,) with limits: profile likelihood for the filling, normal on the logarithm for the residual.
    """

    beta: Floats
    covariance: Floats
    filling_sd: float
    filling_low: float
    filling_high: float
    residual_sd: Floats
    residual_low: Floats
    residual_high: Floats
    log_likelihood: float
    rows: int
    withstood: int
    fillings: int
    family: str
    confidence: float
    converged: bool
    cautions: list[Caution] = field(default_factory=list)

    @property
    def df(self) -> float:
        """Degrees of freedom for a contrast: fillings (or rows, without fillings) minus fixed effects, at least 1."""
        return float(max((self.fillings or self.rows) - len(self.beta), 1))

    def contrast(self, row: ArrayLike, *, confidence: float | None = None, value: float = 0.0) -> Contrast:
        """``row @ beta`` with t-limits. The likelihood's standard error is widened by sqrt(m/(m - p)), m fillings and
        p fixed effects, which undoes its small-sample bias exactly in balanced designs without withstands.

        Parameters
        ----------
        row : array_like
            (p,) Weights of the fixed effects.
        confidence : float, optional
            Of the limits; that of the fit by default.
        value : float, default 0.0
            Null value of the p-value, kV.
        """
        c = np.asarray(row, dtype=float)
        if c.shape != self.beta.shape:
            raise InputError(f"The contrast has {c.shape} entries for {len(self.beta)} fixed effects.")
        units = self.fillings or self.rows
        widen = units / max(units - len(self.beta), 1)
        estimate, se = float(c @ self.beta), float(np.sqrt(c @ self.covariance @ c * widen))
        width = float(scipy.stats.t.isf((1 - (confidence or self.confidence)) / 2, self.df)) * se
        p = float(2 * scipy.stats.t.sf(abs(estimate - value) / se, self.df))
        return Contrast(estimate, se, self.df, estimate - width, estimate + width, p)


def hazard(z: Floats) -> Floats:
    """Density over survival of the standard normal, for any z."""
    return np.asarray(_ROOT_2_OVER_PI / scipy.special.erfcx(np.maximum(z, -37.0) / np.sqrt(2.0)))


class _Model:
    """Minus the log-likelihood and its slope in (beta, log residual sd of each group, log filling sd)."""

    def __init__(self, y: Floats, gone: NDArray[np.bool_], x: Floats, filling: Codes | None, group: Codes) -> None:
        if filling is not None:  # rows of one filling together, so that sums over fillings are runs
            order = np.argsort(filling, kind="stable")
            y, gone, x, filling, group = y[order], gone[order], x[order], filling[order], group[order]
            self.starts = np.searchsorted(filling, np.arange(int(filling.max()) + 1))
        self.y, self.gone, self.x, self.filling, self.group = y, gone, x, filling, group
        self.p, self.groups = x.shape[1], int(group.max()) + 1
        self.fillings = 0 if filling is None else int(filling.max()) + 1
        nodes, weights = np.polynomial.hermite.hermgauss(_NODES)
        self.nodes, self.log_weights = nodes, np.log(weights) + nodes**2
        self.mode = np.zeros(self.fillings)

    def pieces(self, z: Floats) -> tuple[Floats, Floats]:
        """Log-density (or log-probability of lying above) of standardised residuals, and minus its slope in z."""
        density, slope = -0.5 * z * z - 0.9189385332046727, z.copy()
        slope[self.gone] = hazard(z[self.gone])
        density[self.gone] = scipy.special.log_ndtr(-z[self.gone])
        return density, slope

    def value(self, theta: Floats) -> tuple[float, Floats]:
        beta, log_s = theta[: self.p], theta[self.p : self.p + self.groups]
        s = np.exp(log_s)[self.group]
        left = self.y - self.x @ beta
        if self.filling is None:
            z = left / s
            density, slope = self.pieces(z)
            total = float(density.sum()) - float((~self.gone) @ np.log(s))
            by_s = np.bincount(self.group, slope * z - ~self.gone, minlength=self.groups)
            return -total, -np.concatenate([self.x.T @ (slope / s), by_s])
        return self._integrated(left, s, float(np.exp(theta[-1])))

    def _sum(self, rows: Floats) -> Floats:
        return np.add.reduceat(rows, self.starts, axis=0)

    def _modes(self, left: Floats, s: Floats, tau: float) -> tuple[Floats, Floats]:
        """Most likely filling effects and their curvatures, by Newton for all fillings together (log-concave)."""
        u = np.clip(self.mode, -10 * tau, 10 * tau)
        curve = np.full(self.fillings, 1 / tau**2)
        for _ in range(60):
            z = (left - u[self.filling]) / s
            _, slope = self.pieces(z)
            bend = np.where(self.gone, slope * (slope - z), 1.0)
            curve = self._sum(bend / s**2) + 1 / tau**2
            step = (self._sum(slope / s) - u / tau**2) / curve
            u = u + step
            if np.abs(step).max() < 1e-10 * max(tau, 1e-300):
                break
        self.mode = u
        return u, curve

    def _integrated(self, left: Floats, s: Floats, tau: float) -> tuple[float, Floats]:
        assert self.filling is not None
        mode, curve = self._modes(left, s, tau)
        width = np.sqrt(2 / curve)
        u = mode[:, None] + width[:, None] * self.nodes
        # Of what broke down, sums over the filling say all (the density is quadratic in u); only ceilings need nodes.
        at, seen = self.filling, ~self.gone
        weight = seen / s**2
        off, away = left - mode[at], u - mode[:, None]  # about the mode, so that nothing cancels
        zero, one, two = (self._sum(weight * off**k)[:, None] for k in range(3))
        joint = -0.5 * (two - 2 * away * one + away**2 * zero) - 0.9189385332046727 * self._sum(seen * 1.0)[:, None]
        z = (left[self.gone, None] - u[at[self.gone]]) / s[self.gone, None]
        above = scipy.special.log_ndtr(-z)
        np.add.at(joint, at[self.gone], above)
        joint += -0.5 * (u / tau) ** 2 - np.log(tau) - 0.9189385332046727
        terms = joint + self.log_weights + np.log(width)[:, None]
        top = terms.max(axis=1, keepdims=True)
        share = np.exp(terms - top)
        total = share.sum(axis=1, keepdims=True)
        share /= total
        log_likelihood = float((top + np.log(total)).sum()) - float(seen @ np.log(s))
        middle = (share * u).sum(axis=1)
        spread = (share * (u - middle[:, None]) ** 2).sum(axis=1)
        slope = (left - middle[at]) / s
        squares = slope**2 + spread[at] / s**2 - 1
        rate = share[at[self.gone]] * hazard(z)
        slope[self.gone], squares[self.gone] = rate.sum(axis=1), (rate * z).sum(axis=1)
        by_beta = self.x.T @ (slope / s)
        by_s = np.bincount(self.group, squares, minlength=self.groups)
        by_tau = float((share * (u / tau) ** 2).sum()) - self.fillings
        return -log_likelihood, -np.concatenate([by_beta, by_s, [by_tau]])


@single_threaded
def fit_censored(
    kv: ArrayLike,
    withstood: ArrayLike,
    x: ArrayLike | None = None,
    filling: ArrayLike | None = None,
    *,
    residual: ArrayLike | None = None,
    family: str = "normal",
    confidence: float = 0.95,
) -> Censored:
    """Fit fixed effects, filling scatter and residual scatter where some series were withstood.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltage, or the ceiling where ``withstood``.
    withstood : boolean array (n,)
    x : array (n, p), optional
        Fixed part of full column rank; one common mean when left out.
    filling : labels (n,), optional
        Random factor; without it breakdowns count as independent.
    residual : labels (n,), optional
        Levels with a residual scatter of their own.
    family : {"normal", "lognormal"}
        The lognormal works on log kV; its ``log_likelihood`` is that of the kV themselves.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        Shapes that do not fit, values that are not positive and finite, an unknown family.
    NotEstimable
        All withstood, or a level of the fixed part with no breakdown at all, or too few breakdowns for the scatter.
    """
    y, gone, design, code, group, jacobian = _prepared(kv, withstood, x, filling, residual, family)
    scale = float(y[~gone].std()) or 1.0
    model = _Model(y / scale, gone, design, code, group)
    plain = _Model(y / scale, gone, design, None, group)
    start = np.concatenate([np.linalg.lstsq(design, y / scale, rcond=None)[0], np.zeros(model.groups)])
    theta, value, settled = _maximise(plain.value, start, model.p)
    used, tau = plain, 0.0
    if code is not None:
        at, better, ok = _best_random(model, theta)
        if better < value - 1e-9:
            theta, value, settled, used, tau = at, better, ok, model, float(np.exp(at[-1]))
    low, high = (np.nan, np.nan) if code is None else _filling_limits(model, theta, value, tau, confidence)
    covariance = np.linalg.pinv(_hessian(used.value, theta), hermitian=True)
    p, g = model.p, model.groups
    sd = np.exp(theta[p : p + g]) * scale
    z = -scipy.special.ndtri((1 - confidence) / 2) * np.sqrt(np.diag(covariance)[p : p + g])
    return Censored(
        beta=theta[:p] * scale, covariance=covariance[:p, :p] * scale**2, filling_sd=tau * scale,
        filling_low=low * scale, filling_high=high * scale, residual_sd=sd, residual_low=sd * np.exp(-z),
        residual_high=sd * np.exp(z), log_likelihood=float(-value - (~gone).sum() * np.log(scale) - jacobian),
        rows=len(y), withstood=int(gone.sum()), fillings=model.fillings, family=family, confidence=confidence,
        converged=settled, cautions=_cautions(gone, tau, code is not None),
    )  # fmt: skip


def _prepared(
    kv: ArrayLike, withstood: ArrayLike, x: ArrayLike | None, filling: ArrayLike | None, residual: ArrayLike | None,
    family: str,
) -> tuple[Floats, NDArray[np.bool_], Floats, Codes | None, Codes, float]:  # fmt: skip
    y, gone = np.asarray(kv, dtype=float), np.asarray(withstood, dtype=bool)
    n = len(y)
    design = np.ones((n, 1)) if x is None else np.asarray(x, dtype=float)
    if y.ndim != 1 or gone.shape != y.shape or design.ndim != 2 or len(design) != n or not np.isfinite(design).all():
        raise InputError("A censored model needs values, marks and a finite fixed part of the same length.")
    if family not in ("normal", "lognormal"):
        raise InputError("The family of a censored model is 'normal' or 'lognormal'.")
    if not np.isfinite(y).all() or (family == "lognormal" and (y <= 0).any()):
        raise InputError("Breakdown voltages must be finite, and above zero for the lognormal.")
    if gone.all():
        raise NotEstimable("Every series was withstood: the data say only that the oil holds more than the ceiling.")
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise NotEstimable("Some fixed effects cannot be told apart in these data: their columns depend on each other.")
    if np.linalg.matrix_rank(design[~gone]) < design.shape[1]:
        raise NotEstimable("One of the levels has withstood series only: its mean lies somewhere above the ceiling.")
    left = y[~gone] - design[~gone] @ np.linalg.lstsq(design[~gone], y[~gone], rcond=None)[0]
    if (~gone).sum() <= design.shape[1] or not float(np.abs(left).max()) > 1e-12 * float(np.abs(y).max()):
        raise NotEstimable("Too few breakdowns differ from each other to tell the scatter.")
    code = None if filling is None else check_codes("filling", filling, n)
    group = np.zeros(n, dtype=np.int64) if residual is None else check_codes("residual", residual, n)
    if family == "lognormal":
        return np.log(y), gone, design, code, group, float(np.log(y[~gone]).sum())
    return y, gone, design, code, group, 0.0


def _best_random(model: _Model, theta: Floats) -> tuple[Floats, float, bool]:
    """From two starting points of the filling scatter, the better."""
    best = None
    for share in (-0.5, -2.0):
        found = _maximise(model.value, np.append(theta, share), model.p)
        if best is None or found[1] < best[1]:
            best = found
    assert best is not None
    return best


def _maximise(f: Callable[[Floats], tuple[float, Floats]], start: Floats, fixed: int) -> tuple[Floats, float, bool]:
    bounds = [(None, None)] * fixed + [(-12.0, 8.0)] * (len(start) - fixed)
    run = scipy.optimize.minimize(f, start, jac=True, method="L-BFGS-B", bounds=bounds,
                            options={"ftol": 1e-14, "gtol": 1e-8, "maxiter": 500})  # fmt: skip
    theta, value = run.x, float(run.fun)
    for _ in range(3):  # Newton steps settle the last digits
        step = np.linalg.lstsq(_hessian(f, theta), -f(theta)[1], rcond=None)[0]
        trial = float(f(theta + step)[0]) if np.abs(step).max() < 0.5 else np.inf
        if not trial <= value + 1e-12 * abs(value):
            break
        theta, value = theta + step, trial
    return theta, value, bool(np.abs(f(theta)[1]).max() < 1e-3)


def _hessian(f: Callable[[Floats], tuple[float, Floats]], theta: Floats) -> Floats:
    step = 1e-5
    eye = np.eye(len(theta)) * step
    h = np.array([(f(theta + e)[1] - f(theta - e)[1]) / (2 * step) for e in eye])
    return (h + h.T) / 2


def _filling_limits(model: _Model, theta: Floats, value: float, tau: float, confidence: float) -> tuple[float, float]:
    """Where twice the log-likelihood, at its best over everything else, has fallen by the chi-square point."""
    target = value + float(scipy.stats.chi2.ppf(confidence, 1)) / 2
    inner = theta[: model.p + model.groups]

    def profile(log_tau: float) -> float:
        nonlocal inner

        def f(w: Floats) -> tuple[float, Floats]:
            v, slope = model.value(np.append(w, log_tau))
            return v, slope[:-1]

        run = scipy.optimize.minimize(f, inner, jac=True, method="L-BFGS-B", options={"ftol": 1e-12})
        inner = run.x
        return float(run.fun) - target

    at = np.log(tau) if tau > 0 else -3.0
    low = 0.0
    if tau > 0 and profile(-9.0) > 0:
        low = float(np.exp(scipy.optimize.brentq(profile, -9.0, at, xtol=1e-6)))
    inner = theta[: model.p + model.groups]
    top = at + 1.0
    while profile(top) < 0 and top < at + 8:
        top += 1.0
    return low, float(np.exp(scipy.optimize.brentq(profile, at, top, xtol=1e-6))) if profile(at) < 0 else float(
        np.exp(at)
    )


def _cautions(gone: NDArray[np.bool_], tau: float, random: bool) -> list[Caution]:
    out = []
    if gone.any():
        out.append(Caution("withstood", (
            f"{int(gone.sum())} of {len(gone)} tests were withstood. They count as 'at least the ceiling', by maximum "
            "likelihood under the normal law; nothing above the ceiling was seen, so the upper half rests on that law."
        )))  # fmt: skip
    if random and tau == 0:
        out.append(Caution("at_zero", (
            "No spread between fillings shows beyond what the breakdowns explain; it is given as 0, which is not proof "
            "of none: look at its upper limit."
        )))  # fmt: skip
    return out

"""Fit every group, or every resample, in one vectorised pass."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError
from methods.families import Family, family_of
from methods.scatter.arguments import as_flags, as_numbers
from methods.scatter.newton import Batch, fit_batch, why_not_estimable
from methods.scatter.threshold import fit_threshold

Array = np.ndarray[Any, Any]

NOT_CONVERGED = "the iteration found no maximum"


def fit_many(kv: Any, withstood: Any = None, family: str = "weibull") -> pd.DataFrame:
    """Fit one family to each row of a batch by maximum likelihood, withstands right-censored.

    Parameters
    ----------
    kv : array (groups, n)
        Breakdown voltages in kV, one group a row; short rows are padded with nan.
    withstood : bool array (groups, n), optional
        True where the ceiling was reached without a breakdown. What stands at a nan is ignored.
    family : str
        ``normal``, ``lognormal``, ``weibull``, ``weibull3`` or ``gumbel_min``.

    Returns
    -------
    DataFrame
        One row a group, in order: ``n`` (withstands included), ``withstood``, the parameters by name, their
        standard errors as ``<parameter>_se``, ``log_likelihood`` (density per kV), ``aicc``, ``reason``. A
        group that cannot be fitted has nan and the reason in words; ``reason`` is empty otherwise. For
        ``weibull3`` a threshold at zero (the bound) has no standard error.

    Raises
    ------
    InputError
        Not two-dimensional, shapes that differ, an infinite value, or a value not above zero where the family
        needs one.

    Notes
    -----
    A damped Newton iteration on ``(mu / sigma, 1 / sigma)``, in which the censored log-likelihood of these
    families is concave (Burridge, J. R. Statist. Soc. B 43 (1981) 41). ``weibull3`` profiles the threshold
    over a grid for all rows at once and then refines; it takes some hundred times as long.
    """
    fam = family_of(family)
    x, valid, gone = check_batch(kv, withstood, fam)
    result = fit_arrays(fam, x, valid, gone)
    columns: dict[str, Any] = {"n": valid.sum(1), "withstood": gone.sum(1)}
    columns |= dict(zip(fam.parameters, result.parameters.T, strict=True))
    columns |= {f"{name}_se": se for name, se in zip(fam.parameters, result.standard_errors.T, strict=True)}
    columns["log_likelihood"] = result.log_likelihood
    columns["aicc"] = aicc(result.log_likelihood, len(fam.parameters), columns["n"])
    columns["reason"] = result.reason
    return pd.DataFrame(columns)


def quantile_many(table: pd.DataFrame, family: str, p: Any) -> Array:
    """Quantiles, kV, of each row of a :func:`fit_many` table: shape (groups, len(p)); nan where not fitted.

    Parameters
    ----------
    table : DataFrame
        What :func:`fit_many` gave.
    family : str
        Its family.
    p : array_like
        (q,) Fractions.
    """
    fam = family_of(family)
    first, second = (table[name].to_numpy(dtype=float)[:, None] for name in fam.parameters[:2])
    z = fam.kernel.quantile(np.atleast_1d(np.asarray(p, dtype=float)))[None, :]
    y = np.log(second) + z / first if fam.reciprocal else first + second * z
    threshold = table["threshold"].to_numpy(dtype=float)[:, None] if "threshold" in fam.parameters else 0.0
    return np.exp(y) + threshold if fam.log else y


def aicc(log_likelihood: Any, k: int, n: Any) -> Array:
    """Akaike's criterion with the small-sample term; nan where n - k - 1 is not positive.

    -2 ln L + 2 k + 2 k (k + 1) / (n - k - 1), n with the withstands (Hurvich & Tsai, Biometrika 76 (1989) 297).

    Parameters
    ----------
    log_likelihood : array_like
        Its maximum (any shape).
    k : int
        Number of parameters.
    n : array_like
        Number of values, withstands included.

    Examples
    --------
    >>> float(aicc(-50.0, 2, 20).round(3))
    104.706
    """
    room = np.asarray(n, dtype=float) - k - 1
    return np.where(
        room > 0, -2 * np.asarray(log_likelihood) + 2 * k + 2 * k * (k + 1) / np.maximum(room, 1e-9), np.nan
    )


class Arrays:
    """What :func:`fit_arrays` found, as arrays with one row a group."""

    def __init__(self, rows: int, k: int) -> None:
        self.parameters = np.full((rows, k), np.nan)
        self.standard_errors = np.full((rows, k), np.nan)
        self.log_likelihood = np.full(rows, np.nan)
        self.reason: Array = np.full(rows, "", dtype=object)
        self.mu = np.full(rows, np.nan)
        self.sigma = np.full(rows, np.nan)
        self.covariance = np.full((rows, k, k), np.nan)  #: of (mu, ln sigma[, threshold])
        self.note: Array = np.full(rows, "", dtype=object)


def fit_arrays(fam: Family, x: Array, valid: Array, gone: Array) -> Arrays:
    """Fit checked arrays; ``x`` (groups, n) in kV with anything finite and positive where not ``valid``.

    Parameters
    ----------
    fam : Family
        The family.
    x : ndarray
        (groups, n) Voltages, kV.
    valid : ndarray
        (groups, n) Which of them are values and no padding.
    gone : ndarray
        (groups, n) Which of them are withstands.
    """
    out = Arrays(len(x), len(fam.parameters))
    event = valid & ~gone
    out.reason = why_not_estimable(x, event, valid)
    ok = np.flatnonzero(out.reason == "")
    if not len(ok):
        return out
    if len(ok) < len(x):
        x, event, valid = x[ok], event[ok], valid[ok]
    if len(fam.parameters) == 3:
        _three(fam, out, ok, x, event, valid)
    else:
        y = np.log(x) if fam.log else x
        batch = fit_batch(fam.kernel, y, event, valid)
        jump = np.where(event, y, 0.0).sum(1) if fam.log else 0.0  # from the density of ln kV to that of kV
        _two(fam, out, ok, batch, jump)
    failed = (out.reason == "") & ~np.isfinite(out.log_likelihood)
    out.reason[failed] = NOT_CONVERGED
    return out


def _two(fam: Family, out: Arrays, ok: Array, batch: Batch, jump: Any) -> None:
    out.mu[ok], out.sigma[ok] = batch.mu, batch.sigma
    out.log_likelihood[ok] = batch.log_likelihood - jump
    out.covariance[ok] = batch.covariance()
    out.parameters[ok] = np.stack(fam.publish(batch.mu, batch.sigma), -1)
    jac = fam.jacobian(batch.mu, batch.sigma)
    variance = np.einsum("nij,njk,nik->ni", jac, out.covariance[ok], jac)
    with np.errstate(invalid="ignore"):
        out.standard_errors[ok] = np.sqrt(variance)


def _three(fam: Family, out: Arrays, ok: Array, x: Array, event: Array, valid: Array) -> None:
    found = fit_threshold(x, event, valid)
    out.mu[ok], out.sigma[ok] = found.mu, found.sigma
    out.log_likelihood[ok] = found.log_likelihood
    out.covariance[ok] = found.covariance
    out.reason[ok] = found.reason
    out.note[ok] = found.note
    shape, scale = fam.publish(found.mu, found.sigma)
    out.parameters[ok] = np.stack([shape, scale, found.threshold], -1)
    with np.errstate(invalid="ignore"):
        se = np.sqrt(np.einsum("nii->ni", found.covariance))
    out.standard_errors[ok] = np.stack([shape * se[:, 1], scale * se[:, 0], se[:, 2]], -1)


def check_batch(kv: Any, withstood: Any, fam: Family) -> tuple[Array, Array, Array]:
    """Check a batch; give values (padding filled with 1), validity and withstands, all (groups, n).

    Parameters
    ----------
    kv : array_like
        (groups, n) Voltages, kV; nan pads a shorter group.
    withstood : array_like or None
        (groups, n) Which of them are withstands.
    fam : Family
        The family.
    """
    x = as_numbers(kv)
    if x.ndim != 2:
        raise InputError(f"The batch must have two dimensions, a group a row; this has {x.ndim}.", column="kv")
    valid = ~np.isnan(x)
    if np.shape(withstood) == x.shape:
        withstood = np.where(valid, withstood, False)  # what stands at a nan is padding too
    gone = as_flags(withstood, x.shape)
    bad = np.isinf(x) | ((x <= 0) & fam.log)
    if bad.any():
        row, at = (int(v[0]) for v in np.nonzero(bad))
        raise InputError(
            f"Group {row + 1}, value {at + 1}: {x[row, at]!r} cannot be fitted by the family {fam.name}.",
            row=row + 1, column="kv", text=str(x[row, at]), rule="finite, and above 0 kV",
        )  # fmt: skip
    return (x if valid.all() else np.where(valid, x, 1.0)), valid, gone

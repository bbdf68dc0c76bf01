"""Distribution families as location and scale of a standard kernel, on kV or on ln kV.

Every family is ``y = mu + sigma * z`` with ``y = kv`` or ``y = ln kv`` and ``z`` from one of four standard
kernels (normal, smallest extreme value, logistic, largest extreme value). All four have log-concave density
and survival, so that the censored log-likelihood is concave in ``(mu / sigma, 1 / sigma)`` and a Newton
iteration cannot end in a false maximum (Burridge, J. R. Statist. Soc. B 43 (1981) 41).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError

Array = np.ndarray[Any, Any]

_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Kernel:
    """A standard distribution: log density and log survival with two derivatives each, and the quantile.

    ``density(z)`` and ``survival(z)`` return three arrays of the shape of ``z``: the logarithm, its first and
    its second derivative. ``quantile(p)`` is the inverse of the cumulative probability.
    """

    density: Callable[[Array], tuple[Array, Array, Array]]
    survival: Callable[[Array], tuple[Array, Array, Array]]
    quantile: Callable[[Array], Array]
    mean: float
    sd: float


def _normal_density(z: Array) -> tuple[Array, Array, Array]:
    return -0.5 * z * z - 0.5 * _LOG_2PI, -z, np.full_like(z, -1.0)


def _normal_survival(z: Array) -> tuple[Array, Array, Array]:
    log_s = scipy.special.log_ndtr(-z)
    with np.errstate(under="ignore"):
        hazard = np.exp(-0.5 * z * z - 0.5 * _LOG_2PI - log_s)
    return log_s, -hazard, -hazard * (hazard - z)


def _sev_density(z: Array) -> tuple[Array, Array, Array]:
    with np.errstate(over="ignore", under="ignore"):
        w = np.exp(z)
    return z - w, 1.0 - w, -w


def _sev_survival(z: Array) -> tuple[Array, Array, Array]:
    with np.errstate(over="ignore", under="ignore"):
        w = np.exp(z)
    return -w, -w, -w


def _logistic_density(z: Array) -> tuple[Array, Array, Array]:
    p = scipy.special.expit(z)
    return z + 2 * scipy.special.log_expit(-z), 1 - 2 * p, -2 * p * (1 - p)


def _logistic_survival(z: Array) -> tuple[Array, Array, Array]:
    p = scipy.special.expit(z)
    return scipy.special.log_expit(-z), -p, -p * (1 - p)


def _lev_density(z: Array) -> tuple[Array, Array, Array]:
    with np.errstate(over="ignore", under="ignore"):
        v = np.exp(-z)
    return -z - v, v - 1.0, -v


def _lev_survival(z: Array) -> tuple[Array, Array, Array]:
    v = np.exp(-np.clip(z, -6.5, 700.0))  # below -6.5 survival is 1 to the last digit
    hazard = v / np.expm1(v)
    return np.log(-np.expm1(-v)), -hazard, -hazard * (v - 1.0 + hazard)


def _sev_quantile(p: Array) -> Array:
    return np.log(-np.log1p(-p))


_EULER = 0.5772156649015329
_EXTREME_SD = float(np.pi / np.sqrt(6))

# Parts of SciPy are named when they are used, so that a command's help does not wait for them.
NORMAL = Kernel(_normal_density, _normal_survival, lambda p: scipy.special.ndtri(p), 0.0, 1.0)
SEV = Kernel(_sev_density, _sev_survival, _sev_quantile, -_EULER, _EXTREME_SD)
LOGISTIC = Kernel(
    _logistic_density, _logistic_survival, lambda p: scipy.special.logit(p), 0.0, float(np.pi / np.sqrt(3))
)
LEV = Kernel(_lev_density, _lev_survival, lambda p: -np.log(-np.log(p)), _EULER, _EXTREME_SD)


@dataclass(frozen=True)
class Family:
    """One family: its kernel, whether it lives on ln kV, and the names of its parameters.

    ``title`` is its name for people. ``reciprocal`` marks the Weibull way of writing: ``shape = 1 / sigma`` and
    ``scale = exp(mu)``, with the shape first. ``uses`` says what it serves without being asked for by name: ``fit``,
    ``plan`` (percentiles) and ``draw`` (simulated breakdowns).
    """

    name: str
    title: str
    kernel: Kernel
    log: bool
    parameters: tuple[str, ...]
    reciprocal: bool = False
    uses: str = ""

    @property
    def positive(self) -> bool:
        """Whether the family gives no probability to voltages below zero."""
        return self.log

    def publish(self, mu: Array, sigma: Array) -> tuple[Array, Array]:
        """The parameters as they are reported, in the order of ``parameters``."""
        return (1 / sigma, np.exp(mu)) if self.reciprocal else (mu, sigma)

    def jacobian(self, mu: Array, sigma: Array) -> Array:
        """Derivatives of the reported parameters by ``(mu, ln sigma)``; shape ``(..., 2, 2)``."""
        zero, one = np.zeros_like(mu), np.ones_like(mu)
        if self.reciprocal:
            rows = [[zero, -1 / sigma], [np.exp(mu), zero]]
        else:
            rows = [[one, zero], [zero, sigma]]
        return np.moveaxis(np.array(rows), (0, 1), (-2, -1))

    def locate(self, parameters: dict[str, float]) -> tuple[float, float]:
        """``(mu, sigma)`` of reported parameters; the threshold of ``weibull3`` plays no part."""
        first, second = (float(parameters[name]) for name in self.parameters[:2])
        return (float(np.log(second)), 1 / first) if self.reciprocal else (first, second)


#: The registry. Everything that names, fits, plans for or draws a family asks here.
REGISTRY: tuple[Family, ...] = (
    Family("normal", "normal", NORMAL, False, ("mean", "sd"), uses="fit plan draw"),
    Family("lognormal", "lognormal", NORMAL, True, ("log_mean", "log_sd"), uses="fit plan draw"),
    Family("weibull", "Weibull", SEV, True, ("shape", "scale"), True, uses="fit plan draw"),
    Family("weibull3", "Weibull with threshold", SEV, True, ("shape", "scale", "threshold"), True, uses="fit"),
    Family("gumbel_min", "smallest extreme (Gumbel)", SEV, False, ("location", "scale"), uses="fit plan"),
    # Those below are fitted where they are asked for by name.
    Family("gumbel_max", "largest extreme (Gumbel)", LEV, False, ("location", "scale")),
    Family("logistic", "logistic", LOGISTIC, False, ("location", "scale")),
    Family("loglogistic", "log-logistic", LOGISTIC, True, ("log_location", "log_scale")),
    Family("frechet", "Fréchet (largest extreme of logarithms)", LEV, True, ("log_location", "log_scale")),
)

_BY_NAME: dict[str, Family] = {f.name: f for f in REGISTRY}

#: All that can be asked for by name.
EVERY_FAMILY: tuple[str, ...] = tuple(_BY_NAME)


def _used(use: str) -> tuple[str, ...]:
    return tuple(f.name for f in REGISTRY if use in f.uses.split())


#: Those that are fitted where none is named.
FAMILIES: tuple[str, ...] = _used("fit")
#: Those for which a percentile can be planned, and whose low percentiles are averaged.
PLANNED: tuple[str, ...] = _used("plan")
#: Those of which breakdowns are drawn: trips of a rule, verdicts, invented benches.
DRAWN: tuple[str, ...] = _used("draw")


def family_of(name: str | Family) -> Family:
    """Look a family up by its name, one of :data:`EVERY_FAMILY`.

    Raises
    ------
    InputError
        No such family.
    """
    if isinstance(name, Family):
        return name
    try:
        return _BY_NAME[name]
    except (KeyError, TypeError):
        raise InputError(
            f"There is no family {name!r}; the families are {', '.join(EVERY_FAMILY)}.",
            column="family", text=str(name), rule="a known family",
        ) from None  # fmt: skip


def pdf(family: str | Family, parameters: dict[str, float], kv: Any) -> Array:
    """Probability density per kV at ``kv`` (any shape).

    Parameters
    ----------
    family : str or Family
        A family or its name.
    parameters : dict of str to float
        Its parameters by name, as a fit gives them.
    kv : array_like
        Voltages, kV.
    """
    fam, z, x, sigma = _standardise(family, parameters, kv)
    log_f = fam.kernel.density(z)[0] - np.log(sigma)
    with np.errstate(divide="ignore", under="ignore", invalid="ignore"):
        out = np.exp(log_f - np.log(x)) if fam.log else np.exp(log_f)
    return np.where(x > 0, out, 0.0) if fam.log else out


def cdf(family: str | Family, parameters: dict[str, float], kv: Any) -> Array:
    """Probability of a breakdown at or below ``kv`` (any shape).

    Parameters
    ----------
    family : str or Family
        A family or its name.
    parameters : dict of str to float
        Its parameters by name, as a fit gives them.
    kv : array_like
        Voltages, kV.

    Examples
    --------
    >>> float(cdf("weibull", {"scale": 60.0, "shape": 8.0}, 60.0).round(4))
    0.6321
    """
    fam, z, x, _ = _standardise(family, parameters, kv)
    with np.errstate(under="ignore"):
        out = -np.expm1(fam.kernel.survival(z)[0])
    return np.where(x > 0, out, 0.0) if fam.log else out


def quantile(family: str | Family, parameters: dict[str, float], p: Any) -> Array:
    """Voltage, kV, below which the fraction ``p`` (any shape, between 0 and 1) breaks down.

    Parameters
    ----------
    family : str or Family
        A family or its name.
    parameters : dict of str to float
        Its parameters by name, as a fit gives them.
    p : array_like
        Fractions, 0 to 1.

    Examples
    --------
    >>> float(quantile("normal", {"mean": 60.0, "sd": 9.0}, 0.5))
    60.0
    """
    fam = family_of(family)
    mu, sigma = fam.locate(parameters)
    fractions = np.asarray(p, dtype=float)
    with np.errstate(divide="ignore"):
        y = mu + sigma * fam.kernel.quantile(fractions)
    return np.exp(y) + parameters.get("threshold", 0.0) if fam.log else y


def _standardise(family: str | Family, parameters: dict[str, float], kv: Any) -> tuple[Family, Array, Array, float]:
    fam = family_of(family)
    mu, sigma = fam.locate(parameters)
    x = np.asarray(kv, dtype=float) - parameters.get("threshold", 0.0)
    y = np.log(np.where(x > 0, x, 1.0)) if fam.log else x
    return fam, (y - mu) / sigma, x, sigma


def weibull_cov(shape: Any) -> Array:
    """Coefficient of variation (a fraction) of a two-parameter Weibull with this shape (any shape of array)."""
    m = np.asarray(shape, dtype=float)
    # ln of E[x^2] / E[x]^2; gammaln keeps large shapes from losing their digits.
    excess = scipy.special.gammaln(1 + 2 / m) - 2 * scipy.special.gammaln(1 + 1 / m)
    return np.sqrt(np.expm1(excess))


@lru_cache(maxsize=256)
def weibull_shape_for_cov(cov: float) -> float:
    """Weibull shape whose coefficient of variation is ``cov`` (a fraction, 0.0001 to 10).

    Raises
    ------
    InputError
        ``cov`` outside that range.
    """
    if not 1e-4 <= cov <= 10:
        raise InputError(f"A coefficient of variation of {cov!r} is outside 0.01 % to 1000 %.", column="cov")
    found = scipy.optimize.brentq(
        lambda m: float(weibull_cov(np.exp(m))) / cov - 1, np.log(0.2), np.log(20_000.0), xtol=1e-14
    )
    return float(np.exp(found))


def family_title(name: str) -> str:
    """What a family is called for people, such as "smallest extreme (Gumbel)"; another name as it is."""
    return _BY_NAME[name].title if name in _BY_NAME else name


def titles(names: Iterable[str]) -> dict[str, str]:
    """Names of families -> what they are called for people."""
    return {name: _BY_NAME[name].title for name in names}

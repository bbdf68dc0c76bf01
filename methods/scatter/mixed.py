"""Mixed models: fixed effects with random fillings (and samples, laboratories), and honest small-sample inference."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError, NotEstimable
from methods.result import Caution
from methods.scatter.degrees import FixedEffects, fixed_effects
from methods.scatter.reml import Criterion, check_codes, collapse
from methods.scatter.search import minimise
from methods.threads import single_threaded

Floats = NDArray[Any]
Codes = NDArray[np.int64]

#: Above this many entries the check that fixed part and random factors can be told apart is left out.
_EXAMINED = 4_000_000


class Contrast(NamedTuple):
    """A linear combination of fixed effects: t interval and two-sided p-value against ``value``."""

    estimate: float
    standard_error: float
    df: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True)
class Mixed:
    """A fitted mixed model.

    ``beta`` (p,) and ``covariance`` (p, p) serve inference (Kenward-Roger corrected under REML); ``variances``
    maps each random factor to its variance, ``residual`` (groups,) holds that of the residual groups. ``unit`` is
    what inference counts as an independent observation when a factor came out at zero (see :func:`fit_mixed`);
    empty otherwise. ``levels`` are the numbers of levels, ``rows`` the number of values.
    """

    beta: Floats
    covariance: Floats
    variances: dict[str, float]
    residual: Floats
    levels: dict[str, int]
    rows: int
    log_likelihood: float
    method: str
    unit: str
    converged: bool
    known: FixedEffects = field(repr=False)
    freedom: int = 0
    cautions: list[Caution] = field(default_factory=list)

    def contrast(self, row: ArrayLike, *, confidence: float = 0.95, value: float = 0.0) -> Contrast:
        """Estimate ``row @ beta`` with its standard error, degrees of freedom, limits and p-value.

        Parameters
        ----------
        row : array_like
            (p,) Weights of the fixed effects.
        confidence : float, default 0.95
            Of the limits, a fraction between 0 and 1.
        value : float, default 0.0
            Null value of the p-value.
        """
        c = np.asarray(row, dtype=float)
        if c.shape != self.beta.shape:
            raise InputError(f"The contrast has {c.shape} entries for {len(self.beta)} fixed effects.")
        estimate, se = float(c @ self.beta), float(np.sqrt(c @ self.covariance @ c))
        df = float(np.clip(self.known.degrees(c), 1.0, self.freedom)) if se > 0 else float(self.freedom)
        width = float(scipy.stats.t.isf((1 - confidence) / 2, df)) * se
        p = 2 * float(scipy.stats.t.sf(abs(estimate - value) / se, df)) if se > 0 else float(estimate == value)
        return Contrast(estimate, se, df, estimate - width, estimate + width, p)

    @property
    def sds(self) -> dict[str, float]:
        """Standard deviations of the random factors."""
        return {k: v**0.5 for k, v in self.variances.items()}


@single_threaded
def fit_mixed(
    y: ArrayLike,
    x: ArrayLike,
    groups: Mapping[str, ArrayLike],
    *,
    residual: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    method: str = "reml",
) -> Mixed:
    """Fit fixed effects with random factors.

    Parameters
    ----------
    y : array (n,)
        kV (or log kV).
    x : array (n, p)
        Fixed part, of full column rank.
    groups : mapping of name to level labels (n,)
        Random factors from the outside in, such as ``{"sample": ..., "filling": ...}``; integer labels below zero
        mean that the factor does not act on that row. Labels must be unique over the table (a filling that starts
        anew in each sample needs codes such as :func:`methods.records.table.filling_codes` gives).
    residual : labels (n,), optional
        Rows of one label share a residual variance; without it all do.
    weights : array (n,), optional
        Residual variance is divided by these.
    method : {"reml", "ml"}

    Returns
    -------
    Mixed

    Raises
    ------
    InputError
        Shapes that do not fit, values that are not finite.
    NotEstimable
        A fixed part with columns that cannot be told apart; nothing left to estimate scatter from.

    Notes
    -----
    Standard errors and degrees of freedom: Kenward & Roger, Biometrics 53 (1997) 983 (for one contrast the degrees
    of freedom are Satterthwaite's). When a factor comes out at zero and the fixed part does not change within its
    levels, inference is drawn from the means of its levels instead: pooling would pretend that the breakdowns of a
    filling (or the fillings of a sample) are independent, while the means keep the t distribution that they have in
    balanced designs. With balanced data this makes every interval the exact one of the analysis of variance.
    """
    values, design, codes, group = _checked(y, x, groups, residual)
    w = None if weights is None else np.asarray(weights, dtype=float)
    if w is not None and (w.shape != values.shape or not (np.isfinite(w).all() and (w > 0).all())):
        raise InputError("Weights must be positive, one for each value.")
    if method not in ("reml", "ml"):
        raise InputError("The method is 'reml' or 'ml'.")
    kept, cautions = _estimable(design, codes)
    criterion = Criterion(collapse(values, design, list(kept.values()), group, w), restricted=method == "reml")
    estimate = minimise(criterion)
    known = fixed_effects(criterion, estimate)
    beta = estimate.beta + _shift(design, criterion.cells.centre)
    covariance, unit, freedom = known.corrected if method == "reml" else known.covariance, "", criterion.freedom
    variances = {k: float(v) for k, v in zip(kept, estimate.variances, strict=True)}
    level = _at_zero(kept, estimate.variances, design)
    if level is not None and method == "reml":
        up = _on_means(values, design, kept, group, level)
        if up is not None:
            beta, covariance, known, unit = up.beta, up.covariance, up.known, up.unit or level
            freedom = up.freedom
    return Mixed(
        beta=beta, covariance=covariance, variances=variances, residual=estimate.residual,
        levels=dict(zip(kept, criterion.levels, strict=True)), rows=len(values),
        log_likelihood=-estimate.deviance / 2, method=method, unit=unit, converged=estimate.converged, known=known,
        freedom=freedom, cautions=cautions,
    )  # fmt: skip


def _checked(
    y: ArrayLike, x: ArrayLike, groups: Mapping[str, ArrayLike], residual: ArrayLike | None
) -> tuple[Floats, Floats, dict[str, Codes], Codes]:
    values, design = np.asarray(y, dtype=float), np.asarray(x, dtype=float)
    if values.ndim != 1 or design.ndim != 2 or len(design) != len(values) or design.shape[1] == 0:
        raise InputError("A mixed model needs values (n,) and a fixed part (n, p).")
    if not (np.isfinite(values).all() and np.isfinite(design).all()):
        raise InputError("The values and the fixed part of a mixed model must be finite numbers.")
    if len(values) <= design.shape[1]:
        raise NotEstimable("There are no more breakdowns than fixed effects: nothing is left to tell the scatter from.")
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise NotEstimable("Some fixed effects cannot be told apart in these data: their columns depend on each other.")
    codes = {name: check_codes(name, code, len(values)) for name, code in groups.items()}
    group = (
        np.zeros(len(values), dtype=np.int64) if residual is None else check_codes("residual", residual, len(values))
    )
    return values, design, codes, group


def _shift(design: Floats, centre: float) -> Floats:
    """Fixed effects that stand for the constant which was taken off the values."""
    if centre == 0:
        return np.zeros(design.shape[1])
    return centre * np.linalg.lstsq(design, np.ones(len(design)), rcond=None)[0]


def _estimable(design: Floats, codes: dict[str, Codes]) -> tuple[dict[str, Codes], list[Caution]]:
    """Leave out random factors that the rows cannot tell from the fixed part, the residual or each other."""
    kept: dict[str, Codes] = {}
    cautions = []
    rows, p = design.shape
    for name, code in codes.items():
        levels = int(code.max()) + 1
        acts = code >= 0
        why = ""
        if levels < 2 and acts.all():
            why = "has one level"
        elif levels == int(acts.sum()):
            why = "has one breakdown in each level"
        elif any(_same(code, other) for other in kept.values()):
            why = "has the same levels as a factor outside it"
        elif rows * (p + levels) <= _EXAMINED and _swallowed(design, code, levels):
            why = "is explained wholly by the fixed effects"
        if why:
            cautions.append(Caution("confounded", f"The spread between levels of '{name}' cannot be seen: it {why}."))
        else:
            kept[name] = code
    return kept, cautions


def _same(a: Codes, b: Codes) -> bool:
    n = len(np.unique(np.column_stack([a, b]), axis=0))
    return n == len(np.unique(a)) == len(np.unique(b))


def _swallowed(design: Floats, code: Codes, levels: int) -> bool:
    """Whether the fixed part has as much freedom within the levels' space as the levels themselves."""
    keep = code >= 0
    z = np.zeros((len(code), levels))
    z[np.flatnonzero(keep), code[keep]] = 1.0
    left = z - design @ np.linalg.lstsq(design, z, rcond=None)[0]
    return float(np.abs(left).max()) < 1e-8


def _at_zero(kept: dict[str, Codes], variances: Floats, design: Floats) -> str | None:
    """The outermost factor at zero within whose levels the fixed part and the factors around it do not change."""
    for (name, code), variance in zip(kept.items(), variances, strict=True):
        if variance > 0 or (code < 0).any():
            continue
        first = np.unique(code, return_index=True)[1]
        around = [c for k, c in kept.items() if k != name and not _within(c, code)]
        if np.array_equal(design, design[first][code]) and all(np.array_equal(c, c[first][code]) for c in around):
            return name
    return None


def _within(inner: Codes, outer: Codes) -> bool:
    """Whether each level of ``inner`` lies in one level of ``outer``."""
    return not (inner < 0).any() and np.array_equal(outer, outer[np.unique(inner, return_index=True)[1]][inner])


def _on_means(values: Floats, design: Floats, kept: dict[str, Codes], group: Codes, level: str) -> Mixed | None:
    """The same model one level up: means of the levels of ``level`` (of their own levels' means) as observations."""
    code, start = kept[level], values[0]
    inside = max((c for k, c in kept.items() if k == level or _within(c, code)), key=lambda c: int(c.max()))
    first = np.unique(code, return_index=True)[1]
    if not np.array_equal(group, group[first][code]) or len(first) <= design.shape[1]:
        return None
    means = np.bincount(inside, values - start) / np.bincount(inside)
    owner = code[np.unique(inside, return_index=True)[1]]
    mean = start + np.bincount(owner, means) / np.bincount(owner)
    outer = {k: c[first] for k, c in kept.items() if k != level and not _within(c, code)}
    try:
        return fit_mixed(mean, design[first], outer, residual=group[first])
    except NotEstimable:
        return None

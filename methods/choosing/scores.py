"""Scores of the procedures, and how they scatter when fillings and oils are drawn again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from methods.choosing.evidence import Evidence
from methods.errors import InputError
from methods.scatter.one_factor import one_factor

#: What can be weighed, and what a higher weight asks for.
CRITERIA: dict[str, str] = {
    "precision": "small scatter of one reported result",
    "time": "few bench minutes for the target",
    "oil": "little oil for the target",
    "discrimination": "one result tells these oils apart",
    "history": "the procedure that past results were taken by",
}

#: How they weigh where nothing is said.
DEFAULT_WEIGHTS: dict[str, float] = {"precision": 1.0, "time": 1.0, "oil": 0.0, "discrimination": 1.0, "history": 0.0}

#: A procedure without a link to history counts as so many times worse at a weight of one.
HISTORY_FACTOR = 2.0

#: Signal over noise below the first cannot be told from none; above the second it says no more about a choice.
LEAST_DISCRIMINATION, MOST_DISCRIMINATION = 0.05, 50.0


@dataclass(frozen=True)
class OilDraws:
    """Each has one row a draw and one column a procedure.

    ``within`` and ``between`` are coefficients of variation (fractions), ``result_cov`` that of one reported result,
    ``discrimination`` signal over noise of one filling, nan where it cannot be seen.
    """

    within: np.ndarray
    between: np.ndarray
    result_cov: np.ndarray
    discrimination: np.ndarray


def check_weights(weights: Mapping[str, float] | None) -> dict[str, float]:
    """The weights with their defaults; refuses names that are not criteria, negative weights and none at all."""
    out = dict(DEFAULT_WEIGHTS)
    for name, value in (weights or {}).items():
        if name not in CRITERIA:
            rule = f"one of {', '.join(CRITERIA)}"
            said = f"There is no criterion {name!r} to weigh; use {rule}."
            raise InputError(said, text=str(name), rule=rule, lacks="criterion")
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < float("inf"):
            raise InputError(
                f"The weight of {name} is {value!r}; it must be 0 or more.", text=str(value), rule="0 or more"
            )
        out[name] = float(value)
    if not sum(out.values()) > 0:
        raise InputError("All weights are 0: nothing is left to choose by.", rule="one weight above 0")
    return out


def draw_oils(
    found: Evidence, per_result: Sequence[tuple[int, int]], rng: np.random.Generator, repetitions: int,
    *, oils: bool = True,
) -> OilDraws:  # fmt: skip
    """Draw oils with replacement, and their fillings from the scatter that fillings show; row 0 is the data.

    Two or three fillings of an oil are too few to be drawn from themselves. Each variance, pooled over the oils
    relative to their means, is drawn as ``v df / chi2(df)``, which is what the data leave open about it where
    fillings are normal; each oil's mean is then drawn with that scatter. All procedures get the same oils.

    Parameters
    ----------
    per_result : sequence of (int, int)
        Fillings and breakdowns per filling of one reported result, one a procedure.
    oils : bool
        Whether the oils are drawn, too.
    found : Evidence
        What the records hold of the procedures.
    rng : np.random.Generator
        Draws the oils and the scatter.
    repetitions : int
        Draws after the first row.
    """
    count, size = len(found.procedures), len(found.scatter_oils)
    weights = np.ones((repetitions + 1, size))
    if oils and size > 1:
        weights[1:] = rng.multinomial(size, np.full(size, 1 / size), size=repetitions)
    shape = (repetitions + 1, count)
    within, between, cov, apart = (np.full(shape, np.nan) for _ in range(4))
    for p in range(count):
        cells = list(zip(found.means[p], found.squares[p], found.counts[p], strict=True))
        means = np.array([m.mean() for m, _, _ in cells])
        sizes = np.array([len(m) for m, _, _ in cells], dtype=float)
        inside = np.array([ss.sum() for _, ss, _ in cells]) / means**2
        outside = np.array([((m - m.mean()) ** 2).sum() for m, _, _ in cells])
        inside_df = np.array([float((n - 1).sum()) for _, _, n in cells])
        v_within = _pooled(inside, inside_df, weights, rng)
        v_means = _pooled(outside / means**2, sizes - 1, weights, rng)
        per = _harmonic(np.concatenate(found.counts[p]))
        v_between = np.maximum(v_means - np.nan_to_num(v_within) / per, 0.0)
        if size == 1 and inside_df[0] > 0 and sizes[0] > 1 and inside[0] > 0:  # one oil: the SDs of every other page
            likely = one_factor(found.counts[p][0], found.means[p][0], float(found.squares[p][0].sum()))
            v_within[0], v_between[0] = (v / means[0] ** 2 for v in likely)
        k_result, n_result = per_result[p]
        alone = np.where(np.isfinite(v_within), v_within, v_means * per)  # one breakdown a filling shows both as one
        within[:, p], between[:, p] = np.sqrt(v_within), np.sqrt(v_between)
        cov[:, p] = np.sqrt((np.nan_to_num(v_between) + alone / n_result) / k_result)
        if size > 1:
            scatter = np.where(np.isfinite(v_means), v_means, v_within / per)
            error = np.sqrt(scatter[:, None] / sizes) * rng.standard_normal((repetitions + 1, size))
            error[0] = 0.0
            drawn = means * (1 + error)
            middle = (weights * drawn).sum(axis=1, keepdims=True) / size
            spread = (weights * (drawn - middle) ** 2).sum(axis=1) / (size - 1)
            spread[1:] *= size / (size - 1) if oils else 1.0  # oils drawn again differ less than oils do
            noise = scatter * float((means**2).mean())
            added = noise * np.mean(1 / sizes) * np.where(np.arange(repetitions + 1) == 0, 1.0, 2.0)
            with np.errstate(invalid="ignore", divide="ignore"):  # what was drawn anew carries its noise twice
                apart[:, p] = np.sqrt(np.maximum(spread - added, 0.0) / noise)
    return OilDraws(within, between, cov, apart)


def _pooled(squares: np.ndarray, df: np.ndarray, weights: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A variance pooled over the drawn oils, drawn itself from the second row on; nan where nothing was repeated."""
    total = weights @ df
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.where(total > 0, (weights @ squares) / total, np.nan)
    chi = rng.chisquare(np.maximum(total, 1.0))
    factor = np.where(total > 0, total / chi, 1.0)
    factor[0] = 1.0
    return value * factor


def _harmonic(values: np.ndarray) -> float:
    return float(len(values) / (1 / values).sum())


def score(
    draws: OilDraws, weights: Mapping[str, float], minutes: np.ndarray, litres: np.ndarray, target: float,
    quantile: float, history: int | None,
) -> np.ndarray:  # fmt: skip
    """The weighted mean of logarithms, one row a draw and one column a procedure; higher is better.

    A difference of log 2 in one criterion that has all the weight is "twice as good". ``minutes`` and ``litres`` are
    those of one result; the number of results for the target is the square of quantile x cov / target.

    Parameters
    ----------
    draws : OilDraws
        What was drawn for each procedure.
    weights : mapping of str to float
        Criterion to its weight, 0 or more.
    minutes : ndarray
        (procedures,) Bench minutes of one result.
    litres : ndarray
        (procedures,) Oil of one result, litres.
    target : float
        Half-width of the mean that is wanted, a fraction.
    quantile : float
        Normal quantile of the confidence.
    history : int or None
        Which procedure past results were taken by; None for none.
    """
    results = np.maximum((quantile * draws.result_cov / target) ** 2, 1.0)
    parts: dict[str, np.ndarray] = {
        "precision": -np.log(np.maximum(draws.result_cov, 1e-6)),
        "time": -np.log(results * minutes),
        "oil": -np.log(results * litres),
        "discrimination": np.log(np.clip(draws.discrimination, LEAST_DISCRIMINATION, MOST_DISCRIMINATION)),
    }
    shape = draws.result_cov.shape
    link = np.zeros(shape)
    if history is not None:
        link -= np.log(HISTORY_FACTOR)
        link[:, history] = 0.0
    parts["history"] = link
    used = {n: w for n, w in weights.items() if w > 0 and np.isfinite(parts[n][0]).all()}
    total = np.zeros(shape)
    for name, weight in used.items():
        total += weight * parts[name]
    return total / sum(used.values())


def probabilities(scores: np.ndarray) -> np.ndarray:
    """Share of the draws (row 0 is the data, and left out) in which each procedure scores highest."""
    drawn = scores[1:]
    drawn = drawn[np.isfinite(drawn).all(axis=1)]
    return np.bincount(drawn.argmax(axis=1), minlength=scores.shape[1]) / max(len(drawn), 1)

"""Studies of one oil under one procedure: the default limits of its mean, SD and percentiles; verdicts; borrowing.

The SD within fillings is 7 kV about a mean of 60 kV; the SD between fillings is 0, 1/3, 1 or 2 times that.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

import numpy as np
from scipy import special

from methods.families import FAMILIES as NAMES
from methods.families import family_of
from methods.planning import decide
from methods.scatter import fit, median, one_oil
from methods.scatter.history import pool
from methods.scatter.nested_pivots import Summary, summarise
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat
from tests.calibration.scenarios import describe
from tests.calibration.shift_coverage import noise

AREA = "One oil under one procedure"
MEAN, WITHIN = 60.0, 7.0
RATIOS = {0.0: "0", 1 / 3: "1/3", 1.0: "1", 2.0: "2"}

_LIMITS = (
    Claim("mean", "mean of the oil"), Claim("sd", "SD of one result"), Claim("low", "1 % point of the normal law"),
    Claim("tenth", "10 % point of the normal law"), Claim("median", "readings' own median"),
)  # fmt: skip


def _kv(rng: np.random.Generator, label: np.ndarray, law: str, ratio: float, mean: float = MEAN) -> np.ndarray:
    shared = noise(rng, law, (int(label.max()) + 1,))[label]
    return np.maximum(mean + WITHIN * (ratio * shared + noise(rng, law, label.shape)), 0.5)


def _limits(
    repetitions: int, rng: np.random.Generator, *, sizes: tuple[int, ...], ratio: float, law: str = "normal"
) -> Outcomes:
    """The defaults of fit, decide, budget and components, by the front door that they share."""
    label = np.repeat(np.arange(len(sizes)), sizes)
    total = WITHIN * math.hypot(1, ratio)
    low, tenth = (MEAN + total * special.ndtri(p) for p in (0.01, 0.1))

    def one() -> dict[str, float | bool]:
        kv = _kv(rng, label, law, ratio)
        oil = one_oil(kv, fillings=label, percentiles=(0.01, 0.1))
        out: dict[str, float | bool] = {
            "mean": inside(oil.mean_low_kv, MEAN, oil.mean_high_kv),
            "sd": inside(oil.sd_limits_kv[0], total, oil.sd_limits_kv[1]),
        }
        if law == "normal":
            points = oil.percentiles
            out |= {"low": inside(points[0].low, low, points[0].high)}
            out |= {"tenth": inside(points[1].low, tenth, points[1].high)}
            if len(sizes) > 1 and max(sizes) > 1:
                middle = median(kv, fillings=label)
                out["median"] = inside(middle.low, MEAN, middle.high)
        return out

    return repeat(repetitions, one, _keys(sizes, law))


def _keys(sizes: tuple[int, ...], law: str) -> list[str]:
    """The claims that a design and a law allow: under another law only the mean and the SD are the model's."""
    if law != "normal":
        return ["mean", "sd"]
    return ["mean", "sd", "low", "tenth", *(["median"] if len(sizes) > 1 and max(sizes) > 1 else [])]


def _this_filling(repetitions: int, rng: np.random.Generator, *, n: int, ratio: float) -> Outcomes:
    """One filling: its limits are about the filling's own mean, whatever the oil's."""

    def one() -> dict[str, float | bool]:
        level = MEAN + WITHIN * ratio * rng.standard_normal()
        oil = one_oil(level + WITHIN * rng.standard_normal(n), fillings=np.zeros(n), percentiles=())
        return {"mean": inside(oil.mean_low_kv, level, oil.mean_high_kv)}

    return repeat(repetitions, one, ["mean"])


def _family(
    repetitions: int, rng: np.random.Generator, *, family: str, sizes: tuple[int, ...], ratio: float = 0.0,
    stood: float = 0.0,
) -> Outcomes:  # fmt: skip
    """Default limits of the other families; values of one filling share normal scores."""
    fam = family_of(family)
    label = np.repeat(np.arange(len(sizes)), sizes)
    share = ratio**2 / (1 + ratio**2)
    mu, sigma = (math.log(60), 0.12) if fam.log else (60.0, 6.0)

    def at(p: float) -> float:
        y = mu + sigma * float(fam.kernel.quantile(np.array(p)))
        return math.exp(y) if fam.log else y

    ceiling = at(1 - stood) if stood else math.inf

    def one() -> dict[str, float | bool]:
        score = math.sqrt(share) * rng.standard_normal(len(sizes))[label]
        score = score + math.sqrt(1 - share) * rng.standard_normal(len(label))
        kv = mu + sigma * np.asarray(fam.kernel.quantile(special.ndtr(score)))
        kv = np.exp(kv) if fam.log else kv
        gone = kv >= ceiling
        fillings = label if len(sizes) > 1 else None
        found = fit(np.minimum(kv, ceiling), gone, family, percentiles=(0.01, 0.1, 0.5), fillings=fillings)
        return {
            k: inside(q.low, at(q.p), q.high) for k, q in zip(("low", "tenth", "half"), found.percentiles, strict=True)
        }

    return repeat(repetitions, one, ["low", "tenth", "half"])


SAID = {"10": (0.08, 0.12), "20": (0.17, 0.23), "30": (0.26, 0.34)}


def _verdicts(repetitions: int, rng: np.random.Generator) -> Outcomes:
    """Oils near the limit, one to five fillings of five, any ratio of the SDs up to two; verdicts by the mean."""
    out: dict[str, list[float]] = {k: [] for k in SAID}
    for _ in range(repetitions):
        k, ratio = int(rng.integers(1, 6)), 2 * rng.random()
        true, label = 50 + rng.uniform(-30, 30), np.repeat(np.arange(k), 5)
        found = decide(_kv(rng, label, "normal", ratio, true), 50.0, fillings=label)
        wrong = (found.verdict == "pass") != (true >= 50)
        said = found.wrong_verdict_probability
        for key, (low, high) in SAID.items():
            out[key].append(float(wrong) if said is not None and low <= said <= high else math.nan)
    return {k: np.array(v) for k, v in out.items()}


def _borrowed(repetitions: int, rng: np.random.Generator, *, fillings: int, ratio: float, differ: float) -> Outcomes:
    """Scatter from twelve other oils on three fillings of five, whose CoVs may differ (SD of the logarithm)."""

    def oil(k: int) -> tuple[np.ndarray, np.ndarray]:
        factor = math.exp(differ * rng.standard_normal())
        label = np.repeat(np.arange(k), 5)
        score = ratio * rng.standard_normal(k)[label] + rng.standard_normal(5 * k)
        return np.maximum(60 * (1 + 0.12 * factor * score), 0.5), label

    def part(kv: np.ndarray, label: np.ndarray) -> Summary:
        s = summarise(kv, label)
        return Summary(s.n, s.fillings, 1.0, s.between_ss / s.mean**2, s.within_ss / s.mean**2, s.harmonic)

    def one() -> dict[str, float | bool]:
        past = pool([part(*oil(3)) for _ in range(12)])
        kv, label = oil(fillings)
        found = one_oil(kv, fillings=label, percentiles=(), known=past.prior(float(kv.mean())))
        return {"mean": inside(found.mean_low_kv, 60.0, found.mean_high_kv)}

    return repeat(repetitions, one, ["mean"])


#: Lines on the edge of their claim, which 2,000 repetitions cannot settle.
ON_THE_EDGE = ("one oil 5-5-5-5-5 ratio 2", "default gumbel_min 5 ratio 0")


def _many(study: Study) -> Study:
    return replace(study, repetitions=(study.repetitions[0], 10_000)) if study.name in ON_THE_EDGE else study


def _words(sizes: tuple[int, ...]) -> str:
    alike = len(set(sizes)) == 1
    return f"{len(sizes)} fillings of " + (f"{sizes[0]}" if alike else f"{', '.join(map(str, sizes))}")


def studies() -> list[Study]:
    """All studies of one oil."""
    found = []
    designs: tuple[tuple[int, ...], ...] = ((5, 5, 5), (5, 5), (5,) * 5, (1,) * 6, (1,) * 5, (2, 3, 6, 6, 1))
    for sizes in designs:
        for ratio, word in RATIOS.items():
            if sizes[0] == 1 and ratio != 0.0 and sizes[-1] == 1:
                continue  # one value a filling: only the sum of the two scatters is seen
            claims = tuple(c for c in _LIMITS if c.key in _keys(sizes, "normal"))
            found.append(
                Study(f"one oil {'-'.join(map(str, sizes))} ratio {word}", AREA, f"normal, between {word} of within",
                      _words(sizes), claims, partial(_limits, sizes=sizes, ratio=ratio), (40, 2000))
            )  # fmt: skip
    for law in ("weibull", "contaminated"):
        for ratio in (1 / 3, 1.0):
            found.append(
                Study(f"one oil 5-5-5 ratio {RATIOS[ratio]} {law}", AREA,
                      f"{describe(law)}, between {RATIOS[ratio]} of within", _words((5, 5, 5)), _LIMITS[:2],
                      partial(_limits, sizes=(5, 5, 5), ratio=ratio, law=law), (40, 2000))
            )  # fmt: skip
    for n in (5, 6):
        found.append(
            Study(f"one filling of {n}", AREA, "normal, between 1 of within", f"1 filling of {n}",
                  (Claim("mean", "mean of this filling"),), partial(_this_filling, n=n, ratio=1.0), (100, 4000))
        )  # fmt: skip
    return [_many(s) for s in found + _family_studies()] + _verdict_studies()


def _family_studies() -> list[Study]:
    cases: list[tuple[str, tuple[int, ...], float, float]] = [
        (name, (n,), 0.0, 0.0) for name in ("weibull", "gumbel_min", "lognormal") for n in (5, 6, 10)
    ]
    cases += [("weibull", (5, 5, 5), r, 0.0) for r in RATIOS] + [("gumbel_min", (5, 5), 1.0, 0.0)]
    cases += [("normal", (6,), 0.0, 0.2), ("weibull", (10,), 0.0, 0.2), ("weibull", (5, 5, 5), 1.0, 0.2)]
    found = []
    for name, sizes, ratio, stood in cases:
        assert name in NAMES
        data = f"{name}, " + (f"between {RATIOS[ratio]} of within" if len(sizes) > 1 else "independent")
        data += ", ceiling that 20 % withstand" if stood else ""
        claims = tuple(
            Claim(k, f"{what} of the {name} fit") for k, what in
            (("low", "1 % point"), ("tenth", "10 % point"), ("half", "50 % point"))
        )  # fmt: skip
        found.append(
            Study(f"default {name} {'-'.join(map(str, sizes))} ratio {RATIOS[ratio]}" + (" withstood" if stood else ""),
                  AREA, data, _words(sizes) if len(sizes) > 1 else f"n = {sizes[0]}", claims,
                  partial(_family, family=name, sizes=sizes, ratio=ratio, stood=stood),
                  (12, 1000) if stood else (40, 2000))
        )  # fmt: skip
    return found


def _verdict_studies() -> list[Study]:
    claims = tuple(
        Claim(k, f"verdict said wrong with about {k} %", "test", int(k) / 100, room=0.03) for k in SAID
    )  # fmt: skip
    found = [
        Study("verdict probabilities", AREA, "normal, oils within 30 kV of the limit, between 0 to 2 of within",
              "1 to 5 fillings of 5", claims, _verdicts, (400, 20000))
    ]  # fmt: skip
    for fillings in (1, 2, 3):
        for ratio, word in RATIOS.items():
            for differ in (0.0, 0.3) if ratio == 1 / 3 else (0.0,):
                data = f"normal, between {word} of within" + (", oils differ in scatter by a third" if differ else "")
                found.append(
                    Study(f"borrowed {fillings} ratio {word}" + (" differ" if differ else ""), AREA, data,
                          f"{fillings} filling{'s' * (fillings > 1)} of 5, history of 12 oils",
                          (Claim("mean", "mean with borrowed scatter"),),
                          partial(_borrowed, fillings=fillings, ratio=ratio, differ=differ), (30, 2000))
                )  # fmt: skip
    return found

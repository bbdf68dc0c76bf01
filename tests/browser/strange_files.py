"""Files unlike the demo, invented, for looking at pages and for tests: :func:`written` puts them in a folder."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

#: Name -> its files.
SETS: dict[str, tuple[str, ...]] = {
    "five": ("sheet.csv",),
    "three_files": ("monday.csv", "tuesday.csv", "wednesday.csv"),
    "withstands": ("withstands.csv",),
    "nine": ("nine_procedures.csv",),
    "one_oil": ("one_oil.csv",),
    "sixty": ("sixty_laboratories.csv",),
}


def written(folder: Path) -> dict[str, list[Path]]:
    """Write every set into ``folder``; give each set's paths by its name."""
    folder.mkdir(parents=True, exist_ok=True)
    frames = {**_single(), **_three_files(), "nine_procedures.csv": _nine(), "sixty_laboratories.csv": _sixty()}
    for name, frame in frames.items():
        frame.to_csv(folder / name, index=False)
    return {name: [folder / file for file in files] for name, files in SETS.items()}


def _series(rng: np.random.Generator, mean_kv: float, fillings: int, each: int, **said: object) -> pd.DataFrame:
    """Breakdowns of one oil under one condition: 5 % between fillings, 12 % within."""
    centres = mean_kv * (1 + 0.05 * rng.standard_normal(fillings))
    kv = centres[:, None] * (1 + 0.12 * rng.standard_normal((fillings, each)))
    rows = pd.DataFrame({
        "filling": np.repeat(np.arange(1, fillings + 1), each), "order": np.tile(np.arange(1, each + 1), fillings),
        "kv": np.round(kv.ravel(), 1),
    })  # fmt: skip
    return rows.assign(**said)


def _single() -> dict[str, pd.DataFrame]:
    rng = np.random.default_rng(13)
    five = pd.DataFrame({"kV": [43.1, 51.7, 38.9, 47.2, 44.6]})
    high = _series(rng, 72.0, 3, 6, sample="T7", method="IEC 60156", electrode="spherical", stirring="continuous")
    clipped = high.assign(
        kv=high["kv"].clip(upper=75), outcome=np.where(high["kv"] > 75, "withstood", "breakdown")
    )  # fmt: skip
    low = _series(rng, 48.0, 3, 6, sample="T8", method="IEC 60156", electrode="spherical", stirring="continuous")
    oil = _series(rng, 55.0, 3, 6, sample="T1", method="IEC 60156")
    return {
        "sheet.csv": five,
        "withstands.csv": pd.concat([clipped, low.assign(outcome="breakdown")]),
        "one_oil.csv": oil,
    }


def _three_files() -> dict[str, pd.DataFrame]:
    rng = np.random.default_rng(14)
    return {
        f"{day}.csv": pd.concat([
            _series(rng, mean, 1, 6, sample=oil, method="IEC 60156") for oil, mean in (("T1", 55), ("T2", 42))
        ])
        for day in ("monday", "tuesday", "wednesday")
    }  # fmt: skip


def _nine() -> pd.DataFrame:
    rng = np.random.default_rng(15)
    means = {
        ("disk", 2.5, "none"): 38, ("spherical", 2.5, "none"): 52, ("spherical", 2.5, "continuous"): 57,
        ("mushroom", 1.0, "continuous"): 27, ("mushroom", 1.0, "none"): 24, ("mushroom", 2.0, "continuous"): 48,
        ("mushroom", 2.0, "none"): 43, ("mushroom", 2.5, "continuous"): 54, ("mushroom", 2.5, "none"): 50,
    }  # fmt: skip
    return pd.concat([
        _series(rng, mean * factor, 3, 5, sample=oil, electrode=electrode, gap_mm=gap, stirring=stirring)
        for (electrode, gap, stirring), mean in means.items()
        for oil, factor in (("T1", 1.0), ("T2", 0.8), ("T3", 1.15))
    ])  # fmt: skip


def _sixty() -> pd.DataFrame:
    rng = np.random.default_rng(16)
    return pd.concat([
        _series(rng, mean * (1 + 0.07 * rng.standard_normal()), 2, 6, laboratory=f"Lab {i:02d}", sample=oil,
                method="IEC 60156")
        for i in range(1, 61) for oil, mean in (("T1", 58), ("T2", 41))
    ])  # fmt: skip

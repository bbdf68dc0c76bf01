"""The design matrix of several factors: which of their effects the tests can tell apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.shifts.bundles import factor_codes


@dataclass(frozen=True)
class EffectColumns:
    """Columns of one effect: main effect of one factor, or combination of two."""

    effect: tuple[str, ...]
    columns: np.ndarray
    levels: list[str]

    @property
    def size(self) -> int:
        return self.columns.shape[1]


def dummies(codes: np.ndarray, levels: int) -> np.ndarray:
    """Indicator columns of levels 1 .. levels - 1, shape (n, levels - 1); level 0 is the reference."""
    return (codes[:, None] == np.arange(1, levels)[None, :]).astype(float)


def main_effect(table: pd.DataFrame, factor: str) -> EffectColumns:
    """Indicator columns of one factor; an empty cell is a level of its own."""
    codes, labels = factor_codes(table[factor])
    return EffectColumns((factor,), dummies(codes, len(labels)), labels)


def combination(one: EffectColumns, two: EffectColumns) -> EffectColumns:
    """Products of the columns of two main effects."""
    columns = (one.columns[:, :, None] * two.columns[:, None, :]).reshape(len(one.columns), -1)
    return EffectColumns((*one.effect, *two.effect), columns, [])


def stack(blocks: Sequence[EffectColumns], rows: int) -> np.ndarray:
    """Constant and all columns side by side."""
    return np.hstack([np.ones((rows, 1)), *[b.columns for b in blocks]])


def rank(matrix: np.ndarray) -> int:
    """Numerical rank; the columns are zeros and ones."""
    return int(np.linalg.matrix_rank(matrix)) if matrix.size else 0


def gain(base: np.ndarray, columns: np.ndarray) -> int:
    """How many dimensions the columns add to those of ``base``."""
    return rank(np.hstack([base, columns])) - rank(base)


def independent(matrix: np.ndarray) -> np.ndarray:
    """Indices of columns, the first that can, that span the column space."""
    kept: list[int] = []
    basis = np.zeros((len(matrix), 0))
    for j in range(matrix.shape[1]):
        column = matrix[:, j]
        rest = column - basis @ (basis.T @ column)
        rest -= basis @ (basis.T @ rest)
        size = float(np.linalg.norm(rest))
        if size > 1e-8 * max(float(np.linalg.norm(column)), 1e-300):
            basis = np.hstack([basis, (rest / size)[:, None]])
            kept.append(j)
    return np.array(kept, dtype=np.int64)


def estimable(rows: np.ndarray, contrast: np.ndarray) -> np.ndarray | None:
    """Weights a with a @ rows = contrast, or None where the contrast lies outside the row space."""
    weights = np.linalg.lstsq(rows.T, contrast, rcond=None)[0]
    return weights if np.allclose(rows.T @ weights, contrast, atol=1e-8) else None

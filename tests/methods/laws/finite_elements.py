"""A numerical solution of the field between two like electrodes of any smooth profile: a check on the exact one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from methods.errors import InputError


@dataclass(frozen=True)
class SurfaceField:
    """Field on the electrode's surface at 1 kV across the gap: ``r_mm`` from the axis, ``kv_mm``, shape (n,) each."""

    r_mm: np.ndarray
    z_mm: np.ndarray
    kv_mm: np.ndarray

    @property
    def enhancement(self) -> float:
        """Field on the axis over voltage / gap."""
        return float(self.kv_mm[0] * 2 * self.z_mm[0])

    def reach_mm(self, fraction: float) -> float:
        """Distance from the axis where the field has fallen to ``fraction`` of that on the axis."""
        relative = self.kv_mm / self.kv_mm[0]
        below = int(np.argmax(relative < fraction))
        if below == 0:
            raise InputError("The field does not fall that far within the solved region; make it wider.")
        left, right = below - 1, below
        step = (relative[left] - fraction) / (relative[left] - relative[right])
        return float(self.r_mm[left] + step * (self.r_mm[right] - self.r_mm[left]))


def cap(radius_mm: float, gap_mm: float) -> Callable[[np.ndarray], np.ndarray]:
    """Height of a spherical cap's surface above the midplane, as a function of the distance from the axis."""
    return lambda r: gap_mm / 2 + radius_mm - np.sqrt(radius_mm**2 - r**2)


def surface_field(
    profile: Callable[[np.ndarray], np.ndarray], reach_mm: float, *, across: int = 400, up: int = 80
) -> SurfaceField:
    """Solve Laplace's equation between the midplane and an electrode z = profile(r), 0 ≤ r ≤ reach_mm.

    Linear finite elements on a mesh that follows the surface, with r as weight (rotational symmetry); the
    midplane at 0, the electrode at 1/2 kV, no flux through the outer wall. ``across`` × ``up`` cells.
    """
    if not reach_mm > 0:
        raise InputError("reach_mm must be above zero.")
    r = reach_mm * np.linspace(0, 1, across + 1) ** 1.3  # finer near the axis, where the field is wanted
    top = profile(r)
    t = np.linspace(0, 1, up + 1)
    points_r = np.repeat(r, up + 1)
    points_z = (top[:, None] * t[None, :]).ravel()
    corner = np.arange((across + 1) * (up + 1)).reshape(across + 1, up + 1)
    a, b, c, d = (x.ravel() for x in (corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:]))
    # both diagonals with half weight: the mesh then prefers no direction
    triangles = np.concatenate([np.column_stack(x) for x in ((a, b, c), (a, c, d), (a, b, d), (b, c, d))])
    stiffness = _assemble(points_r, points_z, triangles)
    fixed = np.zeros(corner.size, dtype=bool)
    fixed[corner[:, 0]] = fixed[corner[:, -1]] = True
    u = np.zeros(corner.size)
    u[corner[:, -1]] = 0.5
    free = np.flatnonzero(~fixed)
    rows = stiffness[free]
    u[free] = scipy.sparse.linalg.spsolve(rows[:, free].tocsc(), -(rows @ u))
    grid = u.reshape(across + 1, up + 1)
    slope = (3 * grid[:, -1] - 4 * grid[:, -2] + grid[:, -3]) * up / 2  # du/dt at the surface, second order
    tilt = np.gradient(top, r, edge_order=2)
    tilt[0] = 0.0
    return SurfaceField(r, top, slope * np.sqrt(1 + tilt**2) / top)


def _assemble(r: np.ndarray, z: np.ndarray, triangles: np.ndarray) -> scipy.sparse.csr_matrix:
    """Stiffness matrix of linear elements, each weighted by the r of its middle."""
    rr, zz = r[triangles], z[triangles]
    b = np.stack([zz[:, 1] - zz[:, 2], zz[:, 2] - zz[:, 0], zz[:, 0] - zz[:, 1]], axis=1)
    c = np.stack([rr[:, 2] - rr[:, 1], rr[:, 0] - rr[:, 2], rr[:, 1] - rr[:, 0]], axis=1)
    area2 = np.abs(rr[:, 0] * b[:, 0] + rr[:, 1] * b[:, 1] + rr[:, 2] * b[:, 2])
    weight = rr.mean(axis=1) / (2 * area2)
    local = weight[:, None, None] * (b[:, :, None] * b[:, None, :] + c[:, :, None] * c[:, None, :])
    i = np.repeat(triangles, 3, axis=1).ravel()
    j = np.tile(triangles, (1, 3)).ravel()
    return scipy.sparse.csr_matrix((local.ravel(), (i, j)), shape=(r.size, r.size))

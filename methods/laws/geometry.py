"""Field between sphere-capped electrodes: peak field, and the area and volume stressed near it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable


@dataclass(frozen=True)
class Electrode:
    """An electrode pair: its shape, the radius of the facing surfaces (mm), how far that surface reaches from the axis.

    ``mark`` says where the dimensions come from. ``cap_radius_mm`` is nan for flat faces.
    """

    name: str
    cap_radius_mm: float
    reach_mm: float
    mark: str


#: The electrodes of the standards. A sphere may be 12.5 to 13.0 mm across; the middle is used and the range belongs
#: to the uncertainty.
ELECTRODES: dict[str, Electrode] = {
    "spherical": Electrode("spherical", 6.375, 6.375, "published: IEC 60156:1995 clause 4, diameter 12.5 to 13.0 mm"),
    "mushroom": Electrode("mushroom", 25.0, 18.0, "from memory: 36 mm across, 25 mm cap radius"),
    "disk": Electrode("disk", float("nan"), 12.7, "from memory: 25.4 mm across, sharp edge"),
}


@dataclass(frozen=True)
class Stress:
    """What part of the oil works hard at one gap.

    ``enhancement`` is the peak field over voltage / gap; ``peak_per_kv`` the peak field in kV/mm at 1 kV;
    ``midplane_percent`` the field half-way on the axis in per cent of the peak; ``reach_mm`` the distance from
    the axis at which the surface field has fallen to ``fraction`` of the peak; ``area_mm2`` both electrodes'
    surface within it; ``volume_mm3`` the oil in which the field is at least that (0 < fraction < 1).
    """

    electrode: str
    gap_mm: float
    fraction: float
    cap_radius_mm: float
    enhancement: float
    peak_per_kv: float
    midplane_percent: float
    reach_mm: float
    area_mm2: float
    volume_mm3: float
    mark: str


def _images(radius: float, gap: float) -> tuple[np.ndarray, np.ndarray]:
    """Charges (as q / 4 π ε, for 1 kV across the gap) on the axis above the midplane, and their heights in mm.

    A sphere at +1/2 kV over a plane at zero: each charge's mirror image below the plane is answered by an
    image inside the sphere (Kelvin's method; Russell, Phil. Mag. 11 (1906) 237; the same as the bispherical series).
    """
    centre = radius + gap / 2
    charges, heights = [0.5 * radius], [centre]
    while charges[-1] > 1e-17 * charges[0] and len(charges) < 20_000:
        below = centre + heights[-1]
        charges.append(charges[-1] * radius / below)
        heights.append(centre - radius**2 / below)
    return np.array(charges), np.array(heights)


def field(radius_mm: float, gap_mm: float, r_mm: np.ndarray, z_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Field (E_r, E_z) in kV/mm at 1 kV between equal spheres, at distance r from the axis and z above the midplane.

    Arrays of one shape in, arrays of that shape out; points inside a sphere give numbers without meaning.

    Parameters
    ----------
    radius_mm : float
        Of the spheres, mm.
    gap_mm : float
        Between them, mm.
    r_mm : ndarray
        Distance from the axis, mm.
    z_mm : ndarray
        Height above the midplane, mm.
    """
    charges, heights = _images(radius_mm, gap_mm)
    r, z = np.asarray(r_mm, dtype=float)[..., None], np.asarray(z_mm, dtype=float)[..., None]
    above, below = z - heights, z + heights
    up, down = (r**2 + above**2) ** -1.5, (r**2 + below**2) ** -1.5
    radial = (charges * r * (up - down)).sum(axis=-1)
    axial = (charges * (above * up - below * down)).sum(axis=-1)
    return radial, axial


def _surface_field(radius: float, gap: float, theta: np.ndarray) -> np.ndarray:
    """Size of the field on the sphere at the angle theta from the pole that faces the gap."""
    radial, axial = field(radius, gap, radius * np.sin(theta), radius + gap / 2 - radius * np.cos(theta))
    return np.hypot(radial, axial)


def enhancement(radius_mm: float, gap_mm: float) -> float:
    """Peak field over voltage / gap between equal spheres at opposite potentials; 1 for flat plates.

    Raises
    ------
    InputError
        A radius or gap that is not above zero.
    """
    if not (radius_mm > 0 and gap_mm > 0):
        raise InputError("Radius and gap must be above zero.")
    return float(_surface_field(radius_mm, gap_mm, np.array([0.0]))[0] * gap_mm)


def find_electrode(electrode: str | Electrode) -> Electrode:
    """The electrode of that name, or the electrode itself.

    Raises
    ------
    NotEstimable
        Flat disks: the peak of the field depends on the radius of the edge, and the edge rules their breakdown.
    InputError
        An unknown name.
    """
    if isinstance(electrode, str):
        if electrode not in ELECTRODES:
            raise InputError(
                f"The shape of {electrode!r} is not known; known are {', '.join(ELECTRODES)}, or give the cap radius.",
                column="electrode",
            )
        electrode = ELECTRODES[electrode]
    if not np.isfinite(electrode.cap_radius_mm):
        raise NotEstimable(
            "Disks break down at their edges, where the field depends on an edge radius that is worn and not "
            "specified closely enough; a stressed area for them would be a number without a meaning."
        )
    return electrode


def stressed(electrode: str | Electrode, gap_mm: float, *, fraction: float = 0.9) -> Stress:
    """Peak field, and the surface and oil where the field is at least ``fraction`` of it.

    Capped electrodes are treated as whole spheres of the cap's radius, which near the axis is the same
    (the tests solve the true shape with finite elements). The cell's walls and earths are left out.

    Parameters
    ----------
    electrode : str or Electrode
        An electrode or its name.
    gap_mm : float
        The gap, mm.
    fraction : float, default 0.9
        Share of the peak field, 0 to 1.

    Raises
    ------
    InputError
        A gap not above zero, a fraction outside 0 to 1, an unknown electrode.
    NotEstimable
        Disks; or a fraction so low that the surface meant reaches the cap's rim.
    """
    shape = find_electrode(electrode)
    if not gap_mm > 0:
        raise InputError(f"A gap of {gap_mm!r} mm is not above zero.", column="gap_mm")
    if not 0 < fraction < 1:
        raise InputError(f"fraction is {fraction!r}; it must lie between 0 and 1, such as 0.9.")
    return _stressed(shape, float(gap_mm), float(fraction))


@lru_cache(maxsize=256)
def _stressed(shape: Electrode, gap_mm: float, fraction: float) -> Stress:
    radius = shape.cap_radius_mm
    peak = float(_surface_field(radius, gap_mm, np.array([0.0]))[0])
    rim = float(np.arcsin(min(shape.reach_mm / radius, 1.0)))

    def over(theta: float) -> float:
        return float(_surface_field(radius, gap_mm, np.array([theta]))[0] / peak - fraction)

    if over(rim) >= 0:
        raise NotEstimable(
            f"At {fraction:.0%} of the peak the stressed surface would reach the rim of the {shape.name} electrode, "
            "where this solution does not hold; take a higher fraction."
        )
    edge = float(scipy.optimize.brentq(over, 0.0, rim, xtol=1e-12))
    area = 2 * 2 * np.pi * radius**2 * (1 - np.cos(edge))
    middle = float(np.hypot(*field(radius, gap_mm, np.array([0.0]), np.array([0.0])))[0])
    return Stress(
        shape.name, float(gap_mm), fraction, radius, peak * gap_mm, peak, 100 * middle / peak,
        float(radius * np.sin(edge)), float(area), _volume(radius, gap_mm, fraction * peak, edge), shape.mark,
    )  # fmt: skip


def _volume(radius: float, gap: float, threshold: float, edge: float) -> float:
    """Oil volume with at least the threshold field: rings along r, each counted up to where it holds."""
    steps = 100
    r = (np.arange(steps) + 0.5) / steps * radius * np.sin(edge)
    top = radius + gap / 2 - np.sqrt(radius**2 - r**2)
    share = (np.arange(steps) + 0.5) / steps
    z = top[:, None] * share[None, :]
    size = np.hypot(*field(radius, gap, np.broadcast_to(r[:, None], z.shape), z))
    filled = (size >= threshold).mean(axis=1)
    width = radius * np.sin(edge) / steps
    return float(2 * (2 * np.pi * r * width * top * filled).sum())


@lru_cache(maxsize=64)
def _profile(radius: float, gap: float, rim: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Angles, quadrature weights and the field relative to its peak, over the cap."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    theta = (nodes + 1) / 2 * rim
    size = _surface_field(radius, gap, np.append(theta, 0.0))
    return theta, weights, size[:-1] / size[-1]


def effective_area(electrode: str | Electrode, gap_mm: float, shape: float) -> float:
    """Area in mm² that, wholly at the peak field, would be as weak as the real surface: ∫ (E / E_peak)^shape dA.

    The weakest-link integral itself for a Weibull ``shape``; it needs no cut-off fraction. Both electrodes.

    Parameters
    ----------
    electrode : str or Electrode
        An electrode or its name.
    gap_mm : float
        The gap, mm.
    shape : float
        Weibull shape of the breakdown voltage.
    """
    form = find_electrode(electrode)
    if not shape > 0:
        raise InputError(f"shape is {shape!r}; it must be above zero.")
    radius = form.cap_radius_mm
    rim = float(np.arcsin(min(form.reach_mm / radius, 1.0)))
    theta, weights, relative = _profile(radius, float(gap_mm), rim)
    ring = 2 * np.pi * radius**2 * np.sin(theta)
    return float(2 * (weights * rim / 2 * ring * relative**shape).sum())


def effective_volume(electrode: str | Electrode, gap_mm: float, shape: float) -> float:
    """Oil in mm³ that, wholly at the peak field, would be as weak as the real gap: ∫ (E / E_peak)^shape dV.

    The weakest-link integral itself for a Weibull ``shape``, over the oil between the caps up to their rim. Unlike
    :func:`effective_area` it grows with the gap too: at another gap more oil is stressed, not only more surface.

    Parameters
    ----------
    electrode : str or Electrode
        An electrode or its name.
    gap_mm : float
        The gap, mm.
    shape : float
        Weibull shape of the breakdown voltage.

    Raises
    ------
    InputError
        A shape or gap not above zero, an unknown electrode.
    NotEstimable
        Disks.
    """
    form = find_electrode(electrode)
    if not (shape > 0 and gap_mm > 0):
        raise InputError(f"shape is {shape!r} and the gap {gap_mm!r} mm; both must be above zero.")
    return _effective_volume(form, float(gap_mm), float(shape))


@lru_cache(maxsize=256)
def _effective_volume(form: Electrode, gap_mm: float, shape: float) -> float:
    radius = form.cap_radius_mm
    nodes, weights = np.polynomial.legendre.leggauss(80)
    half = float(np.arcsin(min(form.reach_mm / radius, 1.0))) / 2
    theta = (nodes + 1) * half
    r = radius * np.sin(theta)
    turn = weights * half * radius * np.cos(theta)  # weights of r: dr = radius cos(theta) dtheta
    top = radius + gap_mm / 2 - radius * np.cos(theta)
    z = top[:, None] * (nodes[None, :] + 1) / 2
    size = np.hypot(*field(radius, gap_mm, np.broadcast_to(r[:, None], z.shape), z))
    peak = float(_surface_field(radius, gap_mm, np.array([0.0]))[0])
    column = top / 2 * ((size / peak) ** shape @ weights)
    return float(2 * (2 * np.pi * r * column * turn).sum())

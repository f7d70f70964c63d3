"""Grams and mean depth: the scale as a gauge of what came off."""

from __future__ import annotations

import math

from handlap.sim.materials.metals import Metal

SWARF_LOST = (0.05, 0.15)
"""Share of the swarf that never reaches the scale when it is gathered and weighed (D)."""

SLAB = 0.030
"""Thickness of the slab that a mass is guessed from where no other is known (ours) [m]."""


def slab_mass(area: float, thickness: float | None, density: float) -> float:
    """A guess of what a part weighs [kg]: a slab of its face's metal, m = ρ·A·t.

    Parameters
    ----------
    area : of the metal of the face, openings left out [m²]
    thickness : None: :data:`SLAB` [m]
    density : [kg/m³]

    >>> round(slab_mass(0.01, None, 2700.0), 6), round(slab_mass(0.01, 0.006, 2700.0), 6)
    (0.81, 0.162)
    """
    return mass_off(SLAB if thickness is None else thickness, density, area)


def _positive(value: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{what} is {value:g} {unit}: allowed is a finite number above 0")
    return value


def _not_negative(value: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and value >= 0.0):
        raise ValueError(f"{what} is {value:g} {unit}: allowed is a finite number, 0 or above")
    return value


def mean_depth(mass: float, density: float, area: float) -> float:
    """Mean depth of a mass spread over a face, d = m/(ρ·A) (closed form).

    Parameters
    ----------
    mass : metal that came off [kg]
    density : [kg/m³]
    area : area of the metal of the face, openings left out [m²]

    Returns
    -------
    depth [m], positive = taken off

    Raises
    ------
    ValueError : if the mass is negative, density or area not positive, or one is not finite

    >>> round(1e6 * mean_depth(2.70e-3, 2700.0, 100e-4), 9)
    100.0
    """
    _not_negative(mass, "mass", "kg")
    return mass / (_positive(density, "density", "kg/m³") * _positive(area, "area", "m²"))


def mass_off(depth: float, density: float, area: float) -> float:
    """Mass [kg] of a layer of this mean depth, m = ρ·A·d; parameters as :func:`mean_depth`.

    >>> round(1e3 * mass_off(100e-6, 2700.0, 100e-4), 9)
    2.7
    """
    _not_negative(depth, "depth", "m")
    return depth * _positive(density, "density", "kg/m³") * _positive(area, "area", "m²")


def mean_depth_band(
    mass: float, metal: Metal, area: float, lost: tuple[float, float] = (0.0, 0.0)
) -> tuple[float, float]:
    """Least and greatest mean depth that a weighing allows.

    Parameters
    ----------
    mass : what the scale showed [kg]
    metal : its castings weigh 95–100 % of their theoretical density (pores)
    area : area of the metal of the face [m²]
    lost : least and greatest share of the metal that did not reach the scale; zero when the part
        itself was weighed, :data:`SWARF_LOST` when its swarf was [-]

    Returns
    -------
    low, high [m]

    Raises
    ------
    ValueError : as :func:`mean_depth`, or if ``lost`` is not an ordered pair inside 0 to below 1
    """
    least, most = _share_lost(lost)
    light, heavy = metal.density_range
    return mean_depth(mass / (1.0 - least), heavy, area), mean_depth(mass / (1.0 - most), light, area)


def mass_off_band(
    depth: float, metal: Metal, area: float, lost: tuple[float, float] = (0.0, 0.0)
) -> tuple[float, float]:
    """Least and greatest mass [kg] that a layer of this mean depth [m] brings to the scale.

    Parameters and errors as :func:`mean_depth_band`.
    """
    least, most = _share_lost(lost)
    light, heavy = metal.density_range
    return mass_off(depth, light, area) * (1.0 - most), mass_off(depth, heavy, area) * (1.0 - least)


def _share_lost(lost: tuple[float, float]) -> tuple[float, float]:
    least, most = lost
    if not 0.0 <= least <= most < 1.0:
        raise ValueError(f"share lost is {least:g} to {most:g}: allowed is an ordered pair from 0 to below 1")
    return least, most

"""A part as a bar on two supports: how far a press bends it, and the plate that is as stiff.

A load in the middle of a span of length s bends a bar by the unit-load integral

    deflection / load = ∫ M²/(E·I) du,   M = (s/2 − |u|)/2,   I = b(u)·t³/12

over the span, b(u) being the metal across at u (closed form; a bar of one width: s³/(48·E·I)).
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.outline import Outline
from handlap.sim.common.units import GRAVITY, System, show
from handlap.sim.job.scenario import Part

SLICES = 2000
"""Slices in which the integral is summed along the span."""
WORTH_A_DOUBT = 0.1
"""A part taken as rigid is doubted where its press would bend it by more than this share of its limit."""
ROUGH = 3.0
"""The estimate from mass and area is good to ×/÷ this (ours: half as thick again is three times as stiff)."""


def bent_per_newton(outline: Outline, modulus: float, thickness: float, span: float) -> float:
    """Deflection of the middle of a plain bar between two supports, for each newton there [m/N].

    Parameters
    ----------
    outline : the face; its openings go all the way through the bar
    modulus : Young's modulus [Pa]
    thickness : of the bar [m]
    span : between the supports, along u and even about the middle [m]

    >>> sole = Outline.rectangular(0.36, 0.06)
    >>> bar = 0.36**3 / (48 * 100e9 * 0.06 * 0.011**3 / 12)
    >>> round(bent_per_newton(sole, 100e9, 0.011, 0.36) / bar, 6)
    1.0
    """
    at = span * ((np.arange(SLICES) + 0.5) / SLICES - 0.5)
    moment = 0.5 * (0.5 * span - np.abs(at))
    inertia = outline.metal_across(at) * thickness**3 / 12.0
    return float(np.sum(moment**2 / inertia) * span / SLICES / modulus)


def as_stiff_as(outline: Outline, modulus: float, stiffness: float, span: float) -> float:
    """Thickness [m] of the plain bar of this outline as stiff as was measured between two supports.

    Parameters
    ----------
    stiffness : load in the middle over the deflection there [N/m]
    outline, modulus, span : as in :func:`bent_per_newton`
    """
    return float((stiffness * bent_per_newton(outline, modulus, 1.0, span)) ** (1.0 / 3.0))


def mean_thickness(part: Part) -> float:
    """How thick the part is on average, from its weight, density and face area [m]."""
    return part.weight / (GRAVITY * part.metal.density * part.outline.area)


def rigid_doubt(part: Part, press: float, system: System) -> str | None:
    """Why a part should not be taken as rigid, in words; None where there is no reason to doubt it.

    Parameters
    ----------
    part : a part of which nothing is stated about how it bends
    press : of the hands [N]
    system : units of the words
    """
    thick = mean_thickness(part)
    if press <= 0.0 or thick <= 0.0:
        return None
    bent = press * bent_per_newton(part.outline, part.metal.youngs_modulus, thick, part.outline.length)
    if bent <= WORTH_A_DOUBT * part.limit:
        return None
    return (
        f"taken as rigid, but it may not be: a plain bar as thick as mass and face make it on average "
        f"({show(thick, 'length', system, 2)}), held at its ends, is bent some "
        f"{show(bent, 'height', system, 2)} by the press of {show(press, 'force', system, 2)} in its middle, "
        f"and a tenth of the limit is {show(WORTH_A_DOUBT * part.limit, 'height', system, 2)}. This is "
        f"rough, true within a factor of {ROUGH:g} either way: ribs and walls stiffen, what is bolted on "
        "weighs and does not. State part.stiffness (a load in the middle over its deflection) or "
        "part.thickness, or back the part with a stiff block"
    )

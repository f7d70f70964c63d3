"""What a cut off the face does to the engine or pump around it.

Everything here is geometry: a layer of depth d is gone from the face, so the part sits that much
nearer to what it is bolted to.  Depths and lengths in metres, volumes in m³, angles in radians.
The maker's limits come before any of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from handlap.sim.job.results import Band
from handlap.sim.job.surroundings import Surroundings


@dataclass(frozen=True)
class Effect:
    """One thing the cut changes.

    ``before`` [unit], ``after`` as a band over the depths that may be off [unit]; ``unit`` is "m",
    "m³", "rad" or "" (a ratio); ``met`` says whether a stated limit is kept: None where it cannot
    be told, or none is stated (then ``limit`` is None too).
    """

    name: str
    before: float
    after: Band
    unit: str
    limit: float | None = None
    met: bool | None = None
    words: str = ""


def compression_ratio(swept: float, clearance: float) -> float:
    """Compression ratio (Vs + Vc)/Vc of a cylinder (closed form).

    Parameters
    ----------
    swept, clearance : volumes swept by the piston and left over it at the top [any one unit]

    Raises
    ------
    ValueError : if either is not above 0

    >>> round(compression_ratio(499.5, 499.5 / 9.5), 9)
    10.5
    """
    if not (swept > 0.0 and clearance > 0.0):
        raise ValueError(f"volumes {swept:g} and {clearance:g}: allowed is above 0")
    return (swept + clearance) / clearance


def clearance_after(clearance: float, chamber_area: float, depth: float) -> float:
    """Volume left over the piston after ``depth`` is off the head, Vc − A·d [m³] (closed form).

    Raises
    ------
    ValueError : if nothing would be left

    >>> round(1e6 * clearance_after(50e-6, 5e-3, 1e-3), 9)
    45.0
    """
    left = clearance - chamber_area * depth
    if left <= 0.0:
        raise ValueError("the cut is deeper than the chamber")
    return left


def cam_retard(depth: float, cam_radius: float, crank_radius: float, distance: float) -> float:
    """How much an overhead cam lags once its head sits ``depth`` lower [rad at the cam].

    The pulled run of chain or belt gets shorter by d·cos α, with sin α = (R − r)/C, and the cam's
    wheel turns back by that over its radius; at the crank it is twice as much (closed form,
    tensioner on the slack side).

    Raises
    ------
    ValueError : if the wheels do not fit between their centres

    >>> round(math.degrees(cam_retard(2e-3, 54.5e-3, 27.25e-3, 0.3)), 3)
    2.094
    """
    if not (cam_radius > 0.0 and crank_radius > 0.0 and distance > cam_radius + crank_radius):
        raise ValueError("the wheels of cam and crank must be smaller than the distance of their centres")
    sine = (cam_radius - crank_radius) / distance
    return depth * math.sqrt(1.0 - sine * sine) / cam_radius


def flange_shift(depth: float, bank_angle: float) -> tuple[float, float]:
    """Shift of a V engine's inlet flange, (along its normal, along its face) [m] (closed form).

    Parameters
    ----------
    depth : off the head's face, along the bank's axis [m]
    bank_angle : between the bank's axis and the flange's normal [rad]

    >>> [round(1e3 * s, 6) for s in flange_shift(1e-3, math.radians(60.0))]
    [0.5, 0.866025]
    """
    return depth * math.cos(bank_angle), depth * math.sin(bank_angle)


def _met(after: Band, least: float | None) -> bool | None:
    """Whether a band stays at or above a least value; None: it straddles it, or none is stated."""
    if least is None:
        return None
    if after.p05 >= least:
        return True
    return False if after.p95 < least else None


def _of_depth(depth: Band, rule: Callable[[float], float]) -> Band:
    """Band of a figure that rises or falls with the depth all the way."""
    ends = sorted((rule(depth.p05), rule(depth.p95)))
    return Band(ends[0], rule(depth.p50), ends[1])


def effects_of(after: Surroundings, mean_depth: Band, greatest_depth: Band) -> tuple[Effect, ...]:
    """What a cut changes, for everything that is stated about the surroundings.

    Volumes and the cam follow the mean depth; clearances, holes and thickness the greatest.

    Parameters
    ----------
    mean_depth, greatest_depth : off the face, as bands [m]

    Raises
    ------
    ValueError : if the cut leaves no chamber, or the wheels do not fit
    """
    found: list[Effect] = []

    def falls(name: str, before: float | None, least: float | None = None, words: str = "") -> None:
        if before is not None:
            left = _of_depth(greatest_depth, lambda d: before - d)
            found.append(Effect(name, before, left, "m", least, _met(left, least), words))

    falls("thickness", after.thickness, after.thickness_least)
    found += _chamber(after, mean_depth)
    found += _cam(after, mean_depth)
    falls("valve to piston", after.valve_clearance, None, "falls one for one with the cut")
    falls("squish clearance", after.squish, None, "falls one for one with the cut")
    falls(
        "depth of the dowel holes",
        after.dowel_depth,
        None,
        "a dowel that stands on its floor holds the face off",
    )
    falls("depth of the bolt holes", after.bolt_depth, after.bolt_reach, "a bolt that bottoms does not clamp")
    falls(
        "end float", after.end_float, after.end_float_least, "falls one for one where the body's face is cut"
    )
    if after.bank_angle is not None:
        beta = after.bank_angle
        for name, which in (("inlet flange, along its normal", 0), ("inlet flange, along its face", 1)):
            shift = _of_depth(mean_depth, lambda d, which=which: flange_shift(d, beta)[which])  # type: ignore[misc]
            found.append(Effect(name, 0.0, shift, "m"))
    return tuple(found)


def _chamber(after: Surroundings, depth: Band) -> list[Effect]:
    if after.clearance is None or after.chamber_area is None:
        return []
    clearance, area = after.clearance, after.chamber_area
    left = _of_depth(depth, lambda d: clearance_after(clearance, area, d))
    found = [Effect("volume over the piston", clearance, left, "m³")]
    if after.swept is not None:
        swept = after.swept
        ratio = _of_depth(depth, lambda d: compression_ratio(swept, clearance_after(clearance, area, d)))
        found.append(
            Effect("compression ratio", compression_ratio(swept, clearance), ratio, "",
                   words="a higher ratio may want other fuel or ignition")
        )  # fmt: skip
    return found


def _cam(after: Surroundings, depth: Band) -> list[Effect]:
    if after.cam_radius is None or after.crank_radius is None or after.cam_distance is None:
        return []
    wheels = after.cam_radius, after.crank_radius, after.cam_distance
    at_cam = _of_depth(depth, lambda d: cam_retard(d, *wheels))
    return [
        Effect("cam retard, at the cam", 0.0, at_cam, "rad"),
        Effect("cam retard, at the crank", 0.0, at_cam.scaled(2.0), "rad"),
    ]

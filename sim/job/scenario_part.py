"""The workpiece of a scenario: outline, openings, metal, weight, limits."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.errors import what_is_known
from handlap.sim.common.outline import Array, Outline, Point, polygon_moments, rectangle
from handlap.sim.common.units import GRAVITY, show
from handlap.sim.job.outline_faults import opening_faults
from handlap.sim.job.scenario import Part
from handlap.sim.job.scenario_after import build_surroundings
from handlap.sim.job.scenario_given import Given
from handlap.sim.job.scenario_inserts import area_of, build_inserts, build_proud
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.slender import as_stiff_as
from handlap.sim.materials import metals
from handlap.sim.materials.mass import slab_mass

LEAST_SHARE = 0.01
"""Least share of its bounding box that a face may cover [-]."""


def build_outline(given: Given) -> tuple[Outline | None, Point]:
    """The face about the middle of its bounding box, and where the file's origin lies on it."""
    sides = [given.values.get("part.length"), given.values.get("part.width")]
    if "part.polygon" in given.stated:
        if {"part.length", "part.width"} & given.stated:
            given.found.fault("part.polygon", None, "give either part.polygon or length and width, not both")
        corners = given.values.get("part.polygon")
        if corners is None:
            return None, (0.0, 0.0)
        rim = np.array(corners)
        middle = 0.5 * (rim.min(axis=0) + rim.max(axis=0))
        shift = (-float(middle[0]), -float(middle[1]))
        _polygon_origin(given, rim)
    else:
        for name in ("part.length", "part.width"):
            if name not in given.stated:
                given.found.fault(name, None, f"missing: {BY_NAME[name].help}; or give part.polygon")
        if sides[0] is None or sides[1] is None:
            return None, (0.0, 0.0)
        rim = rectangle(sides[0], sides[1])
        corner = given.get("part.origin") == "corner"
        shift = (-sides[0] / 2.0, -sides[1] / 2.0) if corner else (0.0, 0.0)
    if "part.polygon" in given.stated:
        rim = rim + shift
    holes = _openings(given, rim, shift)
    face = Outline(rim, tuple(holes))
    if face.area <= 0.0:
        given.found.fault("part.openings", None, "the openings leave no metal")
        return None, shift
    if face.area < LEAST_SHARE * face.length * face.width:
        # A raster over the box would be nearly all empty, and too large to hold.
        given.found.fault(
            "part",
            None,
            f"metal covers less than {100 * LEAST_SHARE:g} % of the rectangle around the face; turn the "
            "corners so that its long side lies along u",
        )
        return None, shift
    if face.width > 1.01 * face.length:
        given.found.warn("part", "wider than long; u is meant to run along the long side")
    return face, shift


def _polygon_origin(given: Given, rim: Array) -> None:
    """A stated origin must be where the corners put it."""
    if "part.origin" not in given.stated or "part.origin" not in given.values:
        return
    low, high = rim.min(axis=0), rim.max(axis=0)
    there = low if given.values["part.origin"] == "corner" else 0.5 * (low + high)
    if np.hypot(*there) > 1e-6 * np.hypot(*(high - low)):
        given.found.fault(
            "part.origin",
            given.values["part.origin"],
            "left out with part.polygon: positions are in the frame of its corners",
        )


def _openings(given: Given, rim: Array, shift: Point) -> list[Array]:
    """Polygons of the openings, about the middle of the face."""
    polygons, numbers = [], []
    for i, table in enumerate(given.values.get("part.openings", []), 1):
        label = f"part.openings[{i}]"
        if len(table) != 1:
            if not any(f.key.startswith(label) for f in given.found.faults):
                given.found.fault(label, None, "one of circle, slot and polygon")
            continue
        kind, value = next(iter(table.items()))
        polygons.append(area_of(kind, value) + shift)
        numbers.append(i)
    for index, words in opening_faults(rim, polygons):
        given.found.fault(f"part.openings[{numbers[index]}]", None, f"must lie {words}")
    return polygons


def _bending(given: Given, face: Outline | None, metal: metals.Metal | None) -> float | None:
    """Thickness of the plain plate that bends as the part does, other than its own [m].

    Doubts or refuses what is said about bending; writes down that a part is taken as rigid.
    """
    thickness, ribbed = given.values.get("part.thickness"), given.values.get("part.ribbed_as")
    others = [k for k in ("part.pressing", "part.pad", "part.spring_back") if k in given.stated]
    measured = "part.stiffness" in given.stated
    for name in ("part.thickness", "part.ribbed_as"):
        given.clash(name, "part.stiffness")
    if "part.stiffness_span" in given.stated and not measured:
        given.found.fault("part.stiffness", None, "missing: part.stiffness_span needs it")
    if not measured and "part.thickness" not in given.stated:
        if "part.ribbed_as" in given.stated:
            given.found.fault("part.thickness", None, "missing: part.ribbed_as needs it")
        elif others:
            given.found.warn(others[0], "not used without part.thickness or part.stiffness: taken as rigid")
        if not {"part.ribbed_as", "exact.load"} & given.stated:
            given.note("part.thickness", "taken as rigid")
        return ribbed
    for name in ("part.pressing", "part.pad"):
        if name not in given.stated:
            given.plain(name)
    if measured:
        ribbed = _as_measured(given, face, metal)
    elif thickness is not None and ribbed is not None and ribbed < thickness:
        got, least = (show(x, "length", given.found.system) for x in (ribbed, thickness))
        given.found.fault("part.ribbed_as", got, f"at least part.thickness, {least}: ribs stiffen")
    stiff = max(thickness or 0.0, ribbed or 0.0)
    if face is not None and stiff > face.length / 3.0:
        name = "part.stiffness" if measured else "part.thickness"
        given.found.warn(name, "over a third of the length: no plate; taken as one all the same")
    return ribbed


def _as_measured(given: Given, face: Outline | None, metal: metals.Metal | None) -> float | None:
    """Thickness of a plain plate as stiff between two supports as the part was measured to be [m]."""
    stiffness, span = given.values.get("part.stiffness"), given.values.get("part.stiffness_span")
    if face is None:
        return None
    if span is not None and span > face.length * (1.0 + 1e-9):
        got, most = (show(x, "length", given.found.system) for x in (span, face.length))
        given.found.fault("part.stiffness_span", got, f"at most the length of the part, {most}")
        return None
    if span is None and "part.stiffness_span" not in given.stated:
        span = face.length
        given.note("part.stiffness_span", show(span, "length", given.found.system))
    if stiffness is None or span is None or metal is None:
        return None
    found = as_stiff_as(face, metal.youngs_modulus, stiffness, span)
    given.note("part.ribbed_as", show(found, "length", given.found.system, 3), "from part.stiffness")
    return found


def _weight(given: Given) -> float | None:
    """Weight that rests on the paper [N]."""
    given.clash("part.mass", "part.weight")
    if "part.mass" in given.values:
        return float(given.values["part.mass"] * GRAVITY)
    if "part.weight" in given.values:
        return float(given.values["part.weight"])
    if "part.mass" in given.stated or "part.weight" in given.stated:
        return None
    if "exact.load" in given.stated:
        return 0.0
    given.found.fault("part.mass", None, "missing: the mass of the part, or its weight as part.weight")
    return None


def _weight_or_guess(given: Given, face: Outline | None, metal: metals.Metal | None) -> float | None:
    """The weight, for those to whom it matters little: or that of a slab of the face [N]."""
    if {"part.mass", "part.weight", "exact.load"} & given.stated or face is None or metal is None:
        return _weight(given)
    mass = slab_mass(face.area, given.values.get("part.thickness"), metal.density)
    given.note("part.mass", show(mass, "mass", given.found.system, 2), "guessed from size and metal")
    return mass * GRAVITY


def build_part(
    given: Given, face: Outline | None, shift: Point, metal: metals.Metal | None, *, require_mass: bool = True
) -> Part | None:
    """The part; None if something of it is missing or faulty."""
    weight = _weight(given) if require_mass else _weight_or_guess(given, face, metal)
    given.plain("part.limit_by")
    gasket = given.values.get("part.gasket")
    if isinstance(gasket, str) and metal is not None:
        gasket = metals.gasket_finish(gasket, metal)
    ribbed_as = _bending(given, face, metal)
    proud = build_proud(given, face, shift)
    inserts = build_inserts(given, face, shift, metal)
    after = build_surroundings(given, face)
    if face is None or weight is None or metal is None or "part.limit" not in given.values:
        return None
    at = given.values.get("part.weight_at")
    if at is None:
        at = _centroid(face)
        if not {"part.weight_at", "exact.load_at"} & given.stated:
            given.note("part.weight_at", BY_NAME["part.weight_at"].default_words)
    else:
        at = (at[0] + shift[0], at[1] + shift[1])
        if abs(at[0]) > face.length / 2.0 or abs(at[1]) > face.width / 2.0:
            given.found.warn("part.weight_at", "the centre of weight lies outside the face: it would tip")
    return given.record(
        Part,
        name=given.values.get("part.name") or given.values.get("title") or "part",
        outline=face,
        metal=metal,
        weight=weight,
        weight_at=at,
        gasket_ra=gasket,
        ribbed_as=ribbed_as,
        proud=proud,
        inserts=inserts,
        after=after,
    )


def find_metal(given: Given) -> metals.Metal | None:
    """The metal of the face; None, with the fault written down, if there is none such."""
    name = given.values.get("part.metal")
    if name is None:
        return None
    try:
        return metals.find(name)
    except ValueError as error:
        given.found.fault("part.metal", name, what_is_known(error))
        return None


def _centroid(face: Outline) -> Point:
    """Middle of the face's area, openings taken off [m]."""
    moments = np.array(polygon_moments(face.rim))
    for opening in face.openings:
        moments = moments - np.array(polygon_moments(opening))
    return float(moments[1] / moments[0]), float(moments[2] / moments[0])

"""What a scenario states about the surroundings of the face, checked together."""

from __future__ import annotations

import math

from handlap.sim.common.outline import Array, Outline, polygon_moments
from handlap.sim.common.units import show
from handlap.sim.job.scenario_given import Given
from handlap.sim.job.surroundings import Surroundings

PREFIX = "part.after."


def build_surroundings(given: Given, face: Outline | None) -> Surroundings:
    """The surroundings; faults are written down."""
    take = {name[len(PREFIX) :]: value for name, value in given.values.items() if name.startswith(PREFIX)}
    stated = {name[len(PREFIX) :] for name in given.stated if name.startswith(PREFIX)}
    for group in (("cam_radius", "crank_radius", "cam_distance"), ("bore", "stroke")):
        missing = [name for name in group if name not in stated]
        if missing and len(missing) < len(group):
            given.found.fault(PREFIX + missing[0], None, "missing: the scenario states " + ", ".join(
                PREFIX + name for name in group if name in stated))  # fmt: skip
    for least, before in (("thickness_least", "thickness"), ("end_float_least", "end_float"),
                          ("bolt_reach", "bolt_depth")):  # fmt: skip
        _least(given, take, stated, least, before)
    if {"cam_radius", "crank_radius", "cam_distance"} <= set(take) and (
        take["cam_radius"] + take["crank_radius"] >= take["cam_distance"]
    ):
        given.found.fault(
            PREFIX + "cam_distance", show(take["cam_distance"], "length", given.found.system),
            "more than both radii together: the wheels would overlap",
        )  # fmt: skip
    swept = math.pi / 4.0 * take["bore"] ** 2 * take["stroke"] if {"bore", "stroke"} <= set(take) else None
    clearance = _clearance(given, take, stated, swept)
    return given.record(
        Surroundings,
        swept=swept,
        clearance=clearance,
        chamber_area=_chamber(given, take, stated, face, needed=clearance is not None),
    )


def _least(given: Given, take: dict[str, float], stated: set[str], least: str, before: str) -> None:
    """A least value needs the value it bounds, and must lie below it."""
    if least in stated and before not in stated:
        given.found.fault(PREFIX + before, None, f"missing: {PREFIX}{least} needs it")
    elif least in take and before in take and take[least] > take[before]:
        given.found.warn(PREFIX + before, f"below {PREFIX}{least} before any cut")


def _clearance(given: Given, take: dict[str, float], stated: set[str], swept: float | None) -> float | None:
    """Volume over the piston, as stated or from the ratio [m³]."""
    given.clash(PREFIX + "compression_ratio", PREFIX + "clearance")
    if "compression_ratio" in stated:
        if not {"bore", "stroke"} <= stated:
            words = f"missing: {PREFIX}compression_ratio needs bore and stroke"
            given.found.fault(PREFIX + "bore", None, words)
        if swept is None or "compression_ratio" not in take:
            return None
        return swept / (take["compression_ratio"] - 1.0)
    return take.get("clearance")


def _chamber(
    given: Given, take: dict[str, float], stated: set[str], face: Outline | None, *, needed: bool
) -> float | None:
    """Area of the chamber's opening in the face [m²]."""
    if face is None or not (needed or "chamber_opening" in stated):
        return None
    areas = [_area(opening) for opening in face.openings]
    number = take.get("chamber_opening")
    if number is None:
        if not areas:
            given.found.fault(
                PREFIX + "chamber_opening", None, "missing: the face has no opening that could be the chamber"
            )
            return None
        return max(areas)
    if number > len(areas):
        given.found.fault(PREFIX + "chamber_opening", number, f"1 to {len(areas)}, an entry of part.openings")
        return None
    return areas[int(number) - 1]


def _area(polygon: Array) -> float:
    return abs(float(polygon_moments(polygon)[0]))

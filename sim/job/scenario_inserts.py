"""What is in the face of a scenario beside its own metal: things that stand proud, and inserts."""

from __future__ import annotations

from typing import Any

import numpy as np

from handlap.sim.common.errors import what_is_known
from handlap.sim.common.outline import Array, Outline, Point, circle, inside_polygon, slot
from handlap.sim.common.units import show
from handlap.sim.job.scenario import Insert, Proud
from handlap.sim.job.scenario_given import Given
from handlap.sim.materials import metals

AREAS = ("circle", "slot", "polygon")
NEAR_FACE = 0.02
"""What stands proud may be named this far outside the bounding box of the face, no further [m]."""
SOUGHT = 60
"""Places along each side at which metal of the face is looked for under an insert."""


def area_of(kind: str, value: Any) -> Array:
    """Polygon (m, 2) of a circle, a slot or the corners of a polygon, as a file gives them [m]."""
    if kind == "circle":
        return circle(*value)
    return slot(*value) if kind == "slot" else np.array(value, dtype=float)


def build_proud(given: Given, face: Outline | None, shift: Point) -> tuple[Proud, ...]:
    """What stands proud of the face, about its middle; faults are written down."""
    found = []
    for i, table in enumerate(given.values.get("part.proud", []), 1):
        if not {"name", "at", "stands"} <= table.keys():
            continue
        at = (table["at"][0] + shift[0], table["at"][1] + shift[1])
        if face is not None:
            over = max(abs(at[0]) - face.length / 2.0, abs(at[1]) - face.width / 2.0)
            if over > NEAR_FACE:
                far = show(over, "length", given.found.system)
                given.found.fault(f"part.proud[{i}].at", None, f"a place on the face; it lies {far} outside")
        found.append(Proud(table["name"], at, table["stands"], table.get("out", False)))
    return tuple(found)


def build_inserts(
    given: Given, face: Outline | None, shift: Point, metal: metals.Metal | None
) -> tuple[Insert, ...]:
    """Other metals in the face, about its middle; faults are written down.

    An insert that lies on no metal of the face is refused: it would do nothing.
    """
    found = []
    for i, table in enumerate(given.values.get("part.inserts", []), 1):
        label = f"part.inserts[{i}]"
        faulty = any(f.key.startswith(label) for f in given.found.faults)
        kinds = [k for k in AREAS if k in table]
        if len(kinds) != 1 and not faulty:
            given.found.fault(label, None, "one of circle, slot and polygon")
        ratio = _ratio(given, table, metal, label, faulty)
        if len(kinds) != 1 or ratio is None or "name" not in table:
            continue
        area = area_of(kinds[0], table[kinds[0]]) + shift
        if face is not None and not _on_metal(area, face):
            given.found.fault(f"{label}.{kinds[0]}", None, "on the face: there is no metal of it there")
        found.append(Insert(table["name"], area, ratio))
    return tuple(found)


def _ratio(
    given: Given, table: dict[str, Any], metal: metals.Metal | None, label: str, faulty: bool
) -> float | None:
    """Rate of an insert over that of the face [-]."""
    if ("metal" in table) == ("rate_ratio" in table):
        if not faulty:
            given.found.fault(label, None, "one of metal and rate_ratio")
        return None
    if "rate_ratio" in table:
        return float(table["rate_ratio"])
    try:
        own = metals.find(table["metal"])
    except ValueError as error:
        given.found.fault(f"{label}.metal", table["metal"], what_is_known(error))
        return None
    return None if metal is None else own.rate / metal.rate


def _on_metal(area: Array, face: Outline) -> bool:
    """Whether any of an area is metal of the face."""
    low, high = area.min(axis=0), area.max(axis=0)
    share = (np.arange(SOUGHT) + 0.5) / SOUGHT
    u, v = (g.ravel() for g in np.meshgrid(*(low + np.outer(share, high - low)).T))
    inside = inside_polygon(np.ascontiguousarray(area), u, v)
    return bool(np.any(face.contains(np.column_stack([u, v])[inside])))

"""The plate of a scenario and its form, and the paper and how it lies on it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from handlap.sim.common.errors import what_is_known
from handlap.sim.common.outline import Outline
from handlap.sim.common.units import show
from handlap.sim.job.paper_area import ROUNDING, beyond_measured, overlap, papered_area
from handlap.sim.job.scenario import Glass, HeightTable, Lump, Paper, Plate, PlateShape, Strip
from handlap.sim.job.scenario_given import Given
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_readings import read_beside
from handlap.sim.job.scenario_values import find_grits
from handlap.sim.materials import plate_grades
from handlap.sim.materials.grits import Grit

PLATE_LENGTH, PLATE_WIDTH = 0.45, 0.3
"""A surface plate of common size, for scenarios that do not state theirs [m]."""


def build_plate(given: Given, face: Outline | None, direction: float, folder: Path | None) -> Plate:
    """The plate and what is known of its form; faults are written down.

    Parameters
    ----------
    given : what the file states
    face : the face, or None if it is itself faulty
    direction : of the strokes from the part's u axis [rad]
    folder : where the table of measured heights is
    """
    length, width = (face.length, face.width) if face is not None else (0.0, 0.0)
    # 200 mm for the stroke the way it goes, 100 mm the other way.
    along = abs(math.cos(direction)) >= abs(math.sin(direction)) - ROUNDING
    sides, assumed = [], False
    for name, made in (
        ("plate.length", max(PLATE_LENGTH, length + (0.2 if along else 0.1))),
        ("plate.width", max(PLATE_WIDTH, width + (0.1 if along else 0.2))),
    ):
        if name not in given.stated:
            given.note(name, show(made, "length", given.found.system))
            assumed = True
        sides.append(given.values.get(name, made))
    heights = _plate_heights(given, sides, folder)
    shape, shape_height = _shape(given)
    glass = _glass(given, sides[0])
    grade, tolerance = _tolerance(given, sides)
    known = [k for k in ("plate.heights", "plate.shape", "plate.glass") if k in given.stated]
    if known and tolerance > 0.0:
        name = "plate.grade" if grade else "plate.flatness"
        given.found.warn(name, f"not used: {known[0]} says what the plate is like")
        tolerance = 0.0
    forms = {*known, "plate.grade", "plate.flatness", "exact.load"}
    if not forms & given.stated:
        given.note("plate.grade", "taken as flat")
    return given.record(
        Plate,
        length=sides[0],
        width=sides[1],
        assumed=assumed,
        grade=grade,
        tolerance=tolerance,
        shape=shape,
        shape_height=shape_height,
        heights=heights,
        glass=glass,
    )


def _tolerance(given: Given, sides: list[float]) -> tuple[str | None, float]:
    """Grade as its standard writes it, and the flatness the plate keeps [m]."""
    given.clash("plate.grade", "plate.flatness")
    name = given.values.get("plate.grade")
    if name is None:
        return None, float(given.values.get("plate.flatness", 0.0))
    try:
        grade = plate_grades.find(name)
    except ValueError as error:
        given.found.fault("plate.grade", name, what_is_known(error))
        return None, 0.0
    return grade, plate_grades.tolerance(grade, *sides)


def _shape(given: Given) -> tuple[PlateShape | None, float]:
    given.clash("plate.heights", "plate.shape")
    shape = given.values.get("plate.shape")
    for one, other in (("plate.shape", "plate.shape_height"), ("plate.shape_height", "plate.shape")):
        if one in given.stated and other not in given.stated:
            given.found.fault(other, None, f"missing: {BY_NAME[other].help}")
    return shape, float(given.values.get("plate.shape_height", 0.0)) if shape else 0.0


def _glass(given: Given, length: float) -> Glass | None:
    thickness = given.values.get("plate.glass")
    gap = given.values.get("plate.gap")
    if "plate.glass" not in given.stated:
        if "plate.gap" in given.stated:
            given.found.warn("plate.gap", "not used without plate.glass: only glass is taken to bend")
        return None
    if gap is None:
        gap = given.plain("plate.gap")
    elif gap > length + ROUNDING:
        got, most = (show(x, "length", given.found.system) for x in (gap, length))
        given.found.fault("plate.gap", got, f"at most plate.length, {most}: it falls in")
        return None
    if thickness is not None and gap and gap < 4.0 * thickness:
        given.found.warn("plate.gap", "less than four times the glass: shear makes it bend more than is said")
    return None if thickness is None else Glass(thickness, gap or 0.0)


def _plate_heights(given: Given, sides: list[float], folder: Path | None) -> HeightTable | None:
    """Measured heights about the middle of the plate."""
    label = "plate.heights"
    table = read_beside(given, label, folder)
    if table is None:
        return None
    over = np.maximum(np.abs(table.u) - sides[0] / 2.0, np.abs(table.v) - sides[1] / 2.0)
    if (over > ROUNDING).any():
        far = show(float(over.max()), "length", given.found.system)
        given.found.fault(
            label,
            table.source,
            f"places on the plate, x and y from its middle; {int((over > ROUNDING).sum())} lie outside, the "
            f"furthest by {far}: check unit and origin",
        )
        return None
    if float(np.ptp(table.height)) > 0.001:
        apart = show(float(np.ptp(table.height)), "height", given.found.system)
        given.found.warn(label, f"heights {apart} apart are unusual for a plate: check the unit")
    return table


def _measured_under(given: Given, plate: Plate, strips: tuple[Strip, ...] | None) -> None:
    """Refuse paper where the plate was not measured: its heights are not carried on outwards."""
    if plate.heights is None:
        return
    area = papered_area(plate, strips)
    for i, out in enumerate(beyond_measured(plate.heights, area), 1):
        if out > ROUNDING:
            far = show(float(out), "length", given.found.system)
            where = "the whole plate is papered, which" if strips is None else f"strip {i}"
            given.found.fault(
                "paper.strips",
                None,
                f"{where} reaches {far} out of the area where the plate was measured (plate.heights); give "
                "strips that lie within it",
            )


def build_paper(given: Given, plate: Plate) -> Paper | None:
    """The paper and how it lies; None, with the faults written down, if there is no telling which."""
    assumed = []
    listed = given.values.get("paper.grits")
    if listed is None and "paper.grits" not in given.stated:
        listed = ["P80", "P120", "P240"]
        given.note("paper.grits", ", ".join(listed))
        assumed.append("paper.grits")
    system = given.values.get("paper.grade_system")
    papers = None if listed is None else find_grits(listed, system, "paper.grits", given.found)
    given.plain("paper.wet")
    strips = _strips(given, plate)
    lumps = _lumps(given, plate)
    if overlap(papered_area(plate, strips)):
        given.plain("paper.thickness")
    for name in ("paper.wet", "paper.strips", "paper.brush_every", "paper.sheet_every"):
        if name not in given.stated:
            assumed.append(name)
            if name != "paper.wet":
                given.note(name, BY_NAME[name].default_words)
    _measured_under(given, plate, strips)
    if papers is None:
        return None
    return given.record(
        Paper,
        grits=papers,
        start=_start(given, papers, system),
        strips=strips,
        lumps=lumps,
        assumed=tuple(assumed),
    )


def _start(given: Given, papers: tuple[Grit, ...], system: str | None) -> Grit | None:
    """The paper that the work is to start on, one of those listed."""
    name = given.values.get("paper.start")
    if name is None:
        return None
    wanted = find_grits([name], system, "paper.start", given.found)
    if wanted is not None and wanted[0] not in papers:
        listed = ", ".join(g.name for g in papers)
        given.found.fault("paper.start", name, f"one of paper.grits: {listed}")
        return None
    return wanted[0] if wanted else None


def _lumps(given: Given, plate: Plate) -> tuple[Lump, ...]:
    lumps = tuple(Lump(*entry) for entry in given.values.get("paper.lumps") or ())
    for i, lump in enumerate(lumps, 1):
        if abs(lump.x) > plate.length / 2.0 or abs(lump.y) > plate.width / 2.0:
            given.found.warn(f"paper.lumps[{i}]", "lies off the plate")
    return lumps


def _strips(given: Given, plate: Plate) -> tuple[Strip, ...] | None:
    listed = given.values.get("paper.strips")
    if not listed:
        return None
    strips = tuple(Strip(*s) for s in listed)
    if not len(papered_area(plate, strips)):
        given.found.fault("paper.strips", None, "none of the strips lies on the plate")
        return strips
    for i, s in enumerate(strips, 1):
        over = max(max(-s.x0, s.x1) - plate.length / 2, max(-s.y0, s.y1) - plate.width / 2)
        if over > ROUNDING:
            given.found.warn(
                f"paper.strips[{i}]",
                f"reaches {show(over, 'length', given.found.system)} over the edge of the plate",
            )
    return strips

"""From the checked values of a scenario file to its records.

Here live the checks that need more than one key, and the defaults that depend on others.
Every part of the job is looked at even when another is faulty, so that all faults are found.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from handlap.sim.common.grid import raster_of
from handlap.sim.common.outline import Array, Outline, Point
from handlap.sim.common.units import show
from handlap.sim.job.findings import Findings
from handlap.sim.job.overhang import Overhang, find_overhang, longest_inside, overhang_words
from handlap.sim.job.scenario import (
    Exact,
    Paper,
    Part,
    Plate,
    Scenario,
    Strip,
    Strokes,
    Turning,
    TurnState,
    Uncertain,
    Wear,
)
from handlap.sim.job.scenario_given import AS_TABLE, Given, MadeDefault
from handlap.sim.job.scenario_hands import build_hands
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_part import build_outline, build_part, find_metal
from handlap.sim.job.scenario_plate import build_paper, build_plate
from handlap.sim.job.scenario_readings import build_readings
from handlap.sim.job.slender import rigid_doubt
from handlap.sim.job.turning import SCHEDULES
from handlap.sim.materials.metals import Metal
from handlap.sim.materials.paper_law import (
    BRUSHED,
    EDGE_RISE,
    EDGE_RISE_SPREAD,
    FRICTION_GAIN,
    LOADING_FLOORS,
    by_kind,
)

FRICTION_FACTOR = math.sqrt(2.0)
OF_AGEING = ("ageing", "loading_floor", "dulling_floor", "brushing", "blunt_bedding", "friction_gain")
"""What only paper that ages has."""
NO_AGEING = "the paper does not age"
MOST_CELLS = 40_000
"""Cells over the length and width of a face that a file may ask for: a plan of sixteen faces with
49,000 of them takes 720 MB and two minutes of computing; 3,000 are usual."""
USUAL_STROKE, SHORTEST_STROKE = 0.15, 0.04
"""A stroke that nobody states: so long, or what the paper leaves if that is less, but no shorter (C) [m]."""


def build(
    values: dict[str, Any],
    stated: set[str],
    found: Findings,
    source: str,
    folder: Path | None,
    *,
    require_readings: bool = True,
    require_mass: bool = True,
) -> Scenario | None:
    """The scenario; None, with the faults written down, if something is wrong.

    Parameters
    ----------
    values : values by dotted key [SI], without those that were faulty
    stated : every key that was there, faulty or not
    found : where faults and warnings go
    source : path or built-in name
    folder : where the files it names are
    require_readings : False where the face may not have been measured yet
    require_mass : False where the weight changes nothing: it is then guessed from the size
    """
    given = Given(values, stated, found)
    _required(given)
    face, shift = build_outline(given)
    metal = find_metal(given)
    part = build_part(given, face, shift, metal, require_mass=require_mass)
    readings = build_readings(given, face, shift, folder, required=require_readings)
    direction = given.plain("strokes.direction") or 0.0
    plate = build_plate(given, face, direction, folder)
    paper = build_paper(given, plate)
    hands = build_hands(given, face, metal, direction)
    turning = _turning(given)
    strokes = _strokes(given, face, plate, None if paper is None else paper.strips, turning, hands.twist)
    wear = _wear(given, metal, bool(given.get("paper.wet")), paper)
    exact = _exact(given, face, shift)
    if "checks.every" not in given.stated:
        given.note("checks.every", BY_NAME["checks.every"].default_words)
    if part is not None and exact.load is None:
        _lifting(given, part.weight, hands.press)
        _rigid(given, part, hands.press)
    if given.found.faults or part is None or paper is None or wear is None:
        return None
    name = Path(source).stem
    return Scenario(
        name=name,
        title=given.values.get("title") or name,
        source=source,
        invented=bool(given.get("invented")),
        part=part,
        readings=readings,
        plate=plate,
        paper=paper,
        hands=hands,
        strokes=strokes,
        turning=turning,
        wear=wear,
        exact=exact,
        check_every=given.values.get("checks.every"),
        system=found.system,
        leaf_unit=found.unit("leaf"),
        ways=tuple(given.values.get("compare.ways") or ()),
        warnings=tuple(given.found.warnings),
        assumed=tuple(given.assumed),
        assumed_plain=tuple(given.assumed_plain),
    )


def _required(given: Given) -> None:
    for row in BY_NAME.values():
        if row.required and "[]" not in row.name and row.name not in given.stated:
            given.found.fault(row.name, None, f"missing: {row.help}")


def _lifting(given: Given, weight: float, press: Uncertain) -> None:
    """Refuse hands that lift the part off the paper; doubt those that may."""
    if weight + press.value <= 0.0:
        least, lifts = (show(f, "force", given.found.system) for f in (-weight, press.value))
        given.found.fault("hands.press", None, f"{lifts} lifts the part off; allowed: above {least}")
    elif weight + press.low <= 0.0:
        given.found.warn("hands.press", "its lower end lifts the part off the paper")


def _rigid(given: Given, part: Part, press: Uncertain) -> None:
    """Doubt that a part is rigid where nothing is said about its bending and its press would bend it."""
    if {"part.thickness", "part.ribbed_as", "part.stiffness"} & given.stated:
        return
    doubt = rigid_doubt(part, press.value, given.found.system)
    if doubt is not None:
        given.found.warn("part.thickness", doubt)


def _strokes(
    given: Given,
    face: Outline | None,
    plate: Plate,
    strips: tuple[Strip, ...] | None,
    turning: Turning,
    twist: float,
) -> Strokes:
    pattern = given.plain("strokes.pattern")
    direction = given.plain("strokes.direction") or 0.0
    length = given.values.get("strokes.length")
    assumed = tuple(n for n in BY_NAME if n.startswith("strokes.") and n not in given.stated)
    sway = given.uncertain(
        "strokes.sway", AS_TABLE if given.get("wear.ages") else MadeDefault(0.0, unused=NO_AGEING)
    )
    strokes = Strokes(pattern, USUAL_STROKE if length is None else length, direction, sway, assumed)
    if face is None:
        return strokes
    if length is None:
        room = longest_inside(face, plate, strips, strokes, turning, twist)
        strokes = replace(strokes, length=min(USUAL_STROKE, max(SHORTEST_STROKE, room)))
        if "strokes.length" not in given.stated:
            given.note("strokes.length", show(strokes.length, "length", given.found.system))
    _overhang(given, find_overhang(face, plate, strips, strokes, turning, twist), strips)
    return strokes


def _overhang(given: Given, found: Overhang, strips: tuple[Strip, ...] | None) -> None:
    """Doubt that a part is meant to leave its paper."""
    if found:
        label = "plate" if found.at_rest else "strokes.length" if found.reach > 0.0 else "paper.strips"
        given.found.warn(label, overhang_words(found, strips, given.found.system))


def _turning(given: Given) -> Turning:
    given.clash("turning.schedule", "turning.states")
    every = given.values.get("turning.every")
    own = given.values.get("turning.states")
    if own is not None:
        return Turning("own", tuple(TurnState(*pair) for pair in own), every, False)
    name = given.plain("turning.schedule") or "none"
    states = SCHEDULES[name].states
    if every is None and len(states) > 1 and "turning.every" not in given.stated:
        given.note("turning.every", BY_NAME["turning.every"].default_words)
    return Turning(name, states, every, "turning.schedule" not in given.stated)


def _wear(given: Given, metal: Metal | None, wet: bool, paper: Paper | None) -> Wear | None:
    given.clash("wear.bedding", "wear.bedding_length")
    if metal is None:
        return None
    kind = metal.family, wet
    laid = "glued" if paper is None else paper.laid
    rise_basis = f"paper {laid}: {BY_NAME['wear.edge_rise'].basis}"
    made = {
        "rate": MadeDefault(metal.rate, metal.rate_factor, f"{metal.name}: {metal.basis}"),
        "friction": MadeDefault(
            metal.friction(wet), FRICTION_FACTOR, f"{metal.name}, {'wet' if wet else 'dry'}: from memory"
        ),
        "loading_floor": MadeDefault(by_kind(LOADING_FLOORS, *kind)),
        "brushing": MadeDefault(by_kind(BRUSHED, *kind)),
        "friction_gain": MadeDefault(by_kind(FRICTION_GAIN, *kind)),
        "edge_rise": MadeDefault(EDGE_RISE[laid], EDGE_RISE_SPREAD[laid], rise_basis),
    }
    if not given.plain("wear.ages"):
        for name in OF_AGEING:
            made[name] = replace(made.get(name, AS_TABLE), unused=NO_AGEING)
    if {"exact.load", "exact.load_at", "exact.tilt"} & given.stated:
        # A formula that the program is held against knows of no leading edge.
        made |= dict.fromkeys(("edge_rate", "edge_rise"), MadeDefault(0.0, unused="an exact case"))
    if "wear.bedding_length" in given.values:
        made["bedding"] = MadeDefault(unused="wear.bedding_length")
    return given.record(Wear, made)


def _exact(given: Given, face: Outline | None, shift: Point) -> Exact:
    at = given.values.get("exact.load_at")
    if at is not None:
        at = (at[0] + shift[0], at[1] + shift[1])
        if face is not None and not _in_hull(face.rim, at):
            given.found.fault(
                "exact.load_at",
                [show(a, "length", given.found.system) for a in given.values["exact.load_at"]],
                "a place inside the face: outside it the part tips over",
            )
    held = given.get("exact.tilt") == "held"
    return given.record(Exact, load_at=at, tilt_held=held, cell=_cell(given, face))


def _cell(given: Given, face: Outline | None) -> float | None:
    """Side of a cell [m], where it is stated; refused where the face would have too many of them."""
    cell: float | None = given.values.get("exact.cell")
    if cell is None or face is None:
        return cell
    columns, rows = raster_of(face, cell)
    if columns * rows > MOST_CELLS:
        least = cell
        while math.prod(raster_of(face, least)) > MOST_CELLS:
            least *= 1.01
        # Half a per cent more, so that what is printed does not fall below it by rounding.
        got, allowed = (show(x, "length", given.found.system, 3) for x in (cell, 1.005 * least))
        given.found.fault(
            "exact.cell",
            got,
            f"{allowed} or more: cells over length and width of the face, here {columns * rows}, are "
            f"{MOST_CELLS} at the most",
        )
    return cell


def _in_hull(rim: Array, at: Point) -> bool:
    """Whether a place lies strictly inside the convex hull of a rim."""
    gap = np.sort(np.mod(np.arctan2(rim[:, 1] - at[1], rim[:, 0] - at[0]), 2.0 * math.pi))
    largest = float(np.max(np.diff(np.append(gap, gap[0] + 2.0 * math.pi))))
    return largest < math.pi - 1e-9

"""The readings of a scenario: straightedge lines and heights, placed on the face."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.outline import Array, Outline, Point
from handlap.sim.common.units import show, show_leaf
from handlap.sim.job.findings import Findings
from handlap.sim.job.given_file import path_beside
from handlap.sim.job.height_table import FEWEST_POINTS, assumed_error, read_height_table
from handlap.sim.job.scenario import HeightTable, Readings, Station, StraightedgeLine
from handlap.sim.job.scenario_given import Given
from handlap.sim.job.scenario_values import MOST_READINGS

OFF_FACE = 0.02
"""A line or a height may not lie further than this outside the bounding box of the face [m]."""
NEAR_METAL = 0.002
"""A reading counts when there is metal within this, along and across: leaves have a width [m]."""
ROUNDING = 1e-4
"""A line may be so much longer than the straightedge [m]."""
EITHER_SIDE = 0.002
"""A leaf that slides in to a depth goes this much short of it and stops this much beyond [m]."""


def build_readings(
    given: Given, face: Outline | None, shift: Point, folder: Path | None, *, required: bool = True
) -> Readings:
    """Lines or table of a scenario; faults are written down.

    Parameters
    ----------
    given : what the file states
    face : the face, or None if it is itself faulty
    shift : what takes a position of the file to the middle of the face [m]
    folder : where the table of heights is
    required : whether there must be readings at all
    """
    lines_stated = "readings.line" in given.stated
    table_stated = "readings.heights" in given.stated
    if lines_stated and table_stated:
        given.found.fault("readings", None, "give either lines or heights, not both")
    worst_stated = "readings.worst_gap" in given.stated
    if required and not lines_stated and not table_stated and not worst_stated:
        given.found.fault(
            "readings",
            None,
            'missing: "handlap readings" asks for them line by line; or heights = "table.csv"',
        )
    tables = given.values.get("readings.line", [])
    if lines_stated and not tables and not given.found.faults:
        given.found.fault("readings.line", None, "at least one line")
    leaves = tuple(given.values.get("readings.leaves", ()))
    lines: tuple[StraightedgeLine, ...] = ()
    if lines_stated:
        lines = build_lines(tables, leaves, face, shift, given.found)
        if any("held" not in t for t in tables):
            given.note("readings.line[].held", "at rest on two points")
        _long_enough(given, lines)
    elif "readings.leaves" in given.stated and table_stated:
        given.found.warn("readings.leaves", "not used with a table of heights")
    if lines_stated and "readings.heights_sd" in given.stated:
        given.found.warn("readings.heights_sd", "not used without readings.heights")
    with_edge = lines_stated or (worst_stated and not table_stated)
    return given.record(
        Readings,
        lines=lines,
        table=_table(given, face, shift, folder),
        edge_sd=given.plain("readings.edge_error") if with_edge else 0.0,
        edge_bow=given.plain("readings.edge_bow") if with_edge else 0.0,
        leaves=leaves,
        # Lines and tables tell more than one gap, and it is among them.
        worst=None if lines_stated or table_stated else given.values.get("readings.worst_gap"),
    )


def _long_enough(given: Given, lines: tuple[StraightedgeLine, ...]) -> None:
    """Doubt lines longer than the straightedge."""
    edge = given.values.get("readings.edge_length")
    for line in lines:
        length = math.hypot(line.end[0] - line.start[0], line.end[1] - line.start[1])
        if edge is not None and length > edge + ROUNDING:
            got, most = (show(x, "length", given.found.system) for x in (length, edge))
            given.found.warn(
                f'readings.line "{line.name}"',
                f"{got} long, and the straightedge is {most}: read it in parts",
            )


def _table(given: Given, face: Outline | None, shift: Point, folder: Path | None) -> HeightTable | None:
    table = read_beside(given, "readings.heights", folder, given.get("readings.heights_sd") or 0.0)
    if table is None:
        return None
    if "readings.heights_sd" not in given.stated:
        table = replace(table, sd=assumed_error(table.step), sd_assumed=True)
        given.note("readings.heights_sd", show(table.sd, "height", given.found.system))
    return place_table(table, face, shift, given.found)


def read_beside(given: Given, label: str, folder: Path | None, sd: float = 0.0) -> HeightTable | None:
    """The table of heights a key names, in the folder of the scenario; None if absent or faulty.

    Parameters
    ----------
    given : what the file states
    label : the key
    folder : of the scenario; None: it is no file
    sd : standard deviation of one height [m]
    """
    name = given.values.get(label)
    if name is None:
        return None
    if folder is None:
        given.found.fault(label, name, "used only in a scenario that is itself a file")
        return None
    path = path_beside(folder, name)
    if path is None:
        given.found.fault(label, name, "a file in the folder of the scenario or below it")
        return None
    try:
        return read_height_table(path, sd)
    except ScenarioError as error:
        given.found.fault(label, name, "a table of heights that can be read; its faults follow")
        given.found.faults.extend(error.faults)
        return None


def build_lines(
    tables: list[dict[str, Any]],
    leaves: tuple[float, ...],
    face: Outline | None,
    shift: Point,
    found: Findings,
) -> tuple[StraightedgeLine, ...]:
    """Straightedge lines about the middle of the face; faults are written down.

    Parameters
    ----------
    tables : for each line what ``[[readings.line]]`` held [SI], without what was faulty
    leaves : leaves at hand [m]
    face : the face, or None if it is itself faulty
    shift : what takes a position of the file to the middle of the face [m]
    found : where faults and warnings go
    """
    count = sum(len(table.get("stations", ())) + 2 * len(table.get("slides_in", ())) for table in tables)
    if count > MOST_READINGS:
        found.fault("readings.line", f"{count} readings", f"at most {MOST_READINGS} in all lines together")
        return ()
    lines = []
    seen: dict[str, int] = {}
    for i, table in enumerate(tables, 1):
        label = f"readings.line[{i}]"
        name = table.get("name")
        if name is not None and name in seen:
            found.fault(f"{label}.name", name, f"a name of its own: line {seen[name]} has it")
        elif name is not None:
            seen[name] = i
        line = _line(table, leaves, face, shift, label, found)
        if line is not None:
            lines.append(line)
    return tuple(lines)


def _line(
    table: dict[str, Any],
    leaves: tuple[float, ...],
    face: Outline | None,
    shift: Point,
    label: str,
    found: Findings,
) -> StraightedgeLine | None:
    if "stations" not in table and "slides_in" not in table:
        if not any(f.key.startswith(label) for f in found.faults):
            found.fault(f"{label}.stations", None, "missing: at least one reading, or slides_in")
        return None
    if "from" not in table or "to" not in table:
        return None
    start, end = (np.array(table[k]) + shift for k in ("from", "to"))
    length = float(np.hypot(*(end - start)))
    if length <= 0.0:
        found.fault(f"{label}.to", None, "a place other than from")
        return None
    if face is not None:
        for key, place in (("from", start), ("to", end)):
            over = max(abs(place[0]) - face.length / 2.0, abs(place[1]) - face.width / 2.0)
            if over > OFF_FACE:
                beyond = show(over, "length", found.system)
                found.fault(f"{label}.{key}", None, f"a place on the face; it lies {beyond} outside")
    stations = _stations(table.get("stations", []), leaves, length, label, found)
    stations += _slid_in(table.get("slides_in", []), length, label, found)
    stations.sort(key=lambda s: s.at)
    if face is not None:
        stations = _on_metal(stations, face, start, (end - start) / length, label, found)
    return StraightedgeLine(
        name=table.get("name", ""),
        start=(float(start[0]), float(start[1])),
        end=(float(end[0]), float(end[1])),
        held=table.get("held", "rest"),
        stations=tuple(stations),
    )


def _stations(
    rows: list[tuple[float, ...]],
    leaves: tuple[float, ...],
    length: float,
    label: str,
    found: Findings,
) -> list[Station]:
    stations = []
    for row in rows:
        at = row[0]
        if not -1e-9 <= at <= length + 1e-9:
            found.fault(
                f"{label}.stations (at)",
                show(at, "length", found.system),
                f"a distance on the line, 0 to {show(length, 'length', found.system)}",
            )
            continue
        if len(row) == 3:
            stations.append(Station(at, row[1], row[2]))
        elif leaves:
            thicker = [leaf for leaf in leaves if leaf > row[1] * (1.0 + 1e-9)]
            stations.append(Station(at, row[1], thicker[0] if thicker else math.inf))
        else:
            found.fault(
                f"{label}.stations",
                [show(at, "length", found.system), show_leaf(row[1], found.unit("leaf"))],
                "[at, goes, stops]; stops may be left out only where readings.leaves lists the leaves",
            )
    return stations


def _slid_in(
    rows: list[tuple[float, str, float]], length: float, label: str, found: Findings
) -> list[Station]:
    """A leaf goes just short of the depth it slides in to, and stops just beyond."""
    stations = []
    for leaf, side, depth in rows:
        if depth > length + 1e-9:
            found.fault(
                f"{label}.slides_in (depth)",
                show(depth, "length", found.system),
                f"at most the length of the line, {show(length, 'length', found.system)}",
            )
            continue
        inside = max(depth - EITHER_SIDE, 0.5 * depth)
        beyond = depth + EITHER_SIDE
        for at, goes, stops in ((inside, leaf, math.inf), (beyond, 0.0, leaf)):
            if at <= length:
                stations.append(Station(at if side == "start" else length - at, goes, stops))
    return stations


def _on_metal(
    stations: list[Station], face: Outline, start: Array, along: Array, label: str, found: Findings
) -> list[Station]:
    if not stations:
        return stations
    at = np.array([s.at for s in stations])
    there = near_metal(face, start + np.outer(at, along))
    if there.all():
        return stations
    where = ", ".join(show(float(a), "length", found.system) for a in at[~there])
    found.warn(f"{label}.stations", f"no metal under the reading at {where}: left out")
    return [s for s, kept in zip(stations, there, strict=True) if kept]


def near_metal(face: Outline, places: Array) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Whether places (n, 2) [m] have metal under them or within 2 mm along u, v or both."""
    near = face.contains(places)
    for step in NEAR_METAL * np.array([[i, j] for i in (0, 1, -1) for j in (0, 1, -1) if i or j]):
        doubtful = np.flatnonzero(~near)
        near[doubtful] = face.contains(places[doubtful] + step)
    return np.asarray(near)


def place_table(
    table: HeightTable, face: Outline | None, shift: Point, found: Findings
) -> HeightTable | None:
    """Heights about the middle of the face, without those that have no metal under them."""
    u, v = table.u + shift[0], table.v + shift[1]
    label = "readings.heights"
    if face is None:
        return replace(table, u=u, v=v)
    over = np.maximum(np.abs(u) - face.length / 2.0, np.abs(v) - face.width / 2.0)
    if (over > OFF_FACE).any():
        worst = int(np.argmax(over))
        found.fault(
            label,
            table.source,
            f"points on the face; {int((over > OFF_FACE).sum())} lie outside, the furthest by "
            f"{show(float(over[worst]), 'length', found.system)}: check unit and part.origin",
        )
        return None
    kept = near_metal(face, np.column_stack([u, v]))
    if not kept.all():
        found.warn(label, f"{int((~kept).sum())} of {kept.size} points have no metal under them: left out")
    if kept.sum() < FEWEST_POINTS:
        found.fault(label, table.source, f"at least {FEWEST_POINTS} points on the face")
        return None
    if np.ptp(u[kept]) < 0.7 * face.length or np.ptp(v[kept]) < 0.7 * face.width:
        found.warn(label, "the points cover less than 70 % of the length or width of the face")
    if float(np.ptp(table.height[kept])) > 0.002:
        apart = show(float(np.ptp(table.height[kept])), "height", found.system)
        found.warn(label, f"heights {apart} apart are unusual: check the unit")
    return replace(table, u=u[kept], v=v[kept], height=table.height[kept])

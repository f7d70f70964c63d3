"""Where to lay the straightedge and where to try the leaves: lines with numbered stations.

Six lines (two long, two cross, two diagonal), a station within 10 mm of each end of the metal,
openings avoided: common practice.  All in metres, about the middle of the face.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.units import INCH, System
from handlap.sim.face.straightedge import FaceLine, on_metal, standard_lines
from handlap.sim.job.scenario import Scenario, StraightedgeLine

NEAREST_END = 0.010
"""The outer stations lie no further than this from the ends of the metal [m]."""
FROM_END = 0.005
"""Where they lie if nothing is in the way [m]."""
LEAF_HALF = 0.004
"""A leaf wants this much metal to either side of a station, where it can be had [m]."""
OFF_OPENING = 0.0015
"""Stations keep this far from openings beside the line, where they can [m]."""
APART = 0.010
"""Stations of one line are at least this far apart, where the line is long enough [m]."""
MOST, FEWEST = 9, 3
"""Stations on a long line, and on a short one: its ends and its middle."""
SPACING = 0.035
"""Stations are about so far apart, where :data:`MOST` allows: bends of a face are longer (ours) [m]."""
ROUND: dict[System, float] = {"mm": 1e-3, "inch": INCH / 16.0}
"""Stations lie on whole steps of this, so that they can be found with a rule [m]."""
SAME = 1e-3
"""Lines whose ends are no further apart than this are the same line [m]."""


@dataclass(frozen=True)
class MeasuringLine:
    """One laying of the straightedge with the places at which leaves are tried.

    Attributes
    ----------
    letter : what its stations are called by: A1, A2, … [-]
    name : its name
    start, end : [m]
    at : distances of the stations from the start, rising [m]
    """

    letter: str
    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    at: tuple[float, ...]

    @property
    def length(self) -> float:
        """Distance from start to end [m]."""
        return math.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])

    @property
    def places(self) -> Array:
        """Stations (n, 2) on the face [m]."""
        start, end = np.array(self.start), np.array(self.end)
        return start + np.outer(np.array(self.at) / self.length, end - start)

    def label(self, station: int) -> str:
        """What a station is called, counted from 0.

        >>> MeasuringLine("B", "long far", (0.0, 0.0), (0.1, 0.0), (0.005, 0.05)).label(1)
        'B2'
        """
        return f"{self.letter}{station + 1}"


def letter(index: int) -> str:
    """Name of a line by its place in the order.

    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    rest, last = divmod(index, 26)
    return (letter(rest - 1) if rest else "") + chr(ord("A") + last)


def measuring_lines(
    outline: Outline, system: System = "mm", edge: float | None = None
) -> tuple[MeasuringLine, ...]:
    """The six lines of the bench with their stations.

    Parameters
    ----------
    system : stations lie on whole millimetres, or on sixteenths of an inch
    edge : length of the straightedge; lines that are longer are laid in parts; None: long enough [m]

    >>> lines = measuring_lines(Outline.rectangular(0.24, 0.14))
    >>> [round(1e3 * s) for s in lines[0].at]
    [5, 38, 71, 104, 136, 169, 202, 235]
    """
    found = []
    laid = [part for line in standard_lines(outline) for part in in_parts(line, edge)]
    for i, line in enumerate(laid):
        count = min(MOST, max(FEWEST, 1 + round(line.length / SPACING)))
        at = place_stations(outline, line, count, ROUND[system])
        found.append(MeasuringLine(letter(i), line.name, line.start, line.end, at))
    return tuple(found)


def in_parts(line: FaceLine, edge: float | None) -> list[FaceLine]:
    """A line as a straightedge of that length [m] reads it: whole, or in as few layings as reach all of it.

    >>> long = FaceLine("long near", (0.0, 0.0), (0.5, 0.0))
    >>> [(part.name, part.start[0], part.end[0]) for part in in_parts(long, 0.3)]
    [('long near, part 1', 0.0, 0.3), ('long near, part 2', 0.2, 0.5)]
    """
    if edge is None or line.length <= edge + SAME:
        return [line]
    count = math.ceil(line.length / edge - 1e-9)
    start, along = np.array(line.start), (np.array(line.end) - np.array(line.start)) / line.length
    found = []
    for i, first in enumerate(np.linspace(0.0, line.length - edge, count), 1):
        low, high = start + first * along, start + (first + edge) * along
        ends = (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
        found.append(FaceLine(f"{line.name}, part {i}", *ends))
    return found


def place_stations(
    outline: Outline, line: FaceLine, count: int, step: float = ROUND["mm"]
) -> tuple[float, ...]:
    """Distances from the start at which leaves are tried on a line [m].

    The outer two lie within 10 mm of the ends of the metal; those between are spread evenly
    and moved to the nearest place where a whole leaf has metal under it.

    Parameters
    ----------
    count : stations wanted; there are fewer where openings or a short line leave no room
    step : they lie on whole steps of this [m]
    """
    steps = np.array([i * step for i in range(math.ceil(1e-9 + line.length / step) + 1)])
    steps = steps[steps <= line.length + 1e-9]
    metal, clear = _metal(outline, line, steps)
    if not metal.any():
        return ()
    first, last = float(steps[metal][0]), float(steps[metal][-1])
    inset = min(FROM_END, 0.1 * (last - first))
    wanted = np.linspace(first + inset, last - inset, max(2, count))
    ends = [
        _nearest(steps, metal & (steps <= first + NEAREST_END), clear, wanted[0]),
        _nearest(steps, metal & (steps >= last - NEAREST_END), clear, wanted[-1]),
    ]
    kept = [s for s in ends if s is not None]
    apart = min(APART, 0.6 * (last - first) / max(1, count - 1))
    for target in wanted[1:-1]:
        free = clear.copy()
        for s in kept:
            free &= np.abs(steps - s) >= apart - 1e-9
        half = 0.5 * (wanted[1] - wanted[0]) + 1e-9
        free &= np.abs(steps - target) <= half
        if free.any():
            kept.append(float(steps[free][np.argmin(np.abs(steps[free] - target))]))
    return tuple(sorted(set(kept)))


def _metal(outline: Outline, line: FaceLine, at: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether there is metal at distances along a line, and whether a whole leaf has it."""
    start, end = np.array(line.start), np.array(line.end)
    along = (end - start) / line.length
    across = np.array([-along[1], along[0]])
    points = start + np.outer(at, along)
    metal = np.asarray(on_metal(outline, points))
    clear = metal.copy()
    for way in (along, -along):
        clear &= on_metal(outline, points + LEAF_HALF * way)
    # At the rim the leaf comes in from outside: metal on one side of the line is enough.
    clear &= on_metal(outline, points + LEAF_HALF * across) | on_metal(outline, points - LEAF_HALF * across)
    solid = Outline(outline.rim)
    for beside in (points, points + OFF_OPENING * across, points - OFF_OPENING * across):
        clear &= outline.contains(beside) | ~solid.contains(beside)
    return metal, clear


def _nearest(
    steps: Array, allowed: NDArray[np.bool_], better: NDArray[np.bool_], target: float
) -> float | None:
    """The allowed step nearest to a target, one with metal all round it if there is one."""
    for chosen in (allowed & better, allowed):
        if chosen.any():
            return float(steps[chosen][np.argmin(np.abs(steps[chosen] - target))])
    return None


def own_lines(lines: tuple[StraightedgeLine, ...]) -> tuple[MeasuringLine, ...]:
    """The lines a scenario was read on, with the stations it was read at."""
    return tuple(
        MeasuringLine(
            letter(i), line.name, line.start, line.end, tuple(sorted({round(s.at, 7) for s in line.stations}))
        )
        for i, line in enumerate(lines)
    )


def lines_of(
    scenario: Scenario, system: System = "mm", *, standard: bool = False
) -> tuple[MeasuringLine, ...]:
    """The lines to measure: those the scenario was read on, or else the six of the bench.

    A scenario of which some of the six have been read keeps all six.

    Parameters
    ----------
    system : units the stations are rounded in
    standard : the six of the bench in any case
    """
    six = measuring_lines(scenario.part.outline, system, scenario.readings.edge_length)
    read = scenario.readings.lines
    if standard or all(any(same_line(line, known) for known in six) for line in read):
        return six
    return own_lines(read)


def same_line(line: StraightedgeLine, other: MeasuringLine) -> bool:
    """Whether two lines have one name and lie in one place."""
    ends = (*line.start, *line.end), (*other.start, *other.end)
    return line.name == other.name and all(abs(a - b) <= SAME for a, b in zip(*ends, strict=True))

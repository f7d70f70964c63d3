"""One reading for a whole face: the worst gap anybody found, and roughly where.

Who has slid a straightedge about a face remembers one gap: the leaf that went in where it was worst, and
the one that did not.  That says two things at once.  Where the gap is, it lies between the two leaves; and
under the six lines of the bench, wherever the edge lay, the thicker one went in nowhere.  Both are
intervals of stations, so the survey takes them as it takes any reading: there is no second model.

Where the gap is stands in a word.  In the middle: halfway along a diagonal, for the worst of a dish, a bow
and a twist all lie there.  At the ends: at both ends of a diagonal, the edge held level on a crown.  In a
corner: at one end of a diagonal, the edge at rest.  Which diagonal, and which of its ends, is a matter of
turning the part round.  Unknown: the three are surveyed each by itself, and their faces stand in one
ensemble with equal shares, which is as wide as not knowing is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from handlap.sim.common.outline import Outline
from handlap.sim.face.stations import place_stations
from handlap.sim.face.straightedge import FaceLine, standard_lines
from handlap.sim.job.job_readings import Held
from handlap.sim.job.scenario import Station, StraightedgeLine, WorstGap

GapPlace = Literal["middle", "ends", "corner"]
PLACES: tuple[GapPlace, ...] = get_args(GapPlace)
READ_ON = "diagonal rising"
"""The line that the gap is put on; every face has it."""
A_LINE = 3
"""Stations of a line at which the thicker leaf went nowhere: its middle and both ends.  Who feels about
does not feel everywhere, so no more is claimed."""


@dataclass(frozen=True)
class PlacedGap:
    """The worst gap laid to one place, as lines with stations."""

    place: GapPlace
    lines: tuple[StraightedgeLine, ...]


def placed_gaps(outline: Outline, worst: WorstGap) -> tuple[PlacedGap, ...]:
    """The worst gap as readings on the six lines, once for each place where it may be.

    >>> from handlap.sim.job.scenario import WorstGap
    >>> found = placed_gaps(Outline.rectangular(0.24, 0.14), WorstGap(8e-5, 1e-4, "unknown"))
    >>> [(gap.place, len(gap.lines)) for gap in found]
    [('middle', 6), ('ends', 6), ('corner', 6)]
    """
    places = PLACES if worst.where == "unknown" else tuple(p for p in PLACES if p == worst.where)
    lines = standard_lines(outline)
    chosen = next((line for line in lines if line.name == READ_ON), lines[-1])
    return tuple(
        PlacedGap(place, tuple(_read(outline, line, line is chosen, place, worst) for line in lines))
        for place in places
    )


def _read(
    outline: Outline, line: FaceLine, chosen: bool, place: GapPlace, worst: WorstGap
) -> StraightedgeLine:
    """One line: the thicker leaf stops everywhere, and where the gap is the thinner one goes."""
    at = place_stations(outline, line, A_LINE)
    last = len(at) - 1
    where: dict[GapPlace, set[int]] = {"middle": {last // 2}, "ends": {0, last}, "corner": {0}}
    read = where[place] if chosen else set()
    held: Held = "level" if place == "ends" else "rest"
    stations = tuple(Station(s, worst.goes if k in read else 0.0, worst.stops) for k, s in enumerate(at))
    return StraightedgeLine(line.name, line.start, line.end, held, stations)

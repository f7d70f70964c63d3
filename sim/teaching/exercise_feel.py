"""The face of an exercise felt by the learner: what leaves say at every station, however the edge is held.

The rule is :func:`read_line`, the one by which readings of exercises and stints are made; a page only looks
up what it says.  The feel errs by one draw a station, whatever the hold and however often a leaf is tried:
who tries again feels the same, as somebody does who has one hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.leaf_readings import read_line
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.face.straightedge import FaceLine, gaps, sample_line
from handlap.sim.job.job_readings import Held
from handlap.sim.job.scenario import Station
from handlap.sim.teaching.exercise_face import TrueFace
from handlap.sim.teaching.exercise_levels import LEVELS

HOLDS: tuple[Held, ...] = ("rest", "level", "tipped start", "tipped end")
"""Ways of holding the straightedge, in the order in which they are packed."""
MOST_LEAVES = 100


@dataclass(frozen=True)
class FeltLine:
    """What is felt along one line of the sheet.

    Attributes
    ----------
    name : of the line
    rocks : whether the straightedge rocks on it
    goes : how many of the leaves, thinnest first, go in at each station, by :data:`HOLDS` [-]
    """

    name: str
    rocks: bool
    goes: tuple[tuple[int, ...], ...]

    def as_mapping(self) -> dict[str, Any]:
        """For a file."""
        return {"name": self.name, "rocks": self.rocks, "goes": [list(counts) for counts in self.goes]}

    @staticmethod
    def of(mapping: Mapping[str, Any]) -> FeltLine:
        """What :meth:`as_mapping` wrote down.

        Raises
        ------
        KeyError, TypeError, ValueError : for what it would never write
        """
        goes = tuple(tuple(int(count) for count in counts) for counts in mapping["goes"])
        sound = len(goes) == len(HOLDS) and len({len(counts) for counts in goes}) == 1
        if not sound or any(not 0 <= count <= MOST_LEAVES for counts in goes for count in counts):
            raise ValueError("nothing that leaves say")
        return FeltLine(str(mapping["name"]), bool(mapping["rocks"]), goes)

    def station(self, at: float, index: int, held: Held, leaves: Sequence[float]) -> Station:
        """The reading of a station [m] when it is taken to the last leaf."""
        count = self.goes[HOLDS.index(held)][index]
        stops = leaves[count] if count < len(leaves) else np.inf
        return Station(at, leaves[count - 1] if count else 0.0, float(stops))


def felt_lines(
    level: int, seed: int, lines: Sequence[MeasuringLine], face: TrueFace, outline: Outline
) -> tuple[FeltLine, ...]:
    """What is felt along the lines of the sheet of an exercise."""
    wanted = LEVELS[level]
    leaves = 1e-6 * np.array(wanted.leaves, dtype=float)
    found = []
    for i, line in enumerate(lines):
        laid = FaceLine(line.name, line.start, line.end)

        # The same draws for every hold: the hand is one.
        by_hold = {
            held: read_line(
                outline, face.heights_at, laid, leaves, line.at, feel=wanted.feel, held=held,
                rng=np.random.default_rng([seed, level, 9, i]),
            )
            for held in (None, *HOLDS)
        }  # fmt: skip
        goes = tuple(
            tuple(int(np.searchsorted(leaves, s.goes, side="right")) for s in by_hold[held].stations)
            for held in HOLDS
        )
        found.append(FeltLine(line.name, by_hold[None].held == "level", goes))
    return tuple(found)


def station_gaps(outline: Outline, face: TrueFace, line: MeasuringLine, held: Held) -> Array:
    """The true gaps (stations,) under a straightedge held so along a line of the sheet [m]."""
    position, points = sample_line(outline, line.start, line.end, line.at)
    found = gaps(position, face.heights_at(points), held, 0.5 * line.length)
    return np.array([found[np.argmin(np.abs(position - at))] for at in line.at])

"""What someone would write down who feels a known face with a straightedge and leaves.

For demonstrations, and to try the survey on faces whose truth is known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.straightedge import ROCKS_BELOW, FaceLine, contact, gaps, sample_line
from handlap.sim.job.job_readings import Held
from handlap.sim.job.scenario import Station, StraightedgeLine

END = 6e-3
"""How far from its ends a line has its first and last station, at most [m]."""


def even_stations(length: float, count: int) -> Array:
    """Stations (count,) along a line, the outer ones within 6 mm of its ends [m]."""
    end = min(END, 0.05 * length)
    return np.linspace(end, length - end, count)


def read_line(
    outline: Outline,
    height_at: Callable[[Array], Array],
    line: FaceLine,
    leaves: ArrayLike,
    stations: ArrayLike,
    *,
    feel: float = 0.0,
    rng: np.random.Generator | None = None,
    held: Held | None = None,
) -> StraightedgeLine:
    """Readings along one line of a known face.

    Parameters
    ----------
    outline : the face
    height_at : heights (n,) of the face at points (n, 2) [m]
    line : where the straightedge lies
    leaves : thicknesses (k,) of the leaves at hand [m]
    stations : distances from the start (m,); those over openings are skipped [m]
    feel : standard error of the feel [m]
    rng : where the feel's error comes from; needed if ``feel`` is not zero
    held : how it is held; without it at rest, or level where it rocks
    """
    wanted = np.asarray(stations, dtype=float)
    position, points = sample_line(outline, line.start, line.end, wanted)
    z = height_at(points)
    middle = 0.5 * line.length
    if held is None:
        i, j = contact(position, z, "rest", middle)
        held = "rest" if position[j] - position[i] >= ROCKS_BELOW * line.length else "level"
    gap = gaps(position, z, held, middle)
    thickness = np.sort(np.asarray(leaves, dtype=float))
    found = []
    for at in wanted:
        k = int(np.argmin(np.abs(position - at)))
        if abs(position[k] - at) > 2e-5 * line.length:
            continue
        felt = gap[k] + (feel * rng.standard_normal() if rng is not None else 0.0)
        n = int(np.searchsorted(thickness, felt, side="right"))
        goes = float(thickness[n - 1]) if n > 0 else 0.0
        stops = float(thickness[n]) if n < thickness.size else math.inf
        found.append(Station(float(at), goes, stops))
    return StraightedgeLine(line.name, line.start, line.end, held, tuple(found))


def read_face(
    outline: Outline,
    height_at: Callable[[Array], Array],
    lines: Sequence[FaceLine],
    leaves: ArrayLike,
    *,
    stations: int = 9,
    feel: float = 0.0,
    seed: int = 0,
) -> tuple[StraightedgeLine, ...]:
    """Readings along several lines of a known face; see :func:`read_line`.

    ``stations`` is their number on the longest line; shorter ones have fewer, at least five.
    """
    rng = np.random.default_rng(seed)
    longest = max(line.length for line in lines)
    found = []
    for line in lines:
        count = max(5, math.ceil(stations * line.length / longest))
        at = even_stations(line.length, count)
        found.append(read_line(outline, height_at, line, leaves, at, feel=feel, rng=rng))
    return tuple(found)

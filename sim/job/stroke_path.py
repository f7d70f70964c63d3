"""The path of a stroke as the operator sees it: its length, and where on it the part is.

Apart from :mod:`handlap.sim.lapping.poses`, so that whoever reads a scenario can ask whether its strokes
stay on the plate.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Pattern


def path_length(pattern: Pattern, length: float) -> float:
    """Sliding distance of one stroke [m] for a travel (or diameter) ``length`` [m].

    A one-way stroke cuts on the push only; the return is lifted.

    >>> path_length("straight", 0.1), path_length("one way", 0.1)
    (0.2, 0.1)
    """
    if pattern == "one way":
        return length
    if pattern == "circle":
        return float(np.pi * length)
    if pattern == "eight":
        return float(_eight(length)[0][-1])
    return 2.0 * length


def _eight(length: float) -> tuple[Array, Array, Array]:
    """Distance run, place (n, 2) and heading (n,) along an eight twice as long as wide."""
    t = np.linspace(0.0, 2.0 * np.pi, 721)
    place = np.column_stack([0.5 * length * np.sin(t), 0.25 * length * np.sin(2.0 * t)])
    slope_x, slope_y = 0.5 * length * np.cos(t), 0.5 * length * np.cos(2.0 * t)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))])
    return run, place, np.unwrap(np.arctan2(slope_y, slope_x))


def slants_of(pattern: Pattern) -> tuple[float, ...]:
    """Angles of a stroke's path to the way the operator looks; groups of rows take them in turn [rad]."""
    return (np.pi / 4.0, -np.pi / 4.0) if pattern == "diagonal" else (0.0,)


def on_path(
    pattern: Pattern, length: float, phase: Array, push: NDArray[np.bool_], quad: NDArray[np.int64]
) -> tuple[Array, Array, Array]:
    """Place (x, y) and heading of rows in the operator's frame, at phases 0…1 of a pass or round."""
    if pattern in ("circle", "eight"):
        # Both halves of a quad's pairs stand opposite one another on the round.
        round_at = (phase + np.where(push, 0.0, 0.5)) % 1.0
        if pattern == "circle":
            angle = 2.0 * np.pi * round_at
            return 0.5 * length * np.sin(angle), -0.5 * length * np.cos(angle), angle
        run, place, heading = _eight(length)
        at = round_at * run[-1]
        return (
            np.interp(at, run, place[:, 0]),
            np.interp(at, run, place[:, 1]),
            np.interp(at, run, heading),
        )
    along = length * (phase - 0.5)
    if pattern == "one way":
        return along, np.zeros_like(along), np.zeros_like(along)
    slants = np.array(slants_of(pattern))
    slant = slants[quad % slants.size]
    heading = slant + np.where(push, 0.0, np.pi)
    return along * np.cos(slant), along * np.sin(slant), heading


def places_on_path(pattern: Pattern, length: float, count: int) -> Array:
    """Places (count, 2) of a stroke about its middle, evenly over its way, as the operator sees it [m].

    >>> abs(places_on_path("straight", 1.0, 2)).tolist()
    [[0.25, 0.0], [0.25, 0.0]]
    """
    # A slanting stroke is a straight one turned.
    straight: Pattern = "straight" if pattern == "diagonal" else pattern
    phase = (np.arange(count) + 0.5) / count
    one = np.zeros(count, dtype=np.int64)
    return np.column_stack(on_path(straight, length, phase, one == 0, one)[:2])

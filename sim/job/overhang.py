"""How far a face reaches beyond its paper in the course of its strokes, and in how much of the work.

The one place that answers this, from the poses themselves: every pattern, every turn of part and operator,
the wrists' twist.  Strokes are taken without their sway, which is small and at random: a part that just
fits does not hang over.  The face is its rim; openings are taken for metal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array, Outline, inside_polygon
from handlap.sim.common.units import System, show
from handlap.sim.common.words import listed
from handlap.sim.job.paper_area import convex_hull, papered_area
from handlap.sim.job.scenario import Plate, Scenario, Strip, Strokes, Turning
from handlap.sim.job.stroke_path import on_path, slants_of

Side = Literal["left", "right", "near", "far"]

HANGS = 0.5e-3
"""Less than this is no overhang: nobody lays paper closer, and the sides of a round part, drawn as a polygon
of its area, stand out by up to 0.3 mm at 1.5 m [m]."""
PLACES = 360
"""Places along a pass or round at which poses are looked at."""
MOST_GAPS = 40
"""The widest gaps of the paper that are looked at."""
SIDES: tuple[Side, ...] = ("left", "right", "near", "far")
OUTWARD = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]])
"""The way out over each of them on the plate."""


@dataclass(frozen=True)
class Overhang:
    """What of a face leaves its paper.

    Attributes
    ----------
    reach : greatest distance beyond the outer edges of the paper [m]; 0: it stays inside
    sides : the edges over which it reaches that far, as the plate lies: x to the right, y to the far side
    gap : width of the widest gap between pieces of paper that it runs over [m]; 0: none
    share : of the work's poses, those in which some of the face is off the paper [-]
    at_rest : whether it reaches beyond them in the middle of the stroke already
    """

    reach: float = 0.0
    sides: tuple[Side, ...] = ()
    gap: float = 0.0
    share: float = 0.0
    at_rest: bool = False

    def __bool__(self) -> bool:
        return self.share > 0.0


@dataclass(frozen=True)
class _Poses:
    """Poses of a whole round of turns: place over the stroke's length (m, 2) [-], turn (m,) [rad] and the
    share of the work that each stands for (m,) [-]."""

    place: Array
    turn: Array
    share: Array


def overhang_of(scenario: Scenario) -> Overhang:
    """What of the face leaves the paper in the strokes of a scenario."""
    return find_overhang(
        scenario.part.outline,
        scenario.plate,
        scenario.paper.strips,
        scenario.strokes,
        scenario.turning,
        scenario.hands.twist,
    )


def find_overhang(
    face: Outline,
    plate: Plate,
    strips: Sequence[Strip] | None,
    strokes: Strokes,
    turning: Turning,
    twist: float = 0.0,
) -> Overhang:
    """What of a face leaves its paper; nothing, where no paper lies on the plate.

    Parameters
    ----------
    strips : of paper on the plate; None: it is papered all over
    twist : turn of the part about its middle during a pass [rad]
    """
    paper = papered_area(plate, strips)
    if not paper.size:
        return Overhang()
    poses = _poses(strokes, turning, twist)
    spare = _spare(face, paper, poses.turn)
    beyond = strokes.length * (poses.place @ OUTWARD.T) - spare
    off = np.any(beyond > HANGS, axis=1)
    most = beyond.max(axis=0)
    reach = float(most.max())
    gap = 0.0
    for rectangle in _gaps(paper):
        over = _over(face.rim, rectangle, strokes.length * poses.place, poses.turn)
        off |= over
        if over.any():
            gap = max(gap, _narrow(rectangle))
    hangs = reach > HANGS
    return Overhang(
        reach=reach if hangs else 0.0,
        sides=tuple(s for s, m in zip(SIDES, most, strict=True) if m > reach - HANGS) if hangs else (),
        gap=gap,
        share=min(1.0, float(poses.share @ off)),
        at_rest=bool(np.any(spare < -HANGS)),
    )


def longest_inside(
    face: Outline,
    plate: Plate,
    strips: Sequence[Strip] | None,
    strokes: Strokes,
    turning: Turning,
    twist: float = 0.0,
) -> float:
    """Longest travel, or diameter, at which no edge of the paper is passed [m]; negative if there is none.

    ``strokes`` : of any length; the rest as in :func:`find_overhang`.
    """
    paper = papered_area(plate, strips)
    if not paper.size:
        return math.inf
    poses = _poses(strokes, turning, twist)
    spare = _spare(face, paper, poses.turn)
    if spare.min() < -HANGS:
        return -math.inf
    outward = poses.place @ OUTWARD.T
    goes = outward > 1e-9
    return float(np.min(np.maximum(spare[goes], 0.0) / outward[goes]))


def overhang_words(found: Overhang, strips: Sequence[Strip] | None, system: System) -> str:
    """What leaves the paper, in one sentence; empty if nothing does.

    >>> overhang_words(Overhang(0.0853, ("left", "right"), 0.0, 0.774), None, "mm")[54:]
    ' up to 85.3 mm over the left and right edge of the plate'
    """
    if not found:
        return ""
    edge = "edge" if strips is not None else "edge of the plate"
    parts = []
    if found.reach > 0.0:
        far = show(found.reach, "length", system, 3)
        parts.append(f"up to {far} over the {listed(found.sides)} {edge}")
    if found.gap > 0.0:
        parts.append(f"over a gap {show(found.gap, 'length', system, 3)} wide")
    much = "all" if found.share > 0.995 else f"{max(1.0, 100.0 * found.share):.0f} %"
    return f"in {much} of the work some of the face is off the paper: {' and '.join(parts)}"


def _poses(strokes: Strokes, turning: Turning, twist: float) -> _Poses:
    """Poses along the strokes of a round of turns, as :func:`handlap.sim.lapping.poses.lay_out` has them."""
    # Both ends of a pass count, each for half a place; of a round they are the same place.
    phase = np.linspace(0.0, 1.0, PLACES + 1)
    weight = np.full(phase.size, 1.0 / PLACES)
    weight[[0, -1]] *= 0.5
    push = np.ones(phase.size, dtype=bool)
    # Nobody turns where turning.every is 0.
    states = turning.states[:1] if turning.every == 0 else turning.states
    places, turns = [], []
    for state in states:
        c, s = np.cos(strokes.direction + state.operator), np.sin(strokes.direction + state.operator)
        for way in range(len(slants_of(strokes.pattern))):
            slant = np.full(phase.size, way, dtype=np.int64)
            x, y, _ = on_path(strokes.pattern, 1.0, phase, push, slant)
            places.append(np.column_stack([c * x - s * y, s * x + c * y]))
            turns.append(state.part + twist * x)
    shares = np.tile(weight, len(places)) / len(places)
    return _Poses(np.vstack(places), np.concatenate(turns), shares)


def _spare(face: Outline, paper: Array, turn: Array) -> Array:
    """Room (m, 4) from a turned face at the middle of the plate to each outer edge of the paper [m]."""
    edges = np.array([-paper[:, 0].min(), paper[:, 2].max(), -paper[:, 1].min(), paper[:, 3].max()])
    hull = convex_hull(face.rim)
    turns, which = np.unique(turn, return_inverse=True)
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    x, y = c * hull[:, 0] - s * hull[:, 1], s * hull[:, 0] + c * hull[:, 1]
    reach = np.column_stack([-x.min(axis=1), x.max(axis=1), -y.min(axis=1), y.max(axis=1)])
    return np.asarray((edges - reach)[which.ravel()])


def _narrow(rectangle: Array) -> float:
    return float(min(rectangle[2] - rectangle[0], rectangle[3] - rectangle[1]))


def _gaps(paper: Array) -> Array:
    """Rectangles x0, y0, x1, y1 (g, 4) without paper inside the outer edges, the widest first [m]."""
    xs, ys = np.unique(paper[:, [0, 2]]), np.unique(paper[:, [1, 3]])
    middle_x, middle_y = 0.5 * (xs[1:] + xs[:-1]), 0.5 * (ys[1:] + ys[:-1])
    bare = np.ones((middle_x.size, middle_y.size), dtype=bool)
    for x0, y0, x1, y1 in paper:
        within_x, within_y = (middle_x > x0) & (middle_x < x1), (middle_y > y0) & (middle_y < y1)
        bare &= ~(within_x[:, None] & within_y)
    found: list[Array] = []
    for i, j in np.argwhere(bare):
        # Every bare cell grows as far as it can along y, then along x: the widest of those that hold it.
        low, high = j, j
        while low > 0 and bare[i, low - 1]:
            low -= 1
        while high < middle_y.size - 1 and bare[i, high + 1]:
            high += 1
        left, right = i, i
        while left > 0 and bare[left - 1, low : high + 1].all():
            left -= 1
        while right < middle_x.size - 1 and bare[right + 1, low : high + 1].all():
            right += 1
        found.append(np.array([xs[left], ys[low], xs[right + 1], ys[high + 1]]))
    if not found:
        return np.zeros((0, 4))
    gaps = np.unique(np.vstack(found), axis=0)
    wide = np.minimum(gaps[:, 2] - gaps[:, 0], gaps[:, 3] - gaps[:, 1])
    order = np.argsort(-wide)[:MOST_GAPS]
    return np.asarray(gaps[order[wide[order] > HANGS]])


def _over(rim: Array, rectangle: Array, place: Array, turn: Array) -> NDArray[np.bool_]:
    """Whether a face lies over a rectangle of the plate in each of some poses (m,).

    Either its rim crosses the rectangle, less a tolerance, or the rectangle lies inside the rim.
    """
    margin = 0.5 * min(HANGS, _narrow(rectangle))
    low, high = rectangle[:2] + margin, rectangle[2:] - margin
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]
    corners = np.stack([c * rim[:, 0] - s * rim[:, 1], s * rim[:, 0] + c * rim[:, 1]], axis=2)
    corners += place[:, None, :]
    found = np.zeros(turn.size, dtype=bool)
    near = np.flatnonzero(np.all((corners.min(axis=1) < high) & (corners.max(axis=1) > low), axis=1))
    start = corners[near]
    along = np.roll(start, -1, axis=1) - start
    # The part of an edge, 0…1 along it, that lies between the two sides in x and in y.
    along = np.where(np.abs(along) < 1e-15, 1e-15, along)
    first, last = (low - start) / along, (high - start) / along
    enters = np.minimum(first, last).max(axis=2)
    leaves = np.maximum(first, last).min(axis=2)
    crosses = np.any((enters < leaves) & (leaves > 0.0) & (enters < 1.0), axis=1)
    at = 0.5 * (low + high) - place[near]
    c, s = np.cos(turn[near]), np.sin(turn[near])
    holds = inside_polygon(rim, c * at[:, 0] + s * at[:, 1], c * at[:, 1] - s * at[:, 0])
    found[near] = crosses | holds
    return found

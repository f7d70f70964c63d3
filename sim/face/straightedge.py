"""A straightedge on a face: where it touches, the gaps under it, and its worst reading.

Heights are positive = proud, gaps positive = daylight, lengths along a line are counted from
its start.  All in metres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face import edge_kernels as kernels
from handlap.sim.job.job_readings import Held

HELD_CODE: dict[str, int] = {
    "rest": kernels.REST,
    "level": kernels.LEVEL,
    "tipped start": kernels.TIPPED_START,
    "tipped end": kernels.TIPPED_END,
}

INSET = 8e-3
"""How far inside the rim the standard lines run [m]."""

ROCKS_BELOW = 0.25
"""A straightedge whose two feet are nearer to each other than this share of its length rocks
and is held level instead (our convention; the fingers at its ends find it out)."""

LINE_POINTS = 50
NEAR_ENDS = (0.0, 0.5e-3, 3e-3, 6e-3, 12e-3, 18e-3)
NEAR_MIDDLE = (-6e-3, -2e-3, 0.0, 2e-3, 6e-3)
ON_RIM = 1e-4
"""Points no further than this off the metal still count as on it [m]."""
BESIDE_EDGE = 1e-5
"""How far from the edge of an opening the straightedge is taken to rest on it [m]."""


@dataclass(frozen=True)
class FaceLine:
    """A line on a face from ``start`` to ``end`` (u, v) [m]."""

    name: str
    start: tuple[float, float]
    end: tuple[float, float]

    @property
    def length(self) -> float:
        """Distance from start to end [m]."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


@dataclass(frozen=True)
class LineSet:
    """Lines sampled at points on metal, one run of points a line.

    Attributes
    ----------
    lines : the lines, in order
    points : places of all points (n, 2), line after line [m]
    position : distance of each point from its line's start (n,) [m]
    offsets : points of line i are ``offsets[i]:offsets[i + 1]``, (lines + 1,)
    """

    lines: tuple[FaceLine, ...]
    points: Array
    position: Array
    offsets: NDArray[np.int64]

    @cached_property
    def middle(self) -> Array:
        """Middle of every straightedge (lines,) [m]."""
        return 0.5 * self.length

    @cached_property
    def length(self) -> Array:
        """Length of every straightedge (lines,) [m]."""
        return np.array([line.length for line in self.lines])

    def edge_shape(self, bow: float | Array) -> Array:
        """Height (n,) of a straightedge's underside over the chord of its ends [m].

        ``bow`` is how far its middle stands off, of every line or one for each, + = hollow [m].
        """
        points = np.diff(self.offsets)
        share = self.position / np.repeat(self.length, points)
        of_point = np.repeat(np.broadcast_to(bow, len(self.lines)), points)
        return np.asarray(4.0 * of_point * share * (1.0 - share))

    def over_edge(self, heights: ArrayLike, bow: float | Array) -> Array:
        """Heights (members, n) at the points over the underside of a straightedge laid on them [m]."""
        h = np.atleast_2d(np.asarray(heights, dtype=float))
        # Every look at every face measures with a straight one.
        bent = np.any(np.asarray(bow) != 0.0)
        return np.ascontiguousarray(h - self.edge_shape(bow) if bent else h)


def on_metal(outline: Outline, points: Array) -> NDArray[np.bool_]:
    """Whether points (n, 2) [m] lie on metal or within 0.1 mm of it."""
    found = outline.contains(points)
    for turn in np.arange(8) * (np.pi / 4.0):
        if found.all():
            break
        found = found | outline.contains(points + ON_RIM * np.array([np.cos(turn), np.sin(turn)]))
    return found


def contact(
    position: ArrayLike, z: ArrayLike, held: Held = "rest", middle: float | None = None
) -> tuple[int, int]:
    """Indices of the two points of a profile that a straightedge touches.

    At rest these are the neighbours on the upper convex hull whose span holds the middle of
    the straightedge; tipped, the hull's edge at that end; held level, twice the one highest
    point over the chord through the face's ends.

    Parameters
    ----------
    position : distances along the line (n,), rising [m]
    z : heights (n,) [m]
    held : how it is held
    middle : middle of the straightedge [m]; without it the middle of the profile

    >>> contact([0.0, 0.1, 0.2, 0.3], [0.0, 2e-5, -1e-5, 3e-5])
    (1, 3)
    """
    s, h = _profile(position, z)
    at = 0.5 * (s[0] + s[-1]) if middle is None else middle
    stack = np.empty(s.size + 1, dtype=np.int64)
    i, j = kernels.find_contact(s, h, 0, s.size, at, HELD_CODE[held], stack)
    return int(i), int(j)


def gaps(position: ArrayLike, z: ArrayLike, held: Held = "rest", middle: float | None = None) -> Array:
    """Gaps (n,) between a straightedge and a profile, never negative [m].

    Parameters as for :func:`contact`.  Beyond its two feet the straightedge goes on in a
    straight line.

    >>> [round(float(g), 9) for g in gaps([0.0, 0.1, 0.2], [0.0, -4e-5, 0.0])]
    [0.0, 4e-05, 0.0]
    """
    s, h = _profile(position, z)
    i, j = contact(s, h, held, middle)
    slope = kernels.slope_of(s, h, 0, s.size, i, j)
    found: Array = h[i] + slope * (s - s[i]) - h
    return found


def _profile(position: ArrayLike, z: ArrayLike) -> tuple[Array, Array]:
    s = np.ascontiguousarray(position, dtype=float)
    h = np.ascontiguousarray(z, dtype=float)
    if s.ndim != 1 or s.shape != h.shape or s.size < 2:
        raise ValueError("a profile needs two or more positions and as many heights")
    if (np.diff(s) <= 0.0).any():
        raise ValueError("the positions of a profile must rise")
    return s, h


def _span(outline: Outline, start: Array, end: Array) -> tuple[float, float, float]:
    """First and last share of a line that is on metal, and how much of that span is metal."""
    share = np.linspace(0.0, 1.0, 801)
    metal = outline.contains(start + np.outer(np.clip(share, 1e-6, 1.0 - 1e-6), end - start))
    if not metal.any():
        return 0.0, 0.0, 0.0
    first, last = int(np.argmax(metal)), int(metal.size - 1 - np.argmax(metal[::-1]))
    return float(share[first]), float(share[last]), float(metal[first : last + 1].mean())


def _crossings(outline: Outline, start: Array, end: Array) -> Array:
    """Shares (k,) of a line just beside the edges of the openings it crosses, on the metal [-]."""
    along = end - start
    beside_edge = BESIDE_EDGE / float(np.hypot(*along))
    found = [np.empty(0)]
    for opening in outline.openings:
        first, last = opening - start, np.roll(opening, -1, axis=0) - start
        beside, next_beside = (along[0] * p[:, 1] - along[1] * p[:, 0] for p in (first, last))
        crosses = (beside < 0.0) != (next_beside < 0.0)
        part = beside[crosses] / (beside[crosses] - next_beside[crosses])
        at = first[crosses] + part[:, None] * (last[crosses] - first[crosses])
        share = at @ along / (along @ along)
        found += [share - beside_edge, share + beside_edge]
    share = np.concatenate(found)
    share = np.sort(share[(share >= 0.0) & (share <= 1.0)])
    return share[outline.contains(start + np.outer(share, along))] if share.size else share


def standard_lines(outline: Outline, inset: float = INSET) -> list[FaceLine]:
    """The six lines of the bench: two long, two cross, two diagonal.

    Long and cross lines run ``inset`` [m] inside the bounding box, from rim to rim; where that
    meets little metal (ears, rows of holes) they move inward until six tenths of the span is
    face.  Diagonals run between the corners of the box, as far as there is metal.

    >>> [line.name for line in standard_lines(Outline.rectangular(0.24, 0.14))][:3]
    ['long near', 'long far', 'cross left']
    """
    half = np.array([outline.length, outline.width]) / 2.0
    lines = []
    for name, axis, side in (
        ("long near", 1, -1.0),
        ("long far", 1, 1.0),
        ("cross left", 0, -1.0),
        ("cross right", 0, 1.0),
    ):
        first = min(inset, 0.15 * 2.0 * half[axis])
        best = (-1.0, np.zeros(2), np.zeros(2))
        for depth in np.linspace(first, 0.6 * half[axis], 12):
            start, end = -half, half.copy()
            start[axis] = end[axis] = side * (half[axis] - depth)
            low, high, metal = _span(outline, start, end)
            score = min((high - low) / 0.6, 1.0) * min(metal / 0.6, 1.0)
            if score > best[0] + 1e-9:
                best = (score, start + low * (end - start), start + high * (end - start))
            if score >= 1.0 - 1e-9:
                break
        lines.append(_line(name, best[1], best[2]))
    for name, side in (("diagonal rising", 1.0), ("diagonal falling", -1.0)):
        start, end = half * [-1.0, -side], half * [1.0, side]
        low, high, _ = _span(outline, start, end)
        lines.append(_line(name, start + low * (end - start), start + high * (end - start)))
    return [line for line in lines if line.length > 0.0]


def _line(name: str, start: Array, end: Array) -> FaceLine:
    return FaceLine(name, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def sample_line(
    outline: Outline,
    start: ArrayLike,
    end: ArrayLike,
    stations: ArrayLike = (),
    count: int = LINE_POINTS,
) -> tuple[Array, Array]:
    """Points of a line at which the face is looked at.

    About ``count`` points: even ones, all stations, close ones near both ends and the middle.
    Points over openings or beyond the rim are left out: they can neither carry the
    straightedge nor be felt.

    Parameters
    ----------
    outline : the face
    start, end : ends of the line (2,) [m]
    stations : distances from the start that must be among the points (k,) [m]

    Returns
    -------
    distances along the line (n,), rising, and places (n, 2) [m]
    """
    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    length = float(np.hypot(*(b - a)))
    if length <= 0.0:
        raise ValueError("a line needs two different ends")
    near = np.array([d for d in NEAR_ENDS if d < 0.3 * length])
    about = np.array([d for d in NEAR_MIDDLE if abs(d) < 0.2 * length])
    wanted = np.atleast_1d(np.asarray(stations, dtype=float))
    special = np.concatenate([wanted, near, length - near, 0.5 * length + about])
    # Ends of the metal itself carry the straightedge where a line starts or stops off it.
    low, high, _ = _span(outline, a, b)
    # So do the edges of openings, where a face that falls towards a bore carries nothing further on.
    special = np.concatenate([special, [low * length, high * length], _crossings(outline, a, b) * length])
    even = np.linspace(0.0, length, max(3, count - np.unique(special).size))
    # Stations come first, so that they are the ones kept where points nearly coincide.
    kept: list[float] = []
    for s in (*wanted, *special, *even):
        if 0.0 <= s <= length and all(abs(s - k) > 1e-5 * length for k in kept):
            kept.append(float(s))
    position = np.sort(np.array(kept))
    points = a + np.outer(position / length, b - a)
    metal = on_metal(outline, points)
    return position[metal], points[metal]


def sample_lines(
    outline: Outline, lines: Sequence[FaceLine] | None = None, stations: Sequence[ArrayLike] | None = None
) -> LineSet:
    """Sample several lines (the standard ones unless given) into one run of points.

    Its ``points`` can be followed by a grid and their heights handed to
    :func:`greatest_gap`.
    """
    chosen = standard_lines(outline) if lines is None else list(lines)
    found = [
        sample_line(outline, line.start, line.end, stations[i] if stations is not None else ())
        for i, line in enumerate(chosen)
    ]
    sizes = [len(position) for position, _ in found]
    return LineSet(
        lines=tuple(chosen),
        points=np.vstack([np.empty((0, 2)), *(points for _, points in found)]),
        position=np.concatenate([np.empty(0), *(position for position, _ in found)]),
        offsets=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
    )


def line_gaps(lines: LineSet, heights: ArrayLike, held: Sequence[str], bow: float | Array = 0.0) -> Array:
    """Gaps (members, n) under every line, held as stated line by line [m].

    Parameters
    ----------
    lines : the sampled lines, n points
    heights : heights (members, n) at ``lines.points`` [m]
    held : one of "rest", "level", "tipped start", "tipped end" a line
    bow : bow of the straightedge, of every line or one for each, + = hollow in the middle [m]
    """
    h = lines.over_edge(heights, bow)
    found = np.zeros_like(h)
    touched = np.zeros((h.shape[0], len(lines.lines), 2), dtype=np.int64)
    codes = np.array([HELD_CODE[name] for name in held], dtype=np.int64)
    kernels.batch_gaps(lines.position, lines.offsets, lines.middle, codes, h, found, touched)
    return found


def greatest_gap_by_line(lines: LineSet, heights: ArrayLike, bow: float = 0.0) -> Array:
    """Greatest gap (members, lines) under every line [m]; see :func:`greatest_gap`."""
    h = lines.over_edge(heights, bow)
    worst = np.zeros((h.shape[0], len(lines.lines)))
    kernels.batch_worst(lines.position, lines.offsets, lines.middle, lines.length, ROCKS_BELOW, h, worst)
    return worst


def greatest_gap(lines: LineSet, heights: ArrayLike, bow: float = 0.0) -> Array:
    """What the straightedge reads as its worst over all lines, for many faces at once [m].

    Each line is held as a person would: left to rest where it sits still on two points at
    least a quarter of its length apart (:data:`ROCKS_BELOW`); otherwise it rocks, and is held
    level, parallel to the chord through the face's ends.

    Parameters
    ----------
    lines : the sampled lines, n points
    heights : heights (members, n) or (n,) at ``lines.points`` [m], positive = proud
    bow : bow of the straightedge over each line's length, + = hollow in the middle [m]

    Returns
    -------
    greatest gap (members,) [m]
    """
    found: Array = greatest_gap_by_line(lines, heights, bow).max(axis=1, initial=0.0)
    return found

"""The paper under a part: where its wear is remembered, and over which of it every stroke goes.

Each spot of paper remembers the metal it has cut.  A spot of the face feels the mean of the paper's
cutting power over its stroke and over the sway of that stroke, and what it cuts lies there in the same
shares: reading and laying down are adjoint, so that the account closes.

    power at a spot = S·f,   laid on the paper = f ∘ Sᵀ·(cut/power)

S is even along the path of the stroke and normal, in both directions, about it.  It is what short steps
tend to, where the part meets every place of its stroke in turn: then pressure does not depend on how
well the paper cuts, and places may be averaged.  Where some of the stroke has no paper (edges, gaps) S
holds only what has: the mean over the paper that was met.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Pattern
from handlap.sim.job.stroke_path import PATTERNS, places_on_path
from handlap.sim.lapping import poses


class Nodes(NamedTuple):
    """How far apart the nodes of the paper's memory are: over the sway, for strokes along the plate's axes
    and for any other, whose path is shared between nodes; and, ``along`` strokes that all run along one axis,
    over their length where that is more [-].  What lies on the paper is smooth on these scales."""

    on_axes: float
    off_axes: float
    along: float


CLOSE = Nodes(1.0, 0.7, 0.0)
"""For one lap, which is computed to a tenth of a micrometre."""
APART = Nodes(1.3, 1.3, 0.05)
"""For laps of many, whose rows are cheaper by a quarter for it.  Against nodes half as far apart as the sway
figures err by 0.1 µm, the deepest spot by 0.2 (170 µm deep); a raster that is moved moves the worst spot of
the map by 0.2 µm."""
SPLINE = 0.25
"""Variance that sharing between nodes by quadratic B-splines adds, over the square of their spacing."""
LINEAR = 1.0 / 6.0
"""Variance that sharing the places of a path between two nodes adds, on the mean over where they stand."""
SHARP = 0.2
"""A sway of less than this is not laid out on nodes: sharing between nodes blurs as much [nodes]."""
MOST_NUMBERS = 3_000_000
"""Numbers that all fields over the raster of one lap may hold together (24 MB, and as many laps at once as
there are threads); with more, nodes stand further apart.  Only a part that is swept over some hundred times
its own area comes to it, and hardly wears any paper."""
FIELDS, FIELDS_A_STANDING = 13, 6
"""Fields over the raster while a stretch of strokes is worked, the wear before and after it among them; and
those that there are for every way in which the part stands and runs."""
NODES_ABOUT = 28
"""Nodes of a side of the raster, at most, that do not depend on their spacing."""
PLACES = 2048
"""Places of a path that are shared out over the nodes."""
KEPT = 4096
"""Bells and strokes on nodes that are kept: every way of working laps the same members."""


@dataclass(frozen=True)
class PaperMemory:
    """The raster of the paper's memory, and the strokes over it.

    Attributes
    ----------
    x0, y0 : lowest node [m]; steps : spacing along x and along y (2,) [m]
    shape : nodes (ny, nx)
    on_sheet : share of every node that has paper (ny, nx); no nodes where all that is met has
    turns : cosine and sine of the part's turn (k, 2), for each way in which it stands and runs
    lines : half lengths (k, 2) along x and y of strokes that run along one of them, else zeros [nodes]
    taps, tap_at : nodes of other paths about the middle of the plate and the share of the stroke at each
        (t, 3), those of standing k from ``tap_at[k]`` to ``tap_at[k + 1]``
    bell_x, bell_y : weights of the sway (b + 1,) along x and along y, from the middle outwards
    reach : how far from the middle of the plate the part gets, along x and y (2,) [m]
    """

    x0: float
    y0: float
    steps: Array
    shape: tuple[int, int]
    on_sheet: Array
    turns: Array
    lines: Array
    taps: Array
    tap_at: NDArray[np.int64]
    bell_x: Array
    bell_y: Array
    reach: Array


def on_axes(pattern: Pattern, angles: Array) -> bool:
    """Whether strokes at these angles on the plate (k,) [rad] all run along one of its axes."""
    quarters = np.asarray(angles) / (np.pi / 2.0)
    straight = PATTERNS[pattern].round is None
    return straight and bool(np.all(np.abs(quarters - np.rint(quarters)) < 1e-6))


def bell_of(sway: float, step: float, added: float = SPLINE) -> Array:
    """Weights (b + 1,) of a normal sway [m] on nodes, from its middle outwards.

    ``added`` is the variance that sharing between nodes adds by itself [nodes²].  With the tail cut off, and
    on nodes as far apart as the sway, a normal law still has to have its variance.

    >>> bell_of(0.0, 1.0).tolist()
    [1.0]
    """
    left = _left_to_lay(sway, step, added)
    return np.array(_bell(math.sqrt(left))) if left >= SHARP**2 else np.ones(1)


def _left_to_lay(sway: float, step: float, added: float) -> float:
    """Variance of a sway [m] that sharing between nodes does not add by itself [nodes²]; negative where it
    adds more.  A bell lays it out from ``SHARP``² on."""
    return (sway / step) ** 2 - added


@lru_cache(KEPT)
def _bell(left: float) -> tuple[float, ...]:
    """Weights of a normal law of this deviation [nodes] on nodes, from its middle outwards."""
    at = np.arange(int(np.ceil(poses.SWAY_TAIL * left)) + 1)

    def weights(deviation: float) -> Array:
        found = np.exp(-0.5 * (at / deviation) ** 2)
        return np.asarray(found / (2.0 * found.sum() - found[0]))

    def too_wide(deviation: float) -> float:
        return float(2.0 * weights(deviation) @ at**2 - left**2)

    return tuple(weights(float(brentq(too_wide, 0.1 * left, 10.0 * left))).tolist())


@lru_cache(KEPT)
def line_of(half: float) -> float:
    """Half length [nodes] at which a stroke counted on nodes is as widely spread as one of this half length.

    >>> line_of(0.0), round(line_of(20.0), 2)
    (0.5, 19.99)
    """

    def too_wide(counted: float) -> float:
        whole = math.floor(counted - 0.5)
        squares = whole * (whole + 1) * (2 * whole + 1) // 6
        part = (counted - 0.5 - whole) * (whole + 1) ** 2
        return (squares + part) / counted - half**2 / 3.0

    return 0.5 if half <= 0.0 else float(brentq(too_wide, 0.5, half + 1.0))


def _taps(places: Array) -> Array:
    """Nodes and shares (t, 3) of a path of places (n, 2) [nodes], each shared between the four about it."""
    low = np.floor(places).astype(np.int64)
    beyond = places - low
    reach = int(np.abs(low).max()) + 1
    field = np.zeros((2 * reach + 1, 2 * reach + 1))
    for right, up in product((0, 1), (0, 1)):
        along = beyond[:, 0] if right else 1.0 - beyond[:, 0]
        across = beyond[:, 1] if up else 1.0 - beyond[:, 1]
        np.add.at(field, (low[:, 1] + up + reach, low[:, 0] + right + reach), along * across / len(places))
    rows, columns = np.nonzero(field)
    return np.column_stack([columns - reach, rows - reach, field[rows, columns]])


def _path(pattern: Pattern, length: float, angle: float, steps: Array, sway: float) -> tuple[Array, Array]:
    """Half lengths (2,) of a stroke along x or y [nodes], or nodes and shares (t, 3) of any other."""
    if on_axes(pattern, np.array([angle])):
        line, axis = np.zeros(2), axis_of(angle)
        half = 0.5 * length / steps[axis]
        # What of the sway the bell leaves out, or sharing between nodes adds to it, the stroke makes up.
        left = _left_to_lay(sway, steps[axis], SPLINE)
        beside = left if left < SHARP**2 else 0.0
        line[axis] = line_of(float(np.sqrt(max(half**2 + 3.0 * beside, 0.0))))
        return line, np.zeros((0, 3))
    c, s = np.cos(angle), np.sin(angle)
    places = places_on_path(pattern, length, PLACES) @ np.array([[c, s], [-s, c]])
    return np.zeros(2), _taps(places / steps)


def axis_of(angle: float) -> int:
    """Axis of the plate, x or y, along which a stroke at an angle on it [rad] runs."""
    return round(angle / (np.pi / 2.0)) % 2


def _no_closer(half_part: Array, angles: Array, pattern: Pattern, length: float, sway: float) -> float:
    """Spacing [m] of nodes below which all fields of a lap could hold more than ``MOST_NUMBERS``.

    Parameters
    ----------
    half_part : half sides (2,) of all that the part covers in the middle of its stroke [m]
    angles : of the strokes on the plate (k,) [rad]
    pattern, length, sway : the stroke [m]
    """
    along, across = np.abs(places_on_path(pattern, length, PLACES)).max(axis=0)
    c, s = np.abs(np.cos(angles)), np.abs(np.sin(angles))
    half_path = np.array([np.max(along * c + across * s), np.max(along * s + across * c)])
    # As in lay_memory: the path twice, the tail of the sway twice, and nodes about them.
    side = 2.0 * (half_part + 2.0 * half_path + 2.0 * poses.SWAY_TAIL * sway)
    nodes = MOST_NUMBERS / (FIELDS + FIELDS_A_STANDING * len(angles))
    # (a/step + n)·(b/step + n) = nodes
    room, around = max(nodes, 4.0 * NODES_ABOUT**2) - NODES_ABOUT**2, NODES_ABOUT * side.sum()
    return float((around + math.sqrt(around**2 + 4.0 * room * side.prod())) / (2.0 * room))


def lay_memory(
    standings: Array,
    *,
    pattern: Pattern,
    length: float,
    sway: float,
    u: Array,
    v: Array,
    cell: float,
    strips: Array,
    shift: tuple[float, float] = (0.0, 0.0),
    nodes: Nodes = APART,
) -> PaperMemory:
    """Lay the raster of the paper's memory under all that the strokes meet.

    Parameters
    ----------
    standings : ways (k, 2) in which the part stands, its turn on the plate, and the angle of its path [rad]
    pattern, length : the stroke [m]
    sway : deviation of strokes beside their line and past their ends [m]
    u, v, cell : points of the face (n,) and its cell [m]
    strips : paper on the plate (s, 4) [m]
    shift : nodes by which the raster is moved; the result must not feel it
    nodes : how far apart they are; never closer than cells, which would miss some
    """
    axes = (
        {axis_of(angle) for angle in standings[:, 1].tolist()} if on_axes(pattern, standings[:, 1]) else set()
    )
    turns = np.column_stack([np.cos(standings[:, 0]), np.sin(standings[:, 0])])
    u_reach, v_reach = float(np.max(np.abs(u))), float(np.max(np.abs(v)))
    half_part = np.max(np.abs(turns) @ np.array([[u_reach, v_reach], [v_reach, u_reach]]), axis=0)
    least = _no_closer(half_part, standings[:, 1], pattern, length, sway)
    steps = np.full(2, max((nodes.on_axes if axes else nodes.off_axes) * sway, cell, least))
    if len(axes) == 1:
        # All strokes run alike: along them the paper wears as smoothly as the stroke is long.
        steps[axes.pop()] = max(float(steps[0]), nodes.along * length)
    paths = [_path(pattern, length, float(angle), steps, sway) for _, angle in standings]
    lines, taps = np.array([line for line, _ in paths]), [tap for _, tap in paths]
    added = SPLINE + (LINEAR if any(map(len, taps)) else 0.0)
    bell_x, bell_y = (bell_of(sway, float(step), added) for step in steps)
    nodes_out = np.vstack([lines, *(np.abs(tap[:, :2]) for tap in taps)]).max(axis=0)
    half_path = steps * nodes_out
    # Spreading reads that far beyond what it writes.
    half = half_part + 2.0 * half_path + steps * (2 * np.array([bell_x.size, bell_y.size]) + 4)
    nx, ny = (2 * np.ceil(half / steps).astype(int) + 1).tolist()
    x0, y0 = (steps * (np.array(shift) - 0.5 * (np.array([nx, ny]) - 1))).tolist()
    met = half_part + half_path + poses.SWAY_TAIL * sway
    whole = np.any(np.all(strips[:, :2] <= -met, axis=1) & np.all(strips[:, 2:] >= met, axis=1))
    return PaperMemory(
        x0=x0,
        y0=y0,
        steps=steps,
        shape=(ny, nx),
        on_sheet=np.zeros((0, 0))
        if whole
        else _on_sheet(x0 + steps[0] * np.arange(nx), y0 + steps[1] * np.arange(ny), steps, strips),
        turns=turns,
        lines=lines,
        taps=np.vstack(taps),
        tap_at=np.concatenate([[0], np.cumsum([len(tap) for tap in taps])]).astype(np.int64),
        bell_x=bell_x,
        bell_y=bell_y,
        reach=met,
    )


def _on_sheet(x: Array, y: Array, steps: Array, strips: Array) -> Array:
    """Share of every node's oblong (ny, nx) that has paper, of nodes at x (nx,) and y (ny,), ``steps`` (2,)
    apart [m]."""
    total = np.zeros((y.size, x.size))
    for x0, y0, x1, y1 in strips:
        along, across = (
            np.maximum(
                np.clip((at - low) / step + 0.5, 0, 1) + np.clip((high - at) / step + 0.5, 0, 1) - 1.0, 0.0
            )
            for at, step, low, high in ((x, steps[0], x0, x1), (y, steps[1], y0, y1))
        )
        total += across[:, None] * along
    return np.minimum(total, 1.0)

"""What sheets draw of a face and of the way it is turned, on paper and as SVG by the same lines.

Lengths in mm of the sheet, x to the right and y down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from handlap.cli.drawing.colours import OPENING
from handlap.cli.reports.pdf_page import Page, text_width
from handlap.cli.sheets.sheet_svg import Svg
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.job.scenario import TurnState

Canvas = Page | Svg
Box = tuple[float, float, float, float]
"""Left, upper, right and lower edge."""


# ---- names beside stations

RADII = (3.0, 3.8, 4.8, 6.0, 7.4, 9.0)
"""Distances at which the name of a station may stand from it [mm]."""
AROUND = np.pi * np.arange(16) / 8.0
CROSSED, FAR = 6.0, 1.0
"""What a line through a name costs, and a millimetre of distance; nothing lies on a name or dot."""


def beside(places: Array, names: Sequence[str], size: float, taken: list[Box], lines: Array) -> list[Box]:
    """Where the names of stations stand: on no dot and no other name, and clear of lines where there is room.

    Parameters
    ----------
    places : stations (n, 2)
    size : of the letters [pt]
    taken : what is there already; the names are added to it
    lines : ends (m, 2, 2) of the lines that no name should cross
    """
    found = []
    high = 0.36 * size
    radius, turn = (grid.ravel() for grid in np.meshgrid(RADII, AROUND, indexing="ij"))
    ways = np.column_stack([np.cos(turn), np.sin(turn)])
    least, most = lines.min(axis=1), lines.max(axis=1)
    for (x, y), name in zip(places, names, strict=True):
        wide = text_width(name, size) + 0.6
        # As far off sideways as up or down, whatever the length of the name.
        middle = [x, y] + radius[:, None] * ways
        middle[:, 0] += 0.5 * (wide - high) * ways[:, 0]
        boxes = np.hstack([middle - [wide / 2, high / 2], middle + [wide / 2, high / 2]])
        cost = FAR * radius + 0.3 * np.abs(ways[:, 0] * ways[:, 1])
        cost[_overlap(boxes, np.array(taken).reshape(-1, 4)).any(axis=1)] = math.inf
        # Hardly any line comes near this name.
        near = (least < boxes[:, 2:].max(axis=0)) & (most > boxes[:, :2].min(axis=0))
        cost += CROSSED * crosses(boxes, lines[near.all(axis=1)]).sum(axis=1)
        left, upper, right, lower = map(float, boxes[int(np.argmin(cost))])
        box = (left, upper, right, lower)
        taken.append(box)
        found.append(box)
    return found


def _overlap(boxes: Array, others: Array) -> NDArray[np.bool_]:
    """Which of boxes (n, 4) lie on which of others (k, 4)."""
    a, b = boxes[:, None, :], others[None, :, :]
    both: NDArray[np.bool_] = np.all((a[..., :2] < b[..., 2:]) & (b[..., :2] < a[..., 2:]), axis=2)
    return both


def crosses(boxes: Array, lines: Array) -> NDArray[np.bool_]:
    """Which of lines (m, 2, 2) go through which of boxes (n, 4) (Liang and Barsky's clipping).

    >>> crosses(np.array([[0.0, 0.0, 2.0, 1.0]]), np.array([[(-1, 0.5), (3, 0.5)], [(-1, 1.5), (3, 1.5)]]))
    array([[ True, False]])
    """
    start, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    # A line along an axis is turned by what no eye sees, so that it meets both sides of a box.
    way = np.where(np.abs(way) < 1e-12, 1e-12, way)
    low = (boxes[:, None, :2] - start) / way
    high = (boxes[:, None, 2:] - start) / way
    near, far = np.minimum(low, high), np.maximum(low, high)
    # Two at a time, several times quicker than along an axis of two.
    enters = np.maximum(np.maximum(near[..., 0], near[..., 1]), 0.0)
    leaves = np.minimum(np.minimum(far[..., 0], far[..., 1]), 1.0)
    found: NDArray[np.bool_] = enters < leaves
    return found


def rims(outline: Outline, place: Array) -> Array:
    """The edges (m, 2, 2) of rim and openings, each corner placed by ``place`` (2, 3) of x, y and 1."""
    edges = []
    for polygon in (outline.rim, *outline.openings):
        points = polygon @ place[:, :2].T + place[:, 2]
        edges.append(np.stack([points, np.roll(points, -1, axis=0)], axis=1))
    return np.concatenate(edges)


def draw_names(
    canvas: Canvas, places: Array, names: Sequence[str], boxes: Sequence[Box], size: float, bold: bool = False
) -> None:
    """Names in their boxes, with a thin line to a station that is some way off."""
    for (x, y), name, box in zip(places, names, boxes, strict=True):
        at = np.array([0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])])
        near = np.clip([x, y], box[:2], box[2:])
        if math.hypot(near[0] - x, near[1] - y) > 2.6:
            canvas.line(x, y, near[0], near[1], 0.25)
        canvas.box(box[0], box[1], box[2] - box[0], box[3] - box[1], 0.0, "white")
        canvas.text(at[0], at[1], name, size, bold=bold, align="center", middle=True)


# ---- the face of a job sheet

SIDES = 8.0
"""Room round a face for the names of its sides [mm]."""
BESIDE = 7.0
"""… and so much more at its ends, where names lie along: in wide letters of a browser, too [mm]."""


class Pens(NamedTuple):
    """How a face is drawn: lines [pt], radius of a station [mm], letters of sides and stations [pt]."""

    rim: float = 1.2
    opening: float = 0.4
    line: float = 0.4
    dot: float = 0.7
    sides: float = 8.5
    names: float = 8.5


JOB_PENS = Pens()


def face_size(outline: Outline, wide: float, high: float) -> float:
    """Millimetres of the sheet per metre of the face, so that face and sides fit into a room [mm/m]."""
    return min((wide - 2.0 * (SIDES + BESIDE)) / outline.length, (high - 2.0 * SIDES) / outline.width, 2000.0)


def draw_face(
    canvas: Canvas,
    outline: Outline,
    lines: Sequence[MeasuringLine],
    x: float,
    y: float,
    scale: float,
    *,
    first: Sequence[str] | None = None,
    deepest: tuple[float, float] | None = None,
    pens: Pens = JOB_PENS,
) -> None:
    """The face with lines and stations, its sides and its deepest spot.

    Parameters
    ----------
    x, y : middle of the face
    scale : as :func:`face_size` has it
    first : stations to try first, named in bold; of the others the first and the last of each line.  None:
        all are named, and lines have arrows, for it is there that the straightedge is laid
    deepest : where most comes off (u, v) [m]
    """
    place = scale * np.array([[1.0, 0.0, x / scale], [0.0, -1.0, y / scale]])

    def put(points: Array) -> Array:
        return np.atleast_2d(points) @ place[:, :2].T + place[:, 2]

    canvas.polygon(put(outline.rim), pens.rim)
    for opening in outline.openings:
        canvas.polygon(put(opening), pens.opening, OPENING)
    laid = np.array([put(np.array([line.start, line.end])) for line in lines]).reshape(-1, 2, 2)
    for line, (start, end) in zip(lines, laid, strict=True):
        canvas.line(start[0], start[1], end[0], end[1], pens.line)
        if first is None:
            _arrow(canvas, line, start, end)
    dots = [(line.label(i), spot) for line in lines if line.at for i, spot in enumerate(put(line.places))]
    half = pens.dot
    taken = [(a - half, b - half, a + half, b + half) for _, (a, b) in dots]
    draw_sides(canvas, outline, x, y, scale, pens.sides, taken)
    for name, (a, b) in dots:
        canvas.disc(a, b, half)
        if name in (first or ()):
            canvas.disc(a, b, 1.9, "none", 1.0)
            taken.append((a - 2.2, b - 2.2, a + 2.2, b + 2.2))
    if deepest is not None:
        (a, b), arm = put(np.array(deepest))[0], 2.0
        canvas.line(a - arm, b - arm, a + arm, b + arm, 1.6)
        canvas.line(a - arm, b + arm, a + arm, b - arm, 1.6)
        taken.append((a - arm, b - arm, a + arm, b + arm))
    ends = {line.label(i) for line in lines if line.at for i in (0, len(line.at) - 1)}
    lines_on_it = np.concatenate([laid, rims(outline, place)])
    every = {name for name, _ in dots} if first is None else ends
    for chosen, bold in ((set(first or ()), True), (every - set(first or ()), False)):
        names = [name for name, _ in dots if name in chosen]
        places = np.array([spot for name, spot in dots if name in chosen]).reshape(-1, 2)
        boxes = beside(places, names, pens.names, taken, lines_on_it)
        draw_names(canvas, places, names, boxes, pens.names, bold)


def _arrow(canvas: Canvas, line: MeasuringLine, start: Array, end: Array) -> None:
    """Which way a line is read: a head between its first two stations, where no dot hides it."""
    share = 0.5 * (line.at[0] + line.at[1]) / line.length if len(line.at) > 1 else 0.3
    head = start + share * (end - start) + 1.1 * (end - start) / np.hypot(*(end - start))
    canvas.arrow(start[0], start[1], head[0], head[1])


def draw_sides(
    canvas: Canvas, outline: Outline, x: float, y: float, scale: float, size: float, taken: list[Box]
) -> None:
    """The names of the four sides round a face whose middle is at (x, y); they are added to ``taken``."""
    wide, high = 0.5 * scale * outline.length, 0.5 * scale * outline.width
    tall = 0.36 * size
    for words, at, align in (
        ("far side", (x, y - high - SIDES + 0.5 * tall), "center"),
        ("near side", (x, y + high + SIDES - 0.5 * tall), "center"),
        ("left", (x - wide - SIDES + 2.0, y), "right"),
        ("right", (x + wide + SIDES - 2.0, y), "left"),
    ):
        canvas.text(*at, words, size, align=align, middle=True)
        room = text_width(words, size)
        left = at[0] - {"left": 0.0, "center": 0.5, "right": 1.0}[align] * room
        taken.append((left - 0.5, at[1] - tall / 2, left + room + 0.5, at[1] + tall / 2))


# ---- the round of turns

MOST_SKETCHES = 4


def draw_turns(
    canvas: Canvas,
    outline: Outline,
    states: Sequence[TurnState],
    direction: float,
    x: float,
    y: float,
    wide: float,
    high: float,
    *,
    size: float = 8.5,
) -> None:
    """The round of turns from above, in small sketches: plate, part with one end marked, where one stands.

    Parameters
    ----------
    direction : of the strokes from the part's long axis in its first state [rad]
    x, y, wide, high : the room, two sketches beside each other
    """
    shown = list(states[:MOST_SKETCHES])
    rows = -(-len(shown) // 2)
    cell = wide / min(2, len(shown)), high / rows
    for k, state in enumerate(shown):
        left, top = x + (k % 2) * cell[0], y + (k // 2) * cell[1]
        _sketch(canvas, outline, state, direction, (left, top, *cell), f"{k + 1}", size)


def _sketch(
    canvas: Canvas,
    outline: Outline,
    state: TurnState,
    direction: float,
    room: Box,
    number: str,
    size: float,
) -> None:
    left, top, wide, high = room
    canvas.text(left, top, number, size, bold=True)
    man = 2.6
    plate = wide - 2 * man - 8.0, min(high - 2 * man - 3.0, wide - 2 * man - 8.0)
    middle = np.array([left + 0.5 * wide + 1.0, top + 0.5 * high])
    canvas.box(middle[0] - plate[0] / 2, middle[1] - plate[1] / 2, plate[0], plate[1], 0.5)
    # The same size however it lies, so that what turns is seen to be one part.
    reach = 0.7 * min(plate) / max(1e-9, math.hypot(outline.length, outline.width))
    reach = max(reach, 0.55 * min(plate[0] / outline.length, plate[1] / max(outline.length, outline.width)))
    cos, sin = math.cos(state.part), math.sin(state.part)
    turned = np.array([[cos, -sin], [sin, cos]]) * reach
    flip = np.array([1.0, -1.0])
    canvas.polygon(middle + (outline.rim @ turned.T) * flip, 0.9, OPENING)
    mark = np.array([0.36 * outline.length, 0.0])
    a, b = middle + (turned @ mark) * flip
    canvas.disc(a, b, 0.9)
    facing = direction + state.operator
    look = np.array([math.cos(facing), -math.sin(facing)])
    # At the edge of the plate that the strokes start from.
    out = min(0.5 * plate[i] / abs(look[i]) for i in (0, 1) if abs(look[i]) > 1e-6) + man + 0.6
    stand = middle - out * look
    canvas.disc(stand[0], stand[1], 0.6 * man, "white", 0.9)
    tip = stand + (0.6 * man + 3.6) * look
    canvas.line(stand[0] + 0.6 * man * look[0], stand[1] + 0.6 * man * look[1], tip[0], tip[1], 0.9)
    canvas.arrow(stand[0], stand[1], tip[0], tip[1], 2.0)

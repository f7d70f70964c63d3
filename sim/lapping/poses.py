"""From strokes, hands and turns to a list of poses.

Three frames: the plate; the operator, who looks along the stroke, stands turned by θo on the
plate and to whom the stroke and the hands' offsets belong; the part, turned by θp, to which
the centre of weight belongs.  Where the resultant acts on the face:

    e = [F·(b + wobble) + G·r_cg] / (F + G) + µ·a·(direction of motion)

A list of poses is built in two halves: :func:`lay_out` gives what is the same for every
member of an ensemble (places, directions, events, scores of the wobble), :func:`load_poses`
adds the forces of one pair of hands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from handlap.sim.common.outline import Array
from handlap.sim.common.sobol import scrambled_sobol
from handlap.sim.job.scenario import Pattern, TurnState
from handlap.sim.job.stroke_path import PATTERNS, on_path, path_length, slants_of
from handlap.sim.lapping import column_kernels

ROWS_PER_QUAD = 4
"""Push, pull, pull, push: the order alternates, so that two rows of a step are second order."""
GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
SWAY_TAIL = 2.5
"""Deviations that strokes run beside their line at the most [-]."""
OFTEN = 4.0
"""Brushings and sheets in one group of rows from which they are taken together, see :func:`slowed`."""
BRUSHINGS_A_SHEET = 8
"""… and that many brushings of a sheet stay apart where sheets are taken together, too."""


@dataclass(frozen=True)
class Grip:
    """One pair of hands, as numbers [m, N]; signs in the operator's frame.

    ``swell`` [-]: heavier by this share at the end of each pass than in its middle, lighter at its start.
    """

    press: float
    height: float
    bias_along: float
    bias_across: float
    wobble_along: float
    wobble_across: float
    push_over_pull: float
    swell: float = 0.0
    rocking: float = 0.0


@dataclass(frozen=True)
class Place:
    """Where work stands between two strokes; what follows begins there.

    ``strokes`` done, from which brushings and sheets are counted; ``groups`` of rows worked, the place in
    the low-discrepancy sequence; ``state``: which of the turning's the part is in, ``since`` so many
    strokes.
    """

    strokes: int = 0
    groups: int = 0
    state: int = 0
    since: int = 0


START = Place()


@dataclass(frozen=True)
class Layout:
    """What the poses of all members share; rows (m,) in the order they are worked.

    Attributes
    ----------
    x, y : middle of the part on the plate (m,) [m]
    turn : turn of the part on the plate (m,) [rad]
    facing : direction the operator looks, in the frame of the part (m,) [rad]
    heading : direction of motion, in the frame of the part (m,) [rad]
    lean : +1 while pushing straight away, −1 while pulling, between in curves (m,) [-]
    progress : place in the stroke along the operator's view, −1 near to +1 far (m,) [-]
    spin : turn of the part per sliding distance (m,) [rad/m]
    z_along, z_across : standard normal scores of the wobble (m,) [-]
    slide : sliding distance of the row (m,) [m]
    kinds, events : see :func:`handlap.sim.lapping.march_kernels.march`
    ends : strokes done when each row is finished (m,) [-]
    snapshot_strokes : strokes done at each snapshot [-]
    slower : how many times slower paper loads and dulls in these rows than in truth (2,), see :func:`slowed`
    standing, standings : how the part stands and runs, row by row (m,), one of (k, 2): its turn on the
        plate and the angle of its path there [rad], for the memory of the paper
    states : how many ways of lying the turning goes through [-]
    begin, end : where work stood before the first row, and stands after the last
    """

    x: Array
    y: Array
    turn: Array
    facing: Array
    heading: Array
    lean: Array
    progress: Array
    spin: Array
    z_along: Array
    z_across: Array
    slide: Array
    kinds: NDArray[np.int64]
    events: NDArray[np.int64]
    ends: Array
    snapshot_strokes: tuple[int, ...]
    slower: tuple[int, int]
    standing: NDArray[np.int64]
    standings: Array
    states: int
    begin: Place
    end: Place


def _standings(
    pattern: Pattern, direction: float, states: Sequence[TurnState]
) -> tuple[Array, NDArray[np.int64]]:
    """Ways (k, 2) in which the part stands (turn) and its path lies (slant), and which of them every state
    and slant has (states, slants).

    All ways of the schedule are there, whichever are met: work that goes on finds the same paper.
    """
    slants = np.array(slants_of(pattern))
    turn = np.repeat([s.part for s in states], slants.size)
    slant = np.add.outer(direction + np.array([s.operator for s in states]), slants).ravel()
    # A path looks alike after half a turn, a circle after any.
    angle = np.zeros_like(slant) if PATTERNS[pattern].alike else np.mod(slant + 1e-9, np.pi) - 1e-9
    ways = np.round(np.column_stack([np.mod(turn + 1e-9, 2.0 * np.pi) - 1e-9, angle]), 9)
    known, which = np.unique(ways, axis=0, return_inverse=True)
    way = np.asarray(which, dtype=np.int64).reshape(len(states), slants.size)
    return np.asarray(known + 0.0, dtype=float), way


def boundaries(strokes: int, *intervals: tuple[int | None, int], at: Sequence[int] = ()) -> list[int]:
    """Stroke counts at which something happens, 0 and ``strokes`` included.

    Parameters
    ----------
    intervals : strokes from one to the next (None or 0: never), and those that count before the first stroke
    at : others

    >>> boundaries(100, (40, 0), (50, 20), at=(50,))
    [0, 30, 40, 50, 80, 100]
    """
    found = {0, strokes, *(s for s in at if 0 < s < strokes)}
    for every, before in intervals:
        if every:
            found.update(range(every - before % every, strokes, every))
    return sorted(found)


@lru_cache(maxsize=64)
def _draws(seed: int, power: int) -> Array:
    """The first 2^power points (n, 5) of a scrambled low-discrepancy sequence; a longer one begins alike."""
    return scrambled_sobol(5, power, seed)


def _golden_places(seed: int, number: NDArray[np.int64]) -> Array:
    """Places of both pairs of groups in the stroke (groups, 2) [-]: half a stroke apart, from one group to
    the next by the golden ratio, begun where the low-discrepancy sequence of the seed begins."""
    first = (_draws(seed, 1)[0, 2] + GOLDEN * number) % 1.0
    return np.column_stack([first, (first + 0.5) % 1.0])


def _round_of(begin: Place, states: int, turn_every: int | None) -> tuple[int | None, int]:
    """Strokes between turns (None: it is not turned), and strokes that count of the turning round."""
    if states == 1 or not turn_every:
        return None, 0
    return turn_every, begin.state * turn_every + min(begin.since, turn_every)


def _power_of_two(number: float) -> int:
    """The greatest power of two that is no more than a number; 1 at the least."""
    return 1 << max(0, int(np.floor(np.log2(max(number, 1.0)))))


def slowed(quad_strokes: float, brush_every: int | None, sheet_every: int | None) -> tuple[int, int]:
    """How many times slower paper may load, and dull, so that its events need no rows of their own.

    Where paper is brushed several times while one group of rows lasts, one round of loading and brushing is
    worked for several: the paper loads so many times slower, and is brushed as many times more rarely.  What
    the face sees of it is the same but for how soon the rounds settle, and that comes nearer to the truth
    with every halving of the groups: at a quarter of an interval nothing is slowed.  Sheets likewise, which
    are slowed in loading and dulling alike.  Powers of two, so that it rounds nothing.

    >>> slowed(16.0, 20, 100), slowed(16.0, 1, 100), slowed(16.0, 1, 4), slowed(16.0, None, 3)
    ((1, 1), (8, 1), (4, 4), (4, 4))
    """
    brush, sheet = (
        _power_of_two(quad_strokes / every) if every and quad_strokes >= OFTEN * every else 1
        for every in (brush_every, sheet_every)
    )
    if not sheet_every:
        return brush, 1
    rounds = sheet_every / (brush_every or np.inf)
    return min(max(brush, sheet), sheet * _power_of_two(rounds / BRUSHINGS_A_SHEET)), sheet


def lay_out(
    *,
    pattern: Pattern,
    length: float,
    direction: float,
    states: Sequence[TurnState],
    turn_every: int | None,
    strokes: int,
    quad_strokes: float,
    brush_every: int | None = None,
    sheet_every: int | None = None,
    snapshots: Sequence[int] = (),
    twist: float = 0.0,
    sway: float = 0.0,
    seed: int = 0,
    begin: Place = START,
    first_events: int = 0,
    golden: bool = False,
) -> Layout:
    """Lay out the rows of some strokes on one paper.

    Parameters
    ----------
    pattern, length, direction : the stroke [m, rad]
    states : turns gone through in a round; ``turn_every`` strokes in each (None or 0: only the first)
    strokes : strokes of the stage [-]
    quad_strokes : most strokes that one group of four rows may stand for [-]
    brush_every, sheet_every : strokes between brushings and between sheets (None or 0: never)
    snapshots : strokes at which heights are kept; the last one always is
    twist : turn of the part about its own middle during a pass, away = anticlockwise [rad]
    sway : deviation of strokes beside their line [m]
    seed : of the scrambled low-discrepancy points (place in the stroke, wobble, sway)
    begin : where work stands before the first of them
    first_events : what is done to the paper before it, besides what falls due there
    golden : places in the stroke a golden ratio of it apart from group to group: what stands still on the
        plate then meets the part at places that are even over any run of groups, and not only over many
    """
    turn_every, turned = _round_of(begin, len(states), turn_every)
    by_turns = turn_every is not None and turn_every >= quad_strokes
    slower = slowed(quad_strokes, brush_every, sheet_every)
    brush_every, sheet_every = (brush_every or 0) * slower[0], (sheet_every or 0) * slower[1]
    marks = boundaries(
        strokes,
        (brush_every, begin.strokes),
        (sheet_every, begin.strokes),
        (turn_every if by_turns else None, turned),
        at=tuple(snapshots),
    )
    spans = np.diff(marks)
    quads_of = np.maximum(1, np.ceil(spans / quad_strokes - 1e-9)).astype(int)
    n_quads = int(quads_of.sum())
    span_of_quad = np.repeat(np.arange(spans.size), quads_of)
    per_quad = (spans / quads_of)[span_of_quad]
    ends_of_quad = np.cumsum(per_quad)
    number = begin.groups + np.arange(n_quads)
    if turn_every is None:
        state_of_quad = np.full(n_quads, begin.state)
    elif by_turns:
        state_of_quad = ((turned + ends_of_quad - 0.5 * per_quad) // turn_every).astype(int) % len(states)
    else:
        # Turned more often than a group of rows lasts: the groups go round the states in turn.
        state_of_quad = number % len(states)

    quad = np.repeat(np.arange(n_quads), ROWS_PER_QUAD)
    push = np.tile([True, False, False, True], n_quads)
    sign = np.tile([1.0, -1.0, 1.0, -1.0], n_quads)
    power = int(np.ceil(np.log2(max(begin.groups + n_quads, 2))))
    draws = _draws(seed, power)[begin.groups : begin.groups + n_quads]
    scores = ndtri(np.clip(draws[:, :2], 1e-6, 1.0 - 1e-6))
    phases = np.empty(quad.size)
    # Each pair of rows shares a place in the stroke, so that push and pull meet the same paper.
    places = _golden_places(seed, number) if golden else draws[:, 2:4]
    phases[0::4] = phases[1::4] = places[:, 0]
    phases[2::4] = phases[3::4] = places[:, 1]
    curved = PATTERNS[pattern].round is not None
    if curved:
        # The four rows of a group stand evenly on the round, so that its headings do.
        phases[2::4] = phases[3::4] = (phases[0::4] + 0.25) % 1.0
    x, y, heading = on_path(pattern, length, phases, push, number[quad])
    # One pair of a group runs as far to the left as the other to the right.
    beside = sway * np.clip(ndtri(np.clip(draws[quad, 4], 1e-6, 1.0 - 1e-6)), -SWAY_TAIL, SWAY_TAIL)
    y = y + beside * np.where(np.arange(quad.size) % 4 < 2, 1.0, -1.0)

    turn = np.array([s.part for s in states])[state_of_quad][quad]
    operator = direction + np.array([s.operator for s in states])[state_of_quad][quad]
    slide = path_length(pattern, length) * per_quad[quad] / ROWS_PER_QUAD
    events = np.zeros(quad.size, dtype=np.int64)
    events[0] = first_events
    first_row = ROWS_PER_QUAD * np.concatenate([[0], np.cumsum(quads_of)[:-1]])
    last_row = ROWS_PER_QUAD * np.cumsum(quads_of) - 1
    for mark, row in zip(marks[:-1], first_row, strict=True):
        done = begin.strokes + mark
        if done and brush_every and done % brush_every == 0:
            events[row] |= column_kernels.EVENT_BRUSH
        if done and sheet_every and done % sheet_every == 0:
            events[row] |= column_kernels.EVENT_SHEET
    kept = []
    for end, row in zip(marks[1:], last_row, strict=True):
        if end in snapshots or end == strokes:
            events[row] |= column_kernels.EVENT_SNAPSHOT
            kept.append(int(end))
    standings, way = _standings(pattern, direction, states)
    standing = way[state_of_quad[quad], number[quad] % way.shape[1]]
    lean = np.cos(heading) if curved else np.cos(np.round(heading / np.pi) * np.pi)
    progress = 2.0 * x / length
    # The part turns one way while it goes away and back again while it comes.
    pass_length = path_length(pattern, length) / (1.0 if PATTERNS[pattern].one_way else 2.0)
    spin = twist * np.sign(lean) / pass_length
    turn = turn + 0.5 * twist * progress
    return Layout(
        x=np.cos(operator) * x - np.sin(operator) * y,
        y=np.sin(operator) * x + np.cos(operator) * y,
        turn=turn,
        facing=operator - turn,
        heading=operator - turn + heading,
        lean=lean,
        progress=progress,
        spin=spin,
        z_along=sign * scores[quad, 0],
        z_across=sign * scores[quad, 1],
        slide=slide,
        kinds=(2 * state_of_quad[quad] + np.where(push, 0, 1)).astype(np.int64),
        events=events,
        ends=ends_of_quad[quad],
        snapshot_strokes=tuple(kept),
        slower=slower,
        standing=standing,
        standings=standings,
        states=len(states),
        begin=begin,
        end=_place_after(begin, strokes, n_quads, turned, turn_every, len(states)),
    )


def _place_after(
    begin: Place, strokes: int, groups: int, turned: int, turn_every: int | None, states: int
) -> Place:
    done, worked = begin.strokes + strokes, begin.groups + groups
    if turn_every is None:
        return Place(done, worked, begin.state, begin.since + strokes)
    rounds, since = divmod(turned + strokes, turn_every)
    return Place(done, worked, rounds % states, since)


def load_poses(
    layout: Layout,
    grip: Grip,
    *,
    weight: float,
    weight_at: tuple[float, float],
    friction: float,
    half: float,
    one_way: bool = False,
    load: float | None = None,
    load_at: tuple[float, float] | None = None,
) -> Array:
    """Poses (m, 13) for :func:`handlap.sim.lapping.march_kernels.march`, forces of one pair of hands put in.

    Parameters
    ----------
    weight, weight_at : what the part weighs on the paper [N] and where, in its frame [m]
    friction : µ [-]; moves the resultant forward by µ·(height of the hands)
    half : length by which places on the face are scaled [m]
    one_way : the hands only push, so push and pull do not differ
    load, load_at : total force and its place in the part, instead of all that [N, m]
    """
    ratio = 1.0 if one_way else grip.push_over_pull
    press = grip.press * (1.0 + (ratio - 1.0) / (ratio + 1.0) * layout.lean)
    # Heavier at the end of a pass than at its start, whichever way it goes.
    press = press * (1.0 + grip.swell * layout.progress * np.sign(layout.lean))
    total = press + weight
    share = press / total
    poses = np.empty((layout.x.size, column_kernels.POSE_COLUMNS))
    c, s = np.cos(layout.facing), np.sin(layout.facing)
    reach = friction * grip.height
    for columns, along, across in (
        ((column_kernels.EU, column_kernels.EV), grip.wobble_along, grip.wobble_across),
        ((column_kernels.EU_STEADY, column_kernels.EV_STEADY), 0.0, 0.0),
    ):
        at_along = grip.bias_along + 0.5 * grip.rocking * layout.progress + along * layout.z_along
        at_across = grip.bias_across + across * layout.z_across
        eu = share * (c * at_along - s * at_across) + (1.0 - share) * weight_at[0]
        ev = share * (s * at_along + c * at_across) + (1.0 - share) * weight_at[1]
        eu = eu + reach * np.cos(layout.heading)
        ev = ev + reach * np.sin(layout.heading)
        if load_at is not None:
            eu, ev = np.full_like(eu, load_at[0]), np.full_like(ev, load_at[1])
        poses[:, columns[0]] = eu / half
        poses[:, columns[1]] = ev / half
    poses[:, column_kernels.X] = layout.x
    poses[:, column_kernels.Y] = layout.y
    poses[:, column_kernels.COS] = np.cos(layout.turn)
    poses[:, column_kernels.SIN] = np.sin(layout.turn)
    poses[:, column_kernels.LOAD] = total if load is None else load
    poses[:, column_kernels.SLIDE] = layout.slide
    poses[:, column_kernels.MOVE_U] = np.cos(layout.heading)
    poses[:, column_kernels.MOVE_V] = np.sin(layout.heading)
    poses[:, column_kernels.TWIST] = layout.spin * half
    return poses

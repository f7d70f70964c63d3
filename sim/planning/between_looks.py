"""Where between two looks a face comes down to its goal, and what it is like there.

Figures fall along a curve.  A straight line between two looks serves where they are close together beside
how it bends; where they are not, the lap is worked once more up to where the goal should be met, and looked
at there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.outline import Array

STRAIGHT = 0.5e-6
"""Most that a straight line between two looks may err by [m]: as much as the rows of a lap may, for plans."""
STEEP = 0.5
"""… and most that a figure may fall between two looks of the leg, as a share of the goal: what lies behind
them does not show every bend between them."""
NEAR = 2.0 * STRAIGHT
"""Where more looks are worked, one has to come so near to the goal [m]."""
MOST_EXTRA = 4
"""Looks besides that are worked at most; the second mostly lies within what the first leaves open."""


@dataclass(frozen=True)
class Look:
    """What a look shows: ``strokes`` done, the figure ``seen`` [m], the ``face`` (n,) [m], and the ``work``
    of the arms so far [J]."""

    strokes: int
    seen: float
    face: Array
    work: float


@dataclass(frozen=True)
class Met:
    """Where the goal is met: the strokes done by then, the face (n,) [m] and the work [J] there."""

    stroke: float
    face: Array
    work: float


def meets_goal(
    earlier: tuple[float, float], above: Look, under: Look, goal: float, look_at: Callable[[int], Look]
) -> Met:
    """Where a face meets its goal [m] between two looks, one ``above`` and one at it or ``under``.

    Parameters
    ----------
    earlier : strokes and figure [m] of the look before both, which shows how the figure bends; the same as
        ``above`` where there is none
    look_at : works the face up to a number of strokes and looks at it
    """
    third = earlier
    for extra_looks in range(MOST_EXTRA):
        bend = _bend(third, (above.strokes, above.seen), (under.strokes, under.seen))
        at = _crossing(above, under, goal, 0.0)
        errs = abs(bend) * (at - above.strokes) * (under.strokes - at)
        if extra_looks == 0:
            serves = errs <= STRAIGHT and above.seen - under.seen <= STEEP * goal
        else:
            # New sheets and brushings between two looks bend the figure where no parabola shows it.
            serves = min(above.seen - goal, goal - under.seen) <= NEAR
        if serves or under.strokes - above.strokes < 2:
            break
        guess = round(_crossing(above, under, goal, bend))
        extra = look_at(int(np.clip(guess, above.strokes + 1, under.strokes - 1)))
        outer = above if extra.seen > goal else under
        third = (outer.strokes, outer.seen)
        above, under = (extra, under) if extra.seen > goal else (above, extra)
    at = _crossing(above, under, goal, 0.0)
    share = (at - above.strokes) / (under.strokes - above.strokes)
    return Met(
        at, above.face + share * (under.face - above.face), above.work + share * (under.work - above.work)
    )


def at_look(look: Look) -> Met:
    """A goal that is met at a look itself."""
    return Met(float(look.strokes), look.face, look.work)


def met_by(goal: float, looks: Sequence[Look], here: int, look_at: Callable[[int], Look]) -> Met:
    """Where a goal [m] is met by the look of an index and not by the one before, of looks from the start on;
    ``look_at`` as of :func:`meets_goal`."""
    earlier = looks[max(here - 2, 0)]
    return meets_goal((earlier.strokes, earlier.seen), looks[here - 1], looks[here], goal, look_at)


def first_met(goal: float, looks: Sequence[Look], look_at: Callable[[int], Look]) -> Met | None:
    """Where a goal [m] that the first look does not meet is met first; None where no look does."""
    here = next((at for at, look in enumerate(looks) if look.seen <= goal), None)
    return None if here is None else met_by(goal, looks, here, look_at)


def _bend(*looks: tuple[float, float]) -> float:
    """Half the second derivative of the parabola through three looks (strokes, figure) [m]; none through two.

    >>> _bend((0.0, 9.0), (1.0, 4.0), (3.0, 0.0)), _bend((1.0, 4.0), (1.0, 4.0), (3.0, 0.0))
    (1.0, 0.0)
    """
    (a, fa), (b, fb), (c, fc) = sorted(looks)
    if a == b or b == c:
        return 0.0
    return ((fc - fb) / (c - b) - (fb - fa) / (b - a)) / (c - a)


def _crossing(above: Look, under: Look, goal: float, bend: float) -> float:
    """Strokes at which the parabola through two looks that bends so much comes down to a goal [m]."""
    wide, falls, left = float(under.strokes - above.strokes), above.seen - under.seen, above.seen - goal
    # left = falls·s + bend·wide²·s·(1 − s), with s the share of the way.
    curve = bend * wide**2
    slope = falls + curve
    share = 2.0 * left / (slope + np.sqrt(max(slope**2 - 4.0 * curve * left, 0.0)))
    return above.strokes + wide * float(np.clip(share, 0.0, 1.0))

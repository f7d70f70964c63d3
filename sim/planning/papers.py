"""Which papers: the finer ones after the first, how long on each, and which one to start on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.conditions import Conditions, law_of
from handlap.sim.lapping.ensemble import OWN_SPREADS
from handlap.sim.lapping.rhythm import choose_rhythm, countable
from handlap.sim.lapping.sheet import one_sheet
from handlap.sim.materials.grits import Grit

DEFAULT_FINISH = 1.5e-6
"""Greatest Ra wanted where nothing is stated of the gasket [m] (C)."""
COARSEST_STEP = 0.25
"""Grain of the finest paper that may follow another, over that one's (C)."""
GONE_FROM = 0.95
"""A finer paper is done when the scratches are gone from this share of where they were made."""
LOOKS_TO_CLEAR = 3
LONGEST_CLEARING = 4
"""Looks at a finer paper up to the strokes it should take, and how many times as long it may."""
MOST_TO_CLEAR = 12_000
CLEARLY = 0.2
"""A chance is clearly better from this on, if it is as many as twice its noise on the members worked: less
is in the table for everybody to see."""
ALIKE = 0.8
"""A paper is quicker than another where it is so in more than this share of the members; else, and as
long as the other is not either, they are about alike."""
PLAINLY = 0.9
"""A paper is plainly slower than another where it is so in more than this share of the members."""
NOT_TOLD_APART = OWN_SPREADS["rate"] ** np.sqrt(2.0)
"""Papers whose prices are nearer than this, as a ratio, cannot be told apart at a bench: the luck of makers
and batches alone moves two grades against each other by as much (×/÷ 1.25 each, independent; D).  It was
chosen while looking at heads hollow by 45 to 200 µm, whose papers are all well nearer or further apart: with
1.1 to 1.25 the paper taken for the most hollow would go by the seed."""


def finish_wanted(scenario: Scenario) -> float:
    """Greatest Ra that the face may keep [m]."""
    asked = scenario.part.gasket_ra
    return DEFAULT_FINISH if asked is None else asked[1]


def to_clear(scenario: Scenario, conditions: Conditions, previous: Grit, grit: Grit) -> tuple[float, float]:
    """Strokes and minutes, sheets and brushings included, that take off the scratches of the paper before."""
    rhythm = choose_rhythm(scenario, conditions, grit)
    pace = float(scenario.hands.strokes_per_minute.value)
    life = one_sheet(scenario, conditions, grit, brush_every=rhythm.brush_every, pace=pace)
    return life.to_take(law_of(scenario, conditions, previous).stock, rhythm.sheet_every)


def strokes_to_clear(scenario: Scenario, conditions: Conditions, previous: Grit, grit: Grit) -> int:
    """Strokes on a paper, in tens, that should take off the scratches of the one before."""
    strokes, _ = to_clear(scenario, conditions, previous, grit)
    return int(np.clip(10 * np.ceil(strokes / 10.0 - 1e-9), 10, MOST_TO_CLEAR))


def clearing_looks(expected: int) -> tuple[int, ...]:
    """Strokes at which a finer paper is looked at that should take ``expected`` strokes.

    >>> clearing_looks(70)
    (20, 40, 60, 80, 100, 120, 140, 160, 180, 200, 220, 240)
    """
    every = max(10, countable(expected / LOOKS_TO_CLEAR))
    return tuple(every * (k + 1) for k in range(LOOKS_TO_CLEAR * LONGEST_CLEARING))


def gone_at(before: Array, start: Array, looks: Array, area: Array, stock: float) -> int | None:
    """First look (of looks, n) at which a paper has taken off the scratches of the one before; None: at none.

    Parameters
    ----------
    before, start : the face before the paper that made the scratches, and after it (n,) [m]
    looks : the face at the looks on the finer paper (looks, n) [m]
    area : of every spot (n,) [m²]
    stock : depth over which scratches go [m]; where less came off, they do not cover the face

    >>> face = np.array([2e-6, 0.0])
    >>> gone_at(face, face - 2e-6, face - np.array([[3e-6], [5e-6]]), np.ones(2), 2e-6)
    1
    """
    made = before - start
    scratched = area * (made >= min(stock, 0.5 * float(made.max())))
    share = ((start - looks >= stock) @ scratched) / scratched.sum()
    done = np.flatnonzero(share >= GONE_FROM)
    return int(done[0]) if done.size else None


def chain(scenario: Scenario, middle: Conditions, first: int) -> tuple[Grit, ...]:
    """The papers from the first (its place in the list) to one fine enough, in the least time.

    A shortest path over the listed papers: a step costs the strokes, sheets and brushings that take off
    the scratches of the paper before.  It ends on the coarsest paper that, worn, leaves the finish
    wanted; failing that, on the finest.
    """
    grits, metal = scenario.paper.grits, scenario.part.metal
    wanted = finish_wanted(scenario)
    fine = [i for i, g in enumerate(grits) if g.worn_roughness(metal) <= wanted]
    last = max(first, fine[0] if fine else len(grits) - 1)
    best: dict[int, tuple[float, tuple[int, ...]]] = {first: (0.0, (first,))}
    for j in range(first + 1, last + 1):
        ways = []
        for i, (minutes, way) in best.items():
            if grits[j].diameter >= COARSEST_STEP * grits[i].diameter or j == i + 1:
                ways.append((minutes + to_clear(scenario, middle, grits[i], grits[j])[1], (*way, j)))
        best[j] = min(ways)
    return tuple(grits[i] for i in best[last][1])


def quicker(one: Array, other: Array) -> float:
    """Chance that one way takes fewer minutes (members,) than another on the same members; ties half.

    >>> quicker(np.array([1.0, 2.0]), np.array([2.0, 2.0]))
    0.75
    """
    return float(np.mean((one < other) + 0.5 * (one == other)))


def clearly_better(one: float, other: float, members: int) -> bool:
    """Whether one chance to end inside all limits clearly beats another, each a share of ``members``.

    The noise is that of members of their own for each, which is rather too much for the same members.

    >>> clearly_better(0.9, 0.6, 64), clearly_better(0.9, 0.6, 8), clearly_better(0.7, 0.6, 64)
    (True, False, False)
    """
    noise = np.sqrt((one * (1.0 - one) + other * (1.0 - other)) / members)
    return one - other >= max(CLEARLY, 2.0 * float(noise))


def price(inside: NDArray[np.bool_], minutes: Array) -> float:
    """Minutes of work for each face that comes right: what a start costs where a face that misses the limits
    takes another go [min].

    Geometric mean, for members differ by factors; half a face is added to those that come right and half to
    those that do not, so that few members never make a price of zero or without end.

    Parameters
    ----------
    inside : who ends inside all limits (members,)
    minutes : of each of them (members,)

    >>> round(price(np.ones(63, dtype=bool), np.full(63, 12.0)), 2)
    12.09
    """
    chance = (np.sum(inside) + 0.5) / (inside.size + 1.0)
    return float(np.exp(np.mean(np.log(minutes))) / chance)


def choose_paper(inside: NDArray[np.bool_], minutes: Array) -> tuple[int, tuple[int, ...]]:
    """The paper to start on, and those that are about alike with it, itself included, coarse to fine.

    The coarsest of those that cannot be told apart from the one of the least :func:`price`, and are not
    plainly slower than that.  One price, no bound on chance by itself: with that
    a paper was out because one three times as slow came right a little more often, and whether it was so
    changed from seed to seed.

    About alike with it are those not told apart of which neither is quicker in more than four members of
    five.

    Parameters
    ----------
    inside : who ends inside all limits (papers, members), the same members in each
    minutes : of each of them (papers, members)
    """
    prices = np.array([price(*one) for one in zip(inside, minutes, strict=True)])
    best = int(np.argmin(prices))
    near = [
        i
        for i in np.flatnonzero(prices <= NOT_TOLD_APART * prices[best]).tolist()
        if quicker(minutes[best], minutes[i]) <= PLAINLY
    ]
    taken = near[0]
    alike = tuple(i for i in near if 1.0 - ALIKE <= quicker(minutes[i], minutes[taken]) <= ALIKE)
    return taken, alike

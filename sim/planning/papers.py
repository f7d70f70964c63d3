"""Which papers: the finer ones after the first, how long on each, and which one to start on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.lap import Conditions, law_of
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
is in the table for everybody to see, and would change the paper taken from seed to seed."""
ALIKE = 0.8
"""A paper is quicker than another where it is so in more than this share of the members; else, and as
long as the other is not either, they are about alike."""


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


def clearly_better(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> bool:
    """Whether one way ends inside all limits clearly more often than another on the same members (members,).

    The noise of the difference comes from the members in which the two do not agree (McNemar's test).
    """
    more, differ = float(np.mean(one) - np.mean(other)), int(np.sum(one != other))
    return more >= CLEARLY and more >= 2.0 * np.sqrt(differ) / one.size


def choose_paper(inside: NDArray[np.bool_], minutes: Array) -> tuple[int, tuple[int, ...]]:
    """The paper to start on, and those that are about alike with it, itself included, coarse to fine.

    A paper is out if another reaches the limits clearly more often, or if one that is left is quicker in
    more than four members of five; of the rest the coarsest is taken.

    Parameters
    ----------
    inside : who ends inside all limits (papers, members), the same members in each
    minutes : of each of them (papers, members)
    """
    papers = range(len(inside))
    able = [i for i in papers if not any(clearly_better(inside[j], inside[i]) for j in papers)]
    left = [i for i in able if not any(quicker(minutes[j], minutes[i]) > ALIKE for j in able if j != i)]
    if not left:
        # Each is beaten by another: they go round in a circle.
        left = [min(able, key=lambda i: float(np.median(minutes[i])))]
    taken = left[0]
    alike = tuple(i for i in left if 1.0 - ALIKE <= quicker(minutes[i], minutes[taken]) <= ALIKE)
    return taken, alike

"""Which of the things that nobody knows decides whether a job comes out: face, rate, ageing, rim or hands.

Every member of the ensemble has its own of each, and its own margin to limit and allowance.  The squared
rank correlation (Spearman 1904) of an input with the margin is about its share of what makes the margins
differ, for the inputs are drawn apart from one another; what could be chance in so few members counts
nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.face.face_numbers import bend_components
from handlap.sim.job.results import Figures
from handlap.sim.lapping.lap import Conditions
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.leg import measure

CHANCE = 3.0
"""A correlation counts from so many of its standard errors under none, 1/√(n − 1), on."""
CLEAR = 1.5
"""One thing decides where its share is so many times that of the next."""
UNSURE: dict[str, tuple[str, str]] = {
    "face": (
        "what the face is like where nothing was read",
        "read the face again with leaves closer together, and on the line that tells most (handlap survey "
        "names it)",
    ),
    "rate": (
        "how fast the paper cuts this metal",
        "make a trial of one block and weigh the swarf: that tells how fast the paper cuts",
    ),
    "ageing": (
        "how fast the paper clogs and blunts",
        "work one sheet up in a trial, and weigh the swarf each time it is brushed",
    ),
    "rim": (
        "how the paper cuts at the rim",
        "make a trial of one block, and read the stations next to the ends again",
    ),
    "hands": (
        "how the hands press, and where",
        "make a trial of one block on fresh dye and look where it goes (handlap why tells what that means); "
        "press on a scale as on the part, and state hands.press",
    ),
}
"""Subject → what is not known, and what would settle it."""


@dataclass(frozen=True)
class Decider:
    """A subject of :data:`UNSURE` and its share of what makes the margins differ [-]."""

    subject: str
    share: float

    @property
    def words(self) -> str:
        """What is not known."""
        return UNSURE[self.subject][0]

    @property
    def remedy(self) -> str:
        """What would settle it."""
        return UNSURE[self.subject][1]


def what_decides(crew: Crew, grit: Grit, done: Figures) -> tuple[Decider, ...]:
    """What decides between coming out inside limit and allowance or not, the most first; () where so few
    members cannot tell.

    Parameters
    ----------
    grit : of the first paper, whose own luck counts
    done : figures of all members (members,) after the work
    """
    part = crew.scenario.part
    margin = (part.limit - measure(done, part.limit_by)) / part.limit
    if part.allowance is not None:
        margin = np.minimum(margin, (part.allowance - done.greatest_depth) / part.allowance)
    bends = bend_components(crew.bench.grid, crew.members.before)
    inputs = {"face": [crew.measured(crew.members.before), *bends, *(np.abs(bend) for bend in bends)]}
    by_hand = [_inputs(conditions, grit) for conditions in crew.members.conditions]
    for subject in by_hand[0]:
        inputs[subject] = list(np.array([member[subject] for member in by_hand]).T)
    return deciders(margin, inputs)


def _inputs(c: Conditions, grit: Grit) -> dict[str, tuple[float, ...]]:
    """What a member has of its own, by subject; None of the law by metal and water is the same for all."""
    traits, grip = c.traits, c.grip

    def own(value: float | None) -> float:
        return 0.0 if value is None else value

    return {
        "rate": (c.rate * traits.own_rate.get(grit.name, 1.0),),
        "ageing": (
            c.ageing * traits.own_ageing.get(grit.name, 1.0),
            own(traits.loading_floor), own(traits.dulling_floor), own(traits.brushing),
        ),
        "rim": (traits.edge_rate, traits.edge_rise, traits.edge_grains, c.bedding, traits.blunt_bedding),
        "hands": (
            grip.press, grip.height, grip.bias_along, grip.bias_across, grip.wobble_along,
            grip.wobble_across, grip.push_over_pull, c.friction, c.sway,
        ),
    }  # fmt: skip


def deciders(margin: Array, inputs: dict[str, list[Array]]) -> tuple[Decider, ...]:
    """Subjects by their share of what makes the margins (members,) differ, the most first.

    Parameters
    ----------
    inputs : by subject, what each member has of it (members,)

    >>> rate, hands = np.arange(40.0), np.resize([1.0, 2.0], 40)
    >>> [d.subject for d in deciders(rate**3, {"rate": [rate], "hands": [hands]})]
    ['rate']
    """
    n = margin.size
    if n < 4 or np.ptp(margin) == 0.0:
        return ()
    least = CHANCE**2 / (n - 1)
    shares = {}
    for subject, values in inputs.items():
        squares = [_rank_correlation(value, margin) ** 2 for value in values]
        counted = [square for square in squares if square > least]
        # Figures of one face say much the same as one another: the best of them counts.
        shares[subject] = max(counted, default=0.0) if subject == "face" else sum(counted)
    found = [Decider(subject, min(1.0, share)) for subject, share in shares.items() if share > 0.0]
    return tuple(sorted(found, key=lambda d: -d.share))


def _rank_correlation(one: Array, other: Array) -> float:
    if np.ptp(one) == 0.0:
        return 0.0
    return float(np.corrcoef(_ranks(one), _ranks(other))[0, 1])


def _ranks(values: Array) -> Array:
    """Ranks (n,) from 1, the mean of theirs for those that are equal [-]."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    return (np.cumsum(count) - 0.5 * (count - 1))[place]


def decided_by(found: Sequence[Decider]) -> tuple[Decider, ...]:
    """The one that decides, or the two that do about alike."""
    if len(found) > 1 and found[0].share < CLEAR * found[1].share:
        return tuple(found[:2])
    return tuple(found[:1])

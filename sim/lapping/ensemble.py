"""Members of an ensemble: their numbers, and a way to run them side by side.

Every uncertain parameter of a scenario is drawn at standard normal scores from one scrambled
low-discrepancy sequence.  The same seed gives the same members in whatever order and on however
many threads they run.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from handlap.sim.common.outline import Array
from handlap.sim.common.sobol import scrambled_sobol
from handlap.sim.job.scenario import Z95, Scenario, Uncertain
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.dye import DyeDraw
from handlap.sim.lapping.ground import N_PLATE_SCORES
from handlap.sim.lapping.poses import Grip
from handlap.sim.materials.grits import GRITS, Grit
from handlap.sim.materials.paper_law import (
    CRITICAL_DIAMETER,
    EDGE_GRAINS,
    EXPONENT_COARSE,
    EXPONENT_FINE,
    SCRATCH_STOCK,
    STOCK_SPREAD,
    PaperTraits,
)

T = TypeVar("T")
R = TypeVar("R")

WEAR_NAMES = ("rate", "bedding", "friction", "ageing")
GRIP_NAMES = (
    "press",
    "height",
    "bias_along",
    "bias_across",
    "wobble_along",
    "wobble_across",
    "push_over_pull",
)
HAND_SCORES = (*WEAR_NAMES, *GRIP_NAMES, "strokes_per_minute")
PAPER_NAMES = (
    "loading_floor",
    "dulling_floor",
    "brushing",
    "blunt_bedding",
    "friction_gain",
    "edge_rate",
    "edge_rise",
)


def _times(middle: float, factor: float, name: str) -> Uncertain:
    return Uncertain(middle, middle / factor, middle * factor, "lognormal", name)


def _give_or_take(middle: float, spread: float, name: str) -> Uncertain:
    return Uncertain(middle, middle - spread, middle + spread, "normal", name)


TRAIT_SPREADS: dict[str, Uncertain] = {
    spread.key: spread
    for spread in (
        _times(CRITICAL_DIAMETER, 1.4, "critical"),
        _give_or_take(EXPONENT_FINE, 0.2, "exponent_fine"),
        _give_or_take(EXPONENT_COARSE, 0.2, "exponent_coarse"),
        _times(EDGE_GRAINS, 2.0, "edge_grains"),
        _times(SCRATCH_STOCK, STOCK_SPREAD, "stock"),
    )
}
"""What all papers of one member have in common and no scenario states (marks: see their middles); see
:func:`traits_of`."""
OWN_SPREADS = {"rate": 1.25, "ageing": 1.4}
"""Luck of single grades, makers and batches, ×/÷ (C); see :func:`luck_of`."""
PAPER_SCORES = (*PAPER_NAMES, "sway", *TRAIT_SPREADS)
LUCK_SCORES = tuple(f"{what} {grade}" for grade in GRITS for what in OWN_SPREADS)
SCORES = (*HAND_SCORES, *PAPER_SCORES, *LUCK_SCORES)
"""Order of the columns of :func:`draw_scores`."""
EVEN_SCORES = len(HAND_SCORES) + len(PAPER_SCORES)
"""Number of columns, counted from the first, that fill their ranges evenly; luck is drawn independently."""
TAIL = 0.01
"""Scores are drawn between these quantiles: nobody knows the tails beyond, and a rate or a
height of hands from there would only say that the spread is not really normal."""


def draw_scores(members: int, seed: int) -> Array:
    """Standard normal scores (members, k), one column for each name in ``SCORES``.

    Hands and rates are scrambled by themselves, so that what is added of paper leaves them as they were;
    paper has the dimensions of the sequence that follow theirs, for two scramblings of the same ones are
    not independent.  The luck of a grade is the same in whatever list it stands.
    """
    power = int(np.ceil(np.log2(max(members, 2))))
    own = len(HAND_SCORES)
    hands = scrambled_sobol(own, power, seed)
    # A child of the seed, as what drew these first took it: so the digits of a seed stay.
    (child,) = np.random.SeedSequence([seed, 11]).spawn(1)
    paper = scrambled_sobol(EVEN_SCORES, power, child)
    points = np.hstack([hands, paper[:, own:]])[:members]
    low, high = ndtri([TAIL, 1.0 - TAIL])
    luck = np.random.default_rng([seed, 12]).standard_normal((members, len(LUCK_SCORES)))
    return np.hstack([ndtri(np.clip(points, TAIL, 1.0 - TAIL)), np.clip(luck, low, high)])


def scores_for(scenario: Scenario, members: int, seed: int) -> Array:
    """Scores (members, k) for a job: as :func:`draw_scores`, tied to one another as earlier jobs have it.

    Each column stays standard normal by itself; without earlier jobs they are those, to the last bit.
    """
    scores = draw_scores(members, seed)
    past = scenario.past
    if past is None or not past.names:
        return scores
    columns = [SCORES.index(name) for name in past.names]
    scores[:, columns] = scores[:, columns] @ past.factor.T
    return scores


def draw_plate_scores(members: int, seed: int) -> Array:
    """Standard normal scores (members, k) of the plate's own shape, apart from those of the hands."""
    return np.random.default_rng([seed, 7]).standard_normal((members, N_PLATE_SCORES))


def uncertain_of(scenario: Scenario) -> dict[str, Uncertain]:
    """The uncertain quantities that a scenario states or assumes, by their names in ``SCORES``."""
    found = {name: getattr(scenario.wear, name) for name in (*WEAR_NAMES, *PAPER_NAMES)}
    found.update({name: getattr(scenario.hands, name) for name in (*GRIP_NAMES, "strokes_per_minute")})
    found["sway"] = scenario.strokes.sway
    return found


def paper_is_exact(scenario: Scenario) -> bool:
    """Whether both rate and ageing are stated without a spread: the paper is then what its table says.

    One of them alone says nothing of the other grades: who has measured the rate of one paper has not
    measured theirs.  Paper that does not age has no ageing to state.
    """
    return scenario.wear.rate.law == "fixed" and scenario.wear.ageing.law == "fixed"


def luck_of(scenario: Scenario) -> dict[str, float]:
    """What of single grades is left to luck, ×/÷; nothing, where rate and ageing are exact."""
    return {} if paper_is_exact(scenario) else OWN_SPREADS


def luck_as_known(scenario: Scenario, what: str, grit: Grit) -> Uncertain:
    """The luck of one grade in its rate or ageing, as earlier jobs have it, else about one."""
    name = f"{what} {grit.name}"
    if scenario.past is not None and name in scenario.past.luck:
        return scenario.past.luck[name]
    spread = luck_of(scenario).get(what, 1.0)
    return Uncertain(1.0, 1.0 / spread, spread, "lognormal", name)


def traits_of(scenario: Scenario) -> dict[str, Uncertain]:
    """What all papers have in common; at its middle, where rate and ageing are exact.

    How far behind the leading edge metal is cut faster stays open while it is how much faster.
    """
    if not paper_is_exact(scenario):
        return TRAIT_SPREADS
    left = set() if scenario.wear.edge_rate.law == "fixed" else {"edge_grains"}
    return {
        name: spread if name in left else Uncertain.fixed(spread.value, name)
        for name, spread in TRAIT_SPREADS.items()
    }


def conditions_at(scenario: Scenario, scores: Array) -> Conditions:
    """Conditions of the member with standard normal scores (k,); zeros give the medians."""
    quantities = uncertain_of(scenario) | traits_of(scenario)
    place = {name: float(z) for name, z in zip(SCORES, scores, strict=True)}
    number = {name: float(quantity.at(place[name])) for name, quantity in quantities.items()}
    left = luck_of(scenario)
    luck = {
        what: {
            grit.name: float(left.get(what, 1.0) ** (place[f"{what} {grit.name}"] / Z95))
            for grit in scenario.paper.grits
        }
        for what in OWN_SPREADS
    }
    if scenario.past is not None:
        for name, known in scenario.past.luck.items():
            what, _, grade = name.partition(" ")
            luck[what][grade] = float(known.at(place[name]))
    return Conditions(
        rate=number["rate"],
        bedding=number["bedding"],
        friction=number["friction"],
        ageing=number["ageing"],
        grip=Grip(
            **{name: number[name] for name in GRIP_NAMES},
            swell=scenario.hands.swell,
            rocking=scenario.hands.rocking,
        ),
        bedding_length=scenario.wear.bedding_length,
        traits=PaperTraits(
            **{name: number[name] for name in (*PAPER_NAMES, *TRAIT_SPREADS)}
            | {
                "exponent_coarse": max(number["exponent_coarse"], 0.0),
                "blunt_bedding": min(number["blunt_bedding"], 1.0),
            },
            own_rate=luck["rate"],
            own_ageing=luck["ageing"],
        ),
        sway=number["sway"],
    )


def conditions_of(
    scenario: Scenario, scores: Array, plate_scores: Array, dyes: Sequence[DyeDraw]
) -> tuple[Conditions, ...]:
    """Conditions of all members, from scores (members, k) of hands and paper and of the plate's own shape."""
    return tuple(
        replace(conditions_at(scenario, z), plate=plate, dye=dye)
        for z, plate, dye in zip(scores, plate_scores, dyes, strict=True)
    )


def strokes_per_minute(scenario: Scenario, scores: Array) -> Array:
    """Pace of every member (members,) from scores (members, k)."""
    column = SCORES.index("strokes_per_minute")
    return np.asarray(scenario.hands.strokes_per_minute.at(scores[:, column]))


def most_typical(heights: Array) -> int:
    """Member (of members, n) nearest to the middle of its ensemble."""
    return int(np.argmin(np.sum((heights - np.median(heights, axis=0)) ** 2, axis=1)))


def middle_member(*figures: Array) -> int:
    """Member whose figures, arrays (members,) in any units, lie nearest to all their middles at once.

    Each figure counts over its own spread, so that none of them decides alone.  What is drawn of one
    member beside figures of all is drawn of this one: it is ordinary in what came of it, where the
    member with the most ordinary starting face (:func:`most_typical`) need not be.

    >>> middle_member(np.array([1.0, 2.0, 3.0, 4.0, 5.0]), np.array([90.0, 10.0, 50.0, 20.0, 80.0]))
    2
    """
    off = np.zeros(len(figures[0]))
    for values in figures:
        low, middle, high = np.percentile(values, [5.0, 50.0, 95.0])
        if high > low:
            off = off + ((values - middle) / (high - low)) ** 2
    return int(np.argmin(off))


def spread_over(count: int, most: int) -> NDArray[np.int64]:
    """Indices of at most ``most`` of ``count`` members, evenly over their order.

    >>> spread_over(9, 3).tolist(), spread_over(2, 3).tolist()
    ([0, 4, 8], [0, 1])
    """
    return np.unique(np.linspace(0, count - 1, min(most, count)).astype(np.int64))


def run_members(
    work: Callable[[T], R],
    members: Sequence[T],
    *,
    executor: Executor | None = None,
    finished: Callable[[int], None] | None = None,
) -> list[R]:
    """Apply ``work`` to every member, in parallel, and return the results in their order.

    Parameters
    ----------
    executor : any ``concurrent.futures`` executor; without one, threads of this process (the
        kernels let go of the interpreter while they run)
    finished : called with the number of members done so far, in this thread
    """
    own = ThreadPoolExecutor() if executor is None else None
    pool = own or executor
    assert pool is not None
    try:
        futures = [pool.submit(work, member) for member in members]
        results = []
        for number, future in enumerate(futures, start=1):
            results.append(future.result())
            if finished is not None:
                finished(number)
        return results
    finally:
        if own is not None:
            own.shutdown(wait=True, cancel_futures=True)

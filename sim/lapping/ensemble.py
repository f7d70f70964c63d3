"""Members of an ensemble: their numbers, and a way to run them side by side.

Every uncertain parameter of a scenario is drawn at standard normal scores from one scrambled
low-discrepancy sequence.  The same seed gives the same members in whatever order and on however
many threads they run.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario, Uncertain
from handlap.sim.lapping.ground import N_PLATE_SCORES
from handlap.sim.lapping.lap import Conditions
from handlap.sim.lapping.poses import Grip

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
SCORES = (*WEAR_NAMES, *GRIP_NAMES, "strokes_per_minute")
"""Order of the columns of :func:`draw_scores`."""
TAIL = 0.01
"""Scores are drawn between these quantiles: nobody knows the tails beyond, and a rate or a
height of hands from there would only say that the spread is not really normal."""


def draw_scores(members: int, seed: int) -> Array:
    """Standard normal scores (members, 12), one column for each name in ``SCORES``."""
    power = int(np.ceil(np.log2(max(members, 2))))
    points = qmc.Sobol(len(SCORES), scramble=True, seed=seed).random_base2(power)[:members]
    return norm.ppf(np.clip(points, TAIL, 1.0 - TAIL))


def draw_plate_scores(members: int, seed: int) -> Array:
    """Standard normal scores (members, k) of the plate's own shape, apart from those of the hands."""
    return np.random.default_rng([seed, 7]).standard_normal((members, N_PLATE_SCORES))


def uncertain_of(scenario: Scenario) -> dict[str, Uncertain]:
    """The uncertain quantities of a scenario under the names in ``SCORES``."""
    found = {name: getattr(scenario.wear, name) for name in WEAR_NAMES}
    found.update({name: getattr(scenario.hands, name) for name in (*GRIP_NAMES, "strokes_per_minute")})
    return found


def conditions_at(scenario: Scenario, scores: Array) -> Conditions:
    """Conditions of the member with standard normal scores (12,); zeros give the medians."""
    quantities = uncertain_of(scenario)
    number = {name: float(quantities[name].at(float(z))) for name, z in zip(SCORES, scores, strict=True)}
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
    )


def strokes_per_minute(scenario: Scenario, scores: Array) -> Array:
    """Pace of every member (members,) from scores (members, 12)."""
    column = SCORES.index("strokes_per_minute")
    return np.asarray(scenario.hands.strokes_per_minute.at(scores[:, column]))


def most_typical(heights: Array) -> int:
    """Member (of members, n) nearest to the middle of its ensemble."""
    return int(np.argmin(np.sum((heights - np.median(heights, axis=0)) ** 2, axis=1)))


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

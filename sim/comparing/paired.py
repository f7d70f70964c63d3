"""Differences between ways of working, member by member, and an order with its confidence.

All ways see the same members, so a difference is taken inside each member before it is spread
out: what the members differ in among themselves cancels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band

MadeIt = NDArray[np.bool_]
"""Whether each member ends inside all limits: (members,), or (ways, members)."""
DifferenceSize = Literal["clear", "on average", "cannot tell"]
SURE = 0.95
"""Chance that a difference, or an order, is taken at its word."""
Z_SURE = 1.96
RESAMPLES = 400


@dataclass(frozen=True)
class Difference:
    """Second way less first, member by member [unit of the figure].

    ``size``: "clear" where the band leaves out zero, so that it holds in 19 members of 20;
    "on average" where only its mean differs from zero by more than its standard error allows;
    else "cannot tell".  ``shrunk``: spread without the pairing over spread with it [-].
    """

    band: Band
    mean: float
    size: DifferenceSize
    shrunk: float


def difference(first: Array, second: Array, least: float = 0.0) -> Difference:
    """Difference of a figure (members,) between two ways.

    Parameters
    ----------
    least : differences of this size are of no account, being numerical error [unit of the figure]

    >>> difference(np.array([1.0, 5.0, 9.0]), np.array([2.0, 6.0, 10.0])).size
    'clear'
    """
    off = second - first
    band, mean = Band.of(off), float(off.mean())
    spread = float(off.std())
    error = Z_SURE * spread / np.sqrt(off.size)
    size: DifferenceSize = "cannot tell"
    if abs(mean) > least:
        if band.p05 > 0.0 or band.p95 < 0.0:
            size = "clear"
        elif abs(mean) > error:
            size = "on average"
    apart = float(np.hypot(first.std(), second.std()))
    return Difference(band, mean, size, apart / spread if spread > 0.0 else float("inf"))


def chance_difference(first: MadeIt, second: MadeIt) -> Difference:
    """Difference of a chance, from who made it (members,) in either way; by the exact sign test.

    The band is that of the difference in chance, for want of a spread between members.
    """
    only_first, only_second = int(np.sum(first & ~second)), int(np.sum(second & ~first))
    count = first.size
    mean = (only_second - only_first) / count
    error = float(np.sqrt(max(only_first + only_second - count * mean**2, 0.0))) / count
    size: DifferenceSize = "clear" if sign_chance(only_first, only_second) < 1.0 - SURE else "cannot tell"
    # Chances differ by one at most, however few the members.
    band = Band(max(mean - 1.645 * error, -1.0), mean, min(mean + 1.645 * error, 1.0))
    apart = float(np.hypot(first.std(), second.std()))
    spread = float((second.astype(float) - first).std())
    return Difference(band, mean, size, apart / spread if spread > 0.0 else float("inf"))


def sign_chance(fewer: Array | int, more: Array | int) -> Array | float:
    """Chance of ``more`` or more of (fewer + more) coins, two-sided, if both ways were as good.

    >>> round(float(sign_chance(0, 6)), 5)
    0.03125
    """
    less, most = (np.asarray(count).astype(np.int64) for count in (fewer, more))
    total, high = less + most, np.maximum(less, most)
    chance: Array | float = np.minimum(1.0, 2.0 * bdtrc(high - 1, total, 0.5))
    return chance


@dataclass(frozen=True)
class WayOrder:
    """Ways from best to worst.

    Attributes
    ----------
    places : indices of the ways, best first
    groups : group of each way (ways,), 1 = best: within a group the chances do not differ for
        sure, and the effort decides
    above : share (ways, ways) of resampled ensembles in which the first is put before the second
    """

    places: tuple[int, ...]
    groups: tuple[int, ...]
    above: Array

    def confidence(self, place: int) -> float:
        """How sure it is that the way at this place stands before the next one [-]."""
        return float(self.above[self.places[place], self.places[place + 1]])


def order_ways(both: MadeIt, minutes: Array, *, seed: int = 0) -> WayOrder:
    """Order ways by the chance to end inside both limits, then by effort.

    The best chance leads a group that takes in every way whose chance is not surely lower (sign
    test, member by member); within a group the middle of the minutes decides.

    Parameters
    ----------
    both : whether each member ends inside both limits (ways, members)
    minutes : effort (ways, members) [min]
    """
    left = list(range(len(both)))
    middle = np.median(minutes, axis=1)
    places: list[int] = []
    groups = [0] * len(both)
    group = 0
    while left:
        group += 1
        best = max(left, key=lambda i: (both[i].mean(), -middle[i]))
        level = [i for i in left if not _surely_lower(both[i], both[best])]
        level.sort(key=lambda i: (middle[i], i))
        for i in level:
            groups[i] = group
        places += level
        left = [i for i in left if i not in level]
    return WayOrder(tuple(places), tuple(groups), _above(both, minutes, seed))


def _surely_lower(lower: MadeIt, higher: MadeIt) -> bool:
    more, fewer = int(np.sum(higher & ~lower)), int(np.sum(lower & ~higher))
    return more > fewer and bool(sign_chance(fewer, more) < 1.0 - SURE)


def _above(both: MadeIt, minutes: Array, seed: int) -> Array:
    """How often each way is put before each other over resampled members (ways, ways) [-]."""
    ways, members = both.shape
    above = np.zeros((ways, ways))
    picks = np.random.default_rng([seed, 11]).integers(0, members, (RESAMPLES, members))
    for pick in picks:
        b = both[:, pick].astype(float)
        wins = b @ (1.0 - b).T
        surely = sign_chance(wins, wins.T) < 1.0 - SURE
        middle = np.median(minutes[:, pick], axis=1)
        by_chance = np.where(wins > wins.T, 1.0, 0.0)
        by_effort = np.where(middle[:, None] < middle, 1.0, np.where(middle[:, None] == middle, 0.5, 0.0))
        above += np.where(surely, by_chance, by_effort)
    return above / RESAMPLES

"""A figure of everybody who could have been drawn, from the few members that were worked.

What members are made of costs nothing to draw: of thousands it is known how fast their paper cuts and how
hollow their faces are.  Only what comes of it costs a lap.  So a figure is foretold from what members are
made of, by a line through the logarithms of those that were worked, and everybody's is what that foretells
with what the line misses added: R. L. Chambers and R. Dunstan, "Estimating distribution functions from
survey data", Biometrika 73 (1986) 597 (from memory).  The luck of who was drawn then moves a middle value
only by what the line misses.  Where many members end at one and the same least or most, as on a course that
nobody works longer, they count as at least that far (J. Tobin, "Estimation of relationships for limited
dependent variables", Econometrica 26 (1958) 24, from memory).

Where the line does not bear out the shares of the members themselves, there is none, and what the members say
has to stand as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

from handlap.sim.common.outline import Array

FEWEST = 32
"""Members from which on a line is drawn through them."""
RIDGES = (0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
"""Penalties tried, of coefficients on standard scores [-]."""
HEAPED = 3
"""Members at the very least or most value that make a heap: as far as that, or further."""
ROUNDS = 12
"""Rounds in which what lies beyond a heap is guessed from the line, and the line drawn anew."""
MISSES = 64
"""Values that stand for the law of what a line misses."""
WORTH_IT = 0.25
"""Share of the variance that a line has to foretell [-]."""
BORNE_OUT = 2.5
"""Deviations by which a share of the members may differ from what the line gives them."""
SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares at which that is looked at."""
GROUPS = 16
"""Groups of members that are left out in turn, to see how far the line goes by who was drawn."""


@dataclass(frozen=True)
class Line:
    """A line through the logarithms of a figure.

    Attributes
    ----------
    level, slopes : of the line over standard scores (k,)
    middle, spread : of what is known, from which standard scores follow (k,)
    missed : by how much it misses each member, those on a heap as far as is guessed (members,)
    misses : values that stand for the law of that (MISSES,)
    least, most : heaps: below the log ``least[0]`` everything is ``least[1]``, likewise ``most``
    ticks : the only values (k,) that occur, where members share few of them; else none
    share : of the variance that it foretells, each member foretold by the others [-]
    """

    level: float
    slopes: Array
    middle: Array
    spread: Array
    missed: Array
    misses: Array
    least: tuple[float, float]
    most: tuple[float, float]
    ticks: Array
    share: float

    def foretell(self, known: Array) -> Array:
        """Logs (n,) on the line, of what is known (n, k)."""
        return np.asarray(self.level + ((known - self.middle) / self.spread) @ self.slopes)

    def figures(self, logs: Array) -> Array:
        """Figures (n,) of logs, those beyond a heap on it, and all on ticks where there are."""
        if self.ticks.size:
            return np.asarray(self.ticks[np.searchsorted(_between(self.ticks), logs)])
        # One stood for less.
        found = np.where(logs <= 0.0, 0.0, np.exp(logs))
        found = np.where(logs <= self.least[0], self.least[1], found)
        return np.asarray(np.where(logs >= self.most[0], self.most[1], found))


def _logs(values: Array) -> Array:
    return np.log(np.maximum(values, 1.0))


def _between(ticks: Array) -> Array:
    """Logs (k - 1,) that lie halfway between the logs of ticks."""
    logs = _logs(ticks)
    return np.asarray(0.5 * (logs[1:] + logs[:-1]))


class _Ridge:
    """Lines through members of whom something is known (members, k), about its mean."""

    def __init__(self, known: Array) -> None:
        self.left, self.singular, self.right = np.linalg.svd(known, full_matrices=False)

    def through(self, values: Array) -> tuple[Array, float]:
        """Slopes (k,) for values (members,) about their mean, with the penalty that foretells best, and the
        mean square by which members are then missed when foretold by the others."""
        within = self.left.T @ values
        least, slopes = np.inf, np.zeros(self.right.shape[1])
        for ridge in RIDGES:
            kept = self.singular**2 / (self.singular**2 + ridge)
            own = (self.left**2) @ kept + 1.0 / len(values)
            missed = (values - self.left @ (kept * within)) / np.maximum(1.0 - own, 0.02)
            square = float(np.mean(missed**2))
            if square < least:
                least = square
                slopes = self.right.T @ (self.singular / (self.singular**2 + ridge) * within)
        return slopes, least


@dataclass(frozen=True)
class _Heap:
    """Who is on a heap (members,), the log beyond which that is, and which way."""

    who: NDArray[np.bool_]
    beyond: float
    sign: float

    def guess(self, predicted: Array, deviation: float) -> tuple[Array, Array]:
        """Mean and variance of those on it, of normal laws about ``predicted`` cut off at its edge."""
        t = self.sign * (self.beyond - predicted) / deviation
        ratio = np.exp(-0.5 * t**2 - 0.5 * np.log(2.0 * np.pi) - log_ndtr(-t))
        variance = deviation**2 * np.clip(1.0 + t * ratio - ratio**2, 0.0, 1.0)
        return predicted + self.sign * deviation * ratio, variance


def _ticks(values: Array) -> Array:
    """The values (k,) that occur, where those between the ends share them two and two or more; else none."""
    within = values[(values > values.min()) & (values < values.max())]
    found = np.unique(values)
    return found if 2 * np.unique(within).size <= within.size else found[:0]


def _heap(logs: Array, sign: float, ticks: Array) -> _Heap:
    at = sign * float(np.max(sign * logs))
    who = logs == at
    if ticks.size or not HEAPED <= who.sum() < len(logs):
        return _Heap(np.zeros(len(logs), dtype=bool), sign * np.inf, sign)
    # Who has nothing to do at all lies far below the least that anybody has to: only the gap counts.
    beyond = at if sign > 0.0 else float(np.min(logs[~who]))
    return _Heap(who, beyond, sign)


def line_through(values: Array, known: Array, everybody: Array) -> Line:
    """The line through the logs of a figure over what is known.

    Parameters
    ----------
    values : of the members, none below 0; those under 1 count as 1 (members,)
    known, everybody : what is known of the members (members, k) and of everybody (n, k)
    """
    logs = _logs(values)
    middle, spread = everybody.mean(axis=0), np.maximum(everybody.std(axis=0), 1e-12)
    own = (known - middle) / spread
    centre = own.mean(axis=0)
    ticks = _ticks(values)
    heaps = [_heap(logs, -1.0, ticks), _heap(logs, 1.0, ticks)]
    on_heap = heaps[0].who | heaps[1].who
    full, extra, ridge = logs.copy(), np.zeros(len(logs)), _Ridge(own - centre)
    for _ in range(ROUNDS if on_heap.any() else 1):
        slopes, square = ridge.through(full - full.mean())
        predicted = full.mean() + (own - centre) @ slopes
        deviation = float(np.sqrt(square + extra.mean()))
        for heap in heaps:
            if heap.who.any() and deviation > 0.0:
                full[heap.who], extra[heap.who] = heap.guess(predicted[heap.who], deviation)
    variance = float(np.var(full) + extra.mean())
    at = (np.arange(MISSES) + 0.5) / MISSES
    misses, rest = deviation * ndtri(at), full - predicted
    if not on_heap.any():
        size = float(rest.std())
        misses = np.quantile(rest - rest.mean(), at) * (deviation / size if size > 0.0 else 0.0)
    return Line(
        level=float(full.mean() - centre @ slopes),
        slopes=slopes,
        middle=middle,
        spread=spread,
        missed=rest,
        misses=np.asarray(misses),
        least=(heaps[0].beyond, float(values.min()) if heaps[0].who.any() else -np.inf),
        most=(heaps[1].beyond, float(values.max()) if heaps[1].who.any() else np.inf),
        ticks=ticks,
        share=1.0 - deviation**2 / variance if variance > 0.0 else 0.0,
    )


def borne_out(line: Line, values: Array, known: Array) -> bool:
    """Whether as many of the members (members,) lie below a level as the line gives them, at all shares."""
    logs, on_line = _logs(values), line.foretell(known)
    least, most = values == line.least[1], values == line.most[1]
    at = _between(line.ticks) if line.ticks.size else np.quantile(logs[~(least | most)], SHARES)
    levels = [(float(level), int(np.sum(logs <= level))) for level in at]
    levels += [(line.least[0], int(np.sum(least)))] if least.any() else []
    levels += [(line.most[0], int(np.sum(~most)))] if most.any() else []
    for level, count in levels:
        chance = np.searchsorted(line.misses, level - on_line, side="right") / MISSES
        # One more, for what a count cannot show.
        noise = np.sqrt(np.sum(chance * (1.0 - chance)) + 1.0)
        if abs(count - np.sum(chance)) > BORNE_OUT * noise:
            return False
    return True


def of_everybody(
    papers: Sequence[Array], known: Array, everybody: Array, rng: np.random.Generator
) -> tuple[Array, ...] | None:
    """Figures (n,) of everybody, foretold from those of the members; None where a line does not hold.

    Parameters
    ----------
    papers : figures of the members (members,), one after another, that may go with one another
    known, everybody : as of :func:`line_through`
    rng : deals out what the lines miss, evenly; where one misses, the others go along as they do in members
    """
    if len(known) < FEWEST:
        return None
    lines = []
    for values in papers:
        lines.append(line_through(values, known, everybody))
        if not borne_out(lines[-1], values, known):
            return None
    if lines[0].share < WORTH_IT:
        return None
    evenly = ndtri((np.arange(len(everybody)) + 0.5) / len(everybody))
    first = rng.permutation(evenly)
    found = []
    for line in lines:
        along = _along(lines[0].missed, line.missed)
        luck = along * first + np.sqrt(1.0 - along**2) * rng.permutation(evenly)
        missed = np.quantile(line.misses, (np.argsort(np.argsort(luck)) + 0.5) / luck.size)
        found.append(line.figures(line.foretell(everybody) + missed))
    return tuple(found)


def _along(one: Array, other: Array) -> float:
    """Correlation of what two lines miss [-]."""
    spread = float(one.std() * other.std())
    if spread == 0.0:
        return 0.0
    return float(np.clip(np.mean((one - one.mean()) * (other - other.mean())) / spread, -1.0, 1.0))

"""Facts of the trade, and whether what the program gets agrees with them.

Weak checks, for the trade's figures come from talk and single cases.  Some of the model's numbers were
moved while looking at some of them: those are *tuned on*, and no evidence.  A fact that *does not hold* is
shown all the same, and a test sees to it that what is said of it stays true.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ROUNDING = 1.0 + 1e-4
"""Figures come back rounded from the file."""


@dataclass(frozen=True)
class TradeFact:
    """One fact of the trade, and what the program got over an ensemble of faces, hands and papers.

    Attributes
    ----------
    name : what is done, on which job; invented where the trade says no more
    trade : what the trade says of it, in words
    least, most : that as figures, in ``unit``; None: open on that side
    within : by how many times, or over, the program's middle may miss the middle of the trade's figures;
        1: it has to lie inside them
    unit : unit of all figures
    low, middle, high : 5, 50 and 95 % of what the program got; None: no figure, or without bound
    count : how many members, or plans
    tuned : whether numbers of the model were moved while looking at this fact
    test : file and name of the test
    made : index of the run in which it was got
    """

    name: str
    trade: str
    least: float | None
    most: float | None
    within: float
    unit: str
    low: float | None
    middle: float | None
    high: float | None
    count: int
    tuned: bool
    test: str
    made: int = 0

    @property
    def miss(self) -> float:
        """By how many times, or over, the program's middle misses the trade; 1 inside its figures."""
        return miss(self.least, self.most, self.middle)

    @property
    def holds(self) -> bool:
        """Whether program and trade agree: the middle misses by no more than allowed, and the bands meet."""
        if self.low is None or self.middle is None:
            return False
        # No upper end: the members never get there.
        high = math.inf if self.high is None else self.high
        meet = (self.most is None or self.low <= self.most) and (self.least is None or high >= self.least)
        return meet and self.miss <= self.within * ROUNDING


def miss(least: float | None, most: float | None, middle: float | None) -> float:
    """By how many times, or over, a figure misses the middle of two, or the one that bounds it; 1 inside.

    >>> miss(3.0, 12.0, 5.0), miss(3.0, 12.0, 2.0), miss(None, 10.0, 25.0), miss(12.0, 12.0, None)
    (1.0, 3.0, 2.5, inf)
    """
    if middle is None or not math.isfinite(middle):
        return math.inf
    if (least is None or middle >= least) and (most is None or middle <= most):
        return 1.0
    ends = [end for end in (least, most) if end is not None]
    aim = math.sqrt(math.prod(ends)) if len(ends) == 2 else ends[0]
    return max(middle / aim, aim / middle) if middle > 0.0 and aim > 0.0 else math.inf

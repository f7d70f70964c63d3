"""A quantity of a job that is known only to a spread."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from handlap.sim.common.outline import Array

Law = Literal["fixed", "normal", "lognormal"]

Z95 = 1.6448536269514722
"""Standard normal quantile of 95 %: ``low`` and ``high`` below are 5 and 95 % points."""


@dataclass(frozen=True)
class Uncertain:
    """A quantity known only to a spread.

    Attributes
    ----------
    value : its median [SI]
    low, high : its 5 % and 95 % points, both equal to ``value`` for law "fixed" [SI]
    law : "fixed", "normal" (symmetric) or "lognormal" (positive; low·high = value²)
    key : the scenario key it answers to, such as ``hands.press``
    assumed : whether it is a default that the scenario file did not state
    basis : where the value comes from, in words
    """

    value: float
    low: float
    high: float
    law: Law
    key: str
    assumed: bool = False
    basis: str = ""

    @staticmethod
    def fixed(value: float, key: str = "", basis: str = "stated") -> Uncertain:
        """A value [SI] that is not varied."""
        return Uncertain(value, value, value, "fixed", key, False, basis)

    def at(self, z: Array | float) -> Array | float:
        """The quantity at standard normal score ``z`` (any shape) [SI].

        >>> Uncertain(4.0, 2.0, 8.0, "lognormal", "k").at(Z95)
        8.0
        """
        if self.law == "fixed":
            return self.value + 0.0 * z
        if self.law == "normal":
            return self.value + z * (self.high - self.low) / (2.0 * Z95)
        return self.value * (self.high / self.low) ** (z / (2.0 * Z95))

    @property
    def deviation(self) -> float:
        """Standard deviation [SI], of the logarithm [-] where the law is lognormal.

        >>> round(Uncertain(1.0, 1.0 / 3.0, 3.0, "lognormal", "k").deviation, 3)
        0.668
        """
        if self.law == "lognormal":
            return math.log(self.high / self.low) / (2.0 * Z95)
        return (self.high - self.low) / (2.0 * Z95)

    def settled(self) -> Uncertain:
        """The same with its spread taken away."""
        return replace(self, low=self.value, high=self.value, law="fixed")

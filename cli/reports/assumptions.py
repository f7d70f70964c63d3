"""Defaults that a scenario left in force, in the units of the file, widest first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handlap.sim.job.scenario import Scenario, Uncertain

GROUPS = (("wear.", "How the paper cuts"), ("hands.", "The hands"), ("", "The rest"))


@dataclass(frozen=True)
class Assumption:
    """One default in force.

    ``value`` is a number, or words where it is none; ``low`` and ``high`` are the 5 and 95 %
    points in the same unit, None where it is not varied; ``width`` ranks it.
    """

    key: str
    value: float | str
    unit: str
    low: float | None
    high: float | None
    basis: str
    width: float

    @property
    def group(self) -> str:
        """The heading it belongs under."""
        return next(title for prefix, title in GROUPS if self.key.startswith(prefix))


def _quantity_of(key: str) -> str:
    from handlap.sim.job.scenario_keys import BY_NAME

    row = BY_NAME.get(key)
    return row.quantity if row is not None else "number"


def _uncertain(quantity: Uncertain) -> Assumption:
    from handlap.sim.common.units import from_si, unit_of

    kind = _quantity_of(quantity.key)
    value, low, high = (from_si(x, kind) for x in (quantity.value, quantity.low, quantity.high))
    if quantity.law == "lognormal":
        width = math.log(quantity.high / quantity.low)
    else:
        width = (quantity.high - quantity.low) / max(abs(quantity.value), quantity.high - quantity.low, 1e-30)
    varied = quantity.high > quantity.low
    return Assumption(
        key=quantity.key,
        value=float(f"{value:.7g}"),
        unit=unit_of(kind, "mm"),
        low=low if varied else None,
        high=high if varied else None,
        basis=quantity.basis,
        width=width if varied else 0.0,
    )


def assumptions_of(scenario: Scenario) -> list[Assumption]:
    """Every default in force: the groups in order, the widest spread of each group first."""
    found = [_uncertain(quantity) for quantity in scenario.assumed]
    found += [
        Assumption(key, words, "", None, None, basis, 0.0) for key, words, basis in scenario.assumed_plain
    ]
    order = [title for _, title in GROUPS]
    return sorted(found, key=lambda a: (order.index(a.group), -a.width))

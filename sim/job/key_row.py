"""One row of the table of scenario keys: what a key may hold, and its default.

Ranges and defaults are written in the units of the mm system (mm, µm, N, kg, mm³/(N·m), °).
A basis says where a default comes from: *published* (source seen), *from memory* (recalled
from the literature), *derived* (worked out from those), *common practice* (no source), *ours*
(a choice of this program).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from handlap.sim.common.units import QUANTITIES, UNITS, System, plain, to_si, unit_of

Kind = Literal[
    "text",
    "choice",
    "yes or no",
    "whole number",
    "quantity",
    "uncertain quantity",
    "point",
    "points",
    "circle",
    "slot",
    "leaves",
    "stations",
    "depths",
    "worst gap",
    "strips",
    "lumps",
    "grits",
    "turns",
    "ways",
    "direction",
    "gasket",
    "file",
]


@dataclass(frozen=True)
class Key:
    """One row of the table.

    Attributes
    ----------
    name : dotted key; ``[]`` marks a list of tables
    kind : what the value is
    help : one line for the user
    quantity : for numbers, a row of :data:`handlap.sim.common.units.QUANTITIES`
    low, high : least and greatest value allowed [file unit, mm system]
    usual : outside this a value is doubted in a warning, not refused [file unit, mm system]
    choices : words allowed
    default : value taken when the key is absent [file unit, mm system]; None: see
        ``default_words``, or nothing is taken
    default_words : the default in words where it depends on other keys
    factor : default spread as ×/÷ this, 5 to 95 % [-]; 1: none
    plus_minus : default spread as ± this, 5 to 95 % [file unit, mm system]
    basis : where the default comes from
    required : whether a file must hold it
    """

    name: str
    kind: Kind
    help: str
    quantity: str = "number"
    low: float = 0.0
    high: float = 0.0
    usual: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    default: float | int | bool | str | None = None
    default_words: str = ""
    factor: float = 1.0
    plus_minus: float = 0.0
    basis: str = ""
    required: bool = False

    def bounds(self) -> tuple[float, float]:
        """Least and greatest value allowed [SI]."""
        return to_si(self.low, self.quantity), to_si(self.high, self.quantity)


def range_words(row: Key, system: System = "mm", unit: str = "") -> str:
    """Least and greatest value of a row in words, in the units of a system, or in a unit of their own.

    >>> range_words(Key("part.limit", "quantity", "", "height", 0.1, 5000.0), "inch")
    '0.003937 to 196.9 thou'
    """
    unit = unit or unit_of(row.quantity, system)
    multiplier, divisor = UNITS[QUANTITIES[row.quantity][0]][unit]
    low, high = (plain(bound * divisor / multiplier) for bound in row.bounds())
    return f"{low} to {high}" + (f" {unit}" if unit else "")


def allowed_words(row: Key, system: System = "mm") -> str:
    """Choices and range of a row in words."""
    parts = [", ".join(row.choices)] if row.choices else []
    if row.high > row.low:
        parts.append(range_words(row, system))
    return "; or ".join(parts)

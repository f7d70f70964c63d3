"""One key of a scenario file: what it may hold, and its default.

A key stands on the field of the record that its value goes to, in its annotation, and
:mod:`handlap.sim.job.scenario_keys` gathers them.  What the annotation says is not said again: the name of
a key is that of its field, its kind and its choices follow from the type.

Ranges and defaults are written in the units of the mm system (mm, µm, N, kg, mm³/(N·m), °).
A basis says where a default comes from: *published* (source seen), *from memory* (recalled
from the literature), *derived* (worked out from those), *common practice* (no source), *ours*
(a choice of this program).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from types import NoneType
from typing import Annotated, Any, Literal, get_args, get_origin, get_type_hints

from handlap.sim.common.units import QUANTITIES, UNITS, System, plain, to_si, unit_of
from handlap.sim.job.uncertain import Uncertain

KeyKind = Literal[
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


KIND_OF: dict[Any, KeyKind] = {
    Uncertain: "uncertain quantity",
    bool: "yes or no",
    int: "whole number",
    float: "quantity",
    str: "text",
    tuple[float, float]: "point",
}
"""Kind of a key by the type of its field, where nothing else is said; words to choose from: a choice."""
FACE = (-2000.0, 2000.0)
"""Where a place on a face may lie [mm]."""


@dataclass(frozen=True)
class Key:
    """What a scenario file may say with one key.

    Attributes
    ----------
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
    name : dotted key, where it is not that of the field; ``[]`` marks a list of tables
    kind : what the value is, where the type of the field does not say so
    after : the key that it is listed behind, where that is not the one before it
    doubt : as what a plain number is doubted that makes sense in another unit only, see
        :data:`handlap.sim.common.measured_number.SENSES`; "": as its quantity
    """

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
    name: str = ""
    kind: KeyKind | Literal[""] = ""
    after: str = ""
    doubt: str = ""

    def bounds(self) -> tuple[float, float]:
        """Least and greatest value allowed [SI]."""
        return to_si(self.low, self.quantity), to_si(self.high, self.quantity)


def range_words(row: Key, system: System = "mm", unit: str = "") -> str:
    """Least and greatest value of a row in words, in the units of a system, or in a unit of their own.

    >>> range_words(Key("", "height", 0.1, 5000.0), "inch")
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


def keys_of(record: type, table: str) -> tuple[tuple[str, Key], ...]:
    """Name of the field and key of every key on a record, named in full; ``table``: its name with a dot."""
    return _gathered(record, table)


@cache
def _gathered(record: type, table: str) -> tuple[tuple[str, Key], ...]:
    found = []
    for field, hint in get_type_hints(record, include_extras=True).items():
        held, *notes = get_args(hint) if get_origin(hint) is Annotated else (hint,)
        keys = (key for key in notes if isinstance(key, Key))
        found += [(field, _completed(key, table + (key.name or field), held)) for key in keys]
    return tuple(found)


def _completed(key: Key, name: str, held: Any) -> Key:
    """The key with its full name, and with what the type of its field says of it."""
    inner = [one for one in get_args(held) if one is not NoneType]
    if len(inner) == 1 and NoneType in get_args(held):
        held = inner[0]
    if get_origin(held) is Literal and not key.choices:
        return replace(key, name=name, kind="choice", choices=get_args(held))
    return replace(key, name=name, kind=key.kind or KIND_OF[held])

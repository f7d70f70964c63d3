"""Reading what people at the bench write: numbers with units, and grades of paper, in any mix.

Units are those of :mod:`handlap.sim.common.units`, with areas and densities besides.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from handlap.sim.common.units import OTHER_SPELLINGS, UNITS, Ratio
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit

AmountKind = Literal["length", "force", "mass", "grade"]

AREA_UNITS: dict[str, Ratio] = {
    "cm²": (1.0, 1e4),
    "mm²": (1.0, 1e6),
    "m²": (1.0, 1.0),
    "in²": (254.0**2, 1e8),
}
"""As in :data:`handlap.sim.common.units.UNITS`: multiplier and divisor to m²."""
DENSITY_UNITS: dict[str, Ratio] = {"g/cm³": (1e3, 1.0), "kg/m³": (1.0, 1.0)}
LEAST_DENSITY, GREATEST_DENSITY = 500.0, 23000.0
"""No metal is outside [kg/m³]: lithium 534, osmium 22,600."""
LEAST, GREATEST = 1e-9, 1e9
"""Size of a number that is accepted, in its own unit; zero is too."""
MOST_VALUES = 200

_SPELLINGS = OTHER_SPELLINGS | {
    "gram": "g",
    "grams": "g",
    "ounce": "oz",
    "ounces": "oz",
    "thousandth": "thou",
    "kgs": "kg",
    "kp": "kgf",
}
_MEASURED: tuple[AmountKind, ...] = ("mass", "length", "force")
_KINDS: dict[str, AmountKind] = {unit: kind for kind in _MEASURED for unit in UNITS[kind]}
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_NUMBER_THEN_WORD = re.compile(rf"({_NUMBER})(.*)")
_GRADE = re.compile(r"p\d+", re.IGNORECASE)
_US_WORDS = ("us", "cami")


@dataclass(frozen=True)
class GivenAmount:
    """One thing to convert.

    Attributes
    ----------
    text : as given, number and unit set apart
    kind : "length", "force", "mass" or "grade"
    value : [m], [N] or [kg]; of a grade the mean grain diameter, where it is known [m]
    grit : of a grade its P grade, else None
    us : of a US grade its number, else None
    """

    text: str
    kind: AmountKind
    value: float
    grit: Grit | None = None
    us: int | None = None


def read_quantities(text: str) -> tuple[GivenAmount, ...]:
    """Everything in a line such as "1.5, 2, 3 thou P120"; a unit serves all the numbers before it.

    Raises
    ------
    ValueError : if something in it is no quantity; names it and says what is allowed

    >>> [g.text for g in read_quantities("1.5, 2 3thou 9 lbf P120 240 400 US")]
    ['1.5 thou', '2 thou', '3 thou', '9 lbf', 'P120', '240 US', '400 US']
    """
    found: list[GivenAmount] = []
    waiting: list[str] = []
    words = [w for w in re.split(r"[\s;]+|,(?!\d)", text) if w]
    while words:
        word = words.pop(0)
        if word.lower() in (*_US_WORDS, "p") and not waiting and words and words[0].isdigit():
            word, mark = words.pop(0), word.lower()
            found.append(_grade(f"P{word}" if mark == "p" else f"{word} US"))
            continue
        if re.match(r"[+-]?\d*,\d", word):
            raise ValueError(f'"{word}": write a decimal point, not a comma; between numbers put a space')
        split = _NUMBER_THEN_WORD.fullmatch(word)
        if split and split[1]:
            waiting.append(split[1])
            word = split[2]
            if not word:
                continue
        if _GRADE.fullmatch(word):
            _none_waiting(waiting)
            found.append(_grade(word.upper()))
            continue
        if not waiting:
            raise ValueError(f'"{word}" is no quantity: {_allowed()}')
        found.extend(_with_unit(number, word) for number in waiting)
        waiting = []
        if len(found) > MOST_VALUES:
            raise ValueError(f"more than {MOST_VALUES} values at once: give fewer")
    _none_waiting(waiting)
    if not found:
        raise ValueError(f"nothing to convert: give {_allowed()}")
    return tuple(found)


def _allowed() -> str:
    units = ", ".join(unit for kind in _MEASURED for unit in UNITS[kind])
    return f'a number with one of the units {units}; or a grade of paper such as "P120" or "400 US"'


def _none_waiting(waiting: list[str]) -> None:
    if waiting:
        raise ValueError(f'"{waiting[0]}" has no unit: write {_allowed()}')


def _with_unit(number: str, word: str) -> GivenAmount:
    if word.lower() in (*_US_WORDS, "grit"):
        if not number.isdigit():
            raise ValueError(f'"{number} {word}" is no grade of paper: grades are whole numbers')
        return _grade(f"{number} US" if word.lower() in _US_WORDS else number)
    unit = _SPELLINGS.get(word, word)
    if unit not in _KINDS:
        unit = _SPELLINGS.get(word.lower(), unit)
    if unit not in _KINDS:
        raise ValueError(f'"{number} {word}" is no quantity: {_allowed()}')
    kind = _KINDS[unit]
    return GivenAmount(f"{number} {unit}", kind, _si(_finite(number, unit), UNITS[kind][unit]))


def _grade(name: str) -> GivenAmount:
    grit = grits.find(name)
    if not name.endswith(" US"):
        return GivenAmount(grit.name, "grade", grit.diameter, grit)
    number = int(name.removesuffix(" US"))
    diameter = grits.US_DIAMETERS.get(number)
    return GivenAmount(name, "grade", math.nan if diameter is None else diameter / 1e6, grit, number)


def _finite(number: str, unit: str) -> float:
    value = float(number)
    if value != 0.0 and not LEAST <= abs(value) <= GREATEST:
        sizes = f"0 and sizes from {LEAST:g} to {GREATEST:g}"
        raise ValueError(f'"{number} {unit}" is out of reach: allowed are {sizes}')
    return value


def _si(value: float, ratio: Ratio) -> float:
    return value * ratio[0] / ratio[1]


def _measure(text: str, what: str, units: dict[str, Ratio]) -> float:
    plain = re.sub(r"(?<=[a-z])\^?2$", "²", re.sub(r"(?<=[a-z])\^?3$", "³", text.strip()))
    found = re.fullmatch(rf"({_NUMBER})\s*(\S*)", plain)
    if found is None or found[2] not in units:
        raise ValueError(f'{what} "{text}": allowed is a number with one of the units {", ".join(units)}')
    return _si(_finite(found[1], found[2]), units[found[2]])


def read_area(text: str) -> float:
    """An area such as "250 cm²" (or cm2) [m²].

    Raises
    ------
    ValueError : if it is no number with a unit of area, or not above zero

    >>> read_area("250 cm2")
    0.025
    """
    area = _measure(text, "area", AREA_UNITS)
    if area <= 0.0:
        raise ValueError(f'area "{text}": allowed is an area above 0')
    return area


def read_density(text: str) -> float:
    """A density such as "2.68 g/cm³" [kg/m³].

    Raises
    ------
    ValueError : if it is no number with a unit of density, or that of no metal

    >>> read_density("2.68 g/cm3"), read_density("7150 kg/m³")
    (2680.0, 7150.0)
    """
    density = _measure(text, "density", DENSITY_UNITS)
    if not LEAST_DENSITY <= density <= GREATEST_DENSITY:
        raise ValueError(f'density "{text}" is that of no metal: allowed is 0.5 to 23 g/cm³')
    return density

"""Units: constants, the two systems a scenario may be written in, and quantities with a unit.

Inside everything is SI; this module is the edge.  Constants that are exact by definition:
1 inch = 25.4 mm, 1 kgf = 9.80665 N (standard gravity), 1 lb = 0.45359237 kg and so
1 lbf = 4.4482216152605 N.
"""

from __future__ import annotations

import math
import re
from typing import Literal

System = Literal["mm", "inch"]

INCH = 0.0254
"""[m]"""
MICROINCH = 25.4e-9
"""[m]"""
POUND = 0.45359237
"""[kg]"""
GRAVITY = 9.80665
"""Standard gravity [m/s²]"""
KGF = 9.80665
"""[N]"""
LBF = 4.4482216152605
"""[N]"""
RATE = 1e-9
"""1 mm³/(N·m) [m²/N]"""

# Every unit as a pair (multiplier, divisor): dividing by a whole power of ten is correctly
# rounded where multiplying by 1e-3 is not (50 µm becomes 5e-05, not 4.9999999999999996e-05).
Ratio = tuple[float, float]
UNITS: dict[str, dict[str, Ratio]] = {
    "length": {
        "mm": (1.0, 1e3),
        "cm": (1.0, 1e2),
        "m": (1.0, 1.0),
        "µm": (1.0, 1e6),
        "in": (254.0, 1e4),
        "thou": (254.0, 1e7),
        "µin": (254.0, 1e10),
    },
    "force": {"N": (1.0, 1.0), "kN": (1e3, 1.0), "kgf": (KGF, 1.0), "lbf": (LBF, 1.0)},
    "mass": {
        "kg": (1.0, 1.0),
        "g": (1.0, 1e3),
        "lb": (POUND, 1.0),
        "oz": (POUND, 16.0),
        "gr": (POUND, 7000.0),
    },
    "rate": {
        "mm³/(N·m)": (1.0, 1e9),
        "m²/N": (1.0, 1.0),
        "millionths in³/(lbf·ft)": (16387064.0, 1e18 * LBF * 0.3048),
    },
    "stiffness": {
        "N/µm": (1e6, 1.0),
        "N/mm": (1e3, 1.0),
        "lbf/thou": (1e7 * LBF, 254.0),
        "lbf/in": (1e4 * LBF, 254.0),
    },
    "volume": {"cm³": (1.0, 1e6), "mm³": (1.0, 1e9), "in³": (16387064.0, 1e12)},
    "angle": {"°": (math.pi, 180.0), "rad": (1.0, 1.0)},
    "number": {"": (1.0, 1.0)},
}
"""Dimension → unit → what a number in that unit is multiplied and divided by to become SI."""

OTHER_SPELLINGS = {
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "um": "µm",
    "µ": "µm",
    "micrometre": "µm",
    "micrometres": "µm",
    "micrometer": "µm",
    "micrometers": "µm",
    "μm": "µm",  # Greek letter mu instead of the micro sign
    "micron": "µm",
    "microns": "µm",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "''": "in",
    "″": "in",
    "”": "in",
    "thousandth": "thou",
    "thousandths": "thou",
    "thous": "thou",
    "mil": "thou",
    "mils": "thou",
    "uin": "µin",
    "μin": "µin",
    "newton": "N",
    "newtons": "N",
    "N/um": "N/µm",
    "N/μm": "N/µm",
    "lbf/thousandth": "lbf/thou",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "ounce": "oz",
    "ounces": "oz",
    "gram": "g",
    "grams": "g",
    "kilogram": "kg",
    "kilograms": "kg",
    "grain": "gr",
    "grains": "gr",
    "lbsf": "lbf",
    "kp": "kgf",
    "deg": "°",
    "degrees": "°",
    "cc": "cm³",
    "cm3": "cm³",
    "mm3": "mm³",
    "in3": "in³",
    "mm3/(N·m)": "mm³/(N·m)",
    "mm3/(N m)": "mm³/(N·m)",
    "mm3/Nm": "mm³/(N·m)",
    "mm³/Nm": "mm³/(N·m)",
    "m2/N": "m²/N",
}

WEIGHED_FORCES = {"lb": "lbf", "kg": "kgf"}
"""Forces as the scale they were pressed on shows them."""

# What a plain number of a quantity means in either system: dimension, unit (mm), unit (inch).
QUANTITIES: dict[str, tuple[str, str, str]] = {
    "length": ("length", "mm", "in"),
    "height": ("length", "µm", "thou"),
    "leaf": ("length", "µm", "thou"),
    "roughness": ("length", "µm", "µin"),
    "force": ("force", "N", "lbf"),
    "mass": ("mass", "kg", "lb"),
    "stiffness": ("stiffness", "N/µm", "lbf/thou"),
    "rate": ("rate", "mm³/(N·m)", "mm³/(N·m)"),
    "volume": ("volume", "cm³", "in³"),
    "angle": ("angle", "°", "°"),
    "number": ("number", "", ""),
}

PRESS_WORDS = {"light": 20.0, "firm": 40.0, "heavy": 80.0}
"""Median press of hands described in a word [N] (common practice)."""
PRESS_WORD_FACTOR = 1.5
"""Such a word holds within ×/÷ this, 5 to 95 %."""

LEAF_UNITS = ("mm", "µm", "in", "thou")
"""What leaves are stamped in."""

_NUMBER = r"[+-]?(?:\d+(?:\s+|-)\d+/\d+|\d+/\d+|(?:\d[\d.,]*|[.,]\d[\d.,]*)(?:[eE][+-]?\d+)?)"
_NUMBER_AND_UNIT = re.compile(rf"\s*({_NUMBER})\s*([^\s\d.,/].*?)?\s*")


def unit_of(quantity: str, system: System) -> str:
    """Unit that a plain number of this quantity has in this system.

    >>> unit_of("height", "inch")
    'thou'
    """
    return QUANTITIES[quantity][1 if system == "mm" else 2]


def to_si(value: float, quantity: str, system: System = "mm") -> float:
    """A plain number of a file in SI.

    >>> to_si(50, "height"), to_si(10, "length", "inch")
    (5e-05, 0.254)
    """
    multiplier, divisor = UNITS[QUANTITIES[quantity][0]][unit_of(quantity, system)]
    return value * multiplier / divisor


def from_si(value: float, quantity: str, system: System = "mm") -> float:
    """An SI value as the plain number a file would hold.

    >>> from_si(50e-6, "height", "mm")
    50.0
    """
    multiplier, divisor = UNITS[QUANTITIES[quantity][0]][unit_of(quantity, system)]
    return value * divisor / multiplier


def plain(value: float, digits: int = 4) -> str:
    """A number to ``digits`` significant digits, large ones without an exponent.

    >>> plain(10000.0), plain(0.0393701)
    ('10000', '0.03937')
    """
    short = f"{value:.{digits}g}"
    return f"{value:.0f}" if "e+" in short and abs(value) < 1e9 else short


def show(value: float, quantity: str, system: System = "mm", digits: int = 4) -> str:
    """An SI value with its unit, for print.

    >>> show(50.8e-6, "height", "inch")
    '2 thou'
    >>> show(math.pi, "angle")
    '180°'
    """
    unit = unit_of(quantity, system)
    number = plain(from_si(value, quantity, system), digits)
    return number + (unit if unit == "°" else f" {unit}" if unit else "")


def leaf_number(value: float, unit: str, digits: int = 4) -> str:
    """A leaf [m] as the number stamped on it; inches without the zero before the point.

    >>> leaf_number(50e-6, "mm"), leaf_number(50.8e-6, "in"), leaf_number(50.8e-6, "thou")
    ('0.05', '.002', '2')
    """
    multiplier, divisor = UNITS["length"][unit]
    number = plain(value * divisor / multiplier, digits)
    return number.removeprefix("0") if unit == "in" and number != "0" else number


def show_leaf(value: float, unit: str, digits: int = 4) -> str:
    """A leaf [m] as it is stamped, with its unit.

    >>> show_leaf(50e-6, "mm"), show_leaf(50.8e-6, "in"), show_leaf(38.1e-6, "thou"), show_leaf(50e-6, "µm")
    ('0.05 mm', '.002 in', '1.5 thou', '50 µm')
    """
    return f"{leaf_number(value, unit, digits)} {unit}"


def number_of(text: str) -> float:
    """A number as a person writes it: 0.05, .05, 0,05, 1 1/2, 1e-3.

    Raises
    ------
    ValueError : if it is none, or can be read in two ways; says what is allowed

    >>> number_of("0,05"), number_of("1 1/2"), number_of(".004")
    (0.05, 1.5, 0.004)
    """
    plain_text = text.strip().replace("−", "-")
    fraction = re.fullmatch(r"([+-]?)(?:(\d+)(?:\s+|-))?(\d+)/(\d+)", plain_text)
    if fraction:
        sign, whole, over, under = fraction.groups()
        if int(under) == 0:
            raise ValueError("a fraction over something else than 0")
        value = int(whole or 0) + int(over) / int(under)
        return -value if sign == "-" else value
    if re.fullmatch(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?", plain_text):
        read = plain_text.replace(",", "")
        other = (
            f", or {plain_text.replace(',', '.')}"
            if plain_text.count(",") == 1 > plain_text.count(".")
            else ""
        )
        raise ValueError(f"{read}{other}: no comma between thousands, for it can be read as a decimal one")
    if not re.fullmatch(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", plain_text):
        raise ValueError("a number such as 0.05, 0,05 or 1 1/2")
    return float(plain_text.replace(",", "."))


def number_and_unit(text: str) -> tuple[float, str]:
    """A number and what is written behind it, "" for nothing; attached or apart.

    Raises
    ------
    ValueError : as :func:`number_of`

    >>> number_and_unit('.004"'), number_and_unit("50 µm"), number_and_unit("4thou"), number_and_unit("7")
    ((0.004, '"'), (50.0, 'µm'), (4.0, 'thou'), (7.0, ''))
    """
    found = _NUMBER_AND_UNIT.fullmatch(text.replace("−", "-"))
    if found is None:
        raise ValueError("a number such as 0.05, 0,05 or 1 1/2")
    return number_of(found[1]), found[2] or ""


def known_unit(written: str, quantity: str) -> str | None:
    """The unit of a quantity that is written so; None if there is none.

    >>> known_unit("INCHES", "length"), known_unit("lbs.", "force"), known_unit("kg", "length")
    ('in', 'lbf', None)
    """
    dimension = QUANTITIES[quantity][0]
    bare = written.strip().rstrip(".")
    for spelt in (bare, bare.lower()):
        unit = OTHER_SPELLINGS.get(spelt, spelt)
        if dimension == "force":
            unit = WEIGHED_FORCES.get(unit, unit)
        if unit in UNITS[dimension]:
            return unit
    return None


def in_unit(value: float, unit: str, quantity: str) -> float:
    """A number of this unit in SI.

    >>> in_unit(0.05, "mm", "leaf")
    5e-05
    """
    multiplier, divisor = UNITS[QUANTITIES[quantity][0]][unit]
    return value * multiplier / divisor


def parse_quantity(text: str, quantity: str) -> float:
    """A number with its unit, such as ``"4 kgf"``, ``"0,05 mm"`` or ``'.004"'``, in SI.

    Raises
    ------
    ValueError : if the text is no number with a unit of this quantity; says which are

    >>> parse_quantity("9 lbf", "force")
    40.0339945373445
    >>> parse_quantity("2 thou", "height")
    5.08e-05
    """
    dimension = QUANTITIES[quantity][0]
    if dimension == "number":
        raise ValueError("a plain number without quotes or unit")
    try:
        number, written = number_and_unit(text)
    except ValueError as error:
        if "thousands" in str(error):
            raise
        number, written = math.nan, ""
    unit = known_unit(written, quantity)
    if unit is None:
        raise ValueError(
            f"a number, or a number with one of the units {', '.join(UNITS[dimension])} in quotes"
        )
    value = in_unit(number, unit, quantity)
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return value

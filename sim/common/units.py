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
THOU = 25.4e-6
"""A thousandth of an inch [m]"""
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
    },
    "rate": {"mm³/(N·m)": (1.0, 1e9), "m²/N": (1.0, 1.0)},
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
    "um": "µm",
    "μm": "µm",  # Greek letter mu instead of the micro sign
    "micron": "µm",
    "microns": "µm",
    "inch": "in",
    "inches": "in",
    "thousandths": "thou",
    "uin": "µin",
    "μin": "µin",
    "newton": "N",
    "newtons": "N",
    "N/um": "N/µm",
    "N/μm": "N/µm",
    "lbf/thousandth": "lbf/thou",
    "lbs": "lb",
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

# What a plain number of a quantity means in either system: dimension, unit (mm), unit (inch).
QUANTITIES: dict[str, tuple[str, str, str]] = {
    "length": ("length", "mm", "in"),
    "height": ("length", "µm", "thou"),
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

_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)\s*")


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
    """A number to so many significant digits, large ones without an exponent.

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


def parse_quantity(text: str, quantity: str) -> float:
    """A number with its unit, such as ``"4 kgf"`` or ``"0.05 mm"``, in SI.

    Raises
    ------
    ValueError : if the text is no number with a unit of this quantity; says which are

    >>> parse_quantity("9 lbf", "force")
    40.0339945373445
    >>> parse_quantity("2 thou", "height")
    5.08e-05
    """
    dimension = QUANTITIES[quantity][0]
    units = UNITS[dimension]
    found = _NUMBER_AND_UNIT.fullmatch(text)
    unit = OTHER_SPELLINGS.get(found[2], found[2]) if found else ""
    if found is None or unit not in units or dimension == "number":
        if dimension == "number":
            raise ValueError("a plain number without quotes or unit")
        raise ValueError(f"a number, or a number with one of the units {', '.join(units)} in quotes")
    multiplier, divisor = units[unit]
    value = float(found[1]) * multiplier / divisor
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return value

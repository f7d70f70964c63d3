"""The units that people are spoken to in: set once by who takes up a job, read wherever words are made.

Like the rounding of decimals it belongs to the whole of what is being done, and passing it through every
function that makes a sentence would tell each of them what it has no other use for.  Nothing but words
depends on it: numbers stay SI, and so does JSON.  Outside a job it is millimetres.

A job in inches is answered as its trade speaks: heights in thousandths to the tenth or finer as bands
allow, lengths in inches, roughness in microinches, forces in lbf, a part in pounds and ounces, and what
comes off it in grains, of which scales for small weights show a tenth (6.5 mg) where an ounce is too
coarse by far: half a gram of swarf is 0.018 oz (common practice, and our choice).
"""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Iterator
from contextvars import ContextVar
from dataclasses import dataclass
from fractions import Fraction

from handlap.sim.common.units import (
    INCH,
    LBF,
    POUND,
    RATE,
    System,
    from_si,
    plain,
    show,
    show_leaf,
    to_si,
    unit_of,
)  # fmt: skip


@dataclass(frozen=True)
class Tongue:
    """The units of a job: its system, and how its leaves are stamped."""

    system: System = "mm"
    leaf_unit: str = "µm"


_METRIC = Tongue()
_NOW: ContextVar[Tongue] = ContextVar("tongue", default=_METRIC)
_INCH_RATE = 16387064e-12 / 1e6 / (LBF * 0.3048)

# Quantity → (unit, what SI is multiplied by) in either system.
_SHOWN: dict[str, dict[System, tuple[str, float]]] = {
    "height": {"mm": ("µm", 1e6), "inch": ("thou", 1e7 / 254.0)},
    "length": {"mm": ("mm", 1e3), "inch": ("in", 1.0 / INCH)},
    "way": {"mm": ("m", 1.0), "inch": ("ft", 1.0 / 0.3048)},
    "roughness": {"mm": ("µm", 1e6), "inch": ("µin", 1e10 / 254.0)},
    "mass": {"mm": ("kg", 1.0), "inch": ("lb", 1.0 / POUND)},
    "swarf": {"mm": ("g", 1e3), "inch": ("grains", 7000.0 / POUND)},
    "force": {"mm": ("N", 1.0), "inch": ("lbf", 1.0 / LBF)},
    "moment": {"mm": ("N·m", 1.0), "inch": ("lbf·ft", 1.0 / (LBF * 0.3048))},
    "pressure": {"mm": ("kPa", 1e-3), "inch": ("psi", INCH**2 / LBF)},
    "energy": {"mm": ("kJ", 1e-3), "inch": ("ft·lbf", 1.0 / (LBF * 0.3048))},
    "area": {"mm": ("cm²", 1e4), "inch": ("in²", 1.0 / INCH**2)},
    "volume": {"mm": ("cm³", 1e6), "inch": ("in³", 1.0 / INCH**3)},
    "off": {"mm": ("mm³", 1e9), "inch": ("thousandths of in³", 1e3 / INCH**3)},
    "stiffness": {"mm": ("N/µm", 1e-6), "inch": ("lbf/thou", 254e-7 / LBF)},
    "rate": {"mm": ("mm³/(N·m)", 1.0 / RATE), "inch": ("millionths in³/(lbf·ft)", 1.0 / _INCH_RATE)},
    "speed": {"mm": ("m/s", 1.0), "inch": ("ft/s", 1.0 / 0.3048)},
}


@contextlib.contextmanager
def speaking(system: System, leaf_unit: str = "") -> Iterator[None]:
    """Speak in the units of a job for as long as this lasts."""
    token = _NOW.set(Tongue(system, leaf_unit or unit_of("leaf", system)))
    try:
        yield
    finally:
        _NOW.reset(token)


def system() -> System:
    """The system of the job at hand."""
    return _NOW.get().system


def unit(quantity: str) -> str:
    """The unit that a quantity is shown in.

    >>> unit("height")
    'µm'
    """
    return _SHOWN[quantity][_NOW.get().system][0]


def per(quantity: str) -> float:
    """What an SI value is multiplied by to be shown in :func:`unit`.

    >>> with speaking("inch"): round(50.8e-6 * per("height"), 9)
    2.0
    """
    return _SHOWN[quantity][_NOW.get().system][1]


def per_height() -> float:
    """As :func:`per`, for the quantity that nearly all is about."""
    return per("height")


def height_unit() -> str:
    """Micrometres or thousandths."""
    return unit("height")


def per_length() -> float:
    """As :func:`per`, for lengths along the face."""
    return per("length")


def length_unit() -> str:
    """Millimetres or inches."""
    return unit("length")


def per_swarf() -> float:
    """As :func:`per`, for what comes off the part."""
    return per("swarf")


def swarf_unit() -> str:
    """Grams or grains."""
    return unit("swarf")


def height(value: float) -> str:
    """A height [m] rounded as the trade does: whole micrometres, tenths of a thousandth.

    >>> height(50.8e-6)
    '51 µm'
    >>> with speaking("inch"): height(50.8e-6), height(38.1e-6), height(1e-6)
    ('2 thou', '1.5 thou', '0.04 thou')
    """
    if _NOW.get().system == "mm":
        return f"{from_si(value, 'height'):.0f} µm"
    shown = per("height") * value
    return f"{round(shown, 1) if abs(shown) >= 0.1 else round(shown, 2):g} thou"


def small_height(value: float) -> str:
    """A height [m] that may be a fraction of what the trade counts in; empty for less than its last digit.

    >>> small_height(12.3e-6), small_height(0.43e-6), small_height(0.04e-6)
    ('12 µm', '0.4 µm', '')
    >>> with speaking("inch"): small_height(12.3e-6), small_height(0.43e-6), small_height(0.04e-6)
    ('0.5 thou', '0.02 thou', '')
    """
    if _NOW.get().system != "mm":
        return "" if round(per("height") * value, 2) == 0.0 else height(value)
    if from_si(value, "height") >= 9.95:
        return height(value)
    shown = f"{from_si(value, 'height'):.1f}"
    return "" if float(shown) == 0.0 else f"{shown} µm"


def say_height(value: float, spec: str) -> str:
    """A height [m] in a format of micrometres, such as ".1f"; in thousandths to three digits.

    >>> say_height(1.234e-6, ".1f")
    '1.2 µm'
    >>> with speaking("inch"): say_height(1.234e-6, ".1f"), say_height(50.8e-6, ".3g")
    ('0.0486 thou', '2 thou')
    """
    if _NOW.get().system == "mm":
        return f"{from_si(value, 'height'):{spec}} µm"
    return f"{per('height') * value:.3g} thou"


def position(value: float, spec: str = ".0f") -> str:
    """A place along a line or on the face [m], in a format of millimetres, or in inches to a hundredth.

    >>> position(0.1238), position(0.045, "+.0f")
    ('124 mm', '+45 mm')
    >>> with speaking("inch"): position(0.123825), position(0.0254, "+.0f")
    ('4.875 in', '+1 in')
    """
    if _NOW.get().system == "mm":
        return f"{1e3 * value:{spec}} mm"
    sign = "+" if spec.startswith("+") and value > 0.0 else ""
    inches = value / INCH
    eighths = round(16.0 * inches) / 16.0
    # Stations lie on sixteenths; other places need no more than a hundredth.
    shown = eighths if abs(eighths - inches) < 1e-4 else round(inches, 2)
    return f"{sign}{shown:.6g} in"


_AT = 0.5e-3
"""What lies no further from an end than this lies at it [m]."""


def taped(u: float, v: float, length: float, width: float) -> str:
    """Where a point (u, v) [m] lies on a face of that size, taped from the nearest end and side.

    >>> taped(-0.12, -0.062, 0.24, 0.14), taped(0.1, 0.03, 0.24, 0.14), taped(-0.12, -0.07, 0.24, 0.14)
    ('at the left end, 8 mm from the near side', '20 mm from the right end, 40 mm from the far side', \
'in the near left corner')
    """
    end, side = "right" if u > 0.0 else "left", "far" if v > 0.0 else "near"
    along, across = max(0.0, 0.5 * length - abs(u)), max(0.0, 0.5 * width - abs(v))
    words = [f"{position(along)} from the {end} end", f"{position(across)} from the {side} side"]
    if along < _AT:
        words[0] = f"at the {end} end"
    if across < _AT:
        words[1] = f"at the {side} side"
    if along < _AT and across < _AT:
        return f"in the {side} {end} corner"
    return ", ".join(words)


def on_rule(value: float) -> str:
    """A place [m] as it is found with a rule, without its unit: millimetres, or sixteenths of an inch.

    >>> on_rule(0.105)
    '105'
    >>> with speaking("inch"): on_rule(0.180975), on_rule(0.0047625), on_rule(0.0254), on_rule(0.01)
    ('7 1/8', '3/16', '1', '0.3937')
    """
    if _NOW.get().system == "mm":
        return plain(1e3 * round(value, 5))
    inches = value / INCH
    sixteenths = round(16.0 * inches)
    if abs(sixteenths / 16.0 - inches) > 1e-4:
        return plain(inches)
    whole, rest = divmod(sixteenths, 16)
    if rest == 0:
        return f"{whole}"
    part = Fraction(rest, 16)
    return (f"{whole} " if whole else "") + f"{part.numerator}/{part.denominator}"


_WRITTEN = re.compile(
    r"(?P<first>\d+(?:\.\d+)?)(?: to (?P<last>\d+(?:\.\d+)?))? (?P<unit>mm|µm|N|kg)(?![\w/·])"
)
_OF_UNIT = {"mm": "length", "µm": "height", "N": "force", "kg": "mass"}


def reworded(text: str, system: System) -> str:
    """A text written with metric figures, in the units of a job: rounded as one would say it.

    >>> reworded("450 mm, or 200 mm more than the part; 15 to 100 mm; 20 to 60 N", "inch")
    '18 in, or 8 in more than the part; 0.6 to 4 in; 4.5 to 13 lbf'
    >>> reworded("15 mm", "mm")
    '15 mm'
    """
    if system == "mm":
        return text

    def other(found: re.Match[str]) -> str:
        quantity = _OF_UNIT[found["unit"]]
        values = [to_si(float(found[end]), quantity) for end in ("first", "last") if found[end] is not None]
        if quantity == "length":
            values = [_round_inches(value) for value in values]
        words = [show(value, quantity, system, 3 if quantity == "length" else 2) for value in values]
        return words[0] if len(words) == 1 else f"{words[0].rpartition(' ')[0]} to {words[1]}"

    return _WRITTEN.sub(other, text)


def _round_inches(value: float) -> float:
    """A length [m] in whole inches from 3 on, in quarters from 1 on, in tenths below."""
    inches = value / INCH
    step = 1.0 if inches >= 3.0 else 0.25 if inches >= 1.0 else 0.1 if inches >= 0.1 else 0.001
    return round(inches / step) * step * INCH


def by_system(metric: str, inch: str) -> str:
    """Words that come in two versions."""
    return metric if _NOW.get().system == "mm" else inch


def leaf(value: float, digits: int = 4) -> str:
    """A leaf [m] as it is stamped, with its unit.

    >>> with speaking("inch", "in"): leaf(50.8e-6)
    '.002 in'
    """
    return show_leaf(value, _NOW.get().leaf_unit, digits)


def leaf_unit() -> str:
    """What leaves are stamped in."""
    return _NOW.get().leaf_unit


def part_weight(mass: float) -> str:
    """What a part weighs [kg], as a person would say it: pounds and ounces.

    >>> part_weight(2.5), part_weight(0.0123)
    ('2.5 kg', '12.3 g')
    >>> with speaking("inch"): part_weight(2.494758), part_weight(0.25), part_weight(4.5359237)
    ('5 lb 8 oz', '8.8 oz', '10 lb')
    """
    if _NOW.get().system == "mm":
        return f"{mass:.4g} kg" if mass >= 0.1 else f"{1e3 * mass:.4g} g"
    ounces = round(16.0 * mass / POUND, 1)
    pounds, rest = divmod(ounces, 16.0)
    if pounds == 0.0:
        return f"{ounces:g} oz"
    return f"{pounds:.0f} lb" + (f" {rest:.0f} oz" if round(rest) and mass < 50.0 * POUND else "")


def distance(value: float) -> str:
    """A length [m] as it would be set or taped: whole millimetres; inches as stated, or to a quarter.

    >>> distance(0.15), distance(0.1234)
    ('150 mm', '123 mm')
    >>> with speaking("inch"): distance(0.15), distance(0.1778), distance(0.00254)
    ('6 in', '7 in', '0.1 in')
    """
    if _NOW.get().system == "mm":
        return f"{1e3 * value:.0f} mm" if value >= 0.01 else f"{1e3 * value:.3g} mm"
    inches = value / INCH
    if abs(inches - round(inches, 2)) < 1e-4 or abs(inches) < 1.0:
        return f"{round(inches, 2):g} in"
    return f"{math.floor(4.0 * inches + 0.5) / 4.0:g} in"


def weighed(mass: float, least: float | None = None) -> str:
    """A weight as a scale showed it [kg]: grams; or grains, from a tenth of a pound on pounds and ounces.

    Parameters
    ----------
    least : least division of the scale [kg], which says how many digits it showed

    >>> weighed(0.00042, 1e-5)
    '0.42 g'
    >>> with speaking("inch"): weighed(0.00042, 6.479891e-6), weighed(2.494758, 2.83e-5)
    ('6.5 grains', '5 lb 8.000 oz')
    """
    if _NOW.get().system == "mm":
        return f"{1e3 * mass:.7g} g"
    if mass < 0.1 * POUND:
        shown = 7000.0 * mass / POUND
        return f"{shown:.{_decimals(least, 7000.0)}f} grains"
    ounces = 16.0 * mass / POUND
    decimals = _decimals(least, 16.0)
    pounds, rest = divmod(round(ounces, decimals), 16.0)
    return (f"{pounds:.0f} lb " if pounds else "") + f"{rest:.{decimals}f} oz"


def _decimals(least: float | None, in_a_pound: float) -> int:
    """Decimals that a scale shows; two for one that nobody named."""
    if not least:
        return 2
    return min(4, max(0, math.ceil(-math.log10(in_a_pound * least / POUND) - 0.05)))

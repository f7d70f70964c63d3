"""Numbers as people write them, and bare ones that only make sense in another unit than the one expected.

A number may bring its unit and is then taken at its word.  A bare one stands in the unit that is
expected at its place; where it makes no sense in that unit but does in another (0.05 in a set of
leaves stamped in µm), it is neither taken nor refused blindly: :func:`doubtful` says what it may
mean.  Who can ask, asks :attr:`NumberDoubt.question`; who cannot, refuses with :attr:`NumberDoubt.remedy`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from handlap.sim.common.errors import InputError
from handlap.sim.common.units import (
    QUANTITIES,
    UNITS,
    System,
    in_unit,
    known_unit,
    number_and_unit,
    number_of,
    show,
    unit_of,
)

SAME_LEAF = 0.025
"""Leaves no further apart than this share are one leaf stamped in two units: 50 µm and 2 thou [-]."""


@dataclass(frozen=True)
class SensibleRange:
    """What a kind of quantity can be by hand (common practice) [SI], and what is said of the rest."""

    quantity: str
    low: float
    high: float
    below: str
    above: str


SENSES = {
    "leaf": SensibleRange("leaf", 5e-6, 2e-3, "thinner than any leaf", "thicker than any leaf"),
    "limit": SensibleRange("height", 1e-6, 1e-3, "finer than any limit", "coarser than any limit"),
    "allowance": SensibleRange("height", 2e-6, 3e-3, "less than a few strokes", "more than anybody laps off"),
    "length": SensibleRange("length", 1e-3, 5.0, "smaller than anything here", "longer than any part"),
    "mass": SensibleRange("mass", 0.005, 500.0, "lighter than any part", "heavier than any part"),
    "swarf": SensibleRange("mass", 1e-6, 1.0, "less than any scale shows", "more than anybody laps off"),
    "force": SensibleRange("force", 0.5, 1000.0, "lighter than any hand", "more than anybody presses"),
}
"""Kind → sense."""

_OTHERS: dict[str, dict[System, tuple[str, ...]]] = {
    "leaf": {"mm": ("mm", "µm", "thou", "in"), "inch": ("thou", "in", "mm", "µm")},
    "height": {"mm": ("µm", "mm", "thou", "in"), "inch": ("thou", "in", "mm", "µm")},
    "length": {"mm": ("mm", "m", "cm", "in", "µm"), "inch": ("in", "mm")},
    "mass": {"mm": ("kg", "g", "lb", "oz"), "inch": ("lb", "oz", "g", "kg")},
    "force": {"mm": ("N", "kgf", "lbf"), "inch": ("lbf", "kgf", "N")},
}
"""Quantity → units that a bare number may have been meant in, likeliest first."""


_OWN: dict[System, tuple[str, ...]] = {
    "mm": ("mm", "µm", "cm", "m", "kg", "g", "N", "kgf"),
    "inch": ("thou", "in", "lb", "oz", "g", "lbf"),
}


@dataclass(frozen=True)
class MeasuredNumber:
    """A number that was written: in SI, as it stood, its unit, and whether it brought that itself."""

    value: float
    number: float
    unit: str
    bare: bool


def read_measured(text: str, quantity: str, unit: str) -> MeasuredNumber:
    """A number with or without a unit.

    Parameters
    ----------
    quantity : a row of :data:`handlap.sim.common.units.QUANTITIES`
    unit : what a bare number stands in

    Raises
    ------
    ValueError : says what is allowed

    >>> read_measured("4 thou", "leaf", "µm").value, read_measured("50", "leaf", "µm").value
    (0.0001016, 5e-05)
    """
    units = ", ".join(UNITS[QUANTITIES[quantity][0]])
    number, written = number_and_unit(text)
    known = known_unit(written, quantity) if written else unit
    if known is None:
        raise ValueError(f"a number in {unit}, or with one of the units {units}")
    value = in_unit(number, known, quantity)
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return MeasuredNumber(float(f"{value:.15g}"), number, known, not written)


LONGEST = SENSES["length"].high


def read_length(text: str, system: System, *, least: float = 1e-3, most: float = LONGEST) -> float:
    """A length [m] within bounds, in the job's unit or its own.

    Raises
    ------
    ValueError : says what is allowed

    >>> read_length("2 in", "mm"), read_length("60", "mm")
    (0.0508, 0.06)
    """
    unit = unit_of("length", system)
    try:
        value = read_measured(text, "length", unit).value
    except ValueError:
        value = math.nan
    if not least - 1e-12 <= value <= most:
        low, high = (show(x, "length", system) for x in (least, most))
        bounds = f"at least {low}" if most == LONGEST else f"{low} to {high}"
        such = "80" if system == "mm" else "3.5"
        raise ValueError(f"a length of {bounds}, such as {such} ({unit}) or with its own unit")
    return value


@dataclass(frozen=True)
class NumberDoubt:
    """A bare number that makes no sense in the unit expected.

    Attributes
    ----------
    taken : what it would be, such as "0.05 µm"
    why : what speaks against that, such as "thinner than any leaf"
    meant : what it may be instead, as one would write it, likeliest first; never empty
    values : the same [SI]
    """

    taken: str
    why: str
    meant: tuple[str, ...]
    values: tuple[float, ...]

    @property
    def question(self) -> str:
        """What to ask back."""
        return f"{self.taken} is {self.why}: {' or '.join(self.meant)}?"

    @property
    def remedy(self) -> str:
        """What to write instead, for the "allowed" of a message."""
        return f"{self.taken} is {self.why}; write {' or '.join(self.meant)} with its unit if that is meant"


class Doubted(InputError):
    """A bare number is to be asked back; who cannot ask lets it through as a refusal."""

    def __init__(self, doubt: NumberDoubt, instead: str = "") -> None:
        super().__init__(doubt.remedy)
        self.doubt = doubt
        self.instead = instead or doubt.meant[0]
        """What stands for the answer if the person says yes."""


def doubtful(
    number: float,
    kind: str,
    unit: str,
    system: System = "mm",
    *,
    among: Sequence[float] = (),
    sense: tuple[float, float] | None = None,
) -> NumberDoubt | None:
    """Whether a bare number is to be asked back, and what it may mean; None: take it as it is.

    Parameters
    ----------
    number : as it was written
    kind : a row of :data:`SENSES`
    unit : what it would stand in
    system : of the job: which other units are likely
    among : leaves at hand, where it has to be one of them [m]
    sense : least and greatest value that makes sense, where more is known than the kind [SI]

    >>> doubtful(0.05, "leaf", "µm").question
    '0.05 µm is thinner than any leaf: 0.05 mm?'
    >>> doubtful(0.229, "leaf", "µm").meant, doubtful(50, "leaf", "µm"), doubtful(50, "leaf", "mm").meant
    (('0.229 mm',), None, ('50 µm',))
    """
    known = SENSES[kind]
    low, high = sense or (known.low, known.high)
    value = in_unit(number, unit, known.quantity)
    if not math.isfinite(value) or value <= 0.0:
        return None
    listed = _in_set(value, among)
    if low <= value <= high and (listed or not among):
        return None
    tried = [(u, in_unit(number, u, known.quantity)) for u in _OTHERS[known.quantity][system] if u != unit]
    others = [(u, v) for u, v in tried if low <= v <= high]
    others = [(u, v) for u, v in others if _in_set(v, among)] or ([] if low <= value <= high else others)
    # Units of the job's own system first: nobody who works in millimetres means 0.05 inches.  A part
    # weighed in a shop that works in inches may well have been weighed in grams.
    others = [(u, v) for u, v in others if u in _OWN[system]] or others
    if not others:
        return None
    why = known.below if value < low else known.above if value > high else "not in your set"
    shown = f"{number:.7g}"
    return NumberDoubt(
        f"{shown} {unit}", why, tuple(f"{shown} {u}" for u, _ in others[:2]), tuple(v for _, v in others[:2])
    )


def _in_set(value: float, among: Sequence[float]) -> bool:
    return any(abs(value - leaf) <= SAME_LEAF * leaf for leaf in among)


_GLUE = "\ue000"
"""Stands for the blank between a number and its unit while a list is taken apart; nobody types it."""
_BEFORE_UNIT = re.compile(r"(?<=[\d.,])[ \t]+([^\s\d,;]+)")


def _is_unit(word: str) -> bool:
    return any(known_unit(word, quantity) for quantity in ("length", "force", "mass"))


def split_numbers(text: str) -> list[str]:
    """The numbers of a list as it was typed, each with its unit; a unit at the end stands for all.

    Between them are blanks, semicolons or commas; a comma may also be a decimal one.

    Raises
    ------
    ValueError : where a comma can be read in two ways

    >>> split_numbers("30 40, 50"), split_numbers("0,05 0,1 mm"), split_numbers("0.05mm; 4 thou")
    (['30', '40', '50'], ['0,05 mm', '0,1 mm'], ['0.05mm', '4 thou'])
    """
    joined = _BEFORE_UNIT.sub(lambda m: _GLUE + m[1] if _is_unit(m[1]) else m[0], text.strip())
    joined = re.sub(r"(?<=\d) +(?=\d+/\d+)", _GLUE, joined)
    parts = _between(joined)
    units = [_unit_behind(part) for part in parts]
    if len(parts) > 1 and units[-1] and not any(units[:-1]) and all(_is_number(part) for part in parts[:-1]):
        parts = [*(f"{part}{_GLUE}{units[-1]}" for part in parts[:-1]), parts[-1]]
    return [part.replace(_GLUE, " ") for part in parts]


def _between(joined: str) -> list[str]:
    if ";" in joined:
        return [part.strip() for part in joined.split(";") if part.strip()]
    if not re.search(r"[ \t\n]", joined):
        parts = [part for part in joined.split(",") if part]
        if any(re.fullmatch(r"0\d.*|0", part) for part in parts) and len(parts) > 1:
            # "0,05" alone is a number; "0,05,0,1" is anybody's guess.
            if len(parts) == 2:
                return [joined]
            raise ValueError("numbers with blanks or semicolons between them")
        return parts
    if not re.search(r",\s", joined):
        return joined.split()
    parts = [part for part in re.split(r",?[ \t\n]+", joined) if part.strip(",")]
    commas = sum("," in part for part in parts)
    if 0 < commas < len(parts) and not all(re.match(r"[+-]?0?,\d|[^,]*$", part) for part in parts):
        raise ValueError("numbers with blanks or semicolons between them, for a comma may be a decimal one")
    return [part.strip(",") for part in parts]


def _unit_behind(part: str) -> str:
    try:
        return number_and_unit(part.replace(_GLUE, " "))[1]
    except ValueError:
        return ""


def _is_number(part: str) -> bool:
    try:
        number_of(part.replace(_GLUE, " "))
    except ValueError:
        return False
    return True

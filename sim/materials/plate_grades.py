"""Grades of surface plates: how flat three standards want a plate of its size to be.

Tolerances are on the whole working face, between two parallel planes:

- DIN 876, grades 0 to 3 (also written 0, I, II, III): 4 + L/250, 10 + L/100, 20 + L/50 and
  40 + L/25 µm, L the longer side in mm (published; 4·(1 + L/1000) and so on in the standard);
- ISO 8512-2, grades 0 to 3: c1·D + c2 µm, D the diagonal in mm rounded up to the next 100
  (grade 0 published, the others from memory);
- ASME B89.3.7, grades AA, A and B: 40 + D²/25 µin, D the diagonal in inches; A twice and B four
  times that (AA published, the multiples from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from handlap.sim.common.spelling import nearest
from handlap.sim.common.units import INCH, MICROINCH

DIN_876: dict[str, tuple[float, float]] = {
    "0": (4.0, 250.0),
    "1": (10.0, 100.0),
    "2": (20.0, 50.0),
    "3": (40.0, 25.0),
}
"""Grade → fixed part [µm] and side [mm] that adds 1 µm."""
ISO_8512_2: dict[str, tuple[float, float]] = {
    "0": (0.003, 2.5),
    "1": (0.006, 5.0),
    "2": (0.012, 10.0),
    "3": (0.024, 20.0),
}
"""Grade → c1 [µm/mm] and c2 [µm]."""
ASME_B89_3_7: dict[str, float] = {"AA": 1.0, "A": 2.0, "B": 4.0}
"""Grade → multiple of 40 + D²/25 µin."""

_ROMAN = {"I": "1", "II": "2", "III": "3"}
_STANDARDS = {
    "DIN876": "DIN 876",
    "ISO85122": "ISO 8512-2",
    "ASMEB8937": "ASME B89.3.7",
    "B8937": "ASME B89.3.7",
}
_GRADES: dict[str, Mapping[str, object]] = {
    "DIN 876": DIN_876,
    "ISO 8512-2": ISO_8512_2,
    "ASME B89.3.7": ASME_B89_3_7,
}


def names() -> list[str]:
    """Every grade, by standard, the flattest first.

    >>> names()[:2], names()[-1]
    (['DIN 876 0', 'DIN 876 1'], 'ASME B89.3.7 B')
    """
    return [f"{standard} {grade}" for standard, grades in _GRADES.items() for grade in grades]


def find(text: str) -> str:
    """The grade a text means, as :func:`names` writes it.

    Raises
    ------
    ValueError : if there is no such grade, or no standard is named; lists what there is

    >>> find("DIN 876 II"), find("din876/0"), find("ASME B89.3.7 grade AA")
    ('DIN 876 2', 'DIN 876 0', 'ASME B89.3.7 AA')
    """
    short = re.sub(r"GRADE|[^A-Z0-9]", "", text.upper())
    for start, standard in _STANDARDS.items():
        if short.startswith(start):
            grade = short.removeprefix(start)
            grade = _ROMAN.get(grade, grade) if standard != "ASME B89.3.7" else grade
            if grade in _GRADES[standard]:
                return f"{standard} {grade}"
    near = nearest(text, names(), 0.6)
    hint = f"the nearest is {near}; " if near else ""
    raise ValueError(f'no grade "{text}"; {hint}known are {", ".join(names())}')


def tolerance(grade: str, length: float, width: float) -> float:
    """Flatness that a grade allows a plate of this size.

    Parameters
    ----------
    grade : as :func:`find` takes it
    length, width : sides of the plate [m]

    Returns
    -------
    Distance between two parallel planes that hold the whole face [m].

    Raises
    ------
    ValueError : if there is no such grade, or a side is not above zero

    >>> round(1e6 * tolerance("ISO 8512-2 0", 0.630, 0.400), 3)
    4.9
    """
    if not (length > 0.0 and width > 0.0 and math.isfinite(length + width)):
        raise ValueError(f"sides of a plate must be above 0; got {length} and {width} m")
    name = find(grade)
    standard, level = name.rsplit(" ", 1)
    diagonal = math.hypot(length, width)
    if standard == "DIN 876":
        fixed, per = DIN_876[level]
        return 1e-6 * (fixed + 1e3 * max(length, width) / per)
    if standard == "ISO 8512-2":
        slope, fixed = ISO_8512_2[level]
        rounded = 100.0 * math.ceil(10.0 * diagonal - 1e-9)
        return 1e-6 * (slope * rounded + fixed)
    return MICROINCH * ASME_B89_3_7[level] * (40.0 + (diagonal / INCH) ** 2 / 25.0)

"""Abrasive papers: grain sizes, and what follows from them for bedding and finish.

P grades are those of ISO 6344 (FEPA); US grades (CAMI) are mapped onto them.  Marks as in
:mod:`handlap.sim.materials.metals`: S published, M from memory, D derived, C common practice.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from handlap.sim.materials.metals import Metal

BEDDING_RATIO = 0.12
"""Bedding length λ of fresh paper over grain diameter (D, from the topography of paper)."""
REFERENCE = 125e-6
"""Grain diameter at which rates and floors of papers are stated: P120 [m]."""
ROUGHNESS_FACTOR = math.sqrt(2.0)
"""Charts of the finish left by a paper disagree by a factor of 2: a band of ×/÷ √2 (D)."""
WORN_ROUGHNESS = (0.5, 0.7)
"""Worn paper, or last light strokes, leave this share of the roughness (D)."""


@dataclass(frozen=True)
class Grit:
    """One grade of paper.

    Attributes
    ----------
    name : P grade, such as "P120"
    diameter : mean grain diameter d [m] (ISO 6344)
    """

    name: str
    diameter: float

    def bedding_length(self, ratio: float = BEDDING_RATIO) -> float:
        """Bedding length λ = ratio·d [m]; ratio 0.06–0.2 (D)."""
        return ratio * self.diameter

    def roughness_median(self, metal: Metal) -> float:
        """Middle of the band of :meth:`roughness` for paper in good cut [m] (D)."""
        return self.diameter / metal.ra_divisor

    def worn_roughness(self, metal: Metal) -> float:
        """Roughness Ra that this paper leaves when it is worn, as it is when a face leaves it [m] (D)."""
        return self.roughness_median(metal) * sum(WORN_ROUGHNESS) / 2.0

    def roughness(self, metal: Metal, *, worn: bool = False) -> tuple[float, float]:
        """Band of the roughness Ra left by hand [m]: d/divisor, ×/÷ √2 (D).

        Parameters
        ----------
        metal : the metal lapped
        worn : with worn paper or last light strokes, which leave 0.5–0.7 of it
        """
        middle = self.roughness_median(metal)
        low, high = WORN_ROUGHNESS if worn else (1.0, 1.0)
        return middle / ROUGHNESS_FACTOR * low, middle * ROUGHNESS_FACTOR * high


# ISO 6344 mean grain diameters [µm]: whole numbers S (P220 rounded), decimals M.
P_DIAMETERS: dict[int, float] = {
    12: 1815, 16: 1324, 20: 1000, 24: 764, 30: 642, 36: 538, 40: 425, 50: 336, 60: 269, 80: 201,
    100: 162, 120: 125, 150: 100, 180: 82, 220: 68, 240: 58.5, 280: 52.2, 320: 46.2, 360: 40.5,
    400: 35.0, 500: 30.2, 600: 25.8, 800: 21.8, 1000: 18.3, 1200: 15.3, 1500: 12.6, 2000: 10.3,
    2500: 8.4,
}  # fmt: skip

GRITS: dict[str, Grit] = {f"P{n}": Grit(f"P{n}", d / 1e6) for n, d in P_DIAMETERS.items()}

# US (CAMI) mean grain diameters [µm], M; used to say how far the P grade named for it is off.
US_DIAMETERS: dict[int, float] = {
    60: 268, 80: 192, 100: 141, 120: 116, 150: 93, 180: 78, 220: 66, 240: 53, 280: 44, 320: 36,
    360: 28.8, 400: 23, 500: 19.7, 600: 16, 800: 12.2,
}  # fmt: skip

# The same number up to 220; above, the P grade of nearest grain (240, 320, 400, 600, 800 as
# printed in comparison charts; 280, 360, 500 by the diameters above, M).
US_TO_P: dict[int, int] = {n: n for n in P_DIAMETERS if n <= 220} | {
    240: 280, 280: 320, 320: 400, 360: 500, 400: 800, 500: 1000, 600: 1200, 800: 1500,
}  # fmt: skip

_SPELLING = re.compile(
    r"(?:(?P<before>p|us|cami)[ -]?)?(?P<number>\d+)(?:[ -]?(?P<after>us|cami|grit))?", re.IGNORECASE
)


def us(number: int) -> Grit:
    """The P grade that stands for a US grade.

    Raises
    ------
    ValueError : if the number is no US grade; says the nearest and all that are known

    >>> us(120).name, us(400).name
    ('P120', 'P800')
    """
    if number not in US_TO_P:
        near = min(US_TO_P, key=lambda n: abs(math.log(n / max(number, 1))))
        known = ", ".join(str(n) for n in US_TO_P)
        raise ValueError(f"no US grade {number}; the nearest is {near}; known are {known}")
    return GRITS[f"P{US_TO_P[number]}"]


def us_nearest(grit: Grit) -> int | None:
    """The US grade nearest to a P grade: the same number where there is one, else by ratio of grain.

    None where no US grade comes within ×/÷ 1.15.

    >>> us_nearest(find("P120")), us_nearest(find("P1200")), us_nearest(find("P2500"))
    (120, 600, None)
    """
    number = int(grit.name.removeprefix("P")) if grit.name in GRITS else 0
    if US_TO_P.get(number) == number:
        return number
    close = min(US_DIAMETERS, key=lambda n: abs(math.log(US_DIAMETERS[n] / 1e6 / grit.diameter)))
    return close if abs(math.log(US_DIAMETERS[close] / 1e6 / grit.diameter)) < math.log(1.15) else None


def find(name: str) -> Grit:
    """The paper of this name: "P120", "120" (up to 220, where P and US agree), "120 US", "US 400".

    Raises
    ------
    ValueError : if there is none, or if a plain number above 220 could be P or US

    >>> find("p 120").diameter, find("400 US").name
    (0.000125, 'P800')
    """
    found = _SPELLING.fullmatch(" ".join(name.split()))
    marks = {m.lower() for m in (found["before"], found["after"]) if m} if found else set()
    if found is None or ("p" in marks and marks & {"us", "cami"}):
        raise ValueError(f'"{name}" is no grade of paper: write it as "P120" or "120 US"')
    number = int(found["number"])
    if marks & {"us", "cami"}:
        return us(number)
    if "p" not in marks and number > 220:
        which = f'write "P{number}" or "{number} US"'
        raise ValueError(f'"{name}" could be P or US, which differ above 220: {which}')
    if number not in P_DIAMETERS:
        near = min(P_DIAMETERS, key=lambda n: abs(math.log(n / max(number, 1))))
        raise ValueError(f"no grade P{number}; the nearest is P{near}; known are {', '.join(GRITS)}")
    return GRITS[f"P{number}"]

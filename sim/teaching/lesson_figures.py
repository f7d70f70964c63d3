"""Figures that lessons ask about: what each is called, and how it is shown with its unit.

A lesson's file names them, its texts hold them as ``{case.figure}``, and reports show them; all
three speak alike because all three come here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band

Unit = Literal["length", "count", "mass", "minutes", "share", "force", "depth a gram", "ratio"]

SCREEN: dict[Unit, tuple[str, float]] = {
    "length": ("µm", 1e6),
    "count": ("", 1.0),
    "mass": ("g", 1e3),
    "minutes": ("min", 1.0),
    "share": ("%", 100.0),
    "force": ("N", 1.0),
    "depth a gram": ("µm a gram", 1e3),
    "ratio": ("times", 1.0),
}
"""Unit on the screen of every kind of figure, and what an SI value is multiplied by for it."""
FINEST: dict[Unit, float] = {
    "length": 0.1,
    "count": 1.0,
    "mass": 0.01,
    "minutes": 0.1,
    "share": 1.0,
    "force": 1.0,
    "depth a gram": 0.1,
    "ratio": 0.01,
}
"""Finest step shown, in screen units."""
NEVER = "not reached"
LEAST_STEPS = 5.0
"""A band spans at least this many steps of the last digit shown."""


@dataclass(frozen=True)
class FigureKind:
    """One figure of a case.

    Attributes
    ----------
    words : what it is, as in "the flatness left"
    unit : kind of its unit
    course : whether it is also known at every look along the way
    """

    words: str
    unit: Unit
    course: bool = False

    @property
    def screen_unit(self) -> str:
        """Its unit on the screen."""
        return SCREEN[self.unit][0]

    @property
    def scale(self) -> float:
        """What an SI value is multiplied by to stand in that unit."""
        return SCREEN[self.unit][1]


FIGURES: dict[str, FigureKind] = {
    "flatness": FigureKind("the flatness left (zone between two planes)", "length", True),
    "flatness_start": FigureKind("the flatness before the first stroke", "length"),
    "straightedge": FigureKind("the worst gap under the straightedge", "length", True),
    "straightedge_start": FigureKind(
        "the worst gap under the straightedge before the first stroke", "length"
    ),
    "mean_depth": FigureKind("the mean depth removed", "length", True),
    "deepest": FigureKind("the greatest depth removed", "length", True),
    "taper_along": FigureKind("how much more came off at the right end than at the left one", "length", True),
    "taper_across": FigureKind("how much more came off on the far side than on the near one", "length", True),
    "slant": FigureKind("the slant of what came off, end to end or side to side", "length", True),
    "bow_along": FigureKind("how far the middle stands over both ends", "length", True),
    "bow_across": FigureKind("how far the middle stands over both sides", "length", True),
    "twist": FigureKind("how far one diagonal's ends stand over the other's", "length", True),
    "ends_removed": FigureKind("the mean depth removed in the outer tenths of the length", "length", True),
    "middle_removed": FigureKind("the mean depth removed in the middle fifth of the length", "length", True),
    "ends_over_middle": FigureKind("how much more came off at the ends than in the middle", "length", True),
    "dye_left": FigureKind("the share of the face on which the first dye is left", "share", True),
    "dye_faded": FigureKind("the share of the face on which the first dye is fading or gone", "share", True),
    "push": FigureKind("the force to push it along", "force", True),
    "push_start": FigureKind("the force to push it along on fresh paper", "force"),
    "first_cut": FigureKind("the mean depth removed up to the first look", "length"),
    "last_cut": FigureKind("the mean depth removed since the last look but one", "length"),
    "least_cut": FigureKind("the mean depth that has still to come off to clear the face", "length"),
    "least_cut_start": FigureKind("the mean depth that has to come off to clear the face", "length"),
    "edge_level": FigureKind("the worst gap with the straightedge held level", "length", True),
    "edge_tipped": FigureKind("the worst gap with the straightedge tipped onto one end", "length", True),
    "best_flatness": FigureKind("the least flatness along the way", "length"),
    "best_strokes": FigureKind("the strokes to the least flatness along the way", "count"),
    "past_best": FigureKind("how much flatness was lost again since the best point", "length"),
    "strokes": FigureKind("the strokes worked", "count"),
    "strokes_to_limit": FigureKind("the strokes until the face keeps its limit", "count"),
    "depth_to_limit": FigureKind("the mean depth removed until the face keeps its limit", "length"),
    "minutes": FigureKind("the minutes of strokes", "minutes"),
    "minutes_to_limit": FigureKind("the minutes of strokes until the face keeps its limit", "minutes"),
    "mass": FigureKind("the metal removed", "mass", True),
    "springs_back": FigureKind("what springs back when the hands let go", "length"),
    "flatness_pressed": FigureKind("the flatness while the hands press", "length"),
}
"""Every figure by the name that a lesson's file calls it."""


def unit_of_pair(first: str, sign: Literal["", "-", "/"], second: str = "") -> Unit:
    """Kind of unit of one figure, of one less another, or of one over another.

    Raises
    ------
    ValueError : if the two do not go together

    >>> unit_of_pair("mean_depth", "/", "mass")
    'depth a gram'
    """
    one = FIGURES[first].unit
    if not sign:
        return one
    other = FIGURES[second].unit
    if one == other:
        return "ratio" if sign == "/" else one
    if sign == "/" and (one, other) == ("length", "mass"):
        return "depth a gram"
    word = "divided by" if sign == "/" else "compared with"
    raise ValueError(f"{first} is a {one} and {second} a {other}: they cannot be {word} one another")


def band_of(values: Array) -> Band:
    """Band of a figure over members (members,), some of which may never reach it (infinite)."""
    if np.isfinite(values).all():
        return Band.of(values)
    if np.isnan(values).any():
        return Band(math.nan, math.nan, math.nan)
    low, middle, high = np.percentile(values, [5.0, 50.0, 95.0], method="nearest")
    return Band(float(low), float(middle), float(high))


def show_figure(name: str, value: Band | float) -> str:
    """A figure, or its band, in screen units.

    Parameters
    ----------
    name : one of :data:`FIGURES`, or a kind of unit such as "ratio"
    value : one value or a band [SI]

    >>> show_figure("flatness", Band(15.2e-6, 18.4e-6, 22.1e-6))
    '18 µm (15–22)'
    >>> show_figure("strokes_to_limit", math.inf), show_figure("ratio", 2.81)
    ('not reached', '2.8 times')
    """
    unit = FIGURES[name].unit if name in FIGURES else next(u for u in SCREEN if u == name)
    sign, scale = SCREEN[unit]
    band = value if isinstance(value, Band) else Band(value, value, value)
    low, middle, high = (scale * x for x in (band.p05, band.p50, band.p95))
    joint = f" {sign}" if sign else ""
    if not math.isfinite(middle):
        return NEVER if math.isinf(middle) else "not known"
    finite = math.isfinite(low) and math.isfinite(high)
    step = _step(high - low if finite else 0.0, middle, FINEST[unit])
    if not finite:
        return f"{_rounded(middle, step)}{joint} (from {_rounded(low, step)}, for some {NEVER})"
    ends = _rounded(low, step), _rounded(high, step)
    # A middle to two digits whatever the spread: 47, 62 and 56 are not 50, 60 and 60.
    text = _rounded(middle, min(step, _step(0.0, middle, FINEST[unit]))) + joint
    if ends[0] == ends[1]:
        return text
    return f"{text} ({ends[0]} to {ends[1]})" if "−" in "".join(ends) else f"{text} ({ends[0]}–{ends[1]})"


def _step(spread: float, middle: float, finest: float) -> float:
    """The step of the last digit worth showing: two digits, or more where the band is narrow."""
    digits = abs(middle) / 10.0 or 1.0
    step = 10.0 ** math.floor(math.log10(digits))
    if spread > 0.0:
        step = max(step, 10.0 ** math.floor(math.log10(spread / LEAST_STEPS)))
        step = min(step, 10.0 ** math.floor(math.log10(spread)))
    return max(step, finest)


def _rounded(value: float, step: float) -> str:
    text = f"{round(value / step) * step:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}"
    return text.lstrip("-") if float(text) == 0.0 else text.replace("-", "−")

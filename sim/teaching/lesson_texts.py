"""Placeholders in the texts of a lesson, filled with figures of the run.

``{case.figure}`` stands for the band of a figure of a case; ``{one.figure - other.figure}`` and
``{one.figure / other.figure}`` for the band of a difference and of a ratio, taken member by member.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.materials import grits
from handlap.sim.teaching.lesson_figures import FIGURES, Unit, band_of, show_figure, unit_of_pair

BRACES = re.compile(r"\{([^{}]*)\}")
_TERM = r"\s*([A-Za-z_]\w*)\.(\w+)\s*"
_INSIDE = re.compile(rf"{_TERM}(?:([-/]){_TERM})?")
_WITH_DIGIT = re.compile(r"[^\s(),;:!?]*\d[^\s(),;:!?]*")


@dataclass(frozen=True)
class Placeholder:
    """One figure of a case, or two held against each other."""

    case: str
    figure: str
    sign: Literal["", "-", "/"] = ""
    other_case: str = ""
    other_figure: str = ""

    @property
    def unit(self) -> Unit:
        """Kind of unit it is shown in."""
        return unit_of_pair(self.figure, self.sign, self.other_figure)

    def values(self, figures: Mapping[str, Mapping[str, Array]]) -> Array:
        """Its values (members,) [SI] from the figures of all cases."""
        first = figures[self.case][self.figure]
        if not self.sign:
            return first
        return against(first, self.sign, figures[self.other_case][self.other_figure])


def against(first: Array, sign: str, second: Array) -> Array:
    """One figure less (over) another, member by member; NaN where neither is known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return first / second if sign == "/" else first - second


def read_placeholder(inside: str, cases: Mapping[str, object]) -> Placeholder:
    """The placeholder between two braces.

    Raises
    ------
    ValueError : with what is allowed

    >>> read_placeholder("crown.flatness / hollow.flatness", {"crown": 0, "hollow": 0}).sign
    '/'
    """
    found = _INSIDE.fullmatch(inside)
    if found is None:
        raise ValueError(
            "{case.figure}, or two of them with - or / between; cases here are " + ", ".join(cases)
        )
    one, figure, sign, other, other_figure = found.groups(default="")
    for case, name in ((one, figure), (other, other_figure)):
        if case and case not in cases:
            raise ValueError(f"no case {case}; cases here are {', '.join(cases)}")
        if name and name not in FIGURES:
            raise ValueError(f"no figure {name}; figures are {', '.join(FIGURES)}")
    placeholder = Placeholder(one, figure, "/" if sign == "/" else "-" if sign else "", other, other_figure)
    unit_of_pair(placeholder.figure, placeholder.sign, placeholder.other_figure)
    return placeholder


def loose_figures(text: str) -> list[str]:
    """Words of a text that hold a digit outside placeholders; names of papers do not count.

    >>> loose_figures("on P80 it took {a.strokes}, not 300")
    ['300']
    """
    return [word for word in _WITH_DIGIT.findall(BRACES.sub(" ", text)) if not _is_paper(word)]


def _is_paper(word: str) -> bool:
    return word.strip(".'\"’") in grits.GRITS


def fill(text: str, figures: Mapping[str, Mapping[str, Array]]) -> str:
    """A text with its placeholders filled.

    Parameters
    ----------
    figures : by case and figure, arrays (members,) [SI]

    >>> fill("{a.strokes}", {"a": {"strokes": np.array([40.0, 40.0])}})
    '40'
    """

    def shown(found: re.Match[str]) -> str:
        placeholder = read_placeholder(found[1], figures)
        return show_figure(placeholder.unit, band_of(placeholder.values(figures)))

    return BRACES.sub(shown, text)

"""Patterns of strokes: the path of each as the operator sees it, its length, and where on it the part is.

Apart from :mod:`handlap.sim.lapping.poses`, so that whoever reads a scenario can ask whether its strokes
stay on the plate.  Whatever the program has to know of a pattern stands in its record: nothing else asks for
a pattern by its name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array

Pattern = str
"""Name of a pattern, a key of :data:`PATTERNS`."""
Path = tuple[Array, Array, Array]
"""x, y [m] and heading [rad] of places on a path, each (n,)."""


@dataclass(frozen=True)
class StrokePattern:
    """One pattern of strokes.

    Attributes
    ----------
    words : what it is, behind its name in the help of its key
    run : sliding distance of one stroke [m] for a travel (or diameter) [m]
    round : places of a closed path, for a travel [m] and shares 0…1 of a round (n,); None: a straight line
    slants : angles of the path to the way the operator looks; groups of rows take them in turn [rad]
    one_way : it cuts on the push only, the return is lifted
    alike : its path looks alike however it is turned
    searched : whether a search for a better way of working tries it on every job
    """

    words: str
    run: Callable[[float], float]
    round: Callable[[float, Array], Path] | None = None
    slants: tuple[float, ...] = (0.0,)
    one_way: bool = False
    alike: bool = False
    searched: bool = False


def _there_and_back(length: float) -> float:
    return 2.0 * length


def _on_circle(length: float, share: Array) -> Path:
    angle = 2.0 * np.pi * share
    return 0.5 * length * np.sin(angle), -0.5 * length * np.cos(angle), angle


def _eight(length: float) -> tuple[Array, Array, Array]:
    """Distance run, place (n, 2) and heading (n,) along an eight twice as long as wide."""
    t = np.linspace(0.0, 2.0 * np.pi, 721)
    place = np.column_stack([0.5 * length * np.sin(t), 0.25 * length * np.sin(2.0 * t)])
    slope_x, slope_y = 0.5 * length * np.cos(t), 0.5 * length * np.cos(2.0 * t)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))])
    return run, place, np.unwrap(np.arctan2(slope_y, slope_x))


def _on_eight(length: float, share: Array) -> Path:
    run, place, heading = _eight(length)
    at = share * run[-1]
    return (
        np.interp(at, run, place[:, 0]),
        np.interp(at, run, place[:, 1]),
        np.interp(at, run, heading),
    )


PATTERNS: dict[str, StrokePattern] = {
    "straight": StrokePattern("to and fro", _there_and_back, searched=True),
    "one way": StrokePattern("return lifted", lambda length: length, one_way=True),
    "circle": StrokePattern("", lambda length: float(np.pi * length), _on_circle, alike=True),
    "eight": StrokePattern("figure of eight", lambda length: float(_eight(length)[0][-1]), _on_eight),
    "diagonal": StrokePattern(
        "straight with changing direction", _there_and_back,
        slants=(np.pi / 4.0, -np.pi / 4.0), searched=True,
    ),
}  # fmt: skip
"""By the name that a scenario file and a way of working give them."""


def pattern_words() -> str:
    """All patterns, each with what it is in brackets."""
    return ", ".join(f"{name} ({p.words})" if p.words else name for name, p in PATTERNS.items())


def path_length(pattern: Pattern, length: float) -> float:
    """Sliding distance of one stroke [m] for a travel (or diameter) ``length`` [m].

    A one-way stroke cuts on the push only; the return is lifted.

    >>> path_length("straight", 0.1), path_length("one way", 0.1)
    (0.2, 0.1)
    """
    return PATTERNS[pattern].run(length)


def slants_of(pattern: Pattern) -> tuple[float, ...]:
    """Angles of a stroke's path to the way the operator looks; groups of rows take them in turn [rad]."""
    return PATTERNS[pattern].slants


def on_path(
    pattern: Pattern, length: float, phase: Array, push: NDArray[np.bool_], quad: NDArray[np.int64]
) -> Path:
    """Place (x, y) and heading of rows in the operator's frame, at phases 0…1 of a pass or round."""
    kind = PATTERNS[pattern]
    if kind.round is not None:
        # Both halves of a quad's pairs stand opposite one another on the round.
        return kind.round(length, (phase + np.where(push, 0.0, 0.5)) % 1.0)
    along = length * (phase - 0.5)
    if kind.one_way:
        return along, np.zeros_like(along), np.zeros_like(along)
    slants = np.array(kind.slants)
    slant = slants[quad % slants.size]
    heading = slant + np.where(push, 0.0, np.pi)
    return along * np.cos(slant), along * np.sin(slant), heading


def places_on_path(pattern: Pattern, length: float, count: int) -> Array:
    """Places (count, 2) of a stroke about its middle, evenly over its way, as the operator sees it [m].

    A slanting stroke is a straight one turned, and the caller turns it.

    >>> abs(places_on_path("diagonal", 1.0, 2)).tolist()
    [[0.25, 0.0], [0.25, 0.0]]
    """
    phase = (np.arange(count) + 0.5) / count
    kind = PATTERNS[pattern]
    if kind.round is not None:
        return np.column_stack(kind.round(length, phase % 1.0)[:2])
    return np.column_stack([length * (phase - 0.5), np.zeros(count)])

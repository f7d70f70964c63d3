"""Ways held against the first of them, figure by figure: what differs, and what does not."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handlap.sim.comparing.compare import Comparison
    from handlap.sim.comparing.paired import Difference

COLUMNS = ("minutes", "measured", "greatest_depth", "taper", "mean_depth")
"""What ways are held against one another in, where a picture shows it."""
COLUMN_NAMES = {
    "minutes": "minutes",
    "straightedge": "reading",
    "flatness": "flatness",
    "greatest_depth": "deepest",
    "taper": "taper",
    "mean_depth": "metal off, mean",
}


def columns_of(found: Comparison) -> tuple[str, ...]:
    """Names of the figures that ways are held against one another in; the one the limit is for is second."""
    held = "straightedge" if found.scenario.part.limit_by == "straightedge" else "flatness"
    return tuple(held if name == "measured" else name for name in COLUMNS)


def difference_from(found: Comparison, other: int, name: str) -> Difference:
    """A way less the first in the order, in one figure [SI]."""
    first = found.order.places[0]
    pair = next(p for p in found.pairs if {p.first, p.second} == {first, other})
    d = pair.differences[name]
    return d if pair.first == first else reversed_difference(d)


def reversed_difference(d: Difference) -> Difference:
    """The same difference, taken the other way round."""
    from handlap.sim.job.results import Band

    return replace(d, band=Band(-d.band.p95, -d.band.p50, -d.band.p05), mean=-d.mean)


def differing(found: Comparison) -> tuple[str, ...]:
    """The figures in which some way differs from the first by more than can be told from nothing."""
    others = found.order.places[1:]
    return tuple(
        name
        for name in columns_of(found)
        if any(difference_from(found, i, name).size != "cannot tell" for i in others)
    )


def same_words(found: Comparison) -> str:
    """What does not differ between any way and the first, in one sentence; "" where all of it does."""
    differs = differing(found)
    same = [COLUMN_NAMES[name] for name in columns_of(found) if name not in differs]
    if len(found.order.places) < 2 or not same:
        return ""
    return f"No way can be told from the first in: {', '.join(same)}."

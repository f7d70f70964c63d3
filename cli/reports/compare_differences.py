"""Ways held against the first of them, figure by figure: what differs, and what does not."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from handlap.cli.reports.blocks import Block, Section, Table, Words
from handlap.cli.reports.quantity import number
from handlap.sim.common.spoken import height_unit, per_height

if TYPE_CHECKING:
    from handlap.sim.comparing.compare import Comparison, PairResult
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


SIZES = {"clear": "yes", "on average": "mean", "cannot tell": "no"}
SIZE_WORDS = (
    'More than the spread? "yes": the difference holds in 19 faces and hands of 20; "mean": only on '
    'average; "no": cannot tell it from nothing.'
)


def pairs_section(found: Comparison, all_pairs: bool) -> Section:
    """Each way less the first; ``all_pairs``: and, folded away, each less each before it."""
    first = found.results[found.order.places[0]].way.name
    words = f"Differences inside each face and pair of hands, less the first, {first}. {SIZE_WORDS}"
    if not all_pairs:
        words += " --out and --json have every pair."
    blocks: list[Block] = [Words(words), _pair_table(found, False)]
    if all_pairs and len(found.pairs) > len(found.order.places) - 1:
        blocks.append(replace(_pair_table(found, True), folded="Every way less each before it"))
    return Section("More than the spread?", tuple(blocks))


def _pair_table(found: Comparison, all_pairs: bool) -> Table:
    places = {i: place for place, i in enumerate(found.order.places, 1)}
    held = columns_of(found)[1]
    um = height_unit()
    heads = ("ways", f"{held}\n{um}", f"deepest\n{um}", f"taper along\n{um}", "minutes", "chance\n%")
    rows = []
    for first, second, turned in _in_order(found, places, all_pairs):
        d = turned.differences
        sign = 1.0 if turned.first == first else -1.0
        names = (
            f"{places[second]} less {places[first]}"
            if all_pairs
            else f"{places[second]} {found.results[second].way.name}"
        )
        rows.append(
            (
                names,
                _difference(d[held], sign * per_height(), 0.01),
                _difference(d["greatest_depth"], sign * per_height(), 0.01),
                _difference(d["taper_along"], sign * per_height(), 0.01),
                _difference(d["minutes"], sign, 0.1),
                _difference(d["both"], 100.0 * sign, 1.0),
            )
        )
    return Table(heads, tuple(rows), wraps=0)


def _in_order(
    found: Comparison, places: dict[int, int], all_pairs: bool
) -> list[tuple[int, int, PairResult]]:
    listed = []
    for pair in found.pairs:
        first, second = sorted((pair.first, pair.second), key=lambda i: places[i])
        if all_pairs or places[first] == 1:
            listed.append((first, second, pair))
    return sorted(listed, key=lambda item: (places[item[0]], places[item[1]]))


def _difference(d: Difference, factor: float, finest: float) -> str:
    return f"{_signed(d.mean * factor, finest)} {SIZES[d.size]}"


def _signed(value: float, finest: float) -> str:
    text = number(value, 2, finest)
    return text if text.startswith("−") or text == "0" or set(text) <= set("0.") else f"+{text}"

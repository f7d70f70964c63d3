"""How a face is read with a straightedge and leaves: a page of the measuring sheet."""

from __future__ import annotations

from handlap.cli.asking.readings_text import leaf_words
from handlap.cli.reports.flow import Flow
from handlap.cli.reports.wording import face_words, wanted_words
from handlap.sim.common.units import System
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.cautions import cautions

THIN_LEAF = 30e-6
"""Leaves down to this tell much more than those from 0.05 mm up [m]."""


def leaf_advice(scenario: Scenario, system: System) -> list[str]:
    """Which leaves to try, in sentences."""
    stamped = scenario.leaf_unit
    leaves = scenario.readings.leaves
    limit = scenario.part.limit
    thin = leaf_words(20e-6 if system == "mm" else 25.4e-6, stamped)
    words = [
        "At each station begin with the thinnest leaf. If it goes under, take the next, until one does not. "
        "Write down both: the thickest that goes and the thinnest that does not.",
        'If not even the thinnest goes, write "none" and the thinnest; if the thickest you have still goes, '
        'write it and "open".',
        "The pull of the leaf is to be light and always the same. A leaf goes if it slides in under the "
        "edge without lifting it; rest the straightedge's own weight on it, do not press.",
    ]
    if leaves:
        words.append("Leaves at hand: " + ", ".join(leaf_words(leaf, stamped) for leaf in leaves) + ".")
    if not leaves or leaves[0] > 0.8 * THIN_LEAF:
        words.append(
            f"Thin leaves tell most: with leaves from {thin} up the result is about half as wide as with "
            f"leaves from {leaf_words(50e-6 if system == 'mm' else 50.8e-6, stamped)} up."
        )
    deciding = [leaf for leaf in leaves if leaf <= limit * (1.0 + 1e-9)]
    if deciding:
        words.append(
            f"The limit is {leaf_words(limit, stamped)}: the {leaf_words(deciding[-1], stamped)} leaf is to "
            "be tried at every station."
        )
    else:
        words.append(
            f"The limit is {leaf_words(limit, stamped)}: a leaf of that thickness, or the next thinner one, "
            "is to be tried at every station."
        )
    return words


HOW = (
    (
        "Before",
        (
            "Dowels, studs, pipes and whatever stands proud of the face come out first. Old gasket comes off "
            "wet, with a scraper softer than the face. Wash, take burrs off edges and holes, and wipe face, "
            "straightedge and leaves clean.",
            "Part, straightedge and leaves lie together until they have one temperature; keep your hands off "
            "the middle of the straightedge. The part rests on three points, so that it is not bent.",
            "Light behind the straightedge shows where the gaps are, before any leaf is tried.",
        ),
    ),
    (
        "How to hold the straightedge",
        (
            "Lay it on the line without pressing, and tap its ends in turn.",
            "It sits still: it rests on two high points, and the line is hollow between them. Tick "
            '"sits still".',
            "It rocks: the line is crowned. Hold it level, so that the same leaf goes under both of its "
            'ends, and keep it there while the leaves are tried. Tick "rocks, held level". Write down what '
            "goes at the ends as well: on a crown they tell most.",
            "Do not let it tip onto one end. Where that cannot be helped, tick which end touches.",
            "Turn the straightedge end for end on one line and read again: readings that change are its own "
            "error.",
        ),
    ),
    (
        "Afterwards",
        (
            "A reading that does not fit its neighbours is read again before you put the straightedge away.",
            '"handlap readings" asks for the numbers line by line in the order of the tables.',
        ),
    ),
)  # fmt: skip


def how_to_read(flow: Flow, scenario: Scenario, system: System) -> None:
    """How it is done, from the cleaning of the face to what is written down."""
    part = scenario.part
    flow.words(f"{face_words(part)}; wanted: {wanted_words(part)}.")
    sections = [
        HOW[0],
        ("Which leaves to try", tuple(leaf_advice(scenario, system))),
        *HOW[1:],
        ("Take care", cautions(part.metal, weight=part.weight, wet=scenario.paper.wet)),
    ]
    for title, items in sections:
        flow.heading(title)
        for item in items:
            flow.words(item, mark="–")
            flow.y += 0.7

"""Closed forms of a straightedge on simple faces.

Kind: closed form (derived from the geometry of a straight line on a parabola or a twist; no
published table).  Tolerances follow the spacing of the sampled points.
"""

from __future__ import annotations

import numpy as np
import pytest

from handlap.sim.common.outline import Outline
from handlap.sim.face.straightedge import (
    FaceLine,
    contact,
    gaps,
    greatest_gap,
    line_gaps,
    sample_lines,
    standard_lines,
)

GEOMETRY = "geometry of a straight line on a parabola or a twist"
LENGTH = 0.300
DEPTH = 50e-6
S = np.linspace(0.0, LENGTH, 301)
T = 2.0 * S / LENGTH - 1.0


def test_dish_shows_its_depth_in_the_middle_of_an_edge_over_its_whole_length(checked):
    checked(
        "greatest gap over its depth, edge over the whole of a dish",
        expected=1.0,
        got=gaps(S, DEPTH * T**2).max() / DEPTH,
        tolerance=1e-12,
        kind="closed form",
        source=GEOMETRY,
        about="straightedge",
    )


def test_dish_shows_a_quarter_under_an_edge_of_half_the_length(checked):
    half = (S >= 0.25 * LENGTH - 1e-9) & (S <= 0.75 * LENGTH + 1e-9)
    checked(
        "greatest gap over its depth, edge over half of a dish",
        expected=0.25,
        got=gaps(S[half], DEPTH * T[half] ** 2).max() / DEPTH,
        tolerance=1e-12,
        kind="closed form",
        source=GEOMETRY,
        about="straightedge",
    )


def test_crown_held_level_shows_its_height_at_both_ends(checked):
    g = gaps(S, -DEPTH * T**2, "level")
    checked(
        "gap at both ends of a crown over its height, edge held level",
        expected=1.0,
        got=g[[0, -1]] / DEPTH,
        tolerance=1e-12,
        kind="closed form",
        source=GEOMETRY,
        about="straightedge",
    )
    assert g.min() == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(("held", "touching", "far"), [("tipped start", 0, -1), ("tipped end", -1, 0)])
def test_crown_tipped_onto_one_end_shows_four_times_its_height_at_the_other(checked, held, touching, far):
    z = -DEPTH * T**2
    g = gaps(S, z, held)
    assert g[touching] == pytest.approx(0.0, abs=1e-15)
    # The hull's edge at the end is a chord of one spacing (1/300), not the tangent.
    checked(
        f"gap at the far end of a crown over its height, edge {held}",
        expected=4.0,
        got=g[far] / DEPTH,
        tolerance=4.4 / 300,
        kind="closed form",
        source=GEOMETRY,
        about="straightedge",
    )


def test_pure_twist_shows_nothing_along_the_sides_and_half_its_zone_on_one_diagonal(checked):
    length, width, zone = 0.300, 0.120, 100e-6
    outline = Outline.rectangular(length, width)
    a, b = length / 2.0, width / 2.0
    lines = sample_lines(
        outline,
        [
            FaceLine("side", (-a, -b), (a, -b)),
            FaceLine("end", (a, -b), (a, b)),
            FaceLine("high corners", (-a, -b), (a, b)),
            FaceLine("low corners", (-a, b), (a, -b)),
        ],
    )
    u, v = lines.points.T
    h = 0.5 * zone * (u / a) * (v / b)
    worst = [
        line_gaps(lines, h, ["rest", "rest", "rest", "level"])[0, slice(*lines.offsets[i : i + 2])].max()
        for i in range(4)
    ]
    checked(
        "gap along the sides of a pure twist of 100 µm",
        expected=0.0,
        got=np.array(worst[:2]) / 1e-6,
        tolerance=1e-8,
        unit="µm",
        kind="closed form",
        source=GEOMETRY,
        about="straightedge",
    )
    # Zone 2e: the corners of the diagonal are e above its middle, whichever way up.
    assert worst[2] == pytest.approx(zone / 2.0, rel=1e-9)
    assert worst[3] == pytest.approx(zone / 2.0, rel=1e-3)
    checked(
        "greatest gap on the diagonals of a pure twist over its minimum zone",
        expected=0.5,
        got=np.array(worst[2:]) / zone,
        tolerance=5e-4,
        kind="closed form",
        source=GEOMETRY,
        about="straightedge",
    )


def test_twist_rocks_on_the_diagonal_whose_corners_are_low():
    length, width = 0.300, 0.120
    lines = sample_lines(Outline.rectangular(length, width))
    u, v = lines.points.T
    h = 50e-6 * (2 * u / length) * (2 * v / width)
    spans = {}
    for i, line in enumerate(lines.lines):
        run = slice(*lines.offsets[i : i + 2])
        first, last = contact(lines.position[run], h[run], "rest", line.length / 2)
        spans[line.name] = (lines.position[run][last] - lines.position[run][first]) / line.length
    assert spans["diagonal rising"] == pytest.approx(1.0)
    assert spans["diagonal falling"] < 0.1


def test_straightedge_over_the_standard_lines_reads_half_of_a_twist_and_all_of_a_bow():
    outline = Outline.rectangular(0.300, 0.120)
    lines = sample_lines(outline)
    u, v = lines.points.T
    twist = 50e-6 * (2 * u / 0.300) * (2 * v / 0.120)
    hollow = 100e-6 * (2 * u / 0.300) ** 2
    read = greatest_gap(lines, np.stack([twist, hollow, -hollow]))
    assert read == pytest.approx([50e-6, 100e-6, 100e-6], rel=1e-3)


def test_hollow_edge_adds_its_bow_to_a_flat_face_and_a_crowned_edge_rocks_on_it():
    outline = Outline.rectangular(0.300, 0.120)
    lines = sample_lines(outline, standard_lines(outline)[:1])
    flat = np.zeros(len(lines.points))
    assert greatest_gap(lines, flat, bow=10e-6)[0] == pytest.approx(10e-6, rel=1e-12)
    assert greatest_gap(lines, flat, bow=-10e-6)[0] == pytest.approx(10e-6, rel=1e-6)

"""Lines and stations of the measuring sheet: where they have to lie."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from handlap.sim.common.outline import Outline, circle
from handlap.sim.common.units import System
from handlap.sim.face.stations import MOST, NEAREST_END, lines_of, measuring_lines, place_stations
from handlap.sim.face.straightedge import FaceLine
from handlap.sim.job.scenario_file import builtin_names, load

FACES = [name for name, _ in builtin_names()]


@pytest.mark.parametrize("name", FACES)
def test_two_long_two_cross_two_diagonal_with_stations_near_both_ends(name):
    """Six lines, a station within 10 mm of each end: common practice."""
    outline = load(name).part.outline
    lines = measuring_lines(outline)
    assert [line.name.split()[0] for line in lines] == ["long"] * 2 + ["cross"] * 2 + ["diagonal"] * 2
    for line in lines:
        start, end = np.array(line.start), np.array(line.end)
        run = np.linspace(0.0, line.length, 4001)
        # On the rim itself a point may count as off: look a hair further in.
        metal = outline.contains((start + np.outer(run / line.length, end - start)) * (1.0 - 1e-6))
        first, last = run[metal][0], run[metal][-1]
        assert line.at[0] - first <= NEAREST_END + 1e-4
        assert last - line.at[-1] <= NEAREST_END + 1e-4
        assert 2 <= len(line.at) <= MOST
        assert all(b > a for a, b in itertools.pairwise(line.at))


@pytest.mark.parametrize("name", FACES)
def test_stations_avoid_openings(name):
    outline = load(name).part.outline
    solid = Outline(outline.rim)
    for line in measuring_lines(outline):
        inside = solid.contains(line.places) & ~outline.contains(line.places)
        assert not inside.any(), (line.name, line.places[inside])


def test_stations_lie_on_whole_steps_of_a_rule():
    steps: tuple[tuple[System, float], ...] = (("mm", 1e-3), ("inch", 25.4e-3 / 16))
    for system, step in steps:
        for line in measuring_lines(Outline.rectangular(0.24, 0.14), system):
            turns = np.array(line.at) / step
            assert turns == pytest.approx(np.round(turns), abs=1e-6)


def test_a_station_moves_off_a_hole_and_not_onto_its_neighbour():
    outline = Outline.rectangular(0.2, 0.1, (circle(0.0, 0.0, 0.03),))
    line = FaceLine("middle", (-0.1, 0.0), (0.1, 0.0))
    at = np.array(place_stations(outline, line, 5))
    # The hole takes 85 to 115 mm, and a leaf needs 4 mm more.
    assert not ((at > 0.081) & (at < 0.119)).any()
    assert np.diff(at).min() >= 0.0099
    assert len(at) == 5


def test_a_line_off_the_metal_has_no_stations():
    outline = Outline.rectangular(0.2, 0.1)
    assert place_stations(outline, FaceLine("off", (-0.1, 0.2), (0.1, 0.2)), 5) == ()


def test_a_scenario_read_on_lines_of_its_own_keeps_them():
    job = load("two-cylinder-head")
    own = lines_of(job)
    assert [line.name for line in own] == [line.name for line in job.readings.lines]
    assert own[0].at == pytest.approx([s.at for s in job.readings.lines[0].stations])
    assert len(lines_of(job, standard=True)) == 6


@pytest.mark.parametrize(
    ("size", "counts"), [((0.06, 0.04), (3, 3, 3, 3, 3, 3)), ((0.33, 0.15), (9, 9, 5, 5, 9, 9))]
)
def test_a_line_has_no_more_stations_than_its_length_deserves(size, counts):
    lines = measuring_lines(Outline.rectangular(*size))
    assert tuple(len(line.at) for line in lines) == counts


def test_a_short_straightedge_reads_long_lines_in_parts():
    face = Outline.rectangular(0.33, 0.15)
    lines = measuring_lines(face, edge=0.2)
    assert max(line.length for line in lines) <= 0.2 + 1e-9
    names = [line.name for line in lines]
    assert names[:3] == ["long near, part 1", "long near, part 2", "long far, part 1"]
    assert names.count("cross left") == 1
    one, other = lines[:2]
    assert (one.start[0], other.end[0]) == (pytest.approx(-0.165), pytest.approx(0.165))
    assert one.end[0] > other.start[0]

"""The straightedge against an independent construction, and its sampling of lines."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from handlap.sim.common.outline import Outline, circle
from handlap.sim.face.straightedge import (
    ROCKS_BELOW,
    FaceLine,
    contact,
    gaps,
    greatest_gap,
    greatest_gap_by_line,
    line_gaps,
    sample_line,
    sample_lines,
    standard_lines,
)
from handlap.sim.job.job_readings import Held

BORED = Outline.rectangular(0.24, 0.14, (circle(-0.05, 0.0, 0.08), circle(0.05, 0.0, 0.08)))


def upper_hull(s, z):
    """Indices of the upper hull by scipy's hull of the points and two far below them."""
    low = z.min() - 10.0 * (np.ptp(z) + 1.0)
    points = np.column_stack([np.append(s, [s[0], s[-1]]), np.append(z, [low, low])])
    return np.sort([k for k in ConvexHull(points).vertices if k < s.size])


def test_edges_of_openings_carry_the_straightedge():
    """Closed form: a slope that rises to a bore from both sides; the edge rests on the bore's two rims."""
    outline = Outline.rectangular(0.24, 0.1, (circle(0.01, 0.0, 0.0437),))
    position, points = sample_line(outline, (-0.12, 0.0), (0.12, 0.0))
    z = -1e-3 * np.maximum(np.abs(points[:, 0] - 0.01) - 0.02185, 0.0)
    i, j = contact(position, z, "rest", 0.12)
    assert points[[i, j], 0] == pytest.approx([0.01 - 0.02185, 0.01 + 0.02185], abs=2e-5)


@settings(max_examples=60, deadline=None)
@given(st.integers(3, 60), st.integers(0, 10**6), st.floats(0.2, 0.8))
def test_rest_is_the_hull_edge_that_spans_the_middle(n, seed, middle):
    rng = np.random.default_rng(seed)
    s = np.sort(rng.random(n)) + np.arange(n) * 1e-3
    s = (s - s[0]) / np.ptp(s)
    z = rng.standard_normal(n)
    hull = upper_hull(s, z)
    i, j = contact(s, z, "rest", middle)
    at = np.searchsorted(hull, i)
    assert hull[at] == i and hull[at + 1] == j
    assert s[i] <= middle <= s[j]
    assert gaps(s, z, "rest", middle).min() >= -1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 60), st.integers(0, 10**6))
def test_tipped_is_the_end_edge_of_the_hull_and_level_keeps_the_chord_of_the_ends(n, seed):
    rng = np.random.default_rng(seed)
    s, z = np.linspace(0.0, 1.0, n), rng.standard_normal(n)
    hull = upper_hull(s, z)
    assert contact(s, z, "tipped start") == (hull[0], hull[1])
    assert contact(s, z, "tipped end") == (hull[-2], hull[-1])
    level = gaps(s, z, "level")
    assert level.min() == pytest.approx(0.0, abs=1e-12)
    assert level[0] == pytest.approx(level[-1], abs=1e-12)


@given(st.integers(0, 10**6), st.floats(-1e-3, 1e-3), st.floats(-1e-2, 1e-2))
@settings(max_examples=30, deadline=None)
def test_tilt_and_shift_of_the_face_change_no_gap(seed, shift, tilt):
    rng = np.random.default_rng(seed)
    s, z = np.linspace(0.0, 0.3, 40), 1e-4 * rng.standard_normal(40)
    for held in ("rest", "level", "tipped start", "tipped end"):
        assert gaps(s, z + shift + tilt * s, held) == pytest.approx(gaps(s, z, held), abs=1e-12)


def test_batch_agrees_with_one_profile_at_a_time():
    lines = sample_lines(BORED)
    rng = np.random.default_rng(3)
    heights = np.cumsum(rng.standard_normal((5, len(lines.points))), axis=1) * 1e-5
    held: list[Held] = ["rest", "level", "tipped start", "tipped end", "rest", "level"]
    found = line_gaps(lines, heights, held)
    worst = greatest_gap_by_line(lines, heights)
    for i, line in enumerate(lines.lines):
        run = slice(*lines.offsets[i : i + 2])
        for m in range(5):
            s, z = lines.position[run], heights[m, run]
            assert found[m, run] == pytest.approx(gaps(s, z, held[i], line.length / 2), abs=1e-15)
            a, b = contact(s, z, "rest", line.length / 2)
            how: Held = "rest" if s[b] - s[a] >= ROCKS_BELOW * line.length else "level"
            assert worst[m, i] == pytest.approx(gaps(s, z, how, line.length / 2).max(), abs=1e-15)
    assert greatest_gap(lines, heights) == pytest.approx(worst.max(axis=1))


def test_standard_lines_run_eight_millimetres_inside_and_corner_to_corner():
    lines = {line.name: line for line in standard_lines(Outline.rectangular(0.24, 0.14))}
    assert len(lines) == 6
    assert lines["long near"].start == pytest.approx((-0.12, -0.062))
    assert lines["cross right"].end == pytest.approx((0.112, 0.07))
    assert lines["diagonal rising"].end == pytest.approx((0.12, 0.07))
    assert lines["diagonal falling"].end == pytest.approx((0.12, -0.07))


def test_standard_lines_move_inward_where_holes_leave_no_metal():
    holes = tuple(circle(u, 0.062, 0.014) for u in np.arange(-0.11, 0.12, 0.016))
    lines = {line.name: line for line in standard_lines(Outline.rectangular(0.24, 0.14, holes))}
    assert lines["long near"].start[1] == pytest.approx(-0.062)
    assert lines["long far"].start[1] < 0.060


def test_standard_lines_of_a_round_face_end_on_its_rim():
    for line in standard_lines(Outline(circle(0.0, 0.0, 0.2))):
        assert 0.05 < line.length <= 0.2005
        assert np.hypot(*line.start) <= 0.1005


def test_points_over_openings_neither_carry_nor_are_felt():
    position, points = sample_line(BORED, (-0.12, 0.0), (0.12, 0.0), [0.006, 0.07, 0.12])
    assert BORED.contains(points[1:-1]).all()
    assert not np.isclose(position, 0.07).any()
    assert np.isclose(position, 0.12).any() and np.isclose(position, 0.006).any()
    assert 15 <= position.size <= 60


def test_a_sampled_line_has_stations_ends_and_middle():
    position, points = sample_line(Outline.rectangular(0.3, 0.1), (-0.15, 0.0), (0.15, 0.0), [0.0123, 0.2345])
    for at in (0.0123, 0.2345, 0.0, 0.0005, 0.003, 0.006, 0.012, 0.018, 0.3, 0.2995, 0.148, 0.156):
        assert np.abs(position - at).min() < 1e-9
    assert (np.diff(position) > 0).all()
    assert points[:, 0] == pytest.approx(position - 0.15)
    assert 45 <= position.size <= 55


@pytest.mark.parametrize("bad", [([0.0], [0.0]), ([0.0, 0.0], [0.0, 1.0]), ([0.0, 1.0], [0.0])])
def test_profiles_that_are_none_are_refused(bad):
    with pytest.raises(ValueError, match="profile"):
        contact(*bad)


def test_a_line_of_no_length_is_refused():
    with pytest.raises(ValueError, match="two different ends"):
        sample_line(BORED, (0.0, 0.0), (0.0, 0.0))


def test_a_line_off_the_face_reads_nothing():
    lines = sample_lines(BORED, [FaceLine("beside", (-0.1, 0.2), (0.1, 0.2))])
    assert len(lines.points) == 0
    assert greatest_gap(lines, np.zeros((2, 0))).tolist() == [0.0, 0.0]

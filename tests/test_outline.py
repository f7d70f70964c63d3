"""Outlines: area, moments, inside or outside, points along the edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handlap.sim.common.outline import (
    Outline,
    circle,
    inside_polygon,
    polygon_moments,
    rectangle,
    slot,
)

L_SHAPE = np.array([(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)]) * 1e-3


def test_rectangle_moments():
    """Closed form: area a·b, first moments area × middle."""
    area, moment_u, moment_v = polygon_moments(rectangle(0.3, 0.1, 0.05, -0.02))
    assert (area, moment_u, moment_v) == pytest.approx((0.03, 0.03 * 0.05, 0.03 * -0.02))


def test_l_shape_moments():
    """Closed form: 60 × 20 and 20 × 30 mm put together."""
    area, moment_u, moment_v = polygon_moments(L_SHAPE)
    assert area == pytest.approx(1800e-6)
    assert moment_u == pytest.approx((1200 * 30 + 600 * 10) * 1e-9)
    assert moment_v == pytest.approx((1200 * 10 + 600 * 35) * 1e-9)


@settings(max_examples=50, deadline=None)
@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(0.01, 0.3), st.floats(0.0, np.pi))
def test_circle_and_slot_have_their_exact_areas(u, v, size, angle):
    """Closed form: π·d²/4 for the circle; the slot's round ends are inscribed, 0.1 % short of theirs."""
    assert polygon_moments(circle(u, v, size))[0] == pytest.approx(np.pi * size**2 / 4)
    area, moment_u, moment_v = polygon_moments(slot(u, v, 2 * size, size, angle))
    assert area == pytest.approx(size**2 + np.pi * size**2 / 4, rel=1e-3)
    assert (moment_u / area, moment_v / area) == pytest.approx((u, v), abs=1e-9)


def test_slot_lies_along_its_angle():
    points = slot(0.0, 0.0, 0.08, 0.02, np.pi / 2)
    np.testing.assert_allclose(np.ptp(points, axis=0), (0.02, 0.08), rtol=1e-3)


def test_direction_of_the_points_does_not_matter():
    hole = circle(0.0, 0.0, 0.02)
    there = Outline(rectangle(0.1, 0.05), (hole,))
    back = Outline(rectangle(0.1, 0.05)[::-1], (hole[::-1],))
    assert there.area == pytest.approx(back.area) == pytest.approx(0.005 - np.pi * 1e-4)
    assert polygon_moments(back.rim)[0] > 0.0


def test_extent_and_centring():
    outline, shift = Outline(L_SHAPE, (circle(0.01, 0.01, 0.005),)).centred()
    np.testing.assert_allclose(shift, (0.03, 0.025))
    np.testing.assert_allclose(outline.rim.min(axis=0), -outline.rim.max(axis=0))
    assert (outline.length, outline.width) == pytest.approx((0.06, 0.05))
    np.testing.assert_allclose(outline.openings[0].mean(axis=0), (-0.02, -0.015), atol=1e-12)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.floats(-0.04, 0.04), st.floats(-0.04, 0.04)), min_size=1, max_size=30))
def test_inside_against_plain_geometry(points):
    """Independent route: a rectangle with a round hole, by comparison of coordinates."""
    p = np.array(points)
    outline = Outline(rectangle(0.06, 0.04), (circle(0.0, 0.0, 0.02),))
    radius = np.hypot(*p.T)
    # The polygon stands for the circle to 0.05 % of its radius.
    clear = (np.abs(radius - 0.01) > 1e-5) & (np.abs(np.abs(p[:, 0]) - 0.03) > 1e-9)
    clear &= np.abs(np.abs(p[:, 1]) - 0.02) > 1e-9
    want = (np.abs(p[:, 0]) < 0.03) & (np.abs(p[:, 1]) < 0.02) & (radius > 0.01)
    assert np.array_equal(outline.contains(p)[clear], want[clear])


def test_concave_outline_keeps_its_notch_outside():
    inside = inside_polygon(L_SHAPE, np.array([0.01, 0.04, 0.04]), np.array([0.04, 0.01, 0.04]))
    assert inside.tolist() == [True, True, False]


def test_rim_points_have_the_corners_and_no_wide_gaps():
    outline = Outline(L_SHAPE).centred()[0]
    points = outline.rim_points(0.004)
    for corner in outline.rim:
        assert np.hypot(*(points - corner).T).min() < 1e-12
    steps = np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T)
    assert steps.max() <= 0.004 + 1e-12
    assert steps.sum() == pytest.approx(0.22)


def test_opening_points_lie_on_the_edges():
    outline = Outline(rectangle(0.1, 0.06), (circle(-0.02, 0.0, 0.02), slot(0.02, 0.0, 0.03, 0.01)))
    points = outline.opening_points(0.003)
    on_circle = np.abs(np.hypot(points[:, 0] + 0.02, points[:, 1]) - 0.01) < 2e-5
    assert on_circle.sum() == pytest.approx(np.pi * 0.02 / 0.003, abs=1)
    assert Outline(rectangle(0.1, 0.06)).opening_points(0.003).shape == (0, 2)

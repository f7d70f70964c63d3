"""Minimum zone against two independent routes, and what must hold for any set of points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from handlap.sim.face import flatness
from handlap.sim.face.flatness import (
    least_squares_peak_to_valley,
    least_squares_plane,
    minimum_zone,
    minimum_zone_widths,
)


def by_linear_programme(u, v, h):
    """Least width over all planes, as a linear programme in a, b, c and half the width (HiGHS)."""
    size = np.ptp(h) or 1.0
    terms = np.column_stack([np.ones_like(u), u / np.ptp(u), v / np.ptp(v)])
    ones = np.ones((u.size, 1))
    found = linprog(
        [0, 0, 0, 1],
        A_ub=np.vstack([np.hstack([terms, -ones]), np.hstack([-terms, -ones])]),
        b_ub=np.concatenate([h, -h]) / size,
        bounds=[(None, None)] * 4,
        method="highs",
    )
    assert found.status == 0
    # The solver stops at a tolerance of 1e-7; its four tightest constraints, solved exactly, give
    # a plane free of that.  Either plane bounds the width from above, so the lesser counts.
    middle, half = terms @ found.x[:3] * size, found.x[3] * size
    tightest = np.argsort(np.concatenate([middle + half - h, half + h - middle]))[:4]
    best = np.inf
    active = tightest % u.size
    signs = np.where(tightest < u.size, 1.0, -1.0)
    matrix = np.column_stack([terms[active], signs])
    if np.linalg.cond(matrix) < 1e6:
        plane = np.linalg.solve(matrix, h[active])[:3]
        best = np.ptp(h - terms @ plane)
    return min(best, np.ptp(h - middle))


def by_hull_search(u, v, h):
    """Least width over all planes of hull faces and all pairs of hull edges, one by one."""
    points = np.column_stack([u / np.ptp(u), v / np.ptp(v), h / np.ptp(h)])
    hull = ConvexHull(points)
    slopes = []
    for normal in hull.equations[:, :3]:
        if abs(normal[2]) > 1e-12:
            slopes.append(-normal[:2] / normal[2])
    sides = np.vstack([hull.simplices[:, [i, j]] for i, j in ((0, 1), (1, 2), (0, 2))])
    edges = np.unique(np.sort(sides, axis=1), axis=0)
    along = points[edges[:, 1]] - points[edges[:, 0]]
    for i in range(len(along)):
        normal = np.cross(along[i], along[i + 1 :])
        good = np.abs(normal[:, 2]) > 1e-12
        slopes.extend(-normal[good, :2] / normal[good, 2:])
    heights = points[:, 2] - np.array(slopes) @ points[:, :2].T
    return np.ptp(heights, axis=1).min() * np.ptp(h)


def random_face(seed, n=40):
    random = np.random.default_rng(seed)
    u, v = random.uniform(-0.2, 0.2, n), random.uniform(-0.07, 0.07, n)
    h = 1e-5 * random.normal(size=n) + 3e-5 * random.normal() * (u / 0.2) ** 2 + 1e-3 * u - 2e-3 * v
    return u, v, h


@pytest.mark.parametrize("seed", range(40))
def test_three_routes_agree(seed):
    u, v, h = random_face(seed, n=8 + seed)
    width = minimum_zone(u, v, h).width
    assert width == pytest.approx(by_hull_search(u, v, h), rel=1e-9)
    assert width == pytest.approx(by_linear_programme(u, v, h), rel=1e-9)


@pytest.mark.parametrize("seed", range(15))
def test_routes_agree_on_rasters_with_ties(seed):
    """Whole micrometres on a raster: reference sets on one line and equal heights everywhere."""
    random = np.random.default_rng(seed)
    u, v = (x.ravel() for x in np.meshgrid(0.01 * np.arange(9), 0.01 * np.arange(4 + seed % 5)))
    h = 1e-6 * random.integers(-3, 4, u.size)
    if seed % 3 == 0:
        h = 1e-6 * np.round(1e3 * (u - 0.04) ** 2 * 5)
    width = minimum_zone(u, v, h).width
    assert width == pytest.approx(by_linear_programme(u, v, h), rel=1e-9)


def test_fine_rasters_against_the_linear_programme():
    u, v = (x.ravel() for x in np.meshgrid(np.linspace(-0.2, 0.2, 60), np.linspace(-0.06, 0.06, 40)))
    random = np.random.default_rng(4)
    faces = [
        2e-5 * (u / 0.2) ** 2 * random.normal()
        + 2e-5 * u * v / 0.012 * random.normal()
        + 1e-5 * np.cos(30 * u + random.normal()) * random.normal()
        for _ in range(6)
    ]
    widths = minimum_zone_widths(u, v, np.array(faces))
    for face, width in zip(faces, widths, strict=True):
        assert width == pytest.approx(by_linear_programme(u, v, face), rel=1e-9)


heights_strategy = arrays(np.float64, 20, elements=st.floats(-1e-4, 1e-4, allow_subnormal=False))
slope = st.floats(-1e-2, 1e-2)


@settings(max_examples=150, deadline=None)
@given(heights_strategy, slope, slope, st.floats(-1e-3, 1e-3), st.randoms(use_true_random=False))
def test_tilt_order_and_sign_change_nothing(h, b, c, a, random):
    u, v, _ = random_face(3, n=20)
    width = minimum_zone(u, v, h).width
    order = list(range(20))
    random.shuffle(order)
    same = pytest.approx(width, rel=1e-9, abs=1e-15)
    assert minimum_zone(u, v, h + a + b * u + c * v).width == same
    assert minimum_zone(u[order], v[order], h[order]).width == same
    assert minimum_zone(u, v, -h).width == same


@settings(max_examples=150, deadline=None)
@given(heights_strategy, slope, slope)
def test_no_plane_does_better(h, b, c):
    u, v, _ = random_face(3, n=20)
    zone = minimum_zone(u, v, h)
    peak_to_valley = least_squares_peak_to_valley(u, v, h)
    assert zone.width <= peak_to_valley * (1 + 1e-9) + 1e-15
    assert zone.width <= np.ptp(h - b * u - c * v) * (1 + 1e-9) + 1e-15


@pytest.mark.parametrize("seed", range(10))
def test_plane_and_contacts_prove_the_width(seed):
    """All points lie inside, the contacts on its planes, and they pin the plane (duality)."""
    u, v, h = random_face(seed)
    zone = minimum_zone(u, v, h)
    rest = h - zone.plane[0] - zone.plane[1] * u - zone.plane[2] * v
    half = zone.width / 2
    assert np.abs(rest).max() == pytest.approx(half, rel=1e-9)
    assert rest[zone.high] == pytest.approx(half, rel=1e-9)
    assert rest[zone.low] == pytest.approx(-half, rel=1e-9)
    assert zone.contacts.size == 4
    # Convex weights of high and of low contacts meet in one place: no tilt can gain anything.
    signs = np.where(np.isin(zone.contacts, zone.high), 1.0, -1.0)
    at = np.vstack([np.ones(4), u[zone.contacts], v[zone.contacts]])
    weights = np.linalg.svd(at * signs)[2][-1]
    assert (weights > 0).all() or (weights < 0).all()


@pytest.mark.parametrize(
    ("u", "v", "h", "width", "criterion"),
    [
        ([0.1], [0.2], [3e-6], 0.0, "none"),
        ([0.1, 0.1], [0.2, 0.2], [3e-6, 1e-6], 2e-6, "pair"),
        ([0, 0.1], [0, 0.2], [3e-6, 1e-6], 0.0, "none"),
        ([0, 0.1, 0.2], [0, 0.1, 0.2], [0, 4e-6, 0], 4e-6, "line"),
        ([0, 0.1, 0], [0, 0, 0.1], [0, 4e-6, 7e-6], 0.0, "none"),
        ([0, 0.1, 0, 0.1], [0, 0, 0.1, 0.1], [5e-6] * 4, 0.0, "none"),
        ([0, 2, 1, 1], [0, 0, 2, 0.5], [0, 0, 0, 6e-6], 6e-6, "triangle, three low"),
        ([0, 2, 1, 1], [0, 0, 2, 0.5], [0, 0, 0, -6e-6], 6e-6, "triangle, three high"),
    ],
)
def test_few_points_and_points_on_a_line(u, v, h, width, criterion):
    zone = minimum_zone(u, v, h)
    assert zone.width == pytest.approx(width, abs=1e-18)
    assert zone.criterion == criterion
    rest = np.array(h) - zone.plane[0] - zone.plane[1] * np.array(u) - zone.plane[2] * np.array(v)
    assert np.abs(rest).max() == pytest.approx(width / 2, abs=1e-18)


def test_nearly_one_line_does_not_tilt_across_it():
    """A row of stations read to the hundredth of a micrometre is no reason for a steep slab."""
    u = np.linspace(0.0, 0.3, 31)
    v = 1e-9 * np.sin(50 * u)
    h = 1e-5 * (u / 0.3) * (1 - u / 0.3) * 4
    zone = minimum_zone(u, v, h)
    assert zone.width == pytest.approx(1e-5, rel=1e-6)
    assert abs(zone.plane[1]) + abs(zone.plane[2]) < 1e-6


@pytest.mark.parametrize("narrow", [0.1, 1e-2, 1e-3, 1e-4, 1e-5])
def test_a_narrow_strip_askew_is_as_good_as_a_straight_one(narrow):
    u, v, _ = random_face(9)
    v = narrow * v
    h = 1e-5 * np.random.default_rng(9).normal(size=u.size)
    turn = 0.7
    askew = np.cos(turn) * u - np.sin(turn) * v, np.sin(turn) * u + np.cos(turn) * v
    assert minimum_zone(*askew, h).width == pytest.approx(minimum_zone(u, v, h).width, rel=1e-8)


def test_many_faces_at_once_are_each_alone():
    faces = np.array([random_face(1)[2], random_face(2)[2], np.zeros(40)])
    u, v, _ = random_face(1)
    for face, width in zip(faces, minimum_zone_widths(u, v, faces), strict=True):
        alone = minimum_zone(u, v, face)
        assert width == pytest.approx(alone.width, rel=1e-12, abs=1e-20)
        rest = face - alone.plane[0] - alone.plane[1] * u - alone.plane[2] * v
        assert np.ptp(rest) == pytest.approx(width, rel=1e-9, abs=1e-20)
    assert minimum_zone_widths(u, v, faces[:0]).shape == (0,)


def test_the_last_resort_gives_the_same(monkeypatch):
    u, v, h = random_face(7)
    plain = minimum_zone(u, v, h).width

    def gives_up(p1, p2, heights, m, planes, points, signs, weights, widths, gaps):
        gaps[:] = np.nan

    monkeypatch.setattr(flatness, "zones", gives_up)
    assert minimum_zone_widths(u, v, h[np.newaxis])[0] == pytest.approx(plain, rel=1e-6)


def test_refuses_what_is_no_face():
    with pytest.raises(ValueError, match="no points"):
        minimum_zone([], [], [])
    with pytest.raises(ValueError, match="must be"):
        minimum_zone([0, 1], [0, 1], [0, 1, 2])
    with pytest.raises(ValueError, match="must be"):
        minimum_zone_widths([0, 1], [0, 1], [0, 1])
    with pytest.raises(ValueError, match="heights holds 1 values that are not finite"):
        minimum_zone([0, 1], [0, 1], [0, np.nan])
    with pytest.raises(ValueError, match="not negative"):
        least_squares_plane([0, 1], [0, 1], [0, 1], [1, -1])
    with pytest.raises(ValueError, match="no weight"):
        least_squares_plane([0, 1], [0, 1], [0, 1], [0, 0])


def test_least_squares_leaves_nothing_that_a_plane_could_take():
    u, v, h = random_face(5)
    weights = np.random.default_rng(5).uniform(0, 1, u.size)
    a, b, c = least_squares_plane(u, v, h, weights)
    rest = weights * (h - a - b * u - c * v)
    assert [rest.sum(), (rest * u).sum(), (rest * v).sum()] == pytest.approx([0.0] * 3, abs=1e-15)


def test_weights_stand_for_repeats_and_zero_leaves_out():
    u, v, h = random_face(6)
    counts = np.arange(u.size) % 4
    counted = least_squares_plane(u, v, h, counts)
    repeated = least_squares_plane(*(np.repeat(x, counts) for x in (u, v, h)))
    assert counted == pytest.approx(repeated, rel=1e-9)

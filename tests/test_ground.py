"""Heights of plate and paper under the part."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from bad_scenarios import SHORT
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from handlap.sim.common.outline import Array
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.paper_area import convex_hull, overlap, papered_area
from handlap.sim.job.scenario import Glass, HeightTable, Lump, Plate, Scenario, Strip
from handlap.sim.job.scenario_file import load_text
from handlap.sim.lapping.ground import (
    LEAST_SHARE,
    N_PLATE_SCORES,
    glass_sag,
    ground_of,
    is_flat,
    lump_heights,
    measured,
    overlap_steps,
    plate_heights,
    random_plate,
    simple_shape,
)

UM = 1e-6
X, Y = np.meshgrid(np.linspace(-0.25, 0.25, 51), np.linspace(-0.15, 0.15, 31))


def job(text: str = "", **plate: Any) -> Scenario:
    """A short job on a 450 × 300 mm plate with these lines more, and fields of the plate changed."""
    s = load_text(SHORT + text, "x")
    return dataclasses.replace(s, plate=dataclasses.replace(s.plate, **plate))


def raster(s: Scenario, score: Array | None = None, load: float = 100.0, step: float = 5e-3) -> Array:
    """The ground of a job over the whole plate."""
    nx, ny = round(s.plate.length / step) + 1, round(s.plate.width / step) + 1
    return ground_of(
        s, x0=-s.plate.length / 2, y0=-s.plate.width / 2, step=step, nx=nx, ny=ny, score=score, load=load
    )


def nodes(first: int, end: int, step: float) -> Array:
    """Places of nodes [m]."""
    return np.asarray(step * np.arange(first, end), dtype=float)


def zone(x: Array, y: Array, heights: Array) -> float:
    """Exact minimum zone [m]."""
    return float(minimum_zone_widths(x.ravel(), y.ravel(), heights.reshape(1, -1))[0])


# ---- the plate's own form


@pytest.mark.parametrize("shape", ["dish", "hump", "twist"])
def test_height_of_a_simple_shape_is_its_minimum_zone(shape: Any) -> None:
    """Closed form: a bow's zone is its height; a twist's its rise at two corners and fall at two."""
    heights = simple_shape(shape, 20 * UM, 0.5, 0.3, X, Y)
    assert zone(X, Y, heights) == pytest.approx(20 * UM, rel=1e-9)
    assert heights.shape == X.shape


def test_a_dish_is_hollow_and_a_twist_as_in_the_closed_form() -> None:
    """Closed form: z = 1e-6·(x − 150)(y − 60) on 300 × 120 mm has a minimum zone of 18 µm."""
    x, y = np.meshgrid(np.linspace(-0.15, 0.15, 7), np.linspace(-0.06, 0.06, 5))
    twist = simple_shape("twist", 18 * UM, 0.3, 0.12, x, y)
    assert twist == pytest.approx(1e-3 * 1e-6 * (1e3 * x) * (1e3 * y), abs=1e-18)
    dish, hump = (simple_shape(s, 18 * UM, 0.3, 0.12, x, y) for s in ("dish", "hump"))
    assert np.argmin(dish) == np.argmax(hump) == dish.size // 2
    assert np.allclose(dish, -hump)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-4, 4), min_size=N_PLATE_SCORES, max_size=N_PLATE_SCORES))
def test_every_random_plate_keeps_its_tolerance(scores: list[float]) -> None:
    """The tolerance is the amplitude over the ensemble: no draw leaves it, none is all but flat."""
    heights = random_plate(0.5, 0.3, 10 * UM, scores, X, Y)
    assert np.isfinite(heights).all()
    if np.abs(scores[:-1]).max() > 1e-6:
        assert LEAST_SHARE * 0.98 <= zone(X, Y, heights) / (10 * UM) <= 1.02
    else:
        assert np.abs(heights).max() <= 10 * UM


def test_random_plates_differ_and_grow_with_the_tolerance() -> None:
    scores = np.random.default_rng(3).standard_normal((60, N_PLATE_SCORES))
    plates = np.array([random_plate(0.5, 0.3, 10 * UM, s, X, Y) for s in scores])
    shares = np.array([zone(X, Y, p) for p in plates]) / (10 * UM)
    assert 0.55 < np.median(shares) < 0.75 and shares.min() < 0.4 and shares.max() > 0.9
    twice = random_plate(0.5, 0.3, 20 * UM, scores[0], X, Y)
    assert twice == pytest.approx(2.0 * plates[0])
    # Either sign is as likely: hollow plates and crowned ones.
    bow = plates[:, 15, 25] - plates[:, [0, 0, -1, -1], [0, -1, 0, -1]].mean(axis=1)
    assert 0.25 < np.mean(bow > 0.0) < 0.75
    with pytest.raises(ValueError, match=f"takes {N_PLATE_SCORES} scores"):
        random_plate(0.5, 0.3, 10 * UM, scores[0, :-1], X, Y)


def test_no_scores_leave_the_random_part_out() -> None:
    plate = Plate(0.5, 0.3, tolerance=10 * UM, shape="dish", shape_height=5 * UM)
    assert plate_heights(plate, X, Y, None) == pytest.approx(simple_shape("dish", 5 * UM, 0.5, 0.3, X, Y))
    drawn = plate_heights(plate, X, Y, np.ones(N_PLATE_SCORES))
    assert np.ptp(drawn - plate_heights(plate, X, Y, None)) > 3 * UM


# ---- measured heights


def test_a_measured_plane_is_flat_and_a_bow_is_kept() -> None:
    u, v = (g.ravel() for g in np.meshgrid(np.linspace(-0.2, 0.2, 9), np.linspace(-0.1, 0.1, 5)))
    x, y = np.meshgrid(np.linspace(-0.2, 0.2, 41), np.linspace(-0.1, 0.1, 21))
    plane = HeightTable(u, v, 3e-6 + 1e-4 * u - 2e-4 * v, 0.0, "plane")
    assert np.abs(measured(plane, x, y)).max() < 1e-15
    bow = HeightTable(u, v, 20e-6 * (u / 0.2) ** 2, 0.0, "bow")
    # Closed form: chords of a parabola lie above it by at most its curvature · spacing²/8.
    exact = 20e-6 * (x / 0.2) ** 2
    over = measured(bow, x, y) - exact
    assert np.ptp(over) <= 2 * 20e-6 / 0.2**2 * 0.05**2 / 8 + 1e-12


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 40))
def test_hull_of_readings_against_another_routine(seed: int, n: int) -> None:
    points = np.random.default_rng(seed).normal(size=(n, 2))
    own, other = convex_hull(points), ConvexHull(points)
    assert {tuple(p) for p in own} == {tuple(p) for p in points[other.vertices]}


# ---- glass


@pytest.mark.parametrize(("mm", "um", "digits"), [(6, 150, 2), (10, 32, 1), (19, 5, 0.5)])
def test_glass_bridging_300_mm(mm: float, um: float, digits: float) -> None:
    """Derived (P·L³/(48·E·I), E 70 GPa): 100 N in mid-span on a strip 300 mm wide."""
    glass, middle = Glass(1e-3 * mm, 0.3), np.array([0.0])
    loaded, own = (glass_sag(middle, glass, 0.3, load=f)[0] for f in (100.0, 0.0))
    assert (own - loaded) / UM == pytest.approx(um, abs=digits)


def test_glass_against_beam_formulas() -> None:
    """Closed forms (beam tables): own weight 5·q·L⁴/(384·E·I); a load over a part of the span."""
    glass, width = Glass(0.008, 0.4), 0.25
    rigidity = 70e9 * width * 0.008**3 / 12
    own = glass_sag(np.array([0.0]), glass, width, load=0.0)[0]
    q = 2500 * 9.80665 * width * 0.008
    assert -own == pytest.approx(5 * q * 0.4**4 / (384 * rigidity))
    # Spread over the whole span: 5/8 of the line load's sag; a quarter span: by its own formula.
    line, spread, quarter = (
        own - glass_sag(np.array([0.0]), glass, width, load=80.0, spread=c)[0] for c in (0.0, 0.4, 0.1)
    )
    assert line == pytest.approx(80 * 0.4**3 / (48 * rigidity))
    assert spread / line == pytest.approx(5 / 8)
    # W/(384·E·I)·(8·L³ − 4·L·c² + c³), load W over the length c in the middle.
    assert quarter == pytest.approx(80 * (8 * 0.4**3 - 4 * 0.4 * 0.1**2 + 0.1**3) / (384 * rigidity))
    # Twice as long a part: half its load stands past the supports.
    beyond = own - glass_sag(np.array([0.0]), glass, width, load=80.0, spread=0.8)[0]
    assert beyond == pytest.approx(spread / 2)
    at = np.linspace(-0.3, 0.3, 601)
    shape = glass_sag(at, glass, width, load=80.0, spread=0.1)
    assert shape == pytest.approx(shape[::-1]) and np.argmin(shape) == 300
    assert np.all(shape <= 0.0) and not shape[np.abs(at) >= 0.2 + 1e-9].any()
    curvature = np.diff(shape, 2) / 1e-3**2
    moment = 80 * (0.4 / 4 - 0.1 / 8) + q * 0.4**2 / 8
    assert curvature[299] * rigidity == pytest.approx(moment, rel=1e-4)


def test_bedded_glass_is_flat_and_bridging_glass_sags_more_under_more_load() -> None:
    assert is_flat(job("[plate]\nglass = 10\n"))
    bridge = job("[plate]\nglass = 10\ngap = 300\n")
    assert not is_flat(bridge)
    light, heavy = (np.ptp(raster(bridge, load=f)) for f in (20.0, 100.0))
    assert 0.0 < light < heavy < 32 * UM


# ---- paper


def test_an_overlap_is_one_thickness_high_and_a_butt_is_none() -> None:
    step = 4e-3
    x, y = nodes(-50, 51, step), nodes(-30, 31, step)
    butted = np.array([[-0.2, -0.12, 0.0, 0.12], [0.0, -0.12, 0.2, 0.12]])
    assert not overlap(butted) and not overlap_steps(butted, 0.35e-3, x, y, step).any()
    gap = butted + [[0.0] * 4, [0.01, 0.0, 0.01, 0.0]]
    assert not overlap(gap) and not overlap_steps(gap, 0.35e-3, x, y, step).any()
    lapped = butted + [[0.0] * 4, [-0.02, 0.0, 0.0, 0.0]]
    assert overlap(lapped)
    heights = overlap_steps(lapped, 0.35e-3, x, y, step)
    inside = (x > -0.02 + step) & (x < -step)
    assert heights[:, inside] == pytest.approx(0.35e-3)
    assert not heights[:, (x < -0.02 - step) | (x > step)].any()
    # The step's area does not depend on where the nodes stand.
    areas = np.array(
        [overlap_steps(lapped, 1.0, x + s, y, step)[30].sum() * step for s in np.linspace(0, step, 9)]
    )
    assert areas == pytest.approx(0.02, abs=step / 4 + 1e-9)
    three = np.vstack([lapped, [[-0.02, -0.12, 0.0, 0.12]]])
    assert overlap_steps(three, 0.35e-3, x, y, step).max() == pytest.approx(0.7e-3)


def test_lumps_are_caps_of_their_height_and_volume() -> None:
    """Closed form: the cap h·(1 − (r/R)²)² holds h·π·R²/3."""
    step = 1e-3
    x, y = nodes(-30, 31, step), nodes(-20, 21, step)
    lump = Lump(0.003, -0.002, 0.016, 80 * UM)
    heights = lump_heights((lump,), x, y, step)
    assert heights.max() == pytest.approx(80 * UM, rel=0.02)
    assert np.unravel_index(np.argmax(heights), heights.shape) == (18, 33)
    assert heights.sum() * step**2 == pytest.approx(80 * UM * np.pi * 0.008**2 / 3, rel=1e-3)
    # One smaller than the raster is not lost, wherever it lies between the nodes.
    for shift in (0.0, 0.3e-3, 0.5e-3):
        small = Lump(shift, shift, 1.5e-3, 80 * UM)
        volume = lump_heights((small,), x, y, step).sum() * step**2
        assert volume == pytest.approx(80 * UM * np.pi * 0.75e-3**2 / 3, rel=0.05)
    dent = lump_heights((Lump(0.0, 0.0, 0.016, -80 * UM),), x, y, step)
    assert dent.min() == pytest.approx(-80 * UM, rel=0.02) and dent.max() == 0.0


# ---- all together


def test_what_is_flat_and_what_is_not() -> None:
    paper = "[paper]\nstrips = [[-200, -100, 0, 100], [{}, -100, 200, 100]]\n"
    for text in ("", "[plate]\nflatness = 0\n", paper.format(0), paper.format(10)):
        s = job(text)
        assert is_flat(s)
        assert not raster(s, np.ones(N_PLATE_SCORES)).any()
    for text in (
        '[plate]\ngrade = "DIN 876 0"\n',
        '[plate]\nshape = "hump"\nshape_height = 5\n',
        paper.format(-10),
        "[paper]\nlumps = [[0, 0, 20, 100]]\n",
    ):
        s = job(text)
        assert not is_flat(s)
        assert raster(s, np.ones(N_PLATE_SCORES)).any()
    assert is_flat(job('[plate]\nshape = "hump"\nshape_height = 0\n'))


def test_parts_add_up_and_do_not_depend_on_the_raster() -> None:
    text = (
        '[plate]\nshape = "hump"\nshape_height = 12\n'
        "[paper]\nstrips = [[-225, -150, 10, 150], [-10, -150, 225, 150]]\nlumps = [[100, 50, 40, 60]]\n"
    )
    coarse, fine = raster(job(text), step=5e-3), raster(job(text), step=2.5e-3)
    away = np.ones_like(coarse, dtype=bool)
    away[:, 42:49] = False  # the step itself is as wide as a cell
    assert np.abs(coarse - fine[::2, ::2])[away].max() < 2.5 * UM
    shape = simple_shape(
        "hump",
        12 * UM,
        0.45,
        0.3,
        *np.meshgrid(np.linspace(-225, 225, 91) / 1e3, np.linspace(-150, 150, 61) / 1e3),
    )
    rest = coarse - shape
    assert rest[:, 44:47] == pytest.approx(0.35e-3, abs=1e-9)
    assert rest[40, 65] == pytest.approx(60 * UM, rel=0.05)
    assert np.abs(rest[:, :40]).max() < 1e-12


def test_paper_is_cut_to_the_plate() -> None:
    plate = Plate(0.4, 0.2)
    laid = (Strip(-0.3, -0.05, 0.1, 0.05), Strip(0.25, 0.0, 0.4, 0.1))
    assert papered_area(plate, laid).tolist() == [[-0.2, -0.05, 0.1, 0.05]]
    assert papered_area(plate, None).tolist() == [[-0.2, -0.1, 0.2, 0.1]]

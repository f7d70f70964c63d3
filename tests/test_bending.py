"""Bending shapes, their stiffness, what the hands do to them; a part that bends and one that does not."""

from dataclasses import replace

import numpy as np
import pytest
from bending_reference import (
    on_end_lines,
    reference_step,
    settled_amplitudes,
    softplus_integral,
    spring_back_per_newton,
)
from marched import found_pose

from handlap.sim.common.errors import InputError
from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Outline, circle, polygon_moments, rectangle, slot
from handlap.sim.face.face_numbers import bend_components
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.scenario import Part
from handlap.sim.lapping import bending, column_kernels, march_kernels, spring_back
from handlap.sim.lapping.bending import make_bending
from handlap.sim.materials import metals

LAM, RATE = 15e-6, 0.0125e-9


def plate(
    length=0.2, width=0.08, thickness=0.006, *, openings=(), outline=None, poisson=0.33, modulus=70e9, **more
):
    metal = metals.custom("test plate", like="A356", youngs_modulus=modulus)
    return Part(
        name="plate", outline=outline or Outline.rectangular(length, width, openings),
        metal=replace(metal, poisson=poisson), weight=5.0, weight_at=(0.0, 0.0), limit=10e-6,
        limit_by="zone", allowance=None, thickness=thickness, **more,
    )  # fmt: skip


def bent_shapes(part, **how):
    """Bending of a part that is known not to be rigid."""
    bent = make_bending(part, **how)
    assert bent is not None
    return bent


# --- integrals over the metal -------------------------------------------------------------------


def test_polygon_rule_integrates_polynomials_exactly():
    shape = slot(0.01, -0.02, 0.09, 0.03, 0.4)
    points, weights = bending.polygon_rule(shape, 3)
    area, moment_u, moment_v = polygon_moments(shape)
    assert weights.sum() == pytest.approx(area, rel=1e-12)
    assert weights @ points == pytest.approx([moment_u, moment_v], rel=1e-12)
    # Closed form: ∫u⁴·v² over a rectangle.
    points, weights = bending.polygon_rule(rectangle(0.2, 0.1, 0.03, 0.01), 3)
    exact = (0.13**5 + 0.07**5) / 5 * (0.06**3 + 0.04**3) / 3
    assert weights @ (points[:, 0] ** 4 * points[:, 1] ** 2) == pytest.approx(exact, rel=1e-12)


def test_energy_of_single_terms_in_closed_form():
    length, width, nu = 0.2, 0.08, 0.3
    area = length * width
    matrix = bending.energy_matrix(Outline.rectangular(length, width), 4, nu)
    at = {term: i for i, term in enumerate(bending.terms_of(4))}
    bow, cup = 3 * (2 / length) ** 2, 3 * (2 / width) ** 2
    assert matrix[at[2, 0], at[2, 0]] == pytest.approx(bow**2 * area, rel=1e-12)
    assert matrix[at[2, 0], at[0, 2]] == pytest.approx(nu * bow * cup * area, rel=1e-12)
    twist = 2 * (1 - nu) * (4 / area) ** 2 * area
    assert matrix[at[1, 1], at[1, 1]] == pytest.approx(twist, rel=1e-12)
    # P3'' = 15·U, so ∫(w_uu)² = (15·4/L²)²·A/3.
    cubic = (15 * 4 / length**2) ** 2 * area / 3
    assert matrix[at[3, 0], at[3, 0]] == pytest.approx(cubic, rel=1e-12)
    assert np.abs(matrix[:3]).max() < 1e-12 * matrix[at[1, 1], at[1, 1]]


def test_openings_take_their_area_of_energy_away():
    bowl = {(2, 0): 1.0, (0, 2): 1.0}
    whole, hole = Outline(circle(0, 0, 0.16)), circle(0.01, 0.02, 0.06)
    terms = bending.terms_of(4)
    q = np.array([bowl.get(t, 0.0) for t in terms])
    for outline in (whole, Outline(whole.rim, (hole,))):
        matrix = bending.energy_matrix(outline, 4, 0.3)
        # The bowl has the curvature 3·(2/L)² everywhere: energy 2(1+ν)·curvature² per area.
        curvature = 3 * (2 / outline.length) ** 2
        assert q @ matrix @ q == pytest.approx(2 * 1.3 * curvature**2 * outline.area, rel=1e-9)
    full = bent_shapes(plate(), keep=4)
    holed = bent_shapes(plate(openings=(circle(0.05, 0, 0.04), circle(-0.05, 0, 0.04))), keep=4)
    assert np.all(np.diag(holed.stiffness)[:2] < 0.9 * np.diag(full.stiffness)[:2])


# --- shapes ------------------------------------------------------------------------------------


OUTLINES = {
    "rectangle": Outline.rectangular(0.2, 0.08),
    "bores": Outline.rectangular(0.3, 0.12, (circle(0.07, 0.01, 0.07), circle(-0.06, 0.0, 0.05))),
    "ring": Outline(circle(0, 0, 0.16), (circle(0, 0, 0.08),)),
    "wedge": Outline(np.array([[-0.1, -0.05], [0.1, -0.05], [0.1, 0.0], [-0.1, 0.05]])),
}


@pytest.mark.parametrize("name", OUTLINES)
def test_shapes_are_orthogonal_and_stiffness_is_positive(name):
    bent = bent_shapes(plate(outline=OUTLINES[name], pressing="rim"), degree=6, keep=None)
    assert bent.count == 25
    assert np.array_equal(bent.stiffness, bent.stiffness.T)
    assert np.linalg.eigvalsh(bent.stiffness).min() > 0.0
    grid = make_grid(OUTLINES[name], cells=60_000, rim=False)
    share = grid.area / grid.area.sum()
    half = OUTLINES[name].length / 2
    both = np.column_stack([np.ones(grid.u.size), grid.points / half, bent.shapes_at(grid.points)])
    overlap = both.T @ (share[:, None] * both)
    # Even and linear pressure do no work: the pose carries force and moments alone.
    assert np.abs(overlap[:3, 3:]).max() < 1e-3
    assert overlap[3:, 3:] == pytest.approx(np.eye(25), abs=8e-3)
    assert np.abs(bent.weight).max() < 1e-12


@pytest.mark.parametrize(
    "kind, length, width, arm", [("L", 200, 100, 10), ("L", 300, 280, 6), ("U", 300, 280, 2)]
)
def test_slender_arms_bend_as_beams(checked, kind, length, width, arm):
    """On slender arms many products look alike; what is left of them bends an arm as a beam on two supports.

    One newton down at either end of the long arm and two up in its middle bend that arm and nothing else.
    Beam: work P²·L³/(48·E·I) for P = 2 N (Gere and Timoshenko, Mechanics of Materials; from memory).
    """
    a, b, t = length / 2e3, width / 2e3, arm / 1e3
    corners = [(-a, -b), (a, -b), (a, t - b), (t - a, t - b), (t - a, b), (-a, b)]
    if kind == "U":
        corners = [(-a, -b), (a, -b), (a, b), (a - t, b), (a - t, t - b), (t - a, t - b), (t - a, b), (-a, b)]
    part = plate(outline=Outline(np.array(corners)), thickness=0.003, pressing="rim")
    found = bent_shapes(part, grid=make_grid(part.outline, cells=1500), keep=None)
    assert np.all(np.diag(found.stiffness) > 0.0)
    # Off the corners, so that no arm beside it is twisted.
    span = 2.0 * a - 2.0 * t
    places = np.array([(-0.5 * span, 0.5 * t - b), (0.0, 0.5 * t - b), (0.5 * span, 0.5 * t - b)])
    pressed = np.array([1.0, -2.0, 1.0]) @ found.shapes_at(places)
    inertia = t * part.thickness**3 / 12.0
    checked(
        f"work of 2 N in the middle of the long arm, {arm} mm wide, of a {kind} over that of a beam",
        expected=1.0,
        got=float(np.sum(pressed**2 / np.diag(found.stiffness)))
        / (2.0**2 * span**3 / (48.0 * part.metal.youngs_modulus * inertia)),
        tolerance=0.01,
        kind="closed form",
        source="beam on two supports, P·L³/(48·E·I) (Gere and Timoshenko; from memory)",
        about="bending",
    )


def test_equally_stiff_shapes_stay_together():
    square = plate(0.15, 0.15)
    pairs = np.diag(bent_shapes(square, keep=None).stiffness)
    assert pairs[3] == pytest.approx(pairs[4], rel=1e-6)
    assert bent_shapes(square, keep=3).count == 3
    assert bent_shapes(square, keep=4).count == 5


def test_more_shapes_do_not_change_the_answer():
    """Convergence in degree and in number of shapes; both leave out stiffness, so rise to the limit."""
    points = make_grid(plate().outline, cells=600).points

    def each(**how):
        return spring_back_per_newton(bent_shapes(plate(), **how), points)

    limit = each(degree=16, keep=None)
    by_degree = [each(degree=d, keep=None) / limit for d in (4, 6, 8, 10)]
    assert np.abs(np.array(by_degree) - 1.0).max() < 0.06
    assert abs(by_degree[2] - 1.0) < 0.01 and abs(by_degree[3] - 1.0) < 0.003
    assert each() == pytest.approx(limit, rel=0.03)


# --- what the hands do --------------------------------------------------------------------------


def test_pads_press_where_they_are_said_to():
    part = plate(0.3, 0.12)
    bent = bent_shapes(part, degree=6, keep=None)
    points, weights = bending.polygon_rule(circle(0, 0, 0.06), 6)
    exact = weights @ bent.shapes_at(points) / weights.sum()
    assert bent.press == pytest.approx(exact, abs=2e-3)
    pads = []
    for middle in (-0.075, 0.075):
        points, weights = bending.polygon_rule(circle(middle, 0, 0.06), 6)
        pads.append(weights @ bent.shapes_at(points) / weights.sum())
    two = bent_shapes(replace(part, pressing="two pads"), degree=6, keep=None)
    assert two.press == pytest.approx(0.5 * (pads[0] + pads[1]), abs=2e-3)


def test_rim_is_pressed_on_a_band():
    places, share = bending.pressed_cells(Outline.rectangular(0.3, 0.2), "rim", 0.06)
    assert share.sum() == pytest.approx(1.0)
    inside = (np.abs(places[:, 0]) < 0.125) & (np.abs(places[:, 1]) < 0.075)
    assert share[inside].sum() == 0.0
    # ∫u² over the band of 20 mm, closed form from two rectangles.
    exact = (0.3**3 * 0.2 - 0.26**3 * 0.16) / 12 / (0.3 * 0.2 - 0.26 * 0.16)
    assert share @ places[:, 0] ** 2 == pytest.approx(exact, rel=2e-3)


def test_nothing_to_press_on_is_refused_in_words():
    holed = plate(0.2, 0.12, openings=(circle(0, 0, 0.08),))
    with pytest.raises(InputError, match=r"no metal to press on: the pad of 60 mm .* along the rim"):
        bent_shapes(holed)
    for pressing in ("two pads", "rim", "backing"):
        assert bent_shapes(replace(holed, pressing=pressing), degree=4).count == 9
    assert bent_shapes(replace(holed, pad=0.11), degree=4).count == 9
    with pytest.raises(ValueError, match="degree"):
        bent_shapes(plate(), degree=1)


def test_rigid_parts_have_no_bending_and_ribs_go_first():
    assert make_bending(plate(thickness=None)) is None
    plain, ribbed = bent_shapes(plate(thickness=0.012)), bent_shapes(plate(ribbed_as=0.012))
    assert ribbed.stiffness == pytest.approx(plain.stiffness)
    assert bent_shapes(plate(thickness=None, ribbed_as=0.012)).rigidity == plain.rigidity


def test_backing_adds_its_stiffness_and_bridges_openings():
    bare = bent_shapes(plate())
    backed = bent_shapes(plate(pressing="backing"), backing=0.012, backing_modulus=70e9)
    # Block and plate of the same metal and Poisson's ratio, sliding on each other: 1 + 2³.
    assert np.diag(backed.stiffness) == pytest.approx(9 * np.diag(bare.stiffness), rel=1e-9)
    assert backed.press == pytest.approx(bare.press, abs=1e-9)
    points = make_grid(plate().outline, cells=400).points
    stiff = bent_shapes(plate(pressing="backing"))
    gain = spring_back_per_newton(bare, points) / spring_back_per_newton(stiff, points)
    assert gain == pytest.approx(1 + (25 / 6) ** 3, rel=1e-6)
    holed = plate(openings=(circle(0, 0, 0.06),), pressing="backing")
    block_alone = bending.plate_rigidity(70e9, 0.025, 0.33) / stiff.rigidity
    assert np.diag(bent_shapes(holed).stiffness)[0] > block_alone * np.diag(stiff.stiffness)[0]


# --- plates on lines (closed form and handbook figures) -----------------------------------------


@pytest.mark.parametrize(("thickness", "force"), [(0.006, 60), (0.008, 143), (0.010, 280)])
def test_force_that_flattens_a_bowed_plate(thickness, force):
    """Aluminium 200 × 80 mm bowed 0.1 mm on its two ends: P·L³/(48·E·I), E 70 GPa (closed form)."""
    bow = 0.1e-3
    beam = 48 * 70e9 * (0.08 * thickness**3 / 12) / 0.2**3 * bow
    assert beam == pytest.approx(force, abs=0.6)
    narrow = bow / on_end_lines(plate(thickness=thickness, poisson=0.0), 14, "line")
    assert narrow == pytest.approx(beam, rel=2e-3)
    # A plate stiffens by Poisson's ratio (some 5 %), a wide pad spares the middle (8 %).
    plain = bow / on_end_lines(plate(thickness=thickness), 14, "line")
    padded = bow / on_end_lines(plate(thickness=thickness), 14, "pad")
    assert 1.03 < plain / beam < 1.06
    assert 1.07 < padded / beam < 1.09


def test_beam_with_a_window():
    """Two ends on lines, load on the middle, a window 80 mm long and half as wide: beam of two EI.

    Closed form by the unit-load integral ∫M²/EI; ν = 0.  Corners of the window bend less than
    the beam's theory has it and the shapes are smooth, hence the tolerance.
    """
    length, width, thickness = 0.3, 0.06, 0.006
    window = (rectangle(0.06, 0.03, -0.07, 0.0), rectangle(0.06, 0.03, 0.07, 0.0))
    inertia = width * thickness**3 / 12

    def integral(a, b):
        return 2 * (b**3 - a**3) / (3 * 4)

    # Distance from the end runs from 50 to 110 mm in either window, 70 GPa.
    whole = integral(0.0, 0.15)
    holed = whole + integral(0.05, 0.11)
    full = on_end_lines(plate(length, width, thickness, poisson=0.0), 12, "line")
    weak = on_end_lines(plate(length, width, thickness, poisson=0.0, openings=window), 12, "line")
    assert full == pytest.approx(whole / (70e9 * inertia), rel=2e-3)
    assert weak / full == pytest.approx(holed / whole, rel=0.04)


# --- the reference step, and laps of parts that bend ---------------------------------------------


def faces(part, cells=500):
    grid = make_grid(part.outline, cells=cells, rim=False)
    a, b = grid.u / (part.outline.length / 2), grid.v / (part.outline.width / 2)
    return grid, {"hollow": 1e-4 * a**2, "crown": -1e-4 * a**2, "twist": 5e-5 * a * b}


def test_softplus_integral():
    t = np.array([-60.0, -3.0, 0.0, 2.0, 80.0])
    slope = (softplus_integral(t + 1e-4) - softplus_integral(t - 1e-4)) / 2e-4
    assert slope == pytest.approx(np.logaddexp(0, t), rel=1e-6, abs=1e-9)


def test_flat_face_wears_evenly_if_the_press_is_even():
    """h = k·W·s/A (closed form), rigid or thin, where nothing bends the part."""
    part = plate()
    grid, _ = faces(part)
    thin = replace(bent_shapes(part, grid=grid), press=np.zeros(9))
    # Orthogonal over the very cells, so that the sums of a coarse grid do not bend it either.
    assert np.abs(thin.weight).max() < 1e-12
    for bent in (None, thin):
        step = reference_step(0 * grid.u, grid.u, grid.v, grid.area, RATE, LAM, 50.0, 60.0, 0, 0, bent)
        assert -step.heights == pytest.approx(RATE * 60 * 50 / part.outline.area, rel=1e-6)


@pytest.mark.parametrize("shape", ["hollow", "crown", "twist"])
def test_thick_parts_are_as_good_as_rigid(shape):
    """40 mm of aluminium: removal within 1 % of a rigid part's greatest removal, everywhere."""
    part = plate(thickness=0.04)
    grid, shapes = faces(part)
    arguments = (grid.u, grid.v, grid.area, RATE, LAM, 100.0, 100.0, 0.005, 0.0)
    rigid = reference_step(shapes[shape], *arguments, None)
    thick = reference_step(shapes[shape], *arguments, bent_shapes(part))
    thin = reference_step(shapes[shape], *arguments, bent_shapes(replace(part, thickness=0.004)))
    most = np.max(shapes[shape] - rigid.heights)
    assert np.abs(thick.heights - rigid.heights).max() < 0.01 * most
    assert np.abs(thin.heights - rigid.heights).max() > 0.05 * most


def test_one_minimum_from_many_starts():
    part = plate(thickness=0.003)
    grid, shapes = faces(part, 300)
    bent = bent_shapes(part)
    arguments = (shapes["twist"], grid.u, grid.v, grid.area, RATE, 3e-6, 20.0, 40.0, 0.02, 0.01, bent)
    first = reference_step(*arguments)
    rng = np.random.default_rng(5)
    for _ in range(4):
        start = rng.normal(0.0, 8.0, 3 + bent.count)
        start[0] -= 20.0
        other = reference_step(*arguments, start=start)
        assert other.energy == pytest.approx(first.energy, rel=1e-9)
        assert other.amplitudes == pytest.approx(first.amplitudes, abs=1e-10)
    pressure = (shapes["twist"] - first.heights) / (RATE * 20.0)
    assert grid.area @ pressure == pytest.approx(40.0, rel=1e-9)
    assert grid.area @ (pressure * grid.u) == pytest.approx(40.0 * 0.02, rel=1e-8)
    assert grid.area @ (pressure * grid.v) == pytest.approx(40.0 * 0.01, rel=1e-8)


def test_small_warps_decay_by_bedding_and_bending_together():
    """Closed form: exp(−depth/(λ + W/B_m)), towards the spring-back rather than towards flat."""
    part, load, steps = plate(thickness=0.004), 60.0, 40
    grid, _ = faces(part, 800)
    bent = bent_shapes(part, grid=grid)
    shapes = bent.shapes_at(grid.points)
    slide = 10e-6 * part.outline.area / (RATE * load) / steps
    lengths = load / np.diag(bent.stiffness)
    for m in (0, 1):
        settled = -shapes @ settled_amplitudes(bent, load)
        h = settled + 0.2e-6 * shapes[:, m]
        for _ in range(steps):
            h = reference_step(h, grid.u, grid.v, grid.area, RATE, LAM, slide, load, 0, 0, bent).heights
        left = np.average((h - settled) * shapes[:, m], weights=grid.area)
        start = 0.2e-6 * np.average(shapes[:, m] ** 2, weights=grid.area)
        assert left / start == pytest.approx(np.exp(-10e-6 / (LAM + lengths[m])), rel=0.01)


def test_a_thin_face_wears_in_to_the_settled_spring_back():
    part, load = plate(thickness=0.006, pressing="middle"), 60.0
    grid, _ = faces(part, 400)
    bent = bent_shapes(part, grid=grid)
    h = np.zeros(grid.u.size)
    for _ in range(25):
        h = reference_step(
            h, grid.u, grid.v, grid.area, RATE, LAM, 250.0, load, 0, 0, bent, press=40.0
        ).heights
    found = spring_back.spring_figures(
        grid.u, grid.v, h, settled_amplitudes(bent, 40.0),
        bent.shapes_at(grid.points),
    )  # fmt: skip
    expected = 40.0 * spring_back_per_newton(bent, grid.points)
    assert found.free[0] == pytest.approx(expected, rel=0.01)
    assert found.pressed[0] < 0.01 * expected
    assert found.comes_back[0] == pytest.approx(expected, rel=1e-9)
    assert found.sprung_flat[0] == pytest.approx(found.free[0] - found.pressed[0])
    # Pressed in the middle the face is cut less hollow there than it looks: let go, it rises at the ends.
    assert bend_components(grid, h[None])[0][0] < 0.0


def test_figures_of_several_faces_at_once():
    part = plate()
    grid, shapes = faces(part)
    bent = bent_shapes(part, keep=2)
    members = np.array([shapes["hollow"], shapes["twist"]])
    figures = spring_back.spring_figures(
        grid.u, grid.v, members, np.zeros((2, 2)), bent.shapes_at(grid.points)
    )
    assert figures.comes_back == pytest.approx([0.0, 0.0], abs=1e-15)
    assert figures.pressed == pytest.approx(figures.free)


def test_largest_press():
    points = make_grid(plate().outline, cells=400).points
    each = spring_back_per_newton(bent_shapes(plate()), points)
    # Two pads bend it less than one, twice the thickness eight times less.
    two = bent_shapes(plate(pressing="two pads"))
    assert spring_back_per_newton(two, points) < 0.5 * each
    thick = bent_shapes(plate(thickness=0.012))
    assert spring_back_per_newton(thick, points) == pytest.approx(each / 8)

    def never(press):
        return 1.0

    def linear(press):
        return 0.2e-6 * press

    assert spring_back.largest_press_simulated(never, 5e-6, low=0, high=100) is None
    assert spring_back.largest_press_simulated(linear, 30e-6, low=0, high=100) == 100
    assert spring_back.largest_press_simulated(linear, 5e-6, low=0, high=100) == pytest.approx(25, abs=1)


@pytest.mark.parametrize(("thickness", "flexed", "left"), [(None, 0, 58), (0.006, 42, 70), (0.015, 3, 59)])
def test_a_bowed_cover_under_one_pad(thickness, flexed, left):
    """200 × 100 mm of aluminium hollow by 100 µm, 60 N, 250 m of sliding.

    Beforehand, by an independent program with a linear contact of 0.25 kPa/µm: a 6 mm cover flexes
    42 µm and is 70 µm out when let go, 58 if rigid; at 15 mm it flexes 3 µm.  The contact here is
    exponential, of about that stiffness where it bears, so the figures agree roughly.
    """
    part = plate(0.2, 0.1, thickness)
    grid, shapes = faces(part)
    bent = make_bending(part, grid=grid)
    h, steps = shapes["hollow"], []
    for _ in range(10):
        steps.append(reference_step(h, grid.u, grid.v, grid.area, RATE, 24e-6, 25.0, 60.0, 0, 0, bent))
        h = steps[-1].heights
    if bent is not None:
        found = spring_back.spring_figures(
            grid.u, grid.v, shapes["hollow"], steps[0].amplitudes, bent.shapes_at(grid.points)
        )
        assert 1e6 * found.comes_back[0] == pytest.approx(flexed, rel=0.08, abs=0.7)
        assert found.sprung_flat[0] > 0.0
    zone = minimum_zone_widths(grid.u, grid.v, h[np.newaxis])[0]
    assert 1e6 * zone == pytest.approx(left, rel=0.06)


@pytest.mark.parametrize("lam", [0.5e-6, 15e-6, 40e-6])
@pytest.mark.parametrize(
    ("shape", "eu", "ev"), [("hollow", 0.01, 0.0), ("twist", 0.03, 0.0), ("crown", 0.0, 0.02)]
)
def test_compiled_solver_finds_what_the_reference_finds(shape, eu, ev, lam):
    part, load, slide, half = plate(thickness=0.005), 60.0, 10.0, 0.1
    grid, shapes = faces(part)
    bent = bent_shapes(part, grid=grid)
    h = shapes[shape]
    rows = [np.ones_like(grid.u), grid.u / half, grid.v / half, *bent.shapes_at(grid.points).T]
    basis = np.ascontiguousarray(rows)
    target = load * np.concatenate([[1.0, eu / half, ev / half], bent.press])
    elastic = np.zeros((target.size, target.size))
    elastic[3:, 3:] = bent.stiffness * lam
    base = h / lam + np.log(RATE * march_kernels.REFERENCE_PRESSURE * slide / lam)
    pose = np.zeros(target.size)
    pose[0] = -base.max()
    found = found_pose(
        base, basis, grid.area * lam / (RATE * slide), target, start=pose, cap=max(50e-6, 3 * lam) / lam,
        elastic=elastic,
    )  # fmt: skip
    soft = found.soft
    slow = reference_step(
        h, grid.u, grid.v, grid.area, RATE, lam, slide, load, eu, ev, bent,
        start=np.concatenate([found.pose[:1], np.zeros(2 + bent.count)]),
    )  # fmt: skip
    assert slow.residual < 1e-6 * load
    assert found.status == column_kernels.STATUS_OK and found.evaluations < 150
    assert lam * soft == pytest.approx(h - slow.heights, abs=2e-5 * lam)
    assert lam * found.pose[3:] == pytest.approx(slow.amplitudes, abs=1e-3 * lam)
    assert grid.area @ (lam * soft) / (RATE * slide) == pytest.approx(load, rel=1e-6)

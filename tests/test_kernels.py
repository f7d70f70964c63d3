"""The compiled loops: pressure law, pose solver, large step, against slower routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from independent_lap import SlowLap
from jobs import UM, crown, hollow, job, twist
from marched import Marched, found_pose, march, pose_table
from scipy.special import expit

from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.lapping import column_kernels, pose_kernels, pressure_kernels, scratch_kernels
from handlap.sim.lapping.set_up import Rig, set_up

RATE = 0.045e-9


def softplus(t: Array) -> tuple[Array, Array]:
    soft, logistic = np.empty_like(t), np.empty_like(t)
    nought = np.zeros_like(t)
    pressure_kernels.softplus_logistic(t, nought, nought, 0.0, 0.0, 0.0, soft, logistic)
    return soft, logistic


# ---- the pressure law of a step


def test_softplus_and_logistic_against_the_library():
    """Independent route: numpy's logaddexp, scipy's expit.  The kernel claims 2e-9."""
    t = np.concatenate([np.linspace(-60.0, 60.0, 120_001), [-1e4, -40.0, 0.0, 40.0, 1e4]])
    soft, logistic = softplus(t)
    np.testing.assert_allclose(soft, np.logaddexp(0.0, t), rtol=0.0, atol=2e-9)
    np.testing.assert_allclose(logistic, expit(t), rtol=0.0, atol=2e-9)


def test_closing_is_tilted_by_the_pose():
    rng = np.random.default_rng(1)
    base, u, v = rng.normal(size=(3, 50))
    soft, logistic = np.empty(50), np.empty(50)
    pressure_kernels.softplus_logistic(base, u, v, 0.3, -1.2, 0.7, soft, logistic)
    np.testing.assert_allclose(soft, np.logaddexp(0.0, base + 0.3 - 1.2 * u + 0.7 * v), atol=2e-9)


# ---- the pose


def cold_starts():
    """Faces, bedding lengths and resultants of every sort: 4 × 5 × 5 = 100 cases."""
    rng = np.random.default_rng(2)
    for shape in ("flat", "hollow", "twist", "rough"):
        for bedding in (0.5e-6, 2e-6, 8e-6, 20e-6, 40e-6):
            for share in (0.0, 0.3, 0.6, 0.9, 0.999):
                yield shape, bedding, share, rng.uniform(0.0, 2.0 * np.pi)


def test_solver_from_cold():
    """Every pose inside the hull of the cells is found, with force and moments in balance.

    Design claim: all of 72 cold starts, λ 0.5–40 µm, resultants up to the hull's edge.
    """
    rig = set_up(job(length=0.24, width=0.14), cell=0.01)
    n = rig.grid.n_cells
    u, v = rig.grid.u[:n] / rig.half, rig.grid.v[:n] / rig.half
    faces = {
        "flat": np.zeros(n),
        "hollow": hollow(200 * UM, 1.0)(u, v),
        "twist": twist(200 * UM, 1.0, 0.6)(u, v),
        "rough": 50 * UM * np.random.default_rng(3).normal(size=n),
    }
    weight = np.full(n, 1.0 / n)
    most = 0
    for shape, bedding, share, angle in cold_starts():
        # The edge of the hull of the cells' centres in this direction.
        c, s = np.cos(angle), np.sin(angle)
        to_edge = min(u.max() / max(abs(c), 1e-12), v.max() / max(abs(s), 1e-12))
        eu, ev = share * to_edge * c, share * to_edge * s
        base = faces[shape] / bedding
        start, force = np.zeros(3), 0.02
        pose_kernels.touch(base, u, v, weight, start)
        found = found_pose(
            base, [np.ones(n), u, v], weight, [force, force * eu, force * ev], start=start,
            cap=50e-6 / bedding,
        )  # fmt: skip
        pose, soft = found.pose, found.soft
        assert found.status == column_kernels.STATUS_OK, (shape, bedding, share, angle)
        most = max(most, found.evaluations)
        exact = np.logaddexp(0.0, base + pose[0] + pose[1] * u + pose[2] * v)
        scale = max(exact.max(), 1e-300)
        # The last motion, TOLERANCE, leaves its square over 8 in the removal.
        assert np.abs(soft - exact).max() <= 2e-6 * max(scale, 1.0)
        assert weight @ soft == pytest.approx(force, rel=1e-6)
        assert weight @ (soft * u) == pytest.approx(force * eu, abs=1e-6 * force)
        assert weight @ (soft * v) == pytest.approx(force * ev, abs=1e-6 * force)
    assert most < pose_kernels.MAX_EVALUATIONS


def test_held_tilt_moves_only_the_approach():
    rng = np.random.default_rng(4)
    base, u, v = rng.normal(size=(3, 80))
    weight = np.full(80, 1.0 / 80)
    found = found_pose(
        base, [np.ones(80), u, v], weight, [2.0, 9.0, 9.0], start=np.zeros(3), cap=10.0, tilt_free=False
    )
    assert found.status == column_kernels.STATUS_OK
    assert found.pose[1:].tolist() == [0.0, 0.0]
    assert weight @ found.soft == pytest.approx(2.0, rel=1e-9)


@pytest.mark.parametrize("shapes", [1, 3, 4, 9, 12])
def test_what_a_bending_part_meets_against_sums_in_numpy(shapes):
    """However many shapes are left over beside whole fours; stiffness on and under its diagonal."""
    n, modes = 203, 3 + shapes
    rng = np.random.default_rng(shapes)
    basis = np.zeros((-(-modes // 4) * 4, n))
    basis[:modes] = rng.normal(size=(modes, n))
    basis[0] = 1.0
    base, pose = rng.normal(size=n), 0.3 * rng.normal(size=modes)
    weight = rng.uniform(0.1, 1.0, size=n)
    closing, soft, logistic = np.empty((3, n))
    reaction, stiffness = np.zeros(len(basis)), np.zeros((len(basis), len(basis)))
    pressure_kernels.evaluate_flexed(base, basis, weight, pose, closing, soft, logistic, reaction, stiffness)
    t = base + pose @ basis[:modes]
    np.testing.assert_allclose(soft, np.logaddexp(0.0, t), rtol=0.0, atol=2e-9)
    np.testing.assert_allclose(reaction, basis @ (weight * np.logaddexp(0.0, t)), rtol=0.0, atol=1e-6)
    exact = (basis * (weight * expit(t))) @ basis.T
    np.testing.assert_allclose(np.tril(stiffness), np.tril(exact), rtol=0.0, atol=1e-6)


def test_a_part_with_no_shapes_to_speak_of_is_met_like_a_rigid_one():
    """The nine sums of a rigid part, over more than one block, and those of a bending one are the same."""
    n = pressure_kernels.BLOCK + 77
    base, u, v = np.random.default_rng(7).normal(size=(3, n))
    weight, pose = np.full(n, 1.0 / n), np.array([0.2, -0.4, 0.1])
    basis = np.vstack([np.ones(n), u, v, np.zeros(n)])
    closing, soft, logistic = np.empty((3, n))
    reaction, stiffness = np.zeros(4), np.zeros((4, 4))
    pressure_kernels.evaluate_flexed(base, basis, weight, pose, closing, soft, logistic, reaction, stiffness)
    rigid, stiff = np.zeros(3), np.zeros((3, 3))
    pressure_kernels.evaluate(base, u, v, weight, pose, soft, logistic, rigid, stiff)
    np.testing.assert_allclose(rigid, reaction[:3], rtol=1e-12)
    np.testing.assert_allclose(stiff, np.tril(stiffness[:3, :3]), rtol=1e-12)


# ---- the march against a slow, independent solver


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_march_against_a_slow_solver(checked, seed):
    """Independent route: random faces, rates and resultants, explicit steps, general minimiser."""
    rng = np.random.default_rng(seed)
    rig = set_up(job(length=0.2, width=0.1), cell=0.02)
    grid = rig.grid
    bedding = rng.uniform(5e-6, 30e-6)
    h = 15 * UM * rng.normal(size=grid.u.size)
    scale = rng.uniform(0.5, 1.0, size=grid.u.size)
    rows = 120
    at = rng.uniform(-0.25, 0.25, size=(rows, 2)) * [0.2, 0.1]
    slide = 8 * UM * 0.02 / (RATE * 80.0) / rows
    found = march(rig, h, pose_table(rows, slide, 80.0, at, half=rig.half), bedding=bedding, scale=scale)
    assert found.status == column_kernels.STATUS_OK
    n = grid.n_cells
    slow = SlowLap(grid.u[:n], grid.v[:n], grid.area[:n], h[:n], RATE * scale[:n], bedding)
    for row in range(rows):
        slow.slide(slide, 80.0, at[row])
    checked(
        f"face after 120 slides under a load that wanders, less that of the slow lap, case {seed}",
        expected=0.0,
        got=(found.heights[:n] - slow.h) / UM,
        tolerance=2e-3,
        unit="µm",
        kind="independent implementation",
        source="explicit steps, scipy.optimize on the energy of the contact",
        about="wear",
    )


def swinging(rows: int) -> Array:
    """1 for a push, −1 for a pull: push, pull, pull, push (rows,)."""
    return np.resize([1, -1, -1, 1], rows)


def swung(
    rig: Rig, heights: Array, *, rows: int, slide: float, load: float, lead: float, bedding: float, **more
) -> tuple[Marched, Array]:
    """March of rows whose load acts ``lead`` before and behind the middle, and where it acted (rows, 2)."""
    at = np.zeros((rows, 2))
    at[:, 0] = lead * swinging(rows)
    more.setdefault("kinds", (1 - swinging(rows)) // 2)
    table = pose_table(rows, slide, load, at, half=rig.half)
    found = march(rig, heights, table, rate=RATE, bedding=bedding, **more)
    assert found.status == column_kernels.STATUS_OK
    return found, at


def push_and_pull(
    rig: Rig, heights: Array, *, rows: int, slide: float, load: float, lead: float, bedding: float
) -> tuple[Marched, SlowLap]:
    """The same rows marched and lapped slowly."""
    found, at = swung(rig, heights, rows=rows, slide=slide, load=load, lead=lead, bedding=bedding)
    grid, n = rig.grid, rig.grid.n_cells
    slow = SlowLap(grid.u[:n], grid.v[:n], grid.area[:n], heights[:n], RATE, bedding)
    for row, way in enumerate(swinging(rows)):
        slow.slide(slide, load, at[row], like=way)
    return found, slow


def test_push_and_pull_pass_by_pass_against_the_slow_solver():
    """Independent route: the hollow, twist and crown of the comparison, on a coarse raster."""
    length, width, travel = 0.24, 0.14, 0.18
    rig = set_up(job(), cell=0.02)
    for face in (
        hollow(100 * UM, length / 2),
        twist(100 * UM, length / 2, width / 2),
        crown(100 * UM, length / 2),
    ):
        # 1,500 passes, ten a step: some λ/100 of metal.
        found, slow = push_and_pull(
            rig, face(rig.grid.u, rig.grid.v),
            rows=150, slide=10 * travel, load=100.0, lead=0.03, bedding=24 * UM,
        )  # fmt: skip
        np.testing.assert_allclose(found.heights[: slow.h.size], slow.h, rtol=0.0, atol=5e-3 * UM)


# ---- many rows under a load that acts at two places


STEADY_ROWS, STEADY_BEDDING = 60, 24 * UM
LEAVES = STEADY_ROWS * pose_kernels.TOLERANCE**2 / 8.0 * STEADY_BEDDING
"""What the rows of two laps may differ by: each leaves the square of its last motion over 8 [m]."""


def steadily(rig: Rig, heights: Array, **more) -> Marched:
    """Sixty slides, each of which takes λ/10 off, under a load that acts at two places in turn."""
    load = 80.0
    slide = 0.1 * STEADY_BEDDING * rig.grid.area.sum() / (RATE * load)
    return swung(
        rig, heights, rows=STEADY_ROWS, slide=slide, load=load, lead=0.02, bedding=STEADY_BEDDING, **more
    )[0]


def pierced(cell: float = 0.0025) -> Rig:
    """A plate with one opening, on cells of this size [m]."""
    return set_up(job(Outline.rectangular(0.2, 0.1, (circle(0.03, 0.01, 0.04),))), cell=cell)


def ridge(rig: Rig) -> Array:
    """A face that stands on two columns of cells, one either side, and hollow between."""
    proud = np.abs(np.abs(rig.grid.u) - 0.07) < 1.2 * rig.grid.cell_size
    return np.where(proud, 400 * UM, 0.0)


@pytest.mark.parametrize("shape", ["hollow", "ridge"])
def test_many_rows_against_the_slow_solver(checked, shape):
    """Independent route: explicit midpoint steps, general minimiser, on all cells."""
    rig = set_up(job(length=0.2, width=0.1), cell=0.005)
    h = ridge(rig) if shape == "ridge" else hollow(60 * UM, 0.1)(rig.grid.u, rig.grid.v)
    lam, load = 24 * UM, 80.0
    slide = 0.005 * lam * 0.02 / (RATE * load)
    found, slow = push_and_pull(rig, h, rows=480, slide=slide, load=load, lead=0.02, bedding=lam)
    checked(
        f"face after 480 slides less that of the slow lap: {shape}",
        expected=0.0,
        got=(found.heights[: slow.h.size] - slow.h) / UM,
        tolerance=2e-3,
        unit="µm",
        kind="independent implementation",
        source="explicit steps, scipy.optimize on the energy of the contact",
        about="wear",
    )


def test_points_that_are_followed_wear_like_the_cells_they_stand_on():
    """Some of them go with the cells, weightless, the others after these: to either it is the same."""
    rig = pierced()
    grid, n = rig.grid, rig.grid.n_cells
    beyond = grid.u.size - n
    assert beyond > 2 * scratch_kernels.VECTORS
    h = hollow(60 * UM, 0.1)(grid.u, grid.v)
    # Put every followed point onto a cell.
    on = np.arange(beyond) * (n // beyond)
    u, v = grid.u.copy(), grid.v.copy()
    u[n:], v[n:], h[n:] = u[on], v[on], h[on]
    found = steadily(replace(rig, grid=replace(grid, u=u, v=v)), h)
    np.testing.assert_allclose(found.heights[n:], found.heights[on], rtol=0.0, atol=LEAVES)
    alone = steadily(rig, hollow(60 * UM, 0.1)(grid.u, grid.v))
    np.testing.assert_array_equal(alone.heights[:n], found.heights[:n])


# ---- the large step


def four_bores() -> Rig:
    bores = tuple(circle(u, 0.0, 0.08) for u in (-0.165, -0.055, 0.055, 0.165))
    return set_up(job(Outline.rectangular(0.44, 0.15, bores)), cell=0.002)


def test_nine_large_steps_do_what_nine_hundred_do(checked):
    """Design figure: 440 × 150 mm, four 80 mm bores, hollow by 200 µm, 1,800 m: within 0.02 µm."""
    rig = four_bores()
    h = hollow(200 * UM, 0.22)(rig.grid.u, rig.grid.v)
    # 11,498 whole cells of 2 mm were counted; cells cut by the bores come on top.
    assert rig.grid.n_cells == pytest.approx(11_498, rel=0.03)
    coarse, fine = (
        march(rig, h, pose_table(rows, 1800.0 / rows, 150.0, half=rig.half), rate=0.0125e-9, bedding=15e-6)
        for rows in (9, 900)
    )
    assert np.ptp(h) - np.ptp(fine.heights) > 150 * UM
    checked(
        "map of a head lapped 1,800 m in 9 steps, less that in 900",
        expected=0.02,
        got=np.abs(coarse.heights - fine.heights).max() / UM,
        tolerance=0.0,
        unit="µm",
        sense="at most",
        kind="independent implementation",
        source="an earlier solver's step errors",
        about="wear",
    )


def step_error(e: float, rows: int, reference: int = 1000) -> float:
    """Range of the error map of a tilted load that takes 30 µm = 2λ off, in this many steps [m]."""
    rig = set_up(job(length=0.24, width=0.14), cell=0.005)
    flat = np.zeros(rig.grid.u.size)
    sliding = 30e-6 * 0.24 * 0.14 / (RATE * 100.0)

    def after(steps: int) -> Array:
        table = pose_table(steps, sliding / steps, 100.0, (e * 0.24, 0.0), half=rig.half)
        return march(rig, flat, table, bedding=15e-6).heights

    return float(np.ptp(after(rows) - after(reference)))


@pytest.mark.parametrize(("e", "errors"), [(0.3, (6.3, 0.59, 0.16)), (0.1, (0.67, 0.053, 0.014))])
def test_tilted_steps_are_second_order(checked, e, errors):
    """Design figures, µm, for 1, 4 and 8 steps; the face they were made on is not stated: 10 %."""
    found = [step_error(e, rows) / UM for rows in (1, 4, 8)]
    for steps, error, want in zip((1, 4, 8), found, errors, strict=True):
        checked(
            f"error of taking 2 λ off in {steps} steps, load at {e:g} of the length",
            expected=want,
            got=error,
            tolerance=0.10 * want,
            unit="µm",
            kind="independent implementation",
            source="an earlier solver's step errors",
            about="wear",
        )
    checked(
        f"error with twice the step over that with the step, load at {e:g} of the length",
        expected=4.0,
        got=found[1] / found[2],
        tolerance=0.2,
        kind="closed form",
        source="order of the step: second where the part tilts",
        about="wear",
    )


def test_untilted_steps_are_exact_at_any_size():
    """Closed form: while the pose does not turn, one step does what a thousand do."""
    rig = set_up(job(), cell=0.01)
    h = twist(100 * UM, 0.12, 0.07)(rig.grid.u, rig.grid.v)
    one, many = (
        march(rig, h, pose_table(rows, 300.0 / rows, 100.0, half=rig.half), tilt_free=False).heights
        for rows in (1, 1000)
    )
    # The solver's last correction is linear: it errs by TOLERANCE²/8 of λ a step.
    assert np.abs(one - many).max() < pose_kernels.TOLERANCE**2 / 8 * 24e-6 * 30


@pytest.mark.parametrize(("order", "ratio"), [((1, -1, -1, 1), 4.0), ((1, -1, 1, -1), 2.0)])
def test_push_and_pull_are_second_order_only_if_they_change_places(order, ratio):
    """Derived: halving the step quarters the error if the order alternates, else halves it."""
    rig = set_up(job(), cell=0.01)
    flat = np.zeros(rig.grid.u.size)

    def after(rows: int) -> Array:
        at = np.zeros((rows, 2))
        at[:, 0] = 0.03 * np.resize(order, rows)
        kinds = (np.resize(order, rows) < 0).astype(np.int64)
        return march(rig, flat, pose_table(rows, 192.0 / rows, 100.0, at, half=rig.half), kinds=kinds).heights

    exact = after(4096)
    coarse, fine = (np.abs(after(rows) - exact).max() for rows in (16, 32))
    assert coarse / fine == pytest.approx(ratio, rel=0.1)


# ---- what comes off


def test_two_metals_in_one_face(checked):
    """Closed form: under an even load the slower metal ends proud by λ·ln of the ratio of rates."""
    rig = set_up(job(), cell=0.01)
    grid = rig.grid
    insert = np.abs(grid.u) < 0.03
    scale = np.where(insert, 0.4, 1.0)
    table = pose_table(400, 20.0, 100.0, half=rig.half)
    found = march(rig, np.zeros(grid.u.size), table, scale=scale)
    step = found.heights[insert].mean() - found.heights[~insert].mean()
    checked(
        "step between two metals, one cutting at 0.4 of the other's rate",
        expected=24 * np.log(1.0 / 0.4),
        got=step / UM,
        tolerance=1e-4 * 24,
        unit="µm",
        kind="closed form",
        source="λ·ln of the ratio of rates, in steady wear",
        about="wear",
    )
    assert np.ptp(found.heights[insert]) < 1e-3 * UM


@pytest.mark.parametrize("rate", [0.005e-9, 0.045e-9, 0.4e-9])
def test_small_errors_fade_with_the_depth_removed(checked, rate):
    """Closed form: an error much smaller than λ decays as exp(−depth/λ), whatever k is."""
    lam = 24e-6
    rig = set_up(job(), cell=0.01)
    grid = rig.grid
    # A ripple without a plane of its own, λ/1000 high.
    ripple = 1e-3 * lam * np.cos(8 * np.pi * grid.u / 0.24) * np.cos(4 * np.pi * grid.v / 0.14)
    depth = 1.7 * lam
    rows = 100
    table = pose_table(rows, depth * 0.24 * 0.14 / (rate * 100.0) / rows, 100.0, half=rig.half)
    found = march(rig, ripple, table, rate=rate)
    n = grid.n_cells
    left = found.heights[:n] - found.heights[:n].mean()
    share = (left @ ripple[:n]) / (ripple[:n] @ ripple[:n])
    # The ripple's height itself, λ/1000, is what the closed form neglects.
    checked(
        f"what is left of a ripple of λ/1000 after 1.7 λ, rate {1e9 * rate:g} mm³/(N·m)",
        expected=np.exp(-1.7),
        got=share,
        tolerance=2e-3 * np.exp(-1.7),
        kind="closed form",
        source="exp(−depth/λ) in full contact",
        about="wear",
    )


def test_force_sliding_and_rate_give_the_volume():
    """Conservation: ∫p̄ = W on every row, so the volume is k·W·s where k is uniform."""
    rng = np.random.default_rng(5)
    rig = four_bores()
    grid = rig.grid
    h = 40 * UM * rng.normal(size=grid.u.size)
    rows = 40
    table = pose_table(rows, 7.0, 120.0, rng.uniform(-0.05, 0.05, size=(rows, 2)), half=rig.half)
    found = march(rig, h, table)
    assert grid.area @ (h - found.heights) == pytest.approx(RATE * 120.0 * 7.0 * rows, rel=1e-9)


# ---- off the paper


@pytest.mark.parametrize(
    ("f", "p_max", "contact"), [(0.20, 2.188, 0.80), (0.25, 2.667, 0.75), (0.40, 6.667, 0.30)]
)
def test_overhang_past_the_edge_of_the_paper(f, p_max, contact):
    """Closed form (no tension, linear pressure on what is on paper), load in the middle of the part.

    Greatest pressure over W/A at the paper's edge, and the length in contact.
    """
    length, width, n = 0.2, 0.01, 200
    edge = length * (0.5 - f)
    rig = set_up(
        job(length=length, width=width, plate=(4.0, 4.0), strips=[(-1.0, -1.0, edge, 1.0)]), cell=length / n
    )
    grid = rig.grid
    kwd = 100.0 / (length * width) * RATE
    rows, depth = 400, 6000 * UM
    table = pose_table(rows, depth / kwd / rows, 100.0, half=rig.half)
    found = march(rig, np.zeros(grid.u.size), table, every=rows // 2)
    rate = (found.snapshots[0] - found.snapshots[1])[: grid.n_cells] / (depth / 2)
    u = grid.u[: grid.n_cells]
    # Cells stand half a cell and more inside the edge; the pressure falls linearly from there.
    inside = edge - u
    on_paper = length * (1.0 - f)
    least = max(2.0 / (1.0 - f) - p_max, 0.0)  # the mean is 1/(1 − f) where all of it is in contact
    want = p_max - (p_max - least) * inside / min(contact * length, on_paper)
    want = np.where(inside > 0.0, np.maximum(want, 0.0), 0.0)
    # p_max is printed to four digits; 0.2 % of it is asked for.
    np.testing.assert_allclose(rate, want, rtol=0.0, atol=2e-3 * p_max)
    assert rate[inside < 0.0].max() < 1e-9
    in_contact = grid.area[: grid.n_cells][rate > 1e-3 * p_max].sum() / width
    assert in_contact == pytest.approx(contact * length, abs=1.5 * length / n)


def test_beyond_half_an_overhang_the_part_tips():
    rig = set_up(job(length=0.2, width=0.02, strips=[(-1.0, -1.0, -0.02, 1.0)]), cell=0.005)
    found = march(rig, np.zeros(rig.grid.u.size), pose_table(3, 1.0, 100.0, half=rig.half))
    assert found.diagnostics[column_kernels.D_TIPPED] == 3
    assert np.isfinite(found.heights).all()


def test_part_beside_the_paper_has_no_contact():
    rig = set_up(job(length=0.2, width=0.02, strips=[(-1.0, -1.0, -0.5, 1.0)]), cell=0.005)
    found = march(rig, np.zeros(rig.grid.u.size), pose_table(3, 1.0, 100.0, half=rig.half))
    assert found.status == column_kernels.STATUS_NO_CONTACT
    assert found.diagnostics[column_kernels.D_FAILED_ROW] == 0


def test_only_what_is_on_paper_wears(checked):
    """Coverage: nothing off the strips, all of the load on them, a gap between strips is none."""
    rig = set_up(
        job(length=0.2, width=0.1, strips=[(-0.3, -0.3, -0.02, 0.3), (0.02, -0.3, 0.3, 0.3)]), cell=0.005
    )
    grid = rig.grid
    found = march(rig, np.zeros(grid.u.size), pose_table(20, 5.0, 100.0, half=rig.half))
    off = -found.heights
    gap = np.abs(grid.u) < 0.0175 - 1e-9
    checked(
        "metal off a face over the gap between two pieces of paper",
        expected=0.0,
        got=off[gap] / UM,
        tolerance=1e-12,
        unit="µm",
        kind="closed form",
        source="no pressure where there is no paper",
        about="edges of the paper",
    )
    assert np.all(off[np.abs(grid.u) > 0.0225] > 0.0)
    assert grid.area @ off == pytest.approx(RATE * 100.0 * 100.0, rel=1e-9)
    assert np.ptp(off[np.abs(grid.u) > 0.0225]) < 1e-3 * UM

"""Plates that are not flat, seams, twisting and rocking hands, other metals in the face: whole laps."""

from dataclasses import replace

import numpy as np
import pytest
from jobs import UM, job, lap

from handlap.sim.common.outline import circle
from handlap.sim.job.scenario import Insert, Lump, Strip

LONG = 20_000


def with_hands(scenario, **changes):
    return replace(scenario, hands=replace(scenario.hands, **changes))


def crown_along(lapped):
    """Middle over ends of the face along its middle line, + = crown [m]."""
    u, after = lapped.rig.grid.u, lapped.after
    middle = after[np.abs(u) < 0.02].mean()
    return middle - after[np.abs(u) > 0.11].mean()


@pytest.mark.parametrize(("shape", "sign"), [("dish", 1.0), ("hump", -1.0)])
def test_face_worn_in_without_travel_is_the_plate_turned_over(shape, sign):
    """Closed form: at rest on the spot the face takes the plate's form; a dish makes a crown."""
    base = job(bedding=2e-6, travel=1e-6, plate=(0.24, 0.14))
    scenario = replace(base, plate=replace(base.plate, shape=shape, shape_height=40 * UM))
    done = lap(scenario, None, 1000 * LONG * 6, rows=400)
    inner = (np.abs(done.rig.grid.u) < 0.1) & (np.abs(done.rig.grid.v) < 0.05)
    u, after = done.rig.grid.u[inner], done.after[inner]
    # Parabola along u with this curvature, whatever it is across.
    fitted = np.polynomial.polynomial.polyfit(u, after, 2)[2]
    v = done.rig.grid.v[inner]
    both = np.linalg.lstsq(np.column_stack([np.ones_like(u), u, v, u * u, v * v]), after, rcond=None)[0]
    assert np.sign(fitted) == -sign
    assert np.sign(both[3]) == -sign
    assert np.ptp(after - np.column_stack([np.ones_like(u), u, v, u * u, v * v]) @ both) < 2 * UM


def test_twist_of_the_plate_prints_a_twist_and_half_turns_do_not_cure_it():
    base = job(bedding=5e-6, travel=0.02)
    scenario = replace(base, plate=replace(base.plate, shape="twist", shape_height=500 * UM))
    done = lap(scenario, None, LONG, rows=100)
    u, v = done.rig.grid.u, done.rig.grid.v
    corner = lambda a, b: done.after[(a * u > 0.1) & (b * v > 0.05)].mean()  # noqa: E731
    twist = corner(1, 1) + corner(-1, -1) - corner(1, -1) - corner(-1, 1)
    assert abs(twist) > 2 * UM


def test_true_plate_is_the_case_of_no_height():
    base = job(reach=0.02)
    level = replace(base, plate=replace(base.plate, shape="dish", shape_height=1e-15))
    flat, nearly = (lap(s, None, 400, rows=40).after for s in (base, level))
    assert nearly == pytest.approx(flat, abs=1e-12)


def test_overlap_of_strips_digs_and_gap_spares():
    """A step of one paper thickness carries the part: far more comes off there than beside it."""
    base = job(length=0.2, width=0.06, travel=0.02, bedding=15e-6, press=60.0)
    butt = (Strip(-0.5, -0.2, 0.0, 0.2), Strip(0.0, -0.2, 0.5, 0.2))
    lapped = (Strip(-0.5, -0.2, 0.005, 0.2), Strip(-0.005, -0.2, 0.5, 0.2))
    plain, seam, step = (
        lap(replace(base, paper=replace(base.paper, strips=s)), None, 2000, rows=120)
        for s in (None, butt, lapped)
    )
    assert seam.after == pytest.approx(plain.after, abs=0.05 * UM)
    u = step.rig.grid.u
    near, far = np.abs(u) < 0.012, np.abs(u) > 0.05
    assert step.removed[near].mean() > 3.0 * step.removed[far].mean()
    assert step.run.removed_volume == pytest.approx(plain.run.removed_volume, rel=1e-6)


def test_lump_under_the_paper_scores_a_stripe_along_the_stroke():
    base = job(travel=0.1, bedding=10e-6)
    lumpy = replace(base, paper=replace(base.paper, lumps=(Lump(0.0, 0.03, 0.012, 60 * UM),)))
    plain, scored = (lap(s, None, 1500, rows=120) for s in (base, lumpy))
    v, u = scored.rig.grid.v, scored.rig.grid.u
    under = (np.abs(v - 0.03) < 0.004) & (np.abs(u) < 0.04)
    beside = (np.abs(v + 0.03) < 0.004) & (np.abs(u) < 0.04)
    assert scored.removed[under].mean() > scored.removed[beside].mean() + 3 * UM
    assert np.ptp(plain.removed) < 1e-9


def test_turning_wrists_slide_the_ends_further():
    """Closed form: with even pressure a spot runs |d + κ·(−v, u)| times the way of the middle.

    The direction d turns in the frame of the part as the part turns.  Even pressure is that of
    a very soft bedding; going and coming add up to the same.
    """
    kappa = np.radians(30.0) / 0.18
    done = lap(with_hands(job(bedding=1.0), twist=np.radians(30.0)), None, 100, rows=512)
    u, v = done.rig.grid.u, done.rig.grid.v
    turned = np.radians(np.linspace(-15.0, 15.0, 201))[:, None]
    expected = np.hypot(np.cos(turned) - kappa * v, -np.sin(turned) + kappa * u).mean(axis=0)
    assert done.removed / done.removed.mean() == pytest.approx(expected / expected.mean(), rel=2e-3)


def test_turning_wrists_take_more_off_the_ends():
    plain = lap(job(), None, 4000, rows=60)
    turned = lap(with_hands(job(), twist=np.radians(40.0)), None, 4000, rows=60)
    assert crown_along(turned) > crown_along(plain) + 1 * UM


def test_rocking_press_rounds_the_face_and_swell_tapers_nothing_on_its_own():
    """The filer's rocking: the press runs from the near to the far end during the push."""
    still = lap(job(), None, 4000, rows=200)
    rocking = lap(with_hands(job(), rocking=0.08), None, 4000, rows=200)
    assert abs(crown_along(still)) < 0.1 * UM
    assert crown_along(rocking) > 0.5 * UM
    swell = lap(with_hands(job(), swell=0.5), None, 4000, rows=200)
    assert np.ptp(swell.after) < 0.5 * UM
    assert swell.run.load_sliding == pytest.approx(still.run.load_sliding, rel=0.02)


def test_rocking_and_swell_together_taper():
    """Heavier at the end of a pass, with the press ahead there on the push and behind on the pull."""
    both = lap(with_hands(job(), rocking=0.08, swell=0.5), None, 4000, rows=200)
    assert np.ptp(both.after) > 0.5 * UM


@pytest.mark.parametrize("ratio", [0.5, 0.25, 2.0])
def test_insert_of_another_metal_ends_proud_by_the_logarithm_of_the_rates(ratio):
    """Closed form: in the steady state all spots sink alike, so p·k is even and the step λ·ln(1/ratio)."""
    lam = 8e-6
    base = job(bedding=lam)
    insert = Insert("liner", circle(0.0, 0.0, 0.05), ratio)
    done = lap(replace(base, part=replace(base.part, inserts=(insert,))), None, LONG, rows=200)
    grid = done.rig.grid
    distance = np.hypot(grid.u, grid.v)
    inside, outside = distance < 0.022, (distance > 0.03) & (grid.area > 0)
    step = done.after[inside].mean() - done.after[outside].mean()
    assert step == pytest.approx(lam * np.log(1.0 / ratio), rel=1e-3)
    assert done.run.removed_volume > 0.0

"""Whole laps: conservation, what turns what, what grows and what fades, where it is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from jobs import (
    HALF_TURNS,
    P80,
    QUARTER_TURNS,
    UM,
    WALK_ROUND,
    Face,
    Lapped,
    crown,
    hollow,
    job,
    lap,
    middle,
    twist,
)
from scipy.integrate import solve_ivp

from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.common.outline import Array, Outline, circle, slot
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.job.scenario import Strip
from handlap.sim.job.stroke_path import path_length
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.poses import load_poses
from handlap.sim.lapping.set_up import hold_in_hull, paper_on_plate, set_up
from handlap.sim.materials import grits

L, B = 0.24, 0.14
RATE, LOAD = 0.045e-9, 100.0
C = 100 * UM


def zone(found: Lapped) -> float:
    """Minimum zone of the lapped face, edge included [m]."""
    grid = found.rig.grid
    return float(minimum_zone_widths(grid.u, grid.v, found.after[None])[0])


def slant(found: Lapped) -> float:
    """End-to-end difference along u of the best plane of the removal [m]; + = more off at +u."""
    grid, n = found.rig.grid, found.rig.grid.n_cells
    weight = grid.area[:n]
    u = grid.u[:n] - weight @ grid.u[:n] / weight.sum()
    return (
        float((weight * u) @ found.removed[:n] / ((weight * u) @ u)) * found.rig.scenario.part.outline.length
    )


def at(found: Lapped, values: Array) -> dict[tuple[int, int], float]:
    """Values of the cells by place, to the micrometre."""
    grid = found.rig.grid
    keys = zip(np.round(1e6 * grid.u).astype(int), np.round(1e6 * grid.v).astype(int), strict=True)
    return dict(zip(list(keys)[: grid.n_cells], values[: grid.n_cells], strict=True))


# ---- conservation


BUSY: dict[str, Any] = dict(
    reach=0.02, bias=(0.005, 0.002), wobble=(0.005, 0.005), weight=30.0, weight_at=(0.004, -0.003)
)
SET_UPS: dict[str, dict[str, Any]] = {
    "bare": dict(),
    "ageing, brushed, new sheets": dict(**BUSY, brush_every=40, sheet_every=120),
    "over the edge of the paper": dict(**BUSY, plate=(0.34, 0.30)),
    "strips with a gap": dict(**BUSY, strips=[(-0.5, -0.3, -0.01, 0.3), (0.01, -0.3, 0.5, 0.3)]),
    "circles": dict(**BUSY, pattern="circle", travel=0.08),
    "eights, quarter turns": dict(**BUSY, pattern="eight", travel=0.12, states=QUARTER_TURNS, turn_every=25),
    "one way, walking round": dict(**BUSY, pattern="one way", states=WALK_ROUND, turn_every=30),
    "diagonal, half turns": dict(**BUSY, pattern="diagonal", states=HALF_TURNS, turn_every=10),
}
EFFECTS: dict[str, Any] = dict(blunt_bedding=0.6, friction_gain=0.4, edge_rate=1.5, edge_rise=20e-6)
"""All that paper does besides wearing out."""
BORES = (circle(-0.05, 0.01, 0.05), circle(0.06, 0.0, 0.06), slot(0.0, 0.05, 0.06, 0.012, 0.3))
OPENED = Outline.rectangular(L, B, BORES)


@pytest.mark.parametrize("outline", [None, OPENED], ids=["plain", "openings"])
@pytest.mark.parametrize("name", SET_UPS)
def test_volume_off_the_face_lies_on_the_paper(checked, name, outline):
    """Conservation, 1e-12: what leaves the face lies on the paper, whatever is done on it.

    With all that paper does: λ falls, friction grows, a leading edge is cut faster and meets a wave.
    """
    found = lap(job(outline, ages=True, **SET_UPS[name], **EFFECTS), twist(C, L / 2, B / 2), 250, rows=200)
    assert found.run.removed_volume > 0.0
    assert found.run.deposited_volume is not None
    checked(
        f"volume on paper less that off {'a plain face' if outline is None else 'bores'}, relative: {name}",
        expected=0.0,
        got=found.run.deposited_volume / found.run.removed_volume - 1.0,
        tolerance=1e-12,
        kind="closed form",
        source="conservation of metal",
        about="paper",
    )
    grid = found.rig.grid
    assert grid.area @ found.removed == pytest.approx(found.run.removed_volume, rel=1e-12)
    assert np.isfinite(found.run.heights).all()


@pytest.mark.parametrize("outline", [None, OPENED], ids=["plain", "openings"])
@pytest.mark.parametrize("name", SET_UPS)
def test_fresh_paper_takes_rate_times_load_times_sliding(checked, name, outline):
    """Conservation: k·W·s where k is uniform, the force balance holding on every row.

    The wave before the leading edge moves pressure, and changes nothing of that.
    """
    found = lap(job(outline, **SET_UPS[name], edge_rise=20e-6), twist(C, L / 2, B / 2), 250, rows=200)
    assert found.run.deposited_volume is None
    checked(
        f"volume off {'a plain face' if outline is None else 'bores'} less k·W·s, relative: {name}",
        expected=0.0,
        got=found.run.removed_volume / (RATE * found.run.load_sliding) - 1.0,
        tolerance=1e-9,
        kind="closed form",
        source="conservation: wear is k·W·s where the paper stays fresh",
        about="wear",
    )
    travel, pattern = found.rig.scenario.strokes.length, found.rig.scenario.strokes.pattern
    load = found.rig.scenario.hands.press.value + found.rig.scenario.part.weight
    assert found.run.load_sliding == pytest.approx(load * 250 * path_length(pattern, travel), rel=1e-12)


def test_finer_paper_cuts_by_its_factor():
    """A P400 takes (35/100)^0.7·(100/125)^0.2 of what P120 takes (rate law of its grain, from memory)."""
    plain = job(papers=(grits.find("P120"),))
    found = lap(replace(plain, paper=replace(plain.paper, grits=(grits.find("P400"),))), None, 100)
    factor = (35 / 100) ** 0.7 * (100 / 125) ** 0.2
    assert found.run.removed_volume == pytest.approx(factor * RATE * found.run.load_sliding, rel=1e-9)


def test_ageing_paper_takes_less_and_brushing_gives_some_of_it_back():
    off = {
        name: lap(job(ages=ages, brush_every=brush, sheet_every=sheet), None, 400).run.removed_volume
        for name, ages, brush, sheet in (
            ("fresh", False, 0, 0), ("never", True, 0, 0), ("brushed", True, 50, 0), ("sheets", True, 0, 50),
        )
    }  # fmt: skip
    assert off["never"] < off["brushed"] < off["sheets"] < off["fresh"]
    # Clogged and blunt P120 keeps 0.3 × 0.2 of its cut at the least, coarser P80 more (dry, derived).
    assert off["never"] > 0.3 * 0.2 * off["fresh"]


def test_a_brushing_and_a_sheet_work_from_their_stroke_on():
    """Depth of each ten strokes: jumps up right after stroke 60 (brush) and 120 (sheet), not before."""
    looks = tuple(range(10, 180, 10))
    scenario = job(ages=True, brush_every=60, sheet_every=120, travel=0.02)
    found = lap(scenario, None, 180, rows=720, snapshots=looks)
    n = found.rig.grid.n_cells
    mean = np.array([found.before[:n].mean(), *found.run.heights[:, :n].mean(axis=1)])
    blocks = -np.diff(mean)
    rises = (np.flatnonzero(np.diff(blocks) > 0.0) + 1) * 10
    assert found.run.strokes == (*looks, 180)
    assert rises.tolist() == [60, 120]
    assert blocks[12] == pytest.approx(blocks[0], rel=1e-3)
    assert blocks[6] < blocks[0]


def test_brushing_and_new_sheets_against_the_law_of_the_paper(checked):
    """Independent route: dv/ds = k·p·f_load·f_dull by scipy, a face that rubs always the same paper.

    So soft that pressure is even whatever the paper does at the rim, where it is fresher; away from there
    every spot rubs its own paper.  P80 from its grain of 201 µm and what is stated of P120's 125.
    """
    scenario = job(
        length=0.2, width=0.1, travel=1e-9, sway=0.0, bedding=1.0, ages=True,
        brush_every=30_000_000, sheet_every=120_000_000,
    )  # fmt: skip
    found = lap(scenario, None, 200_000_000, rows=1600, cell=0.01, snapshots=(75_000_000, 150_000_000))
    coarser, scales = 201.0 / 125.0, (0.005 * 201e-6, 0.010 * 201e-6)
    floors, brushed = (0.3 * coarser**0.5, 0.2 * coarser**0.3), 0.6 * coarser**0.3

    def rate(_: float, v: Array) -> Array:
        load = floors[0] + (1.0 - floors[0]) * np.exp(-v[1] / scales[0])
        dull = floors[1] + (1.0 - floors[1]) * np.exp(-v[2] / scales[1])
        return np.full(3, RATE * LOAD / 0.02 * load * dull)

    now, done, want = np.zeros(3), 0, []
    for end in (30, 60, 75, 90, 120, 150, 180, 200):
        sliding = 2e-9 * 1e6 * (end - done)
        now = solve_ivp(rate, (0.0, sliding), now, rtol=1e-9, atol=1e-15).y[:, -1]
        if end in (75, 150, 200):
            want.append(now[0])
        if end % 30 == 0:
            now[1] *= 1.0 - brushed
        if end % 120 == 0:
            now[1:] = 0.0
        done = end
    n = found.rig.grid.n_cells
    grid = found.rig.grid
    inside = (np.abs(grid.u[:n]) < 0.08) & (np.abs(grid.v[:n]) < 0.03)
    for look, (strokes, expected) in enumerate(zip((75, 150, 200), want, strict=True)):
        checked(
            f"depth after {strokes} million strokes of nought length, brushed and with new sheets",
            expected=1e6 * expected,
            got=-1e6 * found.run.heights[look, :n][inside],
            tolerance=1e3 * expected,
            unit="µm",
            kind="independent implementation",
            source="dv/ds = k·p·f_load·f_dull by scipy",
            about="paper",
        )


# ---- equal starts compared


@pytest.mark.parametrize(
    ("name", "left", "face"),
    [
        ("hollow", 18.4, hollow(C, L / 2)),
        ("twist", 32.3, twist(C, L / 2, B / 2)),
        ("crown", 51.1, crown(C, L / 2)),
    ],
)
def test_hollow_twist_and_crown_after_the_same_work(checked, name, left, face):
    """Design figures, µm, of an earlier solver: 100 µm, 1,500 passes of 0.18 m, µ·a 30 mm, λ 24 µm.

    The raster and the way the flatness was read are not stated with them; reading at the middles
    of 10 mm cells instead of at the very edge takes 4 µm off a twist.  They are held to 1.1 µm;
    the slow solver in the tests of the kernels holds the same laps to 5 nm.
    """
    found = lap(job(reach=0.03), face, 750, rows=256, cell=0.005)
    checked(
        f"minimum zone left of a {name} of 100 µm after 1,500 passes of 0.18 m",
        expected=left,
        got=zone(found) / UM,
        tolerance=1.1,
        unit="µm",
        kind="independent implementation",
        source="an earlier solver, whose raster is not stated",
        about="wear",
    )


@pytest.mark.parametrize(("length", "width"), [(0.24, 0.14), (0.44, 0.15), (0.12, 0.10)])
@pytest.mark.parametrize("bedding", [5e-6, 12e-6, 24e-6, 40e-6])
def test_a_hollow_goes_before_a_twist_before_a_crown(length, width, bedding):
    """Order of difficulty for other sizes and bedding lengths, after the same depth, e/L 1/8."""
    strokes = round(36e-6 * length * width / (RATE * LOAD * 2 * 0.18))
    left = [
        zone(lap(job(length=length, width=width, bedding=bedding, reach=length / 8), face, strokes))
        for face in (hollow(C, length / 2), twist(C, length / 2, width / 2), crown(C, length / 2))
    ]
    assert left[0] < left[1] < left[2] < C


# ---- frames


def run_face(face: Face, **changes) -> Lapped:
    return lap(job(**{**BUSY, **changes}), face, 150, rows=120, cell=0.01)


def lopsided(u: Array, v: Array) -> Array:
    """A face without any symmetry."""
    return (
        40 * UM * (u / 0.12) ** 2
        + 20 * UM * (u / 0.12) * (v / 0.07)
        - 15 * UM * (v / 0.07) ** 3
        + 100 * UM * u
    )


def test_turning_the_whole_set_up_turns_the_answer(checked):
    """Part, stroke and operator turned by 90° on the plate: the same face turned by 90°."""
    straight = run_face(lopsided, pattern="diagonal")
    g = BUSY["weight_at"]
    turned = run_face(
        lambda u, v: lopsided(v, -u), pattern="diagonal", length=B, width=L, direction=np.pi / 2,
        weight_at=(-g[1], g[0]),
    )  # fmt: skip
    first, then = at(straight, straight.after), at(turned, turned.after)
    checked(
        "every height, part, stroke and operator turned by 90° together",
        expected=[height / UM for height in first.values()],
        got=[then[(-v, u)] / UM for u, v in first],
        tolerance=1e-4,
        unit="µm",
        kind="closed form",
        source="symmetry of the plane",
        about="wear",
    )


def test_turning_part_and_operator_together_does_nothing():
    """On an even plate it does not matter where the two stand, if they stand alike."""
    here = run_face(lopsided)
    there = run_face(lopsided, states=((2.1, 2.1),))
    np.testing.assert_allclose(there.after, here.after, rtol=0.0, atol=1e-4 * UM)


def test_a_half_turn_or_a_walk_round_flips_the_hands_and_both_do_not():
    """Half turn of the part = walking round = hands mirrored; the two together = nothing done."""
    base = run_face(lopsided)
    turned = run_face(lopsided, states=((np.pi, 0.0),))
    walked = run_face(lopsided, states=((0.0, np.pi),))
    both = run_face(lopsided, states=((np.pi, np.pi),))
    np.testing.assert_allclose(turned.after, walked.after, rtol=0.0, atol=1e-4 * UM)
    np.testing.assert_allclose(both.after, base.after, rtol=0.0, atol=1e-4 * UM)
    assert np.abs(turned.after - base.after).max() > 0.5 * UM


def test_a_face_without_bias_keeps_its_symmetry():
    """Wobble is drawn in pairs: a symmetric face and even hands leave no slant worth the name."""
    found = lap(job(wobble=(0.01, 0.01), reach=0.02), hollow(C, L / 2), 750, rows=1024)
    assert abs(slant(found)) < 0.01 * found.removed.max()


def test_a_worn_middle_of_the_sheet_makes_the_face_convex():
    """The middle of the sheet works on every pass and dulls first: the ends of the part lose more."""
    aged, fresh = (
        lap(job(ages=ages, travel=0.2), None, n, rows=1200) for ages, n in ((True, 2500), (False, 500))
    )
    n = aged.rig.grid.n_cells
    u = np.abs(aged.rig.grid.u[:n])

    def crowned(found: Lapped) -> float:
        return float(found.cells[u < 0.02].mean() - found.cells[u > 0.1].mean())

    assert abs(crowned(fresh)) < 1e-3 * UM
    # λ·ln of the ratio of cutting powers bounds it: no P80 cuts less than 0.3 × 0.2 of fresh.
    assert 0.5 * UM < crowned(aged) < 24 * UM * np.log(1 / 0.06)


# ---- what hands do


def test_one_sided_pushing_tapers_and_half_turns_cure_it():
    """Strokes one way take more off the leading end: + slant at +u; half turns bring it near nought."""
    ahead, turned, walked = (
        lap(job(pattern="one way", reach=0.03, **how), None, 800, rows=400)
        for how in (dict(), dict(states=HALF_TURNS, turn_every=20), dict(states=WALK_ROUND, turn_every=20))
    )
    assert slant(ahead) > 5 * UM
    assert abs(slant(turned)) < 0.05 * slant(ahead)
    assert abs(slant(walked)) < 0.05 * slant(ahead)


@pytest.mark.parametrize(("how", "sign"), [(dict(bias=(0.01, 0.0)), 1), (dict(bias=(-0.01, 0.0)), -1),
                                           (dict(weight=60.0, weight_at=(0.02, 0.0)), 1),
                                           (dict(push_over_pull=2.0, reach=0.03), 1),
                                           (dict(states=((0.0, np.pi),), bias=(0.01, 0.0)), -1)])  # fmt: skip
def test_more_comes_off_where_the_press_is(how, sign):
    found = lap(job(**how), None, 400, rows=400)
    assert sign * slant(found) > 2 * UM


def crown_of(length=L, width=B, strokes=1500, **changes) -> float:
    """Crown on a face that began flat, after this many strokes [m]."""
    found = lap(job(length=length, width=width, **changes), None, strokes, rows=400)
    return float(found.after.max() - found.after.min())


def test_what_makes_less_crown():
    """Lower hands, the long axis, finer last paper (shorter λ), a heavier part: each less crown.

    The moment µ·a is not diluted by weight, but a bias or a wobble is; the part's weight adds to
    the press, and the crown is steady, so weight tells through what it dilutes.
    """
    plain = crown_of(reach=0.03)
    assert crown_of(reach=0.015) < 0.5 * plain
    assert crown_of(reach=0.03, direction=np.pi / 2) > 1.5 * plain
    assert crown_of(reach=0.03, bedding=8e-6) < 0.5 * plain
    light = crown_of(press=40.0, weight=10.0, wobble=(0.03, 0.0), strokes=3000)
    heavy = crown_of(press=40.0, weight=300.0, wobble=(0.03, 0.0), strokes=3000)
    assert heavy < 0.5 * light


def test_steadier_hands_have_a_lower_floor():
    """Flatness after much work on a fresh flat face rises with the wandering of the hands."""
    floors = [crown_of(wobble=(w, 0.5 * w), strokes=3000) for w in (0.0, 0.01, 0.02, 0.03)]
    assert floors[0] < 0.01 * UM
    assert floors == sorted(floors)
    assert floors[3] > 3 * UM


# ---- over the edge


def test_overhang_at_the_stroke_ends_spares_what_hangs_out():
    """Ends that leave the paper meet it for part of the stroke only: less off there than on a large plate."""
    short = lap(job(plate=(0.36, 0.5), travel=0.2), None, 500, rows=800)
    large = lap(job(travel=0.2), None, 500, rows=800)
    n = short.rig.grid.n_cells
    ends = np.abs(short.rig.grid.u[:n]) > 0.11
    assert np.ptp(large.removed) < 1e-3 * UM
    assert short.removed[:n][ends].mean() < short.removed[:n][~ends].mean() - 1 * UM
    # The load does not change, so the volume does not either.
    assert short.run.removed_volume == pytest.approx(large.run.removed_volume, rel=1e-9)


def test_paper_is_cut_to_the_plate():
    cut = paper_on_plate((0.4, 0.2), [Strip(-1.0, -0.05, 0.1, 0.05), Strip(0.15, -1.0, 0.17, 1.0)])
    np.testing.assert_allclose(cut, [(-0.2, -0.05, 0.1, 0.05), (0.15, -0.1, 0.17, 0.1)])
    np.testing.assert_allclose(paper_on_plate((0.4, 0.2), None), [(-0.2, -0.1, 0.2, 0.1)])
    with pytest.raises(InputError, match="none of the paper strips lies on the plate"):
        paper_on_plate((0.4, 0.2), [Strip(0.3, -0.1, 0.5, 0.1)])


def test_part_that_never_meets_the_paper_is_refused():
    with pytest.raises(TippingError, match="too little of the face lies on the paper"):
        lap(job(plate=(4.0, 4.0), strips=[(1.0, 1.0, 1.5, 1.5)]), None, 100)


def test_hands_that_lift_the_part_are_refused():
    with pytest.raises(InputError, match="lift more than the part weighs"):
        lap(job(press=-40.0, weight=30.0), None, 100)


# ---- resultants outside the face


def test_wandering_hands_are_held_inside_the_hull_and_the_share_is_told():
    """A normal wobble of σ = 60 mm on a half length of 120 mm: 2·Φ(−(120 − cell)/60) is held."""
    from scipy.stats import norm

    found = lap(job(wobble=(0.06, 0.0)), None, 800, rows=1600, cell=0.01)
    assert found.run.clipped == pytest.approx(2 * norm.cdf(-(0.12 - 0.01) / 0.06), abs=0.01)
    assert found.run.tipped == 0.0
    calm = lap(job(wobble=(0.005, 0.0)), None, 800, rows=400)
    assert calm.run.clipped == 0.0


def test_a_mean_outside_the_hull_is_told():
    found = lap(job(bias=(0.13, 0.0)), None, 40, rows=40)
    assert found.run.tipped == 1.0
    pushed = lap(job(pattern="straight", reach=0.10, bias=(0.03, 0.0)), None, 40, rows=40)
    assert pushed.run.tipped == pytest.approx(0.5)
    assert np.isfinite(pushed.after).all()


def test_holding_moves_towards_the_middle_and_no_further_than_needed():
    rig = set_up(job(Outline(circle(0.0, 0.0, 0.2))), cell=0.01)
    stage = Stage(P80, 40, 0, 0, 0)
    layout = stage_layout(rig, stage, quad_strokes=4.0, seed=0)
    grip = replace(middle(rig.scenario).grip, bias_along=0.3, bias_across=0.4)
    table = load_poses(layout, grip, weight=0.0, weight_at=(0.0, 0.0), friction=1.0, half=rig.half)
    clipped, tipped = hold_in_hull(table, rig)
    assert (clipped, tipped) == (40.0, 40.0)
    held = table[:, 5:7] * rig.half
    np.testing.assert_allclose(held[:, 1] / held[:, 0], 4.0 / 3.0, rtol=1e-6)
    np.testing.assert_allclose(np.hypot(*held.T), 0.09, rtol=0.01)


# ---- accuracy


def test_more_rows_come_nearer():
    """Step error falls as rows are added: ageing sheet, wobble, brushing; the design's long narrow face."""
    scenario = job(
        length=0.356, width=0.06, ages=True, brush_every=125, reach=0.02, wobble=(0.01, 0.005), travel=0.15,
        plate=(0.6, 0.3),
    )  # fmt: skip

    def after(rows: int) -> Array:
        return lap(scenario, hollow(C, 0.178), 500, rows=rows, cell=0.008).after

    best = after(8192)
    errors = [np.abs(after(rows) - best).max() / UM for rows in (128, 512, 2048)]
    assert errors[0] > errors[1] > errors[2]
    assert errors[2] < 0.2


def test_same_seed_same_bits():
    first, again = (lap(job(ages=True, **BUSY), lopsided, 200, seed=5) for _ in range(2))
    assert np.array_equal(first.run.heights, again.run.heights)
    other = lap(job(ages=True, **BUSY), lopsided, 200, seed=6)
    assert not np.array_equal(first.run.heights, other.run.heights)
    assert np.abs(first.after - other.after).max() < 1 * UM


def test_the_face_given_is_left_alone():
    rig = set_up(job(), cell=0.02)
    h = hollow(C, L / 2)(rig.grid.u, rig.grid.v)
    kept = h.copy()
    stage = Stage(P80, 40, 0, 0, 0)
    run_stage(rig, h, middle(rig.scenario), stage, stage_layout(rig, stage, quad_strokes=4.0, seed=0))
    assert np.array_equal(h, kept)

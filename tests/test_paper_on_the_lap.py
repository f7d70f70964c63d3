"""What paper does to a whole lap besides wearing out: blunt tips, clogged friction, leading edge, raster."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from jobs import UM, Lapped, hollow, job, lap, middle
from marched import OnPaper, march, pose_table

from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.set_up import HEADINGS, set_up
from handlap.sim.materials import grits

L, B = 0.24, 0.14
P120 = grits.find("P120")
WAVE = 12e-3
"""Length over which the wave before a leading edge fades [m] (common practice)."""
ALL: dict[str, Any] = dict(blunt_bedding=0.6, friction_gain=0.4, edge_rate=1.5, edge_rise=6e-6)
AT_WORK: dict[str, Any] = dict(
    **ALL, papers=(P120,), bedding=15e-6, rate=0.068e-9, ages=True, reach=0.04, wobble=(0.01, 0.005),
    brush_every=50, sheet_every=300,
)  # fmt: skip
"""P120 on a head, dry: it clogs over half a micrometre, so by many scales between two brushings."""
TRAVEL = {"circle": 0.08, "eight": 0.14}


# ---- switches


def test_paper_that_keeps_all_it_has_is_fresh_paper():
    """Floors of 1, tips that stay, friction that stays: the lap of paper that does not age, to rounding."""
    given: dict[str, Any] = dict(reach=0.02, bias=(0.005, 0.002), wobble=(0.005, 0.005))
    fresh, kept = (
        lap(job(**given, **more), hollow(100 * UM, L / 2), 300, rows=120)
        for more in (dict(), dict(ages=True, floors=(1.0, 1.0)))
    )
    np.testing.assert_allclose(kept.after, fresh.after, rtol=0.0, atol=1e-6 * UM)


@pytest.mark.parametrize(
    ("name", "off", "on"),
    [
        ("blunt_bedding", 1.0, 0.6),
        ("friction_gain", 0.0, 0.4),
        ("edge_rate", 0.0, 1.5),
        ("edge_rise", 0.0, 6e-6),
    ],
)
def test_each_effect_goes_to_nothing_and_does_something(name, off, on):
    """Next to nothing of it is nothing of it; as much as there usually is shows on the face."""
    given: dict[str, Any] = dict(ages=True, reach=0.04, papers=(P120,), bedding=15e-6, travel=0.1)
    plain, hardly, much = (
        lap(job(**given, **{name: value}), hollow(60 * UM, L / 2), 600, rows=200).after
        for value in (off, off + 1e-6 * (on - off), on)
    )
    assert np.abs(hardly - plain).max() < 1e-3 * UM
    assert np.abs(much - plain).max() > 0.3 * UM


def test_paper_that_stays_fresh_neither_blunts_nor_clogs():
    """Without ageing λ and friction stay; only what the leading edge does is left."""
    given: dict[str, Any] = dict(reach=0.02, bedding=15e-6)
    plain, told = (
        lap(job(**given, **more), hollow(60 * UM, L / 2), 300, rows=120)
        for more in (dict(), dict(blunt_bedding=0.6, friction_gain=0.4))
    )
    np.testing.assert_allclose(told.after, plain.after, rtol=0.0, atol=1e-9 * UM)
    assert told.run.clean.tolist() == [1.0] and told.run.sharp.tolist() == [1.0]
    assert told.run.work[-1] == pytest.approx(told.run.load_sliding)


# ---- blunt tips


PATCHES = {"one place": ((0.0, 0.0, 1.0),), "two places": ((-30.0, 0.0, 0.5), (30.0, 0.0, 0.5))}


@pytest.mark.parametrize("where", PATCHES)
@pytest.mark.parametrize("w", [0.4, 0.6, 1.0])
def test_small_errors_fade_as_the_bed_grows_shallower(checked, where, w):
    """Closed form: exp{−(h*/(λ0·w))·ln[w·e^{H/h*} + 1 − w]}, h* = v_D·swept/face, evenly used paper.

    The paper keeps its rate (floors 1), so that only λ falls.  A part of 20 by 10 cells rubs one piece of
    paper of its own size, or two in turn, which blunt over twice the depth.
    """
    cell, lam, scale, load = 0.01, 24 * UM, 10 * UM, 100.0
    patches = PATCHES[where]
    strips = [(cell * (x - 10), -5 * cell, cell * (x + 10), 5 * cell) for x, *_ in patches]
    rig = set_up(job(length=0.2, width=0.1, plate=(2.0, 2.0), strips=strips), cell=cell)
    grid, n = rig.grid, rig.grid.n_cells
    ripple = 1e-3 * lam * np.cos(8 * np.pi * grid.u / 0.2) * np.cos(4 * np.pi * grid.v / 0.1)
    rows, deep = 480, 72 * UM
    slide = deep * 0.02 / (0.045e-9 * load) / rows
    at = cell * np.array([x for x, *_ in patches])[np.arange(rows) // 2 % len(patches)]
    found = march(
        rig, ripple, pose_table(rows, slide, load, half=rig.half, x=at), bedding=lam, every=rows // 12,
        paper=OnPaper(floors=(1.0, 1.0), scales=(1.0, scale), blunt=w, stroke=patches),
    )  # fmt: skip
    start = ripple[:n] - ripple[:n].mean()
    left = found.snapshots[:, :n] - found.snapshots[:, :n].mean(axis=1, keepdims=True)
    share = left @ start / (start @ start)
    depth = deep * np.arange(1, 13) / 12
    h = scale * len(patches)
    want = np.exp(-h / (lam * w) * np.log(w * np.exp(depth / h) + 1 - w))
    # 1 % of the exponent's rate: what is left after 3 λ is a small share of 1.
    checked(
        f"logarithm of what is left of a ripple over its closed form, blunt paper keeps {w:g} of λ, {where}",
        expected=1.0,
        got=np.log(share) / np.log(want),
        tolerance=0.01,
        kind="closed form",
        source="de/dH = −e/λ(H), λ = λ0·[w + (1 − w)·e^(−H/h*)]",
        about="paper",
    )
    # The limits: e^(−H/λ0) at first, slope 1/(w·λ0) later.
    assert -np.log(share[0]) * lam / depth[0] == pytest.approx(1.0, abs=0.01 + (1 / w - 1) * depth[0] / h)
    slope = -np.diff(np.log(share))[-1] / (depth[1] - depth[0])
    assert slope * lam * w == pytest.approx(1.0, abs=0.01 + 1.2 * (1 / w - 1) * np.exp(-depth[-2] / h))


def test_blunt_paper_leaves_a_lower_crown():
    """Crown of pushing and pulling goes with λ: on paper that is blunt at once it is that of w·λ0."""
    w = 0.5
    given: dict[str, Any] = dict(reach=0.03, travel=0.1, papers=(P120,))
    blunt, shallow = (
        lap(job(**given, **more), None, 4000, rows=400)
        for more in (
            dict(bedding=20e-6, blunt_bedding=w, ages=True, floors=(1.0, 1.0), ageing=1e-6),
            dict(bedding=20e-6 * w),
        )
    )
    np.testing.assert_allclose(blunt.after, shallow.after, rtol=0.0, atol=0.02 * UM)
    assert blunt.run.sharp[-1] < 1e-9


# ---- clogged friction


@pytest.mark.parametrize("reach", [0.02, 0.10], ids=["inside", "held in the hull"])
@pytest.mark.parametrize("pattern", ["one way", "straight"])
def test_paper_that_clogs_at_once_rubs_as_harder_rubbing_paper(checked, reach, pattern):
    """Closed form: µ = µ0·(1 + m) from the first stroke on; the same face as with that µ and no growth."""
    m = 0.4
    given: dict[str, Any] = dict(pattern=pattern, travel=0.1, bias=(0.0, 0.004), floors=(1.0, 1.0))
    clogs, rubs = (
        lap(job(**given, **more), hollow(60 * UM, L / 2), 400, rows=160, cell=0.01)
        for more in (
            dict(ages=True, ageing=1e-9, reach=reach, friction_gain=m), dict(reach=reach * (1.0 + m)),
        )
    )  # fmt: skip
    assert (clogs.run.clipped > 0.0) == (reach > 0.05)
    checked(
        f"face on paper that clogs at once, less that with so much more friction, {pattern}, "
        + ("held in the hull" if reach > 0.05 else "inside the hull"),
        expected=0.0,
        got=(clogs.after - rubs.after) / UM,
        # Held, an end of the face hardly touches, and some of its paper stays clean.
        tolerance=1e-3,
        unit="µm",
        kind="closed form",
        source="µ = µ0·(1 + m) on clogged paper",
        about="paper",
    )
    assert clogs.run.friction[-1] == pytest.approx(1.0 + m, rel=1e-4)
    assert clogs.run.work[-1] == pytest.approx((1.0 + m) * clogs.run.load_sliding, rel=1e-3)


def test_pushing_gets_harder_stroke_by_stroke_and_easier_after_brushing():
    scenario = job(ages=True, friction_gain=0.4, brush_every=100, sheet_every=300, travel=0.1)
    found = lap(scenario, None, 400, rows=400, snapshots=(50, 100, 150, 300, 350))
    friction = found.run.friction
    assert found.run.strokes == (50, 100, 150, 300, 350, 400)
    assert 1.0 < friction[0] < friction[1] < 1.4
    assert friction[2] < friction[1]
    # A new sheet after 300 strokes: as at the start.
    assert friction[4] == pytest.approx(friction[0], rel=1e-3)
    # Work is friction × load × sliding, strokes in between included.
    assert np.all(np.diff(found.run.work) > 0.0)
    assert found.run.load_sliding < found.run.work[-1] < 1.4 * found.run.load_sliding


# ---- leading edge


def edges(u: Array, half: float, lam: float, rate: float, length: float, rise: float) -> Array:
    """Roll of a face pushed and pulled along u with its tilt held, steady [m]: both ends' terms."""
    total = np.zeros_like(u)
    for way in (half - u, half + u):
        total += 0.5 * (1 + rate * np.exp(-way / length)) * np.exp(rise * np.exp(-way / WAVE) / lam)
    return np.asarray(lam * np.log(total))


def rolled(**more: Any) -> Lapped:
    """A strip of 170 cells along the stroke, pushed and pulled until it is steady."""
    cell = L / 170
    scenario = job(
        length=L, width=8 * cell, tilt_held=True, press=30.0, travel=0.05, papers=(P120,),
        **{"bedding": 15e-6, **more},
    )  # fmt: skip
    strokes = round(12 * 15e-6 * L * 8 * cell / (0.045e-9 * 30.0 * 0.1))
    return lap(scenario, None, strokes, rows=1600, cell=cell)


@pytest.mark.parametrize(("rate", "rise"), [(1.5, 20e-6), (1.5, 0.0), (0.0, 20e-6), (4.0, 60e-6)])
def test_roll_of_push_and_pull_with_the_tilt_held(checked, rate, rise):
    """Closed form: λ·ln{½·Σ over both ends of (1 + E·e^(−x/l))·e^(r·e^(−x/l_r)/λ)}, l = 60 grains of P120."""
    found = rolled(edge_rate=rate, edge_rise=rise)
    grid, n = found.rig.grid, found.rig.grid.n_cells
    u = grid.u[:n]
    want = edges(u, L / 2, 15e-6, rate, 60 * 125e-6, rise)
    # Rows of push and of pull leave the ends askew by turns: their mean is looked at.
    order = np.lexsort((grid.v[:n], np.round(u, 9)))
    turned = np.lexsort((grid.v[:n], -np.round(u, 9)))
    low = -0.5 * (found.cells[order] + found.cells[turned])
    middle_of = np.argmin(np.abs(u[order]))
    checked(
        f"roll of the ends of a strip pushed and pulled, E {rate:g}, rise {1e6 * rise:g} µm",
        expected=(want[order] - want[order][middle_of]) / UM,
        got=(low - low[middle_of]) / UM,
        tolerance=0.01,
        unit="µm",
        kind="closed form",
        source="steady wear, even over push and pull",
        about="paper",
    )
    if (rate, rise) == (1.5, 20e-6):
        # Worked figure for the end cell, 0.71 mm from the rim.
        end = low[0] + want[order][middle_of] - low[middle_of]
        checked(
            "roll of the end cell 0.71 mm from the rim, E 1.5, rise 20 µm, P120",
            expected=23.08,
            got=end / UM,
            tolerance=0.01,
            unit="µm",
            kind="closed form",
            source="λ·ln{½[(1 + E·e^(−x/l))·e^(r(x)/λ) + 1]}",
            about="paper",
        )


def test_a_wave_much_higher_than_the_bed_prints_itself(checked):
    """Limit r >> λ: right at the rim r − λ·ln(2/(1 + E))."""
    lam, rate, rise = 2 * UM, 1.5, 30 * UM
    found = rolled(edge_rate=rate, edge_rise=rise, bedding=lam)
    u = found.rig.grid.u
    ends = found.after[np.abs(np.abs(u) - L / 2) < 1e-9].mean()
    inner = found.after[np.abs(u) < 0.0008].mean()
    far = edges(np.zeros(1), L / 2, lam, rate, 60 * 125e-6, rise)[0]
    checked(
        "roll right at the rim behind a wave of 30 µm on a bed of 2 µm",
        expected=(rise - lam * np.log(2 / (1 + rate))) / UM,
        got=(inner - ends + far) / UM,
        tolerance=0.02,
        unit="µm",
        kind="closed form",
        source="r − λ·ln(2/(1 + E)) where r >> λ",
        about="paper",
    )


@pytest.mark.parametrize("heading", range(0, HEADINGS, 3))
def test_the_way_to_the_leading_edge(heading):
    """Closed forms: a rectangle by its sides, a disc by its chord; behind an opening the outer rim counts."""
    c, s = np.cos(2 * np.pi * heading / HEADINGS), np.sin(2 * np.pi * heading / HEADINGS)
    plate = set_up(job(length=0.2, width=0.1), cell=0.01)
    u, v = plate.grid.u, plate.grid.v
    sides = [(0.1 - np.sign(c) * u) / abs(c)] if abs(c) > 1e-9 else []
    sides += [(0.05 - np.sign(s) * v) / abs(s)] if abs(s) > 1e-9 else []
    np.testing.assert_allclose(plate.ways_to_edge[heading], np.min(sides, axis=0), rtol=0.0, atol=1e-12)
    ring = Outline(circle(0.0, 0.0, 0.1), (circle(0.0, 0.0, 0.04),))
    disc = set_up(job(ring), cell=0.005)
    u, v = disc.grid.u, disc.grid.v
    along, across = c * u + s * v, c * v - s * u
    chord = np.sqrt((0.05**2 - across**2).clip(0.0)) - along
    # The rim is a polygon.
    inside = np.hypot(u, v) < 0.0485
    np.testing.assert_allclose(disc.ways_to_edge[heading][inside], chord[inside], rtol=0.0, atol=2e-4)


def test_the_edge_that_leads_loses_more():
    """One-way strokes lower the end ahead, and leave the one behind as the middle."""
    for more in (dict(edge_rate=1.5), dict(edge_rise=20e-6)):
        one = lap(job(pattern="one way", tilt_held=True, **more), None, 2000, rows=100)
        u = one.rig.grid.u
        ahead, behind = u > 0.11, u < -0.11
        assert one.after[ahead].mean() < one.after[behind].mean() - 2 * UM
        inner = np.abs(u) < 0.03
        assert abs(one.after[behind].mean() - one.after[inner].mean()) < 1 * UM


# ---- the raster of the paper's memory, and seeds


def to_rim(found: Any) -> Array:
    """Way to the nearest side of a plain rectangle (n,) [m]."""
    grid = found.grid
    return np.minimum(L / 2 - np.abs(grid.u), B / 2 - np.abs(grid.v))


SHIFTED: dict[str, tuple[dict[str, Any], float, float]] = {
    "straight": (dict(pattern="straight"), 0.1, 0.25),
    "one way": (dict(pattern="one way"), 0.1, 0.25),
    "diagonal": (dict(pattern="diagonal"), 0.1, 0.3),
    "circle": (dict(pattern="circle"), 0.1, 0.3),
    "eight": (dict(pattern="eight"), 0.1, 0.3),
    "askew": (dict(pattern="straight", direction=0.3), 0.1, 0.3),
    "over the edge": (dict(plate=(0.3, 0.15)), 0.1, 0.3),
    "two pieces of paper": (dict(strips=[(-0.5, -0.3, -0.004, 0.3), (0.006, -0.3, 0.5, 0.3)]), 0.1, 0.3),
}
"""How it is stroked, and what the map may change by further than 12 mm from the rim, and at it [µm]."""


@pytest.mark.parametrize("name", SHIFTED)
def test_the_map_does_not_know_where_the_raster_of_the_paper_stands(checked, name):
    """Nodes moved by a fraction of their spacing.  The bounds are half a plan's tolerance and less.

    A plan cannot use better: a sway of 4 or 6 mm in place of 5 moves the sides by 0.5 to 1.5 µm.
    """
    how, inside, at_rim = SHIFTED[name]
    scenario = job(travel=TRAVEL.get(how.get("pattern", ""), 0.1), **{**AT_WORK, **how})
    rig = set_up(scenario, cells=2000)
    before = hollow(120 * UM, L / 2)(rig.grid.u, rig.grid.v)
    stage = Stage(P120, 600, 0, 50, 300)
    layout = stage_layout(rig, stage, quad_strokes=12.0, seed=0)
    maps = [
        run_stage(rig, before, middle(scenario), stage, layout, paper_shift=shift).heights[-1]
        for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.25, 0.75))
    ]
    assert (before - maps[0]).max() > 50 * UM
    apart = np.array(maps[1:]) - maps[0]
    inner = to_rim(rig) > 12e-3
    cells = slice(0, rig.grid.n_cells)
    bounds = [
        ("further than 12 mm from the rim", np.abs(apart[:, inner]).max(), inside),
        ("anywhere", np.abs(apart).max(), at_rim),
    ]
    if name in ("straight", "one way"):
        bounds.append(("root mean square", np.sqrt(np.mean(apart[:, cells] ** 2, axis=1)).max(), 0.03))
    for where, got, most in bounds:
        checked(
            f"change of the map, raster of the paper moved by parts of a node, {name}: {where}",
            expected=most,
            got=got / UM,
            tolerance=0.0,
            unit="µm",
            sense="at most",
            kind="closed form",
            source="an even plate has no places of its own",
            about="paper",
        )


def seeds_apart(pattern: Any, tolerance: float, cells: int) -> float:
    """Greatest difference of two laps whose rows were drawn apart, at the rows the tolerance asks for [m]."""
    scenario = job(**{**AT_WORK, "pattern": pattern, "travel": TRAVEL.get(pattern, 0.1)})
    rig = set_up(scenario, cells=cells)
    before = hollow(120 * UM, L / 2)(rig.grid.u, rig.grid.v)
    stage = Stage(P120, 600, 0, 50, 300)
    maps = []
    for seed in (0, 1):
        fine = choose_resolution(rig, before, middle(scenario), stage, tolerance=tolerance, seed=seed)
        assert fine.error <= tolerance
        layout = stage_layout(rig, stage, quad_strokes=fine.quad_strokes, seed=seed)
        maps.append(run_stage(rig, before, middle(scenario), stage, layout).heights[-1])
    return float(np.abs(maps[1] - maps[0]).max())


@pytest.mark.parametrize(
    ("pattern", "tolerance"),
    [("straight", 0.1), ("one way", 0.1), ("diagonal", 0.1), ("circle", 0.2), ("eight", 0.3)],
)
def test_two_seeds_leave_the_same_face(checked, pattern, tolerance):
    """Places and wobble drawn anew, at the rows that the step tolerance asks for: within 0.5 µm."""
    checked(
        f"map of one lap less that of another seed, step tolerance {tolerance:g} µm, {pattern}",
        expected=0.5,
        got=seeds_apart(pattern, tolerance * UM, 600) / UM,
        tolerance=0.0,
        unit="µm",
        sense="at most",
        kind="closed form",
        source="what is drawn to sample strokes and hands is not felt",
        about="paper",
    )


@pytest.mark.slow
@pytest.mark.parametrize("pattern", ["circle", "eight"])
def test_two_seeds_of_rounds_leave_the_same_face_at_the_tolerance_of_one_lap(checked, pattern):
    checked(
        f"map of one lap less that of another seed, step tolerance 0.1 µm, {pattern}",
        expected=0.5,
        got=seeds_apart(pattern, 0.1 * UM, 600) / UM,
        tolerance=0.0,
        unit="µm",
        sense="at most",
        kind="closed form",
        source="what is drawn to sample strokes and hands is not felt",
        about="paper",
    )

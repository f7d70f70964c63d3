"""One lap with nothing uncertain: the formula, its own stated errors, its refusals."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from jobs import P80, UM, crown, hollow, job, middle, twist

from handlap.cli.reports.lap_report import lap_report
from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm, stage_of
from handlap.sim.lapping.set_up import set_up
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.lapping.simulate import simulate
from handlap.sim.materials import grits

WORK: dict[str, Any] = dict(reach=0.02, wobble=(0.004, 0.004), weight=40.0, cell=0.008)


def test_the_formula():
    """Closed form h = k·W·s/A: 0.02 mm³/(N·m) · 100 N · 200 m over 20,000 mm² is 20 µm."""
    found = simulate(load("formula-check"))
    assert found.looks.strokes.tolist() == [250, 500, 750, 1000]
    np.testing.assert_allclose(found.looks.figures.mean_depth / UM, [5.0, 10.0, 15.0, 20.0], rtol=1e-9)
    np.testing.assert_allclose(found.looks.figures.greatest_depth, found.looks.figures.mean_depth, rtol=1e-6)
    np.testing.assert_allclose(found.map_before - found.map_after, 20 * UM, rtol=1e-6)
    np.testing.assert_allclose(found.looks.figures.flatness, 0.0, atol=1e-4 * UM)
    np.testing.assert_allclose(found.looks.figures.taper_along, 0.0, atol=1e-4 * UM)
    assert found.effort.load_sliding == pytest.approx(100.0 * 200.0)
    assert found.removed.volume == pytest.approx(20 * UM * 0.02)
    # Mass = density × area × mean depth: grey iron 7.15 g/cm³ (handbook): 2.86 g.
    np.testing.assert_allclose(found.looks.mass, 7150.0 * 0.02 * found.looks.figures.mean_depth, rtol=1e-12)
    assert 1e3 * found.looks.mass[-1] == pytest.approx(2.86, abs=0.005)
    assert found.effort.minutes == pytest.approx(1000 / 40)
    assert found.effort.work == 0.0
    assert found.deposited is None
    assert found.errors.step <= found.errors.tolerance


def test_depth_is_rate_times_pressure_times_sliding():
    """Closed form in bench units: depth[µm] = k[mm³/(N·m)]·p[kPa]·s[m]; half the strokes, half of it."""
    found = simulate(load("formula-check"), strokes=500)
    assert found.looks.figures.mean_depth[-1] / UM == pytest.approx(
        0.02 * (100.0 / 0.02 / 1e3) * 100.0, rel=1e-9
    )


def test_figures_are_those_of_the_maps():
    scenario = job(face=twist(80 * UM, 0.12, 0.07), ages=True, turn_every=None, check_every=100, **WORK)
    found = simulate(scenario, strokes=300)
    assert found.looks.strokes.tolist() == [100, 200, 300]
    grid = found.grid
    removed = found.map_before - found.map_after
    area = scenario.part.outline.area
    assert found.before.flatness == pytest.approx(80 * UM, rel=1e-6)
    # Half a twist's zone shows on its diagonal (closed form); the standard lines stay off the corners.
    assert found.before.straightedge == pytest.approx(40 * UM, rel=0.05)
    assert found.looks.figures.mean_depth[-1] == pytest.approx(grid.area @ removed / area, rel=1e-9)
    assert found.looks.figures.greatest_depth[-1] == pytest.approx(removed.max(), rel=1e-9)
    assert found.removed.volume == pytest.approx(found.looks.figures.mean_depth[-1] * area, rel=1e-9)
    assert found.deposited == pytest.approx(found.removed.volume, rel=1e-12)
    assert found.effort.work == pytest.approx(1.0 * found.effort.load_sliding)
    assert found.effort.load_sliding == pytest.approx(140.0 * 300 * 0.36)
    assert np.all(np.diff(found.looks.figures.mean_depth) > 0.0)
    assert found.looks.dye_gone_map.shape == found.looks.dye_faded_map.shape == (3, grid.n_cells)
    for share, where in (
        (1.0 - found.looks.dye_left, found.looks.dye_gone_map),
        (found.looks.dye_faded, found.looks.dye_faded_map),
    ):
        np.testing.assert_allclose(share, where @ grid.area[: grid.n_cells] / area, rtol=1e-9)
    assert np.all(found.looks.dye_gone_map <= found.looks.dye_faded_map)


def test_the_work_of_the_arms_grows_as_paper_clogs():
    """µ·W·s on fresh paper, up to (1 + m) times that on clogged; brushing brings some of it back."""

    def worked(**more: Any) -> float:
        scenario = job(face=hollow(80 * UM, 0.12), ages=True, reach=0.02, cell=0.01, **more)
        found = simulate(scenario, strokes=300)
        return found.effort.work / found.effort.load_sliding

    plain, clogs, brushed = worked(), worked(friction_gain=0.4), worked(friction_gain=0.4, brush_every=40)
    assert plain == pytest.approx(1.0)
    assert 1.0 < brushed < clogs < 1.4


@pytest.mark.parametrize("ages", [False, True])
def test_the_stated_step_error_is_honest(ages):
    """Against a lap in rows a sixteenth as long: no more than twice what the result says of itself."""
    scenario = job(face=hollow(80 * UM, 0.12), ages=ages, **WORK)
    conditions = middle(scenario)
    rig = set_up(scenario, cell=0.01)
    before = hollow(80 * UM, 0.12)(rig.grid.u, rig.grid.v)
    stage = stage_of(scenario, conditions, P80, 600, 600)
    found = choose_resolution(rig, before, conditions, stage, tolerance=0.3 * UM, seed=0)
    assert found.error <= 0.3 * UM

    def after(quad: float):
        layout = stage_layout(rig, stage, quad_strokes=quad, seed=0)
        return run_stage(rig, before, conditions, stage, layout).heights[-1]

    truth = np.abs(after(found.quad_strokes) - after(found.quad_strokes / 16)).max()
    assert truth <= 2.0 * found.error + 1e-3 * UM


def test_a_tolerance_out_of_reach_is_noted():
    scenario = job(face=hollow(80 * UM, 0.12), **WORK)
    rig = set_up(scenario, cell=0.02)
    before = hollow(80 * UM, 0.12)(rig.grid.u, rig.grid.v)
    stage = stage_of(scenario, middle(scenario), P80, 600, 600)
    found = choose_resolution(rig, before, middle(scenario), stage, tolerance=1e-12, seed=0, most_rows=256)
    assert found.error > 1e-12
    assert found.rows <= 512


@pytest.mark.parametrize("face", [crown(80 * UM, 0.12), twist(80 * UM, 0.12, 0.07)], ids=["crown", "twist"])
def test_the_stated_grid_error_is_honest(face):
    """Against a raster of cells a third as long: no more than twice what the result says of itself."""
    scenario = job(face=face, reach=0.02)
    found = simulate(scenario, strokes=400)
    lines, follow = gauge.lines_to_follow(scenario.part.outline)
    rig = set_up(scenario, cell=found.grid.cell_size / 3, follow=follow)
    fine = gauge.make_gauge(scenario.part.outline, rig.grid, lines)
    stage = Stage(P80, 400, 0, 0, 0)
    layout = stage_layout(rig, stage, quad_strokes=1.0, seed=0)
    run = run_stage(rig, face(rig.grid.u, rig.grid.v), middle(scenario), stage, layout)
    error = abs(gauge.flatness(fine, run.heights[-1])[0] - found.looks.figures.flatness[-1])
    assert found.errors.grid is not None
    assert error <= 2.0 * found.errors.grid + found.errors.step + 0.02 * UM


def test_same_seed_same_bits():
    scenario = job(face=hollow(80 * UM, 0.12), ages=True, **WORK)
    a, b = (simulate(scenario, strokes=150, seed=4) for _ in range(2))
    assert np.array_equal(a.map_after, b.map_after)


def test_progress_goes_from_nought_to_one():
    told: list[float] = []
    simulate(load("formula-check"), strokes=100, progress=lambda done, what: told.append(done))
    assert told[0] == 0.0 and told[-1] == 1.0
    assert told == sorted(told)


# ---- refusals


@pytest.mark.parametrize("strokes", [0, -3, 10**9])
def test_strokes_out_of_range(strokes):
    with pytest.raises(InputError, match="allowed is 1 to"):
        simulate(load("formula-check"), strokes=strokes)


def test_strokes_missing():
    with pytest.raises(InputError, match="--strokes is missing"):
        simulate(job(face=hollow(80 * UM, 0.12)))


def test_paper_that_is_not_there():
    with pytest.raises(InputError, match="P120"):
        simulate(load("formula-check"), paper="P4000")


def test_paper_by_name():
    scenario = replace(
        job(face=hollow(80 * UM, 0.12), cell=0.01), paper=job(papers=(P80, grits.find("P400"))).paper
    )
    assert simulate(scenario, strokes=50, paper="p400").paper == "P400"
    assert simulate(scenario, strokes=50).paper == "P80"


def test_the_paper_to_start_on_is_taken_and_why_a_paper_is_taken_is_said_unless_it_was_asked_for():
    p400 = grits.find("P400")
    two = job(face=hollow(80 * UM, 0.12), cell=0.01, papers=(P80, p400))
    started = replace(two, paper=replace(two.paper, start=p400))
    first, stated, asked = (
        simulate(scenario, strokes=5, paper=paper)
        for scenario, paper in ((two, None), (started, None), (started, "P80"))
    )
    assert [lap.paper for lap in (first, stated, asked)] == ["P80", "P400", "P80"]
    assert first.paper_why.startswith("the first paper listed, for none is named")
    assert "on P80 (the first paper listed" in lap_report(first).lead[0]
    assert stated.paper_why == "the paper the scenario starts on"
    assert asked.paper_why == ""
    assert "5 strokes on P80 take" in lap_report(asked).lead[0]
    only = simulate(job(face=hollow(80 * UM, 0.12), cell=0.01), strokes=5)
    assert only.paper_why == ""


@pytest.mark.parametrize(
    "how",
    [
        dict(reach=0.13),
        dict(bias=(0.13, 0.0)),
        dict(bias=(0.0, 0.08)),
        dict(weight=1000.0, weight_at=(0.2, 0.0)),
    ],
)
def test_a_press_off_the_face_is_refused_in_words(how):
    """The mean resultant lies outside the hull: the part tips over."""
    with pytest.raises(TippingError, match="tips over"):
        simulate(job(face=hollow(80 * UM, 0.12), cell=0.01, **how), strokes=5)


def test_too_much_overhang_is_refused():
    with pytest.raises(TippingError, match="tips over"):
        simulate(job(face=hollow(80 * UM, 0.12), cell=0.01, plate=(0.10, 0.3), travel=0.16), strokes=5)


def test_hands_that_only_now_and_then_tip_it_are_held_and_told():
    found = simulate(job(face=hollow(80 * UM, 0.12), cell=0.01, wobble=(0.05, 0.0)), strokes=60)
    assert 0.0 < found.clipped < 0.1
    assert found.tipped == 0.0
    assert any(f"{100 * found.clipped:.1f} %" in note for note in found.notes)


# ---- rhythm


def test_stated_intervals_are_kept():
    scenario = job(
        ages=True,
        turn_every=35,
        brush_every=70,
        sheet_every=210,
        states=((0.0, 0.0), (np.pi, 0.0)),
        check_every=45,
    )
    rhythm = choose_rhythm(scenario, middle(scenario), P80)
    assert (rhythm.turn_every, rhythm.brush_every, rhythm.sheet_every) == (35, 70, 210)
    assert check_interval(scenario) == 45


def test_chosen_intervals_follow_the_work():
    """Harder pressing needs turning, brushing and sheets sooner, never later; a sheet ends on a brushing."""
    rhythms = []
    for press in (20.0, 80.0, 320.0):
        scenario = job(
            press=press, ages=True, turn_every=None, brush_every=None, sheet_every=None, travel=0.05,
            states=((0.0, 0.0), (np.pi, 0.0)),
        )  # fmt: skip
        rhythms.append(choose_rhythm(scenario, middle(scenario), P80))
    for soft, hard in pairwise(rhythms):
        assert hard.turn_every <= soft.turn_every
        assert hard.brush_every <= soft.brush_every
        assert hard.sheet_every <= soft.sheet_every
    assert rhythms[0] != rhythms[2]
    assert all(r.sheet_every % r.brush_every == 0 for r in rhythms)


def test_depth_per_stroke():
    """Closed form: k·(W/A)·s, s a stroke there and back."""
    scenario = job(weight=50.0)
    assert depth_per_stroke(scenario, middle(scenario), P80) == pytest.approx(
        0.045e-9 * 150.0 / (0.24 * 0.14) * 0.36
    )


def test_looks_are_no_more_than_can_be_listed():
    scenario = job()
    assert check_interval(scenario) == 80  # two minutes at 40 strokes a minute
    assert 10_000 / check_interval(scenario, 10_000, 48) <= 48

"""Paper brushed or changed every few strokes: as few rows as any other lap, and the same face."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from jobs import HALF_TURNS, UM, hollow, job, middle

from handlap.sim.lapping import poses
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import begin_lap, lap_on, run_stage, stage_layout
from handlap.sim.lapping.poses import OFTEN, START, slowed
from handlap.sim.lapping.resolution import HALF_SEEN, choose_resolution
from handlap.sim.lapping.set_up import set_up
from handlap.sim.materials.grits import find

P120 = find("P120")
AT_WORK: dict[str, Any] = dict(
    papers=(P120,), bedding=15e-6, rate=0.068e-9, ages=True, reach=0.04, wobble=(0.01, 0.005), travel=0.1,
    blunt_bedding=0.6, friction_gain=0.4, edge_rate=1.0, edge_rise=4e-6,
)  # fmt: skip
STROKES, TOLERANCE = 300, 0.5 * UM
FACE = hollow(120 * UM, 0.12)


def often(brush: int, sheet: int, turn: int = 0, **how: Any):
    """A bench, a face, conditions and a stage of so many strokes between brushings, sheets and turns."""
    turns = dict(states=HALF_TURNS, turn_every=turn) if turn else {}
    scenario = job(**{**AT_WORK, **turns, **how}, brush_every=brush, sheet_every=sheet)
    rig = set_up(scenario, cells=300)
    stage = Stage(P120, STROKES, turn, brush, sheet, (100, 200, STROKES))
    return rig, FACE(rig.grid.u, rig.grid.v), middle(scenario), stage


@pytest.mark.parametrize(
    ("brush", "sheet", "turn", "pattern"),
    [
        (1, 300, 0, "straight"),
        (2, 300, 40, "straight"),
        (5, 300, 0, "straight"),
        (50, 5, 0, "straight"),
        (0, 3, 0, "straight"),
        (1, 8, 0, "straight"),
        (1, 20, 0, "straight"),
        (1, 40, 0, "straight"),
        (2, 2, 0, "straight"),
        (1, 300, 0, "diagonal"),
        (1, 300, 0, "circle"),
        (1, 300, 0, "eight"),
    ],
)
def test_it_is_the_lap_that_is_cut_at_every_brushing_and_sheet(brush, sheet, turn, pattern, monkeypatch):
    """A quarter of the rows at the most, and the map within what is told of that of the lap in full."""
    rig, before, conditions, stage = often(brush, sheet, turn, pattern=pattern)
    found = choose_resolution(rig, before, conditions, stage, tolerance=TOLERANCE, seed=0)
    assert found.error <= TOLERANCE and max(slowed(found.quad_strokes, brush, sheet)) > 1
    layout = stage_layout(rig, stage, quad_strokes=found.quad_strokes, seed=0)
    run = run_stage(rig, before, conditions, stage, layout)
    # Nothing is taken together.
    monkeypatch.setattr(poses, "OFTEN", np.inf)
    in_full = stage_layout(rig, stage, quad_strokes=1.0, seed=0)
    truth = run_stage(rig, before, conditions, stage, in_full)
    assert in_full.slower == (1, 1) and layout.x.size <= 0.25 * in_full.x.size
    off = run.heights[-1] - truth.heights[-1]
    taken = float(np.mean(before - truth.heights[-1]))
    assert taken > 8 * UM
    # The error that is told is that of twice the rows against these; what is left may be as much again.
    assert np.abs(off).max() < min(HALF_SEEN * found.error, 1.5 * TOLERANCE)
    assert abs(off.mean()) < 0.015 * taken
    assert run.removed_volume == pytest.approx(run.deposited_volume, rel=1e-12)
    assert run.load_sliding == pytest.approx(truth.load_sliding, rel=1e-9)


@pytest.mark.parametrize("intervals", [(1, 300), (5, 0), (0, 1)])
def test_rows_are_bounded_by_the_strokes_of_a_group(intervals):
    """However often paper is brushed and changed: groups of rows are half as long as was asked at the least,
    but for looks."""
    rig, _, _, stage = often(*intervals)
    for quad in (20.0, 30.0):
        layout = stage_layout(rig, stage, quad_strokes=quad, seed=0)
        assert layout.x.size <= 4 * (2.0 * STROKES / quad + len(stage.snapshots) + 1)


def test_a_finer_lap_is_finer_where_brushings_cut_the_rows():
    """Half the strokes of a group are the same rows while brushings cut them: they show no error."""
    rig, before, conditions, stage = often(1, 40)
    found = choose_resolution(rig, before, conditions, stage, tolerance=TOLERANCE, seed=0)
    coarse, fine = (
        stage_layout(rig, stage, quad_strokes=quad, seed=0)
        for quad in (found.quad_strokes, 0.5 * found.quad_strokes)
    )
    assert found.error > 0.0 and fine.x.size > coarse.x.size == found.rows


def test_what_comes_no_more_often_than_rows_is_left_as_it_was():
    assert slowed(20.0, 20, 100) == slowed(20.0, 6, 6) == slowed(20.0, 0, 0) == (1, 1)
    assert slowed(OFTEN * 5, 5, 0) == (4, 1)


def test_in_pieces_it_is_the_lap_in_one_to_the_last_bit():
    rig, before, conditions, stage = often(1, 48)
    whole = run_stage(rig, before, conditions, stage, stage_layout(rig, stage, quad_strokes=25.0, seed=0))
    state, place, heights = None, START, []
    for _ in range(3):
        piece = Stage(P120, 100, 0, 1, 48, (100,))
        layout = stage_layout(rig, piece, quad_strokes=25.0, seed=0, begin=place)
        assert layout.slower == (4, 1)
        state = state or begin_lap(rig, before, conditions, P120, layout)
        run = lap_on(rig, state, conditions, layout)
        state, place = run.state, layout.end
        heights.append(run.heights[-1])
    np.testing.assert_array_equal(heights, whole.heights)


def test_what_the_paper_holds_afterwards_is_what_one_sheet_has_cut():
    """Not so many times as much: other rows, or another paper, go on from it."""
    rig, before, conditions, stage = often(0, 5)
    held = [
        run_stage(rig, before, conditions, stage, stage_layout(rig, stage, quad_strokes=quad, seed=0))
        for quad in (1.0, 25.0)
    ]
    in_full, together = (run.state.carried for run in held)
    for name in ("load", "dull"):
        want, got = getattr(in_full, name), getattr(together, name)
        assert got.mean() == pytest.approx(want.mean(), rel=0.05)

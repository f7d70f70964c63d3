"""A lap that is stopped and goes on: cut anywhere it is the lap that was not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from jobs import HALF_TURNS, QUARTER_TURNS, UM, hollow, job

from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.ensemble import conditions_at, draw_scores
from handlap.sim.lapping.lap import LapRun, begin_lap, lap_on, run_stage, stage_layout
from handlap.sim.lapping.poses import START, Place
from handlap.sim.lapping.set_up import set_up

FACE = hollow(60 * UM, 0.12)
JOBS: dict[str, dict[str, Any]] = {
    "fresh paper": dict(),
    "ageing": dict(ages=True, brush_every=40, sheet_every=120),
    "quarter turns": dict(ages=True, states=QUARTER_TURNS, turn_every=30, reach=0.02, wobble=(3e-3, 2e-3)),
    "turned at every other stroke": dict(ages=True, states=HALF_TURNS, turn_every=2),
    "diagonal": dict(ages=True, pattern="diagonal", blunt_bedding=0.5, friction_gain=0.6, reach=0.02),
    "circles": dict(ages=True, pattern="circle", travel=0.08, states=HALF_TURNS, turn_every=60),
    "over the edge": dict(ages=True, plate=(0.3, 0.12), states=HALF_TURNS, turn_every=40),
    "a leading edge": dict(ages=True, edge_rate=0.5, edge_rise=2e-6),
    "a twist in the hands": dict(),
}
LOOKS = (40, 100, 160, 240)


def pieces(name: str, cuts: tuple[int, ...]) -> tuple[LapRun, list[LapRun]]:
    """A stage of 240 strokes with looks, in one go and in pieces."""
    scenario = job(face=FACE, **JOBS[name])
    if "twist" in name:
        scenario = replace(scenario, hands=replace(scenario.hands, twist=0.02))
    rig = set_up(scenario, cells=400)
    conditions = conditions_at(scenario, draw_scores(4, 1)[2])
    before = FACE(rig.grid.u, rig.grid.v)
    more = JOBS[name]
    turn, brush, sheet = (more.get(key, 0) for key in ("turn_every", "brush_every", "sheet_every"))
    grit = scenario.paper.grits[0]

    def stage(begin: int, end: int) -> Stage:
        return Stage(
            grit, end - begin, turn, brush, sheet, tuple(k - begin for k in LOOKS if begin < k <= end)
        )

    whole = run_stage(
        rig, before, conditions, stage(0, 240),
        stage_layout(rig, stage(0, 240), quad_strokes=7.0, seed=5),
    )  # fmt: skip
    runs, place, state = [], START, None
    for begin, end in zip((0, *cuts), (*cuts, 240), strict=True):
        layout = stage_layout(rig, stage(begin, end), quad_strokes=7.0, seed=5, begin=place)
        state = state or begin_lap(rig, before, conditions, grit, layout)
        runs.append(lap_on(rig, state, conditions, layout))
        state, place = runs[-1].state, layout.end
    return whole, runs


@pytest.mark.parametrize("name", JOBS)
def test_cut_at_looks_it_is_the_same_to_the_last_bit(name):
    whole, runs = pieces(name, (40, 160))
    np.testing.assert_array_equal(np.vstack([run.heights for run in runs]), whole.heights)
    assert tuple(k for run in runs for k in run.strokes) == whole.strokes == LOOKS
    last = runs[-1]
    for total in ("load_sliding", "clipped", "tipped", "overhung", "evaluations"):
        assert getattr(last, total) == pytest.approx(getattr(whole, total), rel=1e-12)
    for along in ("friction", "work", "clean", "sharp"):
        pieced = np.concatenate([getattr(run, along) for run in runs])
        np.testing.assert_allclose(pieced, getattr(whole, along), rtol=1e-12)


@pytest.mark.parametrize("name", JOBS)
def test_metal_off_in_pieces_lies_on_the_paper(name):
    whole, runs = pieces(name, (40, 160))
    assert runs[-1].removed_volume == pytest.approx(whole.removed_volume, rel=1e-12)
    if whole.deposited_volume is not None:
        assert runs[-1].deposited_volume == pytest.approx(runs[-1].removed_volume, rel=1e-12)


@pytest.mark.parametrize("name", JOBS)
def test_cut_between_looks_it_is_the_same_within_the_step(name):
    """Groups of rows are cut where the piece ends, so that places in the stroke are others after it."""
    whole, runs = pieces(name, (53, 131, 202))
    removed = float(np.ptp(FACE(np.zeros(1), np.zeros(1)) - whole.heights[-1]))
    assert np.abs(runs[-1].heights[-1] - whole.heights[-1]).max() < 0.05 * removed


def test_a_state_can_go_on_twice():
    """What goes on from a state leaves it as it was: two ways of going on do not meet."""
    scenario = job(face=FACE, ages=True, brush_every=40)
    rig = set_up(scenario, cells=200)
    conditions = conditions_at(scenario, draw_scores(2, 0)[0])
    before = FACE(rig.grid.u, rig.grid.v)
    first = stage_layout(rig, Stage(scenario.paper.grits[0], 50, 0, 40, 0), quad_strokes=5.0, seed=0)
    state = lap_on(
        rig, begin_lap(rig, before, conditions, scenario.paper.grits[0], first), conditions, first
    ).state
    then = stage_layout(
        rig, Stage(scenario.paper.grits[0], 30, 0, 40, 0), quad_strokes=5.0, seed=0, begin=first.end
    )
    once, again = (lap_on(rig, state, conditions, then) for _ in range(2))
    np.testing.assert_array_equal(once.heights, again.heights)
    assert once.removed_volume == again.removed_volume


@pytest.mark.parametrize(
    ("begin", "every", "want", "end"),
    [
        # In the middle of a state: the rest of it first.
        (Place(30, 4, 1, 10), 25, [1] * 15 + [2] * 25 + [3] * 10, Place(80, 54, 3, 10)),
        # Turned at shorter intervals from now on: overdue, so at once.
        (Place(30, 4, 1, 30), 25, [2] * 25 + [3] * 25, Place(80, 54, 0, 0)),
        (Place(30, 4, 3, 0), 50, [3] * 50, Place(80, 54, 0, 0)),
        (Place(30, 4, 2, 7), 0, [2] * 50, Place(80, 54, 2, 57)),
    ],
)
def test_the_turning_round_goes_on_where_it_was(begin, every, want, end):
    scenario = job(states=QUARTER_TURNS, turn_every=25)
    rig = set_up(scenario, cells=100)
    rows = stage_layout(
        rig, Stage(scenario.paper.grits[0], 50, every, 0, 0), quad_strokes=1.0, seed=0, begin=begin,
        states=scenario.turning.states,
    )  # fmt: skip
    assert (rows.kinds[::4] // 2).tolist() == want
    assert rows.end == end

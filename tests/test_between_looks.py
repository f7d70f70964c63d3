"""Where a member stops between two looks, however far apart these are."""

from __future__ import annotations

import numpy as np
import pytest
from jobs import HALF_TURNS, UM, hollow, job

from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.ensemble import conditions_at, draw_scores
from handlap.sim.lapping.gauge import measured, rig_and_gauge
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.planning.between_looks import STRAIGHT, Look, Met, meets_goal
from handlap.sim.planning.leg import ToGoal, lay_leg, work_leg

SHAPES = {
    "falls by a third": lambda k: 90.0 * np.exp(-k / 250.0) * UM,
    "falls to a tenth": lambda k: 90.0 * np.exp(-k / 45.0) * UM,
    "falls ever faster": lambda k: (90.0 - 80.0 * (k / 100.0) ** 3) * UM,
    "has a kink": lambda k: np.where(k < 57, 90.0 - 1.2 * k, 21.6 - 0.3 * (k - 57)) * UM,
}


def read_off(falls, goal: float) -> tuple[Met, list[int]]:
    """Where a figure that falls in a known way meets a goal between looks after 0, 0 and 100 strokes."""
    asked: list[int] = []

    def look(strokes: int) -> Look:
        return Look(strokes, float(falls(strokes)), np.array([falls(strokes), strokes]), 2.0 * strokes)

    def look_at(strokes: int) -> Look:
        asked.append(strokes)
        return look(strokes)

    return meets_goal((-100.0, float(falls(-100))), look(0), look(100), goal, look_at), asked


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("share", [0.05, 0.3, 0.7, 0.95])
def test_it_is_where_the_figure_itself_meets_the_goal(name, share):
    """Against the figure in closed form, to the nearest stroke or to what a straight line may err by."""
    falls = SHAPES[name]
    goal = float(falls(100) + share * (falls(0) - falls(100)))
    met, asked = read_off(falls, goal)
    strokes = np.arange(101)
    true = float(np.interp(-goal, -falls(strokes), strokes))
    steep = abs(float(falls(true + 0.5) - falls(true - 0.5)))
    assert abs(met.stroke - true) < max(1.0, 2.0 * STRAIGHT / steep)
    assert met.face[0] == pytest.approx(goal, abs=1e-12)
    assert met.face[1] == pytest.approx(met.stroke) and met.work == pytest.approx(2.0 * met.stroke)
    assert len(asked) <= 4 and all(0 < k < 100 for k in asked)


def test_nothing_more_is_worked_where_a_straight_line_will_do():
    met, asked = read_off(lambda k: (50.0 - 0.15 * k) * UM, 40.0 * UM)
    assert asked == [] and met.stroke == pytest.approx(200.0 / 3.0)


@pytest.mark.parametrize("ages", [False, True])
def test_a_member_that_is_looked_at_seldom_stops_where_one_lap_to_there_meets_the_goal(ages):
    """Looks after every 150 strokes; the lap to the stop in one piece has the figure that the stop has."""
    face = hollow(90 * UM, 0.12)
    scenario = job(face=face, rate=0.15e-9, ages=ages, states=HALF_TURNS, turn_every=30)
    rig, gauged = rig_and_gauge(scenario, cells=400)
    conditions = conditions_at(scenario, draw_scores(2, 0)[0])
    before = face(rig.grid.u, rig.grid.v)
    grit = scenario.paper.grits[0]
    stage = Stage(grit, 900, 30, 40 if ages else 0, 120 if ages else 0, tuple(range(150, 901, 150)))
    whole = run_stage(rig, before, conditions, stage, stage_layout(rig, stage, quad_strokes=5.0, seed=0))
    seen = measured(gauged, whole.heights, "zone")
    # Well within the interval in which it falls fastest, the first aside: nobody stops in that one.
    goal = float(0.7 * seen[1] + 0.3 * seen[0])
    leg = lay_leg(rig, stage, quad_strokes=5.0, seed=0)
    run = work_leg(
        rig, gauged, leg, conditions, ToGoal(goal, 0), before=before, start=before, limit_by="zone"
    )
    at = round(run.stroke)
    assert 150 < at < 300
    to_there = Stage(grit, at, stage.turn_every, stage.brush_every, stage.sheet_every, (150, at))
    layout = stage_layout(rig, to_there, quad_strokes=5.0, seed=0)
    once = run_stage(rig, before, conditions, to_there, layout)
    slope = (seen[0] - seen[1]) / 150.0
    assert measured(gauged, once.heights[-1], "zone")[0] == pytest.approx(goal, abs=STRAIGHT + slope)
    assert run.end.flatness[0] == pytest.approx(goal, abs=STRAIGHT)
    assert run.worked == pytest.approx(once.work[-1], rel=0.01)
    straight = 150 + 150 * (seen[0] - goal) / (seen[0] - seen[1])
    assert abs(straight - run.stroke) > 3.0, "no job in which a straight line would err"

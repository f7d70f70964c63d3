"""Errors of what is reported: that they hold against finer laps, and how they are said."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from cli_examples import HEAD, synthetic_lap, synthetic_plan
from jobs import P80, UM, hollow, job, middle

from handlap.cli.reports.as_json import dumps
from handlap.cli.reports.lap_report import lap_json, lap_report
from handlap.cli.reports.plan_report import plan_json, plan_report
from handlap.cli.reports.text import render
from handlap.cli.reports.wording import error_words
from handlap.cli.screen import Screen
from handlap.sim.common.said import said_of
from handlap.sim.job.results import Errors
from handlap.sim.job.scenario_file import load
from handlap.sim.lapping import gauge
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.resolution import ALLOWED, REPORTED, HeldTo, choose_resolution, row_errors
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.lapping.set_up import set_up
from handlap.sim.planning.crew import open_crew
from handlap.sim.planning.fineness import PLANNED
from handlap.sim.planning.first_paper import trial_crew, try_paper
from handlap.sim.planning.plan import make_plan
from handlap.sim.planning.typical import cells_asked

FACE = hollow(80 * UM, 0.12)
STRIPS = [(-1.0, -1.0, -0.02, 1.0), (0.02, -1.0, 1.0, 1.0)]
"""A bare strip across the middle of the plate: the part crosses its edges at every stroke."""


@pytest.mark.parametrize(
    "more", [dict(ages=True), dict(ages=True, strips=STRIPS)], ids=["one sheet", "a gap in the paper"]
)
def test_the_errors_of_what_is_reported_hold_against_a_lap_in_far_shorter_rows(more: dict[str, Any]):
    scenario = job(face=FACE, reach=0.02, wobble=(0.004, 0.004), weight=40.0, **more)
    lines, follow = gauge.lines_to_follow(scenario.part.outline)
    rig = set_up(scenario, cell=0.01, follow=follow)
    gauged = gauge.make_gauge(scenario.part.outline, rig.grid, lines)
    before = FACE(rig.grid.u, rig.grid.v)
    stage = stage_of(scenario, middle(scenario), P80, 600, 600)
    found = choose_resolution(rig, before, middle(scenario), stage, tolerance=0.5 * UM, seed=0, most_rows=600)
    told = row_errors(gauged, found.pair)
    layout = stage_layout(rig, stage, quad_strokes=found.quad_strokes / 16, seed=0)
    finest = run_stage(rig, before, middle(scenario), stage, layout).heights[-1]
    ours, truth = (gauge.figures(gauged, before, face) for face in (found.pair[1], finest))
    for name in REPORTED:
        off = float(abs(getattr(ours, name)[0] - getattr(truth, name)[0]))
        assert off <= told[name] + 0.02 * UM, name
        # A bound that is always far too wide would hold as well.
        assert told[name] <= 20.0 * off + 0.5 * UM, name


@pytest.mark.parametrize("tolerance", [0.3 * UM, 2.0 * UM])
def test_rows_held_to_what_is_reported_keep_it_against_a_lap_in_far_shorter_rows(tolerance: float):
    scenario = job(face=FACE, reach=0.02, wobble=(0.004, 0.004), weight=40.0, ages=True)
    rig, gauged = gauge.rig_and_gauge(scenario, cells=400)
    before = FACE(rig.grid.u, rig.grid.v)
    stage = stage_of(scenario, middle(scenario), P80, 600, 600)

    def rows_of(held: HeldTo | None, worst: float) -> float:
        return choose_resolution(
            rig, before, middle(scenario), stage, tolerance=worst, seed=0, held=held
        ).quad_strokes

    quad = rows_of(HeldTo(gauged, tolerance, {}), 10.0 * UM)
    after, finest = (
        run_stage(
            rig, before, middle(scenario), stage, stage_layout(rig, stage, quad_strokes=q, seed=0)
        ).heights[-1]
        for q in (quad, quad / 16)
    )
    ours, truth = (gauge.figures(gauged, before, face) for face in (after, finest))
    for name in REPORTED:
        assert abs(getattr(ours, name)[0] - getattr(truth, name)[0]) <= ALLOWED[name] * tolerance, name
    # Cells that take most of it leave less to the rows, and the map's worst spot is held besides.
    spent = {name: 0.97 * ALLOWED[name] * tolerance for name in REPORTED}
    assert rows_of(HeldTo(gauged, tolerance, spent), 10.0 * UM) < quad
    assert rows_of(HeldTo(gauged, tolerance, {}), 0.02 * UM) < quad


@pytest.mark.parametrize("name", ["two-cylinder-head", "glass-over-gap"])
def test_what_a_plan_of_a_built_in_job_reports_is_computed_as_exactly_as_is_asked(name: str):
    errors = make_plan(load(name), members=4, seed=0).errors
    assert errors.asked == PLANNED.tolerance and errors.tolerance == PLANNED.worst
    for figure in REPORTED:
        assert 0.0 < getattr(errors, figure) <= ALLOWED[figure] * errors.asked, figure
    assert errors.step <= errors.tolerance


def test_a_job_whose_cells_matter_gets_more_of_them():
    """A face that rides up on a step in the paper at every stroke; one on a plain plate for comparison."""
    cells = {}
    for name in ("two-cylinder-head", "long-part-short-plate"):
        crew = open_crew(load(name), members=2, seed=0)
        assert crew.cells == PLANNED.cells
        found = cells_asked(crew, try_paper(trial_crew(crew), 0).worked)
        cells[name] = found.cells
        assert found.rig.grid.n_cells == pytest.approx(found.cells, rel=0.2)
        assert found.members.before.shape[1] == found.rig.grid.u.size
        assert set(found.cells_err) == set(REPORTED)
    assert cells == {"two-cylinder-head": PLANNED.cells, "long-part-short-plate": PLANNED.most_cells}


def test_a_pair_of_laps_tells_twice_its_difference():
    """By hand: a flat face, 10 µm off everywhere, and 10.5 by the finer lap with 3 µm more at one spot."""
    scenario = job(face=FACE)
    rig, gauged = gauge.rig_and_gauge(scenario, cells=400)
    before = np.zeros(rig.grid.u.size)
    finer = np.full_like(before, -10.5 * UM)
    finer[0] -= 3 * UM
    told = row_errors(gauged, (before, np.full_like(before, -10.0 * UM), finer))
    assert told["greatest_depth"] == pytest.approx(2 * 3.5 * UM)
    share = rig.grid.area[0] / rig.grid.area.sum()
    assert told["mean_depth"] == pytest.approx(2 * (0.5 + 3 * share) * UM)


ERRORS = Errors(
    tolerance=0.5 * UM, step=60 * UM, grid=0.1 * UM, cells=3140, rows=2048,
    flatness=13.2 * UM, straightedge=0.9 * UM, greatest_depth=8.0 * UM, mean_depth=1e-12, strokes=38.3,
)  # fmt: skip


def test_errors_are_said_in_plain_words_and_in_the_units_of_the_job():
    assert error_words(ERRORS, "mm") == (
        "computed to within 14 µm in the flatness, 0.9 µm in the straightedge's reading, 8 µm at the deepest "
        "spot, under 0.001 µm in the mean depth and 40 strokes to the goal. Worked twice as finely, no spot "
        "of the map would move by more than 60 µm (asked: 0.5); 3140 cells, 2048 places of the part"
    )
    inch = error_words(replace(ERRORS, strokes=None), "inch")
    # 13.2 µm are 0.5197 thousandths, 0.9 are 0.0354, 8 are 0.315, 60 are 2.362, 0.5 are 0.0197.
    assert inch.startswith(
        "computed to within 0.6 thou in the flatness, 0.04 thou in the straightedge's reading, 0.4 thou at "
        "the deepest spot and under 0.0001 thou in the mean depth. Worked twice as finely, no spot of the "
        "map would move by more than 3 thou (asked: 0.02)"
    )
    assert "µm" not in inch and "stroke" not in inch
    assert "under 1 stroke to" in error_words(replace(ERRORS, strokes=0.3), "mm")
    held = error_words(replace(ERRORS, asked=1 * UM, tolerance=3 * UM), "mm")
    assert (
        "to the goal (asked: 1, twice that at the deepest spot). Worked" in held
        and "than 60 µm (asked: 3);" in held
    )


@pytest.mark.parametrize("width", [40, 80])
def test_reports_print_them_and_json_has_them(width):
    plan, lap = synthetic_plan(HEAD), synthetic_lap(HEAD)
    for report, errors in ((plan_report(plan), plan.errors), (lap_report(lap), lap.errors)):
        text = render(report, Screen(width))
        assert max(len(line) for line in text.splitlines()) <= width
        assert " ".join(error_words(errors, "mm").split()) in " ".join(text.split())
        for word in ("raster", "step error"):
            assert word not in text
    inch = replace(plan, scenario=replace(load(HEAD), system="inch"))
    assert error_words(plan.errors, "inch") in " ".join(render(plan_report(inch), Screen(width)).split())
    found = json.loads(dumps(plan_json(plan)))["errors"]
    assert found == {
        "tolerance_um": 0.5, "step_um": 0.31, "grid_um": 0.12, "cells": plan.errors.cells, "rows": 1816,
        "flatness_um": 0.43, "straightedge_um": 0.113, "greatest_depth_um": 2.1, "mean_depth_um": 0.0004,
        "strokes": 6.2, "reported_tolerance_um": None,
    }  # fmt: skip
    assert lap_json(lap)["errors"]["strokes"] is None
    assert said_of(replace(ERRORS, grid=None))["grid_um"] is None

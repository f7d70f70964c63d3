"""The re-plan: trial block, forecast, stop rules, and the command."""

from __future__ import annotations

import functools
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bench_truth import NOW, make_truth, write_log
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.reports.record_report import record_json, record_report
from handlap.cli.reports.replan_report import learnt_words, replan_json, replan_report
from handlap.cli.reports.text import render
from handlap.cli.reports.wording import error_words
from handlap.cli.screen import Screen
from handlap.sim.bench.bench_trial import mass_to_weigh, plan_trial
from handlap.sim.bench.forecast import (
    MODEL,
    SLACKS,
    Forecast,
    forecast,
    paper_begun_on,
    paper_in_use,
    worn_strokes,
)
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.learn import Quantity, learn
from handlap.sim.bench.log_file import append
from handlap.sim.bench.record import make_record
from handlap.sim.bench.replan import WhatNow, make_replan
from handlap.sim.bench.standing import LimitHeld, Standing, open_log, where_it_stands
from handlap.sim.bench.stop_rules import Outlook, advise, stations_up
from handlap.sim.common.errors import InputError
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.job.results import FIGURE_NAMES, Band, Figures
from handlap.sim.job.scenario import Station, StraightedgeLine
from handlap.sim.job.scenario_file import load, read_text
from handlap.sim.planning.between_looks import STRAIGHT
from handlap.sim.planning.crew import MOST_MEMBERS, open_crew
from handlap.sim.planning.first_paper import choose_first
from handlap.sim.planning.leg import STOP_AT, measure, stops_at

UM = 1e-6


def block(number: int, strokes: int = 75, **more) -> Entry:
    return Entry(number, 0, NOW, strokes=strokes, paper="P80", brushed=True, **more)


@functools.cache
def replanned():
    """A small job with a known face, three blocks and two looks."""
    scenario = load("two-cylinder-head")
    faces = infer_faces(scenario.part, scenario.readings, count=16, seed=5)
    truth = make_truth(scenario, lambda p: np.asarray(faces.heights_at(p))[3], seed=1, cells=250)
    log = write_log(truth, [block(i + 1) for i in range(3)], {0, 2})
    return truth, log, make_replan(truth.scenario, log, members=24, cells=250)


# ---- the trial block


@pytest.mark.parametrize(("per_forty", "strokes"), [(0.05e-3, (90, 350, 3400)), (0.10e-3, (45, 175, 1700))])
def test_a_scale_needs_so_much_metal(per_forty, strokes):
    """Derived: 40 strokes take 0.05 g off a 2.5 kg part, 0.10 g off one of 10 kg; rate within 20 %."""
    found = [mass_to_weigh(division) / (per_forty / 40) for division in (0.01e-3, 0.1e-3, 1e-3)]
    assert found == pytest.approx(strokes, rel=0.05)


def test_swarf_needs_no_cleaning_but_gets_lost():
    assert mass_to_weigh(1e-5, swarf=True) < mass_to_weigh(1e-5)
    assert mass_to_weigh(1e-3, swarf=True) == pytest.approx(mass_to_weigh(1e-3) / 0.9, rel=0.01)
    with pytest.raises(ValueError, match="never tells more"):
        mass_to_weigh(1e-3, within=0.02)


@functools.cache
def trial():
    return plan_trial(load("two-cylinder-head"))


def test_the_trial_of_a_job_is_on_the_paper_that_a_plan_begins_with():
    scenario = load("two-cylinder-head")
    first = choose_first(open_crew(scenario, members=64, seed=0)).taken.first
    assert trial().paper == scenario.paper.grits[first].name
    assert trial().chosen
    assert list(trial().part) == sorted(trial().part)
    p240 = scenario.paper.grits[2]
    stated = plan_trial(replace(scenario, paper=replace(scenario.paper, start=p240)))
    assert (stated.paper, stated.chosen) == ("P240", False)
    begun = plan_trial(scenario, [block(1)])
    assert (begun.paper, begun.chosen) == ("P80", False)


def test_a_new_sheet_gives_most_in_its_first_strokes():
    """The trial's strokes are those of the sheet model, whose end is checked by its own exponentials."""
    scenario = load("two-cylinder-head")
    begun = plan_trial(scenario, [block(1)])
    per_stroke = begun.first_hundred / 100
    fine, _, coarse = begun.part
    need = [mass_to_weigh(division) for division in begun.divisions]
    assert fine < need[0] / per_stroke
    assert coarse > need[2] / per_stroke
    fresh = replace(scenario, wear=replace(scenario.wear, ages=False))
    always = plan_trial(fresh, [block(1)])
    assert always.part[2] == pytest.approx(need[2] / (always.first_hundred / 100), abs=1.0)
    assert always.first_hundred > begun.first_hundred


# ---- stop rules


def standing(flat="cannot tell", metal="met", finish="met", *, read_again=False) -> Standing:
    """The standing of the small job, with limits said to be held or not."""
    limits = (
        LimitHeld("flatness", flat, "by the readings", 0.3, "flatness", read_again),
        LimitHeld("removal allowance", metal, "by the log", 0.9),
        LimitHeld("finish for the gasket", finish, "by the last paper", about="finish"),
    )
    return replace(replanned()[2].now, limits=limits)


def outlook(now: Standing, **changes) -> Outlook:
    plain = Outlook(replanned()[2].learnt, now, 50 * UM, 200 * UM, worse=0.1, deep=0.0, reached=1.0)
    return replace(plain, **changes)


@pytest.mark.parametrize(
    ("now", "changes", "advice", "says"),
    [
        ({}, {}, "go on", "nothing speaks against one more block"),
        ({"flat": "not met"}, {}, "go on", ""),
        ({"flat": "met"}, {}, "goal met", "only takes metal"),
        ({}, {"worse": 0.71}, "stop", "makes it worse with a chance of 71 %"),
        ({}, {"worse": 0.69}, "go on", ""),
        ({}, {"deep": 0.06}, "stop", "passes the allowance of 200 µm"),
        ({}, {"deep": 0.05}, "go on", ""),
        ({}, {"reached": 0.2}, "out of reach", "machine shop"),
        ({"flat": "met"}, {"worse": 0.9}, "goal met", "makes it worse"),
        ({"flat": "met", "metal": "not met"}, {"deep": 1.0}, "too deep", "removal allowance"),
        ({"flat": "not met", "metal": "not met"}, {"reached": 0.0}, "too deep", "does not come back"),
        ({"flat": "met", "metal": "cannot tell"}, {}, "stop", "may be passed already"),
        ({"flat": "met", "finish": "not met"}, {}, "finish next", "scratches"),
        ({"flat": "met", "finish": "cannot tell"}, {}, "goal met", ""),
        ({"read_again": True}, {}, "read", "before any further stroke"),
    ],
)
def test_rules(now, changes, advice, says):
    told, reasons = advise(outlook(standing(**now), **changes))
    assert told == advice
    assert says in " ".join(reasons)


def test_where_too_much_is_off_nobody_is_told_of_a_next_block():
    _, reasons = advise(outlook(standing("met", "not met"), worse=0.9, deep=1.0))
    assert len(reasons) == 1 and "next block" not in reasons[0]


def test_a_collapsed_ensemble_advises_nothing():
    found = replanned()[2]
    lost = replace(found.learnt, believed=False, effective=3.0)
    told, reasons = advise(outlook(standing("met", "not met"), learnt=lost, worse=1.0, reached=0.0))
    assert told == "cannot tell"
    assert "only 3 of 24" in reasons[0]
    report = render(replan_report(replace(found, learnt=lost, verdict=WhatNow(told, reasons, ()))), Screen())
    assert "Nothing that could be relied on" in report


@functools.cache
def gone_too_deep():
    """The small job again: an allowance passed long ago, on a face that is flat within a generous limit."""
    truth, log, _ = replanned()
    job = replace(truth.scenario, part=replace(truth.scenario.part, allowance=12 * UM, limit=400 * UM))
    return job, log, make_replan(job, log, members=24, cells=250)


def test_an_allowance_that_is_passed_is_never_the_goal_met():
    """Flat within its limit, with more than half as much again off as may come off."""
    _, _, found = gone_too_deep()
    assert found.now.greatest_depth.p05 > 1.5 * 12 * UM
    assert found.now.flat.answer == "met"
    assert found.verdict.answer == "too deep"
    text = render(replan_report(found), Screen(80))
    assert text.startswith("STOP: MORE IS OFF THAN MAY COME OFF")
    lead = " ".join(text.split("Where it stands")[0].split())
    assert "next block" not in lead and "goal is met" not in lead
    assert "Flatness: met" in lead and "Removal allowance: not met" in lead
    assert lead.index("Flatness:") < lead.index("Removal allowance:") < lead.index("does not come back")
    assert "passes the allowance" not in text, "it has passed it"
    found_json = replan_json(found)
    assert found_json["chance"]["next_block_passes_allowance"] is None
    assert {x["name"]: x["answer"] for x in found_json["limits"]}["removal allowance"] == "not met"


def test_replan_and_record_give_one_answer():
    """Where the job stands: the same figures and the same limits, word by word."""
    job, log, replan = gone_too_deep()
    record = make_record(job, log, members=24, cells=250)
    assert replace(record.now, after=None) == replace(replan.now, after=None)
    read = [now.after for now in (record.now, replan.now) if now.after]
    assert len(read) == 2 and read[0].verdict == read[1].verdict
    of_replan, of_record = replan_report(replan).lead, record_report(record).lead
    assert len(of_record) == 3 and of_replan[:3] == of_record
    assert replan_json(replan)["limits"] == record_json(record)["limits"]


def test_without_readings_after_the_last_stroke_it_says_read():
    """The log alone makes it flat, so the record cannot tell, and the re-plan does not call the goal met."""
    truth, log, _ = replanned()
    longer = JobLog(log.part, log.name, (*log.entries, block(4, 20)))
    job = replace(truth.scenario, part=replace(truth.scenario.part, limit=400 * UM))
    learnt = learn(*open_log(job, longer, members=24, seed=0, cells=250))
    now = where_it_stands(learnt)
    assert now.chance_goal > 0.95 and now.flat.answer == "cannot tell"
    assert "nothing was read after the last stroke" in now.flat.reason
    assert advise(outlook(now, learnt=learnt, limit=400 * UM))[0] == "read"


def readings(*goes_stops: tuple[float, float]) -> tuple[StraightedgeLine, ...]:
    stations = tuple(Station(0.02 * (i + 1), a * UM, b * UM) for i, (a, b) in enumerate(goes_stops))
    return (StraightedgeLine("long", (-0.1, 0.0), (0.1, 0.0), "rest", stations),)


def test_stations_that_went_up_are_counted_against_those_that_went_down():
    first = block(1, readings=readings((30, 40), (40, 50), (50, 60)))
    up = block(2, readings=readings((40, 50), (50, 60), (40, 50)))
    assert stations_up([first, up]) == (1, pytest.approx(50 * UM))
    assert stations_up([first, first])[0] == 0
    assert stations_up([first]) == (0, pytest.approx(50 * UM))


def test_worse_by_readings_stops_only_where_the_ensemble_thinks_so_too():
    found = replanned()[2]
    first = block(1, readings=readings((30, 40)))
    shop = replace(found.learnt.ready, entries=(first, block(2, readings=readings((50, 60)))))
    learnt = replace(found.learnt, ready=shop)
    assert advise(outlook(standing(), learnt=learnt, worsened=0.2))[0] == "go on"
    told, reasons = advise(outlook(standing(), learnt=learnt, worsened=0.8))
    assert told == "stop"
    assert "read them again" in reasons[0]


# ---- the rest of the work


def test_the_replan_adds_up():
    _, log, found = replanned()
    assert found.log.strokes == log.strokes == 225
    assert found.ahead[0].strokes == 225 + found.next.strokes
    assert found.rest.total is not None
    assert found.rest.total.p50 >= 225
    assert found.first.total is not None
    wide, narrow = (np.log(b.p95 / b.p05) for b in (found.first.total, found.rest.total))
    assert narrow < wide
    assert found.rest.curve.strokes[:4].tolist() == [0, 75, 150, 225]
    assert found.rest.curve.flatness.shape == (found.rest.curve.strokes.size, 3)
    # No finish is stated: Ra 1.5 µm, which worn P120 leaves.
    assert [p.paper for p in found.finer] == ["P120"]
    assert found.best.strokes == 225


def test_a_forecast_looks_between_its_looks_where_a_straight_line_would_err(monkeypatch):
    """Looks 160 strokes apart, against looks after every 20 of the same work."""
    truth, log, _ = replanned()
    ready, prior = open_log(truth.scenario, log, members=16, seed=0, cells=250)

    def looked_at(every: int) -> Forecast:
        monkeypatch.setattr("handlap.sim.bench.forecast.check_interval", lambda *given: every)
        return forecast(ready, prior, ())

    often, seldom = looked_at(20), looked_at(160)
    goal = STOP_AT * seldom.limit
    strokes = np.concatenate([[0.0], seldom.ahead])
    straight, _ = stops_at(strokes, measure(seldom.figures, seldom.limit_by), 1 + seldom.worked, goal)
    early = often.total < 160
    assert early.sum() >= 3 and often.reached.all() and seldom.reached.all()
    assert np.abs(seldom.total - often.total)[early].max() < 10.0
    assert np.abs(straight - often.total)[early].max() > 30.0, "no job in which a straight line would err"
    # The face is looked at there, not read off a line: it has the figure that it stops at.
    by = measure(seldom.at_goal, seldom.limit_by)
    assert by[seldom.met[:, 0] > 0.0] == pytest.approx(goal, abs=STRAIGHT)
    for slack in SLACKS[1:]:
        assert (np.sign(seldom.stops(slack)[0] - seldom.total) == -np.sign(slack)).all()


def test_who_does_not_get_to_the_goal_stops_at_the_best_look():
    def rows(*values: float) -> Figures:
        return Figures(**dict.fromkeys(FIGURE_NAMES, np.array(values)))

    seen = Figures(**dict.fromkeys(FIGURE_NAMES, np.array([[9.0, 7.0, 8.0], [9.0, 6.0, 4.0]])))
    met = np.array([[np.nan, 12.0, np.nan], [15.0, 14.0, np.nan]])
    found = Forecast(100, np.array([10, 20]), np.array([2, 2]), seen, met, rows(np.nan, 5.0), "zone", 5.0)
    assert found.total.tolist() == [110.0, 115.0] and found.reached.tolist() == [False, True]
    assert found.stops(MODEL)[0].tolist() == [112.0, 114.0]
    assert found.stops(-MODEL)[0].tolist() == [110.0, 120.0] and not found.stops(-MODEL)[1].any()
    assert found.at_stop("greatest_depth").tolist() == [7.0, 5.0]
    band = found.to_goal()
    assert band is not None and (band.p05, band.p50, band.p95) == (114.0, 115.0, 120.0)


def test_the_sheet_in_use_is_counted_on():
    entries = [block(1, 150), block(2, 60, new_sheet=True), Entry(3, 0, NOW, note="tea"), block(4, 40)]
    assert worn_strokes(entries, "P80") == 100
    assert worn_strokes(entries, "P120") == 0
    assert worn_strokes(entries[:1], "P80") == 150


def test_the_plan_without_the_log_is_on_the_paper_that_it_began_on():
    scenario = load("two-cylinder-head")
    later = [replace(block(1), paper=""), replace(block(2), paper="P120"), block(3)]
    assert paper_begun_on(scenario, later) == "P120"
    assert paper_in_use(scenario, later) == "P80"
    assert paper_begun_on(scenario, ()) == "P80"
    start = replace(scenario, paper=replace(scenario.paper, start=scenario.paper.grits[2]))
    assert paper_begun_on(start, ()) == paper_in_use(start, ()) == "P240"


def test_wrong_use_is_refused():
    scenario = load("two-cylinder-head")
    with pytest.raises(InputError, match="holds no strokes"):
        make_replan(scenario, JobLog("x", "head"), members=16)
    with pytest.raises(InputError, match="16 to"):
        make_replan(scenario, JobLog("x", "head"), members=MOST_MEMBERS + 1)


def test_what_was_learnt_in_words():
    cut = Quantity("cut", Band(1 * UM, 3 * UM, 9 * UM), Band(1.5 * UM, 1.8 * UM, 2.1 * UM), 0.2, 0.6)
    assert "cuts 0.60 of what was assumed, ± 17 %" in (learnt_words(cut) or "")
    assert "cuts 1.5 times what was assumed" in (learnt_words(replace(cut, shift=1.5)) or "")
    assert learnt_words(replace(cut, ratio=0.9)) is None
    bias = Quantity("bias_across", Band(-8e-3, 0.0, 8e-3), Band(6e-3, 9e-3, 12e-3), 0.4, 9e-3)
    assert (learnt_words(bias) or "").startswith("you press 9.0 mm")
    assert (learnt_words(bias) or "").endswith("to the left")
    right = replace(bias, after=Band(-12e-3, -9e-3, -6e-3))
    assert (learnt_words(right) or "").endswith("to the right")
    middle = replace(bias, after=Band(-2e-3, 0.5e-3, 3e-3))
    assert "in the middle, across the stroke" in (learnt_words(middle) or "")


@pytest.mark.parametrize(
    ("ratio", "words"), [(0.49, "learnt"), (0.5, "partly learnt"), (0.81, "still our assumption")]
)
def test_standing(ratio, words):
    assert Quantity("cut", Band(1, 1, 1), Band(1, 1, 1), ratio, 1.0).standing == words


# ---- the command


def test_report_and_json_say_the_same():
    found = replanned()[2]
    text = render(replan_report(found), Screen(80))
    assert "STROKES MORE ON P80" in text or "STOP" in text
    assert "What was learnt" in text
    assert "Take care" in text
    for width in (40, 80):
        assert max(map(len, render(replan_report(found), Screen(width)).splitlines())) <= width
    as_json = json.loads(json.dumps(replan_json(found), allow_nan=False))
    assert as_json["schema"] == "handlap.replan/2"
    assert as_json["verdict"]["answer"] == found.verdict.answer
    assert as_json["learnt"][0]["name"] == "cut"
    assert as_json["strokes"] == 225
    assert " ".join(error_words(found.errors, "mm").split()) in " ".join(text.split())
    errors = as_json["errors"]
    assert errors["grid_um"] is None and errors["strokes"] is None
    assert errors["step_um"] == pytest.approx(1e6 * found.learnt.ready.course.error, rel=1e-6)
    # No figure is off by more than twice what the worst spot is; zone and reading span two spots.
    for name in ("flatness_um", "straightedge_um", "greatest_depth_um", "mean_depth_um"):
        assert 0.0 < errors[name] <= 4.0 * errors["step_um"]


def test_the_command_from_file_to_page(tmp_path: Path):
    path = tmp_path / "head.toml"
    path.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    run = CliRunner()
    trial = run.invoke(main, ["replan", str(path)])
    assert trial.exit_code == 0
    assert "BEGIN WITH A TRIAL BLOCK" in trial.stdout
    job = load(path)
    for entry in replanned()[1].entries:
        append(job, replace(entry, at=0))
    done = run.invoke(
        main, ["replan", str(path), "--members", "16", "--out", str(tmp_path / "out"), "--json"]
    )
    assert done.exit_code in (0, 3), done.stderr
    assert json.loads(done.stdout)["strokes"] == 225
    page = (tmp_path / "out" / "head-replan.html").read_text(encoding="utf-8")
    assert page.count("<img") == 2
    assert "Take care" in page
    trial = run.invoke(main, ["replan", str(path), "--trial", "--json"])
    assert json.loads(trial.stdout)["schema"] == "handlap.trial/2"

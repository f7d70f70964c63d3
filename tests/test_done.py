"""One meaning of done: what the leaves show at the stations, the same for all who ask."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bench_truth import NOW
from click.testing import CliRunner
from jobs import UM

from handlap.cli.main import main
from handlap.cli.reports.record_report import record_report
from handlap.cli.reports.replan_report import replan_json, replan_report
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.record import make_record
from handlap.sim.bench.replan import Replan, make_replan
from handlap.sim.bench.standing import check_after, readings_after
from handlap.sim.face.done import HARDLY, check_lines, check_words, deciding_leaf, goal_words
from handlap.sim.face.stations import lines_of
from handlap.sim.job.scenario import Station, StraightedgeLine
from handlap.sim.job.scenario_file import load
from handlap.sim.planning.plan import make_plan

HEAD = load("two-cylinder-head")
LINES = lines_of(HEAD)
LIMIT = HEAD.part.limit
Names = tuple[str, ...]


def read(goes: float = 0.0, stops: float = LIMIT, skip: Names = ()) -> tuple[StraightedgeLine, ...]:
    """All lines of the sheet, the same at every station but for lines or stations left out [m]."""
    found = []
    for line in LINES:
        stations = tuple(
            Station(at, goes, stops) for k, at in enumerate(line.at) if line.label(k) not in skip
        )
        if line.letter not in skip:
            found.append(StraightedgeLine(line.name, line.start, line.end, "rest", stations))
    return tuple(found)


def changed(lines: tuple[StraightedgeLine, ...], goes: float, stops: float) -> tuple[StraightedgeLine, ...]:
    """Another reading at the second station of the first line [m]."""
    first, second, *rest = lines[0].stations
    new = replace(lines[0], stations=(first, replace(second, goes=goes, stops=stops), *rest))
    return (new, *lines[1:])


@pytest.mark.parametrize(
    ("lines", "answer", "words"),
    [
        (read(), "met as checked", "the 50 µm leaf goes in at no station"),
        (read(stops=40 * UM), "met as checked", "as checked: the 40 µm leaf goes in at no station"),
        (read(goes=30 * UM), "met as checked", "the 50 µm leaf goes in at no station"),
        # The leaf as thick as the limit goes in: that is a gap no smaller than the limit.
        (changed(read(), LIMIT, 60 * UM), "not met", "a leaf as thick as the limit goes in at A2"),
        (changed(read(), 40 * UM, 60 * UM), "open", "no leaf as thin as 50 µm was tried where"),
        (read(skip=("C",)), "open", "not read: C ("),
        # An end, or a long stretch, that nobody looked at.
        (read(skip=("B1", "B2")), "open", "not read: B ("),
        (read(skip=("C2", "C3", "C4")), "open", "but for a part"),
        # One station fewer somewhere in between is no matter.
        (read(skip=("A4",)), "met as checked", "goes in at no station"),
        ((), "open", "not read: A ("),
        # A leaf that goes is enough, whatever else was not read.
        (changed(read(skip=("C",)), 80 * UM, 100 * UM), "not met", "goes in at A2"),
    ],
)  # fmt: skip
def test_what_the_leaves_show_decides(lines, answer, words):
    found = check_lines(LIMIT, LINES, lines)
    assert found.answer == answer
    assert words in check_words(found, LIMIT)


def test_the_goal_is_said_with_the_leaf_that_is_at_hand():
    assert goal_words(LIMIT, "straightedge", [30 * UM, 50 * UM, 60 * UM]) == (
        "done when the 50 µm leaf goes in at no station of any line"
    )
    assert "the 40 µm leaf (the thickest at hand within the limit of 50 µm)" in (
        goal_words(LIMIT, "straightedge", [30 * UM, 40 * UM, 60 * UM])
    )
    assert "no leaf as thin as the limit of 50 µm is at hand" in (
        goal_words(LIMIT, "straightedge", [60 * UM])
    )
    assert "heights taken over the face lie in a zone of 50 µm" in goal_words(LIMIT, "zone", [50 * UM])
    assert deciding_leaf(50e-6, [50e-6 * (1 + 1e-12)]) is not None


def test_lines_read_one_by_one_count_together_and_the_later_reading_of_one():
    lines = read()
    entries = (
        Entry(1, 0, NOW, strokes=100, paper="P80", readings=read(60 * UM, 80 * UM)),
        Entry(2, 0, NOW, strokes=100, paper="P80"),
        Entry(3, 0, NOW, readings=(changed(lines, LIMIT, 60 * UM)[0],)),
        *(Entry(4 + k, 0, NOW, readings=(line,)) for k, line in enumerate(lines)),
    )
    assert {line.name for line in readings_after(entries)} == {line.name for line in LINES}
    found = check_after(HEAD, entries)
    assert found is not None and found.answer == "met as checked"
    assert check_after(HEAD, entries[:2]) is None
    zone = replace(HEAD, part=replace(HEAD.part, limit_by="zone"))
    assert check_after(zone, entries) is None


@pytest.fixture(scope="module")
def nothing_goes() -> JobLog:
    """A log that ends with: nothing takes the limit's leaf."""
    entries = tuple(
        Entry(k + 1, 0, NOW, strokes=160, paper="P80", brushed=True, turn_every=20,
              readings=read() if k == 3 else ())
        for k in range(4)
    )  # fmt: skip
    return JobLog("cylinder head", "two-cylinder-head", entries)


@pytest.fixture(scope="module")
def replanned(nothing_goes: JobLog) -> Replan:
    return make_replan(HEAD, nothing_goes, members=16, cells=250)


def test_a_log_that_ends_with_nothing_takes_the_leaf_ends_with_stop_and_met(nothing_goes, replanned):
    """Plan, sheet, re-plan and record say the same of it, and the chance of the true face stands beside."""
    found = replanned
    flat = found.now.flat
    assert flat.answer == "met" and flat.checked == "met as checked"
    assert found.verdict.answer in ("goal met", "finish next")
    assert flat.chance == pytest.approx(found.now.chance_goal) and 0.0 < found.now.chance_goal <= 1.0
    record = make_record(HEAD, nothing_goes, members=16, cells=250)
    assert record.now.flat.answer == "met" and record.now.flat.reason == flat.reason
    assert "the 50 µm leaf goes in at no station of any line" in flat.reason


@pytest.fixture(scope="module")
def against_the_scale() -> JobLog:
    """Twenty strokes and a tenth of a gram of swarf on a face hollow by 120 µm, and then no leaf goes in."""
    entries = (
        Entry(1, 0, NOW, strokes=20, paper="P80", swarf=0.1e-3, scale=0.01e-3),
        Entry(2, 0, NOW, readings=read(stops=30 * UM)),
    )
    return JobLog("cylinder head", "two-cylinder-head", entries)


def test_what_is_met_against_all_else_says_so_and_what_to_check(against_the_scale, replanned):
    """The leaves decide, and nobody is left with a face that is met at a chance of nearly nought."""
    found = make_replan(HEAD, against_the_scale, members=16, cells=250)
    flat = found.now.flat
    assert flat.answer == "met" and found.now.chance_goal < HARDLY and flat.contradicted
    assert "both cannot be right" in flat.reason and "at every station once more" in flat.reason
    assert (
        found.verdict.answer in ("goal met", "finish next")
        and "once they were tried again" in found.verdict.reasons[0]
    )
    told, wrote = (
        replan_report(found),
        record_report(make_record(HEAD, against_the_scale, members=16, cells=250)),
    )
    assert told.answer == "Stop and check once more: flat enough by the leaves alone"
    # This head is too rough for its gasket, which leads the record.
    assert told.tone == "doubt" and wrote.answer == "Record: a limit is not met"
    assert wrote.lead[0] == told.lead[0] and "both cannot be right" in told.lead[0]
    assert replan_json(found)["limits"][0]["contradicted"] is True
    smooth = replace(HEAD, part=replace(HEAD.part, gasket_ra=None))
    wrote = record_report(make_record(smooth, against_the_scale, members=16, cells=250))
    assert wrote.tone == "doubt" and "met as checked, but" in wrote.answer
    # Where all else agrees nothing of the kind is said.
    agreed = replanned
    assert agreed.now.chance_goal > HARDLY and not agreed.now.flat.contradicted
    assert "both cannot" not in " ".join(replan_report(agreed).lead)


def test_more_certainty_can_be_asked_for(nothing_goes):
    found = make_replan(HEAD, nothing_goes, members=16, cells=250, sure=0.99)
    short = found.now.chance_goal < 0.99
    assert short == (found.verdict.answer not in ("goal met", "finish next"))
    if short:
        assert any("met as checked, but you ask to be" in reason for reason in found.verdict.reasons)


def test_what_is_missing_is_said_and_nothing_is_met_by_it():
    entries = (Entry(1, 0, NOW, strokes=640, paper="P80", brushed=True, readings=read(skip=("C",))),)
    found = make_replan(HEAD, JobLog("cylinder head", "two-cylinder-head", entries), members=16, cells=250)
    assert found.now.flat.answer in ("cannot tell", "not met")
    assert found.now.flat.reason.startswith("not read: C (")


def test_the_allowance_has_three_figures(replanned):
    risks = replanned.risks
    now, soon, at_goal = risks.deep_now, risks.deep, risks.deep_at_goal
    assert now is not None and soon is not None and at_goal is not None
    assert 0.0 <= now <= soon <= 1.0 and now <= at_goal <= 1.0
    assert np.isfinite(at_goal)


def test_sheet_and_plan_say_the_goal_in_one_sentence(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    plan = make_plan(HEAD, members=8, seed=0)
    monkeypatch.setattr("handlap.sim.planning.plan.make_plan", lambda job, **how: plan)
    monkeypatch.setattr("handlap.cli.sheets.sheet_job_pdf.job_sheet_pdf", lambda *sheet: (b"%PDF-", 2))
    said = "done when the 50 µm leaf goes in at no station of any line"
    text = CliRunner().invoke(main, ["plan", "two-cylinder-head", "--members", "8"]).output
    assert said in " ".join(text.split())
    sheet = CliRunner().invoke(main, ["job-sheet", "two-cylinder-head", "--members", "8"]).output
    assert said[1:] in " ".join(sheet.split())

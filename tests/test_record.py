"""The record of a part: limits, metal off, sheets and time, what the cut does, page and PDF."""

from __future__ import annotations

import functools
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bench_truth import NOW, make_truth, write_log
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.reports.blocks import Bullets, Facts, Report, Section, Table, Words
from handlap.cli.reports.record_report import record_json, record_pictures, record_report
from handlap.cli.reports.report_pdf import report_pdf
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.log_file import append
from handlap.sim.bench.record import agreement, make_record
from handlap.sim.bench.standing import effects_around, judge_limits, readings_after
from handlap.sim.common.errors import InputError
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.face.survey import survey_face
from handlap.sim.job.results import Band
from handlap.sim.job.scenario_file import load, read_text
from handlap.sim.job.surroundings import Surroundings

UM = 1e-6
AROUND = Surroundings(
    thickness=85e-3, thickness_least=84e-3, swept=300e-6, clearance=35e-6, chamber_area=4e-3, squish=1e-3
)


def block(number: int, strokes: int = 75, **more) -> Entry:
    return Entry(number, 0, NOW, strokes=strokes, paper="P80", brushed=True, **more)


@functools.cache
def recorded():
    """The record of a small job with a known face; what it was worked from."""
    scenario = load("two-cylinder-head")
    faces = infer_faces(scenario.part, scenario.readings, count=16, seed=5)
    truth = make_truth(scenario, lambda p: np.asarray(faces.heights_at(p))[3], seed=1, cells=250)
    log = write_log(truth, [block(1, minutes=2.0), block(2, new_sheet=True), block(3)], {0, 2})
    job = replace(truth.scenario, part=replace(truth.scenario.part, after=AROUND))
    return truth, log, make_record(job, log, members=24, cells=250)


def test_depth_by_weighing_and_by_model_hold_the_truth():
    truth, log, found = recorded()
    states = truth.carried(list(log.standing), seed=7001)
    n = truth.rig.grid.n_cells
    area = truth.rig.grid.area[:n]
    true = float((states[0] - states[-1])[:n] @ area / area.sum())
    (swarf,) = found.weighed
    assert swarf.way == "swarf"
    assert swarf.strokes == (0, 225)
    assert swarf.depth.p05 <= true <= swarf.depth.p95
    assert swarf.agreement == "agree"
    assert found.now.mean_depth.p05 - 1 * UM < true < found.now.mean_depth.p95 + 1 * UM


def test_the_model_that_is_compared_knows_no_weighing():
    """A weighing that is quite wrong must not pull the model with it: the two then disagree."""
    truth, log, _ = recorded()
    heavy = tuple(e if e.swarf is None else replace(e, swarf=6.0 * e.swarf) for e in log.entries)
    found = make_record(truth.scenario, JobLog(log.part, log.name, heavy), members=24, cells=250)
    honest = recorded()[2]
    assert found.weighed[0].model == honest.weighed[0].model
    assert found.weighed[0].agreement == "disagree"
    assert "DISAGREE" in render(record_report(found), Screen())


@pytest.mark.parametrize(
    ("depth", "model", "says"),
    [
        (Band(9, 10, 11), Band(9, 10, 11), "agree"),
        (Band(9, 10, 11), Band(14, 15, 16), "disagree"),
        (Band(9, 10, 11), Band(1, 15, 60), "cannot tell"),
        (Band(9, 10, 11), Band(0, 0, 0), "cannot tell"),
    ],
)
def test_agreement(depth, model, says):
    assert agreement(depth, model) == says


def test_papers_sheets_brushings_and_minutes():
    found = recorded()[2]
    (paper,) = found.work.papers
    assert (paper.paper, paper.strokes, paper.sheets, paper.brushings) == ("P80", 225, 2, 3)
    assert not found.work.all_logged
    pace = found.scenario.hands.strokes_per_minute.value
    assert found.work.minutes == pytest.approx(2.0 + 150 / pace)


def test_what_the_first_readings_cannot_tell_the_record_does_not(monkeypatch):
    """Chains that did not settle before the work: no depth by the log may meet or break a limit."""
    truth, log, sure = recorded()

    def doubtful(*args, **options):
        return replace(infer_faces(*args, **options), converged=False)

    def surveyed(*args, **options):
        found = survey_face(*args, **options)
        return replace(found, ensemble=replace(found.ensemble, converged=False))

    monkeypatch.setattr("handlap.sim.bench.standing.infer_faces", doubtful)
    monkeypatch.setattr("handlap.sim.bench.record.survey_face", surveyed)
    found = make_record(truth.scenario, log, members=24, cells=250)
    held = {limit.name: limit.answer for limit in found.now.limits}
    assert held["removal allowance"] == "cannot tell"
    assert {limit.name: limit.answer for limit in sure.now.limits}["removal allowance"] == "met"
    assert any(note.startswith("the readings before the work:") for note in found.notes)
    assert record_report(found).answer != "Record: the limits are met"


def test_readings_count_as_after_only_if_no_stroke_followed():
    """… and weighings of the part are compared over their own strokes."""
    truth, log, found = recorded()
    assert found.now.after is not None
    assert readings_after(log.standing) == log.standing[-1].readings
    entries = (
        Entry(1, 0, NOW, part_mass=3.4, scale=1e-5),
        *(replace(e, number=e.number + 1) for e in log.entries[:2]),
        replace(log.entries[2], number=4, part_mass=3.4 - 0.7e-3, scale=1e-5),
        block(5),
    )
    longer = JobLog(log.part, log.name, entries)
    assert readings_after(longer.standing) == ()
    stale = make_record(truth.scenario, longer, members=16, cells=250)
    assert stale.now.after is None
    flat = stale.now.limits[0]
    assert (flat.name, flat.answer) == ("flatness", "cannot tell")
    assert "nothing was read after the last stroke" in flat.reason
    assert {w.way: w.strokes for w in stale.weighed} == {"part": (0, 225), "swarf": (0, 225)}


def test_limits_are_met_or_not_or_cannot_be_told():
    truth, _, found = recorded()
    limits = {x.name: x.answer for x in found.now.limits}
    assert limits["removal allowance"] == "met"
    assert limits["thickness"] == "met"
    assert limits["finish for the gasket"] == "not met", "P80 is too coarse for a gasket"
    part = replace(truth.scenario.part, allowance=10 * UM, gasket_ra=(1 * UM, 9 * UM))
    deep = np.full(24, 60 * UM)

    def judged(chance: float, after=None, learnt=found.learnt):
        return {
            x.name: x.answer
            for x in judge_limits(part, after, None, learnt, chance, deep, found.now.finish, ())
        }

    assert judged(0.99) == {
        "flatness": "cannot tell", "removal allowance": "not met", "finish for the gasket": "met"
    }  # fmt: skip
    assert judged(0.99, replace(found.now.after, verdict=verdict("cannot tell")))["flatness"] == "met"
    assert judged(0.5, replace(found.now.after, verdict=verdict("yes")))["flatness"] == "met"
    assert judged(0.01, replace(found.now.after, verdict=verdict("yes")))["flatness"] == "cannot tell", (
        "they disagree"
    )
    finish = {
        x.name: x.reason for x in judge_limits(part, None, None, found.learnt, 0.5, deep, (0.1 * UM,) * 2, ())
    }
    assert "too smooth" in finish["finish for the gasket"]
    assert "too rough" in found.now.limits[2].reason
    lost = replace(found.learnt, believed=False)
    assert judged(0.99, None, lost)["removal allowance"] == "cannot tell"


def verdict(answer: str):
    return replace(recorded()[2].now.after.verdict, answer=answer)


def test_what_the_cut_does_follows_the_depths():
    found = recorded()[2]
    effects = {e.name: e for e in found.now.effects}
    assert 85e-3 - effects["thickness"].after.p50 == pytest.approx(found.now.greatest_depth.p50)
    left = effects["volume over the piston"]
    assert left.before - left.after.p50 == pytest.approx(4e-3 * found.now.mean_depth.p50)
    assert effects["compression ratio"].after.p50 > effects["compression ratio"].before


def test_a_cut_deeper_than_the_chamber_is_refused_in_words():
    part = replace(load("two-cylinder-head").part, after=replace(AROUND, clearance=1e-12))
    with pytest.raises(InputError, match="deeper than the chamber"):
        effects_around(part, Band(1 * UM, 2 * UM, 3 * UM), Band(4 * UM, 5 * UM, 6 * UM))


def test_report_and_json_say_the_same_and_fit():
    found = recorded()[2]
    report = record_report(found)
    for width in (40, 80):
        text = render(report, Screen(width))
        assert max(map(len, text.splitlines())) <= width
    assert "What the cut does" in text
    assert "Take care" in text
    as_json = json.loads(json.dumps(record_json(found), allow_nan=False))
    assert as_json["schema"] == "handlap.record/1"
    assert [x["answer"] for x in as_json["limits"]] == [x.answer for x in found.now.limits]
    squish = next(e for e in as_json["effects"] if e["name"] == "squish clearance")
    assert squish["unit"] == "mm"
    assert squish["before"] == 1.0


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b[^s]", pdf))


def test_the_pdf_is_whole_vector_and_the_same_every_time():
    report = record_report(recorded()[2])
    pdf, pages = report_pdf(report)
    assert pdf.startswith(b"%PDF-")
    assert pages_of(pdf) == pages
    assert b"/Subtype /Image" not in pdf
    assert report_pdf(report)[0] == pdf
    assert b"612" in report_pdf(report, "Letter")[0]


def test_what_was_not_logged_is_not_noted_and_never_nought():
    found = recorded()[2]
    used = tuple(replace(p, brushings=0) for p in found.work.papers)
    bare = replace(found, work=replace(found.work, papers=used), weighed=())
    text = render(record_report(bare), Screen(100))
    for name in ("Part number", "Straightedge", "Temperature", "Worked by", "Weighing"):
        assert re.search(rf"{name}\s+not noted", text), name
    assert "Signed ____" in text
    assert re.search(rf"{used[0].paper}\s+{used[0].strokes}\s+\d+\s+not noted", text)
    assert all(p["brushings"] is None for p in record_json(bare)["papers"])


def test_the_maps_before_and_after_are_on_the_printed_record_too():
    found = recorded()[2]
    report = record_report(found)
    pdf, pages = report_pdf(report, "Letter", record_pictures(found))
    assert pdf.count(b"/Subtype /Image") >= 1
    assert pages_of(pdf) == pages


def test_long_reports_go_on_to_further_pages():
    many = tuple((f"row {i}", "x" * 30, "words " * 30) for i in range(60))
    blocks = (
        Words("some words " * 50),
        Bullets(("a point",) * 40),
        Facts((("name", "fact " * 60),) * 10),
        Table(("a", "b\nc", "d"), many, (0, 2), wraps=2),
    )
    report = Report("record", "Long", "plain", "subject", ("lead",), (Section("All", blocks),))
    pdf, pages = report_pdf(report)
    assert pages > 3
    assert pages_of(pdf) == pages


def test_the_command_writes_page_and_pdf(tmp_path: Path, unrendered):
    path = tmp_path / "head.toml"
    path.write_text(read_text("two-cylinder-head"), encoding="utf-8")
    job = load(path)
    run = CliRunner()
    empty = run.invoke(main, ["record", str(path)])
    assert empty.exit_code == 2
    assert "nothing to record" in empty.stderr
    for entry in recorded()[1].entries:
        append(job, replace(entry, at=0))
    out = tmp_path / "out"
    done = run.invoke(main, ["record", str(path), "--members", "16", "--out", str(out), "--json"])
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["strokes"] == 225
    assert {f.name for f in out.iterdir()} == {
        f"head-record{rest}" for rest in (".html", ".pdf", "-warp.png")
    }

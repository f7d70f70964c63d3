"""``handlap bench-page``: what the page goes by, from plan or log; what it may do."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bench_page_cases import empty_log, job_file, page_plan
from cli_examples import synthetic_plan
from click.testing import CliRunner
from hard.tried_commands import lay_out

from handlap.cli.main import main
from handlap.cli.reports.script_page import digest_of
from handlap.cli.sheets.sheet_bench_page import RULE_NAMES, bench_page_data, render_bench_page
from handlap.cli.sheets.sheet_job import job_sheet_of
from handlap.sim.bench.bench_blocks import paper_stages, stop_marks
from handlap.sim.bench.page_plan import page_of_plan
from handlap.sim.bench.stop_rules import REREAD
from handlap.sim.face.stations import lines_of
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load

INCH = """
title = "An inch"
invented = true
units = "inch"
[part]
name = "cover"
length = 6
width = 3
metal = "6061"
mass = 2
limit = 2
allowance = 12
[plate]
length = 18
width = 12
[paper]
grits = ["P120"]
[wear]
rate = 0.1
[hands]
height = 0.6
[readings]
leaves = [1.5, 2, 3]
[[readings.line]]
name = "long"
from = [-3, 1]
to = [3, 1]
stations = [[0.5, "none", 1.5], [3, 2, 3]]
"""
LARGEST = 1_000_000
"""Bytes of a page."""


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Scenario:
    monkeypatch.chdir(tmp_path)
    return job_file(tmp_path)


@pytest.fixture
def planned(job, monkeypatch):
    """Answer every call of make_plan with a made-up plan."""
    plan = synthetic_plan(job)
    monkeypatch.setattr("handlap.sim.planning.plan.make_plan", lambda *args, **options: plan)
    return plan


def run(*args: str):
    return CliRunner().invoke(main, list(args))


def test_one_file_that_fetches_nothing(job):
    page = render_bench_page(page_plan(job), "mm")
    assert len(page.encode("utf-8")) < LARGEST
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy
    style, script = (
        re.search(r"<style>(.*?)</style>", page, re.S),
        re.findall(r"<script>(.*?)</script>", page, re.S),
    )
    assert style and len(script) == 1
    assert policy[1] == (
        f"default-src 'none'; script-src '{digest_of(script[0])}'; style-src '{digest_of(style[1])}'; "
        "base-uri 'none'; form-action 'none'"
    )
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", page)
    assert not re.search(r'\s(?:src|href|style|on\w+)="', page)
    assert page == render_bench_page(page_plan(job), "mm")


def test_it_goes_by_the_blocks_of_the_job_sheet(job):
    plan = synthetic_plan(job)
    data = bench_page_data(page_of_plan(plan, empty_log(job)), "mm")
    for stage, own in zip(data["stages"], paper_stages(plan), strict=True):
        assert (stage["paper"], stage["strokes"]) == (own.plan.paper, own.plan.strokes)
        assert [look["at"] for look in stage["looks"]] == [block.last for block in own.blocks]
        for look, block in zip(stage["looks"], own.blocks, strict=True):
            mass = block.check.mass
            assert look["grams"] == pytest.approx([1e3 * mass.p05, 1e3 * mass.p50, 1e3 * mass.p95], rel=1e-3)
            gone = 1.0 - block.check.dye_left.p50
            assert look["gone"][1] == pytest.approx(gone, abs=1e-3)
            assert look["gone"] == sorted(look["gone"])
            assert look["leaf_um"] == sorted(look["leaf_um"])
            assert len(look["zones"]) == 15


def test_thresholds_and_words_are_those_of_the_job_sheet(job):
    plan = synthetic_plan(job)
    data = bench_page_data(page_of_plan(plan, empty_log(job)), "mm")
    marks, rules = stop_marks(plan), data["rules"]
    assert rules["limit_um"] == pytest.approx(1e6 * job.part.limit)
    assert rules["allowance_strokes"] == marks.allowance_strokes
    assert rules["allowance_g"] == pytest.approx(1e3 * (marks.allowance_mass or 0.0))
    assert rules["reread_um"] == pytest.approx(1e6 * REREAD)
    words = dict(job_sheet_of(plan, lines_of(job), "mm").stop)
    assert data["says"]["goal"][1] == words["Goal met"]
    assert data["says"]["worse stations"][1] == words["Getting worse"]
    # The job sheet also says where the deepest spot most likely lies.
    own = re.sub(r", most likely at .*\), is then", " is then", words["Allowance near"])
    assert data["says"]["allowance grams"][1] == own
    assert set(data["says"]) == set(RULE_NAMES)


def test_the_script_holds_no_threshold(job):
    """Whoever moves a rule moves it in one place."""
    text = (Path(__file__).parents[1] / "cli/sheets/bench_page_rules.js").read_text(encoding="utf-8")
    assert {float(x) for x in re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.])", re.sub(r"//.*", "", text))} <= {
        0.0, 1.0, 2.0, 8.0, 16.0,
    }  # fmt: skip


def test_the_same_job_in_inches(tmp_path):
    from handlap.sim.job.scenario_file import file_frame

    path = tmp_path / "inch.toml"
    path.write_text(INCH, encoding="utf-8")
    job = load(path)
    assert file_frame(path.read_text("utf-8"))[0] == "inch"
    data = bench_page_data(page_plan(job), "inch")
    assert [leaf["name"] for leaf in data["leaves"]] == ["1.5", "2", "3"]
    assert [leaf["um"] for leaf in data["leaves"]] == pytest.approx([38.1, 50.8, 76.2])
    assert (data["leaf_unit"], data["length_unit"]) == ("thou", "in")
    said = [word for stage in data["stages"] for look in stage["looks"] for word in look["leaf"]]
    assert all(word.endswith(" thou") or word == "none" for word in said)


def test_the_command_and_what_it_says(job, planned):
    found = run("bench-page", "head.toml")
    assert found.exit_code == 0, found.output
    page = Path("head-bench-page.html").read_text(encoding="utf-8")
    assert page.endswith("</html>\n")
    assert "head.toml --from FILE" in " ".join(found.output.split())
    told = json.loads(run("bench-page", "head.toml", "--json", "--out", "other.html").stdout)
    assert told["schema"] == "handlap.bench-page/1"
    assert told["page"]["head"]["scenario"] == "head.toml"
    assert Path("other.html").read_text(encoding="utf-8") == page


def test_beside_the_job_sheet_it_is_the_same_page(job, planned):
    assert run("bench-page", "head.toml", "--out", "own").exit_code == 0
    found = run("job-sheet", "head.toml", "--page")
    assert found.exit_code == 0, found.output
    assert Path("head-bench-page.html").read_bytes() == Path("own.html").read_bytes()
    run("log", "head.toml", "--strokes", "10", "--paper", "P120")
    found = run("job-sheet", "head.toml", "--page")
    assert found.exit_code == 2
    assert "handlap bench-page head.toml" in found.stderr


def test_where_nothing_is_to_be_done_the_page_says_so(job):
    plan = synthetic_plan(job, answer="leave")
    data = bench_page_data(page_of_plan(plan, empty_log(job)), "mm")
    assert data["stages"] == []
    assert data["advice"] == "leave"
    assert data["reasons"]


def test_other_plans_other_logs_other_pages(job):
    """What is kept on a phone is kept by page: another plan begins anew, the same one goes on."""
    plan = page_plan(job)
    mark = bench_page_data(plan, "mm")["head"]["page"]
    assert bench_page_data(page_plan(job), "mm")["head"]["page"] == mark
    assert bench_page_data(page_plan(job, worse_strokes=1), "mm")["head"]["page"] != mark
    run("log", "head.toml", "--note", "begun")
    from handlap.sim.bench.log_file import read_log

    assert bench_page_data(replace(plan, log=read_log(job)), "mm")["head"]["page"] != mark


@pytest.mark.slow
def test_after_strokes_it_goes_on_from_the_log(tmp_path, monkeypatch):
    """As ``replan`` has it: its looks, its rhythm, metal off counted from the start of the job."""
    from handlap.sim.bench.log_file import read_log
    from handlap.sim.bench.page_plan import page_of_replan
    from handlap.sim.bench.replan import make_replan

    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    found = run("bench-page", "job.toml", "--members", "16", "--json")
    assert found.exit_code in (0, 3), found.output
    told = json.loads(found.stdout)["page"]
    job = load("job.toml")
    again = make_replan(job, read_log(job), members=16)
    plan = page_of_replan(again)
    assert told == json.loads(json.dumps(bench_page_data(plan, "mm")))
    assert told["strokes"] == 40
    stage = plan.stages[0]
    assert stage.on_sheet == 40
    assert [look.at + 40 for look in stage.looks] == [ahead.strokes for ahead in again.ahead]
    deep = [look.mass.p50 for look in stage.looks]
    assert deep == sorted(deep)
    area = job.part.metal.density * job.part.outline.area
    assert deep[0] == pytest.approx(area * again.rest.curve.mean_depth[-len(deep), 1])
    assert np.isfinite(deep).all()

"""``handlap plan``: what it prints and writes, on made-up plans and once on a real one."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from cli_examples import HEAD, NARROW, synthetic_plan, without_work
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.reports.as_json import dumps
from handlap.cli.reports.plan_report import plan_json, plan_report
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen
from handlap.sim.job.results import Band, OutOfFlat, PlanChances
from handlap.sim.job.scenario_file import builtin_names

BANDS = {
    "before": ("flatness_um", "straightedge_um"),
    "after": ("flatness_um", "straightedge_um"),
    "removed": ("greatest_um", "mean_um", "taper_along_um", "taper_across_um", "mass_g", "volume_mm3"),
    "effort": ("strokes", "minutes", "work_kj"),
}


def run(*args: str, **env: str):
    return CliRunner().invoke(main, ["plan", *args], env=env or None)


@pytest.fixture
def planned(monkeypatch):
    """Answer every call of make_plan with a made-up plan; returns what it was called with."""
    calls = []

    def answer_with(plan):
        def make(scenario, *, members, seed, progress, executor):
            assert executor is None
            progress(0.5, "lapping")
            calls.append((scenario.name, members, seed))
            return plan

        monkeypatch.setattr("handlap.sim.planning.plan.make_plan", make)
        return calls

    return answer_with


def test_without_a_scenario_it_says_what_there_is_and_how_to_start():
    result = run()
    assert result.exit_code == 0
    for name, title in builtin_names():
        assert name in result.stdout
        assert title in result.stdout
    assert "handlap plan two-cylinder-head" in result.stdout


def test_the_list_of_scenarios_as_json():
    listed = json.loads(run("--json").stdout)
    assert listed["schema"] == "handlap.scenarios/1"
    assert [row["name"] for row in listed["scenarios"]] == [name for name, _ in builtin_names()]


def test_json_is_one_object_and_nothing_else(planned):
    planned(synthetic_plan())
    result = run(HEAD, "--json")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["schema"] == "handlap.plan/2"
    assert "NaN" not in result.stdout


def test_json_carries_everything_asked_for():
    plan = synthetic_plan()
    found = json.loads(dumps(plan_json(plan)))
    assert found["scenario"] == HEAD
    assert found["verdict"]["answer"] == "lap"
    assert found["verdict"]["reasons"]
    for group, names in BANDS.items():
        for name in names:
            band = found[group][name]
            assert set(band) == {"p05", "p50", "p95"}, (group, name)
            assert band["p05"] <= band["p50"] <= band["p95"]
    for name in ("limit_um", "allowance_um", "face_area_mm2", "density_kg_m3"):
        assert isinstance(found[name], float), name
    assert found["limit_by"] in ("straightedge", "zone")
    assert found["effort"]["sheets"] == 4
    assert found["effort"]["brushings"] == 2
    assert 0.0 <= found["chance"]["goal"] <= 1.0
    assert 0.0 <= found["chance"]["allowance"] <= 1.0
    for stage in found["stages"]:
        assert {"paper", "strokes", "turn_every", "checks"} <= set(stage)
        for check in stage["checks"]:
            assert isinstance(check["strokes"], int)
            for name in ("flatness_um", "straightedge_um", "mass_g", "dye_left", "dye_faded", "dye_gone"):
                assert set(check[name]) == {"p05", "p50", "p95"}
            assert check["dye_gone"]["p05"] == pytest.approx(1.0 - check["dye_left"]["p95"])
    assert set(found["best_point"]) == {"strokes", "flatness_um", "chance_worse_after"}
    for row in found["assumed"]:
        assert {"key", "value", "spread", "basis"} <= set(row)
    assert any(row["spread"] is None for row in found["assumed"])
    rate = next(row for row in found["assumed"] if row["key"] == "wear.rate")
    assert rate["spread"]["p05"] < rate["value"] < rate["spread"]["p95"]


def test_json_is_in_the_units_it_names():
    plan = synthetic_plan()
    found = plan_json(plan)
    assert found["before"]["flatness_um"]["p50"] == pytest.approx(120.0)
    assert found["removed"]["mass_g"]["p50"] == pytest.approx(1e3 * plan.removed.mass.p50, rel=1e-6)
    assert found["removed"]["volume_mm3"]["p50"] == pytest.approx(1e9 * plan.removed.volume.p50, rel=1e-6)
    assert found["effort"]["work_kj"]["p50"] == pytest.approx(9.0)
    mean_mm, area, density = (
        found["removed"]["mean_um"]["p50"] / 1e3,
        found["face_area_mm2"],
        found["density_kg_m3"],
    )
    assert found["removed"]["mass_g"]["p50"] == pytest.approx(mean_mm * area * density * 1e-6, rel=1e-5)
    for mass, depth in zip(found["members_mass_g"], found["members_mean_depth_um"], strict=True):
        assert mass == pytest.approx(density * area * depth * 1e-9, rel=1e-5)


def test_absent_is_null():
    found = plan_json(without_work("machine shop"))
    assert found["best_point"] is None
    assert found["stages"] == []
    unstated = synthetic_plan(chance=PlanChances(0.91, None, 0.9, 0.0))
    assert plan_json(unstated)["chance"]["allowance"] is None
    assert plan_json(synthetic_plan())["stages"][1]["turn_every"] is None


@pytest.mark.parametrize(
    ("answer", "code"), [("leave", 0), ("lap", 0), ("cannot tell", 0), ("machine shop", 3)]
)
@pytest.mark.parametrize("flags", [(), ("--json",)])
def test_exit_code_follows_the_verdict(planned, answer, code, flags):
    planned(synthetic_plan(answer=answer))
    assert run(HEAD, *flags).exit_code == code


def test_members_and_seed_are_passed_on(planned):
    calls = planned(synthetic_plan())
    run(HEAD, "--members", "32", "--seed", "7")
    assert calls == [(HEAD, 32, 7)]


@pytest.mark.parametrize(
    "bad", [("--members", "7"), ("--members", "many"), ("--seed", "-1"), ("--seed", "1e3")]
)
def test_numbers_out_of_range_are_usage(planned, bad):
    calls = planned(synthetic_plan())
    result = run(HEAD, *bad)
    assert result.exit_code == 2
    assert bad[0] in result.stderr
    assert calls == []


def test_the_summary_answers_first_and_in_the_order_of_the_bench(planned):
    planned(synthetic_plan())
    out = run(HEAD).stdout
    assert out.startswith("LAP IT BY HAND\n")
    places = [
        out.index(f"\n{title} ")
        for title in (
            "The face",
            "At the bench",
            "Stop and look",
            "What comes of it",
            "Take care",
            "How sure",
        )
    ]
    assert places == sorted(places)
    assert "[invented data]" in out
    assert "wear.rate" in out
    assert "Aluminium dust burns" in out


def test_cannot_tell_says_what_to_find_out(planned):
    planned(synthetic_plan(answer="cannot tell"))
    out = run(HEAD).stdout
    assert out.startswith("CANNOT TELL YET")
    assert "Read again with thinner leaves." in out
    assert "If it is lapped all the same" in out


def test_a_face_left_alone_shows_no_work(planned):
    planned(without_work("leave"))
    out = run(HEAD).stdout
    assert "At the bench" not in out
    assert "Stop and look" not in out
    assert "What comes of it" not in out


@pytest.mark.parametrize("name", [HEAD, NARROW])
@pytest.mark.parametrize("width", [40, 60, 80])
def test_text_fits_its_width(name, width):
    text = render(plan_report(synthetic_plan(name), all_checks=True), Screen(width))
    assert max(len(line) for line in text.splitlines()) <= width
    assert "\N{NO-BREAK SPACE}" not in text


def test_text_follows_the_terminal(planned):
    planned(synthetic_plan())
    assert max(len(line) for line in run(HEAD, COLUMNS="40").stdout.splitlines()) <= 40


def test_checks_beyond_the_planned_strokes_stand_in_brackets():
    plan = synthetic_plan()
    text = render(plan_report(plan, all_checks=True), Screen(80))
    assert re.search(r"^ +480 +P", text, re.M)
    assert re.search(r"^ +\(560\) +P", text, re.M)


def test_a_chance_over_an_ensemble_is_never_certain():
    text = render(plan_report(synthetic_plan(chance=PlanChances(1.0, 0.98, 0.9, 0.0))), Screen(80))
    assert "to reach the goal over 95 %" in text
    assert "chance under 5 %" in text


def test_heights_end_at_a_hundredth_of_a_micron():
    before = OutOfFlat(Band(1e-12, 2e-12, 4e-12), synthetic_plan().before.straightedge)
    text = render(plan_report(synthetic_plan(before=before)), Screen(80))
    assert "flatness 0.00 µm, straightedge" in text


def test_missing_figures_are_said_to_be_missing():
    after = OutOfFlat(Band(*[float("nan")] * 3), synthetic_plan().after.straightedge)
    plan = synthetic_plan(best_point=None, after=after)
    text = render(plan_report(plan), Screen(80))
    assert "nan" not in text
    assert "not known" in text
    assert plan_json(plan)["after"]["flatness_um"]["p50"] is None


def test_files_go_where_they_were_sent(planned, tmp_path, unrendered):
    planned(synthetic_plan())
    out, file = tmp_path / "new" / "folder", tmp_path / "plan.json"
    result = run(HEAD, "--out", str(out), "--json-file", str(file))
    assert result.exit_code == 0
    assert sorted(path.name for path in out.iterdir()) == [
        f"{HEAD}-plan-course.png",
        f"{HEAD}-plan-depth.png",
        f"{HEAD}-plan-dye.png",
        f"{HEAD}-plan-warp.png",
        f"{HEAD}-plan.html",
    ]
    assert json.loads(file.read_text(encoding="utf-8"))["schema"] == "handlap.plan/2"
    assert result.stdout.startswith("LAP IT BY HAND")
    assert str(out) in result.stderr


def test_places_that_cannot_be_written_are_found_before_the_work(planned, tmp_path):
    calls = planned(synthetic_plan())
    taken = tmp_path / "file"
    taken.write_text("")
    for args in (
        ("--out", str(taken)),
        ("--out", str(taken / "below")),
        ("--json-file", str(tmp_path)),
        ("--json-file", str(tmp_path / "none" / "plan.json")),
    ):
        result = run(HEAD, *args)
        assert result.exit_code == 2, args
        assert "cannot write" in result.stderr
    assert calls == []


def test_a_full_disk_is_our_error_and_said_so(planned):
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    planned(synthetic_plan())
    result = run(HEAD, "--json-file", "/dev/full")
    assert result.exit_code == 1
    assert "the disk is full" in result.stderr


def test_progress_is_silent_where_nobody_looks(planned):
    planned(synthetic_plan())
    assert run(HEAD, "--json").stderr == ""


def test_the_table_of_checks_fits_eighty_columns_with_wide_bands():
    plan = synthetic_plan()
    wide = replace(
        plan.stages[0].checks[0],
        strokes=11200,
        straightedge=Band(100e-6, 200e-6, 1000e-6),
        flatness=Band(100e-6, 200e-6, 1000e-6),
        mass=Band(0.24e-3, 0.46e-3, 0.58e-3),
        dye_left=Band(0.68, 0.9, 1.0),
    )
    stages = (replace(plan.stages[0], checks=(wide,)),)
    lines = render(plan_report(replace(plan, stages=stages)), Screen(80)).splitlines()
    assert any("200 (100–1000)" in line and "0.46 (0.24–0.58)" in line for line in lines)

"""``handlap simulate``: the same figures on the screen, in the JSON and in the table of heights."""

from __future__ import annotations

import csv
import io
import json

import pytest
from cli_examples import HEAD, synthetic_lap
from click.testing import CliRunner

from handlap.cli.commands.simulate_command import heights_csv
from handlap.cli.main import main
from handlap.cli.reports.as_json import dumps
from handlap.cli.reports.lap_report import lap_json, lap_report
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen
from handlap.sim.job.scenario_file import load

FORMULA = "formula-check"


def run(*args: str):
    return CliRunner().invoke(main, ["simulate", *args])


def test_a_flat_face_against_preston(tmp_path):
    """depth[µm] = k[mm³/(N·m)] · pressure[kPa] · sliding[m], exactly (Preston 1927)."""
    file, heights = tmp_path / "lap.json", tmp_path / "heights.csv"
    result = run(FORMULA, "--strokes", "100", "--json-file", str(file), "--heights", str(heights))
    assert result.exit_code == 0
    found = json.loads(file.read_text(encoding="utf-8"))
    assert found["schema"] == "handlap.simulate/1"
    rows = list(csv.DictReader(io.StringIO(heights.read_text(encoding="utf-8"))))
    assert list(rows[0]) == ["u_mm", "v_mm", "before_um", "after_um"]
    off = [float(row["before_um"]) - float(row["after_um"]) for row in rows]
    mean = found["removed"]["mean_um"]["p50"]
    assert min(off) == pytest.approx(mean, abs=2e-3)
    assert max(off) == pytest.approx(mean, abs=2e-3)
    rate = 1e9 * load(FORMULA).wear.rate.value
    expected = rate * found["effort"]["load_sliding_nm"] / (1e-6 * found["face_area_mm2"]) * 1e-3
    assert mean == pytest.approx(expected, rel=1e-6)


def test_same_input_same_bytes():
    first, again = (run(FORMULA, "--strokes", "50", "--json").stdout for _ in range(2))
    assert first == again
    assert json.loads(first)["effort"]["strokes"]["p50"] == 50


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--strokes", "0"), "--strokes"),
        (("--strokes", "-3"), "--strokes"),
        (("--strokes", "ten"), "--strokes"),
        (("--strokes", "10", "--paper", "P7"), "P7"),
        (("--strokes", "10", "--heights", "/no/such/folder/h.csv"), "does not exist"),
    ],
)
def test_wrong_input_is_refused_in_words(args, words):
    result = run(HEAD, *args)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert words in result.stderr


def test_shape_of_the_json_is_that_of_a_plan():
    found = json.loads(dumps(lap_json(synthetic_lap())))
    for group, name in (("before", "flatness_um"), ("after", "straightedge_um"), ("removed", "mass_g")):
        band = found[group][name]
        assert band["p05"] == band["p50"] == band["p95"]
    assert found["goal_met"] is True
    assert found["inside_allowance"] is True
    assert [check["strokes"] for check in found["checks"]] == [100, 200, 300, 400]


@pytest.mark.parametrize("width", [40, 80])
def test_text_fits_and_says_whether_the_goal_is_met(width):
    text = render(lap_report(synthetic_lap()), Screen(width))
    assert text.startswith("GOAL MET\n")
    assert max(len(line) for line in text.splitlines()) <= width


def test_heights_are_written_at_the_middle_of_each_cell():
    result = synthetic_lap()
    rows = list(csv.DictReader(io.StringIO(heights_csv(result))))
    assert len(rows) == result.grid.n_cells
    assert float(rows[5]["u_mm"]) == pytest.approx(1e3 * result.grid.u[5], abs=1e-6)
    assert float(rows[5]["after_um"]) == pytest.approx(1e6 * result.map_after[5], abs=1e-6)

"""What a class predicted and measured, against a lesson."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.sim.common.errors import ScenarioError
from handlap.sim.teaching.lesson_class import held_against, read_class
from handlap.sim.teaching.lesson_file import load_lesson
from handlap.sim.teaching.lesson_work import work_lesson

NAME = "grams-to-microns"


def written(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "class.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_predictions_are_counted_and_weighings_held_against_the_band(tmp_path: Path):
    lesson = load_lesson(NAME)
    file = written(tmp_path, "name,prediction,cover.mass\nAnn,b,0.5\nBob,A,9.0\nCy,?,\n\n")
    table = read_class(file, lesson)
    assert table.predictions == (1, 0, None)
    assert table.measured == {"cover.mass": (0.5, 9.0)}
    result = work_lesson(lesson, members=8)
    (held,) = held_against(table, result)
    mass = result.cases[0].figures["mass"]
    assert held.band.p05 >= 1e3 * mass.min() and held.band.p95 <= 1e3 * mass.max()
    assert held.inside == 1
    semicolons = written(tmp_path, "name;step\nAnn;0,12\n")
    (step,) = held_against(read_class(semicolons, lesson), result)
    assert step.values == (0.12,) and step.band.p50 == pytest.approx(1e3 * result.steps[0].expected.p50)


def test_a_page_for_the_wall(tmp_path: Path):
    file = written(tmp_path, "name,prediction,step\nAnn,b,0.1\nBob,c,0.2\n")
    out = tmp_path / "out"
    done = CliRunner().invoke(
        main, ["lesson", NAME, "--class", str(file), "--members", "8", "--out", str(out)]
    )
    assert done.exit_code == 0, done.output
    assert "1 of 2 predicted what holds" in " ".join(done.stdout.split())
    page = (out / f"{NAME}-class.html").read_text(encoding="utf-8")
    assert page.count("data:image/png") == 2 and "Ann" not in page


@pytest.mark.parametrize(
    "text, told",
    [
        ("name,prediction\nAnn,z\n", "line 2, prediction"),
        ("name,step\nAnn,much\n", "a plain number"),
        ("name,lid.mass\nAnn,1\n", "cases here are cover, iron"),
        ("name\nAnn\n", "each head once"),
        ("name,step\n", "1 to 200 lines"),
        ("", "1 to 200 lines"),
    ],
)
def test_faults_of_a_table_are_told_by_their_lines(tmp_path: Path, text: str, told: str):
    with pytest.raises(ScenarioError) as refused:
        read_class(written(tmp_path, text), load_lesson(NAME))
    assert told in str(refused.value)

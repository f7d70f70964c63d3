"""A course of lessons: its file, its plan, and on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from handlap.cli.main import main
from handlap.cli.sheets.sheet_lesson_pdf import course_handout
from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.given_file import builtin_paths
from handlap.sim.teaching.lesson_course import COURSES, load_course, tools_of
from handlap.sim.teaching.lesson_work import work_lesson

COURSE = """
title = "An hour"
minutes = 60
people = 4
plates = 1
safety = ["Burrs cut"]
exit = "thirds"
[[part]]
lesson = "straightedge-rocks"
minutes = 20
do = "All read it."
[[part]]
lesson = "one-worst-number"
minutes = 30
do = "All write."
"""
PACE = 60.0
"""Strokes a minute that a class keeps up: common practice."""


@pytest.mark.parametrize("name", builtin_paths(COURSES))
def test_a_built_in_course_has_time_left_and_says_safety(name: str):
    course = load_course(name)
    assert course.spare >= 5 and course.safety
    assert course.exit not in [part.lesson for part in course.parts]
    for part in course.parts:
        assert tools_of(part.lesson) and part.do


@pytest.mark.slow
@pytest.mark.parametrize("name", builtin_paths(COURSES))
def test_the_strokes_of_every_lesson_at_the_plate_fit_into_its_minutes(name: str):
    for part in load_course(name).parts:
        if part.plate:
            result = work_lesson(part.lesson)
            strokes = max(sized.strokes or 0 for sized in result.steps)
            assert min(2, len(part.lesson.cases)) * strokes / PACE <= part.minutes, part.lesson.name


def test_a_course_of_ones_own_on_paper(tmp_path: Path):
    file = tmp_path / "hour.toml"
    file.write_text(COURSE, encoding="utf-8")
    course = load_course(file)
    assert (course.minutes, course.spare, len(course.lessons)) == (60, 10, 3)
    made = course_handout(course, [work_lesson(one, members=4) for one in course.lessons])
    # The plan, a page a lesson, and the question on the way out; answers are short.
    assert made.questions == 4 and made.pages - made.questions <= 3
    done = CliRunner().invoke(main, ["lesson", "--course", str(file)])
    assert done.exit_code == 0
    assert "4 people, one plate" in done.stdout and done.stdout.count("Burrs cut") == 1
    assert CliRunner().invoke(main, ["lesson", "thirds", "--course", str(file)]).exit_code == 2
    printed = CliRunner().invoke(main, ["lesson", "--course", str(file), "--print", str(tmp_path / "a.txt")])
    assert printed.exit_code == 2 and not (tmp_path / "a.txt").exists()


@pytest.mark.parametrize(
    "old, new, told",
    [
        ("minutes = 60", "minutes = 40", "at least the 50 that its parts take"),
        ("people = 4", "people = 0", "people = 0"),
        ('safety = ["Burrs cut"]', "", "safety: missing"),
        ('exit = "thirds"', 'exit = "nowhere"', "nowhere: no such file"),
        ('lesson = "one-worst-number"', 'lesson = "two"', "two: no such file"),
        ("plates = 1", "plate = 1", "plate: no such key"),
    ],
)
def test_faults_of_a_course_are_told(tmp_path: Path, old: str, new: str, told: str):
    file = tmp_path / "hour.toml"
    file.write_text(COURSE.replace(old, new), encoding="utf-8")
    with pytest.raises(ScenarioError) as refused:
        load_course(file)
    assert told in str(refused.value)

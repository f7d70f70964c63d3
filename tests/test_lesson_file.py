"""Reading lessons: an instructor's file, its faults all at once, its placeholders."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handlap.sim.common.errors import ScenarioError
from handlap.sim.common.outline import Outline
from handlap.sim.comparing.causes import OFF
from handlap.sim.job.results import Band
from handlap.sim.teaching.bench_tools import TOOLS
from handlap.sim.teaching.lesson import StartFace
from handlap.sim.teaching.lesson_face import start_faces
from handlap.sim.teaching.lesson_figures import FIGURES, SCREEN, band_of, show_figure, unit_of_pair
from handlap.sim.teaching.lesson_file import (
    case_scenario,
    lesson_names,
    lesson_of,
    lesson_of_document,
    lesson_path,
    lesson_start,
    load_lesson,
    merged,
)
from handlap.sim.teaching.lesson_key_words import describe_lesson_keys
from handlap.sim.teaching.lesson_keys import CASE_KEYS, CHOICE_KEYS, LESSON_KEYS, QUESTION_KEYS
from handlap.sim.teaching.lesson_reason_keys import CAUSE_KEYS, EXPECTS, FACE_KEYS, STEP_KEYS
from handlap.sim.teaching.lesson_texts import fill, loose_figures
from handlap.sim.teaching.lesson_work import work_lesson

UM = 1e-6

LESSON = """
title = "Light and heavy"
story = "Two blocks, {light.flatness_start} from flat."
ask = "Which loses more?"
intends = 2
because = "The heavy hand took {heavy.mean_depth}, {heavy.mean_depth / light.mean_depth} the light one's."
bench = "Weigh them."
strokes = 40
looks = 2
cells = 200

[scenario]
invented = true
[scenario.part]
length = 100
width = 60
metal = "A356"
mass = 0.5
limit = 20
[scenario.paper]
grits = ["P120"]
wet = true

[face]
along = -20
uneven = 2

[[case]]
name = "light"
words = "a light hand"
change = {hands = {press = "light"}}

[[case]]
name = "heavy"
words = "a heavy hand"
change = {hands = {press = "heavy"}}

[question]
asks = "which"
figure = "mean_depth"
take = "most"
margin = 0.05

[[choice]]
words = "the light one"
case = "light"

[[choice]]
words = "the heavy one"
case = "heavy"
"""


def changed(*pairs: tuple[str, str]) -> str:
    """The lesson with texts replaced, each of which has to be there."""
    text = LESSON
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def number_lesson(*ranges: str) -> str:
    """The lesson as one that asks for a number, with these ranges."""
    head = LESSON.split("[question]")[0].replace("intends = 2", "intends = 1")
    question = '[question]\nasks = "number"\nfigure = "mean_depth"\n'
    choices = "".join(f'[[choice]]\nwords = "{i} or so"\nbetween = {r}\n' for i, r in enumerate(ranges))
    return head + question + choices


def faults_of(text: str) -> str:
    """What is said of a faulty lesson."""
    with pytest.raises(ScenarioError) as refused:
        lesson_of(text, "mine", file="mine.toml")
    return str(refused.value)


def test_an_instructors_file_is_worked_from_its_path(tmp_path: Path):
    path = tmp_path / "light-and-heavy.toml"
    path.write_text(LESSON, encoding="utf-8")
    result = work_lesson(load_lesson(path), members=8)
    assert result.as_intended
    assert result.lesson.name == "light-and-heavy"
    light, heavy = (c.figures["mean_depth"] for c in result.cases)
    ratio = show_figure("ratio", Band.of(heavy / light))
    assert (
        result.because
        == f"The heavy hand took {show_figure('mean_depth', Band.of(heavy))}, {ratio} the light one's."
    )
    assert result.story.startswith("Two blocks, 2")
    assert result.cases[0].course is not None and result.cases[0].course.shape == (8, 3)
    assert result.cases[0].strokes.tolist() == [0, 20, 40]


def test_what_the_file_says_in_screen_units_is_si_inside():
    lesson = lesson_of(LESSON, "mine")
    assert lesson.face == StartFace(along=-20e-6, uneven=2e-6)
    assert lesson.question.margin == pytest.approx(0.05 * UM)
    assert lesson.intends == 1
    assert lesson.order == 1000 and lesson.members is None and lesson.pictures == ("curve",)
    ranged = lesson_of(number_lesson("[0, 3]", "[3, 40]", "[40, inf]"), "mine")
    ranges = np.array([c.between for c in ranged.choices])
    np.testing.assert_allclose(ranges, [[0.0, 3 * UM], [3 * UM, 40 * UM], [40 * UM, np.inf]])


def test_a_change_is_laid_over_the_job_and_leaves_the_rest():
    lesson = lesson_of(LESSON, "mine")
    light, heavy = (case_scenario(lesson, case) for case in lesson.cases)
    assert (light.hands.press.value, heavy.hands.press.value) == (20.0, 80.0)
    assert light.hands.height == heavy.hands.height
    assert merged({"a": {"b": 1, "c": [1]}}, {"a": {"c": [2]}, "d": 3}) == {"a": {"b": 1, "c": [2]}, "d": 3}


def test_a_job_may_be_a_built_in_scenario_with_its_own_readings():
    text = (
        LESSON.split("[scenario]")[0]
        + 'scenario = "valve-chest-cover"\n'
        + "[[case]]"
        + LESSON.split("[[case]]", 1)[1]
    )
    result = work_lesson(lesson_of(text, "mine"), members=2)
    # Crowned by 95 µm along and 40 µm across behind its readings.
    assert 60 * UM < np.median(result.cases[0].figures["flatness_start"]) < 200 * UM
    assert result.cases[0].grid.n_cells > 100


def test_a_job_by_name_finds_the_tables_beside_it():
    text = (
        LESSON.split("[scenario]")[0]
        + 'scenario = "formula-check"\n'
        + "[[case]]"
        + LESSON.split("[[case]]", 1)[1]
    )
    result = work_lesson(lesson_of(text.replace("looks = 2", "looks = 1"), "mine"), members=2)
    # Between the points of an exact table faces may differ by a few nanometres.
    assert result.cases[0].figures["flatness_start"] == pytest.approx(0.0, abs=1e-8)


FAULTS = {
    "no title": (('title = "Light and heavy"', ""), "mine.toml: title: missing: a text"),
    "unknown key": (("looks = 2", "look = 2"), 'look: no such key; the nearest is "looks"'),
    "unknown key of a case": (('words = "a light hand"', 'word = "x"'), "case[1].word: no such key"),
    "unknown key of a face": (("uneven = 2", "wavy = 2"), "face.wavy: no such key"),
    "unknown key of the question": (
        ("margin = 0.05", "margin = 0.05\nmargins = 1"),
        "question.margins: no such key",
    ),
    "intends missing": (("intends = 2", ""), "intends: missing: a whole number from 1 to 2"),
    "intends too large": (("intends = 2", "intends = 3"), "intends = 3; allowed: a whole number from 1 to 2"),
    "strokes missing": (("strokes = 40", ""), "strokes: missing"),
    "strokes no number": (("strokes = 40", 'strokes = "many"'), 'strokes = "many"; allowed: a whole number'),
    "figure unknown": (('figure = "mean_depth"', 'figure = "mean_deep"'), 'the nearest is "mean_depth"'),
    "take missing": (('take = "most"\n', ""), "question.take: missing: one of least, most"),
    "margin missing": (("margin = 0.05", ""), "question.margin: missing: a difference in µm that counts"),
    "margin negative": (
        ("margin = 0.05", "margin = -1"),
        "question.margin = -1; allowed: a number of 0 or more",
    ),
    "asks unknown": (('asks = "which"', 'asks = "who"'), "question.asks"),
    "question no table": (("[question]", "[questions]"), "question: missing: a table"),
    "choice of another kind": (
        ('case = "heavy"', 'course = "falls"'),
        'choice[2] = "course"; allowed: exactly one of case, alike, for asks = "which"',
    ),
    "choice without outcome": (('case = "heavy"', ""), "choice[2]: missing: exactly one of case, alike"),
    "choice of an unknown case": (
        ('case = "heavy"', 'case = "heavier"'),
        "a case; cases here are light, heavy",
    ),
    "case without a choice": (('case = "heavy"', "alike = true"), "no choice stands for the case heavy"),
    "two choices for a case": (('case = "heavy"', 'case = "light"'), "choice.case"),
    "case named twice": (('name = "heavy"', 'name = "light"'), "case.name"),
    "case with a space": (('name = "heavy"', 'name = "heavy hand"'), "a short name of letters"),
    "ratio_to beside which": (
        ("margin = 0.05", 'margin = 0.05\nratio_to = "mass"'),
        'only beside asks = "number"',
    ),
    "of an unknown case": (("margin = 0.05", 'margin = 0.05\nof = "third"'), "question.of"),
    "placeholder of no case": (
        ("{heavy.mean_depth}", "{hvy.mean_depth}"),
        "no case hvy; cases here are light, heavy",
    ),
    "placeholder of no figure": (
        ("{heavy.mean_depth}", "{heavy.depth}"),
        "no figure depth; figures are flatness",
    ),
    "placeholder of no form": (("{heavy.mean_depth}", "{heavy}"), "{case.figure}, or two of them"),
    "placeholder of two kinds": (
        ("{heavy.mean_depth / light.mean_depth}", "{heavy.mean_depth - light.mass}"),
        "mean_depth is a length and mass a mass: they cannot be compared with one another",
    ),
    "single brace": (('"Weigh them."', '"Weigh { them."'), 'bench = "a single brace"'),
    "placeholder before the run": (
        ('ask = "Which loses', 'ask = "{light.mass}: which loses'),
        "it is read before the run",
    ),
    "figure in because": (
        ("took {heavy.mean_depth}", "took 12 µm"),
        'because = "12"; allowed: no figures but those',
    ),
    "figure in a choice": (
        ('words = "the heavy one"', 'words = "the one of 80 N"'),
        'choice[2].words = "80"',
    ),
    "face too high": (
        ("along = -20", "along = -20000"),
        "face.along = -20000; allowed: a height from -5000 to 5000 µm",
    ),
    "waves below nought": (("uneven = 2", "uneven = -2"), "face.uneven = -2; allowed: a height of 0 or more"),
    "picture unknown": (("looks = 2", 'looks = 2\npictures = ["film"]'), "a list of curve, before, after"),
    "job without metal": (('metal = "A356"\n', ""), "mine.toml: scenario.part.metal: missing"),
    "job of an unknown metal": (('"A356"', '"A3567"'), 'scenario.part.metal = "A3567"'),
    "unknown key of the job": (("limit = 20", "limits = 20"), "scenario.part.limits: no such key"),
    "fault in a change": (('press = "heavy"', 'press = "mighty"'), 'case[2].change.hands.press = "mighty"'),
    "unknown key in a change": (
        ('{press = "heavy"}', "{presses = 3}"),
        "case[2].change.hands.presses: no such key",
    ),
    "no face and no readings": (("[face]\nalong = -20\nuneven = 2\n", ""), "scenario.readings"),
    "no TOML": (("strokes = 40", "strokes 40"), "not valid TOML"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_named_with_its_key_and_what_is_allowed(name: str):
    pair, words = FAULTS[name]
    assert words in faults_of(changed(pair))


KEYS = ("title", "story", "intends", "strokes", "looks", "scenario", "face", "case", "question", "choice")
MORE_KEYS = ("members", "cells", "order", "pictures", "cautions", "because", "bench", "ask")
ODD: tuple[Any, ...] = (3, -1.5, True, "odd", [], [1, "a"], {}, {"a": 1}, [{}], [{"name": 3}], float("nan"))


@pytest.mark.parametrize("key", KEYS + MORE_KEYS)
def test_whatever_stands_under_a_key_there_is_a_lesson_or_a_fault(key: str):
    for odd in ODD:
        document = {**tomllib.loads(LESSON), key: odd}
        try:
            lesson_of_document(document, "mine")
        except ScenarioError as refused:
            assert str(refused).startswith("mine: ")


@pytest.mark.parametrize("table", ["case", "choice", "question", "face"])
def test_whatever_stands_in_a_table_there_is_a_lesson_or_a_fault(table: str):
    whole = tomllib.loads(LESSON)
    first = whole[table][0] if isinstance(whole[table], list) else whole[table]
    for key in (*first, "face", "change", "between", "course", "alike", "of", "base", "ratio_to"):
        for odd in ODD:
            changed_table = {**first, key: odd}
            rest = [changed_table, *whole[table][1:]] if isinstance(whole[table], list) else changed_table
            try:
                lesson_of_document({**whole, table: rest}, "mine")
            except ScenarioError as refused:
                assert str(refused).startswith("mine: ")


def test_all_faults_are_told_at_once():
    said = faults_of(
        changed(
            ("intends = 2", ""),
            ("strokes = 40", "strokes = -1"),
            ('metal = "A356"', 'metal = "cheese"'),
            ("margin = 0.05", 'margin = "little"'),
            ("{light.flatness_start}", "{nobody.flatness}"),
            ('press = "heavy"', 'press = "mighty"'),
        )
    )
    for key in (
        "intends",
        "strokes",
        "scenario.part.metal",
        "question.margin",
        "story",
        "case[2].change.hands",
    ):
        assert f"mine.toml: {key}" in said, key
    assert len(said.splitlines()) == 6


def test_a_fault_of_the_job_is_told_once_though_every_case_has_it():
    said = faults_of(changed(("limit = 20", "limit = -20")))
    assert said.count("part.limit") == 1


@pytest.mark.parametrize(
    "ranges, words",
    [
        (
            ("[0, 3]", "[2, 9]"),
            'choice[2].between = "[2, 9]"; allowed: a range that begins where [0, 3] ends; it overlaps',
        ),
        (("[0, 3]", "[4, 9]"), "it leaves a gap after it"),
        (("[0, 3]", "[9, 3]"), "[low, high] in µm with low below high"),
        (("[0, 3]", "[3]"), "[low, high] in µm with low below high"),
        (("[0, 3]",), "2 to 6 tables [[choice]]"),
    ],
)
def test_ranges_follow_one_another(ranges: tuple[str, ...], words: str):
    assert words in faults_of(number_lesson(*ranges))


def test_a_course_needs_a_figure_that_is_known_on_the_way():
    text = changed(
        ('asks = "which"', 'asks = "course"'),
        ('figure = "mean_depth"', 'figure = "least_cut"'),
        ('take = "most"\n', ""),
        ('case = "light"', 'course = "falls"'),
        ('case = "heavy"', 'course = "falls"'),
    )
    said = faults_of(text)
    assert "question.figure" in said and "known at every look: flatness" in said
    assert "choice.course" in faults_of(text.replace('"mass"', '"flatness"'))


def test_names_are_found_by_the_nearest():
    with pytest.raises(ScenarioError, match='did you mean "dead-paper"') as refused:
        load_lesson("dead-papre")
    assert all(name in str(refused.value) for name, _ in lesson_names())


def test_every_built_in_lesson_teaches_without_figures_of_its_own():
    for name, title in lesson_names():
        lesson = load_lesson(name)
        assert lesson.title == title
        assert loose_figures(lesson.because) == []
        assert case_scenario(lesson, lesson.cases[0]).invented


def test_names_of_papers_are_no_loose_figures():
    assert loose_figures("P80, then P120. Not {a.mass}, nor 3, nor P81") == ["3", "P81"]


# ---- figures in words


def test_every_figure_has_a_unit_and_every_kind_of_unit_is_used():
    assert {kind.unit for kind in FIGURES.values()} | {"ratio", "depth a gram"} == set(SCREEN)


@pytest.mark.parametrize(
    "name, value, words",
    [
        ("flatness", Band(1.52e-5, 1.84e-5, 2.21e-5), "18 µm (15–22)"),
        ("bow_along", Band(-3e-6, 1e-6, 4e-6), "1.0 µm (−3 to 4)"),
        ("mass", 1.234e-3, "1.2 g"),
        ("dye_left", Band(0.04, 0.11, 0.32), "11 % (4–32)"),
        ("strokes_to_limit", Band(411.0, 530.0, 1490.0), "530 (400–1500)"),
        ("strokes_to_limit", Band(400.0, 900.0, np.inf), "900 (from 400, for some not reached)"),
        ("minutes_to_limit", np.inf, "not reached"),
        ("flatness", np.nan, "not known"),
        ("ratio", Band(0.781, 0.853, 0.914), "0.85 times (0.78–0.91)"),
        ("dye_left", -1e-16, "0 %"),
        ("mean_depth", 0.0, "0 µm"),
    ],
)
def test_a_figure_is_shown_with_unit_and_band(name: str, value: Band | float, words: str):
    assert show_figure(name, value) == words


def test_the_band_of_a_figure_that_some_never_reach():
    band = band_of(np.array([*range(1, 20), np.inf], dtype=float))
    assert band.p50 in (10.0, 11.0) and band.p05 in (1.0, 2.0)
    assert np.isinf(band_of(np.array([1.0, np.inf, np.inf])).p50)


def test_differences_and_ratios_are_taken_member_by_member():
    figures = {"a": {"mean_depth": np.array([2e-6, 4e-6])}, "b": {"mean_depth": np.array([1e-6, 2e-6])}}
    assert fill("{a.mean_depth / b.mean_depth}", figures) == "2.0 times"
    assert fill("{a.mean_depth - b.mean_depth}", figures) == show_figure("mean_depth", Band.of([1e-6, 2e-6]))
    assert unit_of_pair("flatness", "-", "mean_depth") == "length"


# ---- starting faces


def test_faces_stand_where_the_file_says():
    outline = Outline.rectangular(0.2, 0.1)
    points = np.array([[0.0, 0.0], [0.1, 0.0], [0.0, 0.05], [0.1, 0.05], [-0.1, -0.05], [0.1, -0.05]])

    def heights(**shape: float) -> list[float]:
        found = start_faces(StartFace(**shape), outline, points, members=1, seed=0)[0]
        return [round(float(h) / UM, 6) for h in found]

    assert heights(along=80 * UM) == [80, 0, 80, 0, 0, 0]
    assert heights(across=-50 * UM) == [-50, -50, 0, 0, 0, 0]
    assert heights(twist=100 * UM) == [0, 0, 0, 50, 50, -50]
    assert heights(corner=60 * UM) == [0, -15, -15, -60, 0, 0]
    assert heights(rolled=20 * UM) == [0, -20, -20, -40, -40, -40]


def test_waves_differ_between_members_and_not_between_cases():
    outline = Outline.rectangular(0.2, 0.1)
    points = np.random.default_rng(1).uniform(-0.05, 0.05, (400, 2))
    wavy = StartFace(uneven=10 * UM)
    waves = start_faces(wavy, outline, points, members=64, seed=3)
    bowed = start_faces(replace(wavy, along=40 * UM), outline, points, members=64, seed=3)
    np.testing.assert_allclose(bowed - bowed[0], waves - waves[0], atol=1e-15)
    # Crest to trough about as high as asked: four standard deviations.
    assert np.median(4.0 * waves.std(axis=1)) == pytest.approx(10 * UM, rel=0.3)
    assert np.abs(np.corrcoef(waves[0], waves[1])[0, 1]) < 0.9


# ---- the first lesson explains how to write one


def test_the_first_lesson_explains_every_key_and_figure():
    path = lesson_path("hollow-crown-twist")
    head = "\n".join(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("#"))
    for name in (
        *LESSON_KEYS,
        *CASE_KEYS,
        *CHOICE_KEYS,
        *QUESTION_KEYS,
        *FACE_KEYS,
        *CAUSE_KEYS,
        *STEP_KEYS,
        *FIGURES,
    ):
        assert re.search(rf"\b{name}\b", head), name
    for name in (*TOOLS, *OFF, *EXPECTS):
        assert f'"{name}"' in head, name


def test_every_key_is_described_and_none_that_there_is_not():
    tables = {"case[]": CASE_KEYS, "choice[]": CHOICE_KEYS, "question": QUESTION_KEYS}
    tables |= {"cause[]": CAUSE_KEYS, "step[]": STEP_KEYS}
    there = {f"{table}.{key}" for table, keys in tables.items() for key in keys}
    there |= {key for key in LESSON_KEYS if f"{key}[]" not in tables and key not in tables}
    assert {row.name for row in describe_lesson_keys()} == there


def test_a_lesson_to_start_from_works_and_has_a_title_of_its_own():
    lesson = lesson_of(lesson_start(), "mine")
    assert lesson.title == "A lesson of my own" and "right_if" in lesson_start()


CAUSE = """
[[cause]]
words = "As light as the other"
change = {hands = {press = "light"}}
of = "heavy.mean_depth - light.mean_depth"
expects = "goes"
"""
STEP = """
[[step]]
words = "What the heavy one loses"
of = "heavy.mass"
tool = "pocket scale"
"""


def test_a_reason_stands_where_its_run_holds_it_and_not_where_it_does_not():
    held = work_lesson(lesson_of(LESSON + CAUSE, "mine"), members=8)
    assert held.reason_stands and held.causes[0].held and held.because
    assert held.causes[0].words.startswith("As light as the other: 0 µm instead of ")
    wrong = work_lesson(lesson_of(LESSON + CAUSE.replace("goes", "stays"), "mine"), members=8)
    assert wrong.as_intended and not wrong.reason_stands and wrong.because == ""
    # Where the outcome is another one there is no reason at all, and no run is made for it.
    other = work_lesson(lesson_of(changed(("intends = 2", "intends = 1")) + CAUSE, "mine"), members=8)
    assert other.because == "" and other.causes == () and not other.reason_stands


def test_a_cause_of_the_outcome_says_what_it_comes_out_as():
    text = CAUSE.replace('of = "heavy.mean_depth - light.mean_depth"\n', "").replace('"light"', '"heavy"')
    found = work_lesson(
        lesson_of(LESSON + text.replace("change", 'cases = ["light"]\nchange'), "mine"), members=8
    )
    assert found.reason_stands and "the answer goes" in found.causes[0].words


def test_a_step_is_as_long_as_its_tool_needs_and_says_so_where_it_never_sees():
    text = changed(('"Weigh them."', '"Weigh them after {step.strokes} strokes."')) + STEP
    seen = work_lesson(lesson_of(text, "mine"), members=8)
    step, heavy = seen.steps[0], seen.cases[1]
    assert step.strokes is not None and 0 < step.strokes <= 40
    assert seen.bench == f"Weigh them after {step.strokes} strokes."
    mass = heavy.figures["mass"] * step.strokes / 40
    # Paper ages, so that by then rather more came off than in proportion.
    assert mass.min() >= 0.6 * TOOLS["pocket scale"].sees
    assert step.expected.p05 >= TOOLS["pocket scale"].sees
    blind = work_lesson(lesson_of(text.replace("pocket scale", "kitchen scale"), "mine"), members=8)
    assert blind.steps[0].strokes is None and "not to be seen" in blind.steps[0].words


REASON_FAULTS = {
    "cause without a switch": (CAUSE.replace("change = {hands", "# "), "cause[1]: missing: what is other"),
    "unknown cause": (
        CAUSE.replace("of =", 'without = ["high hand"]\nof ='),
        "cause[1].without",
    ),
    "expects of a figure only": (
        CAUSE.replace('of = "heavy.mean_depth - light.mean_depth"\n', "").replace("goes", "turns"),
        "cause[1].expects",
    ),
    "unknown case": (CAUSE.replace("of =", 'cases = ["third"]\nof ='), 'cause[1].cases = "third"'),
    "figure of no case": (CAUSE.replace("heavy.", "third."), "no case third"),
    "change of no key": (CAUSE.replace("press", "pres"), "cause[1].change.hands.pres"),
    "tool of another unit": (STEP.replace("pocket scale", "leaf"), "a tool that reads mass"),
    "unknown tool": (STEP.replace("pocket scale", "rule"), "step[1].tool"),
    "figure without a course": (STEP.replace("heavy.mass", "heavy.least_cut"), "known at every look"),
    "step named as a case": (STEP.replace("words", 'name = "heavy"\nwords'), "a name that no case"),
}


@pytest.mark.parametrize("name", list(REASON_FAULTS))
def test_faults_of_causes_and_steps_are_told(name: str):
    text, told = REASON_FAULTS[name]
    assert told in faults_of(LESSON + text)


def test_what_would_have_to_be_so_holds_no_figures():
    right = changed(('case = "light"\n\n', 'case = "light"\nright_if = "it pressed with 80 N"\n\n'))
    assert "choice[1].right_if" in faults_of(right)
    assert lesson_of(right.replace("with 80 N", "harder"), "mine").choices[0].right_if == "it pressed harder"

"""``handlap lesson``: predicted, revealed, marked, stopped, printed."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from html_read import Reader
from lesson_examples import JOB, made_lesson, made_result
from matplotlib.collections import QuadMesh
from matplotlib.image import imread

from handlap.cli import main as entry
from handlap.cli.asking import lesson_sitting
from handlap.cli.drawing import lesson_pictures as drawing
from handlap.cli.drawing.pictures import levelled
from handlap.cli.main import main
from handlap.cli.reports.lesson_report import lesson_json, question_lines, reveal_report
from handlap.cli.reports.lesson_words import take_care
from handlap.cli.reports.text import render
from handlap.cli.screen import Screen
from handlap.cli.sheets import sheet_lesson_pdf
from handlap.cli.sheets.sheet_lesson_page import lesson_page
from handlap.cli.sheets.sheet_lesson_pdf import lesson_handout
from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.job.results import Band
from handlap.sim.teaching.lesson import Choice, Lesson, LessonQuestion, LessonResult

NAMES = ("three-shapes", "same-again", "no-telling")


@pytest.fixture(autouse=True)
def made(monkeypatch, request):
    """Three made-up lessons in place of the built-in ones: two answer a, one cannot tell."""
    if "as_it_is" in request.fixturenames:
        return
    lessons = {name: made_lesson(name=name, title=f"About {name}", pictures=("curve",)) for name in NAMES}

    def load(name: str) -> Lesson:
        if str(name) not in lessons:
            raise ScenarioError([Fault(str(name), "", "", "no such lesson")])
        return lessons[str(name)]

    def work(lesson: Lesson, **options) -> LessonResult:
        unsure = {"choice": None, "support": 0.5} if lesson.name == "no-telling" else {}
        return replace(made_result(lesson, **unsure), members=options["members"], seed=options["seed"])

    folder = "handlap.sim.teaching"
    monkeypatch.setattr(f"{folder}.lesson_file.lesson_names", lambda: [(n, f"About {n}") for n in lessons])
    monkeypatch.setattr(f"{folder}.lesson_file.load_lesson", load)
    monkeypatch.setattr(f"{folder}.lesson_work.work_lesson", work)


def run(*args: str, typed: str = "", **env: str):
    return CliRunner().invoke(main, ["lesson", *args], input=typed, env=env or None)


OWN = """
title = "Two scraps"
story = "Two scraps, one hollow and one crowned, get the same strokes."
ask = "Which is flatter?"
intends = 1
because = "The hollow one is left at {hollow.flatness}."
bench = "Try both."
strokes = 100
looks = 2
cells = 100
[scenario]
title = "Scrap block"
invented = true
part = {length = 120, width = 80, metal = "A356", mass = 0.6, limit = 50}
paper = {grits = ["P80"]}
[[case]]
name = "hollow"
words = "the hollow one"
face = {along = -100}
[[case]]
name = "crown"
words = "the crowned one"
face = {along = 100}
[question]
asks = "which"
figure = "flatness"
take = "least"
margin = 1
[[choice]]
words = "the hollow one"
case = "hollow"
[[choice]]
words = "the crowned one"
case = "crown"
"""
"""A lesson of an instructor's own, as small as one can be."""


@pytest.fixture
def as_it_is():
    """Leave the engine in place, where a test asks for it."""


def flat(text: str) -> str:
    return " ".join(text.split())


# ---- the list


def test_bare_it_lists_names_and_titles_and_how_to_begin():
    done = run()
    assert done.exit_code == 0
    assert all(name in done.stdout and f"About {name}" in done.stdout for name in NAMES)
    assert f"handlap lesson {NAMES[0]}" in done.stdout
    assert [row["name"] for row in json.loads(run("--json").stdout)["lessons"]] == list(NAMES)


@pytest.mark.parametrize("option", [["--print", "x.pdf"], ["--tell"], ["--predict", "a"]])
def test_an_option_that_needs_a_lesson_asks_for_one(option):
    done = run(*option)
    assert done.exit_code == 2 and NAMES[1] in done.stderr


# ---- predict, then reveal


def test_the_question_comes_before_the_answer_and_holds_none_of_it():
    done = run(NAMES[0], typed="a\n")
    assert done.exit_code == 0
    question, asked, _ = done.stderr.partition("Your prediction, a, b, c or d?")
    assert asked and "Three scrap heads" in question and "The hollow one, because" in question
    for told in ("answer", "rim", "least with"):
        assert told not in question
    assert done.stdout.startswith("RIGHT: THE ANSWER IS A\n")
    assert "stands on its rim" in flat(done.stdout) and "File a scrap block" in done.stdout


@pytest.mark.parametrize(
    ("answer", "head", "mark"),
    [
        ("a", "RIGHT: THE ANSWER IS A", 1),
        (" A) ", "RIGHT: THE ANSWER IS A", 1),
        ("b", "WRONG: THE ANSWER IS A", 0),
        ("?", "THE ANSWER IS A", None),
        ("", "THE ANSWER IS A", None),
    ],
)
def test_marks_for_right_wrong_and_do_not_know(answer, head, mark):
    done = run(NAMES[0], typed=f"{answer}\n")
    assert done.stdout.splitlines()[0] == head
    told = run(NAMES[0], "--json", typed=f"{answer}\n")
    assert json.loads(told.stdout)["lessons"][0]["mark"] == mark
    assert ("You said b" in done.stdout) == (mark == 0)


def test_marks_are_kept_over_a_sitting_and_none_is_given_where_it_cannot_tell():
    done = run("--all", typed="a\nb\nc\n")
    assert done.exit_code == 0
    assert "1 of 1 right so far." in done.stdout
    assert "1 of 2 right so far." in done.stdout
    assert "CANNOT TELL: NO MARK EITHER WAY" in done.stdout
    assert done.stdout.rstrip().endswith("Marks: 1 of 2 right; 1 without a mark.")
    assert "Lesson 3 of 3" in done.stderr


def test_predictions_may_be_given_beforehand_and_the_rest_is_asked():
    done = run(*NAMES[:2], "--predict", "b", typed="a\n")
    assert done.exit_code == 0
    assert done.stderr.count("Your prediction") == 1
    assert "Marks: 1 of 2 right." in done.stdout


def test_all_wrong_predictions_are_named_before_any_work():
    done = run(*NAMES[:2], "--predict", "x", "--predict", "e")
    assert done.exit_code == 2 and done.stdout == ""
    assert '"x"' in done.stderr and '"e"' in done.stderr and "a, b, c or d" in done.stderr
    assert run(NAMES[0], "--predict", "a", "--predict", "b").exit_code == 2


def test_a_wrong_answer_from_a_pipe_is_one_clear_message_after_the_marks():
    done = run("--all", typed="a\nmaybe\n")
    assert done.exit_code == 2
    assert "1 of 1 right." in done.stderr
    last = done.stderr.strip().splitlines()[-1]
    told = 'handlap: line 2 of the answers: "maybe" is none of the choices of the lesson same-again'
    assert last.startswith(told)
    assert done.stdout.count("THE ANSWER IS") == 1


def test_a_lesson_to_start_from_is_laid_down_and_never_over_another(tmp_path):
    file = tmp_path / "mine.toml"
    done = run("--new", str(file))
    assert done.exit_code == 0 and "handlap lesson" in done.stdout
    held = file.read_text(encoding="utf-8")
    assert held.startswith("# A lesson to change") and 'title = "A lesson of my own"' in held
    again = run("--new", str(tmp_path / "mine"))
    assert again.exit_code == 2 and "left as it is" in again.stderr
    assert file.read_text(encoding="utf-8") == held
    assert run("--new", str(tmp_path / "a.txt")).exit_code == 2
    assert run("--new", str(file), NAMES[0]).exit_code == 2
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_no_reason_is_given_for_an_outcome_that_the_lesson_has_none_for(as_it_is, tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(OWN, encoding="utf-8")
    told = flat(run(str(file), "--tell", "--members", "8").stdout)
    assert "No run of its own holds this reason" in told
    file.write_text(OWN.replace("intends = 1", "intends = 2"), encoding="utf-8")
    told = flat(run(str(file), "--tell", "--members", "8").stdout)
    assert "No reason is given" in told and "The hollow one is left at" not in told


def test_a_wrong_answer_at_a_terminal_is_asked_again(monkeypatch):
    monkeypatch.setattr(lesson_sitting, "is_terminal", lambda stream: True)
    done = run(NAMES[0], typed="maybe\na\n")
    assert done.exit_code == 0
    assert '"maybe" is none of the choices' in flat(done.stderr)
    assert done.stdout.startswith("RIGHT")


@pytest.mark.parametrize("typed", ["a\n", "a\nend\n"])
def test_the_end_of_the_input_ends_the_sitting_politely(typed):
    done = run("--all", typed=typed)
    assert done.exit_code == 0
    assert "2 of 3 lessons not answered" in flat(done.stderr)
    assert done.stdout.rstrip().endswith("Marks: 1 of 1 right.")


def test_nothing_answered_is_said():
    done = run(NAMES[0])
    assert done.exit_code == 0
    assert done.stdout.strip() == "No marks: nothing was answered."


def test_an_interrupt_leaves_with_130_and_the_marks_so_far(monkeypatch):
    given = iter(["a"])

    def read() -> str:
        for answer in given:
            return answer
        raise KeyboardInterrupt

    monkeypatch.setattr(lesson_sitting, "read_answer", read)
    done = run("--all")
    assert done.exit_code == 130
    assert "Marks: 1 of 1 right." in done.stderr


def test_telling_asks_nothing_and_gives_no_marks():
    done = run(NAMES[0], "--tell")
    assert done.exit_code == 0 and done.stderr == ""
    assert done.stdout.index("Three scrap heads") < done.stdout.index("THE ANSWER IS A")
    assert "mark" not in done.stdout.lower().replace("remark", "")
    assert run(NAMES[0], "--tell", "--predict", "a").exit_code == 2


def test_unknown_lessons_are_all_named_before_the_first_question():
    done = run("nonesuch", NAMES[0], "nor-this", typed="a\n")
    assert done.exit_code == 2 and done.stdout == ""
    assert "nonesuch" in done.stderr and "nor-this" in done.stderr


def test_a_story_with_figures_is_worked_before_it_is_told(monkeypatch):
    one = made_lesson(name="figures", story="One ended at {hollow.flatness}.", pictures=("curve",))
    monkeypatch.setattr("handlap.sim.teaching.lesson_file.load_lesson", lambda name: one)
    done = run("figures", typed="a\n")
    assert "One ended at 0.5 µm (0.3–0.8)." in done.stderr and "{" not in done.stderr


# ---- reports


@pytest.mark.parametrize("width", [40, 60, 80])
def test_question_and_answer_fit_the_terminal(width):
    result = made_result()
    report = reveal_report(result, 1, width)
    lines = render(report, Screen(width)).splitlines()
    lines += question_lines(result.lesson, result.story, Screen(width), "Lesson 2 of 3: ")
    assert max(map(len, lines)) <= width


def test_plain_letters_do_where_the_terminal_knows_no_others():
    done = run(NAMES[0], typed="a\n")
    text = done.stdout.encode("ascii", "handlap-plain").decode("ascii")
    assert "?" not in text.replace("About three-shapes", "")


def test_an_outcome_the_author_does_not_intend_is_said_plainly():
    text = flat(render(reveal_report(made_result(choice=2), 2, 80), Screen(80)))
    assert text.startswith("RIGHT: THE ANSWER IS C")
    assert "The author of this lesson means a to hold, and in the simulation it does not" in text
    text = flat(render(reveal_report(made_result(choice=None, support=0.6), 0, 80), Screen(80)))
    assert "this run does not settle it" in text and "--members 64" in text
    assert "author" not in render(reveal_report(made_result(), 0, 80), Screen(80))


def test_the_table_has_what_the_texts_speak_of_and_the_page_has_all(pictures):
    text = render(reveal_report(made_result(), None, 80), Screen(80))
    assert "flatness left" in text and "metal removed" not in text
    page = Reader(lesson_page(made_result(), pictures)).text
    assert "metal removed" in page and "–never)" in page


def test_json_has_every_case_and_the_answer_in_screen_units():
    result = made_result()
    told = json.loads(json.dumps(lesson_json(result, 1), allow_nan=False))
    assert told["answer"]["choice"] == "a" and told["predicted"] == "b" and told["mark"] == 0
    flatness = 1e6 * np.median(result.cases[1].figures["flatness"])
    assert told["answer"]["values"]["crown"]["p50"] == pytest.approx(flatness, rel=1e-6)
    case = told["cases"][1]
    assert case["figures"]["flatness"]["unit"] == "µm"
    assert case["figures"]["flatness"]["p50"] == pytest.approx(flatness, rel=1e-6)
    assert case["figures"]["strokes_to_limit"]["p95"] is None
    assert [point["p50"] for point in case["course"]][-1] == pytest.approx(flatness, rel=1e-6)
    assert told["invented"] is True


def test_json_of_a_ratio_is_in_units_of_the_ratio():
    question = LessonQuestion("number", "mean_depth", ratio_to="mass", of="hollow")
    little, more = Choice("little", between=(0.0, 1e-6)), Choice("more", between=(1e-6, 9.0))
    lesson = made_lesson(question=question, choices=(little, more))
    base = made_result()
    result = replace(
        base, lesson=lesson, answer=replace(base.answer, values={"hollow": base.answer.values["hollow"]})
    )
    axes = drawing.bands_figure(result).axes[0]
    assert "metal removed" in axes.get_xlabel() and axes.get_xlabel().endswith("µm a gram")
    assert [text.get_text() for text in axes.texts] == ["a", "b"]
    told = lesson_json(result, 0)["answer"]
    assert told["unit"] == "µm a gram" and told["ratio_to"] == "mass"
    middle = 1e3 * base.answer.values["hollow"].p50
    assert told["values"]["hollow"]["p50"] == pytest.approx(middle, rel=1e-6)


def test_the_usual_cautions_of_the_metal_come_with_every_lesson():
    text = flat(render(reveal_report(made_result(), None, 80), Screen(80)))
    assert "Aluminium dust burns and can explode: keep it wet" in text
    iron = made_lesson(scenario={**JOB, "part": {**JOB["part"], "metal": "grey iron"}}, cautions=("Mind X.",))
    text = flat(render(reveal_report(made_result(iron), None, 80), Screen(80)))
    assert "Take care" in text and "Mind X." in text and "dust mask" in text
    assert "Aluminium" not in text
    assert "The maker's limits, local codes and a qualified machinist's judgement" in text


def test_the_makers_limits_come_last_where_cases_are_of_two_metals():
    lesson = made_lesson()
    iron = replace(lesson.cases[1], change={"part": {"metal": "grey iron"}})
    said = take_care(replace(lesson, cases=(lesson.cases[0], iron)))
    assert said[0] == lesson.cautions[0] and said[-1].startswith("The maker's limits")
    assert len(set(said)) == len(said) and any("dust mask" in one for one in said)


# ---- pictures


def test_every_picture_asked_for_is_drawn_and_no_other():
    drawn = drawing.lesson_pictures(made_result(made_lesson(pictures=("dye", "curve"))))
    assert set(drawn) == {"dye.png", "curve.png"}
    assert all(data.startswith(b"\x89PNG") for data in drawn.values())


def test_before_and_after_share_one_scale():
    result = made_result()
    scales = {
        mesh.get_clim()
        for figure in (drawing.before_figure(result), drawing.after_figure(result))
        for axes in figure.axes
        if axes.get_title()
        for mesh in axes.collections
        if isinstance(mesh, QuadMesh)
    }
    half = drawing.heights_scale(result)
    assert scales == {(-half, half)}
    most = max(np.abs(levelled(c.grid, c.before)[: c.grid.n_cells]).max() for c in result.cases)
    assert half == pytest.approx(1e6 * most)


def test_cases_differ_in_line_and_mark_and_in_grey():
    looks = [drawing.look_of(i) for i in range(6)]
    assert len({str(look.line) for look in looks}) == 6
    assert len({look.mark for look in looks}) == 6
    figure = drawing.curve_figure(made_result())
    lines = [line for line in figure.axes[0].lines if line.get_marker() not in (None, "None", "")]
    assert [line.get_marker() for line in lines] == [look.mark for look in looks[:3]]


def test_a_lesson_without_a_course_gets_its_bands_side_by_side():
    base = made_result()
    result = replace(base, cases=tuple(replace(case, course=None) for case in base.cases))
    axes = drawing.curve_figure(result).axes[0]
    assert [label.get_text() for label in axes.get_yticklabels()] == [c.case.words for c in base.cases]


def test_a_figure_that_some_never_reach_ends_in_an_arrow():
    base = made_result(made_lesson(question=LessonQuestion("which", "strokes_to_limit", "least")))
    values = {name: Band(500.0, 600.0, np.inf) for name in base.answer.values}
    result = replace(
        base, answer=replace(base.answer, values={**values, "hollow": Band(300.0, 350.0, 400.0)})
    )
    result = replace(result, cases=tuple(replace(case, course=None) for case in base.cases))
    axes = drawing.curve_figure(result).axes[0]
    assert [line.get_marker() for line in axes.lines].count(">") == 2
    assert "not reached by some" in axes.get_title()
    assert all(np.isfinite(line.get_xdata()).all() for line in axes.lines)


# ---- pages and paper


@pytest.fixture(scope="module")
def pictures() -> dict[str, bytes]:
    return drawing.lesson_pictures(made_result())


def test_every_picture_is_legible_on_a_page(pictures):
    """Not so wide that its letters vanish when it is made to fit."""
    assert set(pictures) == {"curve.png", "before.png", "after.png", "removed.png", "dye.png"}
    assert all(imread(io.BytesIO(data)).shape[1] <= 1600 for data in pictures.values())


def test_the_page_folds_the_answer_away_and_is_sound(pictures):
    page = lesson_page(made_result(), pictures)
    reader = Reader(page)
    assert reader.open == []
    assert "<script" not in page and "://" not in page
    before, folded, answer = page.partition("<details>\n<summary>")
    assert folded
    assert "The hollow one, because" in before and "<img" not in before
    assert "The answer is a" not in before and "The answer is a" in answer
    images = [attrs for tag, attrs in reader.tags if tag == "img"]
    assert len(images) == 5 and all(len(image["alt"] or "") > 30 for image in images)
    assert "[invented data]" in reader.text


def test_words_of_a_lesson_cannot_become_tags():
    hostile = '<script>alert("x")</script>'
    lesson = made_lesson(title=hostile, story=hostile, ask=hostile, pictures=())
    page = lesson_page(made_result(lesson), {})
    assert "<script" not in page and hostile in Reader(page).text


def test_out_writes_page_and_pictures(tmp_path):
    done = run(NAMES[0], "--predict", "a", "--out", str(tmp_path / "new"))
    assert done.exit_code == 0
    names = {path.name for path in (tmp_path / "new").iterdir()}
    assert names == {"lesson-three-shapes.html", "lesson-three-shapes-curve.png"}


def test_json_on_stdout_is_one_object_and_the_same_in_the_file(tmp_path):
    file = tmp_path / "marks.json"
    done = run("--all", "--json", "--json-file", str(file), "--members", "8", "--seed", "3", typed="a\nb\n")
    told = json.loads(done.stdout)
    assert told == json.loads(file.read_text(encoding="utf-8"))
    assert told["schema"] == "handlap.lesson/1" and told["members"] == 8 and told["seed"] == 3
    assert told["marks"] == {"right": 1, "wrong": 1, "without": 0}
    assert told["ended_early"] and len(told["lessons"]) == 2


def words_of(pages) -> list[str]:
    return [flat(" ".join(text.get_text() for text in page.axes.texts)) for page in pages]


@pytest.fixture
def drawn(monkeypatch):
    """Pages of a handout as they are handed to the writer of PDF, in place of the PDF itself."""
    kept = []

    def keep(pages, title):
        kept.extend(pages)
        return b"%PDF"

    monkeypatch.setattr(sheet_lesson_pdf, "write_pdf", keep)
    return kept


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_handout_asks_first_and_answers_on_pages_of_their_own(drawn, paper):
    results = [
        made_result(made_lesson(name=name, title=f"About {name}", pictures=("curve",))) for name in NAMES
    ]
    made = lesson_handout(results, paper)
    assert made.pages == len(drawn) and 0 < made.questions < made.pages
    words = words_of(drawn)
    questions, answers = " ".join(words[: made.questions]), " ".join(words[made.questions :])
    for number, name in enumerate(NAMES, 1):
        assert f"{number}. About {name} [invented data]" in questions
        assert f"{number}. About {name} [invented data]" in answers
    assert "What I think, and why:" in questions and "The twisted one" in questions
    for told in ("The answer is", "stands on its rim", "least with", "File a scrap"):
        assert told not in questions and told in answers
    for page in drawn:
        assert all(text.get_position()[1] < page.height - 5.0 for text in page.axes.texts)


def test_every_choice_has_a_box_to_tick_and_there_is_room_to_write(drawn):
    lesson_handout([made_result(made_lesson(pictures=()))])
    boxes = [patch for patch in drawn[0].axes.patches if "Rectangle" in repr(patch)]
    assert len(boxes) == len(made_lesson().choices)
    rules = [line for line in drawn[0].axes.lines if line.get_xdata()[1] - line.get_xdata()[0] > 150.0]
    assert len(rules) >= 8


def test_print_writes_a_pdf_and_says_which_pages_are_which(tmp_path):
    file = tmp_path / "class.pdf"
    done = run(NAMES[0], "--print", str(file))
    assert done.exit_code == 0
    data = file.read_bytes()
    assert data.startswith(b"%PDF") and b"CreationDate" not in data
    pages = len(re.findall(rb"/Type /Page\b", data))
    assert f"{pages} pages of A4. Questions: page 1; answers: page" in flat(done.stdout)
    assert "Your prediction" not in done.stderr


@pytest.mark.parametrize("name", ["class.html", "class"])
def test_print_wants_a_pdf(tmp_path, name):
    done = run(NAMES[0], "--print", str(tmp_path / name))
    assert done.exit_code == 2 and ".pdf" in done.stderr
    assert not list(tmp_path.iterdir())


# ---- the whole of it, with the real engine behind


def test_a_lesson_of_ones_own_by_pipe_in_a_process_of_its_own(as_it_is, tmp_path):
    (tmp_path / "own.toml").write_text(OWN, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", "from handlap.cli.main import run; run()"]
        + ["lesson", "own.toml", "--members", "8", "--out", "out", "--json-file", "own.json"],
        input=b"b\n",
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(entry.__file__).parents[1] / ".src"), "COLUMNS": "80"},
        capture_output=True,
        timeout=600,
    )
    text, error = done.stdout.decode(), done.stderr.decode()
    assert done.returncode == 0, error
    assert "Which is flatter?" in error and "Traceback" not in error
    told = json.loads((tmp_path / "own.json").read_text(encoding="utf-8"))
    (one,) = told["lessons"]
    assert one["predicted"] == "b" and one["members"] == 8
    assert one["mark"] == (None if one["answer"]["choice"] is None else int(one["answer"]["choice"] == "b"))
    first = text.splitlines()[0]
    assert first == {None: "CANNOT TELL: NO MARK EITHER WAY", 0: "WRONG: THE ANSWER IS A"}.get(
        one["mark"], "RIGHT: THE ANSWER IS B"
    )
    low = one["cases"][0]["figures"]["flatness"]["p50"]
    shown = re.search(r"The hollow one is left at (\d+)", text)
    assert shown is not None and float(shown[1]) == pytest.approx(low, abs=1.0)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"lesson-own.html", "lesson-own-curve.png"}


def test_faults_of_a_lesson_file_are_one_message(as_it_is, tmp_path):
    (tmp_path / "bad.toml").write_text(OWN.replace('asks = "which"', 'asks = "what"'), encoding="utf-8")
    done = run(str(tmp_path / "bad.toml"), "nonesuch", "--predict", "a", "--out", str(tmp_path / "out"))
    assert done.exit_code == 2 and done.stdout == ""
    assert "question.asks" in done.stderr and "nonesuch" in done.stderr
    assert not (tmp_path / "out").exists()

"""What a lesson says once a prediction was made: the answer, why, figures, what to try."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from handlap.cli.reports.as_json import band as band_json
from handlap.cli.reports.blocks import Block, Bullets, Facts, Picture, Report, Section, Table, Words
from handlap.cli.reports.lesson_drawings import INDENT, drawings
from handlap.cli.reports.lesson_words import LETTERS, figure_words, has_course, is_invented, take_care
from handlap.cli.reports.text import wrapped
from handlap.cli.reports.wording import sentence
from handlap.cli.screen import Screen
from handlap.sim.common.said import figure as figure_json
from handlap.sim.teaching.lesson import CaseResult, Lesson, LessonResult
from handlap.sim.teaching.lesson_answer import asked_unit
from handlap.sim.teaching.lesson_figures import NEVER, SCREEN, band_of, show_figure

OTHERS = "All other figures"
MOST_ROWS = 6
"""Figures in the table on a terminal; the page has them all."""
BANDS = (
    "Each case is worked {times} times, with other hands and other paper each time: the middle of them, and "
    "in brackets the range that holds 90 of 100."
)
MOST_MEMBERS = 256
"""As many as the command takes."""
INVENTED = "  [invented data]"


def letter(choice: int) -> str:
    """The letter a choice goes by."""
    return LETTERS[choice]


def mark_of(result: LessonResult, predicted: int | None) -> int | None:
    """1 for a prediction that held, 0 for one that did not, None where there is nothing to mark."""
    if predicted is None or result.answer.choice is None:
        return None
    return int(predicted == result.answer.choice)


def titled(lesson: Lesson) -> str:
    """The title, marked where the data are invented."""
    return lesson.title + (INVENTED if is_invented(lesson) else "")


def choice_lines(lesson: Lesson) -> tuple[str, ...]:
    """The predictions behind their letters."""
    return tuple(f"{letter(i)}  {choice.words}" for i, choice in enumerate(lesson.choices))


# ---- the answer


def headline(result: LessonResult, predicted: int | None) -> str:
    """The answer in a few words, with what became of the prediction."""
    choice = result.answer.choice
    if choice is None:
        return "cannot tell: no mark either way" if predicted is not None else "cannot tell"
    answer = f"the answer is {letter(choice)}"
    mark = mark_of(result, predicted)
    return answer if mark is None else f"{'right' if mark else 'wrong'}: {answer}"


def lead(result: LessonResult, predicted: int | None) -> tuple[str, ...]:
    """The answer in sentences: what holds, by how much, what was said, what the author means."""
    lesson, answer = result.lesson, result.answer
    said = []
    if answer.choice is not None:
        said.append(f"{letter(answer.choice)}: {sentence(lesson.choices[answer.choice].words)}")
    said.append(sentence(answer.words))
    if predicted is not None and predicted != answer.choice:
        said.append(f"You said {letter(predicted)}: {sentence(lesson.choices[predicted].words)}")
    if not result.as_intended:
        said.append(astray(result))
    return tuple(said)


def astray(result: LessonResult) -> str:
    """Said plainly where the outcome is not what the lesson is meant to teach."""
    meant = letter(result.lesson.intends)
    if result.answer.choice is None:
        more = min(MOST_MEMBERS, 4 * result.members, result.lesson.members or MOST_MEMBERS)
        words = f"The author of this lesson means {meant} to hold; this run does not settle it."
        return words + (f" A larger one may: --members {more}." if more > result.members else "")
    return (
        f"The author of this lesson means {meant} to hold, and in the simulation it does not. Trust neither "
        "before it was tried on a scrap."
    )


def reveal_report(result: LessonResult, predicted: int | None, width: int) -> Report:
    """The answer for a terminal of that width; ``predicted`` None: nothing was predicted."""
    return Report(
        "lesson",
        headline(result, predicted),
        "plain" if result.as_intended else "doubt",
        titled(result.lesson),
        lead(result, predicted),
        tuple(answer_sections(result, width)),
    )


def question_lines(lesson: Lesson, story: str, screen: Screen, place: str = "") -> list[str]:
    """Title, story, question and choices for a terminal; ``place`` says which lesson of a sitting it is."""
    lines = [screen.strong(line) for line in wrapped(place + titled(lesson), screen.width)]
    for text in (story, lesson.ask):
        for words in paragraphs(text):
            lines += ["", *wrapped(words.text, screen.width)]
    lines.append("")
    for line in choice_lines(lesson):
        lines += wrapped(line, screen.width, INDENT, INDENT + "   ")
    return lines


def paragraphs(text: str) -> tuple[Words, ...]:
    """A text's paragraphs, which a blank line parts."""
    return tuple(Words(" ".join(part.split())) for part in re.split(r"\n\s*\n", text) if part.strip())


def answer_sections(result: LessonResult, width: int | None) -> list[Section]:
    """Why, the cases, what to try, cautions; ``width`` None: for a page, with pictures."""
    lesson = result.lesson
    names = table_figures(result)
    cases = case_blocks(result, names)
    cases += drawings(result, width) if width else lesson_picture_blocks(result)
    found = [
        Section("Why", why_blocks(result)),
        Section("What came of each case", tuple(cases)),
        Section("Try it on a scrap", (*paragraphs(result.bench), *step_blocks(result))),
    ]
    others = right_if_items(result)
    if others:
        found.insert(1, Section("What would have to be so", (Bullets(others),)))
    found.append(Section("Take care", (Bullets(take_care(lesson)),)))
    # That it did not come out as meant is said at the top already.
    notes = tuple(sentence(note) for note in result.notes if "means to teach" not in note)
    if notes:
        found.append(Section("Notes", (Bullets(notes),), aside=True))
    rest = [name for name in every_figure(result) if name not in names]
    if width is None and rest:
        found.append(Section(OTHERS, (figure_table(result, rest),), aside=True))
    return found


def why_blocks(result: LessonResult) -> tuple[Block, ...]:
    """The reason with the runs that hold it; where none stands, that, and which run does not hold it."""
    if not result.reason_stands:
        failed = [sentence(run.words) for run in result.causes if not run.held]
        if not failed:
            return (Words("No reason is given: the lesson has none for this outcome."),)
        return (
            Words("No reason is given: the outcome is the one meant, but not for the reason meant:"),
            Bullets(tuple(failed)),
        )
    if not result.causes:
        unheld = Words("No run of its own holds this reason.")
        return (*paragraphs(result.because), unheld)
    return (
        *paragraphs(result.because),
        Words("What holds it, run by the same hands with one thing other:"),
        Bullets(tuple(sentence(run.words) for run in result.causes)),
    )


def right_if_items(result: LessonResult) -> tuple[str, ...]:
    """For each prediction that does not hold: what would have to be so for it to be right."""
    return tuple(
        f"{letter(i)} would be right if {choice.right_if}"
        for i, choice in enumerate(result.lesson.choices)
        if choice.right_if and i != result.answer.choice
    )


def step_blocks(result: LessonResult) -> tuple[Block, ...]:
    """How far to go at the bench until the tool can tell."""
    if not result.steps:
        return ()
    return (Bullets(tuple(sentence(sized.words) for sized in result.steps)),)


# ---- figures


def every_figure(result: LessonResult) -> list[str]:
    """Names of all figures that some case has, the one asked about first."""
    question = result.lesson.question
    first = [name for name in (question.figure, question.ratio_to) if name]
    known = dict.fromkeys(name for case in result.cases for name in case.figures)
    return [name for name in dict.fromkeys((*first, *known)) if name in known]


def table_figures(result: LessonResult) -> list[str]:
    """The few figures that the lesson talks of: what it asks about, what its texts name."""
    lesson = result.lesson
    question = lesson.question
    texts = " ".join((lesson.because, lesson.story, lesson.bench))
    named = [m.rpartition(".")[2].partition(":")[0] for m in re.findall(r"\{([^{}]+)\}", texts)]
    wanted = [name for name in dict.fromkeys((question.figure, question.ratio_to, *named)) if name]
    return [name for name in wanted if any(name in case.figures for case in result.cases)][:MOST_ROWS]


def case_blocks(result: LessonResult, names: Sequence[str]) -> list[Block]:
    """Which cases there are, and figures × cases."""
    cases = Facts(tuple((case.case.name, case.case.words) for case in result.cases))
    if not names:
        return [cases]
    return [cases, figure_table(result, names), Words(BANDS.format(times=result.members))]


def figure_table(result: LessonResult, names: Sequence[str]) -> Table:
    """Figures × cases."""
    rows = tuple((figure_words(name).label, *(cell(case, name) for case in result.cases)) for name in names)
    return Table(("", *(case.case.name for case in result.cases)), rows, (0,), wraps=0)


def cell(case: CaseResult, name: str) -> str:
    """A figure of a case with its band, short enough for a column."""
    if name not in case.figures:
        return "–"
    text = show_figure(name, band_of(case.figures[name]))
    return re.sub(rf"\(from (.*), for some {NEVER}\)", r"(\1–never)", text)


# ---- pictures on a page


def lesson_picture_blocks(result: LessonResult) -> list[Picture]:
    """The pictures with their captions, and what they show for who cannot see them."""
    asked = figure_words(result.lesson.question.figure).label
    cases = "; ".join(case.case.words for case in result.cases)
    captions = {
        "curve": f"{asked} against strokes, case by case; the shading holds 90 of 100."
        if has_course(result)
        else f"{asked}, case by case; the line holds 90 of 100.",
        "before": "The typical face before, less its best plane.",
        "after": "The typical face after, less its best plane.",
        "removed": "Where the metal went, on one scale.",
        "dye": "Where the dye is full, fading and gone at the last look.",
    }
    blocks = []
    for name in dict.fromkeys(result.lesson.pictures):
        spoken = (
            f"{captions[name][:1].upper()}{captions[name][1:]} Cases: {cases}. The table has the figures."
        )
        blocks.append(Picture(f"{name}.png", sentence(captions[name]), spoken))
    return blocks


# ---- JSON


def lesson_json(result: LessonResult, predicted: int | None) -> dict[str, Any]:
    """One lesson worked, as a JSON object."""
    lesson, answer, question = result.lesson, result.answer, result.lesson.question
    words = figure_words(question.figure)
    unit, factor = SCREEN[asked_unit(question)]
    return {
        "name": lesson.name,
        "title": lesson.title,
        "invented": is_invented(lesson),
        "story": result.story,
        "ask": lesson.ask,
        "choices": [
            {"letter": letter(i), "words": c.words, "right_if": c.right_if or None}
            for i, c in enumerate(lesson.choices)
        ],
        "predicted": None if predicted is None else letter(predicted),
        "mark": mark_of(result, predicted),
        "members": result.members,
        "seed": result.seed,
        "answer": {
            "choice": None if answer.choice is None else letter(answer.choice),
            "support": figure_json(answer.support),
            "intended": letter(lesson.intends),
            "as_intended": result.as_intended,
            "words": answer.words,
            "figure": question.figure,
            "unit": unit or None,
            "ratio_to": question.ratio_to,
            "base": question.base,
            "values": {name: band_json(value, factor) for name, value in answer.values.items()},
        },
        "because": result.because or None,
        "causes": [{"words": run.words, "held": run.held} for run in result.causes],
        "bench": result.bench,
        "steps": [{"words": s.words, "strokes": s.strokes, "tool": s.step.tool} for s in result.steps],
        "cases": [_case_json(case, words.factor) for case in result.cases],
        "cautions": list(take_care(lesson)),
        "notes": list(result.notes),
    }


def _case_json(case: CaseResult, factor: float) -> dict[str, Any]:
    figures = {}
    for name, values in case.figures.items():
        words = figure_words(name)
        found = band_of(words.factor * np.asarray(values, dtype=float))
        figures[name] = {"unit": words.unit or None, **(band_json(found) or {})}
    return {
        "name": case.case.name,
        "words": case.case.words,
        "figures": figures,
        "strokes": [int(n) for n in case.strokes],
        "course": None
        if case.course is None
        else [band_json(band_of(factor * column)) for column in np.asarray(case.course).T],
    }

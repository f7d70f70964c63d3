"""An exercise on paper: what is asked, the face with its lines, the readings as written, room to answer."""

from __future__ import annotations

from handlap.cli.reports.flow import Flow
from handlap.cli.reports.pdf_page import PAPERS, Page, write_pdf
from handlap.cli.reports.quantity import stated, stated_length
from handlap.cli.reports.wording import face_words, wanted_words
from handlap.cli.sheets.sheet_measuring import (
    MARGIN,
    SETTING,
    MeasuringSheet,
    face_page,
    number_pages,
    sheet_title,
    table_pages,
)
from handlap.sim.common import spoken
from handlap.sim.common.spoken import per_length
from handlap.sim.planning.cautions import cautions
from handlap.sim.teaching.exercise import Exercise
from handlap.sim.teaching.exercise_answers import QUESTIONS
from handlap.sim.teaching.exercise_levels import LEVELS

WAS_READ = (
    "Somebody laid a straightedge on the lines overleaf, tried leaves at the stations and wrote down what "
    "went and what did not. "
)
TO_FEEL = (
    "Nobody has felt it yet: the page feel.html holds the face. Lay the straightedge on the lines overleaf, "
    "try leaves at the stations, and write down what goes and what does not. "
)
WRITE = 7.5
"""Height of a line to write on [mm]."""


def exercise_sheet(exercise: Exercise, paper: str = "A4") -> MeasuringSheet:
    """The sheet of an exercise; nothing of its truth is on it.

    Parameters
    ----------
    paper : a name of :data:`handlap.cli.reports.pdf_page.PAPERS`
    """
    width, height = PAPERS[paper]
    scenario, lines = exercise.scenario, exercise.task.lines
    face, scale = face_page(scenario, lines, height, width)
    pages = [
        _task_page(exercise, width, height),
        face,
        *table_pages(scenario, lines, "mm", width, height, filled=not exercise.felt),
        _answer_page(exercise, width, height),
    ]
    number_pages(pages, scenario, f"exercise, {exercise.name}")
    return MeasuringSheet(write_pdf(pages, f"Exercise: {scenario.title}"), scale, len(pages))


def _task_page(exercise: Exercise, width: float, height: float) -> Page:
    flow = Flow(width, height, SETTING)
    flow.new_page()
    scenario = exercise.scenario
    flow.y = sheet_title(flow.page, scenario, f"Exercise: {exercise.name}") + 3.0
    level = LEVELS[exercise.level]
    words = level.felt if exercise.felt else level.words
    leaves = f"Leaves at hand: {', '.join(spoken.leaf(leaf) for leaf in scenario.readings.leaves)}."
    part, hands = scenario.part, scenario.hands
    sections = (
        (
            "The job",
            (
                f"{face_words(part)}, {stated(round(part.weight / 9.80665, 2))} kg. Wanted: "
                f"{wanted_words(part)}.",
                f"What to expect at this level: {words}. All of it is invented.",
                (TO_FEEL if exercise.felt else WAS_READ) + leaves,
            ),
        ),
        (
            "The bench",
            (
                f"Papers at hand: {', '.join(grit.name for grit in scenario.paper.grits)}, worked "
                f"{'wet' if scenario.paper.wet else 'dry'}, on a flat stone of "
                f"{stated(per_length() * scenario.plate.length)} × {stated_length(scenario.plate.width)}.",
                f"Strokes along the part, {stated_length(scenario.strokes.length)} each way; the hands "
                f"press with some {stated(hands.press.value)} N, {stated_length(hands.height.value)} over "
                "the paper.",
            ),
        ),
        (
            "What to do",
            (
                "Look at the readings line by line, and draw each as a curve beside its table. Where does "
                "the straightedge sit still, where does it rock? What do the diagonals say?",
                "Look for readings that do not fit their neighbours"
                + (", and feel them again." if exercise.felt else "."),
                *(
                    (
                        "Hand the readings over with handlap exercise FOLDER --readings FILE, the text that "
                        "feel.html saves; or type them in with handlap readings FOLDER/scenario.toml.",
                    )
                    if exercise.felt
                    else ()
                ),
                "Write your answers on the last page, then enter them with handlap exercise FOLDER, or in "
                "the file answers.toml. Only then does handlap exercise FOLDER --mark open the sealed truth.",
                "You may use any means: rules of thumb, a calculator, handlap survey and handlap plan on "
                "scenario.toml. First try without.",
            ),
        ),
        ("Take care, on a real part", cautions(part.metal, weight=part.weight, wet=scenario.paper.wet)),
    )
    for title, items in sections:
        flow.heading(title)
        for item in items:
            flow.words(item, mark="–")
            flow.y += 0.7
    return flow.page


def _answer_page(exercise: Exercise, width: float, height: float) -> Page:
    page = Page(width, height)
    room = width - 2 * MARGIN
    y = sheet_title(page, exercise.scenario, f"Answers to the exercise, {exercise.name}") + 2.0
    page.text(MARGIN, y, "By", 9.0)
    page.line(MARGIN + 7.0, y + 4.0, MARGIN + 80.0, y + 4.0, 0.4)
    y += 7.0
    heading = ""
    for asked in QUESTIONS:
        if asked.heading != heading:
            heading = asked.heading
            y = page.text(MARGIN, y + 2.0, heading, 11.0, bold=True) + 0.5
        y = page.paragraph(MARGIN, y, asked.text, room, 9.5)
        y = page.paragraph(MARGIN, y, asked.more, room, 7.5)
        page.line(MARGIN, y + WRITE - 1.0, MARGIN + room, y + WRITE - 1.0, 0.4)
        y += WRITE + 1.2
    return page

"""Lessons on paper: all questions first, with room to write; the answers on pages of their own.

Lines, letters and pictures that a grey print keeps apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handlap.cli.drawing.lesson_pictures import lesson_pictures
from handlap.cli.reports.blocks import Picture
from handlap.cli.reports.course_report import course_report
from handlap.cli.reports.flow import Flow, PageSetting, line_height
from handlap.cli.reports.lesson_report import (
    OTHERS,
    answer_sections,
    headline,
    lead,
    letter,
    paragraphs,
    titled,
    why_blocks,
)
from handlap.cli.reports.lesson_words import take_care
from handlap.cli.reports.paper_blocks import Blanks, TickChoice, WritingLines
from handlap.cli.reports.pdf_page import PAPERS, wrap, write_pdf
from handlap.sim.teaching.lesson import Lesson, LessonResult
from handlap.sim.teaching.lesson_course import LessonCourse

MARGIN, FOOT = 18.0, 14.0
TITLE, HEAD, TEXT, SMALL = 15.0, 11.0, 10.5, 7.0
"""Sizes of letters [pt]."""
RULE = 8.5
"""Distance of two lines to write on [mm]."""
FEWEST_RULES, MOST_RULES = 5, 20
SETTING = PageSetting(
    margin=MARGIN, foot=FOOT + 3.0, text=TEXT, head=HEAD, cells=TEXT - 1.0, above=2.5, below=1.2,
    rule=0.5, rule_at=0.0, with_next=12.0, rows=0.3, broken=True, least=30.0, caption=SMALL + 1.5,
    tallest=96.0, over=1.5, under=0.0, to_caption=0.5,
)  # fmt: skip


@dataclass(frozen=True)
class Handout:
    """A handout: its PDF, how many pages it has, and how many of them hold the questions."""

    pdf: bytes
    pages: int
    questions: int


def lesson_handout(results: Sequence[LessonResult], paper: str = "A4") -> Handout:
    """The lessons as a handout; ``paper``: "A4" or "Letter"."""
    asked, told = (Flow(*PAPERS[paper], SETTING) for _ in range(2))
    for place, result in enumerate(results, 1):
        number = f"{place}. " if len(results) > 1 else ""
        _question(asked, result, number, alone=len(results) == 1)
        _answer(told, result, number, first=place == 1)
    pages = [*asked.pages, *told.pages]
    closing = take_care(results[0].lesson)[-1]
    for i, page in enumerate(pages, 1):
        y = page.height - FOOT + 4.0
        page.text(MARGIN, y, closing, SMALL)
        what = "questions" if i <= len(asked.pages) else "answers"
        label = f"{what}, page {i} of {len(pages)}"
        page.text(page.width - MARGIN, y - 3.6, label, SMALL + 1.0, align="right")
    title = results[0].lesson.title if len(results) == 1 else f"{len(results)} lessons in lapping by hand"
    return Handout(write_pdf(pages, f"{title}: questions and answers"), len(pages), len(asked.pages))


def course_handout(course: LessonCourse, results: Sequence[LessonResult], paper: str = "A4") -> Handout:
    """A course as a handout: the plan with safety, a page a lesson, the way out, short answers.

    Parameters
    ----------
    results : the lessons of the course worked, the one on the way out last
    paper : "A4" or "Letter"
    """
    asked, told = (Flow(*PAPERS[paper], SETTING) for _ in range(2))
    _course_plan(asked, course)
    for place, result in enumerate(results, 1):
        asked.new_page()
        last = place == len(results)
        _question(asked, result, "On the way out: " if last else f"{place}. ", alone=True)
    for place, result in enumerate(results, 1):
        _short_answer(told, result, place)
    pages = [*asked.pages, *told.pages]
    for i, page in enumerate(pages, 1):
        y = page.height - FOOT + 4.0
        what = "questions" if i <= len(asked.pages) else "answers"
        page.text(page.width - MARGIN, y, f"{what}, page {i} of {len(pages)}", SMALL + 1.0, align="right")
    return Handout(write_pdf(pages, f"{course.title}: a course"), len(pages), len(asked.pages))


def _course_plan(sheet: Flow, course: LessonCourse) -> None:
    report = course_report(course)
    sheet.new_page()
    sheet.words(course.title, TITLE, bold=True)
    sheet.y += 1.5
    for item in report.lead:
        sheet.words(item)
    for section in report.sections:
        sheet.heading(section.title)
        for block in section.blocks:
            sheet.block(block)


def _short_answer(sheet: Flow, result: LessonResult, place: int) -> None:
    """Answer, reason and what holds it; no pictures and no cautions, which stand on the first page."""
    sheet.need(45.0)
    if sheet.y > MARGIN:
        sheet.y += 4.0
    answer = headline(result, None)
    sheet.words(f"{place}. {result.lesson.title}: {answer}", HEAD, bold=True)
    for item in lead(result, None):
        sheet.words(item, mark="•")
    for block in why_blocks(result):
        sheet.block(block)


# ---- questions


def _question(sheet: Flow, result: LessonResult, number: str, *, alone: bool) -> None:
    """A lesson's question, kept on one page where it fits, with rules for the reasons."""
    lesson = result.lesson
    fixed = _height(sheet, result, number)
    sheet.need(min(fixed + FEWEST_RULES * RULE, sheet.size[1] - MARGIN - FOOT - 4.0))
    if sheet.y == MARGIN:
        _names(sheet)
    else:
        sheet.y += 7.0
        sheet.page.line(MARGIN, sheet.y, MARGIN + sheet.wide, sheet.y, 1.5)
        sheet.y += 5.0
    sheet.words(number + titled(lesson), TITLE, bold=True)
    sheet.y += 1.5
    for words in paragraphs(result.story):
        sheet.words(words.text)
        sheet.y += 1.5
    for words in paragraphs(lesson.ask):
        sheet.words(words.text, bold=True)
        sheet.y += 1.5
    sheet.put(*_choices(lesson))
    sheet.y += 2.0
    sheet.words("What I think, and why:", bold=True)
    sheet.put(WritingLines(RULE, MOST_RULES if alone else FEWEST_RULES))


def _names(sheet: Flow) -> None:
    """Who and when."""
    middle = 0.62 * sheet.wide
    names = (("Name", 0.0, middle - 6.0), ("Date", middle, sheet.wide))
    sheet.put(Blanks(names, TEXT, 4.5, 11.0, 2.6, 0.35))


def _choices(lesson: Lesson) -> list[TickChoice]:
    """Boxes to tick, a letter and a prediction each."""
    return [TickChoice(letter(i), choice.words) for i, choice in enumerate(lesson.choices)]


def _height(sheet: Flow, result: LessonResult, number: str) -> float:
    """Height of a question without its rules [mm]."""
    lesson, wide = result.lesson, sheet.wide
    high = 22.0 + line_height(TITLE) * len(wrap(number + titled(lesson), wide, TITLE, True))
    for text, bold in ((result.story, False), (lesson.ask, True)):
        for words in paragraphs(text):
            high += line_height(TEXT) * len(wrap(words.text, wide, TEXT, bold)) + 1.5
    return high + sum(choice.high(sheet) for choice in _choices(lesson))


# ---- answers


def _answer(sheet: Flow, result: LessonResult, number: str, *, first: bool) -> None:
    """A lesson's answer with its pictures; each begins a page."""
    sheet.new_page()
    answer = headline(result, None)
    sheet.words(f"Answers{'' if first else ', continued'}", SMALL + 2.0)
    sheet.words(number + titled(result.lesson), TITLE, bold=True)
    sheet.y += 1.0
    sheet.words(answer[:1].upper() + answer[1:] + ".", HEAD + 1.0, bold=True)
    for item in lead(result, None):
        sheet.words(item, mark="•")
    pictures = lesson_pictures(result)
    for section in answer_sections(result, None):
        if section.title == OTHERS:
            continue
        shown = [b for b in section.blocks if isinstance(b, Picture)]
        blocks = section.blocks
        sheet.heading(section.title)
        for block in blocks:
            sheet.block(block)
        for picture in shown:
            sheet.picture(pictures[picture.name], picture.caption)
    sheet.y += 1.0
    sheet.words(f"Each case worked {result.members} times, seed {result.seed}.", SMALL + 1.5)

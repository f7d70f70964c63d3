"""A course as a plan: what is taught when, with what, and what is said of safety once."""

from __future__ import annotations

from handlap.cli.reports.blocks import Bullets, Report, Section, Table
from handlap.sim.teaching.lesson_course import LessonCourse, tools_of


def course_lead(course: LessonCourse) -> tuple[str, ...]:
    """How many, how long, and what is left over."""
    plates = "one plate" if course.plates == 1 else f"{course.plates} plates"
    at_plate = sum(part.minutes for part in course.parts if part.plate)
    return (
        f"{course.minutes} minutes, {course.people} people, {plates}; {at_plate} minutes at the plate.",
        f"{course.spare} minutes are left for the start, changing over, and the question on the way out.",
    )


def course_table(course: LessonCourse) -> Table:
    """One row a lesson: from which minute, what, with what."""
    rows = []
    for place, part in enumerate(course.parts, 1):
        tools = ", ".join(tools_of(part.lesson)) or "none"
        needs = f"plate, {tools}" if part.plate else tools
        rows.append((str(place), f"{part.minutes} min", part.lesson.title, needs))
    rows.append((str(len(course.parts) + 1), "way out", course.exit.title, "paper and pencil"))
    return Table(("", "minutes", "lesson", "tools"), tuple(rows), (2, 3), wraps=3)


def doing(course: LessonCourse) -> Bullets:
    """What the class does, lesson by lesson."""
    return Bullets(tuple(f"{place}. {part.do}" for place, part in enumerate(course.parts, 1)))


def course_report(course: LessonCourse) -> Report:
    """The plan of a course."""
    sections = [Section("Order", (course_table(course),)), Section("What the class does", (doing(course),))]
    if course.before:
        sections.append(Section("Lay ready", (Bullets(course.before),)))
    sections.append(Section("Safety, once, at the start", (Bullets(course.safety),)))
    return Report(
        "lesson", "a course of lessons", "plain", course.title, course_lead(course), tuple(sections)
    )

"""A course: lessons in an order, with minutes, people and plates, read from one file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.findings import Findings
from handlap.sim.job.given_file import builtin_paths, located, path_beside, read_small_text
from handlap.sim.job.scenario_file import parse_toml
from handlap.sim.teaching.bench_tools import TOOLS
from handlap.sim.teaching.lesson import Lesson
from handlap.sim.teaching.lesson_file import LARGEST_FILE, LESSONS, load_lesson
from handlap.sim.teaching.lesson_values import refuse_unknown, tables_of, text_of, whole_of, words_of

COURSES = "courses"
"""Folder of the built-in ones."""
COURSE_KEYS = ("title", "minutes", "people", "plates", "before", "safety", "part", "exit")
PART_KEYS = ("lesson", "minutes", "plate", "do")
MOST_PARTS, MOST_MINUTES, MOST_PEOPLE = 20, 2000, 200


@dataclass(frozen=True)
class CoursePart:
    """One lesson of a course: its minutes, whether it needs the plate, what the class does."""

    lesson: Lesson
    minutes: int
    plate: bool
    do: str


@dataclass(frozen=True)
class LessonCourse:
    """A course: ``exit`` is the lesson whose question everybody answers on the way out."""

    name: str
    title: str
    minutes: int
    people: int
    plates: int
    before: tuple[str, ...]
    safety: tuple[str, ...]
    parts: tuple[CoursePart, ...]
    exit: Lesson

    @property
    def lessons(self) -> tuple[Lesson, ...]:
        """The lessons in their order, the one on the way out last."""
        return (*(part.lesson for part in self.parts), self.exit)

    @property
    def spare(self) -> int:
        """Minutes left for the start, changing over, and the question on the way out."""
        return self.minutes - sum(part.minutes for part in self.parts)


def tools_of(lesson: Lesson) -> tuple[str, ...]:
    """What a lesson's steps are looked at with, in words."""
    return tuple(dict.fromkeys(TOOLS[step.tool].words for step in lesson.steps))


def load_course(path_or_name: str | Path) -> LessonCourse:
    """The course of a file, or the built-in one of that name.

    Raises
    ------
    ScenarioError : with all faults of the file and of the lessons in it
    """
    path = located(path_or_name, builtin_paths(COURSES), "course")
    found = Findings(path.name)
    document = parse_toml(read_small_text(path, LARGEST_FILE), found)
    refuse_unknown(document, COURSE_KEYS, "", found)
    title = text_of(document.get("title"), "title", found)
    minutes = whole_of(document.get("minutes"), "minutes", 1, MOST_MINUTES, found, needed=True)
    people = whole_of(document.get("people"), "people", 1, MOST_PEOPLE, found, needed=True)
    plates = whole_of(document.get("plates"), "plates", 1, MOST_PEOPLE, found, needed=True)
    before = words_of(document.get("before"), "before", None, found)
    safety = words_of(document.get("safety"), "safety", None, found)
    if not safety:
        found.fault("safety", None, "missing: a list of what is said of safety at the start")

    def part(raw: dict[str, Any], label: str, found: Findings) -> CoursePart | None:
        return _part(raw, label, path.parent, found)

    parts = tables_of(document.get("part"), "part", 1, MOST_PARTS, PART_KEYS, found, part)
    way_out = _lesson(document.get("exit"), "exit", path.parent, found)
    taken = sum(p.minutes for p in parts or ())
    if minutes is not None and taken > minutes:
        found.fault("minutes", minutes, f"at least the {taken} that its parts take")
    if found.faults or way_out is None or parts is None:
        raise ScenarioError(found.faults)
    return LessonCourse(
        path.stem, title, minutes or 0, people or 0, plates or 0, before or (), safety or (), parts, way_out
    )


def _part(raw: dict[str, Any], label: str, folder: Path, found: Findings) -> CoursePart | None:
    lesson = _lesson(raw.get("lesson"), f"{label}.lesson", folder, found)
    minutes = whole_of(raw.get("minutes"), f"{label}.minutes", 1, MOST_MINUTES, found, needed=True)
    plate = raw.get("plate", False)
    if not isinstance(plate, bool):
        found.fault(f"{label}.plate", plate, "true or false")
    do = text_of(raw.get("do"), f"{label}.do", found)
    if lesson is None or minutes is None:
        return None
    return CoursePart(lesson, minutes, bool(plate), do)


def _lesson(raw: Any, label: str, folder: Path, found: Findings) -> Lesson | None:
    if not isinstance(raw, str) or not raw:
        found.fault(label, raw, "the name of a lesson, or a file with one beside the course")
        return None
    place = raw if raw in builtin_paths(LESSONS) else path_beside(folder, raw)
    if place is None:
        found.fault(label, raw, "a built-in lesson, or a file in the folder of the course or below it")
        return None
    try:
        return load_lesson(place)
    except ScenarioError as error:
        found.faults += error.faults
        return None

"""Reading a lesson's file (TOML) into the records of :mod:`handlap.sim.teaching.lesson`."""

from __future__ import annotations

from pathlib import Path

from handlap.sim.teaching.lesson import Lesson


def lesson_names() -> list[tuple[str, str]]:
    """Name and title of every built-in lesson, in the order they are taught."""
    raise NotImplementedError


def load_lesson(path_or_name: str | Path) -> Lesson:
    """The lesson of a file, or the built-in one of that name.

    Raises
    ------
    ScenarioError : with all faults of the file; or, if there is no such file, what there is
    """
    raise NotImplementedError

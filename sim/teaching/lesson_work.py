"""Working a lesson: its cases on the same members, and what they answer to its question."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor

from handlap.sim.teaching.lesson import Lesson, LessonResult


def work_lesson(
    lesson: Lesson,
    *,
    members: int = 24,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> LessonResult:
    """Work all cases of a lesson on the same members and let the outcome choose."""
    raise NotImplementedError

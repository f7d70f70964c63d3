"""Readings of an exercise that a learner took on its page, taken over into the folder."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handlap.cli.asking.exercise_folder import FORM, SCENARIO, form_in, task_in
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.sim.job.scenario import StraightedgeLine
    from handlap.sim.teaching.exercise import ExerciseTask


def take_over(folder: Path, source: str, as_json: bool) -> None:
    """Put the readings of a text into the scenario of a folder, and its answers into the form.

    Parameters
    ----------
    source : the file of the text, or ``-`` for standard input

    Raises
    ------
    InputError, ScenarioError : and nothing is written
    """
    from handlap.cli.asking.page_reading import given_text
    from handlap.cli.files import free_copy, place_to_write, write_whole
    from handlap.sim.teaching.exercise import is_felt
    from handlap.sim.teaching.exercise_answers import form_text
    from handlap.sim.teaching.exercise_readings import LARGEST, read_felt

    task = task_in(folder, unread=True)
    if not is_felt(task.name):
        raise InputError(
            f"{folder}: the readings of this exercise are given; only one made with --feel takes readings"
        )
    lines, answers = read_felt(*given_text(source, LARGEST), task)
    place_to_write(folder / SCENARIO)
    file, form = folder / SCENARIO, folder / FORM
    held = form_in(folder) if form.exists() else {}
    new = _with_lines(file, task, lines)
    backup = None
    if any(line.name in {one.name for one in lines} for line in task.scenario.readings.lines):
        backup = free_copy(file)
        write_whole(backup, file.read_bytes())
    write_whole(file, new)
    if answers:
        write_whole(form, form_text(task, {**held, **answers}))
    _tell(folder, task_in(folder, unread=True), lines, answers, backup, as_json)


def _with_lines(file: Path, task: ExerciseTask, lines: Sequence[StraightedgeLine]) -> str:
    """The text of the scenario with these lines in place of those of the same names."""
    from handlap.cli.asking.readings_text import line_text
    from handlap.sim.job.scenario_file import file_frame, load_text
    from handlap.sim.job.toml_edit import exchange_lists

    text = file.read_bytes().decode("utf-8-sig")
    system, middle = file_frame(text)
    there = {line.name for line in task.scenario.readings.lines}
    sheet = {line.name: line for line in task.lines}
    tables = [
        (
            line.name if line.name in there else None,
            line_text(sheet[line.name], line.held, line.stations, system, middle, task.scenario.leaf_unit),
        )
        for line in lines
    ]
    new = exchange_lists(text, "readings.line", tables)
    load_text(new, str(file), file=file.name, folder=file.parent)
    return new


def _tell(
    folder: Path,
    task: ExerciseTask,
    lines: Sequence[StraightedgeLine],
    answers: dict[str, str],
    backup: Path | None,
    as_json: bool,
) -> None:
    from handlap.cli.reports.quantity import counted
    from handlap.cli.reports.text import paragraphs
    from handlap.cli.screen import Screen, emit
    from handlap.sim.teaching.exercise_readings import still_to_read

    count, left = sum(len(line.stations) for line in lines), still_to_read(task)
    if as_json:
        from handlap.cli.reports.as_json import dumps

        emit(
            dumps(
                {
                    "schema": "handlap.exercise-readings/1",
                    "folder": str(folder),
                    "file": str(folder / SCENARIO),
                    "backup": None if backup is None else str(backup),
                    "lines": [line.name for line in lines],
                    "readings": count,
                    "answers": sorted(answers),
                    "still_to_read": left,
                }
            )
        )
        return
    words = [
        f"{counted(count, 'reading')} on {counted(len(lines), 'line')} written into {folder / SCENARIO}."
    ]
    if backup is not None:
        words.append(f"As it was before: {backup}.")
    if answers:
        words.append(f"{counted(len(answers), 'answer')} written into {folder / FORM}.")
    if left:
        words.append(f"Still to be felt before you can answer: {'; '.join(left)}.")
    else:
        words.append(f"All stations are read. To answer: handlap exercise {folder}")
    emit(paragraphs(words, Screen.of(sys.stdout).width))

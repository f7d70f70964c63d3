"""Lessons on disk: which there are, and a file (TOML) read into :class:`Lesson`.

One lesson is one file without any code.  Its keys are listed in :mod:`lesson_keys`; all faults of
a file, those of the job inside it among them, are collected and raised at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.comparing.causes import only, without
from handlap.sim.job.findings import Findings
from handlap.sim.job.given_file import builtin_paths, located, path_beside, read_small_text
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.scenario_file import load_document, parse_toml, read_document
from handlap.sim.teaching.lesson import Case, Cause, Lesson
from handlap.sim.teaching.lesson_check import check_texts
from handlap.sim.teaching.lesson_keys import read_lesson

LARGEST_FILE = 200_000
"""[bytes]"""
LESSONS = "lessons"
"""Folder of the built-in ones."""


def lesson_names() -> list[tuple[str, str]]:
    """Name and title of every built-in lesson, in the order they are taught.

    >>> len(lesson_names()) >= 14
    True
    """
    found = []
    for name, path in builtin_paths(LESSONS).items():
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        found.append((document.get("order", 1000), name, str(document.get("title", name))))
    return [(name, title) for _, name, title in sorted(found)]


START = "hollow-crown-twist"
"""The lesson whose head explains every key."""


def lesson_start() -> str:
    """A lesson's file to start from: every key explained, and a lesson that works below."""
    text = builtin_paths(LESSONS)[START].read_text(encoding="utf-8")
    title = tomllib.loads(text)["title"]
    head = "# A lesson to change into one of your own; as it stands, the first built-in one.  Invented."
    return (head + text[text.index("\n") :]).replace(f'title = "{title}"', 'title = "A lesson of my own"', 1)


def load_lesson(path_or_name: str | Path) -> Lesson:
    """The lesson of a file, or the built-in one of that name.

    Raises
    ------
    ScenarioError : with all faults of the file; or, if there is no such file, what there is
    """
    path = lesson_path(path_or_name)
    return lesson_of(read_small_text(path, LARGEST_FILE), path.stem, file=path.name, folder=path.parent)


def lesson_of(text: str, name: str, *, file: str | None = None, folder: Path | None = None) -> Lesson:
    """The lesson that a TOML text describes; see :func:`load_lesson`.

    Parameters
    ----------
    name : its name
    file : name of the file in messages; without it the lesson's
    folder : where the files lie that its job names
    """
    return lesson_of_document(parse_toml(text, Findings(file or name)), name, file=file, folder=folder)


def lesson_of_document(
    document: dict[str, Any], name: str, *, file: str | None = None, folder: Path | None = None
) -> Lesson:
    """The lesson of a file's tables; see :func:`lesson_of`."""
    found = Findings(file or name)
    scenario, place = _scenario(document.get("scenario"), found, folder)
    lesson = read_lesson(document, name, scenario, place, found)
    if lesson is not None:
        check_texts(lesson, found)
        _check_scenarios(lesson, found)
        _check_causes(lesson, found)
    if found.faults or lesson is None:
        raise ScenarioError(found.faults)
    return lesson


def case_scenario(lesson: Lesson, case: Case) -> Scenario:
    """The job of one case: that of the lesson with what the case changes.

    Raises
    ------
    ScenarioError : with all faults of the job
    """
    return load_document(
        merged(lesson.scenario, case.change),
        lesson.name,
        folder=lesson.folder,
        require_readings=case.face is None and lesson.face is None,
    )


def cause_scenario(lesson: Lesson, case: Case, cause: Cause) -> tuple[Case, Scenario, bool]:
    """The case and the job of a cause's run, and whether it starts from a flat face.

    Raises
    ------
    ScenarioError : if the change does not go with the job
    """
    other = replace(case, change=merged(case.change, cause.change), face=cause.face or case.face)
    scenario = case_scenario(lesson, other)
    if cause.only is not None:
        alone, flat = only(scenario, cause.only)
        return other, alone, flat
    return other, without(scenario, cause.without), "starting shape" in cause.without


def merged(document: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Tables with those of a change laid over them; anything but a table is replaced whole.

    >>> merged({"hands": {"press": 40, "height": 50}}, {"hands": {"height": 20}})
    {'hands': {'press': 40, 'height': 20}}
    """
    found = dict(document)
    for name, value in change.items():
        below = found.get(name)
        both = isinstance(value, Mapping) and isinstance(below, Mapping)
        found[name] = merged(below, value) if both and isinstance(below, Mapping) else value
    return found


def lesson_path(path_or_name: str | Path) -> Path:
    """Path of a lesson's file, or of the built-in one of that name.

    Raises
    ------
    ScenarioError : if there is none; says which there are
    """
    return located(path_or_name, builtin_paths(LESSONS), "lesson")


def _scenario(raw: Any, found: Findings, folder: Path | None) -> tuple[dict[str, Any], Path | None]:
    """The job's tables, written out or those of a scenario, and where its files lie."""
    if isinstance(raw, dict):
        return raw, folder
    if isinstance(raw, str):
        place = raw if raw in builtin_paths() or folder is None else path_beside(folder, raw)
        if place is None:
            found.fault(
                "scenario", raw, "a built-in scenario, or a file in the folder of the lesson or below it"
            )
            return {}, folder
        try:
            return read_document(place)
        except ScenarioError as error:
            found.fault("scenario", raw, "; ".join(f.allowed for f in error.faults).replace("\n", "; "))
            return {}, folder
    found.fault("scenario", raw, "a table [scenario] with the keys of a scenario file, or the name of one")
    return {}, folder


def _check_scenarios(lesson: Lesson, found: Findings) -> None:
    """Load the job of every case; a fault of the job itself is written down once."""
    if not lesson.scenario:
        return
    seen: set[tuple[str, str, str]] = set()
    for number, case in enumerate(lesson.cases, 1):
        changed = _dotted(case.change)
        try:
            case_scenario(lesson, case)
        except ScenarioError as error:
            for fault in error.faults:
                top = fault.key.split("[")[0].split(" ")[0]
                own = any(top == name or top.startswith(name + ".") for name in changed)
                key = f"case[{number}].change.{fault.key}" if own else f"scenario.{fault.key}".rstrip(".")
                if (key, fault.got, fault.allowed) not in seen:
                    seen.add((key, fault.got, fault.allowed))
                    found.faults.append(Fault(found.file, key, fault.got, fault.allowed))


def _check_causes(lesson: Lesson, found: Findings) -> None:
    """Load the job of every cause's run; what its change has wrong is written down."""
    if not lesson.scenario or found.faults:
        return
    for number, cause in enumerate(lesson.causes, 1):
        try:
            for case in lesson.cases:
                if cause.cases is None or case.name in cause.cases:
                    cause_scenario(lesson, case, cause)
        except ScenarioError as error:
            for fault in error.faults:
                found.fault(f"cause[{number}].change.{fault.key}", fault.got, fault.allowed)


def _dotted(change: Mapping[str, Any], prefix: str = "") -> list[str]:
    """Dotted names of everything a change states.

    >>> _dotted({"hands": {"press": 1}, "units": "mm"})
    ['hands.press', 'units']
    """
    names: list[str] = []
    for name, value in change.items():
        if isinstance(value, Mapping):
            names += _dotted(value, f"{prefix}{name}.")
        else:
            names.append(prefix + name)
    return names

"""Readings that a learner took of an exercise: as its page hands them over, whole enough to answer, or wrong.

The text of the page is a line of JSON a line of the straightedge, with a sum over it, as the page for the
bench hands over (:mod:`handlap.sim.bench.bench_page_text`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from handlap.sim.bench.bench_page_text import summed_objects
from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.common.spelling import shortened
from handlap.sim.common.units import from_si, show, to_si
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.job.scenario import Station, StraightedgeLine
from handlap.sim.job.scenario_file import load_text
from handlap.sim.teaching.exercise import Exercise, ExerciseTask, Slip, station_key, task_of
from handlap.sim.teaching.exercise_answers import LONGEST_NAME, NAMES, read_answer
from handlap.sim.teaching.exercise_feel import HOLDS, station_gaps
from handlap.sim.teaching.exercise_text import readings_text

HEAD, SCHEMA = "handlap_felt", 1
PAGE = "feel.html of an exercise"
LARGEST = 100_000
"""[bytes]"""
NONE, OPEN = "none", "open"
"""What stands where no leaf goes, and where the thickest does."""
SAME = 1e-7
"""Leaves no further apart than this are the same one [m]."""


# ---- the text of the page


def read_felt(
    text: str, file: str, task: ExerciseTask
) -> tuple[tuple[StraightedgeLine, ...], dict[str, str]]:
    """The lines in a text of the page, each with the stations at which leaves were tried, and the answers.

    Raises
    ------
    ScenarioError : if it is torn or of another exercise; or with all that is wrong in its lines
    """
    lines = [line.rstrip() for line in text.removeprefix("\ufeff").splitlines()]
    while lines and not lines[-1]:
        lines.pop()
    objects = summed_objects(lines, file, HEAD, PAGE)
    head = objects[0]
    faults: list[Fault] = []
    if head[HEAD] != SCHEMA:
        words = f"{SCHEMA}; a page of another version: make the exercise anew"
        faults.append(Fault(file, f"line 1, {HEAD}", shortened(head[HEAD]), words))
    if head.get("exercise") != task.name:
        faults.append(Fault(file, "line 1, exercise", shortened(head.get("exercise")), f'"{task.name}"'))
    if faults:
        raise ScenarioError(faults)
    by_letter = {line.letter: line for line in task.lines}
    found: dict[str, StraightedgeLine] = {}
    answers: dict[str, str] = {}
    for number, raw in enumerate(objects[1:-1], 2):
        label = f"line {number}"
        if set(raw) == {"answers"}:
            answers |= _answers(raw["answers"], task, file, label, faults)
            continue
        line = by_letter.get(str(raw.get("line")))
        if line is None or line.name in found or set(raw) != {"line", "held", "read"}:
            words = f"a line of the sheet once, with held and read; lines are {', '.join(by_letter)}"
            faults.append(Fault(file, label, shortened(raw.get("line")), words))
            continue
        if raw["held"] not in HOLDS:
            faults.append(Fault(file, f"{label}, held", shortened(raw["held"]), ", ".join(HOLDS)))
            continue
        stations = _stations(raw["read"], line, task, file, label, faults)
        if stations:
            found[line.name] = StraightedgeLine(line.name, line.start, line.end, raw["held"], stations)
    if not found and not faults:
        faults.append(Fault(file, "", "no reading", "at least one station with a leaf that goes or stops"))
    if faults:
        raise ScenarioError(faults)
    return tuple(found[line.name] for line in task.lines if line.name in found), answers


def _answers(raw: Any, task: ExerciseTask, file: str, label: str, faults: list[Fault]) -> dict[str, str]:
    """Answers that were entered on the page, each allowed by itself; what is wrong is written down."""
    if not isinstance(raw, Mapping):
        faults.append(Fault(file, f"{label}, answers", shortened(raw), "answers by the names of the form"))
        return {}
    found = {}
    for name, value in raw.items():
        key = f"{label}, {name}"
        if name == "by" and isinstance(value, str) and len(value) <= LONGEST_NAME and value.isprintable():
            found[name] = value
        elif name not in NAMES or not isinstance(value, str):
            faults.append(Fault(file, key, shortened(value), f"a text for one of by, {', '.join(NAMES)}"))
        else:
            try:
                read_answer(name, value, task)
            except ValueError as fault:
                faults.append(Fault(file, key, shortened(value), str(fault)))
            found[name] = value
    return found


def _stations(
    raw: Any, line: MeasuringLine, task: ExerciseTask, file: str, label: str, faults: list[Fault]
) -> tuple[Station, ...]:
    """The stations of a line in their order; what is wrong is written down."""
    by_label = {line.label(i): at for i, at in enumerate(line.at)}
    leaves = task.scenario.readings.leaves
    allowed = ", ".join(f"{from_si(leaf, 'height'):g}" for leaf in leaves)
    if not isinstance(raw, Mapping):
        faults.append(Fault(file, f"{label}, read", shortened(raw), "stations with what goes and what stops"))
        return ()
    found = []
    for name, pair in raw.items():
        key = f"{label}, {name}"
        if name not in by_label:
            faults.append(
                Fault(file, key, shortened(pair), f"no such station; there are {', '.join(by_label)}")
            )
            continue
        if not isinstance(pair, list) or len(pair) != 2:
            faults.append(Fault(file, key, shortened(pair), "what goes and what stops"))
            continue
        goes, stops = _leaf(pair[0], leaves, NONE, 0.0), _leaf(pair[1], leaves, OPEN, math.inf)
        if goes is None or stops is None or stops <= goes or (goes == 0.0 and math.isinf(stops)):
            words = (
                f'a leaf that goes, or "{NONE}", and a thicker one that stops, or "{OPEN}"; of {allowed} µm'
            )
            faults.append(Fault(file, key, shortened(pair), words))
            continue
        found.append(Station(by_label[name], goes, stops))
    return tuple(sorted(found, key=lambda s: s.at))


def _leaf(raw: Any, leaves: Sequence[float], word: str, instead: float) -> float | None:
    if raw == word:
        return instead
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return None
    return next((leaf for leaf in leaves if abs(to_si(raw, "height") - leaf) < SAME), None)


# ---- whether all was read


def still_to_read(task: ExerciseTask) -> list[str]:
    """What is to be felt before an exercise can be answered, in words; nothing where all was.

    A station is read where no leaf between the one that goes and the one that stops is left to try.
    """
    read = stations_read(task, task.scenario.readings.lines)
    missing = []
    for line in task.lines:
        names = [line.label(i) for i in range(len(line.at))]
        left = [label for label in names if label not in read]
        missing += [f"{names[0]} to {names[-1]}"] if len(left) == len(names) > 1 else left
    found = []
    if missing:
        found.append(f"not read yet: {', '.join(missing)}")
    leaves = sorted(task.scenario.readings.leaves)
    for label, (_, station) in read.items():
        between = [leaf for leaf in leaves if station.goes + SAME < leaf < station.stops - SAME]
        if between:
            found.append(f"{label}: try {' and '.join(show(leaf, 'height') for leaf in between[:3])} too")
    return found


def stations_read(
    task: ExerciseTask, lines: Sequence[StraightedgeLine]
) -> dict[str, tuple[StraightedgeLine, Station]]:
    """Line and reading of every station of the sheet that was read, by its label, in its order."""
    labels = task.labels()
    known = {station_key(line.name, s.at): (line, s) for line in lines for s in line.stations}
    return {label: known[key] for key, label in labels.items() if key in known}


# ---- what they are worth


def with_readings(exercise: Exercise, lines: Sequence[StraightedgeLine]) -> Exercise:
    """A felt exercise as it is marked: with what leaves say where the learner tried them.

    What was written down otherwise is a slip, and stands in ``written``: nobody is marked by readings that
    the face does not give.
    """
    read = stations_read(exercise.task, lines)
    leaves = sorted(exercise.scenario.readings.leaves)
    felt = {line.name: line for line in exercise.felt}
    right: list[StraightedgeLine] = []
    wrong: list[StraightedgeLine] = []
    slips: list[Slip] = []
    for line in exercise.task.lines:
        mine = [(i, *read[line.label(i)]) for i in range(len(line.at)) if line.label(i) in read]
        if not mine:
            continue
        held = mine[0][1].held
        true = [felt[line.name].station(line.at[i], i, held, leaves) for i, _, _ in mine]
        gaps = station_gaps(exercise.scenario.part.outline, exercise.face, line, held)
        for (i, _, station), says in zip(mine, true, strict=True):
            if not _agrees(station, says):
                slips.append(Slip(line.label(i), line.name, float(gaps[i]), replace(station, at=line.at[i])))
        right.append(StraightedgeLine(line.name, line.start, line.end, held, tuple(true)))
        written = tuple(replace(s, at=line.at[i]) for i, _, s in mine)
        wrong.append(StraightedgeLine(line.name, line.start, line.end, held, written))
    text = exercise.text + readings_text(right)
    task = task_of(exercise.name, load_text(text, "scenario.toml"))
    as_written = load_text(exercise.text + readings_text(wrong), "scenario.toml") if slips else None
    return replace(exercise, text=text, task=task, slips=tuple(slips), written=as_written)


def _agrees(written: Station, says: Station) -> bool:
    """Whether a reading holds what leaves say: it may leave leaves between untried."""
    return written.goes <= says.goes + SAME and written.stops >= says.stops - SAME

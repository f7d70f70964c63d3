"""Exercises: an invented warped face, and the readings somebody would have written down of it.

Level and number settle everything: the same two give the same exercise, byte for byte.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.units import from_si
from handlap.sim.face.leaf_readings import read_line
from handlap.sim.face.stations import MeasuringLine, measuring_lines
from handlap.sim.face.straightedge import FaceLine
from handlap.sim.job.scenario import LimitBy, Scenario, Station, StraightedgeLine
from handlap.sim.job.scenario_file import load_text
from handlap.sim.teaching.exercise_face import TrueFace, true_numbers
from handlap.sim.teaching.exercise_feel import FeltLine, felt_lines, station_gaps
from handlap.sim.teaching.exercise_levels import CASES, LEVELS, ExerciseCase, Form, Level
from handlap.sim.teaching.exercise_part import PartKeys, invent_part
from handlap.sim.teaching.exercise_seal import CHANGED
from handlap.sim.teaching.exercise_text import exercise_text

LARGEST_SEED = 2**32 - 1


@dataclass(frozen=True)
class Slip:
    """A reading that was written down plainly wrong.

    ``label`` as on the sheet; ``gap`` is what is there [m]; ``station`` is what was written.
    """

    label: str
    line: str
    gap: float
    station: Station


def station_key(line: str, at: float) -> tuple[str, int]:
    """By what a station is known: its line, and its distance from the start in tenths of a millimetre."""
    return line, round(1e4 * at)


@dataclass(frozen=True)
class ExerciseTask:
    """What an apprentice is shown of an exercise.

    Attributes
    ----------
    name : what it is called
    scenario : the job with its readings
    lines : the lines that were read, lettered as on the measuring sheet
    """

    name: str
    scenario: Scenario
    lines: tuple[MeasuringLine, ...]

    def labels(self) -> dict[tuple[str, int], str]:
        """The label on the sheet of every station, by :func:`station_key`."""
        return {
            station_key(line.name, at): line.label(i) for line in self.lines for i, at in enumerate(line.at)
        }


@dataclass(frozen=True)
class Exercise:
    """An exercise with its truth.

    Attributes
    ----------
    level, seed : settle everything else
    text : the scenario file, readings included
    task : what the text says
    face : the true face
    slips : readings written down wrong
    felt : what leaves say along the lines of the sheet, where the learner takes the readings; else ()
    written : the job with readings that the learner wrote down otherwise than leaves say; None: with none
    """

    level: int
    seed: int
    text: str
    task: ExerciseTask
    face: TrueFace
    slips: tuple[Slip, ...]
    felt: tuple[FeltLine, ...] = ()
    written: Scenario | None = None

    @property
    def name(self) -> str:
        """What it is called."""
        return self.task.name

    @property
    def scenario(self) -> Scenario:
        """The job with its readings."""
        return self.task.scenario

    def as_mapping(self) -> dict[str, Any]:
        """All that has to be kept to have the exercise back, whatever later versions would invent."""
        felt = {"felt": [line.as_mapping() for line in self.felt]} if self.felt else {}
        return {
            **felt,
            "level": self.level,
            "seed": self.seed,
            "text": self.text,
            "face": self.face.as_mapping(),
            "slips": [
                {"label": s.label, "line": s.line, "gap": s.gap, "at": s.station.at} for s in self.slips
            ],
        }


TO_FEEL = ", to be felt"
"""Ends the name of an exercise whose readings the learner takes."""


def exercise_name(level: int, seed: int, *, feel: bool = False) -> str:
    """What an exercise is called.

    >>> exercise_name(3, 17), exercise_name(3, 17, feel=True)
    ('level 3, number 17', 'level 3, number 17, to be felt')
    """
    return f"level {level}, number {seed}{TO_FEEL if feel else ''}"


def is_felt(name: str) -> bool:
    """Whether the readings of the exercise of this name are the learner's own."""
    return name.endswith(TO_FEEL)


def exercise_of(kept: Mapping[str, Any], file: str = "truth.seal") -> Exercise:
    """The exercise that :meth:`Exercise.as_mapping` kept; ``file`` is what it was kept in.

    Raises
    ------
    InputError : if it holds something else, sealed though it was
    """
    try:
        return _exercise_of(kept)
    except (ScenarioError, KeyError, TypeError, ValueError, OverflowError, StopIteration):
        raise InputError(f"{file}: {CHANGED}") from None


def _exercise_of(kept: Mapping[str, Any]) -> Exercise:
    level, seed, text = int(kept["level"]), int(kept["seed"]), str(kept["text"])
    felt = tuple(FeltLine.of(line) for line in kept.get("felt", ()))
    name = exercise_name(level, seed, feel=bool(felt))
    task = task_of(name, load_text(text, "scenario.toml", require_readings=not felt))
    slips = []
    for slip in kept["slips"]:
        written = Slip(
            str(slip["label"]), str(slip["line"]), float(slip["gap"]), Station(float(slip["at"]), 0.0)
        )
        slips.append(_as_loaded(written, task))
    return Exercise(level, seed, text, task, TrueFace.of(kept["face"]), tuple(slips), felt)


def _as_loaded(slip: Slip, task: ExerciseTask) -> Slip:
    """The slip with its station as it stands in the scenario that was read."""
    line = next(x for x in task.scenario.readings.lines if x.name == slip.line)
    return replace(slip, station=min(line.stations, key=lambda s: abs(s.at - slip.station.at)))


def task_of(name: str, scenario: Scenario) -> ExerciseTask:
    """The task of a scenario: its readings, with the letters of the six lines of the measuring sheet.

    Who feels the face is given all six, whether they have been read yet or not.
    """
    names = {line.name for line in scenario.readings.lines}
    six = measuring_lines(scenario.part.outline)
    if is_felt(name):
        return ExerciseTask(name, scenario, six)
    return ExerciseTask(name, scenario, tuple(line for line in six if line.name in names))


def make_exercise(level: int, seed: int, *, feel: bool = False) -> Exercise:
    """Make an exercise.

    Parameters
    ----------
    level : a key of :data:`LEVELS`
    seed : its number
    feel : the readings are left to the learner; the face is the same

    Raises
    ------
    InputError : for a level or a number there is not
    """
    if level not in LEVELS or not 0 <= seed <= LARGEST_SEED:
        raise InputError(
            f"level {level}, number {seed}: allowed are levels {min(LEVELS)} to {max(LEVELS)} "
            f"and numbers 0 to {LARGEST_SEED}"
        )
    wanted = LEVELS[level]
    rng = np.random.default_rng([seed, level, 6])
    document = invent_part(rng)
    limit = int(rng.choice(wanted.limits))
    limit_by: LimitBy = "zone" if rng.random() < wanted.zone else "straightedge"
    case = drawn_case(level, seed)
    openings = document["part"].pop("openings")
    document["part"].update(limit=limit, limit_by=limit_by, allowance=300, openings=openings)
    title = f"{document['part']['name'].capitalize()}, exercise {level}-{seed}"
    part = load_text(exercise_text(title, level, seed, document), title, require_readings=False).part
    forms = wanted.lapped if case == "lap" else wanted.forms
    face = _draw_face(wanted, forms[int(rng.integers(len(forms)))], document, rng)
    unscaled = true_numbers(part.outline, face)
    over = rng.uniform(*OVER[case])
    # All figures of a face grow with its heights.
    scale = 1e-6 * limit * over / unscaled.measure(limit_by)
    face = face.scaled(scale)
    document["part"]["allowance"] = _allowance(case, from_si(scale * unscaled.flatness, "height"), limit)
    document["readings"] = {"leaves": list(wanted.leaves)}
    if feel:
        text = exercise_text(title, level, seed, document, feel=True)
        task = task_of(
            exercise_name(level, seed, feel=True), load_text(text, "scenario.toml", require_readings=False)
        )
        return Exercise(
            level, seed, text, task, face, (), felt_lines(level, seed, task.lines, face, part.outline)
        )
    lines = tuple(x for x in measuring_lines(part.outline) if x.name not in wanted.left_out)
    read, slips = _read(wanted, lines, face, part.outline, rng)
    text = exercise_text(title, level, seed, document, read)
    task = ExerciseTask(exercise_name(level, seed), load_text(text, "scenario.toml"), lines)
    return Exercise(level, seed, text, task, face, tuple(_as_loaded(slip, task) for slip in slips))


OVER: dict[ExerciseCase, tuple[float, float]] = {
    "leave": (0.35, 0.65),
    "lap": (1.4, 1.9),
    "machine shop": (1.7, 3.2),
}
"""How far out a face may be, over its limit [-]."""


def drawn_case(level: int, seed: int) -> ExerciseCase:
    """What an exercise is drawn for: of twenty numbers from a multiple of twenty on, each as often as
    :data:`CASES` has it, in an order of their own.

    >>> sorted(drawn_case(3, n) for n in range(40, 60)).count("lap")
    8
    """
    deck: list[ExerciseCase] = [case for case, count in CASES for _ in range(count)]
    order = np.random.default_rng([seed // len(deck), level, 7]).permutation(len(deck))
    return deck[int(order[seed % len(deck)])]


def _allowance(case: ExerciseCase, flatness: float, limit: float) -> int:
    """What may come off [µm]: ample, or too little to come inside the limit."""
    needed = max(20.0, flatness - 0.5 * limit)
    if case == "machine shop":
        return max(10, 5 * round(0.35 * max(10.0, flatness - limit) / 5))
    return max(100, 50 * math.ceil(1.6 * needed / 50))


def _draw_face(level: Level, form: Form, document: PartKeys, rng: np.random.Generator) -> TrueFace:
    """A face of one of the level's shapes, of flatness about 1; it is scaled afterwards."""
    length, width = 1e-3 * document["part"]["length"], 1e-3 * document["part"]["width"]
    # Across its short side a part bends less.
    across = rng.uniform(0.2, 0.5) * min(1.0, 2.0 * width / length)
    sign = float(rng.choice([-1.0, 1.0]))
    bends: dict[str, tuple[float, float, float]] = {
        "hollow": (-1.0, -across, 0.0),
        "crowned": (1.0, across, 0.0),
        "twisted": (rng.uniform(-0.25, 0.25), 0.0, sign),
        "mixed": (float(rng.choice([-1.0, 1.0])), 0.2 * across, sign * rng.uniform(0.85, 1.15)),
        "saddle": (sign, -sign * max(0.65, across), 0.0),
        "twisted hollow": (-1.0, -across, sign * rng.uniform(0.8, 1.0) * math.hypot(1.0, across)),
        "twisted crown": (1.0, across, sign * rng.uniform(1.0, 1.15) * math.hypot(1.0, across)),
    }
    along, over, twist = bends[form]
    pure = level.rolled == 0.0
    if not pure and form in ("hollow", "crowned"):
        twist = rng.uniform(-0.15, 0.15)
    ends, sides = (0.0, 0.0) if pure else rng.uniform(0.2, 1.0, 2) * level.rolled * np.array([1.0, 0.5])
    ripple = tuple(
        (
            float(level.ripple * rng.uniform(0.4, 1.0)),
            float(rng.uniform(2.0, 6.0)),
            float(rng.uniform(-3.0, 3.0)),
            float(rng.uniform(0.0, 2.0 * math.pi)),
        )
        for _ in range(3)
    )
    return TrueFace(length, width, along, over, twist, float(ends), float(sides), ripple)


# ---- readings


def _read(
    level: Level, lines: Sequence[MeasuringLine], face: TrueFace, outline: Outline, rng: np.random.Generator
) -> tuple[tuple[StraightedgeLine, ...], tuple[Slip, ...]]:
    """What was written down, slips among it."""
    leaves = 1e-6 * np.array(level.leaves, dtype=float)
    read: list[StraightedgeLine] = []
    gaps: list[list[float]] = []
    for line in lines:
        laid = FaceLine(line.name, line.start, line.end)
        found = read_line(outline, face.heights_at, laid, leaves, line.at, feel=level.feel, rng=rng)
        true = dict(zip(line.at, station_gaps(outline, face, line, found.held), strict=True))
        # The distances of the sheet, not those rounded on the way.
        stations = tuple(replace(s, at=_sheet_at(line, s.at)) for s in found.stations)
        read.append(replace(found, stations=stations))
        gaps.append([float(true[s.at]) for s in stations])
    slips: list[Slip] = []
    order = [int(i) for i in rng.permutation(len(lines))]
    for i in order:
        if len(slips) == level.slips:
            break
        slip = _slip(lines[i], read[i], gaps[i], leaves, rng)
        if slip is not None:
            slips.append(slip)
            stations = tuple(slip.station if s.at == slip.station.at else s for s in read[i].stations)
            read[i] = replace(read[i], stations=stations)
    return tuple(read), tuple(slips)


def _sheet_at(line: MeasuringLine, at: float) -> float:
    return min(line.at, key=lambda x: abs(x - at))


def leaf_interval(leaves: Array, gap: float) -> tuple[float, float]:
    """Thickest leaf that goes into a gap and thinnest that does not [m]; 0 and infinity for none.

    >>> leaf_interval(np.array([3e-5, 5e-5]), 4e-5)
    (3e-05, 5e-05)
    """
    n = int(np.searchsorted(leaves, gap, side="right"))
    return (float(leaves[n - 1]) if n else 0.0, float(leaves[n]) if n < leaves.size else math.inf)


LEAST_SLIP = 90e-6
"""A slip is at least this far off: less than a leaf or two is only a poor feel [m]."""


def _slip(
    line: MeasuringLine,
    read: StraightedgeLine,
    gaps: Sequence[float],
    leaves: Array,
    rng: np.random.Generator,
) -> Slip | None:
    """One inner station of a line written wrong: a zero lost, a leaf misread, or a digit too many."""
    inner = list(range(1, len(read.stations) - 1))
    for k in (int(x) for x in rng.permutation(inner)):
        gap = gaps[k]
        wrong = 0.1 * gap if gap > LEAST_SLIP / 0.9 else gap + rng.uniform(1.2, 1.7) * LEAST_SLIP
        if abs(wrong - gap) < LEAST_SLIP or wrong > leaves[-1]:
            continue
        goes, stops = leaf_interval(leaves, wrong)
        station = Station(read.stations[k].at, goes, stops)
        label = line.label(line.at.index(station.at))
        return Slip(label, line.name, gap, station)
    return None

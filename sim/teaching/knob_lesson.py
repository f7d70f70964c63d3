"""A lesson played with knobs: its job and starting face, and where the knobs stand in each of its cases."""

from __future__ import annotations

from dataclasses import dataclass, replace

from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array, Outline
from handlap.sim.teaching.knobs import KnobRig, KnobSetting, open_knobs
from handlap.sim.teaching.lesson import Case, Lesson, StartFace
from handlap.sim.teaching.lesson_face import start_face
from handlap.sim.teaching.lesson_file import case_scenario

KNOB_KEYS = {
    "hands": {"height", "press", "bias_across"},
    "turning": {"every", "schedule"},
    "paper": {"grits", "start"},
}
"""What a case may change that knobs can be turned to."""


@dataclass(frozen=True)
class LessonFace:
    """The starting face of a lesson, evaluable anywhere."""

    shape: StartFace
    outline: Outline
    seed: int
    note: str = "the starting face of the lesson is lapped"

    def heights_at(self, points: Array) -> Array:
        """Heights (n,) at points (n, 2) [m]."""
        return start_face(self.shape, self.outline, points, seed=self.seed)


def open_lesson_knobs(
    lesson: Lesson, *, strokes: int | None = None, paper: str | None = None, seed: int = 0
) -> KnobRig:
    """The knobs of a lesson, standing as in its first case; see :func:`open_knobs`.

    Raises
    ------
    InputError : for a lesson that leaves nothing to lap, or whose job the small lap leaves something out of
    """
    first = lesson.cases[0]
    scenario = case_scenario(lesson, first)
    count = strokes or first.strokes or lesson.strokes
    if not count:
        raise InputError(f'the lesson "{lesson.name}" laps nothing, so there is nothing to turn')
    shape = first.face or lesson.face
    face = None if shape is None else LessonFace(shape, scenario.part.outline, seed)
    knobs = open_knobs(scenario, strokes=count, paper=paper, seed=seed, face=face)
    found = [(case.words, setting_of(knobs, lesson, case)) for case in lesson.cases]
    presets = tuple((words, setting) for words, setting in found if setting is not None)
    return replace(knobs, presets=presets if len(presets) > 1 else ())


def setting_of(knobs: KnobRig, lesson: Lesson, case: Case) -> KnobSetting | None:
    """Where the knobs stand in a case; None where it changes what no knob does."""
    for table, change in case.change.items():
        keys = KNOB_KEYS.get(table)
        if keys is None or not isinstance(change, dict) or set(change) - keys:
            return None
    if case.strokes not in (None, lesson.cases[0].strokes):
        return None
    job = case_scenario(lesson, case)
    shape, first = case.face, lesson.cases[0].face
    bow = twist = 0.0
    own = 1.0
    if shape is not None and shape != first:
        if shape != StartFace(along=shape.along, twist=shape.twist):
            return None
        own, bow, twist = 0.0, shape.along, shape.twist
    every = job.turning.every if len(job.turning.states) > 1 else 0
    grit = (job.paper.start or job.paper.grits[0]).name
    names = [paper.grit.name for paper in knobs.papers]
    if (every is not None and every not in knobs.turns) or grit not in names:
        return None
    return replace(
        knobs.start,
        height=float(job.hands.height.value),
        lean=float(job.hands.bias_across.value),
        press=float(job.hands.press.value),
        own=own, bow=bow, twist=twist,
        turn=knobs.start.turn if every is None else knobs.turns.index(every),
        grit=names.index(grit),
    )  # fmt: skip

"""A lap small enough to be worked anew whenever somebody turns a knob, and held to ``simulate``.

The lap is that of :mod:`handlap.sim.lapping.lap` on few cells and few rows.  What no knob changes (grid,
rows, hull, the paper's raster, way to the leading edge) is prepared here, for a page that carries on from it
by itself.  How far its figures are from those of a fine lap is measured on settings drawn for the job.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.common.outline import Array, Outline
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import Scenario, Turning, TurnState, Uncertain
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.job.turning import SCHEDULES
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions, Stage, law_of
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.ground import is_flat
from handlap.sim.lapping.lap import LapRun, begin_lap, run_stage, stage_layout
from handlap.sim.lapping.paper_memory import PaperMemory, on_axes
from handlap.sim.lapping.poses import ROWS_PER_QUAD, Layout
from handlap.sim.lapping.resolution import first_quad
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm, stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.lapping.simulate import TOLERANCE, LappedFace, paper_named, ready_lap, typical_face
from handlap.sim.materials.grits import GRITS, Grit
from handlap.sim.materials.paper_law import PaperLaw
from handlap.sim.teaching.lesson import StartFace
from handlap.sim.teaching.lesson_face import start_face

CELLS = 240
LOOKS = 20
ROWS = 240
"""Rows of a lap, about: there are a few more where brushings, turns and looks cut them."""
LEAST_STROKES, MOST_STROKES = 40, 2400
"""More strokes than that would make an answer wait; what comes of a face is told long before."""
TURNS = (0, 20, 40, 80, 160, 320)
"""Strokes between turns that can be chosen besides the job's own; 0: never."""
GRADES = ("P80", "P120", "P180", "P240", "P400")
"""Papers that can be chosen besides the job's own."""
HIGHEST_HANDS, LEAST_PRESS, MOST_PRESS, MOST_BLUNT = 0.1, 10.0, 250.0, 0.95
LEAN_SHARE = 0.2
"""Greatest lean to one side over the width of the face [-]."""
LEAST_BEND = 100e-6
"""Bow and twist can be turned by so much at the least [m]."""
HELD = ("flatness", "straightedge", "mean_depth", "greatest_depth", "taper_along", "taper_across")
"""Figures whose error is stated."""


@dataclass(frozen=True)
class KnobSetting:
    """Where all knobs stand.

    Attributes
    ----------
    height : of the push over the paper [m]
    lean : the press lies this much to the left of the middle of the part, as the operator looks [m]
    press : of the hands [N]
    own : share of the job's own face that is there, 0 or 1 [-]
    bow, twist : the middle over the ends, and corners over the other two, added to it [m]
    turn, grit : which of the intervals and papers
    blunt : share of the paper's sharpness that is gone before the first stroke [-]
    """

    height: float
    lean: float
    press: float
    own: float
    bow: float
    twist: float
    turn: int
    grit: int
    blunt: float


@dataclass(frozen=True)
class KnobPaper:
    """One paper of the page: its law, strokes between brushings and sheets, and the rows for every turn."""

    grit: Grit
    law: PaperLaw
    bedding: float
    brush_every: int
    sheet_every: int
    stages: tuple[Stage, ...]
    layouts: tuple[Layout, ...]


@dataclass(frozen=True)
class KnobRig:
    """All of a page with knobs that no knob changes.

    Attributes
    ----------
    strokes : worked whenever a knob moves; ``chosen``: how they were come by, in words
    states : ways of lying that a turning round goes through; ``turns``: intervals to choose from
    rig, gauged : the small grid, and what takes the figures there
    face : the job's own face, ``own`` its heights (n,) on the grid [m]
    memory : the paper's raster
    start : where the knobs stand when the page is opened: as the job has it
    errors : share of the deepest cut in what is stated as the error of every figure of HELD [-], see
        :func:`error_of`; empty before it was measured
    presets : settings with a name to go to
    paper_why : why it opens on the paper it does, in words; "" where there is nothing to say
    """

    scenario: Scenario
    strokes: int
    chosen: str
    seed: int
    states: tuple[TurnState, ...]
    turns: tuple[int, ...]
    papers: tuple[KnobPaper, ...]
    rig: Rig
    gauged: Gauge
    face: LappedFace
    own: Array
    conditions: Conditions
    memory: PaperMemory
    start: KnobSetting
    errors: dict[str, float]
    presets: tuple[tuple[str, KnobSetting], ...] = ()
    paper_why: str = ""

    @cached_property
    def bend(self) -> float:
        """How far bow and twist can be turned either way [m]."""
        return max(LEAST_BEND, 1.2 * float(gauge.flatness(self.gauged, self.own)[0]))

    @property
    def lean(self) -> float:
        """How far the press can be turned to either side [m]."""
        return LEAN_SHARE * self.scenario.part.outline.width


@dataclass(frozen=True)
class ShapedFace:
    """A face with the bow and the twist of a setting added to it."""

    face: LappedFace
    outline: Outline
    setting: KnobSetting

    @property
    def note(self) -> str:
        """As of the face."""
        return self.face.note

    def heights_at(self, points: Array) -> Array:
        """Heights (n,) at points (n, 2) [m]."""
        added = added_shape(self.outline, self.setting, points)
        if self.setting.own == 0.0:
            return added
        return self.setting.own * self.face.heights_at(points) + added


def added_shape(outline: Outline, setting: KnobSetting, points: Array) -> Array:
    """Bow and twist of a setting (n,) at points (n, 2) [m]."""
    shape = StartFace(along=setting.bow, twist=setting.twist)
    return start_face(shape, outline, points, seed=0)


def refuse_for_knobs(scenario: Scenario) -> None:
    """Refuse a job that the small lap leaves something out of.

    Raises
    ------
    InputError : with all that stands in the way
    """
    part, exact = scenario.part, scenario.exact
    why = []
    if part.thickness is not None or part.ribbed_as is not None:
        why.append("the part bends (part.thickness, part.stiffness)")
    if not is_flat(scenario):
        why.append("plate or paper are not flat (plate.*, paper.lumps)")
    pattern = PATTERNS[scenario.strokes.pattern]
    if pattern.round is not None or any(pattern.slants):
        why.append(f'the strokes are no straight ones (strokes.pattern = "{scenario.strokes.pattern}")')
    if scenario.hands.twist:
        why.append("the part is twisted at every pass (hands.twist)")
    if exact.load is not None or exact.load_at is not None or exact.tilt_held:
        why.append("load or tilt are fixed (exact.*)")
    if why:
        raise InputError(
            f"knobs leave out what this job has: {'; '.join(why)}. Say --steps to follow its lap"
        )


def open_knobs(
    scenario: Scenario,
    *,
    strokes: int | None = None,
    chosen: str = "",
    paper: str | None = None,
    seed: int = 0,
    face: LappedFace | None = None,
) -> KnobRig:
    """Prepare a page with knobs; its errors are still to be measured.

    Parameters
    ----------
    strokes : worked whenever a knob moves; no more than ``MOST_STROKES`` are
    paper : the paper that it opens with; without it the one the job starts on
    face : the starting face; without it the typical one of the readings

    Raises
    ------
    InputError : for a job that the small lap leaves something out of
    """
    refuse_for_knobs(scenario)
    count = min(max(strokes or LEAST_STROKES, LEAST_STROKES), MOST_STROKES)
    rig, gauged = gauge.rig_and_gauge(scenario, cells=CELLS)
    if rig.bending is not None:
        raise InputError("knobs leave out that this part bends. Say --steps to follow its lap")
    typical = face or typical_face(scenario, rig.grid.points, seed=seed)
    grits = _papers(scenario)
    conditions = conditions_at(
        replace(scenario, paper=replace(scenario.paper, grits=grits)), np.zeros(len(SCORES))
    )
    states = scenario.turning.states
    if len(states) < 2:
        states = SCHEDULES["half"].states
    begun = paper_named(scenario, paper)
    rhythm = choose_rhythm(scenario, conditions, begun)
    turns = tuple(sorted({*TURNS, rhythm.turn_every}))
    papers, memory = [], None
    for grit in grits:
        made, memory = _paper(scenario, rig, conditions, grit, states, turns, count, seed)
        papers.append(made)
    assert memory is not None
    if memory.on_sheet.size:
        raise InputError(
            "knobs leave out what this job has: its strokes run past the paper (plate, paper.strips, "
            "strokes.length). Say --steps to follow its lap"
        )
    hands = scenario.hands
    start = KnobSetting(
        float(hands.height.value), float(hands.bias_across.value), float(hands.press.value), 1.0, 0.0, 0.0,
        turns.index(rhythm.turn_every), grits.index(begun), 0.0,
    )  # fmt: skip
    return KnobRig(
        scenario, count, chosen, seed, states, turns, tuple(papers), rig, gauged, typical,
        typical.heights_at(rig.grid.points), conditions, memory, start, {},
    )  # fmt: skip


def _papers(scenario: Scenario) -> tuple[Grit, ...]:
    """The job's papers and some more, coarse to fine."""
    named = {grit.name: grit for grit in (*(GRITS[name] for name in GRADES), *scenario.paper.grits)}
    return tuple(sorted(named.values(), key=lambda grit: -grit.diameter))


def _paper(
    scenario: Scenario,
    rig: Rig,
    conditions: Conditions,
    grit: Grit,
    states: tuple[TurnState, ...],
    turns: tuple[int, ...],
    strokes: int,
    seed: int,
) -> tuple[KnobPaper, PaperMemory]:
    """One paper of a page, brushed and changed as the job has it or as is due at the job's own press."""
    rhythm = choose_rhythm(scenario, conditions, grit)
    stages, layouts = [], []
    memory = None
    for every in turns:
        job = _turned(scenario, states, every, rhythm.brush_every, rhythm.sheet_every)
        stage = stage_of(job, conditions, grit, strokes, check_interval(job, strokes, LOOKS))
        of = replace(rig, scenario=job)
        quad = min(first_quad(rig, conditions, stage), ROWS_PER_QUAD * strokes / ROWS)
        layout = stage_layout(of, stage, quad_strokes=quad, seed=seed)
        stages.append(stage)
        layouts.append(layout)
        if memory is None or every:
            memory = begin_lap(of, np.zeros(rig.grid.u.size), conditions, grit, layout).paper
    assert memory is not None
    made = KnobPaper(
        grit, law_of(scenario, conditions, grit), conditions.bedding_of(grit), rhythm.brush_every,
        rhythm.sheet_every, tuple(stages), tuple(layouts),
    )  # fmt: skip
    if not on_axes(scenario.strokes.pattern, layouts[-1].standings[:, 1]):
        raise InputError(
            "knobs leave out what this job has: strokes askew to the plate (strokes.direction). "
            "Say --steps to follow its lap"
        )
    return made, memory


def _turned(
    scenario: Scenario, states: tuple[TurnState, ...], every: int, brush: int, sheet: int
) -> Scenario:
    """The job turned after each ``every`` strokes (0: never), brushed and on new sheets as stated."""
    turning = Turning("of the knobs", states if every else states[:1], every)
    paper = replace(scenario.paper, brush_every=brush, sheet_every=sheet)
    return replace(scenario, turning=turning, paper=paper)


def job_at(knobs: KnobRig, setting: KnobSetting) -> Scenario:
    """The job as a setting of the knobs has it, the face and the age of the paper aside."""
    scenario, paper = knobs.scenario, knobs.papers[setting.grit]
    turned = _turned(scenario, knobs.states, knobs.turns[setting.turn], paper.brush_every, paper.sheet_every)
    hands = replace(
        scenario.hands,
        press=Uncertain.fixed(setting.press, "hands.press"),
        height=Uncertain.fixed(setting.height, "hands.height"),
        bias_across=Uncertain.fixed(setting.lean, "hands.bias_across"),
    )
    grits = replace(turned.paper, grits=(paper.grit,), start=paper.grit)
    return replace(turned, hands=hands, paper=grits)


def worn_of(knobs: KnobRig, setting: KnobSetting) -> float:
    """Metal per area that paper has cut when so much of its sharpness is gone [m]."""
    return float(-knobs.papers[setting.grit].law.dulling_scale * np.log(1.0 - setting.blunt))


def lap_of(
    knobs: KnobRig, setting: KnobSetting, rig: Rig, *, quad_strokes: float | None = None
) -> tuple[Array, LapRun]:
    """The face of a setting before (n,) [m], and its lap on a rig of the job.

    Parameters
    ----------
    quad_strokes : of a group of rows; without it rows are those of the page

    Raises
    ------
    TippingError : if the press lies off the face
    """
    job, paper = job_at(knobs, setting), knobs.papers[setting.grit]
    rig = replace(rig, scenario=job)
    stage = replace(paper.stages[setting.turn], worn=worn_of(knobs, setting))
    layout = paper.layouts[setting.turn]
    if quad_strokes is not None:
        layout = stage_layout(rig, stage, quad_strokes=quad_strokes, seed=knobs.seed)
    before = shaped(knobs, setting).heights_at(rig.grid.points)
    conditions = conditions_at(job, np.zeros(len(SCORES)))
    return before, _on_the_face(run_stage(rig, before, conditions, stage, layout))


def _on_the_face(run: LapRun) -> LapRun:
    """A lap whose press never lies off the face."""
    if run.tipped > 0.0:
        raise TippingError("the press lies off the face")
    return run


def small_lap(knobs: KnobRig, setting: KnobSetting) -> tuple[Figures, LapRun]:
    """Figures at the looks of the lap that the page works, and that lap.

    Raises
    ------
    TippingError : if the press lies off the face
    """
    before, run = lap_of(knobs, setting, knobs.rig)
    return gauge.figures(knobs.gauged, before, run.heights), run


def fine_lap(knobs: KnobRig, setting: KnobSetting, *, tolerance: float = TOLERANCE) -> Figures:
    """The figures of ``simulate`` at the end of the same work [m].

    Raises
    ------
    TippingError : if the press lies off the face
    """
    ready = ready_lap(
        job_at(knobs, setting), strokes=knobs.strokes, seed=knobs.seed, tolerance=tolerance,
        face=shaped(knobs, setting), worn=worn_of(knobs, setting),
    )  # fmt: skip
    run = _on_the_face(run_stage(ready.rig, ready.before, ready.conditions, ready.stage, ready.layout))
    return gauge.figures(ready.gauged, ready.before, run.heights[-1:])


def shaped(knobs: KnobRig, setting: KnobSetting) -> ShapedFace:
    """The face of a setting."""
    return ShapedFace(knobs.face, knobs.scenario.part.outline, setting)

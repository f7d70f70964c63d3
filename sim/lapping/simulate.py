"""One lap with nothing uncertain: every parameter at its middle value, one face."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import InputError, TippingError
from handlap.sim.common.outline import Array
from handlap.sim.common.units import show
from handlap.sim.face.face_ensemble import FaceEnsemble, infer_faces
from handlap.sim.face.proud import refuse_proud
from handlap.sim.face.told import faces_to_work_on
from handlap.sim.job.results import Figures, LapEffort, LapFlat, LapLooks, LapRemoved, LapResult
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import dye, gauge
from handlap.sim.lapping.conditions import Conditions, Stage, tipping_words
from handlap.sim.lapping.ensemble import SCORES, conditions_at, most_typical
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import LapRun, run_stage, stage_layout
from handlap.sim.lapping.long_work import tell_ahead
from handlap.sim.lapping.paper_memory import CLOSE
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.resolution import (
    Resolution,
    cell_errors,
    choose_resolution,
    errors_of,
    row_errors,
)
from handlap.sim.lapping.rhythm import check_interval, stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.materials.grits import Grit

TOLERANCE = 0.1e-6
"""Step error asked of a single lap [m]."""
CELLS = 6000
MOST_STROKES = 200_000
MOST_LOOKS = 60
FACES = 64
"""Faces inferred from feeler readings, of which the most typical is lapped."""


class LappedFace(Protocol):
    """A face evaluable anywhere, and how it was come by in words; empty where nothing is to be said."""

    @property
    def note(self) -> str:
        """In words."""

    def heights_at(self, points: Array) -> Array:
        """Heights (n,) at points (n, 2) [m]."""


@dataclass(frozen=True)
class TypicalFace:
    """One face of an ensemble, evaluable anywhere, and how it was picked."""

    faces: FaceEnsemble
    index: int
    note: str

    def heights_at(self, points: Array) -> Array:
        """Heights (n,) at points (n, 2) [m]."""
        found: Array = self.faces.heights_at(points)[self.index]
        return found


def typical_face(scenario: Scenario, points: Array, *, seed: int) -> TypicalFace:
    """The measured face, or the inferred one nearest to the middle of its ensemble at ``points``.

    Raises
    ------
    FaceDecides : if the readings cannot tell of the face what a lap would rest on
    """
    table = scenario.readings.table
    if table is not None and table.sd == 0.0:
        faces = infer_faces(scenario.part, scenario.readings, count=1, seed=seed)
        return TypicalFace(faces, 0, "the face is the table of heights itself")
    faces = faces_to_work_on(scenario, count=FACES, seed=seed)
    nearest = most_typical(faces.heights_at(points))
    note = f"of {FACES} faces that fit the readings, the one nearest to their middle is lapped"
    return TypicalFace(faces, nearest, note)


def paper_named(scenario: Scenario, name: str | None) -> Grit:
    """The paper of the scenario with this name; without one that it says to start on, or its first.

    Raises
    ------
    InputError : if the scenario has no such paper
    """
    grits = scenario.paper.grits
    if name is None:
        return scenario.paper.start or grits[0]
    for grit in grits:
        if grit.name.casefold() == name.strip().casefold():
            return grit
    raise InputError(f"--paper {name}: the scenario has {', '.join(g.name for g in grits)}")


def why_paper(scenario: Scenario, name: str | None) -> str:
    """Why a lap is on the paper it is on, where nobody asked for it and others are listed; else empty."""
    if name is not None or len(scenario.paper.grits) < 2:
        return ""
    if scenario.paper.start is not None:
        return "the paper the scenario starts on"
    return "the first paper listed, for none is named; a plan tries all of them and may start on another"


def starting_on(scenario: Scenario, name: str) -> Scenario:
    """The same job started on the paper of this name.

    Raises
    ------
    InputError : if the scenario has no such paper
    """
    try:
        start = paper_named(scenario, name)
    except InputError as error:
        raise InputError(str(error).replace("--paper", "--start", 1)) from None
    return replace(scenario, paper=replace(scenario.paper, start=start))


@dataclass(frozen=True)
class ReadyLap:
    """A lap with nothing uncertain, ready to be followed: all that :func:`simulate` fixes beforehand.

    Attributes
    ----------
    rig, gauged : part, plate and paper on the grid, and what takes the figures there
    face : the face lapped; ``before`` are its heights (n,) at the grid's points [m]
    conditions, stage : every figure at its middle value; strokes, turns, brushing and looks
    tolerance : step error asked [m]
    resolution, layout : how finely it is computed, and the rows that follow from it
    seed : of face and rows
    paper_why : why this paper, see :func:`why_paper`
    """

    rig: Rig
    gauged: Gauge
    face: LappedFace
    before: Array
    conditions: Conditions
    stage: Stage
    tolerance: float
    resolution: Resolution
    layout: Layout
    seed: int
    paper_why: str


def ready_lap(
    scenario: Scenario,
    *,
    strokes: int | None = None,
    paper: str | None = None,
    seed: int = 0,
    tolerance: float = TOLERANCE,
    progress: Callable[[float, str], None] | None = None,
    face: LappedFace | None = None,
    worn: float = 0.0,
) -> ReadyLap:
    """Set up one lap of the typical face; parameters and errors as in :func:`simulate`.

    ``face``: another than the typical one; ``worn``: see :class:`handlap.sim.lapping.conditions.Stage` [m].
    """
    count = strokes if strokes is not None else scenario.exact.strokes
    if count is None:
        raise InputError("--strokes is missing: say how many strokes to simulate")
    if not 1 <= count <= MOST_STROKES:
        raise InputError(f"--strokes {count}: allowed is 1 to {MOST_STROKES}")
    tell = progress or (lambda done, what: None)
    refuse_proud(scenario.part)
    grit = paper_named(scenario, paper)
    conditions = conditions_at(scenario, np.zeros(len(SCORES)))
    stage = stage_of(scenario, conditions, grit, count, check_interval(scenario, count, MOST_LOOKS))
    stage = replace(stage, worn=worn)
    tell(0.0, "taking in the face")
    rig, gauged = gauge.rig_and_gauge(scenario, cells=CELLS, nodes=CLOSE)
    face = face or typical_face(scenario, rig.grid.points, seed=seed)
    tell(0.3, "measuring the error of the steps")
    before = face.heights_at(rig.grid.points)
    resolution = choose_resolution(rig, before, conditions, stage, tolerance=tolerance, seed=seed, tell=tell)
    layout = stage_layout(rig, stage, quad_strokes=resolution.quad_strokes, seed=seed)
    # Once on these cells, and once on larger ones for their error.
    tell_ahead(
        tell, 1.25 * resolution.seconds_a_row * layout.x.size, f"lapping {count} strokes", "fewer --strokes"
    )
    return ReadyLap(
        rig, gauged, face, before, conditions, stage, tolerance, resolution, layout, seed,
        why_paper(scenario, paper),
    )  # fmt: skip


def simulate(
    scenario: Scenario,
    *,
    strokes: int | None = None,
    paper: str | None = None,
    seed: int = 0,
    tolerance: float = TOLERANCE,
    progress: Callable[[float, str], None] | None = None,
) -> LapResult:
    """Lap one face for a number of strokes on one paper.

    Parameters
    ----------
    strokes : number of strokes; without it the scenario's own ``exact.strokes``
    paper : name of a paper of the scenario; without it the one it starts on, or the first
    tolerance : step error to be kept [m]

    Raises
    ------
    InputError : for strokes out of range, a paper that is not there, hands that lift the part
    TippingError : if the press lies off the face
    """
    tell = progress or (lambda done, what: None)
    ready = ready_lap(
        scenario, strokes=strokes, paper=paper, seed=seed, tolerance=tolerance, progress=progress
    )
    tell(0.8, "lapping")
    run = run_stage(ready.rig, ready.before, ready.conditions, ready.stage, ready.layout)
    found = lap_result(ready, run)
    tell(1.0, "done")
    return found


def follow_dye(ready: ReadyLap, faces: Array, renews: NDArray[np.bool_] | None = None) -> dye.DyeCourse:
    """The dye on the cells of faces (looks, n) of this lap [m], put on before it and again at looks that
    renew it (looks,)."""
    grid, grit, metal = ready.rig.grid, ready.stage.grit, ready.rig.scenario.part.metal
    cells = slice(0, grid.n_cells)
    before, later = (dye.roughness_dyed(grit, metal, worked=worked) for worked in (False, True))
    return dye.follow(
        ready.before[cells], faces[:, cells], grid.area[cells], ready.conditions.dye, before, later,
        renews=renews,
    )  # fmt: skip


def refuse_tipping(tipped: float, conditions: Conditions) -> None:
    """Refuse a lap whose mean press lies off the face in a share ``tipped`` of its rows.

    Raises
    ------
    TippingError : in words that say what to change
    """
    if tipped > 0.0:
        raise TippingError(tipping_words(conditions, tipped))


def lap_result(ready: ReadyLap, run: LapRun) -> LapResult:
    """What a lap came to, from the faces at the looks of its stage.

    Raises
    ------
    TippingError : if the press lies off the face
    """
    conditions, stage, before = ready.conditions, ready.stage, ready.before
    refuse_tipping(run.tipped, conditions)
    cells = cell_errors(
        ready.rig, ready.gauged, ready.face.heights_at, conditions, stage,
        quad_strokes=ready.resolution.quad_strokes, seed=ready.seed, before=before, lapped=run.heights[-1],
    )  # fmt: skip
    errors = errors_of(
        row_errors(ready.gauged, ready.resolution.pair),
        cells,
        tolerance=ready.tolerance,
        step=ready.resolution.error,
        count=(ready.rig.grid.n_cells, ready.layout.x.size),
    )
    scenario, grid = ready.rig.scenario, ready.rig.grid
    system = scenario.system
    figures = gauge.figures(ready.gauged, before, run.heights)
    mass = scenario.part.metal.density * scenario.part.outline.area * figures.mean_depth
    pace = scenario.hands.strokes_per_minute.value
    notes = [ready.face.note]
    if run.clipped > 0.0:
        notes.append(
            f"in {100 * run.clipped:.1f} % of the work the hands would have tipped the part; "
            "they are taken to catch it at the edge"
        )
    if errors.step > errors.tolerance:
        notes.append(
            "worked twice as finely, a spot of the map would move by "
            f"{show(errors.step, 'height', system, 2)}, over the "
            f"{show(errors.tolerance, 'height', system, 2)} asked for"
        )
    removed = LapRemoved(
        greatest=figures.greatest_depth[-1],
        mean=figures.mean_depth[-1],
        taper_along=figures.taper_along[-1],
        taper_across=figures.taper_across[-1],
        mass=mass[-1],
        volume=run.removed_volume,
    )
    return LapResult(
        scenario=scenario,
        paper=stage.grit.name,
        paper_why=ready.paper_why,
        before=LapFlat(
            float(gauge.flatness(ready.gauged, before)[0]), float(gauge.straightedge(ready.gauged, before)[0])
        ),
        after=LapFlat(figures.flatness[-1], figures.straightedge[-1]),
        removed=removed,
        deposited=run.deposited_volume,
        effort=LapEffort(stage.strokes, stage.strokes / pace, float(run.work[-1]), run.load_sliding),
        looks=_looks(ready, run, figures, mass),
        clipped=run.clipped,
        tipped=run.tipped,
        errors=errors,
        notes=tuple(notes),
        grid=grid,
        map_before=before,
        map_after=run.heights[-1],
    )


def _looks(ready: ReadyLap, run: LapRun, figures: Figures, mass: Array) -> LapLooks:
    dyed = follow_dye(ready, run.heights)
    return LapLooks(
        strokes=np.array(run.strokes),
        figures=figures,
        mass=mass,
        dye_left=dyed.left,
        dye_faded=dyed.faded_share,
        dye_gone_map=dyed.gone.astype(float),
        dye_faded_map=dyed.faded.astype(float),
    )

"""One lap: a face carried through strokes on one paper after another.

The large step of :mod:`handlap.sim.lapping.march_kernels` does the work, on what
:mod:`handlap.sim.lapping.march_given` lays out for it; this module keeps account.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.errors import SolverError, TippingError
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario, TurnState
from handlap.sim.lapping import column_kernels, pose_kernels, poses
from handlap.sim.lapping.conditions import Conditions, Stage, law_of
from handlap.sim.lapping.march_given import (
    constants_of,
    flexing_of,
    ground_under,
    hull_to_hold,
    memory_of,
    paper_of,
    poses_of,
    rates_of,
)
from handlap.sim.lapping.march_kernels import WORK_ROWS, march
from handlap.sim.lapping.paper_memory import PaperMemory
from handlap.sim.lapping.poses import START, Layout, Place
from handlap.sim.lapping.record_kernels import (
    Carried,
    FaceRecord,
    Ground,
    Notes,
    Rows,
    copy_of,
    nothing_carried,
)
from handlap.sim.lapping.set_up import Rig
from handlap.sim.materials.grits import Grit


@dataclass(frozen=True)
class LapState:
    """A face on its way over one paper, between two strokes: all that the next one depends on.

    Attributes
    ----------
    heights : the face (n,) [m]
    grit : the paper
    paper : where its wear is remembered
    frame, ground : x0, y0 and spacing (3,), and heights (ny, nx) of plate and paper [m]
    carried : its wear, and the last poses, from which the search for the next begins
    place : strokes done, and where in the turning round and in the low-discrepancy sequence the work is
    rows : worked since the paper was laid [-]
    removed : metal off the face since then [m³]
    slid : Σ load × sliding distance [N·m]
    clipped : rows whose wobble would have left the hull of the face [-]
    tipped : rows whose mean resultant lay outside it [-]
    counted : what the kernel counts, see its ``D_…`` columns
    """

    heights: Array
    grit: Grit
    paper: PaperMemory
    frame: Array
    ground: Array
    carried: Carried
    place: Place
    rows: int
    removed: float
    slid: float
    clipped: float
    tipped: float
    counted: Array


@dataclass(frozen=True)
class LapRun:
    """What came of some strokes; totals and shares count from the start on this paper.

    Attributes
    ----------
    heights : face at each snapshot (snapshots, n) [m]
    strokes : strokes done at each snapshot, from the start on this paper [-]
    removed_volume : metal off the face [m³]
    deposited_volume : metal that came to lie on the paper, where paper is followed [m³]
    load_sliding : Σ load × sliding distance [N·m]
    clipped : share of rows whose wobble left the hull of the face and was held at it [-]
    tipped : share of rows whose mean resultant lay outside it [-]
    overhung : share of rows in which part of the face lay off the paper [-]
    evaluations : passes over the face that the pose solver took [-]
    state : from which the work goes on
    amplitudes : bending amplitudes while lapping, mean since the snapshot before (snapshots, shapes) [m]
    friction : of the paper as it is at each snapshot (snapshots,) [-]
    work : of the arms up to each snapshot (snapshots,) [J]
    clean, sharp : how clean and sharp the paper is under the part at each snapshot, new = 1 (snapshots,)
    """

    heights: Array
    strokes: tuple[int, ...]
    removed_volume: float
    deposited_volume: float | None
    load_sliding: float
    clipped: float
    tipped: float
    overhung: float
    evaluations: int
    amplitudes: Array
    friction: Array
    work: Array
    clean: Array
    sharp: Array
    state: LapState


def states_of(scenario: Scenario) -> tuple[TurnState, ...]:
    """Ways of lying that the part goes through in a turning round; one where it is not turned."""
    return scenario.turning.states or (TurnState(0.0, 0.0),)


def stage_layout(
    rig: Rig,
    stage: Stage,
    *,
    quad_strokes: float,
    seed: int,
    begin: Place = START,
    states: Sequence[TurnState] | None = None,
    first_events: int = 0,
) -> Layout:
    """Rows of a stage, four for each ``quad_strokes`` strokes, shared by all members of an ensemble.

    Parameters
    ----------
    begin : where the work stands; the strokes and looks of the stage count from there
    states : of the turning round; without them all of the scenario's, or the first where it is never turned
    first_events : what is done to the paper before the first stroke, see the kernel's ``EVENT_…``
    """
    strokes = rig.scenario.strokes
    if states is None:
        states = states_of(rig.scenario)
        states = states if stage.turn_every else states[:1]
    return poses.lay_out(
        pattern=strokes.pattern,
        length=strokes.length,
        direction=strokes.direction,
        states=states,
        turn_every=stage.turn_every,
        strokes=stage.strokes,
        quad_strokes=quad_strokes,
        brush_every=stage.brush_every,
        sheet_every=stage.sheet_every,
        snapshots=stage.snapshots,
        twist=rig.scenario.hands.twist,
        sway=strokes.sway.value if rig.scenario.wear.ages else 0.0,
        seed=seed,
        begin=begin,
        first_events=first_events,
        golden=rig.stepped,
    )


def begin_lap(
    rig: Rig,
    heights: Array,
    conditions: Conditions,
    grit: Grit,
    layout: Layout,
    *,
    paper_shift: tuple[float, float] = (0.0, 0.0),
    worn: float = 0.0,
) -> LapState:
    """A face (n,) [m] put on paper, before the first stroke.

    Parameters
    ----------
    layout : of the first strokes; what follows has to turn the part among the same states
    paper_shift : nodes by which the raster of the paper's memory is moved: nothing must feel it
    worn : metal per area that the paper has cut everywhere before and that was brushed out; 0: new [m]
    """
    paper = memory_of(rig, conditions, layout, paper_shift)
    followed = rig.scenario.wear.ages
    carried = nothing_carried(
        points=rig.grid.u.size,
        shapes=0 if rig.bending is None else rig.bending.count,
        kinds=2 * layout.states,
        bedding=conditions.bedding_of(grit),
        raster=paper.shape if followed else (0, 0),
        ways=len(layout.standings) if followed else 0,
        partly=followed and paper.on_sheet.size > 0,
    )
    carried.dull[:] = worn
    frame, ground = ground_under(rig, conditions, paper.reach)
    return LapState(
        heights=np.array(heights, dtype=float),
        grit=grit,
        paper=paper,
        frame=frame,
        ground=ground,
        carried=carried,
        place=layout.begin,
        rows=0,
        removed=0.0,
        slid=0.0,
        clipped=0.0,
        tipped=0.0,
        counted=np.zeros(column_kernels.DIAGNOSTICS),
    )


def lap_on(rig: Rig, state: LapState, conditions: Conditions, layout: Layout) -> LapRun:
    """Carry a face on through the strokes of a layout, which begins where the state is.

    The state is left as it was; that after the strokes is in the run.  Where the layout of a longer
    piece of work is cut at one of its events or looks, the pieces come to the same, to the last bit.

    Raises
    ------
    InputError : if the hands lift more than the part weighs
    TippingError : if too little of the face lies on paper to carry it
    SolverError : if no pose can be found
    """
    scenario, grid, bending, paper = rig.scenario, rig.grid, rig.bending, state.paper
    assert layout.begin == state.place, "the strokes begin elsewhere"
    table, clipped, tipped = poses_of(rig, conditions, layout)
    law = law_of(scenario, conditions, state.grit)
    bedding = conditions.bedding_of(state.grit)
    h = state.heights.copy()
    carried = copy_of(state.carried)
    # As far gone as it is, however slowly it goes on: powers of two, which round nothing.
    carried.load[:] *= layout.slower[0]
    carried.dull[:] *= layout.slower[1]
    counted = state.counted.copy()
    looks = len(layout.snapshot_strokes)
    snapshots, noted = np.empty((looks, h.size)), np.empty((looks, column_kernels.NOTED))
    amplitudes = np.zeros((looks, 0 if bending is None else bending.count))
    face = FaceRecord(h, grid.u / rig.half, grid.v / rig.half, grid.area, grid.n_cells)
    notes = Notes(snapshots, noted, amplitudes)
    status = march(
        face,
        rates_of(rig, law, layout),
        Rows(table, layout.kinds, layout.events, layout.standing),
        constants_of(rig, conditions, law, bedding),
        not scenario.exact.tilt_held,
        hull_to_hold(rig),
        paper_of(rig, conditions, law, paper, layout.slower),
        Ground(state.frame, state.ground, rig.strips),
        flexing_of(rig),
        carried,
        notes,
        np.empty((WORK_ROWS, h.size)),
        counted,
    )
    _raise_for(status, counted, layout)
    carried.load[:] /= layout.slower[0]
    carried.dull[:] /= layout.slower[1]
    slid = state.slid + np.cumsum(table[:, column_kernels.LOAD] * layout.slide)
    after = LapState(
        heights=h,
        grit=state.grit,
        paper=paper,
        frame=state.frame,
        ground=state.ground,
        carried=carried,
        place=layout.end,
        rows=state.rows + layout.x.size,
        removed=state.removed + float(grid.area @ (state.heights - h)),
        slid=float(slid[-1]),
        clipped=state.clipped + clipped,
        tipped=state.tipped + tipped,
        counted=counted,
    )
    at_look = np.flatnonzero(layout.events & column_kernels.EVENT_SNAPSHOT)
    clean, sharp, clogged = noted.T
    return LapRun(
        heights=snapshots,
        strokes=tuple(layout.begin.strokes + k for k in layout.snapshot_strokes),
        removed_volume=after.removed,
        deposited_volume=float(counted[column_kernels.D_DEPOSITED]) if scenario.wear.ages else None,
        load_sliding=after.slid,
        clipped=max(after.clipped, counted[column_kernels.D_CLIPPED]) / after.rows,
        tipped=max(after.tipped, counted[column_kernels.D_TIPPED]) / after.rows,
        overhung=float(counted[column_kernels.D_OFF_PAPER]) / after.rows,
        evaluations=int(counted[column_kernels.D_EVALUATIONS]),
        amplitudes=amplitudes,
        friction=conditions.friction * (1.0 + law.friction_gain * (1.0 - clean)),
        work=conditions.friction * (slid[at_look] + law.friction_gain * clogged),
        clean=clean,
        sharp=sharp,
        state=after,
    )


def run_stage(
    rig: Rig,
    heights: Array,
    conditions: Conditions,
    stage: Stage,
    layout: Layout,
    *,
    paper_shift: tuple[float, float] = (0.0, 0.0),
) -> LapRun:
    """Carry a face (n,) [m] through one stage; the paper is new at its start, or as worn as the stage says.

    Parameters and errors as for :func:`begin_lap` and :func:`lap_on`.
    """
    state = begin_lap(rig, heights, conditions, stage.grit, layout, paper_shift=paper_shift, worn=stage.worn)
    return lap_on(rig, state, conditions, layout)


def _raise_for(status: int, diagnostics: Array, layout: Layout) -> None:
    row = int(diagnostics[column_kernels.D_FAILED_ROW])
    done = layout.begin.strokes + float(layout.ends[row])
    if status == column_kernels.STATUS_NO_CONTACT:
        raise TippingError(
            f"after {done:.0f} strokes too little of the face lies on the paper to carry it: "
            "shorten the stroke, or move the paper or the part"
        )
    if status == column_kernels.STATUS_NO_RASTER:
        raise AssertionError("the memory of the paper is too small for its strokes")
    if status != column_kernels.STATUS_OK:
        raise SolverError(
            f"no pose found in {pose_kernels.MAX_EVALUATIONS} evaluations, row {row} of {layout.x.size} "
            f"({done:.0f} strokes done)"
        )

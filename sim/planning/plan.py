"""The plan: which papers, how many strokes, when to stop, how it comes out, how sure that is."""

from __future__ import annotations

from concurrent.futures import Executor

from handlap.sim.job.results import Plan
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.face_first import stop_at_face
from handlap.sim.planning.plan_notes import bench_notes
from handlap.sim.planning.plan_report import report
from handlap.sim.planning.plan_spring import spring_effect
from handlap.sim.planning.work import Progress, lap_typical, measure_errors, open_job, plate_effect, work_out


def make_plan(
    scenario: Scenario,
    *,
    members: int = 64,
    seed: int = 0,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Plan:
    """Plan a job over an ensemble of faces and hands.

    Parameters
    ----------
    members : number of faces, each with its own hands, paper and metal
    seed : same seed, same answer, on however many threads
    progress : called with a share done and what is being done
    executor : where the members run; without one, threads of this process

    Raises
    ------
    InputError : for an ensemble size out of range
    TippingError : if the press lies off the face for most of the members
    FaceDecides : if the readings cannot tell of the face what a plan would rest on
    """
    tell = progress or (lambda done, what: None)
    tell(0.0, "inferring the face from the readings")
    job = open_job(scenario, members=members, seed=seed, executor=executor, tell=tell)
    stop_at_face(job, leave=False)
    tell(0.1, "trying the papers")
    worked = work_out(job)
    tell(0.95, "measuring the error of the grid")
    lapped, _ = lap_typical(job, worked.coarse)
    errors = measure_errors(job, worked.coarse, lapped)
    plate = plate_effect(job, worked)
    spring = spring_effect(job, worked.coarse, lapped)
    notes = bench_notes(job, worked.coarse, lapped)
    tell(1.0, "done")
    return report(job, worked, errors=errors, plate=plate, spring=spring, notes=notes)

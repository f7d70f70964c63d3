"""The plan: which papers, how many strokes, when to stop, how it comes out, how sure that is."""

from __future__ import annotations

from concurrent.futures import Executor

from handlap.sim.job.results import Plan
from handlap.sim.job.scenario import Scenario
from handlap.sim.planning.crew import Progress, open_crew
from handlap.sim.planning.face_first import stop_at_face
from handlap.sim.planning.first_paper import choose_to_work, lay_tried
from handlap.sim.planning.plan_bands import report
from handlap.sim.planning.plan_notes import bench_notes
from handlap.sim.planning.plan_spring import spring_effect
from handlap.sim.planning.typical import lap_typical, measure_errors, plate_effect
from handlap.sim.planning.work import work


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
    crew = open_crew(scenario, members=members, seed=seed, executor=executor, tell=tell)
    stop_at_face(crew, leave=False)
    tell(0.1, "trying the papers")
    crew, paper = choose_to_work(crew)
    name = scenario.paper.grits[paper.taken.first].name
    steps = lay_tried(crew, paper.taken, keep=True)
    words = f"lapping {members} faces on {name}"
    tell(0.3, words)
    worked = work(crew, steps, finished=lambda done: tell(0.3 + 0.65 * done, words))
    tell(0.95, "measuring the error of the grid")
    lapped, _ = lap_typical(crew, worked)
    errors = measure_errors(crew, worked, lapped)
    plate = plate_effect(crew, worked)
    spring = spring_effect(crew, worked, lapped)
    notes = bench_notes(crew, worked, lapped)
    tell(1.0, "done")
    return report(crew, worked, paper, errors=errors, plate=plate, spring=spring, notes=notes)

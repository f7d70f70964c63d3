"""Before the bench: What shape the face is, from readings, and how sure that is."""

from __future__ import annotations

import click

from handlap.cli.answering import answer, working
from handlap.cli.options import (
    Output,
    in_its_units,
    members_option,
    output_options,
    scenario_argument,
    seed_option,
)


@click.command()
@scenario_argument()
@members_option(200, 16, 5000)
@seed_option
@output_options
def survey(scenario: str, members: int, seed: int, output: Output) -> None:
    """Work out the shape of a face from straightedge readings or a table of heights.

    Shows the shape, its flatness as minimum zone and as a straightedge would read it, a map
    with its uncertainty, the readings that do not fit the others, where one more line would
    tell most, and whether the face meets its limit: yes, no, or cannot tell.
    """
    from handlap.sim.job.scenario_file import load

    job = in_its_units(load(scenario, require_mass=False))
    output.check()

    from handlap.sim.face.survey import survey as survey_face

    with working() as how:
        how["progress"](None, f"looking for {members} faces that fit the readings")
        found = survey_face(job, count=members, seed=seed)
    answer(output, "survey", job, found, job=job, drawn_in="pictures")

"""Before the bench: Follow one lap exactly, with nothing uncertain."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from handlap.cli.answering import answer, working
from handlap.cli.options import Output, in_its_units, output_options, scenario_argument, seed_option

if TYPE_CHECKING:
    from handlap.sim.job.results import LapResult


@click.command()
@scenario_argument()
@click.option(
    "--strokes", type=int, metavar="N", help="Strokes, there and back; may stand in the scenario instead."
)
@click.option("--paper", metavar="P", help="A paper of the scenario; without it paper.start, or the first.")
@seed_option
@click.option(
    "--heights",
    type=click.Path(path_type=Path),
    metavar="FILE.csv",
    help="Write the face before and after: u_mm, v_mm, before_um, after_um at the middle of each cell.",
)
@output_options
def simulate(
    scenario: str,
    strokes: int | None,
    paper: str | None,
    seed: int,
    heights: Path | None,
    output: Output,
) -> None:
    """Lap one face on one paper with nothing uncertain, every figure at its middle value.

    A scenario can fix everything exactly (heights, load, rate, bedding), so that the result
    can be held against a formula.
    """
    from handlap.sim.job.scenario_file import load

    job = in_its_units(load(scenario))
    output.check(heights)

    from handlap.cli.files import write_whole
    from handlap.cli.screen import note
    from handlap.sim.lapping.simulate import simulate as lap_face

    with working() as how:
        result = lap_face(job, strokes=strokes, paper=paper, seed=seed, **how)
    if heights is not None:
        write_whole(heights, heights_csv(result))
    answer(output, "lap", result, job=job, drawn_in="pictures")
    if heights is not None:
        note(f"heights written to {heights}")


def heights_csv(result: LapResult) -> str:
    """The face before and after at the middle of each cell, lengths in mm, heights in µm."""
    grid = result.grid
    lines = ["u_mm,v_mm,before_um,after_um"]
    for i in range(grid.n_cells):
        before, after = 1e6 * result.map_before[i], 1e6 * result.map_after[i]
        lines.append(f"{1e3 * grid.u[i]:.6f},{1e3 * grid.v[i]:.6f},{before:.6f},{after:.6f}")
    return "\n".join(lines) + "\n"

"""Before the bench: Which way of working suits this part best, and how often to turn it."""

from __future__ import annotations

import click

from handlap.cli.answering import answer, known_job, working
from handlap.cli.options import AskedMembers, Output, draws_options, output_options, scenario_argument


@click.command()
@scenario_argument()
@click.option(
    "--way",
    "texts",
    multiple=True,
    metavar="WAY",
    help='A way of working, such as "turning=half every=40"; may be given several times.',
)
@click.option("--no-turns", is_flag=True, help="Leave out how often to turn.")
@draws_options(64, 16, 1024, spread=True)
@output_options
def compare(
    scenario: str, texts: tuple[str, ...], no_turns: bool, draws: AskedMembers, output: Output
) -> None:
    """Compare ways of working on one part, and find how often to turn it.

    All ways are tried on the same faces with the same hands, so that small differences are
    real. Without --way those that the scenario names (compare.ways) are compared, or else some
    eight: another first paper, sheets used longer or shorter, half the press, wet or dry, turning.

    A WAY is written as key=value pairs; what it does not name stays as the scenario has it:

    \b
    turning=   none, half, quarter, walk,
               half and walk
    every=     strokes between turns,
               or never
    pattern=   straight, one way, circle,
               eight, diagonal
    direction= along, across, or degrees
    length=    of a stroke, mm
    height=    hands over the paper, mm
    press=     of the hands, N, or light,
               firm, heavy
    papers=    coarse to fine: P120,P240
    brush=     strokes between brushings,
               or never
    sheet=     strokes a sheet, or never
    wet=       yes or no
    name=      what to call it

    The way named "as it stands" can be had with --way "name=as it stands".
    """
    from handlap.sim.job.ways import parse_way

    job = known_job(scenario, draws.afresh)
    ways = [parse_way(text) for text in texts]
    output.check()

    from handlap.sim.comparing.compare import compare as compare_ways

    with working(draws.spread) as how:
        found = compare_ways(job, ways, **draws.whom, **how, with_turns=not no_turns)
    answer(output, "compare", found, job=job, page={"all_pairs": True})

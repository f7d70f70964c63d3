"""Before the bench: Search for the way of working with the best chance; checked afresh."""

from __future__ import annotations

import click

from handlap.cli.answering import answer, known_job, working
from handlap.cli.options import AskedMembers, Output, draws_options, output_options, scenario_argument


@click.command()
@scenario_argument()
@click.option(
    "--budget",
    type=click.IntRange(20, 1000),
    default=80,
    show_default=True,
    metavar="RUNS",
    help="Ways of working the search may try; each is worked by a whole ensemble.",
)
@click.option(
    "--minutes",
    type=click.FloatRange(1.0, 10_000.0),
    metavar="MIN",
    help="Most minutes there are, with turns, brushing and changes of paper.",
)
@draws_options(64, 16, 1024, spread=True)
@output_options
def improve(scenario: str, budget: int, minutes: float | None, draws: AskedMembers, output: Output) -> None:
    """Search for the way of working that has the best chance to end inside both limits.

    Tries the papers on hand, turning schedules and patterns, then moves press, height of the
    hands, length of the stroke and the strokes between turns. Sheets (paper.sheets in the
    scenario) and --minutes count as limits. What is found is worked again on fresh random
    numbers, and that figure is given: the one the search saw flatters itself.
    """

    job = known_job(scenario, draws.afresh)
    output.check()

    from handlap.sim.comparing.improve import improve as search

    with working(draws.spread) as how:
        found = search(job, budget=budget, minutes=minutes, **draws.whom, **how)
    answer(output, "improve", found, job=job)

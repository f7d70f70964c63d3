"""At the bench: Try every paper on a scrap, weighed; which one to start on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from handlap.cli.answering import known_job
from handlap.cli.options import (
    Output,
    output_options,
    past_option,
    past_place,
    scenario_argument,
    seed_option,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.job.scenario import Scenario


@click.command()
@scenario_argument()
@click.option("--side", metavar="LENGTH", help="Side of the square scrap, such as 60; without it 60 mm.")
@click.option(
    "--scale",
    type=click.FloatRange(0.0001, 10.0),
    default=0.01,
    show_default=True,
    metavar="GRAMS",
    help="Least division of the scale.",
)
@click.option(
    "--off",
    multiple=True,
    metavar="PAPER=GRAMS",
    help="What came off in the block on a paper, such as P80=0.42; once for each.",
)
@click.option("--remember", is_flag=True, help="Keep what the trial found for the next plans.")
@seed_option
@past_option
@output_options
def scrap_trial(
    scenario: str,
    side: str | None,
    scale: float,
    off: tuple[str, ...],
    remember: bool,
    seed: int,
    afresh: bool,
    output: Output,
) -> None:
    """Try every paper on a scrap of the same metal, weighed: the quickest lesson there is.

    Without --off it makes the sheet: one block on each paper of the scenario, how many strokes,
    and what to weigh. With --off it says what each paper cuts and which one to start on; with
    --remember the next plans begin from that.
    """
    from handlap.sim.bench.scrap_trial import plan_scrap

    job = known_job(scenario, afresh)
    lengths = {} if side is None else {"side": _side(side, job)}
    masses = _masses(off)
    if remember and not off:
        raise click.UsageError("--remember needs what came off: --off PAPER=GRAMS")
    output.check()

    from handlap.cli.reports.scrap_report import found_json, found_report, scrap_json, scrap_report

    trial = plan_scrap(job, division=1e-3 * scale, **lengths)
    if not off:
        output.hand_over(scrap_report(trial), scrap_json(trial), pictures=dict, job=job.name)
        return
    from datetime import date

    from handlap.cli.progress import ProgressLine
    from handlap.sim.bench.scrap_trial import entries_of, papers_found
    from handlap.sim.job.past_jobs import read_past
    from handlap.sim.lapping.from_past import from_past
    from handlap.sim.planning.first_paper import starts_on

    # What the trial found is held against the program's own middle, not against what it has learnt since.
    plain = trial if job.past is None else plan_scrap(job.past.plain, division=1e-3 * scale, **lengths)
    entries = entries_of(plain, masses, today=date.today().isoformat())
    place = None if afresh else past_place()
    earlier = () if place is None else read_past(place)
    known = from_past(job, (*earlier, *entries), "" if place is None else str(place))
    found = papers_found(trial, known, masses, entries)
    start = ""
    if len(known.paper.grits) > 1:
        with ProgressLine() as progress:
            start = starts_on(known, seed=seed, tell=progress).name
    kept = ""
    if remember:
        from handlap.cli.remembering import keep, past_to_write

        kept = keep(entries, past_to_write())
    output.hand_over(
        found_report(known, found, start, kept),
        found_json(trial, found, start),
        pictures=dict,
        job=job.name,
    )


def _side(text: str, job: Scenario) -> float:
    """The side of the scrap [m]."""
    from handlap.sim.common.errors import InputError
    from handlap.sim.common.measured_number import read_length

    try:
        return read_length(text, job.system, least=0.02, most=0.2)
    except ValueError as error:
        raise InputError(f"--side {text}: allowed is {error}") from None


def _masses(off: Sequence[str]) -> dict[str, float]:
    """Mass off by paper [kg]; all faults at once."""
    from handlap.sim.common.errors import InputError
    from handlap.sim.common.measured_number import read_measured

    found: dict[str, float] = {}
    faults = []
    for text in off:
        name, equals, mass = text.partition("=")
        try:
            value = read_measured(mass, "mass", "g").value if equals else 0.0
        except ValueError:
            value = 0.0
        if not value > 0.0 or name.strip().upper() in found:
            faults.append(f"--off {text}: allowed is PAPER=GRAMS above nought, each paper once, as P80=0.42")
        found[name.strip().upper()] = value
    if faults:
        raise InputError("\n".join(faults))
    return found

"""Before the bench: A sheet to print: where to lay the straightedge, where to try leaves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from handlap.cli.options import check_places, in_its_units, paper_option, scenario_argument

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.cli.sheets.sheet_measuring import MeasuringSheet
    from handlap.sim.common.units import System
    from handlap.sim.face.stations import MeasuringLine
    from handlap.sim.job.scenario import Scenario


@click.command()
@scenario_argument()
@paper_option()
@click.option(
    "--standard",
    is_flag=True,
    help="The six lines of the bench, even where the scenario was read on lines of its own.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The PDF to write; without it NAME-measuring-sheet.pdf in this folder.",
)
@click.option("--json", "as_json", is_flag=True, help="Print lines and stations as one JSON object.")
def measuring_sheet(scenario: str, paper: str, standard: bool, out: Path | None, as_json: bool) -> None:
    """Print a sheet for measuring a face with straightedge and feeler leaves.

    A PDF with the face to scale, the lines to lay the straightedge on, numbered stations, and
    tables with room for what goes and what does not go; with how to hold the straightedge,
    which leaves to try, and cautions. The scenario needs no readings yet. One that was read
    on lines of its own gets those again.

    What was written on the sheet is typed in by handlap readings.
    """
    from handlap.cli.files import with_ending, write_whole
    from handlap.sim.job.scenario_file import file_frame, load, read_text

    job = in_its_units(load(scenario, require_readings=False, require_mass=False))
    file = with_ending(out, ".pdf") if out else Path(f"{job.name}-measuring-sheet.pdf")
    check_places(None, file)

    from handlap.cli.sheets.sheet_measuring import measuring_pages
    from handlap.sim.face.stations import lines_of

    system, _ = file_frame(read_text(scenario))
    lines = lines_of(job, system, standard=standard)
    sheet = measuring_pages(job, lines, system, paper)
    write_whole(file, sheet.pdf)
    if as_json:
        from handlap.cli.reports.as_json import dumps
        from handlap.cli.screen import emit

        emit(dumps(_json(job, lines, sheet, file, paper)))
    else:
        _tell(job, lines, sheet, file, paper, system)


def _json(
    job: Scenario, lines: Sequence[MeasuringLine], sheet: MeasuringSheet, file: Path, paper: str
) -> dict[str, Any]:
    from handlap.sim.common.said import figure
    from handlap.sim.planning.cautions import cautions

    part = job.part
    return {
        "schema": "handlap.measuring-sheet/1",
        "scenario": job.name,
        "title": job.title,
        "invented": job.invented,
        "file": str(file),
        "paper": paper,
        "pages": sheet.pages,
        "scale": figure(sheet.scale),
        "leaves_um": [figure(leaf, 1e6) for leaf in job.readings.leaves],
        "limit_um": figure(part.limit, 1e6),
        "lines": [
            {
                "letter": line.letter,
                "name": line.name,
                "from_mm": [figure(x, 1e3) for x in line.start],
                "to_mm": [figure(x, 1e3) for x in line.end],
                "stations": [
                    {
                        "label": line.label(i),
                        "at_mm": figure(at, 1e3),
                        "u_mm": figure(float(place[0]), 1e3),
                        "v_mm": figure(float(place[1]), 1e3),
                    }
                    for i, (at, place) in enumerate(zip(line.at, line.places, strict=True))
                ],
            }
            for line in lines
        ],
        "cautions": list(cautions(part.metal, weight=part.weight, wet=job.paper.wet)),
    }


def _tell(
    job: Scenario,
    lines: Sequence[MeasuringLine],
    sheet: MeasuringSheet,
    file: Path,
    paper: str,
    system: System,
) -> None:
    import sys

    from handlap.cli.reports.quantity import counted
    from handlap.cli.reports.text import wrapped
    from handlap.cli.reports.wording import subject
    from handlap.cli.screen import Screen, emit
    from handlap.cli.sheets.sheet_measuring import ends_words, scale_words
    from handlap.sim.common.spoken import on_rule
    from handlap.sim.common.units import unit_of
    from handlap.sim.planning.cautions import cautions

    width = Screen.of(sys.stdout).width
    stations = sum(len(line.at) for line in lines)
    out = wrapped(
        f"Written: {file}, {counted(sheet.pages, 'page')} of {paper}, the face at "
        f"{scale_words(sheet.scale)}. Print it at its own size, not fitted to the page.",
        width,
    )
    out += wrapped(subject(job), width)
    out += wrapped(f"{counted(len(lines), 'line')}, {counted(stations, 'station')}:", width)
    unit = unit_of("length", system)
    for line in lines:
        at = ", ".join(on_rule(place) for place in line.at)
        start, end = ends_words(line, job.part.outline)
        words = f"{line.letter}  {line.name}: {start}, {end}; leaves {at} {unit} from its start"
        out += wrapped(words, width, "  ", "     ")
    out += ["", *wrapped(f"Then: handlap readings {job.source}", width), ""]
    for caution in cautions(job.part.metal, weight=job.part.weight, wet=job.paper.wet):
        out += wrapped(caution, width, "  - ", "    ")
    emit("\n".join(out))

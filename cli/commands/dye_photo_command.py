"""At the bench: Read what is left of the dye from a photo of the face."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from handlap.cli.options import Output, in_its_units, output_options, scenario_argument
from handlap.sim.common.errors import InputError

if TYPE_CHECKING:
    from handlap.sim.bench.dye_photo import DyePhoto
    from handlap.sim.bench.job_log import Entry
    from handlap.sim.bench.photo_view import PhotoMark
    from handlap.sim.common.outline import Array, Outline
    from handlap.sim.job.scenario import Scenario

PLACE = 'two numbers of pixels from the upper left, across and down, such as "812,340"'


@click.command()
@scenario_argument()
@click.argument("photo", type=click.Path(path_type=Path))
@click.option(
    "--corner",
    "corners",
    multiple=True,
    metavar="X,Y",
    help="Where a corner of the face is in the photo, in pixels from its upper left as a viewer shows it. "
    "Four times: far left, far right, near right, near left, as you stand at the part.",
)
@click.option(
    "--opening",
    "openings",
    multiple=True,
    metavar="N=X,Y",
    help="Where the middle of the opening no. N of the scenario is. Four or more serve in place of corners, "
    "or beside them.",
)
@click.option("--spot-dyed", multiple=True, metavar="X,Y", help="A spot that you know to be dyed.")
@click.option("--spot-bare", multiple=True, metavar="X,Y", help="A spot that you know to be bare.")
@click.option(
    "--grid",
    default="6x10",
    show_default=True,
    metavar="ROWSxCOLUMNS",
    help="Zones in which it goes into the log, 3x5 to 12x20.",
)
@click.option("--dyed", is_flag=True, help="New dye was put on after the photo.")
@click.option("--note", metavar="TEXT", help="Anything else worth keeping.")
@click.option("--yes", is_flag=True, help="Write it into the log without asking.")
@output_options
def dye_photo(
    scenario: str,
    photo: Path,
    corners: tuple[str, ...],
    openings: tuple[str, ...],
    spot_dyed: tuple[str, ...],
    spot_bare: tuple[str, ...],
    grid: str,
    dyed: bool,
    note: str | None,
    yes: bool,
    output: Output,
) -> None:
    """Read what is left of the dye from a photo of the face, and write it into the log.

    The photo is straightened by the places of four corners, or of four openings where the rim
    has no corners: three would leave the perspective open. The openings of the scenario are then
    looked for in it, so that a wrong corner, or another part, is noticed. Uneven light is evened
    out; in glare, under fingers and where the two colours cannot be told apart it says so.

    It shows what it saw, with --out as the straightened photo beside the map, and asks before it
    writes an entry; where nobody can be asked nothing is written without --yes.
    """
    from handlap.sim.job.scenario_file import load

    job = in_its_units(load(scenario))
    output.check()
    shape = _grid(grid)
    marks = _marks(job.part.outline, corners, openings)
    spots = [_spots(texts, name) for texts, name in ((spot_dyed, "--spot-dyed"), (spot_bare, "--spot-bare"))]

    from handlap.sim.bench.dye_photo import NotThisFace, NoView, OneColour, read_dye_photo
    from handlap.sim.bench.photo_file import read_photo

    picture = read_photo(photo)
    try:
        seen = read_dye_photo(picture, job.part.outline, marks, dyed=spots[0], bare=spots[1])
    except (NoView, NotThisFace, OneColour) as fault:
        raise InputError(f"{picture.name}: {fault}") from None

    from handlap.cli.reports.dye_photo_report import dye_photo_json, dye_photo_report
    from handlap.sim.bench.log_file import append

    entry = _entry(job, seen, shape, dyed, note)
    written = append(job, entry)[0] if yes else None

    def pictures() -> dict[str, bytes]:
        from handlap.cli.drawing.dye_photo_pictures import dye_photo_pictures

        return dye_photo_pictures(seen)

    output.hand_over(
        dye_photo_report(job, seen, shape, written),
        dye_photo_json(job, seen, shape, written),
        pictures=pictures,
        job=job.name,
    )
    if not yes and not output.as_json:
        _ask(job, entry)


def _ask(job: Scenario, entry: Entry) -> None:
    """Ask whether it is to be believed, and write it then; say how to where nobody can be asked."""
    import sys

    from handlap.cli.screen import is_terminal, note
    from handlap.sim.bench.log_file import append

    if sys.stdin is None or not is_terminal(sys.stdin):
        note("Nothing is written. If the map shows what is on the face, give the same again with --yes.")
        return
    from handlap.cli.asking.questions import ask_yes

    if ask_yes("Is that what is on the face? Write it into the log?", True):
        written, log = append(job, entry)
        note(f"Entry {written.number} is written, {log.strokes} strokes in all; it is on the disk.")
    else:
        note("Nothing is written.")


def _entry(job: Scenario, seen: DyePhoto, shape: tuple[int, int], dyed: bool, note: str | None) -> Entry:
    """What goes into the log, by the way that every entry goes."""
    from handlap.sim.bench.log_file import read_log
    from handlap.sim.bench.log_given import entry_of

    share, error = (_written(values) for values in seen.zones(*shape))
    given = {"dye_grid": share, "dye_sd": error, "dyed": dyed, "note": note}
    return entry_of(job, given, read_log(job, check=False))


def _written(values: Array) -> str:
    """A grid as it is typed."""
    rows = (" ".join("-" if x != x else f"{x:.2f}" for x in row) for row in values)
    return " / ".join(rows)


def _grid(text: str) -> tuple[int, int]:
    """Rows and columns."""
    from handlap.sim.lapping.dye_picture import COLUMNS, MOST_COLUMNS, MOST_ROWS, ROWS

    found = re.fullmatch(r"\s*(\d{1,3})\s*[x×X]\s*(\d{1,3})\s*", text)
    rows, columns = (int(found[1]), int(found[2])) if found else (0, 0)
    if not (ROWS <= rows <= MOST_ROWS and COLUMNS <= columns <= MOST_COLUMNS):
        raise InputError(f"--grid {text}: rows x columns, {ROWS}x{COLUMNS} to {MOST_ROWS}x{MOST_COLUMNS}")
    return rows, columns


def _place(text: str, option: str) -> Array:
    """A place in the picture (2,) [pixels]."""
    import numpy as np

    found = re.fullmatch(r"\s*(-?\d{1,6}(?:\.\d{1,6})?)\s*[,;\s]\s*(-?\d{1,6}(?:\.\d{1,6})?)\s*", text)
    if found is None:
        raise InputError(f"{option} {text}: {PLACE}")
    return np.array([float(found[1]), float(found[2])])


def _spots(texts: tuple[str, ...], option: str) -> Array | None:
    import numpy as np

    return np.array([_place(text, option) for text in texts]) if texts else None


def _marks(outline: Outline, corners: tuple[str, ...], openings: tuple[str, ...]) -> list[PhotoMark]:
    """The marks that are given.

    Raises
    ------
    InputError : if they are not such, or none
    """
    from handlap.cli.reports.quantity import counted
    from handlap.sim.bench.photo_view import CORNERS, NoView, PhotoMark, corner_places
    from handlap.sim.common.outline import middle_of

    if not corners and not openings:
        raise InputError(
            f"the face has to be found in the photo: give --corner X,Y four times ({', '.join(CORNERS)}), or "
            "--opening N=X,Y for four openings"
        )
    if corners and len(corners) != len(CORNERS):
        raise InputError(
            f"--corner: {counted(len(corners), 'corner')}; give all four, in the order {', '.join(CORNERS)}"
        )
    marks = []
    if corners:
        try:
            places = corner_places(outline)
        except NoView as fault:
            raise InputError(f"--corner: {fault}") from None
        marks = [
            PhotoMark(name, place, _place(text, "--corner"))
            for name, place, text in zip(CORNERS, places, corners, strict=True)
        ]
    known = len(outline.openings)
    for text in openings:
        number, sign, place = text.partition("=")
        if not sign or not number.strip().isdecimal() or not 1 <= int(number) <= known:
            allowed = (
                f"N=X,Y with N from 1 to {known}, as they are listed in the scenario"
                if known
                else ("nothing: this face has no openings")
            )
            raise InputError(f"--opening {text}: {allowed}")
        ring = outline.openings[int(number) - 1]
        marks.append(PhotoMark(f"opening {int(number)}", middle_of(ring), _place(place, "--opening"), ring))
    return marks

"""Keeping what a job has taught for the next plans, in the user's own file, where that is asked for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from handlap.cli.options import past_place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from handlap.sim.job.past_jobs import PastJob


def past_to_write() -> Path:
    """The file of earlier jobs, its folder made, found to be whole.

    Raises
    ------
    InputError : if none is wanted, it is torn, or its folder cannot be made
    """
    from handlap.cli.files import make_folder
    from handlap.sim.common.errors import InputError
    from handlap.sim.job.past_jobs import VARIABLE, read_past

    place = past_place()
    if place is None:
        raise InputError(f"--remember: {VARIABLE} says that nothing is to be kept; name a file there")
    read_past(place)
    make_folder(place.parent)
    return place


def keep(entries: Sequence[PastJob], place: Path) -> str:
    """Write entries down, all or none, and say so."""
    from handlap.cli.files import write_whole
    from handlap.sim.job.given_file import read_small_text
    from handlap.sim.job.past_jobs import LARGEST, parse_past, with_entry

    text = read_small_text(place, LARGEST) if place.exists() else ""
    older = False
    for entry in entries:
        text, replaced = with_entry(text, parse_past(text, str(place)), entry)
        older |= replaced
    write_whole(place, text)
    what = "in place of what was kept of it before" if older else "as something new"
    told = dict.fromkeys(name.replace("_", " ") for entry in entries for name in entry.found)
    return f"Kept for your next plans, {what}, in {place}: {', '.join(told)}. handlap past-jobs shows it."

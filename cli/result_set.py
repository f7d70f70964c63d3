"""The files that a command leaves in a folder: one set, named after the job, with nothing of an older one."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from handlap.cli.files import write_set
from handlap.cli.reports.quantity import counted
from handlap.cli.screen import note

_COURSE = ("warp.png", "depth.png", "dye.png", "course.png")
PICTURES: dict[str, tuple[str, ...]] = {
    "survey": ("map.png",),
    "plan": _COURSE,
    "lap": _COURSE,
    "compare": ("ways.png", "removed.png", "turns.png", "curves.png"),
    "why": ("causes.png", "maps.png"),
    "improve": ("ways.png", "search.png"),
    "dye-photo": ("seen.png",),
    "replan": ("course.png", "warp.png"),
    "record": ("warp.png",),
    "lesson": ("before.png", "after.png", "removed.png", "dye.png", "curve.png"),
    "exercise": ("truth.png",),
    "stint": ("faces.png",),
    "scrap-trial": (),
    "validity": (),
}
"""Every picture that a set of that kind may hold: one that is there and not written now is of an older
answer."""
LONGEST_NAME = 120
"""Bytes of a job's name that go into the names of its files; file systems take 255 in all."""


def set_name(job: str, kind: str) -> str:
    """What the files of a set are called, but for what each of them shows.

    >>> set_name("two-cylinder-head", "plan"), set_name("overhang", "lesson"), set_name("", "validity")
    ('two-cylinder-head-plan', 'lesson-overhang', 'validity')
    """
    if len(job.encode("utf-8")) > LONGEST_NAME:
        job = f"{job[: LONGEST_NAME // 4]}-{hashlib.sha256(job.encode()).hexdigest()[:8]}"
    return "-".join(filter(None, (kind, job) if kind == "lesson" else (job, kind)))


def write_result_set(
    out: Path,
    job: str,
    kind: str,
    page: str,
    pictures: Mapping[str, bytes],
    *,
    pdf: bytes | None = None,
    json_file: tuple[Path, str] | None = None,
) -> None:
    """Write page and pictures as one set, and take away what an older set of that name had more.

    Parameters
    ----------
    job, kind : name of the scenario or lesson, and what is told of it: what the files are called
    page : the HTML page
    pictures : PNG by name, out of ``PICTURES``
    pdf : the page for a printer, where the command makes one
    json_file : place and text of the same result as JSON, where that is wanted too
    """
    unknown = set(pictures) - set(PICTURES[kind])
    if unknown:
        raise ValueError(f"not among PICTURES of {kind}, so they would never be taken away: {unknown}")
    name = set_name(job, kind)
    files: dict[Path, str | bytes] = {out / f"{name}-{picture}": data for picture, data in pictures.items()}
    if pdf is not None:
        files[out / f"{name}.pdf"] = pdf
    files[out / f"{name}.html"] = page
    if json_file is not None:
        files[json_file[0]] = json_file[1]
    stale = [out / f"{name}-{picture}" for picture in PICTURES[kind] if picture not in pictures]
    left_over = sum(place.is_file() for place in stale)
    write_set(files, stale)
    gone = f"; {counted(left_over, 'picture')} of an older answer removed" if left_over else ""
    note(f"{counted(len(pictures), 'picture')} and the page {name}.html written to {out}{gone}")

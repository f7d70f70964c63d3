"""What was seen of the dye in a photo, before it is believed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from handlap.cli.reports.blocks import Block, Bullets, Drawing, Picture, Report, Section, Words
from handlap.cli.reports.log_report import entry_words
from handlap.cli.reports.quantity import share
from handlap.cli.reports.wording import facts, subject
from handlap.sim.bench.dye_photo import TOLD

if TYPE_CHECKING:
    from handlap.sim.bench.dye_photo import DyePhoto
    from handlap.sim.bench.job_log import Entry
    from handlap.sim.job.scenario import Scenario

SEEN = "seen.png"
ACROSS, SIDE, TALL = 30, "  far   ", 2.0
"""Letters along the face, what stands before them, height of a letter over its width."""
FEW = 0.5
"""Less of the face told than this is named [-]."""
OBLIQUE = np.radians(37.0)
"""Views more slanting than this were not tried on rendered photos [rad]."""


def dye_photo_report(
    scenario: Scenario, seen: DyePhoto, shape: tuple[int, int], written: Entry | None
) -> Report:
    """The report; ``written``: the entry that it became, if it did."""
    zones, errors = seen.zones(*shape)
    told = int(np.isfinite(zones).sum())
    answer = f"Dye is left on {share(seen.left)} of what is seen of the face"
    lead = [f"{share(seen.told)} of the face can be told: dyed on {share(_part(seen, seen.dyed))}, bare on "
            f"{share(_part(seen, seen.bare))}; of the rest the picture cannot tell."]  # fmt: skip
    if written is not None:
        lead.append(f"Entry {written.number} is written: {entry_words(written)}.")
    middle = f", standard error {share(float(np.nanmedian(errors)))} in the middle" if told else ""
    blocks: list[Block] = [
        _map(seen),
        Picture(SEEN, "The photo straightened, and what was made of it.", _alt(seen)),
        Words(
            f"Into the log go {shape[0]} rows of {shape[1]} zones, {told} of which can be told{middle}. A "
            "film that has only begun to fade counts as left."
        ),
    ]
    sections = [Section("What it saw", tuple(blocks))]
    odd = _odd(seen, told)
    if odd:
        sections.insert(0, Section("Look again", (Bullets(odd),)))
    sections.append(Section("The photo", (facts(*_facts(seen)),)))
    tone = "doubt" if odd else "plain"
    return Report("dye-photo", answer, tone, subject(scenario), tuple(lead), tuple(sections))  # type: ignore[arg-type]


def _part(seen: DyePhoto, cells: Any) -> float:
    return float(seen.metal[cells].sum() / seen.metal.sum())


def _alt(seen: DyePhoto) -> str:
    return (
        f"Of the face {share(_part(seen, seen.dyed))} is told to be dyed, {share(_part(seen, seen.bare))} to "
        "be bare; of the rest it cannot be told."
    )


def _map(seen: DyePhoto) -> Drawing:
    """The face in letters, for a terminal."""
    long, wide = seen.outline.length, seen.outline.width
    columns = int(min(ACROSS, ACROSS * long / wide))
    rows = int(max(2, round(columns * wide / long / TALL)))
    chance, _ = seen.zones(rows, columns)
    metal = seen.metal_of(rows, columns)
    lines = []
    for i in range(rows):
        text = "".join(_letter(chance[i, j], metal[i, j]) for j in range(columns))
        side = SIDE if i == 0 else "  near  " if i == rows - 1 else " " * len(SIDE)
        lines.append((side + text).rstrip())
    lines.append(f"{' ' * len(SIDE)}left{' ' * max(1, columns - 9)}right")
    lines.append(f"{' ' * len(SIDE)}# dyed  . bare  - cannot tell")
    return Drawing(tuple(lines), _alt(seen))


def _letter(chance: float, metal: float) -> str:
    if metal < 0.5:
        return " "
    return "#" if chance >= TOLD else "." if chance <= 1.0 - TOLD else "-"


def _odd(seen: DyePhoto, told: int) -> tuple[str, ...]:
    """What whoever believes it should know first."""
    words = []
    if seen.photo.turned:
        words.append(
            f"The camera noted how it was held: the picture was {seen.photo.turned} before the marks were "
            "looked up in it, as viewers do."
        )
    if not seen.openings:
        words.append(
            "No opening of this face is large enough to be looked for: that it is this part, and lies this "
            "way round, rests on your word."
        )
    elif seen.turnable:
        words.append(
            "Turned half round, the openings would fit as well: which end is left rests on your corners."
        )
    missed = [str(found.number) for found in seen.openings if not found.here]
    if missed:
        words.append(
            f"Not found where {'it' if len(missed) == 1 else 'they'} should be: opening {', '.join(missed)}."
        )
    if not seen.film.apart:
        words.append("The face shows one colour only; what it is, was taken from the spot you named.")
    if seen.told < FEW:
        words.append(
            f"Only {share(seen.told)} of the face can be told: another photo, in even light, tells more."
        )
    if seen.view.tilt > OBLIQUE:
        words.append(
            f"It is seen from {np.degrees(seen.view.tilt):.0f}° off: from nearer above it reads better."
        )
    if not told:
        words.append("No zone can be told.")
    return tuple(words)


def _facts(seen: DyePhoto) -> list[tuple[str, str]]:
    wide, high = seen.photo.size
    film = seen.film
    here = sum(found.here for found in seen.openings)
    rows = [
        ("picture", f"{seen.photo.name}, {wide} × {high} pixels"),
        ("seen from", f"{np.degrees(seen.view.tilt):.0f}° off straight above"),
        ("openings found", f"{here} of {len(seen.openings)}" if seen.openings else "none to look for"),
        ("too bright", share(film.glare)),
        ("too dark", share(film.dark)),
        ("neither dyed nor bare", share(film.strange)),
    ]
    if np.isfinite(seen.off):
        off = 100.0 * seen.off / max(seen.outline.length, seen.outline.width)
        rows.insert(3, ("they lie off by", f"{off:.1f} % of the length"))
    return rows


def dye_photo_json(
    scenario: Scenario, seen: DyePhoto, shape: tuple[int, int], written: Entry | None
) -> dict[str, Any]:
    """The same as one object."""
    zones, errors = seen.zones(*shape)
    return {
        "schema": "handlap.dye-photo/1",
        "scenario": scenario.name,
        "photo": seen.photo.name,
        "pixels": list(seen.photo.size),
        "turned": seen.photo.turned or None,
        "tilt_deg": round(float(np.degrees(seen.view.tilt)), 2),
        "openings": [
            {"number": f.number, "found": f.here, "off_mm": [round(1e3 * float(x), 3) for x in f.off]}
            for f in seen.openings
        ],
        "told": round(seen.told, 4),
        "dye_left": round(seen.left, 4),
        "glare": round(seen.film.glare, 4),
        "dark": round(seen.film.dark, 4),
        "neither": round(seen.film.strange, 4),
        "dye_grid": _rows(zones),
        "dye_sd": _rows(errors),
        "cells": _rows(seen.chance),
        "notes": list(_odd(seen, int(np.isfinite(zones).sum()))),
        "written": None if written is None else written.number,
    }


def _rows(values: Any) -> list[list[float | None]]:
    return [[round(float(x), 3) if np.isfinite(x) else None for x in row] for row in values]

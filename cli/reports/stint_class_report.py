"""The stints of a class in one table, each beside the best plain plan by the same hands."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from handlap.cli.reports.as_json import MICRON
from handlap.cli.reports.blocks import Facts, Report, Section, Table, Words
from handlap.cli.reports.quantity import number
from handlap.cli.reports.stint_report import debrief_json, verdict_words
from handlap.sim.common.said import figure
from handlap.sim.common.spoken import height_unit, per_height
from handlap.sim.teaching.exercise import Exercise
from handlap.sim.teaching.stint_class import OneStint
from handlap.sim.teaching.stint_debrief import Debrief, PlainPlan

GRAMS = 1e3
HOW_TO_READ = (
    "In brackets: the best plain plan by the same hands on the same face, one paper, turned all round, a "
    "look every two minutes; its minutes are without the looks. Reading: what the limit is held against, at "
    "the end. Scrap: more came off at the deepest spot than there was to spare. Blocks: orders to lap; "
    "looks: checks and weighings. A stint that goes on shows what it has cost, and nothing of the face."
)


@dataclass(frozen=True)
class ClassRow:
    """One folder of a class: its exercise and stint, or why there is none in ``remark``."""

    folder: str
    by: str
    exercise: Exercise | None
    stint: OneStint | None
    remark: str = ""


def outcome(row: ClassRow) -> str:
    """How a stint stands, in a few words."""
    if row.stint is None:
        return "not begun"
    return verdict_words(row.stint.found)[0] if row.stint.found else "goes on"


def stint_class_report(folder: str, rows: Sequence[ClassRow]) -> Report:
    """The stints of a class, a row each."""
    ended = [row.stint.found for row in rows if row.stint is not None and row.stint.found is not None]
    unit = height_unit()
    heads = (
        "",
        "minutes",
        "sheets",
        "blocks",
        "looks",
        "metal\ng",
        f"reading\n{unit}",
        f"limit\n{unit}",
        "end",
    )
    cells = tuple(_cells(row) for row in rows)
    good = sum(found.inside and found.kept for found in ended)
    scrap = sum(not found.kept for found in ended)
    remarks = tuple((row.folder, row.remark) for row in rows if row.remark)
    table = Section("Stints", (Table(heads, cells, left=(0, 8), wraps=0),))
    told = (Section("Remarks", (Facts(remarks),)),) if remarks else ()
    return Report(
        kind="stint",
        answer=f"{len(ended)} of {len(rows)} ended: {good} inside the limit, {scrap} scrap",
        tone="plain",
        subject=folder,
        lead=(),
        sections=(table, *told, Section("How to read it", (Words(HOW_TO_READ),))),
    )


def _cells(row: ClassRow) -> tuple[str, ...]:
    who = f"{row.folder}, {row.by}" if row.by else row.folder
    if row.stint is None or row.exercise is None:
        return (who, *[""] * 7, outcome(row))
    stint, found = row.stint, row.stint.found
    plain = found.plain if found else None
    per = per_height()
    limit = number(per * row.exercise.scenario.part.limit)
    return (
        who,
        _beside(f"{stint.costs.minutes:.0f}", f"{plain.minutes:.0f}" if plain else ""),
        _beside(str(stint.costs.sheets), str(plain.sheets) if plain else ""),
        str(stint.blocks),
        str(stint.looks),
        "" if found is None else _beside(f"{GRAMS * found.mass:.1f}", _grams(plain)),
        "" if found is None
        else _beside(number(per * found.measured), number(per * plain.measured) if plain else ""),
        limit,
        "goes on" if found is None else _beside(_end(found), _end(plain) if plain else ""),
    )  # fmt: skip


def _end(one: Debrief | PlainPlan) -> str:
    """How a stint or a plan ends, in a word or two."""
    return "scrap" if not one.kept else "inside" if one.inside else "not inside"


def _grams(plain: PlainPlan | None) -> str:
    return f"{GRAMS * plain.mass:.1f}" if plain else ""


def _beside(mine: str, plan: str) -> str:
    return f"{mine} ({plan})" if plan else mine


def stint_class_json(row: ClassRow) -> dict[str, Any]:
    """One row as JSON."""
    stint = row.stint
    known: dict[str, Any] = {"folder": row.folder, "by": row.by or None, "outcome": outcome(row)}
    known["remark"] = row.remark or None
    if stint is None or row.exercise is None:
        return known
    part = row.exercise.scenario.part
    return {
        **known,
        "exercise": row.exercise.name,
        "limit_um": figure(part.limit, MICRON),
        "limit_by": part.limit_by,
        "ended": stint.found is not None,
        "minutes": round(stint.costs.minutes, 2),
        "strokes": stint.costs.strokes,
        "sheets": stint.costs.sheets,
        "blocks": stint.blocks,
        "looks": stint.looks,
        "debrief": None if stint.found is None else debrief_json(stint.found),
    }


def stint_class_csv(rows: Sequence[ClassRow]) -> str:
    """The table as CSV, figures plain in g and µm, with those of the plain plan in columns of their own."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    mine = ("minutes", "strokes", "sheets", "blocks", "looks", "metal_g", "reading_um", "deepest_um")
    plan = ("minutes", "strokes", "sheets", "metal_g", "reading_um", "deepest_um")
    writer.writerow(
        ["folder", "name", "exercise", "limit_um", *mine, "inside_limit", "inside_allowance",
         *(f"plain_{name}" for name in plan), "plain_paper", "outcome"]
    )  # fmt: skip
    for row in rows:
        said = stint_class_json(row)
        found = said.get("debrief") or {}
        plain = found.get("plain_plan") or {}
        writer.writerow(
            [
                row.folder, row.by, said.get("exercise", ""), said.get("limit_um", ""),
                *(said.get(name, "") for name in mine[:5]),
                *(found.get(name, "") for name in ("mass_g", "measured_um", "deepest_um")),
                *(found.get(name, "") for name in ("inside_limit", "inside_allowance")),
                *(plain.get(name, "") for name in plan[:3]),
                *(plain.get(name, "") for name in ("mass_g", "measured_um", "deepest_um", "paper")),
                said["outcome"],
            ]
        )  # fmt: skip
    return stream.getvalue()

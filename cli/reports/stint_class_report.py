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

GRAMS = 1e3
HOW_TO_READ = (
    "In brackets: the best plain plan by the same hands on the same face, one paper, turned all round, a look "
    "every two minutes; its minutes are without the looks. Reading: what the limit is held against, at the end. "
    "Blocks: orders to lap; looks: checks and weighings. A stint that goes on shows what it has cost, and "
    "nothing of the face."
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
    heads = (
        "folder", "by", "minutes", "sheets", "blocks", "looks", "metal, g",
        f"reading, {height_unit()}", f"limit, {height_unit()}", "outcome",
    )  # fmt: skip
    cells = tuple(_cells(row) for row in rows)
    good = sum(found.inside and found.kept for found in ended)
    scrap = sum(not found.kept for found in ended)
    remarks = tuple((row.folder, row.remark) for row in rows if row.remark)
    table = Section("Stints", (Table(heads, cells, left=(0, 1, 9), wraps=9),))
    told = (Section("Remarks", (Facts(remarks),)),) if remarks else ()
    return Report(
        kind="stint",
        answer=f"{len(ended)} of {len(rows)} ended: {good} inside the limit and not too deep, {scrap} scrap",
        tone="plain",
        subject=folder,
        lead=(),
        sections=(table, *told, Section("How to read it", (Words(HOW_TO_READ),))),
    )


def _cells(row: ClassRow) -> tuple[str, ...]:
    if row.stint is None or row.exercise is None:
        return (row.folder, row.by, *[""] * 7, outcome(row))
    stint, found = row.stint, row.stint.found
    plain = found.plain if found else None
    per = per_height()
    limit = number(per * row.exercise.scenario.part.limit)
    return (
        row.folder,
        row.by,
        _beside(f"{stint.costs.minutes:.0f}", f"{plain.minutes:.0f}" if plain else ""),
        _beside(str(stint.costs.sheets), str(plain.sheets) if plain else ""),
        str(stint.blocks),
        str(stint.looks),
        "" if found is None else _beside(f"{GRAMS * found.mass:.1f}", _grams(plain)),
        "" if found is None
        else _beside(number(per * found.measured), number(per * plain.measured) if plain else ""),
        limit,
        outcome(row),
    )  # fmt: skip


def _grams(plain: Any) -> str:
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

"""The stints of a class gathered from their folders into one table, page and CSV."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from handlap.cli.asking.exercise_folder import (
    CLASS_LIST,
    FORM,
    SEAL,
    STINT,
    exercises_of_class,
    form_in,
    sealed_in,
    stint_orders,
)
from handlap.sim.common.errors import HandlapError

if TYPE_CHECKING:
    from handlap.cli.reports.stint_class_report import ClassRow

PAGE, TABLE = "class-stints.html", "class-stints.csv"


def gather_stints(folder: Path, as_json: bool) -> None:
    """Tell of all stints in the folders of a class; those that go on are left as they are."""
    from handlap.cli.files import place_to_write, write_whole
    from handlap.cli.progress import ProgressLine
    from handlap.cli.reports.page import render_page
    from handlap.cli.reports.stint_class_report import (
        stint_class_csv,
        stint_class_json,
        stint_class_report,
    )
    from handlap.cli.screen import Screen, emit, note

    for name in (PAGE, TABLE):
        place_to_write(folder / name)
    places, names = exercises_of_class(folder), _names(folder)
    rows = []
    with ProgressLine() as progress:
        for i, place in enumerate(places):
            progress(i / len(places), f"working the stint in {place.name} anew")
            rows.append(_row(place, names))
    report = stint_class_report(folder.resolve().name, rows)
    write_whole(folder / TABLE, stint_class_csv(rows))
    write_whole(folder / PAGE, render_page(report, {}, {}))
    if as_json:
        from handlap.cli.reports.as_json import dumps

        told = [stint_class_json(row) for row in rows]
        emit(dumps({"schema": "handlap.stint-class/1", "folder": str(folder), "stints": told}))
    else:
        from handlap.cli.reports.text import render

        emit(render(report, Screen.of(sys.stdout)))
    note(f"page written to {folder / PAGE}, table to {folder / TABLE}")


def _row(place: Path, names: dict[str, str]) -> ClassRow:
    """The row of one folder; what cannot be read of it is its remark."""
    from handlap.cli.reports.stint_class_report import ClassRow
    from handlap.sim.teaching.exercise import exercise_of
    from handlap.sim.teaching.exercise_seal import open_seal
    from handlap.sim.teaching.stint_class import one_stint

    by = names.get(place.name) or _by(place)
    try:
        name, content = open_seal(sealed_in(place), str(place / SEAL))
        orders, ended = stint_orders(place, name)
        if not (place / STINT).exists():
            return ClassRow(place.name, by, None, None)
        exercise = exercise_of(content, str(place / SEAL))
        return ClassRow(place.name, by, exercise, one_stint(exercise, orders, ended))
    except HandlapError as fault:
        words = str(fault).splitlines()[0].replace(f"{place}/", "")
        return ClassRow(place.name, by, None, None, words)


def _by(place: Path) -> str:
    """Who answers the exercise of a folder, as far as the form says."""
    try:
        return str(form_in(place).get("by", "")) if (place / FORM).exists() else ""
    except HandlapError:
        return ""


def _names(folder: Path) -> dict[str, str]:
    """Names by folder, from the list of the class where it is there."""
    import csv
    import io

    path = folder / CLASS_LIST
    if not path.is_file():
        return {}
    table = csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig", errors="replace")))
    return {str(row.get("folder", "")): (row.get("name") or "").strip() for row in table}

"""A new scenario file: readable, commented, with its readings still to be taken."""

from __future__ import annotations

import textwrap
import tomllib
from collections.abc import Iterable
from functools import cache
from typing import Any

from handlap.cli.asking.readings_text import line_text
from handlap.cli.reports.wording import plain_basis
from handlap.sim.common.errors import InputError
from handlap.sim.common.spoken import reworded
from handlap.sim.common.units import System
from handlap.sim.face.stations import lines_of
from handlap.sim.job.key_row import Key
from handlap.sim.job.scenario import Station
from handlap.sim.job.scenario_file import builtin_names, file_frame, load_text, read_text
from handlap.sim.job.scenario_keys import BY_NAME, describe_keys
from handlap.sim.job.toml_edit import key_text, value_text

Document = dict[str, Any]

COLUMNS = 100
TABLES = ("part", "plate", "paper", "hands", "strokes", "turning", "wear")
UNIT_WORDS = {
    "mm": "lengths mm, heights and leaves µm, forces N, masses kg",
    "inch": "lengths inches, heights and leaves thousandths of an inch, forces lbf, masses lb",
}
LEFT_OUT = ("readings", "exact", "checks")
"""Tables of a built-in scenario that belong to its own story."""
OUTLINE_KEYS = ("length", "width", "polygon", "origin", "openings")
OPENINGS_WORDS = "circle [u, v, diameter], slot [u, v, length over all, width, angle], or polygon of corners"
INCH_MM = 25.4


@cache
def outline_names() -> tuple[str, ...]:
    """Built-in scenarios whose outline may be taken over."""
    return tuple(name for name, _ in builtin_names() if "exact" not in tomllib.loads(read_text(name)))


def builtin_document(name: str) -> Document:
    """What a built-in scenario states, without its readings.

    Raises
    ------
    InputError : if there is no such outline; names those there are
    """
    if name not in outline_names():
        raise InputError(f'no built-in outline "{name}"; there are {", ".join(outline_names())}')
    document = tomllib.loads(read_text(name))
    leaves = document.get("readings", {}).get("leaves")
    kept = {key: value for key, value in document.items() if key not in LEFT_OUT}
    kept.get("plate", {}).pop("heights", None)
    if leaves:
        kept["readings"] = {"leaves": leaves}
    return kept


def builtin_outline(name: str, system: str) -> Document:
    """Size and openings of a built-in scenario as keys of ``[part]``, in ``system``."""
    document = builtin_document(name)
    part = {key: value for key, value in document["part"].items() if key in OUTLINE_KEYS}
    own = document.get("units", "mm")
    if own == system:
        return part
    factor = INCH_MM if system == "mm" else 1.0 / INCH_MM
    return {key: _scaled(value, factor) for key, value in part.items()}


def _scaled(value: Any, factor: float, keep: int = 1_000_000) -> Any:
    """Lengths in another unit; entries from place ``keep`` on are no lengths."""
    if isinstance(value, dict):
        return {k: _scaled(v, factor, 4 if k == "slot" else keep) for k, v in value.items()}
    if isinstance(value, list):
        return [v if i >= keep else _scaled(v, factor) for i, v in enumerate(value)]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(f"{value * factor:.6g}")
    return value


def compose(
    document: Document, intro: Iterable[str], unstated: Iterable[str], file: str, first_line: str = ""
) -> str:
    """The text of a new scenario.

    Parameters
    ----------
    document : what it states; readings: leaves at most
    intro : sentences that head the file
    unstated : keys that were thought of and left to their defaults
    file : name of the file, for the hints
    first_line : a line ``[[readings.line]]`` as an example, in words of the file
    """
    # Units that are not known are refused by the loader, in its own words.
    system = document.get("units", "mm")
    units = UNIT_WORDS.get(system, UNIT_WORDS["mm"])
    own = "5.5 lb" if system == "inch" else "2.5 kg"
    lines = _comment("\n".join(intro)) + [
        "#",
        *_comment(f'Plain numbers: {units}.  A text such as "{own}" brings its own unit.'),
        *_comment('"handlap keys" lists all that this file may hold.'),
        "",
    ]
    left = list(unstated)
    for name in ("title", "invented", "units"):
        if name in document:
            lines += _entry(BY_NAME[name], document[name])
    for table in TABLES:
        stated, unsaid = document.get(table, {}), [k for k in left if k.startswith(table + ".")]
        body = _table(table, stated, unsaid, "inch" if system == "inch" else "mm")
        lines += ["", f"[{table}]", *body] if body else []
    lines += ["", "[readings]", *_readings_words(file, first_line)]
    for name in ("edge_length", "leaves_in", "leaves", "worst_gap"):
        value = document.get("readings", {}).get(name)
        if value:
            lines += _entry(BY_NAME[f"readings.{name}"], value)
    return "\n".join(lines) + "\n"


def _table(table: str, values: Document, unstated: list[str], system: System) -> list[str]:
    lines: list[str] = []
    lists: list[str] = []
    for name, value in values.items():
        row = BY_NAME.get(f"{table}.{name}")
        if row is not None:
            lines += _entry(row, value)
        elif name == "openings":
            lines += _comment(OPENINGS_WORDS)
            lines += [f"openings = {value_text(value)}"]
        else:
            for entry in value:
                lists += ["", f"[[{table}.{name}]]"]
                lists += [f"{key_text(k)} = {value_text(v)}" for k, v in entry.items()]
    for key in unstated:
        if key.partition(".")[2] not in values:
            told = next(row for row in describe_keys() if row.name == key)
            short = key.partition(".")[2]
            taken = (
                ""
                if "state" in told.default or told.default == "none"
                else f" ({reworded(plain_basis(told.default), system)})"
            )
            lines += _comment(f"{short} not stated{taken}: {told.help}")
    return lines + lists


def _entry(row: Key, value: Any) -> list[str]:
    name = row.name.rpartition(".")[2]
    line = f"{name} = {value_text(value)}"
    note = f"{line:<32}  # {row.help}"
    if "\n" not in line and len(note) <= COLUMNS:
        return [note]
    return [*_comment(row.help), line]


def _comment(text: str) -> list[str]:
    return [
        line
        for part in text.split("\n")
        for line in textwrap.wrap(
            part, COLUMNS, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False
        )
    ]


def _readings_words(file: str, first_line: str) -> list[str]:
    lines = _comment(
        f'Readings go here.  "handlap measuring-sheet {file}" prints a sheet with the lines and numbered '
        f'stations; "handlap readings {file}" asks for what was written on it and puts it below.  Typed by '
        "hand a line looks like this, without the #:"
    )
    return lines + ["#", *(f"#     {line}" for line in first_line.splitlines()), "#"]


def finish(document: Document, intro: list[str], unstated: list[str], file: str) -> str:
    """The text of a new file, tried on the loader and with a line of readings as an example."""
    bare = compose(document, intro, unstated, file)
    scenario = load_text(bare, file, file=file, require_readings=False)
    system, middle = file_frame(bare)
    lines = lines_of(scenario, system, standard=True)
    leaves = scenario.readings.leaves
    example = ""
    if lines and lines[0].at:
        leaf = leaves[0] if leaves else 30e-6
        stations = tuple(Station(at, 0.0, leaf) for at in lines[0].at[:2])
        example = line_text(lines[0], "rest", stations, system, middle, scenario.leaf_unit)
    text = compose(document, intro, unstated, file, example)
    load_text(text, file, file=file, require_readings=False)
    return text

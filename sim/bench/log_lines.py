"""An entry of the log as a line of its file: JSON in the units of the bench (mm, µm, g), and back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any, cast, get_args, get_type_hints

from handlap.sim.bench.job_log import Entry, EntryFaults, JobLog, Logged, LogMark
from handlap.sim.face.straightedge import HELD_CODE
from handlap.sim.job.findings import Findings
from handlap.sim.job.scenario import Held, Station, StraightedgeLine
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_values import read_stations
from handlap.sim.lapping.dye_picture import COLUMNS, MOST_COLUMNS, MOST_ROWS, ROWS
from handlap.sim.lapping.dye_words import fits_grid, read_dye
from handlap.sim.materials import grits

SCHEMA = 1
UM, MM = 1e-6, 1e-3


@dataclass(frozen=True)
class Field:
    """A field of an entry: its name, how it stands in a line, its type, its default (None: it has none)."""

    name: str
    logged: Logged
    type: Any
    default: Any


def _fields() -> dict[str, Field]:
    hints = get_type_hints(Entry, include_extras=True)
    found = {}
    for field in fields(Entry):
        held, logged = get_args(hints[field.name])
        found[logged.key] = Field(
            field.name, logged, held, None if field.default is MISSING else field.default
        )
    return found


FIELDS = _fields()
"""Key in a line of the log → field of an entry."""
STAMPED = ("n", "at", "when", "against", "id")
"""What the program writes and nobody says."""
ALLOWED = "no such key; an entry may hold " + ", ".join(sorted(set(FIELDS) - set(STAMPED)))
MOST_MARKS = 40


def header_json(log: JobLog) -> dict[str, Any]:
    """First line of a log."""
    return {"handlap_log": SCHEMA, "part": log.part, "name": log.name}


def to_json(entry: Entry) -> dict[str, Any]:
    """An entry as the object of its line: mm, µm, g; only what it holds."""
    line: dict[str, Any] = {}
    for key, field in FIELDS.items():
        value = getattr(entry, field.name)
        if value is None or value == field.default:
            continue
        if key in _TOLD:
            value = _TOLD[key](value)
        line[key] = value if field.logged.unit == 1.0 else _scaled(value, field.logged.unit)
    return line


def _grid_json(grid: tuple[tuple[float, ...], ...] | None) -> list[list[float | None]] | None:
    return None if grid is None else [[None if math.isnan(x) else x for x in row] for row in grid]


def _scaled(value: float | None, unit: float) -> float | None:
    return None if value is None else float(f"{value / unit:.10g}")


def _line_json(line: StraightedgeLine) -> dict[str, Any]:
    return {
        "name": line.name,
        "from": [_scaled(x, MM) for x in line.start],
        "to": [_scaled(x, MM) for x in line.end],
        "held": line.held,
        "stations": [
            [
                _scaled(s.at, MM),
                "none" if s.goes <= 0.0 else _scaled(s.goes, UM),
                "open" if math.isinf(s.stops) else _scaled(s.stops, UM),
            ]
            for s in line.stations
        ],
    }


def from_json(raw: Mapping[str, Any], file: str, label: str, *, whole: bool = True) -> Entry:
    """An entry from the object of its line.

    Parameters
    ----------
    raw : the object
    file, label : name of the file and "line 12", for messages
    whole : False where what the log knows is still to be filled in by :func:`next_entry`

    Raises
    ------
    EntryFaults : with everything that is wrong with it
    """
    found = Findings(file)
    for name in sorted(set(raw) - set(FIELDS)):
        found.fault(label, name, ALLOWED)
    take = _Taker(raw, label, found)
    entry = Entry(**{field.name: _taken(key, field, take) for key, field in FIELDS.items()})
    _dye_agrees(entry, label, found)
    if whole:
        _whole_entry(entry, label, found)
    if found.faults:
        raise EntryFaults(found.faults)
    return entry


def _whole_entry(entry: Entry, label: str, found: Findings) -> None:
    """Faults that need more than one key."""
    if entry.strokes and not entry.paper:
        found.fault(f"{label}, paper", None, "missing: the paper the strokes were done on")
    if (entry.swarf is not None or entry.part_mass is not None) and entry.scale is None:
        found.fault(
            f"{label}, scale_g", None, "missing: the least division of the scale that weighed (--scale 0.01)"
        )
    if entry.void is None and not (
        entry.strokes or entry.looked or entry.dyed or entry.note or entry.new_sheet or entry.brushed
        or entry.paper or entry.minutes is not None or entry.corrected
    ):  # fmt: skip
        found.fault(label, None, "says nothing: strokes, something weighed or read, dye, or a note")


def _taken(key: str, field: Field, take: _Taker) -> Any:
    """The checked value of a field, or its default where the line does not have it."""
    low, high = field.logged.low, field.logged.high
    label = f"{take.label}, {key}"
    if field.type is bool:
        return take.flag(key)
    if field.type is str:
        text = take.text(key)
        return _READ[key](text, label, take.found) if key in _READ else text
    if field.type is int:
        return take.whole(key, int(low), int(high), 0)
    if key not in take.raw:
        return field.default
    if key in _READ:
        return _READ[key](take.raw[key], label, take.found)
    if field.type == (int | None):
        return take.whole(key, int(low), int(high), 0)
    return take.number(key, low, high, field.logged.unit)


class _Taker:
    """Takes checked values out of an object and writes faults down."""

    def __init__(self, raw: Mapping[str, Any], label: str, found: Findings) -> None:
        self.raw, self.label, self.found = raw, label, found

    def _fault(self, name: str, allowed: str) -> None:
        self.found.fault(f"{self.label}, {name}", self.raw[name], allowed)

    def whole(self, name: str, low: int, high: int, absent: int) -> int:
        value = self.raw.get(name)
        if value is None:
            return absent
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self._fault(name, f"a whole number from {low} to {high}")
            return absent
        return value

    def number(self, name: str, low: float, high: float, unit: float) -> float | None:
        value = self.raw.get(name)
        if value is None:
            return None
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not math.isfinite(value) or not low <= value <= high:
            self._fault(name, f"a number from {low:g} to {high:g}")
            return None
        return float(value) * unit

    def flag(self, name: str) -> bool:
        value = self.raw.get(name, False)
        if not isinstance(value, bool):
            self._fault(name, "true or false")
        return value is True

    def text(self, name: str) -> str:
        value = self.raw.get(name, "")
        if not isinstance(value, str) or len(value) > 1000 or not (value.isprintable() or not value):
            self._fault(name, "a text on one line, of at most 1000 characters")
            return ""
        return value.strip()


def _paper(name: str, label: str, found: Findings) -> str:
    if not name:
        return ""
    try:
        return grits.find(name).name
    except ValueError as error:
        found.fault(label, name, str(error))
        return ""


def _seen(text: str, label: str, found: Findings) -> str:
    if text:
        try:
            read_dye(text)
        except ValueError as error:
            found.fault(label, text, str(error))
            return ""
    return text


def _dye_agrees(entry: Entry, label: str, found: Findings) -> None:
    """Faults of dye told in two ways that contradict each other."""
    if entry.dye_seen and entry.dye_grid is not None:
        found.fault(f"{label}, dye_seen", entry.dye_seen, "either this or dye_grid, not both")
    sizes = [None if g is None else (len(g), len(g[0])) for g in (entry.dye_grid, entry.dye_sd)]
    if sizes[1] is not None and sizes[0] != sizes[1]:
        rows, columns = sizes[1]
        allowed = "as many as dye_grid has, which it is the errors of"
        found.fault(f"{label}, dye_sd", f"{rows} rows of {columns}", allowed)
    gone = 0.0 if entry.dye_left is None else 1.0 - entry.dye_left
    if entry.dye_faded is not None and entry.dye_faded < gone - 1e-9:
        words = f"{gone:g} to 1: what is gone, {gone:g} of the face, counts as faded too"
        found.fault(f"{label}, dye_faded", entry.dye_faded, words)


def _grid(raw: Any, label: str, found: Findings) -> tuple[tuple[float, ...], ...] | None:
    if raw is None:
        return None
    shape = (
        f"{ROWS} rows (far to near) of {COLUMNS} shares from 0 to 1 (left to right), or null; or a finer "
        f"grid of up to {MOST_ROWS} rows of {MOST_COLUMNS}"
    )
    if not isinstance(raw, list) or not all(isinstance(row, list) for row in raw) or not fits_grid(raw):
        found.fault(label, raw, shape)
        return None
    rows = []
    for row in raw:
        if not all(map(_is_share, row)):
            found.fault(label, row, shape)
            return None
        rows.append(tuple(math.nan if x is None else float(x) for x in row))
    return tuple(rows)


def _is_share(value: Any) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return value is None or (number and 0.0 <= value <= 1.0)


def _marks(raw: Any, label: str, found: Findings) -> tuple[LogMark, ...]:
    if isinstance(raw, dict) and len(raw) <= MOST_MARKS and all(map(_is_mark, raw.items())):
        return tuple(LogMark(name, *pair) for name, pair in raw.items())
    allowed = f'what it was logged against: at most {MOST_MARKS} of "subject": ["digest", "words"]'
    found.fault(label, raw, allowed)
    return ()


def _is_mark(item: tuple[str, Any]) -> bool:
    name, pair = item
    texts = [name, *pair] if isinstance(pair, list) and len(pair) == 2 else [None]
    return all(isinstance(text, str) and text.isprintable() and len(text) <= 1000 for text in texts)


def _lines(raw: Any, label: str, found: Findings) -> tuple[StraightedgeLine, ...]:
    if raw is None:
        return ()
    if not isinstance(raw, list) or not raw or len(raw) > 50:
        found.fault(label, raw, "a list of 1 to 50 straightedge lines")
        return ()
    lines = []
    for i, table in enumerate(raw, 1):
        here = f"{label}[{i}]"
        if not isinstance(table, dict) or not {"from", "to", "stations"} <= set(table):
            found.fault(here, table, "an object with name, from, to, held, stations")
            continue
        ends = [_end(table[k], f"{here}.{k}", found) for k in ("from", "to")]
        held = table.get("held", "rest")
        if not isinstance(held, str) or held not in HELD_CODE:
            found.fault(f"{here}.held", held, ", ".join(HELD_CODE))
            continue
        stations = stations_of(table["stations"], f"{here}.stations", found)
        if stations and None not in ends:
            start, end = (p for p in ends if p is not None)
            name = str(table.get("name", f"line {i}"))
            lines.append(StraightedgeLine(name, start, end, cast(Held, held), stations))
    return tuple(lines)


def _end(raw: Any, label: str, found: Findings) -> tuple[float, float] | None:
    if (
        isinstance(raw, list)
        and len(raw) == 2
        and all(isinstance(x, int | float) and not isinstance(x, bool) and abs(x) <= 5000.0 for x in raw)
    ):
        return MM * raw[0], MM * raw[1]
    found.fault(label, raw, "[u, v] in mm from the middle of the face")
    return None


def stations_of(raw: Any, label: str, found: Findings) -> tuple[Station, ...]:
    """Stations from [at, goes or "none", stops or "open"], mm and µm; faults are written down."""
    read = read_stations(raw, BY_NAME["readings.line[].stations"], label, found)
    if read is None:
        return ()
    short = [s for s in read if len(s) != 3]
    if short:
        found.fault(label, [f"{s[0] / MM:g}" for s in short], 'the leaf that stops too, or "open"')
        return ()
    return tuple(Station(*s) for s in read)


_READ: dict[str, Callable[[Any, str, Findings], Any]] = {
    "paper": _paper,
    "readings": _lines,
    "dye_grid": _grid,
    "dye_sd": _grid,
    "dye_seen": _seen,
    "against": _marks,
}
"""Key → what reads its value, where its type alone does not say how."""
_TOLD: dict[str, Callable[[Any], Any]] = {
    "readings": lambda lines: [_line_json(line) for line in lines],
    "dye_grid": _grid_json,
    "dye_sd": _grid_json,
    "against": lambda marks: {mark.subject: [mark.digest, mark.words] for mark in marks},
}
"""Key → what tells its value, likewise."""

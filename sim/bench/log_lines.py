"""An entry of the log as a line of its file: JSON in the units of the bench (mm, µm, g), and back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, cast

from handlap.sim.bench.job_log import GRAM, Entry, EntryFaults, JobLog, Mark
from handlap.sim.face.straightedge import HELD_CODE
from handlap.sim.job.findings import Findings
from handlap.sim.job.scenario import Held, Station, StraightedgeLine
from handlap.sim.job.scenario_keys import BY_NAME
from handlap.sim.job.scenario_values import read_stations
from handlap.sim.lapping.dye_picture import COLUMNS, MOST_COLUMNS, MOST_ROWS, ROWS
from handlap.sim.lapping.dye_words import fits_grid, read_dye
from handlap.sim.materials import grits

SCHEMA = 1
MOST_STROKES = 20_000
"""More than this in one entry is a slip of the pen."""
UM, MM = 1e-6, 1e-3
NEW = {
    *(
        "paper",
        "new_sheet",
        "brushed",
        "strokes",
        "brush_every",
        "turn_every",
        "swarf_g",
        "part_g",
        "scale_g",
    ),
    *(
        "readings",
        "dye_left",
        "dye_faded",
        "dye_grid",
        "dye_sd",
        "dye_seen",
        "dyed",
        "minutes",
        "note",
        "void",
    ),
    *("corrected", "as_is"),
}
STAMPED = {"n", "at", "when", "against", "id"}
MOST_MARKS = 40


def header_json(log: JobLog) -> dict[str, Any]:
    """First line of a log."""
    return {"handlap_log": SCHEMA, "part": log.part, "name": log.name}


def to_json(entry: Entry) -> dict[str, Any]:
    """An entry as the object of its line: mm, µm, g; only what it holds."""
    full = {
        "n": entry.number,
        "at": entry.at,
        "when": entry.when,
        "id": entry.id or None,
        "void": entry.void,
        "corrected": entry.corrected or None,
        "paper": entry.paper or None,
        "new_sheet": entry.new_sheet or None,
        "brushed": entry.brushed or None,
        "strokes": entry.strokes or None,
        "brush_every": entry.brush_every or None,
        "turn_every": entry.turn_every,
        "swarf_g": _scaled(entry.swarf, GRAM),
        "part_g": _scaled(entry.part_mass, GRAM),
        "scale_g": _scaled(entry.scale, GRAM),
        "readings": [_line_json(line) for line in entry.readings] or None,
        "dye_left": entry.dye_left,
        "dye_faded": entry.dye_faded,
        "dye_grid": _grid_json(entry.dye_grid),
        "dye_sd": _grid_json(entry.dye_sd),
        "dye_seen": entry.dye_seen or None,
        "dyed": entry.dyed or None,
        "as_is": entry.as_is or None,
        "minutes": entry.minutes,
        "note": entry.note or None,
        "against": {mark.subject: [mark.digest, mark.words] for mark in entry.against} or None,
    }
    return {name: value for name, value in full.items() if value is not None}


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
    for name in sorted(set(raw) - NEW - STAMPED):
        found.fault(label, name, "no such key; an entry may hold " + ", ".join(sorted(NEW)))
    take = _Taker(raw, label, found)
    entry = Entry(
        number=take.whole("n", 1, 10**6, 0),
        at=take.whole("at", 0, 10**7, 0),
        when=take.text("when"),
        strokes=take.whole("strokes", 0, MOST_STROKES, 0),
        paper=_paper(take.text("paper"), label, found),
        new_sheet=take.flag("new_sheet"),
        brushed=take.flag("brushed"),
        brush_every=take.whole("brush_every", 0, MOST_STROKES, 0),
        turn_every=None if "turn_every" not in raw else take.whole("turn_every", 0, MOST_STROKES, 0),
        swarf=take.number("swarf_g", 0.0, 1e5, GRAM),
        part_mass=take.number("part_g", 1e-3, 1e7, GRAM),
        scale=take.number("scale_g", 1e-6, 1e4, GRAM),
        readings=_lines(raw.get("readings"), label, found),
        dye_left=take.number("dye_left", 0.0, 1.0, 1.0),
        dye_faded=take.number("dye_faded", 0.0, 1.0, 1.0),
        dye_grid=_grid(raw.get("dye_grid"), f"{label}, dye_grid", found),
        dye_sd=_grid(raw.get("dye_sd"), f"{label}, dye_sd", found),
        dye_seen=_seen(take.text("dye_seen"), label, found),
        dyed=take.flag("dyed"),
        minutes=take.number("minutes", 0.0, 1e4, 1.0),
        note=take.text("note"),
        void=None if "void" not in raw else take.whole("void", 1, 10**6, 0),
        corrected=take.flag("corrected"),
        as_is=take.flag("as_is"),
        against=_marks(raw.get("against", {}), label, found),
        id=take.text("id"),
    )
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
        found.fault(f"{label}, paper", name, str(error))
        return ""


def _seen(text: str, label: str, found: Findings) -> str:
    if text:
        try:
            read_dye(text)
        except ValueError as error:
            found.fault(f"{label}, dye_seen", text, str(error))
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


def _marks(raw: Any, label: str, found: Findings) -> tuple[Mark, ...]:
    if isinstance(raw, dict) and len(raw) <= MOST_MARKS and all(map(_is_mark, raw.items())):
        return tuple(Mark(name, *pair) for name, pair in raw.items())
    allowed = f'what it was logged against: at most {MOST_MARKS} of "subject": ["digest", "words"]'
    found.fault(f"{label}, against", raw, allowed)
    return ()


def _is_mark(item: tuple[str, Any]) -> bool:
    name, pair = item
    texts = [name, *pair] if isinstance(pair, list) and len(pair) == 2 else [None]
    return all(isinstance(text, str) and text.isprintable() and len(text) <= 1000 for text in texts)


def _lines(raw: Any, label: str, found: Findings) -> tuple[StraightedgeLine, ...]:
    if raw is None:
        return ()
    if not isinstance(raw, list) or not raw or len(raw) > 50:
        found.fault(f"{label}, readings", raw, "a list of 1 to 50 straightedge lines")
        return ()
    lines = []
    for i, table in enumerate(raw, 1):
        here = f"{label}, readings[{i}]"
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

"""What the log of a job shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.blocks import Block, Bullets, Report, Section, Table, Words
from handlap.cli.reports.quantity import counted, number, share, stated
from handlap.cli.reports.wording import facts, sentence, subject
from handlap.sim.common.spoken import weighed
from handlap.sim.common.units import System, from_si, leaf_number, unit_of

if TYPE_CHECKING:
    from handlap.sim.bench.job_log import Entry, JobLog
    from handlap.sim.job.scenario import Scenario, Station


def log_report(scenario: Scenario, log: JobLog, path: Path, added: Entry | None) -> Report:
    """The log as a report; ``added``: the entry just written."""
    from handlap.sim.planning.cautions import IN_SHORT

    standing = log.standing
    sections: list[Section] = []
    # Where nothing is written yet, the place is named below.
    odd = (*log.damage, *(log.notes if log.entries else log.notes[1:]))
    if odd:
        sections.append(Section("Look again", (Bullets(tuple(map(sentence, odd))),)))
    if log.entries:
        shown = log.entries if added is None else (added,)
        sections.append(Section("What is written", tuple(entry_blocks(log, shown, scenario))))
    if added is None:
        sections.append(Section("Take care", (Words(IN_SHORT),), aside=True))
    if added is not None:
        answer = f"Entry {added.number} is written"
        lead = (f"{counted(log.strokes, 'stroke')} in all; it is on the disk, in {path}.",)
    elif not log.entries:
        answer = "Nothing is written yet"
        lead = (f"The log will be {path}. To begin: handlap log {scenario.source} --dyed --note start.",)
    else:
        answer = f"{counted(log.strokes, 'stroke')} in {counted(len(standing), 'entry', 'entries')}"
        lead = (f"The log is {path}.",)
    return Report("log", answer, "plain", subject(scenario), lead, tuple(sections))


def entry_blocks(log: JobLog, shown: Sequence[Entry], scenario: Scenario) -> list[Block]:
    """Some entries of a log as a table, and their readings."""
    taken_back = {e.void for e in log.entries if e.void is not None}
    at = {e.number: e.at for e in log.standing}
    rows = tuple(
        (
            str(e.number),
            local_time(e.when),
            str(e.strokes) if e.strokes else "",
            str(at.get(e.number, "")),
            ("taken back: " if e.number in taken_back else "") + entry_words(e),
        )
        for e in shown
    )
    blocks: list[Block] = [Table(("no.", "when", "strokes", "in all", "what"), rows, (1, 4), wraps=4)]
    readings = [(e, line) for e in shown for line in e.readings]
    if readings:
        blocks.append(
            facts(*((f"{e.number}: {line.name}", _stations(line, scenario)) for e, line in readings))
        )
        blocks.append(
            Words(
                f"Stations: {unit_of('length', scenario.system)} from the start, thickest leaf that goes / "
                f"thinnest that stops, {scenario.leaf_unit}."
            )
        )
    return blocks


def entry_words(entry: Entry) -> str:
    """An entry in words, strokes left out."""
    parts = [] if entry.void is None else [f"takes entry {entry.void} back"]
    parts += ["the scenario was corrected"] if entry.corrected else []
    parts += [entry.paper] if entry.paper else []
    parts += ["new sheet"] if entry.new_sheet else []
    parts += ["brushed"] if entry.brushed else []
    parts += [f"brushed every {entry.brush_every}"] if entry.brush_every else []
    if entry.strokes and entry.turn_every is not None:
        parts.append(f"turned every {entry.turn_every}" if entry.turn_every else "not turned")
    if entry.swarf is not None:
        parts.append(f"swarf {weighed(entry.swarf, entry.scale)}")
    if entry.part_mass is not None:
        parts.append(f"part {weighed(entry.part_mass, entry.scale)}")
    if entry.readings:
        count = sum(len(line.stations) for line in entry.readings)
        parts.append(f"{counted(count, 'reading')} on {counted(len(entry.readings), 'line')}")
    parts += [_dye_words(entry.dye_left, entry.dye_faded)]
    if entry.dye_grid is not None:
        grid = f"{len(entry.dye_grid)} × {len(entry.dye_grid[0])}"
        parts += [f"dye, zone by zone ({grid}{', with errors' if entry.dye_sd is not None else ''})"]
    parts += [f"dye: {entry.dye_seen}"] if entry.dye_seen else []
    parts += ["dyed"] if entry.dyed else []
    parts += [f"{number(entry.minutes, 3)} min"] if entry.minutes is not None else []
    parts += [f"“{entry.note}”"] if entry.note else []
    parts += ["asked back, and so as it is"] if entry.as_is else []
    return ", ".join(part for part in parts if part)


def local_time(when: str) -> str:
    """A time as it was at the bench where this is read: the log keeps the distance from UTC with it."""
    from handlap.sim.bench.log_sense import time_of

    time = time_of(when)
    if time is None or time.tzinfo is None:
        return when[:16].replace("T", " ")
    return time.astimezone().isoformat(" ")[:16]


def understood(scenario: Scenario, entry: Entry) -> tuple[str, ...]:
    """An entry said back in the units of its job, line by line."""
    words = []
    if entry.strokes:
        words.append(f"{counted(entry.strokes, 'stroke')} there and back, {entry.at} in all then")
    rest = entry_words(replace(entry, readings=()))
    words += [rest] if rest else []
    for line in entry.readings:
        held = "" if line.held == "rest" else f" (held {line.held})"
        stations = (_said(s, scenario.system, scenario.leaf_unit) for s in line.stations)
        words.append(f"{line.name}{held}: " + "; ".join(stations))
    if entry.when:
        words.append(f"done at {local_time(entry.when)}")
    return tuple(words)


def _said(station: Station, system: System, leaf_unit: str) -> str:
    """A reading in words: "8 in: 5 thou goes, 6 stops"."""
    length = unit_of("length", system)
    goes, stops = (leaf_number(leaf, leaf_unit) for leaf in (station.goes, station.stops))
    told = f"{stated(round(from_si(station.at, 'length', system), 3))} {length}: "
    if station.goes <= 0.0:
        return f"{told}{stops} {leaf_unit} stops, nothing thinner goes"
    if station.stops == float("inf"):
        return f"{told}{goes} {leaf_unit} goes, nothing thicker was tried"
    return f"{told}{goes} {leaf_unit} goes, {stops} stops"


def _dye_words(left: float | None, faded: float | None) -> str:
    """Shares of the face by the state of the dye, as far as they were told."""
    if left is None:
        return "" if faded is None else f"dye fading or gone on {share(faded)}"
    if faded is None:
        return f"dye left {share(left)}"
    states = {"full": 1.0 - faded, "fading": faded - (1.0 - left), "gone": 1.0 - left}
    return "dye " + ", ".join(f"{name} on {share(part)}" for name, part in states.items())


def _stations(line: Any, scenario: Scenario) -> str:
    def one(station: Any) -> str:
        unit = scenario.leaf_unit
        goes = leaf_number(station.goes, unit) if station.goes > 0.0 else "none"
        stops = "open" if station.stops == float("inf") else leaf_number(station.stops, unit)
        return f"{stated(round(from_si(station.at, 'length', scenario.system), 3))} {goes}/{stops}"

    held = "" if line.held == "rest" else f" (held {line.held})"
    return "; ".join(one(s) for s in line.stations) + held


def log_json(scenario: Scenario, log: JobLog, path: Path, added: Entry | None) -> dict[str, Any]:
    """The log as one object."""
    from handlap.sim.bench.log_lines import to_json

    taken_back = {e.void for e in log.entries if e.void is not None}
    return {
        "schema": "handlap.log/1",
        "scenario": scenario.name,
        "part": log.name,
        "file": str(path),
        "strokes": log.strokes,
        "paper": log.paper or None,
        "added": None if added is None else added.number,
        "damage": list(log.damage),
        "notes": list(log.notes),
        "entries": [{**to_json(e), "taken_back": e.number in taken_back} for e in log.entries],
    }

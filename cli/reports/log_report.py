"""What the log of a job shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlap.cli.reports.blocks import Block, Bullets, Report, Section, Table, Words
from handlap.cli.reports.quantity import counted, number, share, stated
from handlap.cli.reports.wording import facts, sentence, subject
from handlap.sim.common.spoken import leaf_unit, length_unit, per_length, weighed
from handlap.sim.common.units import leaf_number

if TYPE_CHECKING:
    from handlap.sim.bench.job_log import Entry, JobLog
    from handlap.sim.job.scenario import Scenario


def log_report(scenario: Scenario, log: JobLog, path: Path, added: Entry | None) -> Report:
    """The log as a report; ``added``: the entry just written."""
    from handlap.sim.planning.cautions import cautions

    standing = log.standing
    sections: list[Section] = []
    # Where nothing is written yet, the place is named below.
    odd = (*log.damage, *(log.notes if log.entries else log.notes[1:]))
    if odd:
        sections.append(Section("Look again", (Bullets(tuple(map(sentence, odd))),)))
    if log.entries:
        sections.append(Section("What is written", tuple(_entries(log, added))))
    if added is None:
        items = cautions(scenario.part.metal, weight=scenario.part.weight, wet=scenario.paper.wet)
        sections.append(Section("Take care", (Bullets(items),), aside=True))
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


def _entries(log: JobLog, added: Entry | None) -> list[Block]:
    taken_back = {e.void for e in log.entries if e.void is not None}
    at = {e.number: e.at for e in log.standing}
    shown = log.entries if added is None else [e for e in log.entries if e.number == added.number]
    rows = tuple(
        (
            str(e.number),
            e.when[:16].replace("T", " "),
            str(e.strokes) if e.strokes else "",
            str(at.get(e.number, "")),
            ("taken back: " if e.number in taken_back else "") + entry_words(e),
        )
        for e in shown
    )
    blocks: list[Block] = [Table(("no.", "when (UTC)", "strokes", "in all", "what"), rows, (1, 4), wraps=4)]
    readings = [(e, line) for e in shown for line in e.readings]
    if readings:
        blocks.append(facts(*((f"{e.number}: {line.name}", _stations(line)) for e, line in readings)))
        blocks.append(
            Words(
                f"Stations: {length_unit()} from the start, thickest leaf that goes / thinnest that stops, "
                f"{leaf_unit()}."
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
    parts += ["dye raster"] if entry.dye_grid is not None else []
    parts += [f"dye: {entry.dye_seen}"] if entry.dye_seen else []
    parts += ["dyed"] if entry.dyed else []
    parts += [f"{number(entry.minutes, 3)} min"] if entry.minutes is not None else []
    parts += [f"“{entry.note}”"] if entry.note else []
    return ", ".join(part for part in parts if part)


def _dye_words(left: float | None, faded: float | None) -> str:
    """Shares of the face by the state of the dye, as far as they were told."""
    if left is None:
        return "" if faded is None else f"dye fading or gone on {share(faded)}"
    if faded is None:
        return f"dye left {share(left)}"
    states = {"full": 1.0 - faded, "fading": faded - (1.0 - left), "gone": 1.0 - left}
    return "dye " + ", ".join(f"{name} on {share(part)}" for name, part in states.items())


def _stations(line: Any) -> str:
    def one(station: Any) -> str:
        goes = leaf_number(station.goes, leaf_unit()) if station.goes > 0.0 else "none"
        stops = "open" if station.stops == float("inf") else leaf_number(station.stops, leaf_unit())
        return f"{stated(round(per_length() * station.at, 3))} {goes}/{stops}"

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

"""``handlap log``."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from handlap.cli.options import in_its_units, scenario_argument

if TYPE_CHECKING:
    from handlap.sim.bench.job_log import Entry, JobLog
    from handlap.sim.job.findings import Findings
    from handlap.sim.job.scenario import Scenario, StraightedgeLine

T = TypeVar("T")
LEAVES_FROM, LEAVES_TO = 5e-6, 2e-3
"""Leaves that are to be had [m]."""


@click.command()
@scenario_argument()
@click.option("--strokes", type=int, metavar="N", help="Strokes done since the last entry, there and back.")
@click.option("--at", type=int, metavar="N", help="Strokes done since the start of the job, as you count.")
@click.option("--paper", metavar="GRIT", help="Paper they were done on; without it the last one.")
@click.option("--new-sheet", is_flag=True, help="A fresh sheet was put on before these strokes.")
@click.option("--brushed", is_flag=True, help="The paper was brushed or rinsed before these strokes.")
@click.option("--brush-every", type=int, metavar="N", help="... and after every N of them.")
@click.option(
    "--turn-every", type=int, metavar="N", help="Strokes between turns, where not as the plan has it."
)
@click.option("--not-turned", is_flag=True, help="The part was not turned in these strokes.")
@click.option(
    "--swarf", metavar="GRAMS", help="Swarf gathered since the last time it was weighed, such as 0.42."
)
@click.option("--part-weight", metavar="GRAMS", help="What the part weighs, clean and dry.")
@click.option(
    "--scale", metavar="GRAMS", help="Least division of the scale, such as 0.01; without it, as last time."
)
@click.option(
    "--reading",
    multiple=True,
    metavar="LINE",
    help='Readings along one line: "NAME: AT GOES STOPS; ..." (mm, then micrometres, none or open); NAME is '
    'a line of the scenario or a standard line, "NAME [level]" where it was held so. May be given again.',
)
@click.option(
    "--goes-nowhere",
    metavar="LEAF",
    help="A leaf that goes in at no station of any line of the sheet, such as 50 (micrometres): all lines "
    "count as read, but for those given by --reading.",
)
@click.option(
    "--readings-from",
    metavar="SCENARIO",
    help="Take all readings from this scenario file of the same part.",
)
@click.option(
    "--dye-left",
    metavar="SHARE",
    help="Share of the face that still shows dye, full or fading: 0.3, or 30%.",
)
@click.option(
    "--dye-faded",
    metavar="SHARE",
    help="Share of the face where the dye has faded: is fading or gone, no longer as it was put on.",
)
@click.option(
    "--dye-grid",
    metavar="GRID",
    help='Dye left on a raster of 3 x 5: "0 20% ... / ... / ...", far row first, from left to right; - for '
    "no metal.",
)
@click.option(
    "--dye",
    metavar="PICTURE",
    help='The same raster in words, such as "gone at both ends, fading in the middle", or in 15 letters: '
    "g gone, h half gone, f fading, u untouched, l left, ? not seen.",
)
@click.option("--dyed", is_flag=True, help="New dye was put on after looking.")
@click.option("--minutes", type=float, metavar="MIN", help="Time these strokes took.")
@click.option("--note", metavar="TEXT", help="Anything else worth keeping.")
@click.option("--void", type=int, metavar="ENTRY", help="Take an earlier entry back; it stays in the file.")
@click.option(
    "--corrected",
    is_flag=True,
    help="The scenario was wrong before and is right now: all strokes in the log count as done with it.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
def log(scenario: str, as_json: bool, readings_from: str | None, **given: Any) -> None:
    """Write down what happened at the bench, or show what is written.

    Without options the log is shown. With options one entry is added; in it things happen in
    this order: paper, sheet, brushing; strokes; weighing, readings, dye left; new dye.

    The log is a file of one line an entry beside the scenario, NAME.log.jsonl; nothing in it is
    ever changed. It keeps what it was logged against: if the part, the readings before or the way
    of working in the scenario change afterwards, that is named and refused. Dye counts from when
    it was last put on, or from the start. Weigh the part once before the first stroke, and name
    the scale then: later weighings take it for the same.
    """
    from handlap.sim.bench.log_file import append, read_log
    from handlap.sim.bench.log_place import log_path
    from handlap.sim.job.scenario_file import load

    job = in_its_units(load(scenario))
    path = log_path(job)
    added: Entry | None = None
    if any(value not in (None, False, ()) for value in given.values()) or readings_from:
        entry = _entry(job, _with_last_scale(given, read_log(job, path, check=False)), readings_from)
        added, found = append(job, entry, path)
    else:
        found = read_log(job, path)

    import sys

    from handlap.cli.reports.as_json import dumps
    from handlap.cli.reports.log_report import log_json, log_report
    from handlap.cli.reports.text import render
    from handlap.cli.screen import Screen, emit

    if as_json:
        emit(dumps(log_json(job, found, path, added)))
    else:
        emit(render(log_report(job, found, path, added), Screen.of(sys.stdout)))


def _with_last_scale(given: dict[str, Any], log: JobLog) -> dict[str, Any]:
    """The options, with the scale that weighed the same thing last where none is named."""
    if given["scale"] is not None:
        return given
    for option, kind in (("part_weight", "part_mass"), ("swarf", "swarf")):
        used = [e.scale for e in log.standing if getattr(e, kind) is not None and e.scale is not None]
        if given[option] is not None and used:
            return {**given, "scale": f"{1e3 * used[-1]:.9g}"}
    return given


def _entry(job: Scenario, given: dict[str, Any], readings_from: str | None) -> Entry:
    """The entry that the options describe; all faults at once."""
    import datetime
    from math import isnan

    from handlap.sim.bench.job_log import Entry, EntryFaults
    from handlap.sim.bench.log_lines import from_json, to_json
    from handlap.sim.common.errors import ScenarioError
    from handlap.sim.job.findings import Findings
    from handlap.sim.lapping.dye_words import read_dye, read_share, read_shares

    found = Findings("the entry")
    lines: list[StraightedgeLine] = []
    for text in given["reading"]:
        line = _reading(job, text, found)
        lines += [line] if line else []
    if given["goes_nowhere"] is not None:
        lines = [*_all_lines(job, given["goes_nowhere"], {line.name for line in lines}, found), *lines]
    if readings_from:
        lines += _other_readings(job, readings_from, found)
    now = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    raw: dict[str, Any] = {"n": 1, "when": now}
    for name in ("strokes", "paper", "brush_every", "turn_every", "minutes", "note", "void"):
        if given[name] is not None:
            raw[name] = given[name]
    for name in ("new_sheet", "brushed", "dyed", "corrected"):
        raw[name] = given[name]
    if given["not_turned"]:
        if given["turn_every"] is not None:
            found.fault("--not-turned", None, "give either --not-turned or --turn-every, not both")
        raw["turn_every"] = 0
    for option, name in (("swarf", "swarf_g"), ("part_weight", "part_g"), ("scale", "scale_g")):
        raw[name] = _grams(given[option], f"--{option.replace('_', '-')}", found)
    for name in ("dye_left", "dye_faded"):
        raw[name] = _dye(given[name], f"--{name.replace('_', '-')}", read_share, found)
    shares = _dye(given["dye_grid"], "--dye-grid", read_shares, found)
    if shares is not None:
        raw["dye_grid"] = [[None if isnan(share) else float(share) for share in row] for row in shares]
    if _dye(given["dye"], "--dye", read_dye, found) is not None:
        raw["dye_seen"] = given["dye"]
    if given["at"] is not None:
        raw["at"] = given["at"]
        if given["at"] < 1:
            found.fault("--at", given["at"], "a whole number from 1")
    if lines:
        raw["readings"] = to_json(Entry(1, 0, now, readings=tuple(lines)))["readings"]
    if raw["swarf_g"] is None and raw["part_g"] is None and raw["scale_g"] is not None:
        found.fault("--scale", given["scale"], "only together with --swarf or --part-weight")
    known = {name: value for name, value in raw.items() if value is not None}
    try:
        entry = from_json(known, "the entry", "given", whole=False)
    except EntryFaults as wrong:
        raise ScenarioError([*found.faults, *wrong.faults]) from None
    if found.faults:
        raise ScenarioError(found.faults)
    return entry


def _grams(text: str | None, label: str, found: Findings) -> float | None:
    """A mass in grams from a plain number of grams, or a text with a unit."""
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        mass = _with_unit(text, "mass", label, "a mass in grams", found)
    return None if mass is None else 1e3 * mass


def _with_unit(text: str, quantity: str, label: str, plain: str, found: Findings) -> float | None:
    """A text with a unit, in SI; ``plain`` says what a number without one would be."""
    from handlap.sim.common.units import parse_quantity

    try:
        return parse_quantity(text, quantity)
    except ValueError as error:
        found.fault(label, text, f"{plain}, or {error}")
        return None


def _dye(text: str | None, label: str, read: Callable[[str], T], found: Findings) -> T | None:
    """What was said of the dye, by the reader of its kind."""
    if text is None:
        return None
    try:
        return read(text)
    except ValueError as error:
        found.fault(label, text, str(error))
        return None


def _known_lines(job: Scenario) -> dict[str, StraightedgeLine]:
    from handlap.sim.face.straightedge import standard_lines
    from handlap.sim.job.scenario import StraightedgeLine

    known = {
        line.name.lower(): StraightedgeLine(line.name, line.start, line.end, "rest", ())
        for line in standard_lines(job.part.outline)
    }
    known.update({line.name.lower(): line for line in job.readings.lines})
    return known


def _reading(job: Scenario, text: str, found: Findings) -> StraightedgeLine | None:
    """One line of readings from "NAME [held]: AT GOES STOPS; …"."""
    from dataclasses import replace

    from handlap.sim.bench.log_lines import stations_of
    from handlap.sim.face.straightedge import HELD_CODE

    label = "--reading"
    name, colon, rest = text.rpartition(":")
    if not colon:
        found.fault(label, text, '"NAME: AT GOES STOPS; AT GOES STOPS; …"')
        return None
    name, bracket, held = name.strip().partition("[")
    known = _known_lines(job)
    line = known.get(name.strip().lower())
    if line is None:
        near = [line for key, line in known.items() if key.startswith(name.strip().lower())]
        line = near[0] if len(near) == 1 and name.strip() else None
    if line is None:
        found.fault(label, name.strip(), "a line: " + "; ".join(known[key].name for key in known))
        return None
    if bracket:
        held = held.strip().rstrip("]").strip()
        if held not in HELD_CODE:
            found.fault(label, held, "held " + ", ".join(HELD_CODE))
            return None
        line = replace(line, held=held)  # type: ignore[arg-type]
    raw = [[_plain(word) for word in station.split()] for station in rest.split(";") if station.strip()]
    stations = stations_of(raw, f"{label} {line.name}", found)
    long = [s.at for s in stations if not 0.0 <= s.at <= _length(line)]
    if long:
        found.fault(f"{label} {line.name}", f"{1e3 * long[0]:g} mm", f"0 to {1e3 * _length(line):g} mm")
        return None
    return replace(line, stations=stations) if stations else None


def _all_lines(job: Scenario, leaf: str, given: set[str], found: Findings) -> list[StraightedgeLine]:
    """All lines of the sheet but those given, at whose stations a leaf goes nowhere."""
    from handlap.sim.face.stations import lines_of
    from handlap.sim.job.scenario import Station, StraightedgeLine

    try:
        thickness = 1e-6 * float(leaf)
    except ValueError:
        known = _with_unit(leaf, "height", "--goes-nowhere", "a leaf in micrometres", found)
        if known is None:
            return []
        thickness = known
    if not LEAVES_FROM <= thickness <= LEAVES_TO:
        found.fault("--goes-nowhere", leaf, f"a leaf of {1e6 * LEAVES_FROM:.0f} to {1e6 * LEAVES_TO:.0f} µm")
        return []
    held = {line.name: line.held for line in job.readings.lines}
    return [
        StraightedgeLine(
            line.name, line.start, line.end, held.get(line.name, "rest"),
            tuple(Station(at, 0.0, thickness) for at in line.at),
        )
        for line in lines_of(job)
        if line.at and line.name not in given
    ]  # fmt: skip


def _length(line: StraightedgeLine) -> float:
    from math import dist

    return dist(line.start, line.end) + 1e-6


def _plain(word: str) -> Any:
    try:
        return float(word)
    except ValueError:
        return word


def _other_readings(job: Scenario, source: str, found: Findings) -> list[StraightedgeLine]:
    from handlap.sim.bench.job_log import part_mark
    from handlap.sim.job.scenario_file import load

    other = load(source)
    if part_mark(other.part) != part_mark(job.part):
        found.fault("--readings-from", source, "a scenario of the same part: outline and metal differ")
        return []
    if not other.readings.lines:
        found.fault("--readings-from", source, "a scenario with straightedge lines")
    return list(other.readings.lines)

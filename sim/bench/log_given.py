"""An entry of the log from what somebody says: options of a line, answers to questions, an import.

All three hand over one mapping of the same names (:data:`NAMES`) with the texts as typed, in the units of the
scenario, or a number with its unit.  The entry is then looked over and written by
:mod:`handlap.sim.bench.log_file`.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from handlap.sim.bench.job_log import Entry, EntryFaults, JobLog
from handlap.sim.bench.log_lines import FIELDS, from_json, stations_of, to_json
from handlap.sim.bench.log_sense import CLOCK, time_of
from handlap.sim.common.errors import InputError, ScenarioError
from handlap.sim.common.measured_number import doubtful, read_measured, split_numbers
from handlap.sim.common.units import number_of, parse_quantity, show, show_leaf
from handlap.sim.face.stations import MeasuringLine, lines_of
from handlap.sim.face.straightedge import standard_lines
from handlap.sim.job.findings import Findings
from handlap.sim.job.holding import HELD_WORDS, read_held
from handlap.sim.job.scenario import Scenario, Station, StraightedgeLine
from handlap.sim.lapping.dye_words import read_dye, read_share, read_shares

T = TypeVar("T")
LEAVES_FROM, LEAVES_TO = 5e-6, 2e-3
"""Leaves that are to be had [m]."""
LABEL = "the entry"
_SAID = tuple(field.name for field in FIELDS.values() if field.logged.said)
_GRAMS = {"swarf": "swarf_g", "part_weight": "part_g", "scale": "scale_g"}
NAMES = frozenset(
    (
        *(*_SAID, *_GRAMS, "at", "when", "not_turned"),
        *("reading", "goes_nowhere", "dye", "dye_left", "dye_faded", "dye_grid", "dye_sd"),
    )
)
"""What may be said: as the options of ``handlap log`` are called, with ``_`` for ``-``; ``reading`` is a list
of texts "LINE: AT GOES STOPS; …", lines and stations by letter too."""


def entry_of(
    job: Scenario,
    given: Mapping[str, Any],
    log: JobLog | None = None,
    *,
    lines: Sequence[StraightedgeLine] = (),
    option: Callable[[str], str] = lambda name: "--" + name.replace("_", "-"),
) -> Entry:
    """The entry that is described; its number, count and the paper in use are filled in when it is written.

    Parameters
    ----------
    given : by name, see :data:`NAMES`; None, False and () stand for what was not said
    log : what is written already: the scale that weighed the same thing last is taken from it
    lines : readings besides those of ``given``
    option : what a name is called in messages

    Raises
    ------
    ScenarioError : with all that is wrong with it
    """
    found = Findings(LABEL, job.system, job.leaf_unit)
    said = {name: value for name, value in given.items() if value not in (None, False, ())}
    unknown = sorted(set(said) - NAMES)
    if unknown:
        found.fault(LABEL, ", ".join(unknown), "no such thing; an entry may hold " + ", ".join(sorted(NAMES)))
    when = _when(said.get("when"), option("when"), found)
    raw: dict[str, Any] = {"n": 1, "when": when}
    raw |= {name: said[name] for name in _SAID if name in said}
    _turns(said, raw, option, found)
    _weights(said, raw, log, option, found)
    _dye(said, raw, option, found)
    if "at" in said:
        raw["at"] = said["at"]
        if said["at"] < 1:
            found.fault(option("at"), said["at"], "a whole number from 1")
    read = [*_readings(job, said, option, found), *lines]
    if read:
        raw["readings"] = to_json(Entry(1, 0, when, readings=tuple(read)))["readings"]
    try:
        entry = from_json(raw, LABEL, "given", whole=False)
    except EntryFaults as wrong:
        raise ScenarioError([*found.faults, *wrong.faults]) from None
    if found.faults:
        raise ScenarioError(found.faults)
    return entry


def now() -> datetime.datetime:
    """The time at the bench, with its distance from UTC."""
    return datetime.datetime.now().astimezone().replace(microsecond=0)


def _when(text: str | None, label: str, found: Findings) -> str:
    """When it was done: a time of the day, a date with a time, or a date; now where nothing is said."""
    here = now()
    if text is None:
        return here.isoformat()
    typed = text.strip()
    if re.fullmatch(r"\d{1,2}:\d{2}", typed):
        typed = f"{here.date().isoformat()} {typed:0>5}"
    time = time_of(typed)
    if time is None:
        found.fault(label, text, 'a time such as "14:30" (today) or "2026-01-05 14:30", or a date')
        return here.isoformat()
    if len(typed) > len("2026-01-05"):
        time = time.astimezone()
    if time.astimezone() > here + CLOCK:
        found.fault(label, text, f"no later than now, {here.isoformat(' ')[:16]}")
    return time.isoformat() if len(typed) > len("2026-01-05") else typed


def _turns(
    said: Mapping[str, Any], raw: dict[str, Any], option: Callable[[str], str], found: Findings
) -> None:
    if "not_turned" not in said:
        return
    if "turn_every" in said:
        both = f"give either {option('not_turned')} or {option('turn_every')}, not both"
        found.fault(option("not_turned"), None, both)
    raw["turn_every"] = 0


def _weights(
    said: Mapping[str, Any],
    raw: dict[str, Any],
    log: JobLog | None,
    option: Callable[[str], str],
    found: Findings,
) -> None:
    """Masses in grams, and the scale, where it is not named the one that weighed the same thing last."""
    for name, key in _GRAMS.items():
        mass = None if name not in said else _grams(str(said[name]), option(name), found)
        if mass is not None:
            raw[key] = mass
    if "scale" in said:
        if not {"swarf", "part_weight"} & set(said):
            both = f"only together with {option('swarf')} or {option('part_weight')}"
            found.fault(option("scale"), said["scale"], both)
        return
    for name in ("part_weight", "swarf"):
        used = last_scale(log, name)
        if name in said and used is not None:
            raw["scale_g"] = float(f"{1e3 * used:.9g}")
            return


def last_scale(log: JobLog | None, name: str) -> float | None:
    """Least division of the scale that weighed the part, or the swarf, last [kg]."""
    kind = {"part_weight": "part_mass", "swarf": "swarf"}[name]
    standing = () if log is None else log.standing
    used = [e.scale for e in standing if getattr(e, kind) is not None and e.scale is not None]
    return used[-1] if used else None


def _grams(text: str, label: str, found: Findings) -> float | None:
    """A mass in grams from a plain number of grams, or a text with a unit."""
    try:
        return number_of(text)
    except ValueError:
        mass = _with_unit(text, "mass", label, "a mass in grams", found)
    return None if mass is None else 1e3 * mass


def _with_unit(text: str, quantity: str, label: str, plain: str, found: Findings) -> float | None:
    """A text with a unit, in SI; ``plain`` says what a number without one would be."""
    try:
        return parse_quantity(text, quantity)
    except ValueError as error:
        found.fault(label, text, f"{plain}, or {error}")
        return None


def _dye(said: Mapping[str, Any], raw: dict[str, Any], option: Callable[[str], str], found: Findings) -> None:
    def told(name: str, read: Callable[[str], T]) -> T | None:
        if name not in said:
            return None
        try:
            return read(str(said[name]))
        except ValueError as error:
            found.fault(option(name), said[name], str(error))
            return None

    for name in ("dye_left", "dye_faded"):
        share = told(name, read_share)
        if share is not None:
            raw[name] = share
    for name in ("dye_grid", "dye_sd"):
        shares = told(name, read_shares)
        if shares is not None:
            raw[name] = [[None if math.isnan(share) else float(share) for share in row] for row in shares]
    if told("dye", read_dye) is not None:
        raw["dye_seen"] = str(said["dye"])


# ---- readings


def _readings(
    job: Scenario, said: Mapping[str, Any], option: Callable[[str], str], found: Findings
) -> list[StraightedgeLine]:
    lines: list[StraightedgeLine] = []
    for text in said.get("reading", ()):
        line = _reading(job, text, option("reading"), found)
        lines += [line] if line else []
    if "goes_nowhere" in said:
        names = {line.name for line in lines}
        lines = [*_all_lines(job, said["goes_nowhere"], names, option("goes_nowhere"), found), *lines]
    return lines


def known_lines(job: Scenario) -> tuple[MeasuringLine, ...]:
    """Lines that may be named: those of the measuring sheet, with their letters and stations, then others."""
    sheet = lines_of(job, job.system)
    names = {line.name.lower() for line in sheet}
    others = [MeasuringLine("", line.name, line.start, line.end, ()) for line in job.readings.lines]
    others += [
        MeasuringLine("", line.name, line.start, line.end, ()) for line in standard_lines(job.part.outline)
    ]
    return (*sheet, *{o.name: o for o in reversed(others) if o.name.lower() not in names}.values())


def named_line(job: Scenario, name: str) -> MeasuringLine | None:
    """The line of a letter of the measuring sheet, of a name, or of the beginning of one; None if it is not
    one line.

    >>> from handlap.sim.job.scenario_file import load
    >>> head = load("two-cylinder-head")
    >>> named_line(head, "b").name == named_line(head, "B").name
    True
    """
    lines, asked = known_lines(job), name.strip().lower()
    for line in lines:
        if asked and asked in (line.letter.lower(), line.name.lower()):
            return line
    near = [line for line in lines if asked and line.name.lower().startswith(asked)]
    return near[0] if len(near) == 1 else None


def _reading(job: Scenario, text: str, label: str, found: Findings) -> StraightedgeLine | None:
    """One line of readings from "NAME [held]: AT GOES STOPS; …", or "NAME: GOES GOES …" for every station."""
    name, colon, rest = text.rpartition(":")
    if not colon:
        found.fault(label, text, '"LINE: AT GOES STOPS; AT GOES STOPS; …"')
        return None
    name, bracket, held = name.strip().partition("[")
    line = named_line(job, name)
    if line is None:
        every = "; ".join(f"{k.letter} {k.name}".strip() for k in known_lines(job))
        found.fault(label, name.strip(), "a line, by its letter or name: " + every)
        return None
    said = held.strip().rstrip("]").strip()
    try:
        held = read_held(said) if bracket else _held_before(job, line)
    except InputError:
        found.fault(label, said, "held: " + ", ".join(HELD_WORDS.values()))
        return None
    here = f"{label} {line.letter or line.name}"
    rows = _rows(line, rest, job, here, found)
    stations = stations_of(rows, here, found) if rows else ()
    long = [s.at for s in stations if not 0.0 <= s.at <= line.length + 1e-6]
    if long:
        far = ", ".join(show(at, "length", job.system) for at in long)
        found.fault(here, far, f"0 to {show(line.length, 'length', job.system)} from the start of the line")
        return None
    if not stations:
        return None
    return StraightedgeLine(line.name, line.start, line.end, held, stations)  # type: ignore[arg-type]


def _held_before(job: Scenario, line: MeasuringLine) -> str:
    """How a line was held when it was read for the scenario."""
    return next((known.held for known in job.readings.lines if known.name == line.name), "rest")


def _rows(line: MeasuringLine, rest: str, job: Scenario, label: str, found: Findings) -> list[list[Any]]:
    """[at, goes, stops] of every station as typed, with what letters and the set of leaves tell filled in."""
    try:
        typed = [split_numbers(part) for part in rest.split(";") if part.strip()]
    except ValueError as error:
        found.fault(label, rest.strip(), str(error))
        return []
    if len(typed) == 1 and len(typed[0]) > 3:
        # A whole line at once: the leaf that goes at every station in turn.
        if len(typed[0]) != len(line.at):
            every = ", ".join(
                f"{line.label(i)} {show(round(at, 6), 'length', job.system)}" for i, at in enumerate(line.at)
            )
            found.fault(label, rest.strip(), f"one leaf for each of its {len(line.at)} stations: {every}")
            return []
        typed = [[line.label(i), word] for i, word in enumerate(typed[0])]
    rows: list[list[Any]] = []
    for words in typed:
        if len(words) < 2:
            last = line.label(len(line.at) - 1)
            allowed = (
                f"one leaf for each of {line.label(0)} to {last}, or a station and the leaves tried at it"
            )
            found.fault(label, " ".join(words), allowed)
            continue
        at = _station(line, words[0])
        if at is None:
            last = line.label(len(line.at) - 1)
            words_allowed = f"a station of this line, {line.label(0)} to {last}, or its distance"
            found.fault(label, words[0], words_allowed)
            continue
        row = [at, *(_number(word) for word in words[1:])]
        rows.append(_filled(row, job) if len(row) == 2 else row)
    return rows


def _station(line: MeasuringLine, word: str) -> float | str | None:
    """Distance of a station with its unit, from its label ("B2"), or as typed; None: there is no such one."""
    found = re.fullmatch(r"([A-Za-z]+)(\d+)", word)
    if found is None:
        typed: float | str = _number(word)
        return typed
    place = int(found[2]) - 1
    if found[1].upper() != line.letter or not 0 <= place < len(line.at):
        return None
    return show(line.at[place], "length", digits=12)


def _filled(row: list[Any], job: Scenario) -> list[Any]:
    """A row with the leaf that stops: the next of the set."""
    leaves = job.readings.leaves
    try:
        goes = 0.0 if row[1] == "none" else read_measured(str(row[1]), "leaf", job.leaf_unit).value
    except ValueError:
        return row
    if not leaves:
        return row
    thicker = [leaf for leaf in leaves if leaf > goes * (1.0 + 1e-9)]
    return [*row, show(thicker[0], "leaf", digits=12) if thicker else "open"]


def _number(word: str) -> Any:
    try:
        return number_of(word)
    except ValueError:
        return "none" if word == "-" else word.lower() if word.isalpha() else word


def leaf_nowhere(job: Scenario, leaf: str, label: str, found: Findings) -> float | None:
    """The thickness [m] of a leaf that goes nowhere, as typed in the units of the job."""
    try:
        read = read_measured(leaf, "leaf", job.leaf_unit)
    except ValueError as error:
        found.fault(label, leaf, f"a leaf: {error}")
        return None
    if not LEAVES_FROM <= read.value <= LEAVES_TO:
        low, high = (show_leaf(bound, job.leaf_unit, 2) for bound in (LEAVES_FROM, LEAVES_TO))
        doubt = doubtful(read.number, "leaf", read.unit, job.system) if read.bare else None
        found.fault(label, leaf, f"a leaf of {low} to {high}" + (f" ({doubt.remedy})" if doubt else ""))
        return None
    return read.value


def _all_lines(
    job: Scenario, leaf: str, given: set[str], label: str, found: Findings
) -> list[StraightedgeLine]:
    """All lines of the sheet but those given, at whose stations a leaf goes nowhere."""
    thickness = leaf_nowhere(job, leaf, label, found)
    if thickness is None:
        return []
    held = {line.name: line.held for line in job.readings.lines}
    return [
        StraightedgeLine(
            line.name, line.start, line.end, held.get(line.name, "rest"),
            tuple(Station(at, 0.0, thickness) for at in line.at),
        )
        for line in lines_of(job, job.system)
        if line.at and line.name not in given
    ]  # fmt: skip

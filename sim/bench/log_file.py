"""The log of a job on disk: one line an entry, only ever appended to.

A line is acknowledged once it and the file's length have reached the disk.  If that fails, the
file is cut back to what it was.  A last line that a crash has cut short is named when the log is
read, and moved into a file of its own, byte for byte, before the next entry is written.
"""

from __future__ import annotations

import contextlib
import json
import os
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handlap.sim.bench.job_log import (
    MOST_ENTRIES,
    Entry,
    EntryFaults,
    JobLog,
    LogMark,
    next_entry,
    part_mark,
    sequence_faults,
)
from handlap.sim.bench.log_disk import damaged_path, no_file, opened, set_aside, sync_folder, write
from handlap.sim.bench.log_lines import SCHEMA, from_json, header_json, to_json
from handlap.sim.bench.log_marks import change_faults, marks_to_write, notes_on
from handlap.sim.bench.log_odds import IN_A_FILE, INSIST, new_odds, odd_faults
from handlap.sim.bench.log_place import log_path, owner_notes, owner_to_write, stranger_faults, where_looked
from handlap.sim.bench.log_sense import sense_doubts, sense_faults
from handlap.sim.common.errors import Fault, InputError, ScenarioError
from handlap.sim.common.spelling import shortened
from handlap.sim.job.scenario import Scenario

THE_ENTRY = "the entry"
"""What a new entry is called in messages."""
LARGEST = 2_000_000
"""[bytes]"""


@dataclass(frozen=True)
class _Read:
    log: JobLog
    good: int
    """Bytes of the file that hold whole lines."""
    tail: bytes
    """What follows them."""
    sense: tuple[Fault, ...] = ()
    """What cannot be true in it."""
    strange: tuple[Fault, ...] = ()
    """What shows that it is the log of another job."""


def read_log(scenario: Scenario, path: Path | None = None, *, check: bool = True) -> JobLog:
    """The log of a scenario; empty if there is none yet.

    Parameters
    ----------
    check : False lets pass what an entry to come may mend: what cannot be true, or is of another job

    Raises
    ------
    ScenarioError : for a log of another part or job, or with everything wrong in its lines
    InputError : if the file cannot be read
    """
    path = path or log_path(scenario)
    try:
        state = path.stat()
        # A pipe would keep us waiting for ever.
        if not stat.S_ISREG(state.st_mode):
            raise no_file(path)
        if state.st_size > LARGEST:
            raise _too_large(path)
        data = path.read_bytes()
    except FileNotFoundError:
        return replace(_empty(scenario, path), notes=where_looked(scenario))
    except OSError as fault:
        raise InputError(f"cannot read {path}: {fault.strerror or fault}") from None
    read = _parse(data, scenario, path)
    if check and (read.strange or read.sense):
        # What is odd about the weights of another part is no fault of this log.
        raise ScenarioError(read.strange or read.sense)
    return read.log


def _empty(scenario: Scenario, path: Path) -> JobLog:
    return JobLog(part_mark(scenario.part), scenario.part.name, file=path.name)


def _too_large(path: Path) -> InputError:
    return InputError(f"{path}: larger than {LARGEST // 10**6} MB; that is no log")


def _parse(data: bytes, scenario: Scenario, path: Path) -> _Read:
    """A log from its bytes.

    Faults that an entry may mend, one that takes another back say, are handed on, not raised.
    """
    empty = _empty(scenario, path)
    lines = data.split(b"\n")
    if lines and not lines[-1]:
        lines.pop()
    if len(lines) > MOST_ENTRIES + 1:
        words = f"at most {MOST_ENTRIES} entries in one log"
        raise ScenarioError([Fault(path.name, "", f"{len(lines) - 1} entries", words)])
    objects: list[dict[str, Any]] = []
    faults: list[Fault] = []
    good, tail = 0, b""
    damage: tuple[str, ...] = ()
    for number, line in enumerate(lines, 1):
        last = number == len(lines)
        found = _object(line)
        if found is None and last:
            tail = line
            damage = (
                f"line {number} of {path.name} is damaged ({len(line)} bytes; a crash, a full disk?): it is "
                f"left out, and moved to {damaged_path(path).name} when the next entry is written",
            )
            break
        if found is None:
            faults.append(Fault(path.name, f"line {number}", _short(line), "one JSON object a line"))
        else:
            objects.append(found)
            good += len(line) + 1
    if faults:
        raise ScenarioError(faults)
    if not objects:
        return _Read(replace(empty, damage=damage), 0, tail)
    log = replace(empty, entries=_entries(objects, path), damage=damage)
    sense = sense_faults(log, scenario.part, _of_line)
    sense += _not_said(odd_faults(log, scenario, _of_line, IN_A_FILE), sense)
    strange = stranger_faults(log, objects[0], scenario, path)
    notes = () if sense or strange else _notes(log, scenario)
    return _Read(replace(log, notes=notes), min(good, len(data)), tail, tuple(sense), tuple(strange))


def _notes(log: JobLog, scenario: Scenario) -> tuple[str, ...]:
    """What the user should know of a log besides what is in it."""
    return (*owner_notes(log, scenario), *notes_on(log, scenario), *sense_doubts(log))


def _entries(objects: list[dict[str, Any]], path: Path) -> tuple[Entry, ...]:
    """The entries behind a header.

    Raises
    ------
    ScenarioError : with everything that is wrong with header or lines, or with their order
    """
    if objects[0].get("handlap_log") != SCHEMA:
        words = f'{{"handlap_log": {SCHEMA}, …}}, the first line of a log of this program'
        raise ScenarioError([Fault(path.name, "line 1", _short(json.dumps(objects[0]).encode()), words)])
    entries: list[Entry] = []
    faults: list[Fault] = []
    for number, raw in enumerate(objects[1:], 2):
        try:
            entries.append(from_json(raw, path.name, f"line {number}"))
        except EntryFaults as wrong:
            faults += wrong.faults
    faults += [] if faults else sequence_faults(entries, path.name)
    if faults:
        raise ScenarioError(faults)
    return tuple(entries)


def _object(line: bytes) -> dict[str, Any] | None:
    try:
        found = json.loads(line.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _short(line: bytes) -> str:
    return shortened("".join(c if c.isprintable() else "?" for c in line.decode("utf-8", "replace")))


def append(scenario: Scenario, entry: Entry, path: Path | None = None) -> tuple[Entry, JobLog]:
    """Write an entry behind the others; once this returns, it is on the disk.

    Returns the entry with its number and count, and the log with it; ``damage`` of that log says
    what was set aside.

    Raises
    ------
    ScenarioError : if the log or the entry is at fault; nothing is written then
    HandlapError : if it could not be written; what was there before is still there
    """
    written, log = append_all(scenario, lambda log: (entry,), path)
    return written[0], log


def append_all(
    scenario: Scenario,
    choose: Callable[[JobLog], Sequence[Entry]],
    path: Path | None = None,
    *,
    label: Callable[[Entry], str] = lambda entry: THE_ENTRY,
    marks: tuple[LogMark, ...] | None = None,
) -> tuple[tuple[Entry, ...], JobLog]:
    """Write entries behind the others, all or none; as :func:`append`.

    Parameters
    ----------
    choose : says what to write, from the log as it is while nobody else writes to it
    label : how an entry to be written is named in a message
    marks : what they were logged against, where that is not the scenario as it is now
    """
    path = path or log_path(scenario)
    with opened(path) as handle:
        size = os.fstat(handle).st_size
        if size > LARGEST:
            raise _too_large(path)
        data = os.pread(handle, size, 0)
        read = _parse(data, scenario, path)
        chosen = choose(read.log)
        if not chosen:
            return (), replace(read.log, notes=_notes(read.log, scenario))
        log, written = _checked(read, chosen, scenario, path, label, marks)
        faults = _against(read, log, written, scenario, label)
        faults += _not_said(_odd_in(read, log, written, scenario, label), faults)
        if faults:
            raise ScenarioError(map(_as_said, faults))
        if read.tail:
            set_aside(path, read.tail)
            os.ftruncate(handle, read.good)
            os.fsync(handle)
            size = read.good
        text = b"" if size else _line(header_json(read.log))
        if size and data[size - 1 : size] != b"\n":
            text = b"\n"
        write(handle, path, text + b"".join(_line(to_json(entry)) for entry in written), size)
    if not size:
        sync_folder(path.parent)
    moved = (
        f"a damaged last line ({len(read.tail)} bytes) was left out and moved to {damaged_path(path).name}"
    )
    damage = (moved,) if read.tail else ()
    others = () if size else where_looked(scenario)[1:]
    return written, replace(log, damage=damage, notes=(*others, *_notes(log, scenario)))


def look_over(
    scenario: Scenario, entry: Entry, path: Path | None = None, *, insist: str = INSIST
) -> tuple[Entry, list[Fault], list[Fault]]:
    """What :func:`append` would make of an entry, without writing: with its number and count, what speaks
    against it, and what is odd in it and passes where it insists (``as_is``); ``insist`` says how that is
    said.

    Raises
    ------
    ScenarioError : as :func:`append` where the entry cannot be numbered at all
    """
    path = path or log_path(scenario)
    data = b""
    with contextlib.suppress(FileNotFoundError):
        if not stat.S_ISREG(path.stat().st_mode) or path.stat().st_size > LARGEST:
            raise no_file(path)
        data = path.read_bytes()
    read = _parse(data, scenario, path) if data else _Read(_empty(scenario, path), 0, b"")
    log, written = _checked(read, (entry,), scenario, path, _the_entry, None)
    against = _against(read, log, written, scenario, _the_entry)
    odd = _odd_in(read, log, written, scenario, _the_entry, insist)
    return written[0], against, _not_said(odd, against)


def _the_entry(entry: Entry) -> str:
    return THE_ENTRY


def _as_said(fault: Fault) -> Fault:
    """A fault of a new entry, with the names that only the file has put as people say them."""
    key = fault.key
    if key.startswith(THE_ENTRY):
        for name, words in (("part_g", "part weight"), ("swarf_g", "swarf"), ("scale_g", "scale")):
            key = key.replace(f", {name}", f", {words}")
    return replace(fault, key=key)


def _not_said(odd: list[Fault], impossible: list[Fault]) -> list[Fault]:
    """What is odd without being impossible as well."""
    said = {fault.key for fault in impossible}
    return [fault for fault in odd if fault.key not in said]


def _of_line(entry: Entry) -> str:
    return f"line {entry.number + 1}"


def _odd_in(
    read: _Read,
    log: JobLog,
    written: Sequence[Entry],
    scenario: Scenario,
    label: Callable[[Entry], str],
    insist: str = INSIST,
) -> list[Fault]:
    """What is improbable in new entries; what is in older ones is said by :func:`_against`."""
    if read.sense or read.strange:
        return []
    own = {entry.number: label(entry) for entry in written if entry.void is None}
    by_log = odd_faults(log, scenario, lambda e: own.get(e.number, ""), insist)
    found = [fault for fault in by_log if not fault.key.startswith(",")]
    for entry in written:
        if entry.number in own:
            found += new_odds(entry, scenario, log.file, own[entry.number], insist)
    return found


def _checked(
    read: _Read,
    chosen: Sequence[Entry],
    scenario: Scenario,
    path: Path,
    label: Callable[[Entry], str],
    marks: tuple[LogMark, ...] | None,
) -> tuple[JobLog, tuple[Entry, ...]]:
    """The log with entries behind it, and these with numbers, counts and marks; all their faults at once."""
    log, written = read.log, []
    faults: list[Fault] = []
    for entry in chosen:
        try:
            checked = next_entry(log, entry, path.name)
            checked = replace(checked, against=_marks_to_write(log, scenario, marks))
            from_json(to_json(checked), path.name, label(entry))
        except EntryFaults as wrong:
            faults += wrong.faults
            continue
        log = replace(log, entries=(*log.entries, checked))
        written.append(checked)
    if faults:
        raise ScenarioError(faults)
    return log, tuple(written)


def _marks_to_write(
    log: JobLog, scenario: Scenario, marks: tuple[LogMark, ...] | None
) -> tuple[LogMark, ...]:
    return (*owner_to_write(log, scenario), *marks_to_write(log, scenario, marks))


def _against(
    read: _Read,
    log: JobLog,
    written: Sequence[Entry],
    scenario: Scenario,
    label: Callable[[Entry], str],
) -> list[Fault]:
    """What speaks against entries; one that takes another back, or says that the scenario was corrected, is
    itself the remedy for some of it."""
    if all(entry.void is not None for entry in written):
        return list(read.strange)
    mends = any(entry.corrected for entry in written)
    strange = [] if mends else [*read.strange, *change_faults(read.log, scenario)]
    if strange:
        return strange
    mends = any(entry.void is not None for entry in written)
    own = {entry.number: entry for entry in written}
    return ([] if mends else list(read.sense)) or sense_faults(
        log, scenario.part, lambda e: label(own[e.number]) if e.number in own else f"entry {e.number}"
    )


def _line(found: dict[str, Any]) -> bytes:
    return json.dumps(found, ensure_ascii=False, allow_nan=False).encode("utf-8") + b"\n"

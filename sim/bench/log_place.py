"""Where the log of a scenario lies, and whose a log is.

A log lies beside its scenario and is named after it: ``head.toml`` has ``head.log.jsonl``, ``head.txt``
has ``head.txt.log.jsonl``, a built-in job ``NAME.built-in.log.jsonl`` in the current folder.  Its entries
say whose it is, so that no two jobs come to share one.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from handlap.sim.bench.job_log import JobLog, LogMark, part_mark
from handlap.sim.bench.log_marks import corrected_at, digest, last_against, marks_in_force
from handlap.sim.common.errors import Fault, harmless
from handlap.sim.job.given_file import builtin_paths
from handlap.sim.job.scenario import Scenario

ENDING = ".log.jsonl"
BUILT_IN = " (built in)"
OWNER, FACE = "scenario", "face"
"""Subjects of marks: whose the log is, and the face and its metal."""
MOST_LOOKED_AT = 500
"""Logs in one folder that are looked into for one that was begun under another name."""
BEGINNING = 64_000
"""Bytes of a file that are looked into for the first two lines of a log."""


def owner_of(scenario: Scenario) -> str:
    """The name by which a log knows its scenario: that of the file, or of the built-in job."""
    if scenario.source in builtin_paths():
        return scenario.source + BUILT_IN
    return harmless(Path(scenario.source).name)


def log_name(owner: str) -> str:
    """The file name of the log of a scenario.

    >>> log_name("head.toml"), log_name("head.txt"), log_name("plane-sole (built in)")
    ('head.log.jsonl', 'head.txt.log.jsonl', 'plane-sole.built-in.log.jsonl')
    """
    if owner.endswith(BUILT_IN):
        return owner.removesuffix(BUILT_IN) + ".built-in" + ENDING
    path = Path(owner)
    return (path.stem if path.suffix == ".toml" else path.name) + ENDING


def _older_name(owner: str) -> str:
    """What earlier versions called it; several scenarios may come to this name."""
    return Path(owner.removesuffix(BUILT_IN)).stem + ENDING


def log_path(scenario: Scenario) -> Path:
    """Where the log of a scenario is, or will be: beside its file; of a built-in one in the current folder.

    One under its older name is found too, unless a scenario that has that name now lies beside it.
    """
    built_in = scenario.source in builtin_paths()
    source = Path(scenario.source)
    folder, name = (Path(), source.name) if built_in else (source.parent, source.name)
    owner = name + BUILT_IN if built_in else name
    path, older = folder / log_name(owner), folder / _older_name(owner)
    if older != path and not os.path.exists(path) and os.path.exists(older):
        stem = name if built_in else source.stem
        return path if os.path.exists(folder / f"{stem}.toml") else older
    return path


def _owner_in(log: JobLog) -> str:
    """Whose a log says it is; "" where it says nothing."""
    mark = last_against(log).get(OWNER)
    return mark.words if mark else ""


def owner_to_write(log: JobLog, scenario: Scenario) -> tuple[LogMark, ...]:
    """What the next entry has to say of whose the log is, and of which face."""
    last = last_against(log)
    name = owner_of(scenario)
    marks = (
        LogMark(OWNER, digest(name), name),
        LogMark(FACE, part_mark(scenario.part), scenario.part.metal.name),
    )
    return tuple(mark for mark in marks if last.get(mark.subject) != mark)


def stranger_faults(log: JobLog, header: Mapping[str, Any], scenario: Scenario, path: Path) -> list[Fault]:
    """What shows that a log is not of this job: another face, or another scenario that has this log."""
    faults = []
    corrected = corrected_at(log)
    face = marks_in_force(log)[corrected - 1].get(FACE) if corrected else None
    if (face.digest if face else header.get("part")) != part_mark(scenario.part):
        words = (
            f"a log of {scenario.part.name}: outline, openings or metal of the scenario are not those this "
            "log was begun with. Give this job another file name, or put them back; or, if they were wrong "
            f"then and are right now, say so: handlap log {scenario.source} --corrected"
        )
        faults.append(Fault(path.name, "line 1, part", str(header.get("name", "?")), words))
    owner = _owner_in(log)
    if owner and owner != owner_of(scenario) and path.name in (log_name(owner), _older_name(owner)):
        if owner.endswith(BUILT_IN) or os.path.exists(path.parent / owner):
            words = (
                f"the log of {owner_of(scenario)}: {owner} is there too, and two jobs cannot share a log. If "
                "it is that one's, move it to another name first; if it is this one's, say so: handlap log "
                f"{scenario.source} --corrected"
            )
            faults.append(Fault(path.name, "scenario", owner, words))
    return faults


def owner_notes(log: JobLog, scenario: Scenario) -> tuple[str, ...]:
    """A remark on a log that was begun under another name."""
    owner = _owner_in(log)
    if not owner or owner == owner_of(scenario):
        return ()
    return (f"the log was begun for {owner}; it is taken for the log of {owner_of(scenario)} now",)


def where_looked(scenario: Scenario) -> tuple[str, ...]:
    """For a scenario without a log: where it was looked for, and which others may be meant, in words."""
    path = log_path(scenario)
    words = [f"no log was found at {path}; nowhere else is looked"]
    for name, owner in _logs_of_the_part(scenario, path):
        if _has_scenario(name, path.parent):
            continue
        begun = f", begun for {owner}" if owner else ""
        words.append(
            f"there is a log of the same face, {path.parent / name}{begun}: if it is this job's, because the "
            f"scenario was renamed or moved, rename it to {path.name}"
        )
    return tuple(words)


def _has_scenario(name: str, folder: Path) -> bool:
    """Whether a scenario is there whose log has this name."""
    stem = name.removesuffix(ENDING)
    if stem.removesuffix(".built-in") in builtin_paths() and stem.endswith(".built-in"):
        return True
    return any(os.path.isfile(folder / source) for source in (stem, f"{stem}.toml"))


def _logs_of_the_part(scenario: Scenario, path: Path) -> list[tuple[str, str]]:
    """Other logs of the same face and metal beside the place, by name, with whose they say they are."""
    mark, found = part_mark(scenario.part), []
    names: list[str] = []
    with contextlib.suppress(OSError):
        names = sorted(e.name for e in os.scandir(path.parent) if e.name.endswith(ENDING) and e.is_file())
    for name in names[:MOST_LOOKED_AT]:
        with contextlib.suppress(OSError):
            with (path.parent / name).open("rb") as stream:
                first, _, rest = stream.read(BEGINNING).partition(b"\n")
            if name != path.name and _held(first).get("part") == mark:
                against = _held(rest.partition(b"\n")[0]).get("against")
                pair = against.get(OWNER) if isinstance(against, dict) else None
                owner = pair[-1] if isinstance(pair, list) and pair else ""
                found.append((name, harmless(str(owner))))
    return found


def _held(line: bytes) -> dict[str, Any]:
    """The object of a line; empty where it is none."""
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}

"""Whether a log can be true: weights, times and strokes that contradict one another, or what is possible.

An entry that is taken back does not count, so whatever is found here can be mended with
``handlap log … --void``.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from handlap.sim.bench.job_log import GRAM, Entry, JobLog
from handlap.sim.common import spoken
from handlap.sim.common.errors import Fault
from handlap.sim.common.units import GRAVITY, POUND
from handlap.sim.job.scenario import Part
from handlap.sim.job.scenario_keys import BY_NAME

CLOCK = datetime.timedelta(minutes=2)
"""Two at one bench may write in the other order by so much, and clocks are set."""
ZONES = datetime.timedelta(days=1)
"""Times without a zone, and dates, are compared no better than this."""
FAR_MASS = 100.0
"""A part weighed this many times heavier or lighter than what rests on the paper is a slip of the unit:
kilograms for grams are a thousand."""
MOST_OFF = 5e-3
"""Mean depth that nobody laps off by hand [m]."""
MOST_CUT = 50e-6
"""Mean depth that no stroke takes off: a small part under a heavy press on the coarsest paper comes to
some 30 µm [m]."""
MOST_PACE = BY_NAME["hands.strokes_per_minute"].high
"""Strokes there and back that nobody does in a minute [1/min]."""
TAKE_BACK = "If it is entry {0} that is wrong, take it back (--void {0}) and write it anew"

Told = Callable[[Entry, str, str, str], None]


def sense_faults(log: JobLog, part: Part, label: Callable[[Entry], str]) -> list[Fault]:
    """What cannot be true in the entries of a log that stand.

    Parameters
    ----------
    part : the part, for its mass, area and density
    label : how an entry is named in a message
    """
    faults: list[Fault] = []
    standing = log.standing

    def fault(entry: Entry, key: str, got: str, allowed: str) -> None:
        faults.append(Fault(log.file, f"{label(entry)}, {key}", got, allowed))

    _times(standing, fault)
    _repeated(standing, fault)
    _weights(standing, part, fault)
    _swarf(standing, part, fault)
    for entry in standing:
        if entry.minutes is not None and entry.strokes > MOST_PACE * entry.minutes:
            words = f"at least {entry.strokes / MOST_PACE:.2g} min for {entry.strokes} strokes"
            fault(entry, "minutes", f"{entry.minutes:g}", words)
    return faults


def time_of(when: str) -> datetime.datetime | None:
    """The time an entry was written; None for a text that is no time.

    >>> time_of("2026-01-05T10:00:00+00:00").hour, time_of("yesterday")
    (10, None)
    """
    try:
        return datetime.datetime.fromisoformat(when)
    except (ValueError, OverflowError):
        return None


def _times(standing: Sequence[Entry], fault: Told) -> None:
    """Times that are none, and times that run backwards by one clock."""
    timed: dict[str, list[tuple[Entry, datetime.datetime]]] = {}
    for entry in standing:
        time = time_of(entry.when)
        if time is not None:
            # What a phone wrote comes into the log later than it was written.
            timed.setdefault(entry.writer, []).append((entry, time))
        elif entry.when:
            fault(entry, "when", f'"{entry.when}"', 'a time such as "2026-01-05T10:00:00+00:00", or a date')
    pairs = (pair for one in timed.values() for pair in pairwise(one))
    for (before, earlier), (entry, later) in pairs:
        if earlier.tzinfo and later.tzinfo:
            backwards = later < earlier - CLOCK
        else:
            backwards = later.replace(tzinfo=None) < earlier.replace(tzinfo=None) - ZONES
        if backwards:
            words = f"{before.when} or later, when entry {before.number} was written: is the clock right? "
            fault(entry, "when", entry.when, words + TAKE_BACK.format(before.number))


def content(entry: Entry) -> Entry:
    """An entry but for its place in the log and its time."""
    return replace(entry, number=0, at=0, when="", against=(), as_is=False, id="")


def _repeated(standing: Sequence[Entry], fault: Told) -> None:
    """The same entry of the same second twice."""
    seen: dict[str, list[Entry]] = {}
    for entry in standing:
        if len(entry.when) <= len("2026-01-05"):
            continue  # a date: two like blocks on a day are nothing odd
        twins = [e for e in seen.get(entry.when, []) if content(e) == content(entry)]
        if twins:
            words = (
                f"once: entry {twins[0].number} of the same time says the same in everything. Take one of "
            )
            words += f"them back (--void {twins[0].number}), or note what tells them apart"
            fault(entry, "n", str(entry.number), words)
        seen.setdefault(entry.when, []).append(entry)


def _weights(standing: Sequence[Entry], part: Part, fault: Told) -> None:
    """A part that got heavier, or lighter than lapping makes it, or is not this part at all."""
    before, strokes = None, 0
    for entry in standing:
        strokes += entry.strokes
        if entry.part_mass is None:
            continue
        got, stated = _told(entry.part_mass), part.weight / GRAVITY
        if stated and not stated / FAR_MASS <= entry.part_mass <= stated * FAR_MASS:
            fault(entry, "part_g", got, f"some {_told(stated, 4)}, as in the scenario{_meant()}")
        if entry.scale is not None and entry.scale >= entry.part_mass:
            fault(entry, "scale_g", _told(entry.scale), f"finer than what it weighed, {got}")
        if before is not None and before.part_mass is not None:
            slack = (entry.scale or 0.0) + (before.scale or 0.0) + 1e-3 * GRAM
            last = f"{_told(before.part_mass)}, what entry {before.number} says"
            off = before.part_mass - entry.part_mass
            if off < -slack:
                words = f"at most {last}: a part does not get heavier; is there oil or water in it? "
                fault(entry, "part_g", got, words + TAKE_BACK.format(before.number))
            elif strokes and off - slack > _most_off(part, strokes):
                most = _most_off(part, strokes)
                words = f"at most {_told(most, 3)} less than {last}: more does not come off in {strokes} "
                words += "strokes. "
                fault(entry, "part_g", got, words + TAKE_BACK.format(before.number))
        before, strokes = entry, 0


def _told(mass: float, digits: int = 9) -> str:
    """A weight of the log [kg] as the job speaks."""
    if spoken.system() == "inch" and mass > 0.1 * POUND:
        return spoken.weighed(mass)
    return f"{spoken.per('swarf') * mass:.{digits}g} {spoken.unit('swarf')}"


def _meant() -> str:
    return spoken.by_system("; grams are meant", "; give it with its unit")


def _swarf(standing: Sequence[Entry], part: Part, fault: Told) -> None:
    """More swarf than strokes make."""
    strokes = 0
    for entry in standing:
        strokes += entry.strokes
        if entry.swarf is None:
            continue
        most = _most_off(part, strokes) + (entry.scale or 0.0)
        if entry.swarf > most:
            words = f"at most {_told(most, 3)} from {strokes} strokes since swarf was weighed last"
            fault(entry, "swarf_g", _told(entry.swarf), words + _meant())
        strokes = 0


def _most_off(part: Part, strokes: int) -> float:
    """A mass that these strokes cannot have taken off a part [kg]."""
    return part.metal.density * part.outline.area * min(MOST_OFF, MOST_CUT * strokes)


def sense_doubts(log: JobLog) -> tuple[str, ...]:
    """What is odd in the entries of a log without being impossible, in words."""
    doubts = []
    for before, entry in pairwise(log.standing):
        measured = entry.readings or entry.swarf is not None or entry.part_mass is not None
        if entry.strokes and measured and content(before) == content(entry):
            doubts.append(
                f"entries {before.number} and {entry.number} say the same in everything, {entry.strokes} "
                "strokes and all that was measured: was one of them written twice? If so, "
                f"--void {entry.number}"
            )
    for entry in log.entries:
        if entry.void is not None and (entry.strokes or entry.looked or entry.dyed):
            doubts.append(
                f"entry {entry.number} takes entry {entry.void} back and holds strokes or readings besides, "
                "which do not count: write them in an entry of their own"
            )
    return tuple(doubts)

"""What is improbable in a log: it may be so, and stands where whoever wrote it insists (``as_is``).

What cannot be true at all is in :mod:`handlap.sim.bench.log_sense`.  An entry that says ``as_is`` passes
everything here, in a file written by hand too.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from handlap.sim.bench.job_log import GRAM, Entry, JobLog
from handlap.sim.bench.log_sense import Told, content, time_of
from handlap.sim.common import spoken
from handlap.sim.common.errors import Fault
from handlap.sim.common.units import GRAVITY, leaf_number, show_leaf
from handlap.sim.job.scenario import Scenario
from handlap.sim.materials import grits

DAY_MINUTES = 150.0
"""Bare stroking that fits into a day at the bench: half the time goes into looks and changes of paper
[min] (C)."""
FASTEST = 250.0
"""Strokes there and back a minute that hardly anybody does [1/min] (C)."""
SLOWEST_MINUTES = 600.0
"""Time of one entry beyond a long day [min]."""
TIMES_FRESH = 10.0
"""More metal than this many times what always fresh paper takes, by the middle of what is assumed: its rate
is known within a factor of 3, the press within 2."""
SHARE_FRESH = 1.0 / 300.0
"""Less swarf than this share of it: paper clogged and blunt on top of a third of the rate comes to a
sixtieth, so it is kilograms for grams."""
TIMES_STATED = 3.0
"""A part weighed this many times heavier or lighter than its scenario says."""
TWICE_WITHIN = datetime.timedelta(minutes=2)
"""The same block again so soon has been written twice: a block takes about two minutes."""
SAME_LEAF = 1e-3
"""Leaves that differ by less, over their thickness, are one leaf."""
IN_A_FILE = 'if it is so, write "as_is": true into the line'
INSIST = "if it is so, say so with --as-is"

Label = Callable[[Entry], str]


def odd_faults(log: JobLog, scenario: Scenario, label: Label, insist: str) -> list[Fault]:
    """What is improbable in the entries of a log that stand and do not insist.

    Parameters
    ----------
    label : how an entry is named in a message
    insist : how whoever wrote it may insist, in words
    """
    faults: list[Fault] = []

    def fault(entry: Entry, key: str, got: str, allowed: str) -> None:
        if not entry.as_is:
            faults.append(Fault(log.file, f"{label(entry)}, {key}", got, f"{allowed}; {insist}"))

    standing = log.standing
    _days(standing, scenario, fault)
    _metal(standing, scenario, fault)
    _twice(standing, fault)
    return faults


def new_odds(entry: Entry, scenario: Scenario, file: str, label: str, insist: str = INSIST) -> list[Fault]:
    """What is improbable in a new entry by the scenario as it is now: its papers, its set of leaves, the
    weight of its part.

    Older entries are not held against these, for all of them may change while a job goes on.
    """
    if entry.as_is:
        return []
    faults = []
    papers = [grit.name for grit in scenario.paper.grits]
    if entry.paper and entry.paper not in papers:
        words = f"one of the job's papers, {', '.join(papers)}; {insist}"
        faults.append(Fault(file, f"{label}, paper", f'"{entry.paper}"', words))
    mass, stated = entry.part_mass, scenario.part.weight / GRAVITY
    if mass is not None and stated and not stated / TIMES_STATED <= mass <= stated * TIMES_STATED:
        words = f"some {mass_words(stated)}, as in the scenario; {insist}"
        faults.append(Fault(file, f"{label}, part_g", mass_words(mass), words))
    leaves = scenario.readings.leaves
    strange = strange_leaves(entry, leaves)
    if strange:
        unit = scenario.leaf_unit
        there = f"{', '.join(leaf_number(leaf, unit) for leaf in leaves)} {unit}"
        for line, leaf in strange:
            words = f"a leaf of your set ({there}); {insist}"
            faults.append(Fault(file, f"{label}, readings {line}", show_leaf(leaf, unit), words))
    return faults


def strange_leaves(entry: Entry, leaves: Sequence[float]) -> tuple[tuple[str, float], ...]:
    """Leaves [m] of an entry that are not in a set, each with the line it was first used on; none without a
    set."""
    found: dict[float, str] = {}
    for line in entry.readings if leaves else ():
        for station in line.stations:
            for leaf in (station.goes, station.stops):
                if 0.0 < leaf < np.inf and not any(abs(leaf - own) <= SAME_LEAF * own for own in leaves):
                    found.setdefault(leaf, line.name)
    return tuple((name, leaf) for leaf, name in found.items())


def most_a_day(scenario: Scenario) -> int:
    """Strokes that fit into a day at the bench, in hundreds [-]."""
    pace = float(scenario.hands.strokes_per_minute.value)
    return int(100 * np.ceil(DAY_MINUTES * pace / 100.0))


def _days(standing: Sequence[Entry], scenario: Scenario, fault: Told) -> None:
    """Strokes beyond a day's work, and times that do not go with them."""
    most = most_a_day(scenario)
    for entry in standing:
        if entry.strokes > most:
            words = f"at most {most} strokes at a time: more is beyond a day's work"
            fault(entry, "strokes", str(entry.strokes), words)
        minutes = entry.minutes
        if minutes is None:
            continue
        if minutes > SLOWEST_MINUTES:
            words = f"at most {SLOWEST_MINUTES:g} min; minutes are meant"
            fault(entry, "minutes", f"{minutes:g}", words)
        elif entry.strokes > FASTEST * minutes:
            least = entry.strokes / FASTEST
            fault(entry, "minutes", f"{minutes:g}", f"at least {least:.2g} min for {entry.strokes} strokes")


def _metal(standing: Sequence[Entry], scenario: Scenario, fault: Told) -> None:
    """Far more metal gone than strokes take, or far less swarf."""
    if not any(entry.part_mass is not None or entry.swarf is not None for entry in standing):
        return
    fresh = _fresh(scenario)
    since_part = since_swarf = 0.0
    before: Entry | None = None
    for entry in standing:
        since_part += fresh(entry)
        since_swarf += fresh(entry)
        if entry.part_mass is not None:
            if before is not None and before.part_mass is not None and since_part:
                off = before.part_mass - entry.part_mass
                slack = (entry.scale or 0.0) + (before.scale or 0.0)
                if off - slack > TIMES_FRESH * since_part:
                    words = (
                        f"about {mass_words(before.part_mass - since_part)} or a little more: some "
                        f"{mass_words(since_part)} come off in these strokes, not {mass_words(off)}"
                    )
                    fault(entry, "part_g", mass_words(entry.part_mass), words)
            before, since_part = entry, 0.0
        if entry.swarf is not None:
            if entry.scale is not None and 0.0 < entry.swarf < 0.5 * entry.scale:
                fault(entry, "scale_g", mass_words(entry.scale), f"finer than {mass_words(entry.swarf)}")
            few = entry.swarf < SHARE_FRESH * since_swarf and entry.swarf > 2.0 * (entry.scale or 0.0)
            if since_swarf and (few or entry.swarf - (entry.scale or 0.0) > TIMES_FRESH * since_swarf):
                words = f"some {mass_words(since_swarf)} from these strokes"
                fault(entry, "swarf_g", mass_words(entry.swarf), words)
            since_swarf = 0.0


def _fresh(scenario: Scenario) -> Callable[[Entry], float]:
    """Metal that the strokes of an entry would take off on paper that stays fresh [kg]."""
    # Of all that reads a log only this needs the lap, which takes as long to import as the rest together.
    from handlap.sim.lapping.ensemble import SCORES, conditions_at
    from handlap.sim.lapping.sheet import depth_per_stroke

    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    face = scenario.part.metal.density * scenario.part.outline.area
    each: dict[str, float] = {}

    def of(entry: Entry) -> float:
        if not entry.strokes or not entry.paper:
            return 0.0
        if entry.paper not in each:
            each[entry.paper] = face * depth_per_stroke(scenario, middle, grits.find(entry.paper))
        return each[entry.paper] * entry.strokes

    return of


def _twice(standing: Sequence[Entry], fault: Told) -> None:
    """The same entry again within minutes."""
    for before, entry in pairwise(standing):
        earlier, later = time_of(before.when), time_of(entry.when)
        if earlier is None or later is None or not (earlier.tzinfo and later.tzinfo):
            continue
        # Of the very same second it is refused outright; two at a bench may write in the other order.
        soon = datetime.timedelta() < later - earlier < TWICE_WITHIN
        if soon and _alike(before, entry):
            words = (
                f"once: entry {before.number}, written {(later - earlier).seconds} s before, says the same "
                "in everything"
            )
            fault(entry, "written twice", "", words)


def _alike(one: Entry, other: Entry) -> bool:
    work = bool(one.strokes or one.looked)
    return work and content(one) == content(other)


def mass_words(mass: float) -> str:
    """A mass [kg] as scales show it: grams, or what an inch job weighs in.

    >>> mass_words(0.00042), mass_words(3.12041)
    ('0.42 g', '3120.41 g')
    """
    if spoken.system() == "inch":
        return spoken.weighed(mass)
    return f"{mass / GRAM:.9g} g" if mass >= 1.0 or mass == 0.0 else f"{float(f'{mass / GRAM:.4g}'):g} g"

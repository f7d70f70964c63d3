"""What a log was logged against: marks of the scenario by subject, and what has changed since.

Every entry says where the scenario differs from what the entries before it were logged against.
A log is worked out with the scenario as it is now: strokes that were done with another part, from
another face or in another way would then be taken for what they were not.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np

from handlap.sim.bench.job_log import JobLog, LogMark
from handlap.sim.common import spoken
from handlap.sim.common.errors import Fault, ScenarioError
from handlap.sim.common.units import GRAVITY
from handlap.sim.job.scenario import Scenario, Uncertain
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.metals import Metal

RECKONED = "; all strokes in the log are reckoned with it as it is now"
STOPS = "; replan and record stop at this"
UNTOLD = ("name", "source", "key", "basis", "assumed", "leaves", "whose")
"""Fields that change nothing in what was done."""


@dataclass(frozen=True)
class MarkSubject:
    """A subject of the scenario.

    ``of``: what of the scenario belongs to it; ``words``: the main thing of it, for people;
    ``stops``: whether work that is logged would be taken for another if this changed; ``remedy``:
    what to say besides of a change, behind it.
    """

    of: Callable[[Scenario], Any]
    words: Callable[[Scenario], str]
    stops: bool
    remedy: str = ""


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" + ("" if number == 1 else "s")


def _part_words(job: Scenario) -> str:
    part = job.part
    more = [f"{spoken.part_weight(part.weight / GRAVITY)} of {part.metal.name}"]
    more += [_count(len(part.outline.openings), "opening")] if part.outline.openings else []
    more += [_count(len(part.inserts), "insert")] if part.inserts else []
    more += [f"{spoken.position(part.thickness, '.4g')} thick"] if part.thickness is not None else []
    return ", ".join(more)


def _readings_words(job: Scenario) -> str:
    readings = job.readings
    if readings.table is not None:
        height = readings.table.height
        span = float(np.ptp(height)) if height.size else 0.0
        return f"{height.size} heights over {spoken.say_height(span, '.3g')}"
    if readings.worst is not None:
        return f"the worst gap alone, {spoken.height(readings.worst.goes)} goes"
    stations = [s for line in readings.lines for s in line.stations]
    most = max((s.goes for s in stations), default=0.0)
    read = f"{_count(len(readings.lines), 'line')}, {_count(len(stations), 'station')}"
    return f"{read}, leaves up to {spoken.leaf(most)} go"


def _plate_words(job: Scenario) -> str:
    plate = job.plate
    return f"{spoken.per_length() * plate.length:.4g} × {spoken.position(plate.width, '.4g')}" + (
        f", {plate.grade}" if plate.grade else ""
    )


def _laid_words(job: Scenario) -> str:
    strips = job.paper.strips
    laid = "all over the plate" if strips is None else f"in {_count(len(strips), 'piece')}"
    return f"{'wet' if job.paper.wet else 'dry'}, {laid}"


def _strokes_words(job: Scenario) -> str:
    strokes = job.strokes
    return f"{strokes.pattern}, {spoken.position(strokes.length, '.4g')}"


def _hands_words(job: Scenario) -> str:
    press = f"{spoken.per('force') * job.hands.press.value:.3g} {spoken.unit('force')}"
    return f"press {press}, height {spoken.position(job.hands.height.value, '.3g')}"


def _wear_words(job: Scenario) -> str:
    return f"rate {spoken.per('rate') * job.wear.rate.value:.3g} {spoken.unit('rate')}"


def _limit_words(job: Scenario) -> str:
    part = job.part
    allowance = "" if part.allowance is None else f", {spoken.say_height(part.allowance, '.4g')} may come off"
    return f"{spoken.say_height(part.limit, '.4g')} by {part.limit_by}{allowance}"


def _part(job: Scenario) -> Any:
    part = job.part
    return (
        part.outline.rim, part.outline.openings, part.metal, part.weight, part.weight_at, part.thickness,
        part.ribbed_as, part.pressing, part.pad, part.inserts,
    )  # fmt: skip


def _limit(job: Scenario) -> Any:
    part = job.part
    return part.limit, part.limit_by, part.allowance, part.gasket_ra, part.spring_back, part.after


def _laid(job: Scenario) -> Any:
    paper = job.paper
    return paper.wet, paper.strips, paper.thickness, paper.lumps


def _strokes(job: Scenario) -> Any:
    exact = job.exact
    return job.strokes, exact.load, exact.load_at, exact.tilt_held


def _plan(job: Scenario) -> Any:
    paper = job.paper
    return paper.grits, paper.brush_every, paper.sheet_every, paper.sheets, job.turning.every, job.check_every


SUBJECTS: dict[str, MarkSubject] = {
    "part": MarkSubject(_part, _part_words, True),
    "readings before": MarkSubject(
        lambda job: job.readings,
        _readings_words,
        True,
        "; the scenario holds the readings before the first stroke, later ones belong in the log "
        "(handlap log … --readings-from FILE)",
    ),
    "plate": MarkSubject(lambda job: job.plate, _plate_words, True),
    "paper as laid": MarkSubject(_laid, _laid_words, True),
    "strokes": MarkSubject(_strokes, _strokes_words, True),
    "turning": MarkSubject(lambda job: job.turning.states, lambda job: job.turning.name, True),
    "hands": MarkSubject(lambda job: job.hands, _hands_words, False, RECKONED),
    "wear": MarkSubject(lambda job: job.wear, _wear_words, False, RECKONED),
    "limit": MarkSubject(_limit, _limit_words, False),
    "plan": MarkSubject(_plan, lambda job: ", ".join(grit.name for grit in job.paper.grits), False),
}
"""In the order in which changes are named.  What changes nothing in the work done is said as a note."""


def told(value: Any) -> str:
    """A value as a text that is the same for the same job: six figures, what is at its default left out.

    So a key that a later version adds changes no mark where it is not used.
    """
    if isinstance(value, float | np.floating):
        return f"{value:.6g}"
    if isinstance(value, np.ndarray):
        return " ".join(f"{x:.6g}" for x in value.ravel())
    if isinstance(value, tuple):
        return "(" + ";".join(map(told, value)) + ")"
    if isinstance(value, Metal | Grit):
        return value.name
    if isinstance(value, Uncertain):
        return told((value.value, value.low, value.high, value.law))
    if is_dataclass(value):
        held = []
        for f in fields(value):
            own = getattr(value, f.name)
            default = f.default_factory() if f.default_factory is not MISSING else f.default
            if f.name not in UNTOLD and (default is MISSING or told(own) != told(default)):
                held.append(f"{f.name}={told(own)}")
        return "{" + ";".join(held) + "}"
    return str(value)


def digest(text: str) -> str:
    """A mark of a text: 12 letters."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def marks_of(scenario: Scenario) -> dict[str, LogMark]:
    """The marks of a scenario by subject, as it is written, whatever earlier jobs have taught."""
    scenario = scenario.past.plain if scenario.past is not None else scenario
    return {
        name: LogMark(name, digest(told(subject.of(scenario))), subject.words(scenario))
        for name, subject in SUBJECTS.items()
    }


@dataclass(frozen=True)
class MarkChange:
    """A subject that is not what strokes in the log were logged against.

    ``entries``: those, by number; ``then``, ``now``: the main thing of it;
    ``stops``: see :class:`MarkSubject`.
    """

    subject: str
    entries: tuple[int, ...]
    then: str
    now: str
    stops: bool

    @property
    def words(self) -> str:
        """What changed, in words."""
        what = f"{self.now}, but not the same" if self.then == self.now else f"{self.then}; now {self.now}"
        return f"changed in the scenario since {entries_words(self.entries)} logged: {self.subject} ({what})"


def entries_words(numbers: tuple[int, ...]) -> str:
    """Entries by number, with their verb.

    >>> entries_words((2,)), entries_words((2, 3, 7))
    ('entry 2 was', 'entries 2 to 7 were')
    """
    if len(numbers) == 1:
        return f"entry {numbers[0]} was"
    return f"entries {numbers[0]} to {numbers[-1]} were"


def marks_in_force(log: JobLog) -> list[dict[str, LogMark]]:
    """What each entry was logged against, by subject, in the order of the entries."""
    found: list[dict[str, LogMark]] = []
    for entry in log.entries:
        found.append({**(found[-1] if found else {}), **{mark.subject: mark for mark in entry.against}})
    return found


def last_against(log: JobLog) -> dict[str, LogMark]:
    """What the last entry was logged against, by subject; nothing before there is one."""
    in_force = marks_in_force(log)
    return in_force[-1] if in_force else {}


def corrected_at(log: JobLog) -> int:
    """Number of the last entry that says that the scenario was corrected; 0: none does."""
    return max((entry.number for entry in log.standing if entry.corrected), default=0)


def worked_against(log: JobLog) -> list[tuple[int, dict[str, LogMark]]]:
    """Entries that stand and hold strokes, by number, each with what it counts as logged against.

    Where a later entry says that the scenario was corrected, what came before counts as logged
    against that.
    """
    in_force = marks_in_force(log)
    corrected = corrected_at(log)
    return [(e.number, in_force[max(e.number, corrected) - 1]) for e in log.standing if e.strokes]


def changes_since(log: JobLog, scenario: Scenario) -> tuple[MarkChange, ...]:
    """What of a scenario is not what the strokes of a log were logged against."""
    worked, found = worked_against(log), []
    for name, now in marks_of(scenario).items():
        others: dict[LogMark, list[int]] = {}
        for number, marks in worked:
            then = marks.get(name)
            if then is not None and then.digest != now.digest:
                others.setdefault(then, []).append(number)
        stops = SUBJECTS[name].stops
        found += [MarkChange(name, tuple(n), mark.words, now.words, stops) for mark, n in others.items()]
    return tuple(found)


def unmarked(log: JobLog) -> tuple[int, ...]:
    """Entries with strokes of which a log does not say what they were logged against, by number."""
    return tuple(number for number, marks in worked_against(log) if not set(SUBJECTS) & set(marks))


def marks_to_write(
    log: JobLog, scenario: Scenario, marks: tuple[LogMark, ...] | None = None
) -> tuple[LogMark, ...]:
    """What the next entry has to say: where what it is logged against is not what the log says last.

    ``marks``: that, by subject; None: the scenario as it is now.
    """
    last = last_against(log)
    now = marks_of(scenario) if marks is None else {mark.subject: mark for mark in marks}
    return tuple(mark for name, mark in now.items() if name not in last or last[name] != mark)


def notes_on(log: JobLog, scenario: Scenario) -> tuple[str, ...]:
    """What has changed and what is not known of it, in words."""
    notes = [
        change.words + (STOPS if change.stops else SUBJECTS[change.subject].remedy)
        for change in changes_since(log, scenario)
    ]
    old = unmarked(log)
    if old:
        notes.append(
            f"the log does not say what {entries_words(old)} logged against (an older version wrote it): "
            f"whether {scenario.source} was the same then cannot be told"
        )
    return tuple(notes)


def change_faults(log: JobLog, scenario: Scenario) -> list[Fault]:
    """Faults for what has changed and stops, with the remedy behind the last."""
    stopping = [change for change in changes_since(log, scenario) if change.stops]
    file = log.file or "the log"
    faults = []
    for change in stopping:
        got = change.now if change.now != change.then else f"{change.now}, but not the same"
        own = SUBJECTS[change.subject].remedy
        allowed = f"{change.then}, as when {entries_words(change.entries)} logged"
        faults.append(Fault(file, change.subject, got, allowed + own))
    if faults:
        remedy = (
            "\nThe strokes in the log would be taken for what they were not. Put back in "
            f"{scenario.source} what was changed; or, if it was wrong then and is right now, for all strokes "
            f"in the log, say so: handlap log {scenario.source} --corrected. Work that goes on in another "
            "way is another job: a scenario of its own, with the face read anew."
        )
        faults[-1] = replace(faults[-1], allowed=faults[-1].allowed + remedy)
    return faults


def refuse_changed(log: JobLog, scenario: Scenario) -> None:
    """Stop where the strokes of a log would be taken for what they were not.

    Raises
    ------
    ScenarioError : naming what has changed, and the remedy
    """
    faults = change_faults(log, scenario)
    if faults:
        raise ScenarioError(faults)

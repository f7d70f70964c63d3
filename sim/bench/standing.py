"""Where a job stands now: the face, the metal off, and every limit, met or not or not to be told.

One answer for all who ask: ``replan`` builds its advice on it, ``record`` writes it down.
Depths positive = taken off [m].
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace
from typing import Literal

import numpy as np
from scipy.special import ndtr

from handlap.sim.bench.after_cut import Effect, effects_of
from handlap.sim.bench.forecast import MODEL
from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.learn import CELLS, PASSES, Learnt, ReadyLog, State, first_state, ready_log
from handlap.sim.bench.log_marks import refuse_changed
from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said, unsaid
from handlap.sim.face.done import Checked, CheckState, against_words, check_lines, check_words
from handlap.sim.face.face_ensemble import infer_faces
from handlap.sim.face.proud import refuse_proud
from handlap.sim.face.stations import lines_of
from handlap.sim.face.survey import SURE, Survey, survey_face
from handlap.sim.face.told import faces_to_work_on
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Part, Scenario, StraightedgeLine
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import draw_plate_scores, middle_member, scores_for
from handlap.sim.lapping.long_work import tell_ahead
from handlap.sim.materials import grits
from handlap.sim.planning.crew import MOST_MEMBERS, Progress
from handlap.sim.planning.leg import measure

FEWEST_MEMBERS = 16
FACES_READ = 100
"""Least number of faces that a survey by readings alone is made of [-]."""
Z90 = 1.645

StandingAnswer = Literal["met", "not met", "cannot tell"]
StandingSubject = Literal["flatness", "metal", "finish"]


@record()
class LimitHeld:
    """A limit and whether it is met, with the reason in words.

    Attributes
    ----------
    about : what it is a limit of; metal that is off does not come back
    chance : chance of meeting it, where it was counted [-]
    read_again : whether readings taken now would settle what cannot be told
    contradicted : whether it is met as checked, and all else leaves that hardly a chance
    """

    name: str
    answer: StandingAnswer
    reason: str
    chance: float | None = None
    about: StandingSubject = unsaid(default="metal")
    read_again: bool = unsaid(default=False)
    checked: CheckState | None = unsaid(default=None)
    """What the straightedge said, where the limit is held against it and it was laid after the work."""
    contradicted: bool = False


@record()
class Standing:
    """A job as it stands after the last entry of its log; bands are over the ensemble, SI units.

    Attributes
    ----------
    measured : the figure that the limit is held against, by readings and log together [m]
    after : survey by the readings after the last stroke alone; None where nothing was read since
    finish : roughness Ra left by the last paper, low and high [m]
    chance_goal : chance of being inside the flatness limit, by readings before and log together [-]
    effects : what the cut does around the face
    limits : every limit, flatness first
    """

    measured: Band = said("um")
    flatness: Band = said("um")
    mean_depth: Band = said("um", "mean_um")
    greatest_depth: Band = said("um", "greatest_um")
    taper_along: Band = said("um")
    taper_across: Band = said("um")
    mass: Band = said("g")
    after: Survey | None
    finish: tuple[float, float] = said("um", "finish_ra_um")
    chance_goal: float = said(name="goal_met")
    effects: tuple[Effect, ...]
    limits: tuple[LimitHeld, ...]

    @property
    def flat(self) -> LimitHeld:
        """The limit of the flatness."""
        return self.limits[0]

    @property
    def passed(self) -> tuple[LimitHeld, ...]:
        """Limits of the metal that may come off which are passed already."""
        return tuple(x for x in self.limits if x.about == "metal" and x.answer == "not met")


def open_log(
    scenario: Scenario,
    log: JobLog,
    *,
    members: int,
    seed: int,
    untold: bool = False,
    cells: int = CELLS,
    executor: Executor | None = None,
    tell: Progress | None = None,
) -> tuple[ReadyLog, State]:
    """The rig with the log laid out on it, and the ensemble before anything is learnt.

    Parameters
    ----------
    untold : go on, too, where the readings cannot tell of the face what the log could be held against;
        where the search for faces did not settle, nothing that is learnt is believed then
    tell : is told beforehand if it takes long to go through the log

    Raises
    ------
    FaceDecides : where they cannot, without ``untold``
    InputError : for a log without strokes, an ensemble size out of range, or something proud of the face
    ScenarioError : if the strokes were logged against another scenario than this
    """
    if not FEWEST_MEMBERS <= members <= MOST_MEMBERS:
        raise InputError(f"--members {members}: allowed is {FEWEST_MEMBERS} to {MOST_MEMBERS}")
    if not log.strokes:
        looked = "".join(f"\n{note}" for note in log.notes if not log.entries)
        raise InputError(
            f"the log holds no strokes yet: nothing to learn from, and nothing to record{looked}"
        )
    refuse_changed(log, scenario)
    refuse_proud(scenario.part)
    if untold:
        faces = infer_faces(scenario.part, scenario.readings, count=members, seed=seed)
    else:
        # What was read since may tell what the first readings could not.
        read_since = any(entry.readings for entry in log.standing)
        faces = faces_to_work_on(scenario, count=members, seed=seed, above=not read_since)
    ready = ready_log(scenario, log, faces, cells=cells, seed=seed, executor=executor)
    # Once before the passes and after each, and on from the end of the log as it was and as learnt.
    seconds = (PASSES + 3.0) * members * ready.course.seconds
    tell_ahead(tell, seconds, f"going through the log with {members} faces")
    return ready, first_state(
        ready, faces, scores_for(scenario, members, seed), draw_plate_scores(members, seed)
    )


def where_it_stands(learnt: Learnt) -> Standing:
    """Where a job stands now, by all that was learnt of it.

    Raises
    ------
    InputError : for a cut deeper than a chamber
    """
    ready = learnt.ready
    scenario, entries = ready.scenario, ready.entries
    part = scenario.part
    figures = gauge.figures(ready.gauged, learnt.posterior.before, learnt.now)
    now = measure(figures, part.limit_by)
    mean, greatest = Band.of(figures.mean_depth), Band.of(figures.greatest_depth)
    chance_goal = float(np.mean(ndtr((part.limit - now) / (MODEL / Z90))))
    after = _survey_after(scenario, entries, max(learnt.members, FACES_READ), ready.seed)
    checked = check_after(scenario, entries)
    finish = grits.find(_last_paper(entries)).roughness(part.metal)
    effects = effects_around(part, mean, greatest)
    return Standing(
        measured=widened(now),
        flatness=widened(figures.flatness),
        mean_depth=mean,
        greatest_depth=greatest,
        taper_along=Band.of(figures.taper_along),
        taper_across=Band.of(figures.taper_across),
        mass=Band.of(part.metal.density * part.outline.area * figures.mean_depth),
        after=after,
        finish=finish,
        chance_goal=chance_goal,
        effects=effects,
        limits=judge_limits(
            part, after, checked, learnt, chance_goal, figures.greatest_depth, finish, effects
        ),
    )


def shown_member(learnt: Learnt) -> int:
    """The member that maps are of: nearest to the middle of what the face has come to."""
    figures = gauge.figures(learnt.ready.gauged, learnt.posterior.before, learnt.now)
    start = gauge.flatness(learnt.ready.gauged, learnt.posterior.before)
    return middle_member(figures.flatness, figures.mean_depth, figures.greatest_depth, start)


def _last_paper(entries: Sequence[Entry]) -> str:
    return next(entry.paper for entry in reversed(entries) if entry.paper)


def widened(values: Array) -> Band:
    """A band of heights with room for a model that is not quite right [m]."""
    band = Band.of(values)
    return Band(max(0.0, band.p05 - MODEL), band.p50, band.p95 + MODEL)


def effects_around(part: Part, mean: Band, greatest: Band) -> tuple[Effect, ...]:
    """What a cut does around a part, see :func:`handlap.sim.bench.after_cut.effects_of`.

    Raises
    ------
    InputError : if the cut is deeper than a chamber
    """
    try:
        return effects_of(part.after, mean, greatest)
    except ValueError as error:
        raise InputError(f"part.after: {error}") from None


def readings_after(entries: Sequence[Entry]) -> tuple[StraightedgeLine, ...]:
    """Lines read since the last stroke; of a line that was read twice, the later reading."""
    worked = max((place for place, entry in enumerate(entries) if entry.strokes), default=0)
    lines = {line.name: line for entry in entries[worked:] for line in entry.readings}
    return tuple(lines.values())


def _survey_after(scenario: Scenario, entries: Sequence[Entry], count: int, seed: int) -> Survey | None:
    lines = readings_after(entries)
    if not lines:
        return None
    before = scenario.readings
    readings = replace(before, lines=lines, table=None, leaves=(), worst=None)
    return survey_face(scenario.part, readings, count=count, seed=seed)


def check_after(scenario: Scenario, entries: Sequence[Entry]) -> Checked | None:
    """What the straightedge said since the last stroke; None where it said nothing, or does not decide."""
    lines = readings_after(entries)
    if not lines or scenario.part.limit_by != "straightedge":
        return None
    return check_lines(scenario.part.limit, lines_of(scenario), lines)


def _by_chance(chance: float) -> StandingAnswer:
    if chance >= SURE:
        return "met"
    return "not met" if chance <= 1.0 - SURE else "cannot tell"


def judge_limits(
    part: Part,
    after: Survey | None,
    checked: Checked | None,
    learnt: Learnt,
    chance: float,
    greatest: Array,
    finish: tuple[float, float],
    effects: Sequence[Effect],
) -> tuple[LimitHeld, ...]:
    """Every limit of a part, and whether it is met.

    Parameters
    ----------
    after, checked : survey by the readings after the last stroke, and what they say as a check; None without
    chance : chance of meeting the flatness limit by readings and log together [-]
    greatest : depth of the deepest spot (members,) [m]
    finish : roughness Ra, low and high [m]
    """
    found = [_flatness(part, after, checked, learnt, chance)]
    if part.allowance is not None:
        held = float(np.mean(greatest <= part.allowance))
        answer: StandingAnswer = _by_chance(held) if learnt.believed else "cannot tell"
        found.append(LimitHeld("removal allowance", answer, "by the log, at the deepest spot", held))
    if part.gasket_ra is not None:
        fits = _fits(part.gasket_ra, finish)
        how = ", too smooth" if finish[1] < part.gasket_ra[0] else ", too rough"
        reason = f"by the last paper{how if fits == 'not met' else ''}; not measured"
        found.append(LimitHeld("finish for the gasket", fits, reason, about="finish"))
    words: dict[bool | None, StandingAnswer] = {True: "met", False: "not met", None: "cannot tell"}
    for effect in effects:
        if effect.limit is not None:
            kept = words[effect.met] if learnt.believed else "cannot tell"
            found.append(LimitHeld(effect.name, kept, "by the depth off"))
    return tuple(found)


def _flatness(
    part: Part, after: Survey | None, checked: Checked | None, learnt: Learnt, chance: float
) -> LimitHeld:
    """What anybody can check decides; where that leaves it open, the readings, or they and the log."""
    together = _by_chance(chance) if learnt.believed else "cannot tell"

    def held(answer: StandingAnswer, reason: str, of: float, read_again: bool = False) -> LimitHeld:
        said = None if checked is None else checked.answer
        return LimitHeld("flatness", answer, reason, of, "flatness", read_again, said)

    if after is None:
        reason = "nothing was read after the last stroke; read the lines and log them"
        return held("cannot tell", reason, chance, together == "met")
    if checked is not None:
        words = check_words(checked, part.limit)
        if checked.answer == "met as checked":
            against = against_words(chance) if learnt.believed else ""
            found = held("met", f"{words}, {against}" if against else words, chance)
            return replace(found, contradicted=bool(against))
        if checked.answer == "not met":
            return held("not met", words, chance)
        if together == "not met" or after.verdict.answer == "no":
            return held("not met", f"{words}; what was read, and the log, are enough to say no", chance)
        return held("cannot tell", words, chance, together == "met")
    said: StandingAnswer = {"yes": "met", "no": "not met", "cannot tell": "cannot tell"}[after.verdict.answer]  # type: ignore[assignment]
    if said == "cannot tell" and together != "cannot tell":
        return held(together, "by the readings after and the log together", chance)
    if {said, together} == {"met", "not met"}:
        reason = "the readings after the work and the log as a whole disagree"
        return held("cannot tell", reason, chance, True)
    return held(said, "by the readings after: " + after.verdict.reason, after.verdict.chance)


def _fits(asked: tuple[float, float], finish: tuple[float, float]) -> StandingAnswer:
    if finish[0] >= asked[0] and finish[1] <= asked[1]:
        return "met"
    return "not met" if finish[1] < asked[0] or finish[0] > asked[1] else "cannot tell"

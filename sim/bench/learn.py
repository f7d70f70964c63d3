"""What the log teaches about paper, hands and face: an ensemble smoother over the whole log.

The unknowns are the scores of the parameters and the face before the first stroke.  Every pass
carries all members through the whole log and moves them towards what was written, in four
passes each of a quarter of the weight (ensemble smoother with multiple data assimilation;
Emerick and Reynolds 2013).  With few members chance alone makes every spread a little smaller.
So that this is not taken for something learnt, scores that no log has anything to do with are
carried along; by how much their spread shrinks is by how much all others are widened again.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from handlap.sim.bench.job_log import Entry, JobLog
from handlap.sim.bench.log_evidence import Compared, DyeLook, LogLook, compare, gather_looks, leaves_of
from handlap.sim.bench.replay import LogCourse, lay_out_log, replay
from handlap.sim.common import spoken
from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said
from handlap.sim.face.face_ensemble import FaceEnsemble
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario, Uncertain
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.dye import DyeDraw, draw_dye_scores, dye_at, roughness_dyed
from handlap.sim.lapping.ensemble import (
    SCORES,
    conditions_at,
    conditions_of,
    luck_as_known,
    luck_of,
    most_typical,
    run_members,
    uncertain_of,
)
from handlap.sim.lapping.first_cut import first_cut
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.set_up import Rig
from handlap.sim.planning.crew import Progress

PASSES = 4
CLIP = 4.0
"""Scores are held within this [-]."""
SPARE_SCORES = 64
"""Scores carried along that nothing depends on, to see what chance does to a spread."""
FEWEST_EFFECTIVE = 0.25
"""Below this share of the members left by chance, nothing is claimed [-]."""
DOUBTED = 3.0
"""A look this many standard errors off is named [-]."""
LEARNT, PARTLY = 0.5, 0.8
"""Posterior over prior standard deviation up to which a quantity counts as learnt, or partly [-]."""
KNOWN = 1e-9
"""A face known to this needs no learning [m]."""
BY_CHANCE = 5.0
"""Nothing counts as learnt whose spread fell no further than that of this share of the spare scores [%]."""
CELLS = 800


@dataclass(frozen=True)
class State:
    """An ensemble at some point of the learning.

    Attributes
    ----------
    scores : of the parameters, a column for each of ``SCORES``, of the plate (members, k), of the dye
        (members, 3) [-]
    before : faces before the first stroke (members, n) [m]
    """

    scores: Array
    plate_scores: Array
    dye_scores: Array
    before: Array

    def conditions(self, scenario: Scenario) -> tuple[Conditions, ...]:
        """Conditions of every member."""
        return conditions_of(scenario, self.scores, self.plate_scores, self.dyes)

    @property
    def dyes(self) -> tuple[DyeDraw, ...]:
        """When the dye of every member fades and is gone."""
        return tuple(dye_at(z) for z in self.dye_scores)


@record()
class Quantity:
    """What became of one unknown.

    ``before``, ``after`` : bands [unit of the quantity, SI]; ``ratio`` : posterior over prior
    standard deviation, of the logarithm where it is positive; ``shift`` : middle after over
    middle before, or their difference where it may be negative; ``by_chance`` : ratio above which
    nineteen in twenty quantities stay that no log can touch.
    """

    name: str
    before: Band
    after: Band
    ratio: float = said(name="spread_ratio")
    shift: float
    by_chance: float = 1.0

    @property
    def standing(self) -> str:
        """ "learnt", "partly learnt" or "still our assumption"."""
        if self.ratio > self.by_chance:
            return "still our assumption"
        if self.ratio < LEARNT:
            return "learnt"
        return "partly learnt" if self.ratio <= PARTLY else "still our assumption"


@dataclass(frozen=True)
class Doubt:
    """A look that does not fit what was expected (before learning) or the rest (after it)."""

    entry: int
    what: str
    off: float
    """Standard errors [-]."""
    after: bool


@dataclass(frozen=True)
class ReadyLog:
    """Where a log is replayed: rig, gauge, entries and how they are laid out.

    ``settled``: whether the search for faces that fit the first readings settled.
    """

    scenario: Scenario
    rig: Rig
    gauged: Gauge
    entries: tuple[Entry, ...]
    course: LogCourse
    looks: tuple[LogLook, ...]
    middle: Conditions
    seed: int
    executor: Executor | None = None
    settled: bool = True


@record()
class Learnt:
    """The ensemble brought up to date.

    Attributes
    ----------
    prior, posterior : the members before and after
    states, prior_states : faces (members, states, n) at the start and after every block [m]
    effective : members that chance has left [-]; ``believed``: enough of them, and first readings
        that could tell of the face: what these cannot tell, nothing that is learnt on top of them may
    quantities : what became of every unknown
    doubts : looks that do not fit
    """

    ready: ReadyLog
    prior: State
    posterior: State
    prior_states: Array
    states: Array
    effective: float = said(name="members_effective")
    believed: bool
    quantities: tuple[Quantity, ...]
    doubts: tuple[Doubt, ...]

    @property
    def members(self) -> int:
        """Number of members [-]."""
        return len(self.posterior.scores)

    @property
    def now(self) -> Array:
        """Faces as they are now (members, n) [m]."""
        return np.asarray(self.states[:, -1])

    def conditions(self) -> tuple[Conditions, ...]:
        """Conditions of every member, as learnt."""
        return self.posterior.conditions(self.ready.scenario)


def ready_log(
    scenario: Scenario,
    log: JobLog,
    faces: FaceEnsemble,
    *,
    cells: int = CELLS,
    seed: int = 0,
    executor: Executor | None = None,
) -> ReadyLog:
    """Set the bench up for a log and lay the log out.

    Raises
    ------
    InputError : if readings of the log lie off the metal altogether
    """
    entries = log.standing
    evidence = leaves_of(scenario, entries)
    for name, found in evidence.items():
        if found.count == 0:
            raise InputError(f"{name}: none of its readings lies on metal")
    points = {name: found.lines.points for name, found in evidence.items()}
    rig, gauged = gauge.rig_and_gauge(scenario, cells=cells, follow=points)
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    heights = np.asarray(faces.heights_at(rig.grid.points))
    course = lay_out_log(rig, entries, middle, heights[most_typical(heights)], seed=seed)
    looks = gather_looks(scenario.part, entries, course, evidence)
    return ReadyLog(scenario, rig, gauged, entries, course, looks, middle, seed, executor, faces.converged)


def first_state(ready: ReadyLog, faces: FaceEnsemble, scores: Array, plate_scores: Array) -> State:
    """The ensemble before anything is learnt, from scores (members, quantities) [-].

    Quantities that are stated have score zero.
    """
    before = np.asarray(faces.heights_at(ready.rig.grid.points), dtype=float)
    return State(
        scores.copy(),
        plate_scores.copy(),
        draw_dye_scores(len(scores), ready.seed),
        np.resize(before, (len(scores), before.shape[1])),
    )


def learn(ready: ReadyLog, prior: State, *, tell: Progress | None = None) -> Learnt:
    """Bring an ensemble up to date with a log."""
    tell = tell or (lambda done, what: None)
    rng = np.random.default_rng([ready.seed, 5])
    members = len(prior.scores)
    spare = first_spare = rng.standard_normal((members, SPARE_SCORES))
    state, kept = prior, 1.0
    states = first_states = _carry(ready, state)
    first = compared = _compare(ready, state, states)
    passes = PASSES if first.value.size else 0
    for number in range(passes):
        tell((number + 1.0) / (PASSES + 2.0), f"going through the log, pass {number + 1} of {PASSES}")
        state, spare, shrunk = _pass(state, spare, compared, passes, rng)
        kept *= shrunk**2
        states = _carry(ready, state)
        compared = _compare(ready, state, states)
    effective = members * kept
    return Learnt(
        ready=ready,
        prior=prior,
        posterior=state,
        prior_states=first_states,
        states=states,
        effective=effective,
        believed=ready.settled and effective >= max(8.0, FEWEST_EFFECTIVE * members),
        quantities=_quantities(
            ready,
            prior,
            state,
            float(np.percentile(spare.std(axis=0) / first_spare.std(axis=0), BY_CHANCE)),
        ),
        doubts=_doubts(ready, first, compared),
    )


def _carry(ready: ReadyLog, state: State) -> Array:
    """Faces (members, states, n) of all members through the log."""
    pairs = list(zip(state.before, state.conditions(ready.scenario), strict=True))
    return np.array(
        run_members(lambda pair: replay(ready.rig, ready.course, *pair), pairs, executor=ready.executor)
    )


def _compare(ready: ReadyLog, state: State, faces: Array) -> Compared:
    """The log against the faces (members, states, n) of an ensemble."""
    return compare(ready.looks, ready.rig.grid, ready.scenario.part, faces, state.dyes)


def _pass(
    state: State, spare: Array, compared: Compared, passes: int, rng: np.random.Generator
) -> tuple[State, Array, float]:
    """One pass: the ensemble moved towards the data, and by how much chance alone made spreads smaller."""
    members = len(state.scores)
    off = compared.predicted - compared.predicted.mean(axis=0)
    noise = np.sqrt(passes * compared.variance)
    # In units of the data's own error the matrix is well conditioned.
    a = off / noise
    draws = rng.standard_normal(a.shape)
    draws -= draws.mean(axis=0)
    miss = (compared.value - compared.predicted) / noise + draws
    weight = np.linalg.solve(a.T @ a / (members - 1) + np.eye(a.shape[1]), miss.T).T
    move = weight @ a.T / (members - 1)

    def moved(x: Array) -> Array:
        found: Array = x + move @ (x - x.mean(axis=0))
        return found

    after = moved(spare)
    shrunk = float(np.sqrt(np.mean(after.var(axis=0)) / np.mean(spare.var(axis=0))))
    give_back = 1.0 / min(shrunk, 1.0)

    def updated(x: Array) -> Array:
        y = moved(x)
        middle = y.mean(axis=0)
        found: Array = middle + give_back * (y - middle)
        return found

    found = State(
        np.clip(updated(state.scores), -CLIP, CLIP),
        np.clip(updated(state.plate_scores), -CLIP, CLIP),
        np.clip(updated(state.dye_scores), -CLIP, CLIP),
        updated(state.before),
    )
    return found, updated(spare), min(shrunk, 1.0)


def _doubts(ready: ReadyLog, first: Compared, last: Compared) -> tuple[Doubt, ...]:
    """Looks with a number beyond three standard errors, before or after learning."""
    found = []
    for place, look in enumerate(ready.looks):
        for compared, after in ((first, False), (last, True)):
            off = compared.off[compared.look == place]
            if off.size and off.max() > DOUBTED:
                found.append(Doubt(look.entry, _what(look, off), float(off.max()), after))
                break
    return tuple(found)


def _what(look: LogLook, off: Array) -> str:
    """Which number of a look is the worst."""
    if hasattr(look, "evidence"):
        line = look.evidence.origin[int(np.argmax(off))][0]
        entry_line = look.evidence.lines.lines[line]
        position = look.evidence.lines.position[look.evidence.point[int(np.argmax(off))]]
        return f"{entry_line.name} at {spoken.position(position)}"
    return look.words


def _unknowns(ready: ReadyLog) -> Iterator[tuple[int, str, Uncertain]]:
    """Column, name and spread of what is told of: what a scenario states or assumes, luck of papers used."""
    found = uncertain_of(ready.scenario)
    for grit in ready.course.papers:
        for what in luck_of(ready.scenario):
            name = f"{what} {grit.name}"
            found[name] = luck_as_known(ready.scenario, what, grit)
    for column, name in enumerate(SCORES):
        if name in found and found[name].law != "fixed" and name != "strokes_per_minute":
            yield column, name, found[name]


def _quantities(ready: ReadyLog, prior: State, posterior: State, by_chance: float) -> tuple[Quantity, ...]:
    """What became of the cut, of every unknown, and of the face."""
    cut = [cut_of(ready, state) for state in (prior, posterior)]
    found = [_positive("cut", cut[0], cut[1], by_chance)]
    for column, name, quantity in _unknowns(ready):
        scores = [state.scores[:, column] for state in (prior, posterior)]
        if not scores[0].std() > 0.0:
            continue
        old, new = (np.asarray(quantity.at(z)) for z in scores)
        middle = np.median(old), np.median(new)
        shift = middle[1] / middle[0] if quantity.law == "lognormal" else middle[1] - middle[0]
        ratio = float(scores[1].std() / scores[0].std())
        found.append(Quantity(name, Band.of(old), Band.of(new), ratio, float(shift), by_chance))
    found += _dye_quantities(ready, prior, posterior, by_chance)
    flat = [gauge.flatness(ready.gauged, s.before) for s in (prior, posterior)]
    if flat[0].std() < KNOWN:
        # A table taken as exact: there is nothing to learn about the face.
        return tuple(found)
    spread = float(flat[1].std() / flat[0].std())
    shift = float(np.median(flat[1]) / np.median(flat[0]))
    found.append(Quantity("face", Band.of(flat[0]), Band.of(flat[1]), spread, shift, by_chance))
    return tuple(found)


def _dye_quantities(ready: ReadyLog, prior: State, posterior: State, by_chance: float) -> list[Quantity]:
    """Depths at which dye fades and is gone on a face that the paper in use left [m], if it was looked at."""
    if not any(isinstance(look, DyeLook) for look in ready.looks):
        return []
    rough = roughness_dyed(ready.course.papers[-1], ready.scenario.part.metal, worked=True)
    depths = [
        np.array([(dye.faded_at(rough), dye.gone_at(rough)) for dye in state.dyes])
        for state in (prior, posterior)
    ]
    return [
        _positive(name, depths[0][:, k], depths[1][:, k], by_chance)
        for k, name in enumerate(("dye_faded", "dye_gone"))
    ]


def _positive(name: str, before: Array, after: Array, by_chance: float) -> Quantity:
    """What became of a positive quantity (members,), its spread that of its logarithm."""
    logs = np.log(before), np.log(after)
    spread = float(logs[1].std() / logs[0].std()) if logs[0].std() > 0.0 else 1.0
    shift = float(np.exp(np.median(logs[1]) - np.median(logs[0])))
    return Quantity(name, Band.of(before), Band.of(after), spread, shift, by_chance)


def cut_of(ready: ReadyLog, state: State) -> Array:
    """Depth (members,) that the first hundred strokes on a new sheet of the paper in use take off [m].

    It is rate, force and ageing together: what the paper does from stroke to stroke, nothing tells apart.
    """
    scenario, papers = ready.scenario, ready.course.papers
    grit = papers[-1] if papers else scenario.paper.start or scenario.paper.grits[0]
    return np.array([
        first_cut(scenario, ready.middle, c, grit) for c in state.conditions(scenario)
    ])  # fmt: skip

"""A search for the way of working with the best chance to end inside both limits.

The discrete choices (papers, turning, pattern) are tried on a few members first; from the best of
them a simplex search (Nelder & Mead 1965) moves the continuous knobs: press, height of the hands,
length of the stroke, strokes between turns.  All runs share their random numbers, so the search
sees no noise; what it finds is partly luck with those numbers, and so it is worked once more with
fresh ones, and that figure is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations, product

import numpy as np
from scipy.optimize import minimize

from handlap.sim.common.errors import HandlapError, InputError
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said
from handlap.sim.comparing.compare import TRIED
from handlap.sim.comparing.paired import Difference, MadeIt, chance_difference, difference
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.job.turning import SCHEDULES
from handlap.sim.job.ways import Way, apply_way, way_words
from handlap.sim.lapping.long_work import Quietly
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.crew import Crew, Progress, few_of, on_cells, open_crew, vary
from handlap.sim.planning.face_first import stop_at_face
from handlap.sim.planning.first_paper import choose_to_work
from handlap.sim.planning.foretold import foretell
from handlap.sim.planning.leg import inside_limits, measure
from handlap.sim.planning.work import Worked, lay_side_by_side, lay_steps, work_ways

SEARCH_MEMBERS = 24
KEPT = 3
"""Discrete choices from which the continuous search starts."""
SCREEN_SHARE = 0.5
"""Of the budget that the discrete choices may use."""
SOFT = 0.05
"""Width of the limits in the search, over the limits: a near miss is better than a far one [-]."""
EFFORT = 0.05
"""Twice the minutes are worth it to the search where they raise the chance by more than this."""
FRESH = 7919
"""Added to the seed for the check."""
SIMPLEX = 0.25


@dataclass(frozen=True)
class Bounds:
    """How far the knobs may go: as ratios to the scenario's own, and strokes between turns."""

    press: tuple[float, float] = (0.5, 2.0)
    height: tuple[float, float] = (0.4, 1.0)
    length: tuple[float, float] = (0.5, 1.5)
    every: tuple[float, float] = (5.0, 400.0)


@record()
class TriedWay:
    """How a way came out on some ensemble: chances [-] and bands [SI]."""

    chance: float = said(name="chance_all")
    chance_goal: float
    chance_allowance: float | None
    measured: Band = said("um")
    greatest_depth: Band = said("um")
    minutes: Band
    sheets: Band


@dataclass(frozen=True)
class Seen:
    """A way as the search saw it, on its own numbers, where lucky ones look better than they are.

    ``minutes``: middle [min]; ``chance``: to end inside all limits [-]; ``members``: on how many.
    """

    minutes: float
    chance: float
    members: int


@record()
class Improvement:
    """The answer of ``handlap improve``.

    Attributes
    ----------
    way, scenario : the best that was found, and the scenario worked so
    papers, papers_before : in the order of use
    selected : as the search saw it, on the numbers it chose by: too good by luck
    honest, before : on fresh random numbers, and the scenario as it stands on the same ones
    gain, minutes_gain : honest less before, member by member
    runs, budget : ensembles worked, and how many were allowed
    members : of the check; ``search_members`` of the search
    minutes_most, sheets_most : limits the search kept, None: none stated
    helps : whether the gain, in chance or else in minutes, is more than can be told from nothing
    """

    scenario_before: Scenario
    way: Way
    scenario: Scenario
    papers: tuple[str, ...]
    papers_before: tuple[str, ...]
    selected: TriedWay
    honest: TriedWay
    before: TriedWay
    gain: Difference
    minutes_gain: Difference
    runs: int
    budget: int
    members: int
    search_members: int
    seed: int
    minutes_most: float | None = said(name="most_minutes")
    sheets_most: int | None = said(name="most_sheets")
    helps: bool
    notes: tuple[str, ...]
    tried: tuple[Seen, ...] = ()
    """All that could be done of what the search tried, in its order."""


@dataclass(frozen=True)
class _WaySearch:
    crew: Crew
    stops: Array
    minutes_most: float | None
    executor: Executor | None


def _inside(search: _WaySearch, crew: Crew, done: Worked) -> MadeIt:
    """Who (members,) ends inside all limits, those of minutes and sheets included."""
    stock = crew.scenario.paper.sheets
    goal, kept = inside_limits(crew.scenario.part, done.outcome.figures)
    inside = goal & kept
    if search.minutes_most is not None:
        inside = inside & (done.outcome.effort.minutes <= search.minutes_most)
    if stock is not None:
        inside = inside & (done.outcome.effort.sheets <= stock)
    return inside.astype(bool)


def _seen(search: _WaySearch, crews: Sequence[Crew], done: Sequence[Worked | HandlapError]) -> list[Seen]:
    """What the search saw of the ways that can be done."""
    return [
        Seen(
            float(np.median(d.outcome.effort.minutes)),
            float(np.mean(_inside(search, crew, d))),
            d.outcome.effort.minutes.size,
        )
        for crew, d in zip(crews, done, strict=True)
        if isinstance(d, Worked)
    ]


def _score(search: _WaySearch, crew: Crew, done: Worked | HandlapError, usual: float) -> float:
    """What the search makes small: soft chance of failing, and a little for the minutes."""
    if not isinstance(done, Worked):
        return 10.0
    part, stock = crew.scenario.part, crew.scenario.paper.sheets
    held = [(measure(done.outcome.figures, part.limit_by), part.limit)]
    if part.allowance is not None:
        held.append((done.outcome.figures.greatest_depth, part.allowance))
    if search.minutes_most is not None:
        held.append((done.outcome.effort.minutes, search.minutes_most))
    if stock is not None:
        held.append((done.outcome.effort.sheets, stock + 0.5))
    soft = np.ones(len(done.outcome.effort.minutes))
    for value, limit in held:
        soft = soft / (1.0 + np.exp(np.clip((value - limit) / (SOFT * limit), -50.0, 50.0)))
    return 1.0 - float(soft.mean()) + EFFORT * float(np.log2(np.median(done.outcome.effort.minutes) / usual))


def _work(
    search: _WaySearch, ways: Sequence[Way], times: int = 1
) -> tuple[list[Crew], list[Worked | HandlapError]]:
    """Work ways on the search's members, all as far as those of the scenario as it stands go.

    ``times``: of as many runs to come, this one included, it is said beforehand how long they take.
    """
    crews = [vary(search.crew, apply_way(search.crew.scenario, way)) for way in ways]
    quiet = [replace(crew, tell=Quietly(None)) for crew in crews]
    steps = lay_side_by_side([partial(lay_steps, crew, 0, search.stops) for crew in quiet])
    return crews, work_ways(crews, steps, executor=search.executor, times=times)


def paper_choices(papers: Sequence[Grit]) -> list[tuple[Grit, ...]]:
    """Sequences of the papers on hand that end on the finest: the finish asks for it."""
    before, last = papers[:-1], papers[-1]
    found = [(*some, last) for n in range(len(before) + 1) for some in combinations(before, n)]
    return [tuple(choice) for choice in found]


def discrete_choices(scenario: Scenario, most: int, seed: int) -> list[Way]:
    """Ways that differ in papers, turning and pattern, evenly mixed, up to a greatest number of them."""
    searched = (name for name, pattern in PATTERNS.items() if pattern.searched)
    found = [
        Way("", papers=papers, turning=turning, pattern=pattern)
        for papers, turning, pattern in product(
            paper_choices(scenario.paper.grits),
            SCHEDULES,
            dict.fromkeys((scenario.strokes.pattern, *searched)),
        )
    ]
    if len(found) > most:
        pick = np.random.default_rng([seed, 13]).permutation(len(found))[:most]
        found = [found[i] for i in sorted(pick)]
    return found


def _knobs(scenario: Scenario, bounds: Bounds) -> tuple[list[str], Array, Array]:
    """Names of the knobs and their ranges in logarithms: ratios, and strokes between turns."""
    names = ["press", "length", "every"]
    if scenario.hands.height.value > 0.0:
        names.append("height")
    if scenario.hands.press.value <= 0.0:
        names.remove("press")
    span = np.log([getattr(bounds, name) for name in names])
    if scenario.strokes.length > 0.0:
        # The part is to stay on the plate.
        rim = scenario.part.outline.rim
        room = scenario.plate.length - float(np.ptp(rim[:, 0]))
        k = names.index("length")
        most = max(span[k, 0], np.log(max(room, 1e-3) / scenario.strokes.length))
        span[k, 1] = max(span[k, 0], min(span[k, 1], max(most, 0.0)))
    return names, span[:, 0], span[:, 1]


def _with_knobs(scenario: Scenario, way: Way, names: Sequence[str], at: Array) -> Way:
    values = dict(zip(names, np.exp(at), strict=True))
    found = replace(way, length=float(values["length"]) * scenario.strokes.length)
    if "press" in values:
        found = replace(found, press=float(values["press"]) * scenario.hands.press.value)
    if "height" in values:
        found = replace(found, height=float(values["height"]) * scenario.hands.height.value)
    if way.turning != "none":
        found = replace(found, every=max(1, round(float(values["every"]))))
    return found


def improve(
    scenario: Scenario,
    *,
    budget: int = 80,
    members: int = 64,
    minutes: float | None = None,
    seed: int = 0,
    bounds: Bounds | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Improvement:
    """Search for the way of working with the best chance.

    Parameters
    ----------
    budget : ensembles that may be worked in the search, discrete and continuous together
    members : of the check on fresh random numbers
    minutes : most minutes that may be spent, turns, brushing and paper included [min]

    Raises
    ------
    InputError : if nothing that was tried can be done
    FaceDecides : if the face is flat enough already, or the readings cannot tell
    """
    tell = progress or (lambda done, what: None)
    bounds = bounds or Bounds()
    tell(0.0, "inferring the face from the readings")
    crew = open_crew(scenario, members=SEARCH_MEMBERS, seed=seed, executor=executor, tell=Quietly(tell))
    stop_at_face(crew)
    crew, paper = choose_to_work(crew)
    picked = paper.taken
    search = _WaySearch(crew, picked.stops, minutes, executor)
    own = Way("as it stands", papers=scenario.paper.grits[picked.first :])
    few = replace(search, crew=few_of(crew, TRIED))
    ways = [own, *discrete_choices(scenario, max(1, int(SCREEN_SHARE * budget) - 1), seed)]
    tell(0.1, f"trying {len(ways)} choices of papers, turning and pattern")
    crews, done = _work(few, ways)
    able = [d for d in done if isinstance(d, Worked)]
    if not able:
        raise InputError(f"nothing that was tried can be done; the first: {done[0]}")
    usual = float(np.median(able[0].outcome.effort.minutes))
    scores = [_score(few, j, d, usual) for j, d in zip(crews, done, strict=True)]
    best = [ways[i] for i in np.argsort(scores, kind="stable")[:KEPT]]
    tried = _seen(few, crews, done)
    way, chosen, runs, more = _continuous(search, best, own, usual, budget, len(ways), bounds, tell)
    tell(0.85, "working the best again on fresh random numbers")
    found = _check(search, way, chosen, own, runs, budget, members, tell)
    return replace(found, tried=(*tried, *more))


def _continuous(
    search: _WaySearch, starts: Sequence[Way], own: Way, usual: float, budget: int, runs: int,
    bounds: Bounds, tell: Progress,
) -> tuple[Way, tuple[Crew, Worked | HandlapError], int, list[Seen]]:  # fmt: skip
    """Move the knobs from each start.

    Best way of all, the scenario's own included, and what came of it; runs; what was seen, in order.
    """
    scenario = search.crew.scenario
    names, low, high = _knobs(scenario, bounds)
    simplexes = [_simplex(search, start, names, low, high) for start in starts]
    known = _corners(search, own, starts, simplexes, names, budget - runs)
    best, best_score, best_done, seen = own, np.inf, known[own], list[Seen]()

    def look(way: Way) -> float:
        """The score of a way, worked now unless it was a corner; the best so far is kept."""
        nonlocal best, best_score, best_done, runs
        if way not in known:
            crews, done = _work(search, [way])
            known[way] = crews[0], done[0]
        crew, done_so = known.pop(way)
        runs += 1
        seen.extend(_seen(search, [crew], [done_so]))
        score = _score(search, crew, done_so, usual)
        if score < best_score:
            best, best_score, best_done = way, score, (crew, done_so)
        return score

    look(own)
    spent = runs
    for k, (start, simplex) in enumerate(zip(starts, simplexes, strict=True)):
        left = (budget - runs) // (len(starts) - k)
        if left < 1:
            break

        def value(x: Array, start: Way = start) -> float:
            if runs >= budget:
                return 10.0
            score = look(_with_knobs(scenario, start, names, np.clip(x, low, high)))
            tell(0.3 + 0.55 * (runs - spent) / max(1, budget - spent), f"run {runs} of {budget}")
            return score

        minimize(
            value, simplex[0], method="Nelder-Mead", bounds=list(zip(low, high, strict=True)),
            options={"maxfev": left, "initial_simplex": simplex, "xatol": 0.02, "fatol": 1e-4},
        )  # fmt: skip
    return best, best_done, runs, seen


def _simplex(search: _WaySearch, start: Way, names: Sequence[str], low: Array, high: Array) -> Array:
    """The simplex (knobs + 1, knobs) from which the knobs of a way are moved."""
    changed = apply_way(search.crew.scenario, start)
    every = choose_rhythm(changed, search.crew.middle, changed.paper.grits[0]).turn_every or 40
    middle = {"every": np.log(every)}
    at = np.clip([middle.get(name, 0.0) for name in names], low, high)
    return np.vstack([at, *(_step(at, i, low, high) for i in range(at.size))])


def _corners(
    search: _WaySearch, own: Way, starts: Sequence[Way], simplexes: Sequence[Array], names: Sequence[str],
    budget: int,
) -> dict[Way, tuple[Crew, Worked | HandlapError]]:  # fmt: skip
    """The scenario's own way and the corners that every search begins with, worked side by side.

    So that many workers have work at once; those that come after follow from one another.  No more than each
    search will look at in its share of the ``budget``.
    """
    share = (budget - 1) // max(1, len(starts))
    ways = [own]
    for start, simplex in zip(starts, simplexes, strict=True):
        ways += [_with_knobs(search.crew.scenario, start, names, at) for at in simplex[: max(0, share)]]
    ways = list(dict.fromkeys(ways))
    crews, done = _work(search, ways, max(1, budget))
    return dict(zip(ways, zip(crews, done, strict=True), strict=True))


def _step(at: Array, i: int, low: Array, high: Array) -> Array:
    """The point one step of the simplex away along a knob, inwards where it stands at its end."""
    found = at.copy()
    size = SIMPLEX * (high[i] - low[i])
    found[i] = at[i] + size if at[i] + size <= high[i] else at[i] - size
    return np.clip(found, low, high)


def _tried(search: _WaySearch, crew: Crew, done: Worked) -> TriedWay:
    part = crew.scenario.part
    ends = done.outcome.figures
    goal, kept = inside_limits(part, ends)
    cost = foretell(crew, done).effort
    return TriedWay(
        chance=float(np.mean(_inside(search, crew, done))),
        chance_goal=float(np.mean(goal)),
        chance_allowance=None if part.allowance is None else float(np.mean(kept)),
        minutes=Band.of(cost.minutes),
        measured=Band.of(measure(ends, part.limit_by)),
        greatest_depth=Band.of(ends.greatest_depth),
        sheets=Band.of(cost.sheets),
    )


def _check(
    search: _WaySearch, way: Way, seen: tuple[Crew, Worked | HandlapError], own: Way, runs: int, budget: int,
    members: int, tell: Progress,
) -> Improvement:  # fmt: skip
    """Work the way found and the scenario as it stands on fresh random numbers; ``seen``: what the search saw
    of it."""
    old = search.crew
    scenario = old.scenario
    crew, chosen = seen
    if not isinstance(chosen, Worked):
        raise chosen
    selected = _tried(search, crew, chosen)
    drawn = open_crew(
        scenario, members=members, seed=old.seed + FRESH, executor=search.executor, tell=old.tell
    )
    # As exactly as in the search.
    fresh = replace(search, crew=replace(on_cells(drawn, old.cells), cells_err=old.cells_err))
    crews, both = _work(fresh, [own, way])
    done = [d for d in both if isinstance(d, Worked)]
    if len(done) < len(both):
        fault = next(d for d in both if not isinstance(d, Worked))
        raise InputError(f"on fresh random numbers it cannot be done: {fault}")
    inside = [_inside(fresh, c, d) for c, d in zip(crews, done, strict=True)]
    gain = chance_difference(inside[0], inside[1])
    minutes_gain = difference(done[0].outcome.effort.minutes, done[1].outcome.effort.minutes)
    worse = gain.size == "clear" and gain.mean < 0.0
    quicker = minutes_gain.size != "cannot tell" and minutes_gain.mean < 0.0
    tell(1.0, "done")
    named = way if way.name else replace(way, name=way_words(way))
    return Improvement(
        scenario_before=scenario,
        way=named,
        scenario=crews[1].scenario,
        papers=tuple(grit.name for grit in crews[1].scenario.paper.grits),
        papers_before=tuple(grit.name for grit in crews[0].scenario.paper.grits),
        selected=selected,
        honest=_tried(fresh, crews[1], done[1]),
        before=_tried(fresh, crews[0], done[0]),
        gain=gain,
        minutes_gain=minutes_gain,
        runs=runs,
        budget=budget,
        members=members,
        search_members=old.members.count,
        seed=old.seed,
        minutes_most=search.minutes_most,
        sheets_most=scenario.paper.sheets,
        helps=not worse and way != own and ((gain.size == "clear" and gain.mean > 0.0) or quicker),
        notes=tuple(old.faces.notes),
    )

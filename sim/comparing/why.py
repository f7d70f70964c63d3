"""What makes the final error: contributions of the causes, and the changes that would help most."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said
from handlap.sim.comparing.causes import (
    COMPONENTS,
    START,
    Lapped,
    active_causes,
    lap_variants,
    legs_for,
    only,
    stages_for,
    stages_of,
    without,
)
from handlap.sim.comparing.paired import Difference, difference
from handlap.sim.job.results import Band, Errors
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.ways import Way, apply_way, moved
from handlap.sim.lapping.long_work import Quietly
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.materials import grits
from handlap.sim.materials.paper_law import EDGE_RISE
from handlap.sim.planning.crew import Crew, Progress, open_crew, vary
from handlap.sim.planning.face_first import stop_at_face
from handlap.sim.planning.fineness import PLANNED
from handlap.sim.planning.first_paper import choose_to_work
from handlap.sim.planning.typical import measure_errors

MEASURED = COMPONENTS.index("measured")


@record()
class CauseResult:
    """One cause: what it adds to each component, alone and on top of all others [m].

    ``picture``: face with all causes less face without this one, mean over the members (n,) [m].
    """

    name: str
    alone: dict[str, Band] = said("um")
    on_top: dict[str, Band] = said("um", "on_top_of_the_others")
    picture: Array


@dataclass(frozen=True)
class Change:
    """A change that was tried: what the measured figure is with it less without it [m]."""

    name: str
    cause: str
    gain: Difference
    before: Band
    after: Band


@record()
class Why:
    """The answer of ``handlap why``.

    ``total``: the components with all causes at work; ``leftover``: total less the sum of the causes
    alone, which is what they do to one another [m].
    """

    scenario: Scenario
    members: int
    seed: int
    papers: tuple[str, ...]
    strokes: int
    mean_depth: Band = said("um")
    total: dict[str, Band] = said("um")
    causes: tuple[CauseResult, ...]
    leftover: dict[str, Band] = said("um", "left_over")
    changes: tuple[Change, ...]
    """All that were tried, best first."""
    grid: Grid
    picture: Array
    """The face with all causes at work, mean over the members (n,) [m]."""
    errors: Errors
    notes: tuple[str, ...]


def _bands(values: Array) -> dict[str, Band]:
    """Bands of components (members, 6), by name."""
    return {name: Band.of(values[:, k]) for k, name in enumerate(COMPONENTS)}


def _components(laps: Sequence[Lapped]) -> Array:
    return np.array([lap.components for lap in laps])


def _faces(laps: Sequence[Lapped]) -> Array:
    return np.array([lap.face for lap in laps], dtype=float)


def find_causes(
    scenario: Scenario,
    *,
    members: int = 32,
    seed: int = 0,
    executor: Executor | None = None,
    progress: Progress | None = None,
    strokes: int | None = None,
) -> Why:
    """Find what makes the final error of a crew.

    Parameters
    ----------
    members : faces, each with its own hands, paper and metal, the same for every set of causes
    strokes : on the first paper; None: where half of the faces would stop
    """
    tell = progress or (lambda done, what: None)
    tell(0.0, "inferring the face from the readings")
    crew = open_crew(scenario, members=members, seed=seed, executor=executor, tell=Quietly(tell))
    stop_at_face(crew, leave=False)
    tell(0.1, "working the job as it stands")
    crew, paper = choose_to_work(crew)
    picked = paper.taken
    strokes = strokes or picked.worked.middle_stop
    legs = legs_for(crew, picked.first, strokes)
    stages, steps = stages_of(legs), picked.worked.steps
    (base,) = lap_variants(crew, [(scenario, False, stages)], None, executor=executor, like=steps)
    depths = np.array([lap.mean_depth for lap in base])
    names = active_causes(scenario)
    variants = [(without(scenario, [name]), name == START, stages) for name in names]
    variants += [(*only(scenario, name), stages) for name in names]
    variants += [(*only(scenario, None), stages)]
    laps = lap_variants(
        crew, variants, depths, executor=executor, like=steps,
        finished=lambda share: tell(0.2 + 0.5 * share, f"switching {len(names)} causes off and on"),
    )  # fmt: skip
    total, none = _components(base), _components(laps[-1])
    alone = [_components(rows) - none for rows in laps[len(names) : -1]]
    tell(0.7, "trying changes")
    changes = _try_changes(crew, picked.first, strokes, names, total, executor)
    tell(0.95, "measuring the error of the grid")
    # By the rows of these laps, not by the longer ones of the trial.
    errors = measure_errors(crew, replace(picked.worked, steps=replace(steps, legs=legs)))
    tell(1.0, "done")
    return Why(
        scenario=scenario,
        members=members,
        seed=seed,
        papers=tuple(stage.grit.name for stage, _ in stages),
        strokes=strokes,
        mean_depth=Band.of(depths),
        total=_bands(total),
        causes=tuple(
            CauseResult(
                name,
                _bands(alone[k]),
                _bands(total - _components(laps[k])),
                np.mean(_faces(base) - _faces(laps[k]), axis=0),
            )
            for k, name in enumerate(names)
        ),
        leftover=_bands(total - none - np.sum(alone, axis=0)),
        changes=changes,
        grid=crew.rig.grid,
        picture=_faces(base).mean(axis=0),
        errors=errors,
        notes=tuple(crew.faces.notes),
    )


def _steadier(scenario: Scenario, *names: str) -> Scenario:
    """Half of what these quantities of the hands are."""
    hands = scenario.hands
    halved = {}
    for name in names:
        quantity = getattr(hands, name)
        middle = 0.5 * quantity.value
        spread = replace(quantity, low=0.5 * quantity.low, high=0.5 * quantity.high, value=middle)
        halved[name] = spread
    return replace(scenario, hands=replace(hands, **halved))


def _changes(
    crew: Crew, first: int, strokes: int, names: Sequence[str], total: Array
) -> list[tuple[str, str, Scenario, int]]:
    """Changes worth trying: what to do, the cause it meets, the scenario then, strokes then."""
    scenario = crew.scenario
    hands, turning, paper = scenario.hands, scenario.turning, scenario.paper
    rhythm = choose_rhythm(scenario, crew.middle, paper.grits[first])
    found: list[tuple[str, str, Scenario, int]] = [
        ("half as many strokes again", START, scenario, strokes + strokes // 2),
        ("half the press", "spring-back" if "spring-back" in names else "wobble",
         apply_way(scenario, Way("", press=hands.press.value / 2)), strokes),
    ]  # fmt: skip
    if hands.height.value > 0.0:
        found.append(
            (
                "hands half as high",
                "high hands",
                apply_way(scenario, Way("", height=hands.height.value / 2)),
                strokes,
            )
        )
    if "wobble" in names:
        found.append(
            ("hands twice as steady", "wobble", _steadier(scenario, "wobble_along", "wobble_across"), strokes)
        )
    if "bias" in names:
        found.append(
            (
                "press twice as near to the middle",
                "bias",
                _steadier(scenario, "bias_along", "bias_across"),
                strokes,
            )
        )
    if len(turning.states) < 2:
        found.append(("half turns", "bias", apply_way(scenario, Way("", turning="half")), strokes))
    elif rhythm.turn_every > 1:
        every = max(1, rhythm.turn_every // 2)
        found.append(
            (
                "turning twice as often",
                "bias",
                replace(scenario, turning=replace(turning, every=every)),
                strokes,
            )
        )
    if "push and pull" in names:
        even = replace(hands, push_over_pull=moved(hands.push_over_pull, 1.0))
        found.append(("push no heavier than pull", "push and pull", replace(scenario, hands=even), strokes))
    if "paper ageing" in names:
        brush, sheet = max(1, rhythm.brush_every // 2), max(1, rhythm.sheet_every // 2)
        more = replace(paper, brush_every=brush, sheet_every=max(brush, brush * (sheet // brush)))
        found.append(
            ("brush and change sheets twice as often", "paper ageing", replace(scenario, paper=more), strokes)
        )
    if "leading edge" in names and paper.laid == "loose":
        wear = scenario.wear
        rise = replace(moved(wear.edge_rise, EDGE_RISE["glued"]), key=wear.edge_rise.key)
        glued = replace(scenario, paper=replace(paper, laid="glued"), wear=replace(wear, edge_rise=rise))
        found.append(("paper glued down all over", "leading edge", glued, strokes))
    if "plate" in names:
        found.append(("a true plate", "plate", without(scenario, ["plate"]), strokes))
    if "overhang and seams" in names:
        found.append(
            (
                "one sheet that reaches beyond the part",
                "overhang and seams",
                without(scenario, ["overhang and seams"]),
                strokes,
            )
        )
    finer = [g for g in grits.GRITS.values() if g.diameter < 0.75 * paper.grits[-1].diameter]
    if finer and scenario.wear.bedding_length is None:
        # Its strokes take warp off too, which is most of its gain while there is much of it left.
        cause = START if np.median(total[:, 0]) < 0.0 or "high hands" not in names else "high hands"
        found.append(
            (
                f"finish on {finer[0].name}",
                cause,
                replace(scenario, paper=replace(paper, grits=(*paper.grits, finer[0]))),
                strokes,
            )
        )
    return found


def _try_changes(
    crew: Crew, first: int, strokes: int, names: Sequence[str], total: Array, executor: Executor | None
) -> tuple[Change, ...]:
    """Try every change with as many strokes as before (but for more strokes), best first."""
    listed = _changes(crew, first, strokes, names, total)
    variants = []
    for _, _, scenario, count in listed:
        variants.append((scenario, False, stages_for(vary(crew, scenario), first, count)))
    laps = lap_variants(crew, variants, None, executor=executor)
    before = total[:, MEASURED]
    found = []
    for (name, cause, _, _), rows in zip(listed, laps, strict=True):
        after = _components(rows)[:, MEASURED]
        found.append(
            Change(name, cause, difference(before, after, PLANNED.tolerance), Band.of(before), Band.of(after))
        )
    return tuple(sorted(found, key=lambda change: change.gain.mean))

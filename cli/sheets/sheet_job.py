"""What a job sheet says, for print, for the browser and for the terminal alike."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from handlap.cli.reports.checks_report import dye_cells
from handlap.cli.reports.plan_report import ANSWERS, answer_words
from handlap.cli.reports.quantity import chance, counted, quantity, share
from handlap.cli.reports.wording import (
    TURNS,
    dye_signs,
    roughness,
    sentence,
    subject,
    wanted_words,
)
from handlap.cli.sheets.sheet_face import MOST_SKETCHES
from handlap.cli.sheets.sheet_stop_rules import stop_rules
from handlap.sim.bench.bench_blocks import (
    PaperStage,
    StopMarks,
    WorkBlock,
    dye_raster,
    leaf_band,
    paper_stages,
    station_gaps,
    stop_marks,
    worst_stations,
)
from handlap.sim.common.outline import Array
from handlap.sim.common.spoken import (
    distance,
    length_unit,
    on_rule,
    per_swarf,
)
from handlap.sim.common.units import System, leaf_number
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.job.overhang import overhang_of, overhang_words
from handlap.sim.job.results import Plan
from handlap.sim.job.scenario import Scenario, TurnState

LAP = ANSWERS["lap"][0]
MOST_ROWS = 18
"""Blocks of all stages on a sheet; of more, some are left out between the first and the last."""
MOST_DYE = 6
LEAST_MARK = 0.1
"""Chance that dye is left from which a mark is drawn [-]."""
DOTS = 22
"""Dots of a dye picture along the part."""
LEAVES: dict[System, tuple[float, ...]] = {
    "mm": tuple(1e-6 * x for x in (30, 40, 50, 60, 80, 100, 150, 200, 250, 300)),
    "inch": tuple(25.4e-6 * x for x in (1.5, 2, 3, 4, 5, 6, 8, 10, 12, 15)),
}
"""A common set, where the scenario names none (common practice) [m]."""


def dye_words() -> str:
    """What the pictures of the dye say."""
    return (
        "A big mark: dye put on at the check before is still there; small: it may be; none: gone. A dot: "
        f"full, as it was put on; a ring: fading. {dye_signs()} A picture that looks quite other is a reason "
        "to read the face."
    )


@dataclass(frozen=True)
class SheetRow:
    """One block as it is printed, and what lies behind it."""

    block: WorkBlock
    strokes: str
    turn: str
    care: str
    grams: str
    faded: str
    gone: str
    leaf: str
    goal: str
    worse: str


@dataclass(frozen=True)
class SheetStage:
    """One paper as it is printed."""

    stage: PaperStage
    title: str
    facts: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    left_out: int


@dataclass(frozen=True)
class DyeMarks:
    """The dye at a check: chance (rows, columns), from near to far and NaN off the metal, that it is left,
    and that it is full."""

    title: str
    left: Array
    full: Array

    def marks(self) -> Iterator[tuple[int, int, float, bool]]:
        """Row, column and size of each mark, 0 to 1, and whether it is a ring: of what is left, more likely
        fading than full."""
        for (j, i), left in np.ndenumerate(self.left):
            if math.isfinite(left) and left >= LEAST_MARK:
                yield j, i, math.sqrt(left), bool(self.full[j, i] < 0.5 * left)


@dataclass(frozen=True)
class JobSheet:
    """A job sheet."""

    answer: str
    subject: str
    wanted: str
    reasons: tuple[str, ...]
    first: tuple[str, ...]
    stages: tuple[SheetStage, ...]
    where: str
    """At which stations the leaves are tried first."""
    stations: tuple[tuple[str, ...], tuple[str, ...]]
    """The worst stations before and after the work."""
    dye: tuple[DyeMarks, ...]
    stop: tuple[tuple[str, str], ...]
    marks: StopMarks
    cautions: tuple[str, ...]
    leaf_unit: str
    lines: tuple[MeasuringLine, ...]
    deepest: tuple[float, float] | None
    """Where most comes off (u, v) [m]; None: nothing is to come off."""
    turns: tuple[TurnState, ...]
    """The round of turns; empty where the part is never turned."""
    direction: float
    """Of the strokes from the part's long axis in the first state [rad]."""

    @property
    def marked(self) -> tuple[str, ...]:
        """Stations at which leaves are tried first, at the start or at the end."""
        return tuple(dict.fromkeys(self.stations[0] + self.stations[1])) if self.stages else ()


def job_sheet_of(plan: Plan, lines: Sequence[MeasuringLine], system: System) -> JobSheet:
    """The sheet of a plan.

    Parameters
    ----------
    lines : the lines of the measuring sheet, whose stations are named
    system : units of the scenario
    """
    part = plan.scenario.part
    works = plan.verdict.answer != "leave"
    stages = paper_stages(plan) if works else ()
    marks = stop_marks(plan)
    leaves = plan.scenario.readings.leaves or LEAVES[system]
    ranked = [
        worst_stations(station_gaps(part.outline, lines, plan.grid, heights))
        for heights in (plan.map_before, plan.map_after)
    ]
    return JobSheet(
        answer=answer_words(plan)[0],
        subject=subject(plan.scenario),
        wanted=wanted_words(part),
        reasons=tuple(
            sentence(r)
            for r in (
                *plan.verdict.reasons,
                *(f"to find out: {w}" for w in plan.verdict.to_find_out),
            )
        ),
        first=_first(plan) if stages else (),
        stages=_stages(plan, stages, leaves),
        where=_where(ranked, lines) if stages else "",
        stations=(ranked[0], ranked[1]),
        dye=_dye(plan, stages),
        stop=stop_rules(plan, marks, leaves, system) if stages else (),
        marks=marks,
        cautions=plan.cautions,
        leaf_unit=plan.scenario.leaf_unit,
        lines=tuple(lines),
        deepest=plan.removed.greatest_at if stages else None,
        turns=_round_of(plan.scenario, stages),
        direction=plan.scenario.strokes.direction,
    )


def _round_of(scenario: Scenario, stages: Sequence[PaperStage]) -> tuple[TurnState, ...]:
    """The states the part goes through, where a paper of the plan is turned on."""
    turned = any(stage.plan.turn_every for stage in stages)
    states = scenario.turning.states
    return states if turned and len(states) > 1 else ()


FACE_WORDS = (
    "Lines and stations as on the measuring sheet; ringed: where leaves are tried first; cross: where most "
    "comes off."
)
FACE_TITLE = "The face as it is measured"
TURN_TITLE = "Turn by turn, from above"


def turn_words(states: Sequence[TurnState]) -> str:
    """How the sketches of the turns are read."""
    count = len(states)
    more = f" of {count}" if count > MOST_SKETCHES else ""
    return (
        f"At each turn go on to the next; after {count}{more and ' in all'} comes 1 again. Dot: one end of "
        "the part, marked. Arrow: you, and the way you push."
    )


WRITE_IN = ("Part no.", "Date", "By")
"""What is written in at the head of a sheet."""
FOUND = ("{off}", "leaf", "dye")
"""What is written in beside each row, as it was found."""


def _first(plan: Plan) -> tuple[str, ...]:
    strokes, wet = plan.scenario.strokes, plan.scenario.paper.wet
    turns = {s.turning for s in plan.stages if s.strokes and s.turn_every}
    words = [
        f"A stroke is there and back, {distance(strokes.length)} each way, {strokes.pattern}; about "
        f"{plan.scenario.hands.strokes_per_minute.value:.0f} a minute. Paper {'wet' if wet else 'dry'}.",
        "Hands low and over the middle. Count strokes on from sheet to sheet; the count starts anew with "
        "each paper.",
        "At a check: clean the part, look at the dye, lay the straightedge on all lines, weigh what came "
        "off, write it down, dye the face again.",
    ]
    words += [f"Turning: {TURNS.get(name, name)}." for name in sorted(turns)]
    over = overhang_of(plan.scenario)
    if over:
        words.append(sentence(overhang_words(over, plan.scenario.paper.strips, plan.scenario.system)))
    return tuple(words)


def _stages(plan: Plan, stages: Sequence[PaperStage], leaves: Sequence[float]) -> tuple[SheetStage, ...]:
    total = sum(len(s.blocks) for s in stages)
    found = []
    for i, stage in enumerate(stages, 1):
        share_of_rows = max(3, math.floor(MOST_ROWS * len(stage.blocks) / max(1, total)))
        blocks, left_out = _kept(stage.blocks, share_of_rows if total > MOST_ROWS else total)
        p = stage.plan
        facts = [p.purpose.rstrip(".") + "."] if p.purpose else []
        facts.append(
            f"{p.strokes} strokes planned; turn {_every(p.turn_every)}, brush {_every(p.brush_every)}, new "
            f"sheet {_every(p.sheet_every)}; {counted(p.sheets, 'sheet')}; leaves {roughness(p.roughness)}."
        )
        rows = tuple(_row(b, leaves, plan.scenario.leaf_unit, p.brush_every) for b in blocks)
        found.append(SheetStage(stage, f"{i}. {p.paper}", tuple(sentence(f) for f in facts), rows, left_out))
    return tuple(found)


def _kept(blocks: tuple[WorkBlock, ...], most: int) -> tuple[tuple[WorkBlock, ...], int]:
    """The first blocks, the last planned one and the very last, where not all have room."""
    if len(blocks) <= most:
        return blocks, 0
    planned = [b for b in blocks if not b.spare]
    spare = [b for b in blocks if b.spare]
    room = max(1, min(len(planned), most - min(len(spare), max(1, most // 4))))
    kept = _spread(planned, room) + _spread(spare, max(0, most - room))
    return _joined(blocks, kept), len(blocks) - len(kept)


def _joined(blocks: tuple[WorkBlock, ...], kept: list[WorkBlock]) -> tuple[WorkBlock, ...]:
    """The kept blocks, each with what falls due since the one kept before it."""
    joined = []
    before = 0
    for block in kept:
        run = [b for b in blocks if before < b.last <= block.last]
        joined.append(
            replace(
                block,
                first=run[0].first,
                turns=tuple(at for b in run for at in b.turns),
                brushings=tuple(at for b in run for at in b.brushings),
                sheets=tuple(at for b in run for at in b.sheets),
            )
        )
        before = block.last
    return tuple(joined)


def _spread(blocks: list[WorkBlock], most: int) -> list[WorkBlock]:
    if len(blocks) <= most:
        return blocks
    if most <= 1:
        return blocks[-1:] if most else []
    step = (len(blocks) - 1) / (most - 1)
    return [blocks[i] for i in sorted({round(k * step) for k in range(most)})]


def _every(strokes: int) -> str:
    return f"every {strokes}" if strokes else "never"


def _marks(at: Sequence[int]) -> str:
    """Strokes at which something falls due, as few characters as tell it."""
    if len(at) > 3:
        return f"{at[0]}, {at[1]} … {at[-1]}"
    return ", ".join(map(str, at)) or "–"


def _row(block: WorkBlock, leaves: Sequence[float], leaf_unit: str, brush_every: int) -> SheetRow:
    check = block.check
    # A sheet that is about to be thrown away is not brushed.
    brushings = [at for at in block.brushings if at not in block.sheets]
    care = [f"SHEET {_marks(block.sheets)}"] if block.sheets else []
    if brushings:
        often = f"every {brush_every}" if len(brushings) > 1 else _marks(brushings)
        care.append(f"brush {often}")
    worse = "" if check.worse_next is None else _short(check.worse_next)
    faded, gone = dye_cells(check)
    return SheetRow(
        block=block,
        strokes=f"({block.last})" if block.spare else f"{block.last}",
        turn=_marks(block.turns),
        care=", ".join(care) or "–",
        grams=quantity(check.mass.scaled(per_swarf())),
        faded=faded,
        gone=gone,
        leaf=_leaf(leaf_band(check.straightedge, leaves), leaf_unit),
        goal=_short(check.reached),
        worse=worse or "–",
    )


def _short(value: float) -> str:
    """A chance in per cent for a narrow column."""
    return chance(value).removesuffix(" %").replace("over ", ">").replace("under ", "<")


def _leaf(band: tuple[float, float, float], unit_of_leaves: str) -> str:
    """The thickest leaf expected to go, with its range; 0 for none."""
    low, middle, high = (leaf_number(leaf, unit_of_leaves) for leaf in band)
    return middle if low == high else f"{middle} ({low}–{high})"


def _where(ranked: Sequence[tuple[str, ...]], lines: Sequence[MeasuringLine]) -> str:
    before, after = (_spots(labels, lines) for labels in ranked)
    when = (
        f"{before}, at the start as at the end"
        if before == after
        else f"{before} at the start and at {after} at the end"
    )
    return (
        f"Leaves go thickest, on the likeliest face, at {when}: try those first, and all stations of all "
        "lines before the goal counts as met. Leaf 0: none goes."
    )


def _spots(labels: Sequence[str], lines: Sequence[MeasuringLine]) -> str:
    words = []
    for label in labels:
        name = label.rstrip("0123456789")
        line = next(line for line in lines if line.letter == name)
        at = line.at[int(label[len(name) :]) - 1]
        words.append(f"{label} ({line.name}, {on_rule(at)} {length_unit()})")
    return ", ".join(words)


def _dye(plan: Plan, stages: Sequence[PaperStage]) -> tuple[DyeMarks, ...]:
    blocks = [(s.plan.paper, b) for s in stages for b in s.blocks if not b.spare]
    n = len(blocks)
    if n > MOST_DYE:
        step = (n - 1) / (MOST_DYE - 1)
        blocks = [blocks[round(i * step)] for i in range(MOST_DYE)]
    outline = plan.scenario.part.outline
    return tuple(
        DyeMarks(
            f"{paper}, {block.last}: {share(block.check.dye_faded.p50)} fading or gone, "
            f"{share(block.check.dye_left.rest.p50)} gone",
            *(
                dye_raster(outline, plan.grid, np.asarray(chance), DOTS)
                for chance in (block.check.dye_gone_map, block.check.dye_faded_map)
            ),
        )
        for paper, block in blocks
    )

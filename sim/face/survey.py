"""The survey of a face: shape, flatness, map, contradictions, limit, with their uncertainty.

Signs: height positive = proud.  A bow is positive where the middle is proud of the ends
(crowned) and negative where it is hollow.  A twist is positive where the corners (+u, +v) and
(−u, −v) are proud.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from handlap.sim.common import spoken
from handlap.sim.common.chance import percent
from handlap.sim.common.grid import Grid, make_grid
from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said
from handlap.sim.face.face_ensemble import FaceEnsemble, infer_from_lines, infer_from_table, infer_from_worst
from handlap.sim.face.face_numbers import (
    BY_LEAVES,
    FaceBands,
    FaceNumbers,
    Stretch,
    Word,
    face_bands,
    face_numbers,
    name_shapes,
    stretch_of,
    widened,
)
from handlap.sim.face.flatness import least_squares_peak_to_valley, minimum_zone
from handlap.sim.face.height_survey import merge_repeats
from handlap.sim.face.next_line import NextLine, best_next_line
from handlap.sim.face.straightedge import sample_lines
from handlap.sim.face.survey_sampler import DOUBTED, Evidence, outlier_chance
from handlap.sim.face.told import Untold, too_thick, untold
from handlap.sim.job.scenario import HeightTable, LimitBy, Part, Readings, Scenario

CELLS = 1500
WHOLE_FACE = "over the whole face (minimum zone)"
SURE = 0.9
"""A limit is met, or missed, when the chance is at least this; otherwise: cannot tell [-]."""
SHAPELESS = 3e-6
"""A face surely flatter than this has no shape worth a word [m]."""
WORD_CHANCE = 0.6
"""A word is used when this share of the faces bears it out; otherwise: cannot tell [-]."""

LimitAnswer = Literal["yes", "no", "cannot tell"]
WORDS: tuple[Word, ...] = ("hollow", "crowned", "twisted", "mixed")


@dataclass(frozen=True)
class Shape:
    """The shape in a word.

    ``word`` is "cannot tell" unless one has a chance of six tenths; ``chances`` gives the share
    of the faces that are hollow, crowned, twisted, mixed; ``words`` is a sentence with signs.
    """

    word: Word
    chance: float
    chances: dict[str, float]
    words: str


@record()
class Contradiction:
    """A reading that does not fit the others."""

    line: str
    at: float = said("mm")
    goes: float = said("um")
    stops: float = said("um")
    chance: float
    """Chance that it is plainly wrong [-]."""
    words: str


@dataclass(frozen=True)
class LimitVerdict:
    """Whether the face meets its limit in the sense of ``limit_by``.

    ``chance`` is that of meeting it; ``zone_chance`` and ``straightedge_chance`` by either sense.
    ``goes_by`` says which figure of the face the answer was drawn from.
    """

    answer: LimitAnswer
    limit: float
    limit_by: LimitBy
    chance: float
    zone_chance: float
    straightedge_chance: float
    goes_by: str
    reason: str
    to_find_out: tuple[str, ...] = ()
    """What would tell, where the readings themselves cannot."""


@dataclass(frozen=True)
class TableNumbers:
    """What a table of heights says at its own points, no model in between [m].

    ``points``: distinct points; repeats are averaged.
    """

    points: int
    minimum_zone: float
    peak_to_valley: float


@dataclass(frozen=True)
class Survey:
    """Everything the survey of one face shows.

    Attributes
    ----------
    ensemble : faces that fit the readings
    numbers, bands : their figures, raw, and as widened bands
    shape : the shape in words
    grid : points of the maps; the cells come first
    mean_map, sd_map : mean and standard deviation (n,) of the height at the grid's points, each
        face's own best plane taken off [m]
    contradictions : readings that do not fit, most doubtful first
    next_line : the most telling extra line; None for tables and small ensembles
    verdict : whether the limit is met
    table : figures at the measured points; None for lines
    notes : what the user should know, in plain words
    """

    ensemble: FaceEnsemble
    numbers: FaceNumbers
    bands: FaceBands
    shape: Shape
    grid: Grid
    mean_map: Array
    sd_map: Array
    contradictions: tuple[Contradiction, ...]
    next_line: NextLine | None
    verdict: LimitVerdict
    table: TableNumbers | None
    notes: tuple[str, ...]


def _signed_words(value: float, up: str, down: str) -> str:
    return f"{spoken.height(abs(value))} {up if value > 0.0 else down}"


def _shape(numbers: FaceNumbers, bands: FaceBands) -> Shape:
    words = name_shapes(numbers.bow_along, numbers.bow_across, numbers.twist)
    chances: dict[str, float] = {word: words.count(word) / len(words) for word in WORDS}
    best = max(WORDS, key=lambda word: chances[word])
    chance = chances[best]
    word: Word = best if chance >= WORD_CHANCE else "cannot tell"
    parts = [
        _signed_words(bands.bow_along.p50, "crowned", "hollow") + " along",
        _signed_words(bands.bow_across.p50, "crowned", "hollow") + " across",
        f"twist {spoken.height(abs(bands.twist.p50))}, "
        + ("right far and left near" if bands.twist.p50 > 0.0 else "left far and right near")
        + " corners proud",
    ]
    if bands.flatness.p95 < SHAPELESS:
        flat = f"cannot tell: flat to within {spoken.height(SHAPELESS)}, too little to have a shape"
        return Shape("cannot tell", chance, chances, flat)
    start = f"{word} ({percent(chance)} sure)"
    if word == "cannot tell":
        start = f"cannot tell (most likely {best}, {percent(chance)})"
    return Shape(word, chance, chances, f"{start}: {'; '.join(parts)}")


def _answer(chance: float) -> LimitAnswer:
    if chance >= SURE:
        return "yes"
    return "no" if chance <= 1.0 - SURE else "cannot tell"


def limit_verdict(
    numbers: FaceNumbers,
    limit: float,
    limit_by: LimitBy,
    *,
    doubt: Untold | None = None,
    stretch: Stretch = BY_LEAVES,
    points: int = 0,
) -> LimitVerdict:
    """Whether faces meet a limit, in its own sense.

    Yes or no takes a chance of nine tenths.  Where minimum zone and straightedge answer yes
    and no, the answer is "cannot tell" whichever the limit means: the two senses part on
    twisted faces, and limits are rarely written with that in mind.

    Parameters
    ----------
    numbers : figures of the faces
    limit : the limit [m]
    limit_by : "zone" or "straightedge"
    doubt : why the readings behind the faces cannot tell, whatever the faces say
    stretch : by what the spread is stretched, as for bands
    points : measured points of a table of heights; 0: there is none
    """
    zone = float(np.mean(widened(numbers.flatness, stretch.up, stretch.down) <= limit))
    edge = float(np.mean(widened(numbers.straightedge, stretch.up, stretch.down) <= limit))
    chance = zone if limit_by == "zone" else edge
    answer = _answer(chance)
    sense = WHOLE_FACE if limit_by == "zone" else "as the straightedge reads it"
    micron = f"{spoken.height(limit)}"
    if doubt is not None:
        answer, reason = "cannot tell", doubt.reason
    elif {_answer(zone), _answer(edge)} == {"yes", "no"}:
        answer = "cannot tell"
        reason = (
            f"whole face and straightedge disagree on {micron}: met with a chance of {percent(zone)} "
            f"{WHOLE_FACE}, {percent(edge)} as the straightedge reads it. A straightedge shows a twist at "
            "half its size or less: find out which of the two the limit means"
        )
    elif answer == "yes":
        reason = f"{sense}, {percent(chance)} of the faces that fit the readings are within {micron}"
    elif answer == "no":
        reason = f"{sense}, {percent(1.0 - chance)} of the faces that fit the readings are beyond {micron}"
    else:
        reason = (
            f"{sense}, the chance of being within {micron} is {percent(chance)}: "
            "between one in ten and nine in ten is too close to call"
        )
    goes_by = "the face as the straightedge lines leave it possible"
    if points:
        goes_by = f"the face as it may be between the points, not the {points} points alone"
        reason += f". This goes by {goes_by}"
    remedy = () if doubt is None else doubt.to_find_out
    return LimitVerdict(answer, limit, limit_by, chance, zone, edge, goes_by, reason, remedy)


def _judge(
    part: Part, ensemble: FaceEnsemble, numbers: FaceNumbers, stretch: Stretch, points: int
) -> LimitVerdict:
    """The limit of a part held against faces that fit its readings."""

    def judged(doubt: Untold | None) -> LimitVerdict:
        return limit_verdict(numbers, part.limit, part.limit_by, doubt=doubt, stretch=stretch, points=points)

    doubt = untold(part, ensemble)
    found = judged(doubt)
    if found.answer == "yes" or doubt is not None or ensemble.ceiling is None:
        return found
    # That no leaf goes anywhere is no reason to believe that one would: only the prior says so.
    return judged(too_thick(part, ensemble.ceiling))


def find_contradictions(readings: Readings, evidence: Evidence, heights: Array) -> tuple[Contradiction, ...]:
    """Readings whose chance of being plainly wrong exceeds one half, most doubtful first.

    Parameters
    ----------
    readings : the readings as written
    evidence : the same as arrays
    heights : heights (members, n) of faces that fit, at ``evidence.lines.points`` [m]
    """
    chance = outlier_chance(evidence, evidence.gaps(heights))
    found = []
    for k in np.argsort(-chance, kind="stable"):
        if chance[k] <= DOUBTED:
            break
        line = readings.lines[evidence.origin[k][0]]
        station = line.stations[evidence.origin[k][1]]
        words = f"{line.name} at {spoken.position(station.at)} does not fit its neighbours: read again"
        found.append(
            Contradiction(line.name, station.at, station.goes, station.stops, float(chance[k]), words)
        )
    return tuple(found)


def table_numbers(table: HeightTable) -> TableNumbers:
    """Minimum zone and least-squares peak-to-valley at the measured points, exactly [m]."""
    points, heights, _ = merge_repeats(table.u, table.v, table.height)
    u, v = np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1])
    return TableNumbers(
        points=len(points),
        minimum_zone=float(minimum_zone(u, v, heights).width),
        peak_to_valley=float(least_squares_peak_to_valley(u, v, heights)),
    )


def _maps(grid: Grid, heights: Array) -> tuple[Array, Array]:
    """Mean and standard deviation (n,) of heights less each face's area-weighted plane [m]."""
    flat = np.column_stack([np.ones(grid.u.size), grid.u / grid.u_edges[-1], grid.v / grid.v_edges[-1]])
    root = np.sqrt(grid.area)
    plane = np.linalg.lstsq(flat * root[:, None], (heights * root).T, rcond=None)[0]
    level = heights - (flat @ plane).T
    return level.mean(axis=0), level.std(axis=0)


def _advice(
    part: Part,
    readings: Readings,
    ensemble: FaceEnsemble,
    evidence: Evidence | None,
    flatness: Array,
    seed: int,
) -> tuple[tuple[Contradiction, ...], NextLine | None]:
    """What to read again and what to read next; nothing for a table of heights."""
    if evidence is None:
        return (), None
    doubts = find_contradictions(readings, evidence, ensemble.heights_at(evidence.lines.points))
    if not ensemble.converged:
        return doubts, None
    return doubts, best_next_line(part.outline, ensemble, evidence, flatness, seed)


def survey(scenario: Scenario, *, count: int = 200, seed: int = 0) -> Survey:
    """Survey the face of a job; see :func:`survey_face`."""
    return survey_face(scenario.part, scenario.readings, count=count, seed=seed)


def survey_face(part: Part, readings: Readings, *, count: int = 200, seed: int = 0) -> Survey:
    """Survey a face from its readings.

    Parameters
    ----------
    part : the workpiece; its outline and limit are used
    readings : what was measured; a table goes before lines
    count : number of faces [-]
    seed : same seed, same answer

    Raises
    ------
    ValueError : if there are no readings
    """
    evidence = None
    if readings.table is not None:
        ensemble = infer_from_table(part.outline, readings, count=count, seed=seed)
    elif readings.lines:
        ensemble, evidence, _ = infer_from_lines(part.outline, readings, count=count, seed=seed)
    elif readings.worst is not None:
        ensemble = infer_from_worst(part.outline, readings, count=count, seed=seed)
    else:
        raise ValueError("there are no readings: straightedge lines or a table of heights are needed")
    grid = make_grid(part.outline, cells=CELLS)
    heights = ensemble.heights_at(grid.points)
    line_heights = ensemble.heights_at(sample_lines(part.outline).points)
    # The limit means a true straightedge, so no bow of the one at hand here.
    numbers = face_numbers(part.outline, grid, heights, line_heights)
    table = None if readings.table is None else table_numbers(readings.table)
    if table is not None and readings.table is not None and readings.table.sd == 0.0:
        # The face goes through all points, so it is no flatter than they are, wherever the grid's lie.
        numbers = replace(numbers, flatness=np.maximum(numbers.flatness, table.minimum_zone))
    stretch = stretch_of(readings.table)
    bands = face_bands(numbers, stretch)
    doubts, extra = _advice(part, readings, ensemble, evidence, numbers.flatness, seed)
    mean_map, sd_map = _maps(grid, heights)
    return Survey(
        ensemble=ensemble,
        numbers=numbers,
        bands=bands,
        shape=_shape(numbers, bands),
        grid=grid,
        mean_map=mean_map,
        sd_map=sd_map,
        contradictions=doubts,
        next_line=extra,
        verdict=_judge(part, ensemble, numbers, stretch, 0 if table is None else table.points),
        table=table,
        notes=ensemble.notes,
    )

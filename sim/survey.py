"""The survey of a face: shape, flatness, map, contradictions, limit, with their uncertainty.

Signs: height positive = proud.  A bow is positive where the middle is proud of the ends
(crowned) and negative where it is hollow.  A twist is positive where the corners (+u, +v) and
(−u, −v) are proud.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from handlap.sim import survey_kernels as kernels
from handlap.sim.face_ensemble import FaceEnsemble, infer_from_lines, infer_from_table
from handlap.sim.flatness import least_squares_peak_to_valley, minimum_zone, minimum_zone_widths
from handlap.sim.grid import Grid, make_grid
from handlap.sim.height_survey import merge_repeats
from handlap.sim.next_line import NextLine, best_next_line
from handlap.sim.outline import Array, Outline
from handlap.sim.results import Band
from handlap.sim.scenario import HeightTable, LimitBy, Part, Readings, Scenario
from handlap.sim.straightedge import greatest_gap, sample_lines
from handlap.sim.survey_sampler import Evidence, outlier_chance

CELLS = 1500
WIDEN = 1.15
WIDEN_DOWN = 1.6
WIDEN_DEPTH = 1.3
"""Bands of a survey by leaves are stretched by these about their median (in log where the
figure is positive), as calibration on faces from outside the fitted family asks.  Flatness is
stretched further down than up: what is not known about a face adds to its range, so that the
draws of a smooth face lie high."""
SURE = 0.9
"""A limit is met, or missed, when the chance is at least this; otherwise: cannot tell [-]."""
DOUBTED = 0.5
"""A reading is named when its chance of being plainly wrong exceeds this [-]."""
DOMINANT = 0.6
"""A shape names the face when it holds this share of the sum of squares of bows and twist."""
WORD_CHANCE = 0.6
"""A word is used when this share of the faces bears it out; otherwise: cannot tell [-]."""

LimitAnswer = Literal["yes", "no", "cannot tell"]
Word = Literal["hollow", "crowned", "twisted", "mixed", "cannot tell"]
WORDS: tuple[Word, ...] = ("hollow", "crowned", "twisted", "mixed")


@dataclass(frozen=True)
class FaceNumbers:
    """Numbers of each face of an ensemble, arrays (count,) [m].

    Attributes
    ----------
    flatness : minimum zone near the nominal normal, rim and edges of openings included
    peak_to_valley : about the least-squares plane
    straightedge : worst gap over the six standard lines
    depth_to_clear : mean depth that must come off, at the best tilt, before the lowest spot is
        reached (the greatest depth is then about the flatness)
    bow_along, bow_across : middle over ends, + = crowned, − = hollow
    twist : minimum zone of the twist, + = corners (+u, +v) and (−u, −v) proud
    """

    flatness: Array
    peak_to_valley: Array
    straightedge: Array
    depth_to_clear: Array
    bow_along: Array
    bow_across: Array
    twist: Array


@dataclass(frozen=True)
class FaceBands:
    """Bands of :class:`FaceNumbers`, widened as calibration asks [m]."""

    flatness: Band
    peak_to_valley: Band
    straightedge: Band
    depth_to_clear: Band
    bow_along: Band
    bow_across: Band
    twist: Band


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


@dataclass(frozen=True)
class Contradiction:
    """A reading that does not fit the others."""

    line: str
    at: float
    goes: float
    stops: float
    chance: float
    """Chance that it is plainly wrong [-]."""
    words: str


@dataclass(frozen=True)
class LimitVerdict:
    """Whether the face meets its limit in the sense of ``limit_by``.

    ``chance`` is that of meeting it; ``zone_chance`` and ``straightedge_chance`` by either sense.
    """

    answer: LimitAnswer
    limit: float
    limit_by: LimitBy
    chance: float
    zone_chance: float
    straightedge_chance: float
    reason: str


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


def widened(values: Array, up: float, down: float | None = None) -> Array:
    """Positive values (count,) stretched about their median in log, ``down`` below it."""
    below = up if down is None else down
    log = np.log(np.maximum(values, 1e-12))
    off = log - np.median(log)
    return np.exp(np.median(log) + np.where(off < 0.0, below, up) * off)


def bend_components(grid: Grid, heights: Array) -> tuple[Array, Array, Array]:
    """Bow along, bow across and twist (count,) of heights (count, n) at a grid's points [m].

    Least squares of a plane and the three quadratic shapes over the area of the cells.  A bow
    counts the middle over the ends (+ = crowned); a twist counts its own minimum zone.

    Source: closed form; a parabolic bow of c gives c, z = e·U·V with U, V in ±1 gives 2·e.
    """
    cells = slice(0, grid.n_cells)
    u = 2.0 * grid.u[cells] / (grid.u_edges[-1] - grid.u_edges[0])
    v = 2.0 * grid.v[cells] / (grid.v_edges[-1] - grid.v_edges[0])
    terms = np.column_stack([np.ones_like(u), u, v, u * u, v * v, u * v])
    root = np.sqrt(grid.area[cells])
    fit = np.linalg.lstsq(terms * root[:, None], (heights[:, cells] * root).T, rcond=None)[0]
    return -fit[3], -fit[4], 2.0 * fit[5]


def depth_to_clear(grid: Grid, heights: Array) -> Array:
    """Mean depth (count,) that comes off before the lowest spot is reached, at the best tilt [m].

    Parameters
    ----------
    grid : points of the face; the mean is over the area of its cells
    heights : heights (count, n) at its points [m]
    """
    h = np.ascontiguousarray(heights)
    depth = np.empty(h.shape[0])
    kernels.batch_clearing_depth(
        np.ascontiguousarray(grid.u), np.ascontiguousarray(grid.v), np.ascontiguousarray(grid.area), h, depth
    )
    return depth


def face_numbers(
    outline: Outline, grid: Grid, heights: Array, line_heights: Array, bow: float = 0.0
) -> FaceNumbers:
    """Figures of faces.

    Parameters
    ----------
    outline : the face
    grid : its points, rim included
    heights : heights (count, n) at the grid's points [m]
    line_heights : heights (count, k) at the points of :func:`sample_lines` of the outline [m]
    bow : bow of the straightedge, + = hollow [m]
    """
    u, v = np.ascontiguousarray(grid.u), np.ascontiguousarray(grid.v)
    h = np.ascontiguousarray(heights)
    along, across, twist = bend_components(grid, h)
    return FaceNumbers(
        flatness=minimum_zone_widths(u, v, h),
        peak_to_valley=np.array([least_squares_peak_to_valley(u, v, row) for row in h]),
        straightedge=greatest_gap(sample_lines(outline), line_heights, bow),
        depth_to_clear=depth_to_clear(grid, h),
        bow_along=along,
        bow_across=across,
        twist=twist,
    )


def _bands(numbers: FaceNumbers, widen: bool) -> FaceBands:
    factor, down, deep = (WIDEN, WIDEN_DOWN, WIDEN_DEPTH) if widen else (1.0, 1.0, 1.0)

    def signed(values: Array) -> Band:
        middle = float(np.median(values))
        return Band.of(middle + factor * (values - middle))

    return FaceBands(
        flatness=Band.of(widened(numbers.flatness, factor, down)),
        peak_to_valley=Band.of(widened(numbers.peak_to_valley, factor, down)),
        straightedge=Band.of(widened(numbers.straightedge, factor)),
        depth_to_clear=Band.of(widened(numbers.depth_to_clear, deep)),
        bow_along=signed(numbers.bow_along),
        bow_across=signed(numbers.bow_across),
        twist=signed(numbers.twist),
    )


def name_shapes(bow_along: Array, bow_across: Array, twist: Array) -> list[Word]:
    """The word for each of many faces, from their bows and twist (count,) [m].

    Twisted, or bowed, if that holds six tenths of the sum of squares.  A bowed face is hollow
    or crowned by its greater bow, and mixed if the other goes the opposite way by more than
    half as much (a saddle).
    """
    bows = bow_along**2 + bow_across**2
    total = bows + twist**2 + 1e-30
    along = np.abs(bow_along) >= np.abs(bow_across)
    greater = np.where(along, bow_along, bow_across)
    other = np.where(along, bow_across, bow_along)
    words: list[Word] = []
    for k in range(len(twist)):
        if twist[k] ** 2 >= DOMINANT * total[k]:
            words.append("twisted")
        elif bows[k] < DOMINANT * total[k] or other[k] * np.sign(greater[k]) < -0.5 * abs(greater[k]):
            words.append("mixed")
        else:
            words.append("crowned" if greater[k] > 0.0 else "hollow")
    return words


def _signed_words(value: float, up: str, down: str) -> str:
    return f"{abs(value) * 1e6:.0f} µm {up if value > 0.0 else down}"


def _shape(numbers: FaceNumbers, bands: FaceBands) -> Shape:
    words = name_shapes(numbers.bow_along, numbers.bow_across, numbers.twist)
    chances: dict[str, float] = {word: words.count(word) / len(words) for word in WORDS}
    best = max(WORDS, key=lambda word: chances[word])
    chance = chances[best]
    word: Word = best if chance >= WORD_CHANCE else "cannot tell"
    parts = [
        _signed_words(bands.bow_along.p50, "crowned", "hollow") + " along",
        _signed_words(bands.bow_across.p50, "crowned", "hollow") + " across",
        f"twist {abs(bands.twist.p50) * 1e6:.0f} µm, "
        + ("right far and left near" if bands.twist.p50 > 0.0 else "left far and right near")
        + " corners proud",
    ]
    start = f"{word} ({chance:.0%} sure)"
    if word == "cannot tell":
        start = f"cannot tell (most likely {best}, {chance:.0%})"
    return Shape(word, chance, chances, f"{start}: {'; '.join(parts)}")


def _answer(chance: float) -> LimitAnswer:
    if chance >= SURE:
        return "yes"
    return "no" if chance <= 1.0 - SURE else "cannot tell"


def limit_verdict(
    numbers: FaceNumbers, limit: float, limit_by: LimitBy, *, converged: bool = True, widen: bool = True
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
    converged : whether the faces can be believed at all
    widen : whether the spread is to be stretched as for bands
    """
    factor, down = (WIDEN, WIDEN_DOWN) if widen else (1.0, 1.0)
    zone = float(np.mean(widened(numbers.flatness, factor, down) <= limit))
    edge = float(np.mean(widened(numbers.straightedge, factor) <= limit))
    chance = zone if limit_by == "zone" else edge
    answer = _answer(chance)
    sense = "as minimum zone" if limit_by == "zone" else "as the straightedge reads it"
    micron = f"{limit * 1e6:.0f} µm"
    if not converged:
        answer, reason = "cannot tell", "the search for faces that fit the readings did not settle"
    elif {_answer(zone), _answer(edge)} == {"yes", "no"}:
        answer = "cannot tell"
        reason = (
            f"minimum zone and straightedge disagree on {micron}: met with a chance of {zone:.0%} as "
            f"minimum zone, {edge:.0%} as the straightedge reads it. A straightedge shows a twist at half "
            "its size or less: find out which of the two the limit means"
        )
    elif answer == "yes":
        reason = f"{sense}, {chance:.0%} of the faces that fit the readings are within {micron}"
    elif answer == "no":
        reason = f"{sense}, {1.0 - chance:.0%} of the faces that fit the readings are beyond {micron}"
    else:
        reason = (
            f"{sense}, the chance of being within {micron} is {chance:.0%}: "
            "between one in ten and nine in ten is too close to call"
        )
    return LimitVerdict(answer, limit, limit_by, chance, zone, edge, reason)


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
        words = f"{line.name} at {station.at * 1e3:.0f} mm does not fit its neighbours: read again"
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
    else:
        raise ValueError("there are no readings: straightedge lines or a table of heights are needed")
    grid = make_grid(part.outline, cells=CELLS)
    heights = ensemble.heights_at(grid.points)
    line_heights = ensemble.heights_at(sample_lines(part.outline).points)
    # The limit means a true straightedge, so no bow of the one at hand here.
    numbers = face_numbers(part.outline, grid, heights, line_heights)
    widen = evidence is not None
    bands = _bands(numbers, widen)
    contradictions: tuple[Contradiction, ...] = ()
    extra = None
    if evidence is not None:
        at_lines = ensemble.heights_at(evidence.lines.points)
        contradictions = find_contradictions(readings, evidence, at_lines)
        extra = best_next_line(part.outline, ensemble, evidence, numbers.flatness, seed)
    mean_map, sd_map = _maps(grid, heights)
    return Survey(
        ensemble=ensemble,
        numbers=numbers,
        bands=bands,
        shape=_shape(numbers, bands),
        grid=grid,
        mean_map=mean_map,
        sd_map=sd_map,
        contradictions=contradictions,
        next_line=extra,
        verdict=limit_verdict(numbers, part.limit, part.limit_by, converged=ensemble.converged, widen=widen),
        table=None if readings.table is None else table_numbers(readings.table),
        notes=ensemble.notes,
    )

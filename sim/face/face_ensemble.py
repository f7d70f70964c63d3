"""Faces that could have given the readings: one type for both ways of measuring."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common import spoken
from handlap.sim.common.grid import make_grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.face_prior import FaceBasis
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.face.height_survey import faces_through, merge_repeats, table_reach
from handlap.sim.face.survey_sampler import Draws, Evidence, draw_faces, gather, outlier_chance
from handlap.sim.face.worst_gap import placed_gaps
from handlap.sim.job.scenario import Part, Readings, WorstGap

COARSE_CELLS = 600
"""Cells on which the chains' flatness is compared while they run [-]."""
FEWEST_DRAWS = 200
"""Faces that are drawn at least, of which fewer may be wanted: so all commands look at the same chains,
and agree on whether they settle [-]."""
MOST_DOUBTFUL = 5
"""Readings that are named as the most doubtful where the chains did not settle."""
WORTH_A_LOOK = 0.2
"""They are wrong with at least this chance [-]."""


class Faces(Protocol):
    """Anything that can tell the heights of several faces at any point."""

    def at(self, points: ArrayLike) -> Array:
        """Heights (count, n) at points (n, 2) [m]."""
        ...


@dataclass(frozen=True)
class ShapedFaces:
    """Faces made of the shapes of a basis: ``coefficients`` (count, shapes) [m]."""

    basis: FaceBasis
    coefficients: Array

    def at(self, points: ArrayLike) -> Array:
        """Heights (count, n) at points (n, 2) [m]."""
        return np.ascontiguousarray(self.coefficients @ self.basis.at(points).T)


@dataclass(frozen=True)
class FaceEnsemble:
    """Faces that fit the readings, all equally likely.

    Attributes
    ----------
    outline : the face
    count : number of faces [-]
    converged : False where the chains do not agree and no number should be believed
    r_hat : their agreement, 1 = perfect (tables: 1) [-]
    notes : what the user should know, in plain words
    faces : the faces themselves
    ceiling : the thinnest leaf that was tried, where no leaf goes anywhere; None: some do [m]
    doubtful : readings most likely wrong, in words, where the chains do not agree
    places : of each face where its worst gap was taken to lie, where that is all that was read; else ()
    drawn : all faces that were drawn, which cost no more than some of them; None: those themselves
    """

    outline: Outline
    count: int
    converged: bool
    r_hat: float
    notes: tuple[str, ...]
    faces: Faces
    ceiling: float | None = None
    doubtful: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    drawn: Faces | None = None

    def heights_at(self, points: ArrayLike) -> Array:
        """Heights (count, n) of every face at points (n, 2) [m], positive = proud.

        No plane is taken off: a face inferred from straightedge lines is given about an
        arbitrary plane near its middle, one from a table in the frame of the table.  The same
        faces come back whatever points are asked for.
        """
        return self.faces.at(points)


def infer_from_lines(
    outline: Outline, readings: Readings, *, count: int, seed: int
) -> tuple[FaceEnsemble, Evidence, Draws]:
    """Faces from straightedge lines, with the evidence and the draws behind them."""
    evidence = gather(outline, readings.lines, readings.edge_sd, readings.edge_bow, readings.edge_length)
    if evidence.count == 0:
        raise ValueError("none of the stations of the straightedge lines lies on metal")
    basis = FaceBasis(outline)
    grid = make_grid(outline, cells=COARSE_CELLS)
    shapes = basis.at(grid.points)
    u, v = np.ascontiguousarray(grid.u), np.ascontiguousarray(grid.v)

    def flatness(coefficients: Array) -> Array:
        return minimum_zone_widths(u, v, np.ascontiguousarray(coefficients @ shapes.T))

    draws = draw_faces(basis, evidence, count=max(count, FEWEST_DRAWS), seed=seed, flatness=flatness)
    coefficients = _of_draws(draws.coefficients, count, shapes[: grid.n_cells])
    ensemble = FaceEnsemble(
        outline,
        count,
        draws.converged,
        draws.r_hat,
        _line_notes(evidence, draws),
        ShapedFaces(basis, coefficients),
        ceiling=float(evidence.hi.min()) if (evidence.lo <= 0.0).all() else None,
        doubtful=() if draws.converged else _doubtful(readings, evidence, basis, draws),
        drawn=ShapedFaces(basis, draws.coefficients),
    )
    return ensemble, evidence, draws


def _of_draws(coefficients: Array, count: int, shapes: Array) -> Array:
    """``count`` of more draws (count, shapes), evenly along them; ``shapes``: values (cells, shapes)."""
    if count == 1:
        # One face stands for all: the draw nearest to their mean, which is itself too smooth.
        off = (coefficients - coefficients.mean(axis=0)) @ shapes.T
        return coefficients[[int(np.argmin((off**2).sum(axis=1)))]]
    pick = np.floor((np.arange(count) + 0.5) * len(coefficients) / count).astype(int)
    found: Array = coefficients[pick]
    return found


def infer_from_worst(outline: Outline, readings: Readings, *, count: int, seed: int) -> FaceEnsemble:
    """Faces from the worst gap alone: those of :func:`infer_from_lines` with it laid where it may be.

    Where nobody knows where it is, each place is surveyed by itself and has an equal share of the faces,
    taken in turn.
    """
    if readings.worst is None:
        raise ValueError("there is no worst gap")
    gaps = placed_gaps(outline, readings.worst)
    each = FEWEST_DRAWS if count == 1 else math.ceil(count / len(gaps))
    found, drawn = [], []
    for gap in gaps:
        laid = replace(readings, lines=gap.lines, worst=None)
        faces = infer_from_lines(outline, laid, count=each, seed=seed)[0]
        assert isinstance(faces.faces, ShapedFaces)
        found.append(faces)
        drawn.append(faces.faces.coefficients)
    coefficients = np.stack(drawn).transpose(1, 0, 2).reshape(-1, drawn[0].shape[1])
    basis = FaceBasis(outline)
    if count == 1:
        grid = make_grid(outline, cells=COARSE_CELLS)
        coefficients = _of_draws(coefficients, 1, basis.at(grid.points)[: grid.n_cells])
    coefficients = np.ascontiguousarray(coefficients[:count])
    return FaceEnsemble(
        outline,
        count,
        all(faces.converged for faces in found),
        max(faces.r_hat for faces in found),
        (_worst_note(readings.worst),),
        ShapedFaces(basis, coefficients),
        ceiling=found[0].ceiling,
        places=tuple(gaps[k % len(gaps)].place for k in range(count)),
    )


def _worst_note(worst: WorstGap) -> str:
    where = {
        "middle": "taken to lie in the middle",
        "ends": "taken to lie under both ends, the edge held level",
        "corner": "taken to lie in one corner",
        "unknown": "its place unknown: a third of the faces have it in the middle, at the ends, in a corner",
    }
    return (
        f"no more than the worst gap was read, {where[worst.where]}: six lines (two long, two cross, two "
        "diagonal) narrow everything here"
    )


def _doubtful(readings: Readings, evidence: Evidence, basis: FaceBasis, draws: Draws) -> tuple[str, ...]:
    """The readings most likely wrong, by chains that do not agree: line and place."""
    chance = outlier_chance(evidence, evidence.gaps(draws.coefficients @ basis.at(evidence.lines.points).T))
    found = []
    for k in np.argsort(-chance, kind="stable")[:MOST_DOUBTFUL]:
        if chance[k] >= WORTH_A_LOOK:
            line = readings.lines[evidence.origin[k][0]]
            found.append(f"{line.name} at {spoken.position(line.stations[evidence.origin[k][1]].at)}")
    return tuple(found)


def _line_notes(evidence: Evidence, draws: Draws) -> tuple[str, ...]:
    notes = [f"{words}: left out" for words in evidence.lost]
    if not draws.converged:
        notes.append(
            f"the search for faces that fit did not settle (agreement of its four ways "
            f"{draws.r_hat:.2f}, 1 is perfect): no number here can be relied on"
        )
        if any(h.startswith("tipped") for h in evidence.held):
            notes.append("some lines were read with the straightedge tipped: read them again held level")
    if (evidence.lo <= 0.0).all():
        thinnest = float(evidence.hi.min())
        notes.append(
            f"no leaf goes anywhere (thinnest tried {spoken.leaf(thinnest)}): the readings give a ceiling, "
            "not a value"
        )
    lines = len(evidence.lines.lines)
    if lines < 5:
        counted = "one line was" if lines == 1 else f"{lines} lines were"
        notes.append(
            f"only {counted} read: six (two long, two cross, two diagonal) halve the uncertainty of three"
        )
    return tuple(notes)


def infer_from_table(outline: Outline, readings: Readings, *, count: int, seed: int) -> FaceEnsemble:
    """Faces from a table of heights."""
    table = readings.table
    if table is None:
        raise ValueError("there is no table of heights")
    faces = faces_through(table, outline, count=count, seed=seed)
    points, _, repeats = merge_repeats(table.u, table.v, table.height)
    reach = table_reach(outline, points)
    notes = []
    if repeats.max() > 1.0:
        notes.append(f"{int((repeats - 1.0).sum())} repeated readings were averaged with their first ones")
    if reach.beyond > 0.1e-3:
        notes.append(
            "the table does not reach the edge: heights are carried on by up to "
            f"{spoken.position(reach.beyond, '.1f')}, the measured points being some "
            f"{spoken.position(reach.spacing, '.1f')} apart"
        )
    return FaceEnsemble(outline, count, True, 1.0, tuple(notes), faces)


def infer_faces(part: Part, readings: Readings, *, count: int = 200, seed: int = 0) -> FaceEnsemble:
    """Faces that fit the readings: straightedge lines, a table of heights, or no more than the worst gap.

    Parameters
    ----------
    part : the workpiece (only its outline is used)
    readings : what was measured; a table goes before lines
    count : number of faces; 1 gives one representative face (of a table: the best estimate,
        exactly through all points where the table's sd is 0) [-]
    seed : same seed, same faces

    Raises
    ------
    ValueError : if there is nothing to infer from
    """
    if readings.table is not None:
        return infer_from_table(part.outline, readings, count=count, seed=seed)
    if not readings.lines and readings.worst is not None:
        return infer_from_worst(part.outline, readings, count=count, seed=seed)
    if not readings.lines:
        raise ValueError("there are no readings: straightedge lines or a table of heights are needed")
    return infer_from_lines(part.outline, readings, count=count, seed=seed)[0]

"""How finely laps are computed, for whatever they are wanted: one table, with the reason beside each number.

What one lap without anything uncertain asks for (`handlap simulate`) stands with it, in
:mod:`handlap.sim.lapping.simulate` and :mod:`handlap.sim.lapping.resolution`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from handlap.sim.common.outline import Array
from handlap.sim.lapping.lap import Bench, Conditions, Stage
from handlap.sim.lapping.long_work import Tell
from handlap.sim.lapping.resolution import Resolution, choose_resolution


@dataclass(frozen=True)
class Fineness:
    """How finely laps are computed.

    Attributes
    ----------
    cells, cells_flexible : most cells of a rigid part, and of one that bends, whose cells cost several times
        as much
    tolerance : step error asked of the map's worst spot [m]
    rows, rows_flexible, rows_stepped : most rows up to the horizon of a rigid part, of one that bends, and of
        a rigid one on paper with steps
    longer : by how many times rows are longer than the error asks [-]
    """

    cells: int
    cells_flexible: int
    tolerance: float
    rows: int
    rows_flexible: int
    rows_stepped: int
    longer: float = 1.0

    def most_rows(self, bench: Bench) -> int:
        """Rows that a lap on a bench may have up to its horizon [-]."""
        if bench.bending is not None:
            return self.rows_flexible
        return self.rows_stepped if bench.stepped else self.rows


PLANNED = Fineness(
    cells=3000, cells_flexible=1500, tolerance=0.5e-6, rows=3000, rows_flexible=1200, rows_stepped=1200
)
"""Laps that are reported: figures of most parts are then good to half a micrometre, a hundredth of the
limits that leaves can show.  Few parts come to the bounds on rows; those that bend and those on steps do, and
a plan of them would take minutes with twice as many."""
TRIED = replace(PLANNED, cells=800, cells_flexible=600, longer=2.0)
"""Laps that only rank papers and find the last stop: what they err by is much the same on every paper."""
GLANCED = replace(TRIED, cells=500, tolerance=1e-6, rows=1500, rows_flexible=600)
"""Laps of a first look: a micrometre is nothing against what is not known."""
EXERCISED = replace(PLANNED, cells=1500, rows=1500)
"""Plans tried on the true face of an exercise: coarser than a plan's, for a class hands in many."""
LOGGED = replace(PLANNED, tolerance=1e-6)
"""The strokes of a log, and those still to come: leaves are felt to some 6 µm, to which a micrometre adds
nothing.  Cells are chosen by who asks (``replan``, ``record``)."""
TAUGHT = Fineness(
    cells=1500,
    cells_flexible=1500,
    tolerance=1e-6,
    rows=2000,
    rows_flexible=400,
    rows_stepped=2000,
    longer=0.5,
)
"""Cases of a lesson: its margins are several times a micrometre.  A class waits for it, so a part that bends
has few rows; one on steps has as many as any, for there is a lesson about the step.  Rows are half as long
as middle hands ask for, as some hands ask for more.  A lesson may state its own cells."""


def find_steps(
    bench: Bench,
    face: Array,
    conditions: Conditions,
    stage: Stage,
    fineness: Fineness,
    *,
    seed: int,
    tell: Tell | None = None,
) -> Resolution:
    """How long rows may be to keep the tolerance on one face (n,) [m], before they are taken longer.

    The bound is on the finer of the two laps that tell the error.
    """
    return choose_resolution(
        bench, face, conditions, stage, tolerance=fineness.tolerance, seed=seed,
        most_rows=fineness.most_rows(bench) // 2, tell=tell,
    )  # fmt: skip

"""How finely laps are computed, for whatever they are wanted: one table, with the reason beside each number.

What one lap without anything uncertain asks for (`handlap simulate`) stands with it, in
:mod:`handlap.sim.lapping.simulate` and :mod:`handlap.sim.lapping.resolution`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from handlap.sim.common.outline import Array
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.long_work import Tell
from handlap.sim.lapping.resolution import HeldTo, Resolution, choose_resolution
from handlap.sim.lapping.set_up import Rig


@dataclass(frozen=True)
class Fineness:
    """How finely laps are computed.

    Attributes
    ----------
    cells : on which a part is begun
    most_cells, most_cells_flexible : to which they are made more where what is reported asks for it, of a
        rigid part, and of one that bends, whose cells cost several times as much
    tolerance, tolerance_flexible : error asked of what is reported, by rows and cells together, of a rigid
        part and of one that bends [m]
    worst : step error asked of the map's worst spot [m]
    rows, rows_flexible, rows_stepped : most rows up to the horizon of a rigid part, of one that bends, and of
        a rigid one on paper with steps
    longer : by how many times rows are longer than the error asks [-]
    """

    cells: int
    most_cells: int
    most_cells_flexible: int
    tolerance: float
    tolerance_flexible: float
    worst: float
    rows: int
    rows_flexible: int
    rows_stepped: int
    longer: float = 1.0

    def most_rows(self, rig: Rig) -> int:
        """Rows that a lap on a rig may have up to its horizon [-]."""
        if rig.bending is not None:
            return self.rows_flexible
        return self.rows_stepped if rig.stepped else self.rows

    def asked(self, rig: Rig) -> float:
        """Error asked of what is reported of a lap on a rig [m]."""
        return self.tolerance if rig.bending is None else self.tolerance_flexible

    def finer_cells(self, rig: Rig, cells: int) -> int:
        """The next finer cells after those a rig was begun with; the same where they are the most."""
        most = self.most_cells if rig.bending is None else self.most_cells_flexible
        return max(cells, min(2 * cells, most))


CELLS_SHARE = 0.6
"""Share of the tolerance that cells may take before they are made finer: rows get what cells leave of it, and
halving their length costs twice the time as surely, but cells that serve do so with room to spare."""
PLANNED = Fineness(
    cells=1000,
    most_cells=3000,
    most_cells_flexible=1500,
    tolerance=0.5e-6,
    tolerance_flexible=1e-6,
    worst=6e-6,
    rows=3000,
    rows_flexible=1200,
    rows_stepped=1200,
)
"""Laps that are reported: half a micrometre is a hundredth of the limits that leaves can show, and a tenth of
the margin at which work stops.  A part that bends is asked for a micrometre: its rows cost several times as
much, and how it bends is not known to half of one (twelve shapes of a plate without shear).  The worst spot
of the map, which only the picture shows, is held to what leaves are felt to.  1,000 cells serve all
built-in jobs but the one on a step (0.1 µm off what 6,000 give); that one gets as many as there may be.  Few
parts come to the bounds on rows; those on steps do, and a plan of them would take minutes with twice as many.
"""
TRIED = replace(PLANNED, most_cells=1000, most_cells_flexible=1000, longer=2.0)
"""Laps that only rank papers and find the last stop: what they err by is much the same on every paper."""
GLANCED = replace(
    PLANNED,
    cells=500,
    most_cells=500,
    most_cells_flexible=500,
    tolerance=1e-6,
    tolerance_flexible=2e-6,
    worst=6e-6,
    rows=1500,
    rows_flexible=600,
    longer=2.0,
)
"""Laps of a first look, trials of papers and all: a micrometre is nothing against what is not known."""
EXERCISED = replace(PLANNED, cells=1500, rows=1500)
"""Plans tried on the true face of an exercise: fewer rows than a plan's, for a class hands in many.  Cells
are not looked into, so there are half as many again."""
LOGGED = replace(PLANNED, tolerance=1e-6, tolerance_flexible=1e-6, worst=1e-6)
"""The strokes of a log, and those still to come: leaves are felt to some 6 µm, to which a micrometre adds
nothing.  Cells are chosen by who asks (``replan``, ``record``)."""
TAUGHT = Fineness(
    cells=1500,
    most_cells=1500,
    most_cells_flexible=1500,
    tolerance=1e-6,
    tolerance_flexible=1e-6,
    worst=1e-6,
    rows=2000,
    rows_flexible=400,
    rows_stepped=2000,
    longer=0.5,
)
"""Cases of a lesson: its margins are several times a micrometre.  A class waits for it, so a part that bends
has few rows; one on steps has as many as any, for there is a lesson about the step.  Rows are half as long
as middle hands ask for, as some hands ask for more.  A lesson may state its own cells."""


def find_steps(
    rig: Rig,
    face: Array,
    conditions: Conditions,
    stage: Stage,
    fineness: Fineness,
    *,
    seed: int,
    tell: Tell | None = None,
    held: HeldTo | None = None,
) -> Resolution:
    """How long rows may be to keep the tolerance on one face (n,) [m], before they are taken longer.

    The bound is on the finer of the two laps that tell the error.  ``held``: what is reported; without it
    the map's worst spot alone has to keep its bound.
    """
    return choose_resolution(
        rig, face, conditions, stage, tolerance=fineness.worst, seed=seed,
        most_rows=fineness.most_rows(rig) // 2, tell=tell, held=held,
    )  # fmt: skip

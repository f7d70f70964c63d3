"""The march: a face carried through a list of poses, row by row."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel
from handlap.sim.lapping.column_kernels import (
    D_CLIPPED,
    D_DEPOSITED,
    D_FAILED_ROW,
    D_OFF_PAPER,
    D_TIPPED,
    EU,
    EV,
    EVENT_SNAPSHOT,
    K_BEDDING,
    K_CELL,
    K_HALF,
    K_MEAN_AREA,
    K_RATE,
    LOAD,
    MOVE_U,
    MOVE_V,
    P_BLUNT,
    P_FLOOR_DULL,
    P_FLOOR_LOAD,
    P_REACH,
    SLIDE,
    STATUS_NO_CONTACT,
    STATUS_NO_RASTER,
    STATUS_OK,
)
from handlap.sim.lapping.paper_kernels import place_on_raster
from handlap.sim.lapping.pose_kernels import reach_of
from handlap.sim.lapping.pressure_kernels import only_on_paper, wear
from handlap.sim.lapping.record_kernels import C_BEGUN, C_CLOGGED, C_DEPTH
from handlap.sim.lapping.row_kernels import (
    close_beyond,
    close_row,
    find_pose,
    first_guess,
    lay_down,
    meet_standing,
    read_row,
    take_note,
    tend_paper,
)
from handlap.sim.lapping.scratch_kernels import (
    VECTORS,
    Spots,
    Twist,
    new_edge,
    new_raster,
    new_reading,
    new_search,
    some_spots,
)
from handlap.sim.lapping.standing_kernels import (
    all_on_paper,
    coverage,
    hold_in_room,
    into_hull,
    lay_in_columns,
)

REFERENCE_PRESSURE = 1e3
"""p0 of the pressure law [Pa]; it only fixes where the approach is counted from."""
WORK_ROWS = 5
"""Rows of scratch that a march is given."""


@kernel()
def march(
    face, rates, rows, constants, tilt_free, hull, paper, ground, flexing, carried, notes, work, counted
):  # fmt: skip
    """Carry a face through a list of poses, in place.

    face, rates, rows, hull, paper, ground, flexing, notes : see the records above
    constants (7,) : see the columns ``K_…``; tilt_free : whether load and moments, or the load alone, are met
    carried : what is left by the poses before these and taken along to those after, see :class:`Carried`
    work (5, n) : scratch; numpy asks the system for large pages for it, which a kernel cannot
    counted (7,) : added to, see the columns ``D_…``

    Returns a status.
    """
    n, cells = face.h.shape[0], face.cells
    # A few of the points that are only followed go with the cells, weightless, so that these make up
    # whole vectors: what is left over after them costs as much as all the vectors of a small face.
    on = min(n, -(-cells // VECTORS) * VECTORS)
    weight = work[4, :on]
    weight[cells:] = 0.0
    # Sliced once: every slice counts its owners, which many rows of few cells would feel.
    spots = Spots(face.h, face.u, face.v, work[0], work[1], work[2], work[3])
    near, beyond = some_spots(spots, 0, on), some_spots(spots, on, n)
    half, cell, k0, fresh_lam = constants[K_HALF], constants[K_CELL], constants[K_RATE], constants[K_BEDDING]
    lam = fresh_lam
    reach = np.array([reach_of(face.u), reach_of(face.v), half])
    law = paper.constants
    floor = law[P_FLOOR_LOAD] * law[P_FLOOR_DULL] if paper.ages else 1.0
    raster = new_raster(paper, carried.load.shape)
    reading = new_reading(n if paper.ages else 0, raster.per_sheet.shape[0] > 0)
    edge, columns = new_edge(n, cells), 0
    search = new_search(near, flexing.basis, tilt_free)
    search.elastic[3:, 3:] = flexing.stiffness * lam
    twist = Twist(np.empty(n), np.empty(n))
    rises = ground.heights.size > 1 or rates.ahead.shape[0] > 0
    over = np.zeros(n if rises else 0)
    shapes = flexing.press.shape[0]
    flexed, flexed_rows = np.zeros(shapes), 0
    placed, taken = -1, 0
    depth, clogged = carried.counted[C_DEPTH], carried.counted[C_CLOGGED]
    begun = carried.counted[C_BEGUN] > 0.0
    clean = sharp = 1.0
    for r in range(rows.poses.shape[0]):
        pose, kind, heading, event = rows.poses[r], rows.kinds[r], rates.of_row[r], rows.events[r]
        slide = pose[SLIDE]
        takes = k0 * slide * pose[LOAD] / constants[K_MEAN_AREA]
        full = all_on_paper(pose, reach[0], reach[1], half, ground.strips)
        w = rows.standing[r]
        # By standing, push and pull apart, for their loads differ.
        way = 2 * w + kind % 2
        if paper.ages:
            tend_paper(carried.load, carried.dull, law, event)
            if w != placed:
                place_on_raster(
                    paper.turns[w, 0], paper.turns[w, 1], face.u, face.v, half, law, carried.load.shape[1],
                    reading.node, reading.share_i, reading.share_j,
                )  # fmt: skip
                placed = w
            if not carried.known[w]:
                carried.known[w] = True
                if not meet_standing(w, takes, slide, face, spots, paper, carried, raster, reading, reach):
                    counted[D_FAILED_ROW] = r
                    return STATUS_NO_RASTER
            clean, sharp = read_row(w, way, slide, floor, paper, carried, raster, reading)
            lam = fresh_lam * (law[P_BLUNT] + (1.0 - law[P_BLUNT]) * sharp)
            search.elastic[3:, 3:] = flexing.stiffness * lam
            clogged += pose[LOAD] * slide * (1.0 - clean)
            # Pushing gets harder as the paper clogs, and the resultant goes further forward.
            forward = law[P_REACH] * (1.0 - clean)
            pose[EU] += forward * pose[MOVE_U]
            pose[EV] += forward * pose[MOVE_V]
            if full and forward > 0.0:
                counted[D_CLIPPED] += hold_in_room(pose, hull.normals, hull.rooms, hull.centre)
        kept = 0
        if not full:
            coverage(pose, face.u, face.v, half, cell, ground.strips, edge.cover)
            if columns == 0:
                columns = lay_in_columns(face.u[:cells], face.v[:cells], edge.upright, edge.begins)
            kept = into_hull(
                pose, face.u, face.v, face.area[:cells], edge.cover, edge.upright, edge.begins,
                edge.ends[:, :columns], edge.corners, cell / half,
            )  # fmt: skip
            if kept == 3:
                counted[D_FAILED_ROW] = r
                return STATUS_NO_CONTACT
            if kept == 2:
                counted[D_TIPPED] += 1.0
            elif kept == 1:
                counted[D_CLIPPED] += 1.0
            counted[D_OFF_PAPER] += 1.0
        to_force = lam / (k0 * slide)
        beta = np.log(k0 * REFERENCE_PRESSURE * slide / lam)
        close_row(
            pose, heading, face, rates, spots, ground, edge.cover, reading.read, twist, over,
            (half, lam, beta, to_force, floor), weight,
        )  # fmt: skip
        first_guess(kind, carried, depth, lam, begun, near, weight)
        begun = True
        carried.lam_then[kind] = lam
        status = find_pose(pose, kind, near, weight, carried, search, flexing, constants, lam, counted)
        if status != STATUS_OK:
            counted[D_FAILED_ROW] = r
            # What hangs on a strip of paper too narrow to stand on has no pose.
            return STATUS_NO_CONTACT if kept == 2 else status
        found = carried.poses[kind]
        close_beyond(found, beyond, search)
        for j in range(shapes):
            flexed[j] += found[3 + j] * lam
        flexed_rows += 1
        carried.met[kind] = True
        carried.last[:] = found
        carried.depth_then[kind] = depth
        depth += takes
        if not full:
            only_on_paper(spots.soft, spots.logistic, edge.cover)
            edge.cover[:] = 1.0
        step = search.step
        wear(near.h, near.soft, near.logistic, near.u, near.v, lam, step[0], step[1], step[2], paper.ages)
        wear(beyond.h, beyond.soft, beyond.logistic, beyond.u, beyond.v, lam, 0.0, 0.0, 0.0, False)
        if paper.ages:
            counted[D_DEPOSITED] += lay_down(
                w, way, slide, floor, face, spots, paper, carried, raster, reading
            )
        if event & EVENT_SNAPSHOT:
            take_note(notes, taken, face.h, clean, sharp, clogged, flexed, flexed_rows)
            flexed_rows = 0
            taken += 1
    carried.counted[C_DEPTH], carried.counted[C_CLOGGED], carried.counted[C_BEGUN] = depth, clogged, 1.0
    return STATUS_OK

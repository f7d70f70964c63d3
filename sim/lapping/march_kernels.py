"""The march: a face carried through a list of poses, row by row."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.jit import kernel
from handlap.sim.lapping.column_kernels import (
    D_CLIPPED,
    D_DEPOSITED,
    D_EVALUATIONS,
    D_FAILED_ROW,
    D_OFF_PAPER,
    D_SAMPLED,
    D_TIPPED,
    EU,
    EV,
    EVENT_BRUSH,
    EVENT_SHEET,
    EVENT_SNAPSHOT,
    K_BEDDING,
    K_CAP,
    K_CELL,
    K_HALF,
    K_MEAN_AREA,
    K_RATE,
    K_WEIGHT,
    LOAD,
    MOVE_U,
    MOVE_V,
    N_CLEAN,
    N_CLOGGED,
    N_SHARP,
    P_BLUNT,
    P_BRUSH_LEAVES,
    P_FLOOR_DULL,
    P_FLOOR_LOAD,
    P_REACH,
    P_STEP,
    SLIDE,
    STATUS_NO_CONTACT,
    STATUS_NO_RASTER,
    STATUS_OK,
    TWIST,
)
from handlap.sim.lapping.paper_kernels import (
    LEAST_PAPER,
    clear_window,
    cut_off_paper,
    deposit,
    dot_in_window,
    laid_over_stroke,
    over_stroke,
    paper_factor,
    place_on_raster,
    read_paper,
    spread_cut,
    times_in_window,
    where_papered,
    windows_of,
)
from handlap.sim.lapping.pose_kernels import (
    STEADY,
    TOLERANCE,
    close_flexed,
    fall_short,
    reach_of,
    sample_to_single,
    search_pose,
    solve_flexible,
    some_of,
    to_single,
    touch,
)
from handlap.sim.lapping.pressure_kernels import (
    BLOCK,
    closing_and_weight,
    only_on_paper,
    softplus_logistic,
    wear,
    wear_due,
)
from handlap.sim.lapping.standing_kernels import (
    all_on_paper,
    coverage,
    hold_in_room,
    into_hull,
    lay_in_columns,
    read_ground,
)

VECTORS = 64
"""Numbers that a loop takes at one go at most: four vectors of sixteen."""
REFERENCE_PRESSURE = 1e3
"""p0 of the pressure law [Pa]; it only fixes where the approach is counted from."""
WORK_ROWS = 5
(C_DEPTH, C_CLOGGED, C_BEGUN) = range(3)
COUNTED = 3


class Carried(NamedTuple):
    """What :func:`march` takes along from one list of poses to the next of the same lap, changed in place.

    Attributes
    ----------
    load, dull : raster of the paper's memory (ny, nx) [m of metal cut]; no nodes where it is not followed
    poses : last solution of every kind of pose (kinds, 3 + shapes) [bedding lengths]
    short, change : by what a sample of the cells fell short there (kinds, 3), and how steadily (kinds,) [-]
    met : which kinds have been met (kinds,)
    depth_then, lam_then : mean depth removed and λ at the last pose of every kind (kinds,) [m]
    last : solution of the last pose (3 + shapes,)
    doses, dosed_over : what a row last laid on the paper, push and pull apart (2 k, ny, nx) [m], and over
        what slide (2 k,) [m]; k ways to stand and run
    feet : what a face cut evenly lays on the paper (k, ny, nx), its sum 1
    windows : nodes that they reach (k, 3, 4); known : which of them are laid out (k,)
    papered : share of its stroke that every point has over paper (k or 0, n) [-]
    counted (3,) : mean depth removed [m], N_CLOGGED so far, and whether there was a pose yet
    """

    load: NDArray[np.float64]
    dull: NDArray[np.float64]
    poses: NDArray[np.float64]
    short: NDArray[np.float64]
    change: NDArray[np.float64]
    met: NDArray[np.bool_]
    depth_then: NDArray[np.float64]
    lam_then: NDArray[np.float64]
    last: NDArray[np.float64]
    doses: NDArray[np.float64]
    dosed_over: NDArray[np.float64]
    feet: NDArray[np.float64]
    windows: NDArray[np.int64]
    known: NDArray[np.bool_]
    papered: NDArray[np.float64]
    counted: NDArray[np.float64]


def copy_of(carried: Carried) -> Carried:
    """The same, to be changed apart."""
    return Carried._make(field.copy() for field in carried)


def nothing_carried(
    *, points: int, shapes: int, kinds: int, bedding: float, raster: tuple[int, int], ways: int, partly: bool
) -> Carried:
    """Before the first pose, on new paper.

    Parameters
    ----------
    points, shapes, kinds : of the face, of its bending, of poses
    bedding : λ on fresh paper [m]
    raster : nodes of the paper's memory (ny, nx); (0, 0) where it is not followed
    ways : ways to stand and run; partly : whether some of the nodes have no paper
    """
    modes = 3 + shapes
    return Carried(
        load=np.zeros(raster),
        dull=np.zeros(raster),
        poses=np.zeros((kinds, modes)),
        short=np.zeros((kinds, 3)),
        change=np.ones(kinds),
        met=np.zeros(kinds, dtype=np.bool_),
        depth_then=np.zeros(kinds),
        lam_then=np.full(kinds, bedding),
        last=np.zeros(modes),
        doses=np.zeros((2 * ways, *raster)),
        dosed_over=np.ones(2 * ways),
        feet=np.zeros((ways, *raster)),
        windows=np.zeros((ways, 3, 4), dtype=np.int64),
        known=np.zeros(ways, dtype=np.bool_),
        papered=np.ones((ways if partly else 0, points)),
        counted=np.zeros(COUNTED),
    )


@kernel()
def march(
    h, u, v, area, n_cells, alike, headings, shares, logs, ahead, poses, kinds, events, constants, tilt_free,
    strips, hull, rooms, centre, aged, paper, on_sheet, standing, standings, taps, tap_at, lines,
    bell, ground_frame, ground, basis, bending, bend_press, bend_weight, carried, snapshots, noted,
    amplitudes, work, diagnostics,
):  # fmt: skip
    """Carry a face through a list of poses, in place.

    h : heights (n,) [m], changed; u, v : places (n,) over the half length; area (n,) [m²]
    n_cells : the first of the points that have an area; the rest only feel the wear
    alike : whether all spots are cut alike, whatever the heading
    headings (m,) : which way every row goes, a row of: shares (k, n), area over rate [m²], logs (k, n),
        logarithm of the rate, both with the rate over that of the face's metal, and ahead (k, n), how much
        the paper rises near the leading edge [m] (no rows: nowhere)
    poses (m, 13), kinds (m,), events (m,) : see the columns above; poses of one kind resemble
        one another and start from each other's solution
    strips (s, 4) : paper on the plate; hull (k, 2) : outward normals of the face's hull; rooms (k,), centre
        (2,) : see :func:`hold_in_room`
    paper : constants of the paper's memory, see the columns above
    on_sheet (ny, nx) : share of every node that has paper; no nodes: all that is met
    standing (m,) : how the part stands and runs, one of: standings (k, 2), cosine and sine of its turn;
        lines (k, 2) and taps (t, 3), from tap_at[k] to tap_at[k + 1]: its path about the middle of the
        plate, see :func:`over_stroke`; bell (b + 1,) : weights of the sway, along and across, from the
        middle outwards
    ground_frame (3,), ground (gy, gx) : x0, y0, spacing and heights of plate and paper [m];
        one node stands for a flat
    basis (3 + shapes, n), bending (shapes, shapes) [N/m], bend_press, bend_weight (shapes,) :
        bending of a thin part, see :mod:`handlap.sim.lapping.bending`; no rows for a rigid one
    carried : what is left by the poses before these and taken along to those after, see :class:`Carried`
    snapshots (count, n) : heights after each pose marked EVENT_SNAPSHOT; noted (count, 3) : see NOTED
    amplitudes (count, shapes) : mean bending amplitude over the poses since the last of them [m]
    work (5, n) : scratch; numpy asks the system for large pages for it, which a kernel cannot

    Returns a status; diagnostics (7,) are filled in.
    """
    n = h.shape[0]
    cells = n_cells
    m = poses.shape[0]
    k0 = constants[K_RATE]
    fresh_lam = constants[K_BEDDING]
    lam = fresh_lam
    half = constants[K_HALF]
    cell = constants[K_CELL]
    load, dull = carried.load, carried.dull
    ny, nx = load.shape
    base, soft, logistic, closing = work[0], work[1], work[2], work[3]
    # A few of the points that are only followed go with the cells, weightless, so that these make up
    # whole vectors: what is left over after them costs as much as all the vectors of a small face.
    on = min(n, -(-cells // VECTORS) * VECTORS)
    weight = work[4, :on]
    weight[cells:] = 0.0
    # Sliced once: every slice counts its owners, which many rows of few cells would feel.
    h_on, u_on, v_on = h[:on], u[:on], v[:on]
    base_on, soft_on, logistic_on, closing_on = base[:on], soft[:on], logistic[:on], closing[:on]
    h_beyond, u_beyond, v_beyond, base_beyond = h[on:], u[on:], v[on:], base[on:]
    soft_beyond, logistic_beyond, closing_beyond = soft[on:], logistic[on:], closing[on:]
    floor = 1.0
    if aged:
        floor = paper[P_FLOOR_LOAD] * paper[P_FLOOR_DULL]
    cover = np.ones(n)
    upright, begins, columns = np.empty(cells, dtype=np.int32), np.empty(cells + 1, dtype=np.int32), 0
    ends, corners = np.empty((2, cells), dtype=np.int32), np.empty(2 * cells + 1, dtype=np.int32)
    # The memory of the paper: nothing of it where it is not followed.
    raster = (ny, nx) if aged else (0, 0)
    factor, clean, sharp = np.ones(raster), np.ones(raster), np.ones(raster)
    seen, between, half_way = np.zeros(raster), np.zeros(raster), np.zeros(raster)
    cut = np.zeros(raster)
    # By standing, push and pull apart, for their loads differ.
    doses, dosed_over = carried.doses, carried.dosed_over
    feet, windows, known = carried.feet, carried.windows, carried.known
    partly = aged and on_sheet.shape[0] > 0
    per_sheet = np.zeros(raster if partly else (0, 0))
    for j in range(per_sheet.shape[0]):
        for i in range(nx):
            per_sheet[j, i] = 1.0 / on_sheet[j, i] if on_sheet[j, i] > 0.0 else 0.0
    papered = carried.papered
    met_of = np.ones(n if partly else 0)
    placed = -1
    node = np.zeros(n if aged else 0, dtype=np.int32)
    share_i = np.zeros(n if aged else 0)
    share_j = np.zeros(n if aged else 0)
    read = np.ones(n if aged else 0)
    clogged = carried.counted[C_CLOGGED]
    ql, qd = 1.0, 1.0
    modes = max(3, basis.shape[0])
    shapes = modes - 3
    memory, short, change, met = carried.poses, carried.short, carried.change, carried.met
    nothing = np.zeros(3)
    depth_then, lam_then, last = carried.depth_then, carried.lam_then, carried.last
    depth = carried.counted[C_DEPTH]
    first = carried.counted[C_BEGUN] == 0.0
    taken = 0
    bumpy = ground.size > 1
    rises = ahead.shape[0] > 0
    over = np.zeros(n if bumpy or rises else 0)
    every = np.empty((4, on), dtype=np.float32)
    every[1] = u_on
    every[2] = v_on
    some = some_of(u[:cells], v[:cells], cell / half)
    owed = np.zeros(some.size)
    few = np.zeros((4, -(-some.size // VECTORS) * VECTORS), dtype=np.float32)
    few[1, : some.size] = u[some]
    few[2, : some.size] = v[some]
    stands_for = area[:cells].sum() / area[some].sum()
    scratch = np.empty((2, BLOCK), dtype=np.float32)
    u_reach, v_reach = reach_of(u[:cells]), reach_of(v[:cells])
    u_max, v_max = reach_of(u), reach_of(v)
    step = np.zeros(3)
    due = np.zeros(4)
    weighed_for = 0.0
    twisted = np.empty(n)
    log_twisted = np.empty(n)
    # Rows that lie together in memory are summed by vectors.
    on_cells = np.ascontiguousarray(basis[:, :on])
    beyond = np.ascontiguousarray(basis[:, on:])
    free = np.ones(modes)
    if not tilt_free:
        free[1] = 0.0
        free[2] = 0.0
    target = np.zeros(modes)
    elastic = np.zeros((modes, modes))
    elastic[3:, 3:] = bending * lam
    flexed = np.zeros(shapes)
    flexed_rows = 0
    for r in range(m):
        pose = poses[r]
        if aged and events[r] & EVENT_BRUSH:
            for j in range(ny):
                for i in range(nx):
                    load[j, i] *= paper[P_BRUSH_LEAVES]
        if aged and events[r] & EVENT_SHEET:
            for j in range(ny):
                for i in range(nx):
                    load[j, i] = 0.0
                    dull[j, i] = 0.0
        slide = pose[SLIDE]
        full = all_on_paper(pose, u_max, v_max, half, strips)
        if aged:
            w = standing[r]
            path, line, window = taps[tap_at[w] : tap_at[w + 1]], lines[w], windows[w]
            if w != placed:
                place_on_raster(
                    standings[w, 0], standings[w, 1], u, v, half, paper, nx, node, share_i, share_j
                )
                placed = w
            if not known[w]:
                known[w] = True
                windows_of(
                    standings[w, 0], standings[w, 1], u_max, v_max, half, paper, path, line, bell, window
                )
                if window[2].min() < 0 or window[2, 1] > nx or window[2, 3] > ny:
                    diagnostics[D_FAILED_ROW] = r
                    return STATUS_NO_RASTER
                if partly:
                    over_stroke(on_sheet, path, line, bell, window, between, half_way, seen)
                    read_paper(seen, nx, node, share_i, share_j, papered[w])
                    for i in range(n):
                        papered[w, i] = max(papered[w, i], LEAST_PAPER)
                # What a face cut evenly lays on the paper: its foot.
                for i in range(n):
                    logistic[i] = 1.0 / papered[w, i] if partly else 1.0
                soft[:] = 1.0
                spread_cut(
                    soft_on[:cells], area, node, share_i, share_j, logistic, paper[P_STEP], nx, base, cut
                )
                laid_over_stroke(cut, path, line, bell, window, between, half_way, feet[w])
                clear_window(cut, window[0, 0], window[0, 1], window[0, 2], window[0, 3])
                even = k0 * slide * pose[LOAD] / constants[K_MEAN_AREA]
                doses[2 * w] = even * feet[w]
                doses[2 * w + 1] = even * feet[w]
                dosed_over[2 * w : 2 * w + 2] = slide
                if partly:
                    times_in_window(feet[w], on_sheet, window[2, 0], window[2, 1], window[2, 2], window[2, 3])
                feet[w] /= feet[w].sum()
            i0, i1, j0, j1 = window[2]
            dose = doses[2 * w + kinds[r] % 2]
            longer = slide / dosed_over[2 * w + kinds[r] % 2]
            paper_factor(load, dull, paper, i0, i1, j0, j1, dose, longer, factor, clean, sharp)
            if partly:
                times_in_window(factor, on_sheet, i0, i1, j0, j1)
            over_stroke(factor, path, line, bell, window, between, half_way, seen)
            read_paper(seen, nx, node, share_i, share_j, read)
            if partly:
                where_papered(read, papered[w], floor, met_of)
            ql = dot_in_window(clean, feet[w], i0, i1, j0, j1)
            qd = dot_in_window(sharp, feet[w], i0, i1, j0, j1)
            lam = fresh_lam * (paper[P_BLUNT] + (1.0 - paper[P_BLUNT]) * qd)
            elastic[3:, 3:] = bending * lam
            clogged += pose[LOAD] * slide * (1.0 - ql)
            # Pushing gets harder as the paper clogs, and the resultant goes further forward.
            forward = paper[P_REACH] * (1.0 - ql)
            pose[EU] += forward * pose[MOVE_U]
            pose[EV] += forward * pose[MOVE_V]
            if full and forward > 0.0:
                diagnostics[D_CLIPPED] += hold_in_room(pose, hull, rooms, centre)
        kept = 0
        if not full:
            coverage(pose, u, v, half, cell, strips, cover)
            if columns == 0:
                columns = lay_in_columns(u[:cells], v[:cells], upright, begins)
            kept = into_hull(
                pose, u, v, area[:cells], cover, upright, begins, ends[:, :columns], corners, cell / half
            )
            if kept == 3:
                diagnostics[D_FAILED_ROW] = r
                return STATUS_NO_CONTACT
            if kept == 2:
                diagnostics[D_TIPPED] += 1.0
            elif kept == 1:
                diagnostics[D_CLIPPED] += 1.0
            diagnostics[D_OFF_PAPER] += 1.0
        to_force = lam / (k0 * slide)
        beta = np.log(k0 * REFERENCE_PRESSURE * slide / lam)
        if pose[TWIST] != 0.0:
            for i in range(n):
                du = pose[MOVE_U] - pose[TWIST] * v[i]
                dv = pose[MOVE_V] + pose[TWIST] * u[i]
                faster = max(np.sqrt(du * du + dv * dv), 1e-3)
                log_twisted[i] = logs[headings[r], i] + np.log(faster)
                twisted[i] = shares[headings[r], i] / faster
            share = twisted
            log_rate = log_twisted
        else:
            share = shares[headings[r]]
            log_rate = logs[headings[r]]
        bare = full and pose[TWIST] == 0.0 and alike and not aged and not bumpy and not rises and shapes == 0
        if bare:
            # It is evaluated from its heights: nothing is written for it but weights, where they change.
            closed_on, closed_beyond, per, offset = h_on, h_beyond, 1.0 / lam, beta
            if to_force != weighed_for:
                for i in range(cells):
                    weight[i] = share[i] * to_force
            weighed_for = to_force
        else:
            wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
            if bumpy:
                read_ground(pose, u, v, half, ground_frame, ground, over)
                for i in range(n):
                    over[i] += h[i]
            elif rises:
                over[:] = h
            if rises:
                rise = ahead[headings[r]]
                for i in range(n):
                    over[i] += rise[i]
            closing_and_weight(
                over if bumpy or rises else h,
                share, cover, read, log_rate, lam, beta, to_force, floor, cells, base, weight,
            )  # fmt: skip
            closed_on, closed_beyond, per, offset = base_on, base_beyond, 1.0, 0.0
            weighed_for = 0.0
        kind = kinds[r]
        guess = memory[kind]
        if met[kind]:
            # Poses are in bedding lengths, which may have changed.
            guess *= lam_then[kind] / lam
            guess[0] += (depth - depth_then[kind]) / lam
        elif first:
            touch(closed_on, per, offset, u, v, weight, guess)
            first = False
        else:
            guess[:] = last
        lam_then[kind] = lam
        for anew in range(2):
            if anew == 1:
                # A pose found with other parts of the face on paper can lie too far off to begin from.
                guess[:] = 0.0
                touch(closed_on, per, offset, u, v, weight, guess)
            if shapes == 0:
                f, fu, fv = pose[LOAD], pose[LOAD] * pose[EU], pose[LOAD] * pose[EV]
                sampled = change[kind] < STEADY and anew == 0
                if sampled:
                    diagnostics[D_SAMPLED] += 1.0
                    sample_to_single(closed_on, per, weight, some, stands_for, owed, due[0], few)
                else:
                    wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
                    to_single(closed_on, per, weight, every)
                status, evaluations = search_pose(
                    closed_on, per, offset, u_on, v_on, weight, few if sampled else every, scratch, f, fu, fv,
                    short[kind] if sampled else nothing, tilt_free, constants[K_CAP] / lam, u_reach, v_reach,
                    guess, step, soft_on, logistic_on, due, TOLERANCE,
                )  # fmt: skip
                if some.size < cells:
                    change[kind] = fall_short(
                        few, weight, soft, logistic, step, some, stands_for, f, fu, fv, short[kind], owed
                    )  # fmt: skip
            else:
                target[0] = pose[LOAD]
                target[1] = pose[LOAD] * pose[EU]
                target[2] = pose[LOAD] * pose[EV]
                for j in range(shapes):
                    target[3 + j] = (pose[LOAD] - constants[K_WEIGHT]) * bend_press[j]
                    target[3 + j] += constants[K_WEIGHT] * bend_weight[j]
                status, evaluations = solve_flexible(
                    base_on, on_cells, weight, target, elastic, free, constants[K_CAP] / lam,
                    guess, soft_on, logistic_on, closing_on, TOLERANCE,
                )  # fmt: skip
            diagnostics[D_EVALUATIONS] += evaluations
            if status == STATUS_OK:
                break
        if status != STATUS_OK:
            diagnostics[D_FAILED_ROW] = r
            # What hangs on a strip of paper too narrow to stand on has no pose.
            return STATUS_NO_CONTACT if kept == 2 else status
        if shapes == 0:
            softplus_logistic(
                closed_beyond, per, u_beyond, v_beyond, offset + guess[0], guess[1], guess[2],
                soft_beyond, logistic_beyond,
            )  # fmt: skip
        else:
            close_flexed(base_beyond, beyond, guess, closing_beyond)
            softplus_logistic(
                closing_beyond, 1.0, u_beyond, v_beyond, 0.0, 0.0, 0.0, soft_beyond, logistic_beyond
            )
            for j in range(shapes):
                flexed[j] += guess[3 + j] * lam
            flexed_rows += 1
        met[kind] = True
        last[:] = guess
        before = depth
        depth += k0 * slide * pose[LOAD] / constants[K_MEAN_AREA]
        depth_then[kind] = before
        if not full:
            only_on_paper(soft, logistic, cover)
            cover[:] = 1.0
        if bare:
            due[0] = lam
            due[1:] = step
        else:
            wear(h_on, soft_on, logistic_on, u_on, v_on, lam, step[0], step[1], step[2], aged)
        wear(h_beyond, soft_beyond, logistic_beyond, u_beyond, v_beyond, lam, 0.0, 0.0, 0.0, False)
        if aged:
            strayed = off = 0.0
            if partly:
                off, strayed = cut_off_paper(soft_on[:cells], area, met_of, LEAST_PAPER * floor, read)
            spread_cut(soft_on[:cells], area, node, share_i, share_j, read, paper[P_STEP], nx, logistic, cut)
            laid_over_stroke(cut, path, line, bell, window, between, half_way, dose)
            clear_window(cut, window[0, 0], window[0, 1], window[0, 2], window[0, 3])
            laid = dot_in_window(factor, dose, i0, i1, j0, j1)
            if strayed > 0.0 and laid > 0.0:
                # What is cut where the mean of the stroke meets no paper to speak of lies with the rest.
                more = off / (laid * paper[P_STEP] * paper[P_STEP])
                dose *= more
                laid *= more
            if partly:
                # Metal per area of paper, where the paper fills but a part of the node.
                times_in_window(factor, per_sheet, i0, i1, j0, j1)
            deposit(load, dull, dose, factor, i0, i1, j0, j1)
            dosed_over[2 * w + kinds[r] % 2] = slide
            diagnostics[D_DEPOSITED] += laid * paper[P_STEP] * paper[P_STEP]
        if events[r] & EVENT_SNAPSHOT:
            wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
            snapshots[taken, :] = h
            noted[taken, N_CLEAN], noted[taken, N_SHARP], noted[taken, N_CLOGGED] = ql, qd, clogged
            if shapes > 0:
                amplitudes[taken, :] = flexed / flexed_rows
                flexed[:] = 0.0
                flexed_rows = 0
            taken += 1
    wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
    carried.counted[C_DEPTH], carried.counted[C_CLOGGED], carried.counted[C_BEGUN] = depth, clogged, 1.0
    return STATUS_OK

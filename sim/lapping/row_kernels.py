"""One row of the march, step by step: meet the paper, find the pose, wear the face, lay down what it cut.

Each step takes the records of :mod:`handlap.sim.lapping.record_kernels` and the scratch that a march makes.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel
from handlap.sim.lapping.column_kernels import (
    D_EVALUATIONS,
    EU,
    EV,
    EVENT_BRUSH,
    EVENT_SHEET,
    K_CAP,
    K_WEIGHT,
    LOAD,
    MOVE_U,
    MOVE_V,
    N_CLEAN,
    N_CLOGGED,
    N_SHARP,
    P_BRUSH_LEAVES,
    P_STEP_X,
    P_STEP_Y,
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
    read_paper,
    spread_cut,
    times_in_window,
    where_papered,
    windows_of,
)
from handlap.sim.lapping.pose_kernels import TOLERANCE, search_pose, touch
from handlap.sim.lapping.pressure_kernels import (
    close_flexed,
    closing_and_weight,
    correct_flexed,
    softplus_logistic,
)
from handlap.sim.lapping.standing_kernels import read_ground


@kernel()
def tend_paper(load, dull, constants, event):
    """What is done to the paper before a row: brushed, or changed for a new sheet."""
    if event & EVENT_BRUSH:
        for j in range(load.shape[0]):
            for i in range(load.shape[1]):
                load[j, i] *= constants[P_BRUSH_LEAVES]
    if event & EVENT_SHEET:
        for j in range(load.shape[0]):
            for i in range(load.shape[1]):
                load[j, i] = 0.0
                dull[j, i] = 0.0


@kernel()
def meet_standing(w, even, slide, face, spots, paper, carried, raster, reading, reach):
    """Lay out the standing ``w``, met for the first time; whether the raster is large enough for it.

    ``even``: mean depth that the first row takes off [m]; ``reach`` (2,): how far points lie from the middle,
    the half length [m] last.
    """
    path, line = paper.taps[paper.tap_at[w] : paper.tap_at[w + 1]], paper.lines[w]
    window, foot, doses = carried.windows[w], carried.feet[w], carried.doses
    ny, nx = carried.load.shape
    square = paper.constants[P_STEP_X] * paper.constants[P_STEP_Y]
    windows_of(
        paper.turns[w, 0], paper.turns[w, 1], reach[0], reach[1], reach[2], paper.constants, path, line,
        paper.bell_x, paper.bell_y, window,
    )  # fmt: skip
    if window[2].min() < 0 or window[2, 1] > nx or window[2, 3] > ny:
        return False
    partly = raster.per_sheet.shape[0] > 0
    inverse, cut = spots.logistic, raster.cut
    if partly:
        over_stroke(
            paper.on_sheet,
            path,
            line,
            paper.bell_x,
            paper.bell_y,
            window,
            raster.between,
            raster.half_way,
            raster.seen,
        )
        papered = carried.papered[w]
        read_paper(raster.seen, nx, reading.node, reading.share_i, reading.share_j, papered)
        for i in range(papered.shape[0]):
            papered[i] = max(papered[i], LEAST_PAPER)
            inverse[i] = 1.0 / papered[i]
    else:
        inverse[:] = 1.0
    # What a face cut evenly lays on the paper: its foot.
    spots.soft[:] = 1.0
    spread_cut(
        spots.soft[: face.cells], face.area, reading.node, reading.share_i, reading.share_j, inverse, square,
        nx, spots.base, cut,
    )  # fmt: skip
    laid_over_stroke(
        cut, path, line, paper.bell_x, paper.bell_y, window, raster.between, raster.half_way, foot
    )
    clear_window(cut, window[0, 0], window[0, 1], window[0, 2], window[0, 3])
    doses[2 * w] = even * foot
    doses[2 * w + 1] = even * foot
    carried.dosed_over[2 * w : 2 * w + 2] = slide
    if partly:
        times_in_window(foot, paper.on_sheet, window[2, 0], window[2, 1], window[2, 2], window[2, 3])
    foot /= foot.sum()
    return True


@kernel()
def read_row(w, way, slide, floor, paper, carried, raster, reading):
    """The paper halfway through a row, under every point (left in the reading) and under the part as a whole.

    ``w``: standing; ``way``: standing, push and pull apart; ``floor``: least cutting power [-].  Returns how
    clean and how sharp it is.
    """
    path, line = paper.taps[paper.tap_at[w] : paper.tap_at[w + 1]], paper.lines[w]
    window, foot = carried.windows[w], carried.feet[w]
    i0, i1, j0, j1 = window[2]
    factor = raster.factor
    paper_factor(
        carried.load, carried.dull, paper.constants, i0, i1, j0, j1, carried.doses[way],
        slide / carried.dosed_over[way], factor, raster.clean, raster.sharp,
    )  # fmt: skip
    partly = raster.per_sheet.shape[0] > 0
    if partly:
        times_in_window(factor, paper.on_sheet, i0, i1, j0, j1)
    over_stroke(
        factor, path, line, paper.bell_x, paper.bell_y, window, raster.between, raster.half_way, raster.seen
    )
    read_paper(
        raster.seen, carried.load.shape[1], reading.node, reading.share_i, reading.share_j, reading.read
    )
    if partly:
        where_papered(reading.read, carried.papered[w], floor, reading.met_of)
    clean = dot_in_window(raster.clean, foot, i0, i1, j0, j1)
    return clean, dot_in_window(raster.sharp, foot, i0, i1, j0, j1)


@kernel()
def lay_down(w, way, slide, floor, face, spots, paper, carried, raster, reading):
    """What a row cut, left in ``spots.soft`` [m], comes to lie on the paper; returns its volume [m³]."""
    path, line = paper.taps[paper.tap_at[w] : paper.tap_at[w + 1]], paper.lines[w]
    window, dose, factor = carried.windows[w], carried.doses[way], raster.factor
    i0, i1, j0, j1 = window[2]
    square = paper.constants[P_STEP_X] * paper.constants[P_STEP_Y]
    partly = raster.per_sheet.shape[0] > 0
    strayed = off = 0.0
    if partly:
        off, strayed = cut_off_paper(
            spots.soft[: face.cells], face.area, reading.met_of, LEAST_PAPER * floor, reading.read
        )
    spread_cut(
        spots.soft[: face.cells], face.area, reading.node, reading.share_i, reading.share_j, reading.read,
        square, carried.load.shape[1], spots.logistic, raster.cut,
    )  # fmt: skip
    laid_over_stroke(
        raster.cut, path, line, paper.bell_x, paper.bell_y, window, raster.between, raster.half_way, dose
    )
    clear_window(raster.cut, window[0, 0], window[0, 1], window[0, 2], window[0, 3])
    laid = dot_in_window(factor, dose, i0, i1, j0, j1)
    if strayed > 0.0 and laid > 0.0:
        # What is cut where the mean of the stroke meets no paper to speak of lies with the rest.
        more = off / (laid * square)
        dose *= more
        laid *= more
    if partly:
        # Metal per area of paper, where the paper fills but a part of the node.
        times_in_window(factor, raster.per_sheet, i0, i1, j0, j1)
    deposit(carried.load, carried.dull, dose, factor, i0, i1, j0, j1)
    carried.dosed_over[way] = slide
    return laid * square


@kernel()
def twisted(pose, face, share, log_rate, twist):
    """Area over rate, and its logarithm, of a row that turns the part about its middle, left in ``twist``."""
    for i in range(face.u.shape[0]):
        du = pose[MOVE_U] - pose[TWIST] * face.v[i]
        dv = pose[MOVE_V] + pose[TWIST] * face.u[i]
        faster = max(np.sqrt(du * du + dv * dv), 1e-3)
        twist.log_rate[i] = log_rate[i] + np.log(faster)
        twist.share[i] = share[i] / faster


@kernel()
def over_ground(pose, face, half, ground, ahead, over):
    """Heights over plate and paper (n,), left in ``over``; ``ahead``: how much the paper rises before the
    leading edge (n or 0,) [m]."""
    if ground.heights.size > 1:
        read_ground(pose, face.u, face.v, half, ground.frame, ground.heights, over)
        for i in range(over.shape[0]):
            over[i] += face.h[i]
    else:
        over[:] = face.h
    for i in range(ahead.shape[0]):
        over[i] += ahead[i]


@kernel()
def close_row(pose, heading, face, rates, spots, ground, cover, read, twist, over, scale, weight):
    """Closing of every point, in ``spots.base``, and weight of every cell, for a row.

    ``scale`` (5,): half length [m], bedding length λ [m], ln β, area to force, least cutting power.
    """
    half, lam, beta, to_force, floor = scale
    share, log_rate = rates.shares[heading], rates.logs[heading]
    if pose[TWIST] != 0.0:
        twisted(pose, face, share, log_rate, twist)
        share, log_rate = twist.share, twist.log_rate
    heights = face.h
    if over.shape[0] > 0:
        ahead = rates.ahead[heading] if rates.ahead.shape[0] > 0 else over[:0]
        over_ground(pose, face, half, ground, ahead, over)
        heights = over
    closing_and_weight(
        heights, share, cover, read, log_rate, lam, beta, to_force, floor, face.cells, spots.base, weight
    )


@kernel()
def first_guess(kind, carried, depth, lam, begun, near, weight):
    """Leave in ``carried.poses[kind]`` (3 + shapes,) where the search for the pose begins.

    ``depth``: mean depth removed so far [m]; ``begun``: whether there was a pose before.
    """
    guess = carried.poses[kind]
    if carried.met[kind]:
        # Poses are in bedding lengths, which may have changed.
        guess *= carried.lam_then[kind] / lam
        guess[0] += (depth - carried.depth_then[kind]) / lam
    elif begun:
        guess[:] = carried.last
    else:
        touch(near.base, near.u, near.v, weight, guess)


@kernel()
def find_pose(pose, kind, near, weight, carried, search, flexing, constants, lam, counted):
    """The pose of a row, in ``carried.poses[kind]``, from the guess there; returns a status.

    What the paper takes off the cells, over λ, is left in ``near.soft`` but for the last motion of a rigid
    part, ``search.step``.  A pose found with other parts of the face on paper can lie too far off to begin
    from: then once more from where the face touches.
    """
    found, target, own = carried.poses[kind], search.target, constants[K_WEIGHT]
    target[0], target[1], target[2] = pose[LOAD], pose[LOAD] * pose[EU], pose[LOAD] * pose[EV]
    shapes = flexing.press.shape[0]
    for j in range(shapes):
        target[3 + j] = (pose[LOAD] - own) * flexing.press[j] + own * flexing.weight[j]
    status = STATUS_OK
    for anew in range(2):
        if anew == 1:
            found[:] = 0.0
            touch(near.base, near.u, near.v, weight, found)
        status, evaluations = search_pose(near, weight, constants[K_CAP] / lam, found, search, TOLERANCE)
        counted[D_EVALUATIONS] += evaluations
        if status == STATUS_OK:
            break
    if shapes > 0:
        correct_flexed(near.soft, near.logistic, search.cells, search.step)
        search.step[:] = 0.0
    return status


@kernel()
def close_beyond(guess, beyond, search):
    """Softplus and its derivative at the points beyond the cells, at the pose that the cells have found."""
    if guess.shape[0] == 3:
        softplus_logistic(
            beyond.base, beyond.u, beyond.v, guess[0], guess[1], guess[2], beyond.soft, beyond.logistic
        )
    else:
        close_flexed(beyond.base, search.beyond, guess, beyond.closing)
        softplus_logistic(beyond.closing, beyond.u, beyond.v, 0.0, 0.0, 0.0, beyond.soft, beyond.logistic)


@kernel()
def take_note(notes, taken, h, clean, sharp, clogged, flexed, flexed_rows):
    """Note the face and the paper as they are; begin the mean of the bending anew."""
    notes.heights[taken, :] = h
    notes.paper[taken, N_CLEAN] = clean
    notes.paper[taken, N_SHARP] = sharp
    notes.paper[taken, N_CLOGGED] = clogged
    if flexed.shape[0] > 0:
        notes.amplitudes[taken, :] = flexed / flexed_rows
        flexed[:] = 0.0

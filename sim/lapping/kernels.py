"""Compiled loops of the lap: pressure law, pose solver, march.  All call one another, so one file.

Inside, everything is scaled: ``t = (h + g + c0 + cu·u + cv·v)/λ + ln β`` is the closing of a
cell in bedding lengths, shifted by the work the step does (β = k·p0·Δs/λ).  A step of sliding Δs
takes ``λ·ln(1 + eᵗ)`` off the cell; its average pressure is that over k·Δs.

The softplus and its derivative are written by one loop without branches and summed by another,
block by block, so that what the first wrote is still in the nearest cache.  exp(−|t|) is a power of
two times a polynomial on the remainder, ln(1+e) comes from 2·artanh(e/(2+e)); both are within 2e-10
(a test holds them against the library functions).

The solver looks for the pose in single precision and lands in double: its first iterations only
have to come near, and single precision does twice as many cells at once and reads half the memory.
They even do with a sample of the cells, as long as what its force and moments fall short of all
cells' hardly changes from row to row: that is known from the row before, and made good.  The last
evaluation, from which the heights fall and on which the balance of forces rests, is always in double
and of all cells.

A large face does not fit the nearer caches, so rows then cost what they read and write.  On a bare
face (flat plate, fresh paper all under it, one metal) a row goes over it once: the wear that the row
before still owes comes off in the loop that evaluates what is left.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.jit import CHECKS_FIVE_ARRAYS, IN_ORDER, kernel, times_power_of_two, widest_vectors

(X, Y, COS, SIN, LOAD, EU, EV, EU_STEADY, EV_STEADY, SLIDE, MOVE_U, MOVE_V, TWIST) = range(13)
"""Columns of a pose: place and turn of the part on the plate, load, where the load acts with
and without wobble (scaled by the half length of the face), sliding distance of the part's
middle, direction of motion in the frame of the part, turn per sliding distance times half length."""
POSE_COLUMNS = 13
EVENT_BRUSH, EVENT_SHEET, EVENT_SNAPSHOT = 1, 2, 4
STATUS_OK, STATUS_NO_CONVERGENCE, STATUS_NO_CONTACT, STATUS_NO_RASTER = 0, 1, 2, 3
LOWEST_LOG = 0.1799
"""Least cutting power for which the polynomial of the logarithm holds."""
MAX_EVALUATIONS = 400
MOST_SINGLE = 60
"""Evaluations in single precision after which the solver goes on in double, near or not."""
NEAR = 0.08
"""Motion of the pose, in bedding lengths, below which the solver turns to double precision."""
BLOCK = 1024
"""Cells whose softplus is written and summed at one go: their arrays stay in the nearer caches."""
SAMPLE_SHARE, SAMPLE_LEAST, SAMPLE_MOST = 24, 128, 512
"""The search for the pose begins on one cell in so many, but on no fewer and no more than so many."""
STEADY = 4e-3
"""Change of what the sample falls short by, from row to row, below which it is trusted for the next."""
ON_PAPER = 0.4999
"""Share of a cell that has paper from which the cell counts as standing on it."""
ROUNDING_OF_PLACES = 1e-9
"""Places closer than this, over the half length, differ by rounding alone."""
GOLDEN = 0.6180339887498949
VECTORS = 64
"""Numbers that a loop takes at one go at most: four vectors of sixteen."""
FREE_CAP = 40.0
PER_DOUBLING = float(1.0 / np.log(2.0))
ROUNDING = 1.5 * 2.0**52
"""Added to a number of moderate size it leaves the nearest whole number in the lowest bits."""
SINGLE_CAP, SINGLE_PER_DOUBLING, SINGLE_ROUNDING, SINGLE_ZERO = (
    np.float32(FREE_CAP),
    np.float32(PER_DOUBLING),
    np.float32(1.5 * 2.0**23),
    np.float32(0.0),
)
REFERENCE_PRESSURE = 1e3
"""p0 of the pressure law [Pa]; it only fixes where the approach is counted from."""
TOLERANCE = 3e-3
"""Last motion of the pose, in bedding lengths; the removal then errs by its square over 8."""
(K_RATE, K_BEDDING, K_HALF, K_CELL, K_CAP, K_MEAN_AREA, K_WEIGHT) = range(7)
(P_X0, P_Y0, P_STEP, P_FLOOR_LOAD, P_FLOOR_DULL, P_SCALE_LOAD, P_SCALE_DULL) = range(7)
(P_BRUSH_LEAVES, P_BLUNT, P_REACH) = range(7, 10)
"""What the paper remembers and how: lowest node and spacing of the raster [m], floors [-] and scales [m] of
loading and dulling; share of the loading that brushing leaves, share of λ that blunt paper keeps [-]; how
much further forward the resultant lies on clogged paper than on fresh, over the half length [-]."""
(N_CLEAN, N_SHARP, N_CLOGGED) = range(3)
"""What is noted of the paper at each snapshot: how clean and how sharp it is under the part, from 1 (new)
to 0 [-]; Σ load × sliding × (1 − clean) so far [N·m]."""
NOTED = 3
LEAST_PAPER = 1e-3
"""Least share of a stroke over paper that is believed of a spot: what is cut lies on paper [-]."""
(D_EVALUATIONS, D_CLIPPED, D_TIPPED, D_FAILED_ROW, D_DEPOSITED, D_OFF_PAPER, D_SAMPLED) = range(7)
DIAGNOSTICS = 7
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


@kernel(fastmath=IN_ORDER)
def _exp_negative(x):
    """exp(−x) for x ≥ 0, flat beyond 40; branch-free so that loops over it are vectorised."""
    y = min(x, FREE_CAP) * -PER_DOUBLING
    m = y + ROUNDING
    r = y - (m - ROUNDING)
    e = 1.5201922813793251e-05
    e = e * r + 0.00015469291158327577
    e = e * r + 0.0013333922559607798
    e = e * r + 0.009618027253604885
    e = e * r + 0.05550410353451622
    e = e * r + 0.2402265119815796
    e = e * r + 0.6931471807284468
    e = e * r + 0.9999999999616804
    return times_power_of_two(e, m)


@kernel(fastmath=True)
def _softplus(t):
    """ln(1+eᵗ) and its derivative, without branches."""
    e = _exp_negative(abs(t))
    inverse = 1.0 / ((2.0 + e) * (1.0 + e))
    z = e * (1.0 + e) * inverse
    w = z * z
    s = 0.2439390734394351
    s = s * w + 0.21398560630495922
    s = s * w + 0.2862020740649018
    s = s * w + 0.3999871124636203
    s = s * w + 0.6666667902645588
    s = s * w + 1.9999999998090048
    upper = (2.0 + e) * inverse
    return max(t, 0.0) + z * s, upper if t >= 0.0 else e * upper


@kernel(fastmath=True)
def softplus_logistic(base, per, u, v, a0, au, av, soft, logistic):
    """Write ln(1+eᵗ) and its derivative for t = per·base + a0 + au·u + av·v."""
    widest_vectors()
    for i in range(base.shape[0]):
        soft[i], logistic[i] = _softplus(per * base[i] + a0 + au * u[i] + av * v[i])


@kernel(fastmath=True)
def _wear_and_go_on(h, per, u, v, a0, au, av, soft, logistic, due):
    """What the step before still owes comes off the heights; then :func:`softplus_logistic` of what is left.

    In one loop, so that it computes while it waits for the memory.
    """
    widest_vectors()
    lam, d0, du, dv = due[0], due[1], due[2], due[3]
    for i in range(h.shape[0]):
        left = h[i] - lam * (soft[i] + logistic[i] * (d0 + du * u[i] + dv * v[i]))
        h[i] = left
        soft[i], logistic[i] = _softplus(per * left + a0 + au * u[i] + av * v[i])


@kernel(fastmath=True)
def _sums(weight, u, v, soft, logistic, zero, out):
    """Force, moments and stiffness: Σw·s·{1,u,v}, Σw·σ·{1,u,v,uu,uv,vv}, added to out (9,).

    In the precision of the arrays and of ``zero``; out is in double precision.
    """
    widest_vectors()
    f = fu = fv = zero
    k = ku = kv = kuu = kuv = kvv = zero
    for i in range(weight.shape[0]):
        a = weight[i] * soft[i]
        b = weight[i] * logistic[i]
        bu = b * u[i]
        bv = b * v[i]
        f += a
        fu += a * u[i]
        fv += a * v[i]
        k += b
        ku += bu
        kv += bv
        kuu += bu * u[i]
        kuv += bu * v[i]
        kvv += bv * v[i]
    out[0] += f
    out[1] += fu
    out[2] += fv
    out[3] += k
    out[4] += ku
    out[5] += kv
    out[6] += kuu
    out[7] += kuv
    out[8] += kvv


@kernel(fastmath=True)
def _wear(h, soft, logistic, u, v, lam, a0, au, av, keep):
    """:func:`_correct`, and take the wear off the heights; kept in ``soft`` [m] if ``keep``."""
    widest_vectors()
    if keep:
        for i in range(h.shape[0]):
            off = lam * (soft[i] + logistic[i] * (a0 + au * u[i] + av * v[i]))
            soft[i] = off
            h[i] -= off
    else:
        for i in range(h.shape[0]):
            h[i] -= lam * (soft[i] + logistic[i] * (a0 + au * u[i] + av * v[i]))


@kernel()
def _wear_due(h, soft, logistic, u, v, due):
    """Take off what a step still owes: :func:`_wear` by λ and the last motion of its pose, ``due`` (4,).

    λ = 0 says that nothing is owed.
    """
    if due[0] > 0.0:
        _wear(h, soft, logistic, u, v, due[0], due[1], due[2], due[3], False)
        due[0] = 0.0


@kernel()
def _evaluate(base, per, u, v, weight, a0, au, av, soft, logistic, due, sums):
    """Softplus and logistic (n,) at a pose, and their :func:`_sums`.

    What the step before still owes, ``due`` (see :func:`_wear_due`), comes off the base first.
    """
    sums[:] = 0.0
    if not CHECKS_FIVE_ARRAYS:
        _wear_due(base, soft, logistic, u, v, due)
    for start in range(0, base.shape[0], BLOCK):
        end = min(start + BLOCK, base.shape[0])
        b, x, y = base[start:end], u[start:end], v[start:end]
        s, t = soft[start:end], logistic[start:end]
        if due[0] > 0.0:
            _wear_and_go_on(b, per, x, y, a0, au, av, s, t, due)
        else:
            softplus_logistic(b, per, x, y, a0, au, av, s, t)
        _sums(weight[start:end], x, y, s, t, 0.0, sums)
    due[0] = 0.0


@kernel(fastmath=IN_ORDER)
def _single_exp_negative(x):
    """exp(−x) in single precision, within 3e-7 of itself."""
    y = min(x, SINGLE_CAP) * -SINGLE_PER_DOUBLING
    m = y + SINGLE_ROUNDING
    r = y - (m - SINGLE_ROUNDING)
    e = np.float32(0.0013276466799550539)
    e = e * r + np.float32(0.009675541292989488)
    e = e * r + np.float32(0.055507132895598714)
    e = e * r + np.float32(0.2402211972487261)
    e = e * r + np.float32(0.6931469670549284)
    e = e * r + np.float32(1.0000000716543662)
    return times_power_of_two(e, m)


@kernel(fastmath=True)
def _single_softplus_logistic(base, u, v, a0, au, av, soft, logistic):
    """:func:`softplus_logistic` in single precision, softplus within 4e-7, its derivative within 2e-3."""
    widest_vectors()
    for i in range(base.shape[0]):
        t = base[i] + a0 + au * u[i] + av * v[i]
        e = _single_exp_negative(abs(t))
        s = np.float32(0.01078774437046289)
        s = s * e + np.float32(-0.05522890383829508)
        s = s * e + np.float32(0.13479369825992865)
        s = s * e + np.float32(-0.22598272416975768)
        s = s * e + np.float32(0.3282733512836882)
        s = s * e + np.float32(-0.4994772515192202)
        s = s * e + np.float32(0.9999814807654758)
        upper = np.float32(-0.2354941686319137)
        upper = upper * e + np.float32(0.6862858976970445)
        upper = upper * e + np.float32(-0.9507914893898763)
        upper = upper * e + np.float32(0.9987372419340607)
        soft[i] = max(t, SINGLE_ZERO) + e * s
        logistic[i] = upper if t >= SINGLE_ZERO else e * upper


@kernel()
def _evaluate_single(base, u, v, weight, a0, au, av, scratch, sums):
    """Sums at a pose in single precision; ``scratch`` (2, BLOCK) holds a block's softplus and logistic."""
    sums[:] = 0.0
    b0, bu, bv = np.float32(a0), np.float32(au), np.float32(av)
    for start in range(0, base.shape[0], BLOCK):
        end = min(start + BLOCK, base.shape[0])
        soft = scratch[0, : end - start]
        logistic = scratch[1, : end - start]
        _single_softplus_logistic(base[start:end], u[start:end], v[start:end], b0, bu, bv, soft, logistic)
        _sums(weight[start:end], u[start:end], v[start:end], soft, logistic, SINGLE_ZERO, sums)


@kernel()
def _newton(sums, f, fu, fv, tilt_free, step):
    """Newton step of the pose from the sums; returns the directional derivative of the energy."""
    g0 = sums[0] - f
    if not tilt_free:
        step[0] = -g0 / max(sums[3], 1e-300)
        step[1] = 0.0
        step[2] = 0.0
        return g0 * step[0]
    g1 = sums[1] - fu
    g2 = sums[2] - fv
    ridge = 1e-12 * (sums[3] + sums[6] + sums[8]) + 1e-300
    # Cholesky of the 3×3 stiffness.
    l00 = np.sqrt(sums[3] + ridge)
    l10 = sums[4] / l00
    l20 = sums[5] / l00
    l11 = np.sqrt(max(sums[6] + ridge - l10 * l10, ridge))
    l21 = (sums[7] - l20 * l10) / l11
    l22 = np.sqrt(max(sums[8] + ridge - l20 * l20 - l21 * l21, ridge))
    y0 = -g0 / l00
    y1 = (-g1 - l10 * y0) / l11
    y2 = (-g2 - l20 * y0 - l21 * y1) / l22
    step[2] = y2 / l22
    step[1] = (y1 - l21 * step[2]) / l11
    step[0] = (y0 - l10 * step[1] - l20 * step[2]) / l00
    return g0 * step[0] + g1 * step[1] + g2 * step[2]


@kernel(fastmath=True)
def _reach(values):
    """Greatest absolute value; four at a time, for each comparison waits for the one before."""
    a = b = c = d = 0.0
    n = values.shape[0]
    for i in range(0, n - 3, 4):
        a = max(a, abs(values[i]))
        b = max(b, abs(values[i + 1]))
        c = max(c, abs(values[i + 2]))
        d = max(d, abs(values[i + 3]))
    for i in range(n - n % 4, n):
        a = max(a, abs(values[i]))
    return max(max(a, b), max(c, d))


@kernel(fastmath=True)
def _correct(soft, logistic, u, v, a0, au, av):
    """Carry softplus (n,) on along its derivative by a last small motion of the pose."""
    widest_vectors()
    for i in range(soft.shape[0]):
        soft[i] += logistic[i] * (a0 + au * u[i] + av * v[i])


@kernel(fastmath=True)
def _only_on_paper(soft, logistic, cover):
    """What hangs over the paper's edge is not worn: softplus and its derivative (n,) times the cover (n,)."""
    widest_vectors()
    for i in range(soft.shape[0]):
        soft[i] *= cover[i]
        logistic[i] *= cover[i]


@kernel()
def solve_pose(base, u, v, weight, f, fu, fv, tilt_free, cap, pose, soft, logistic, tolerance):
    """Find the pose (3,) at which Σ weight·softplus = f with moments fu, fv.

    Newton's method on a convex energy, with a search along each step for the point where the
    energy stops falling.  On return ``soft`` already carries the last, linearised correction,
    so that the force balance holds to rounding.  Returns (status, evaluations).
    """
    single = np.empty((4, base.shape[0]), dtype=np.float32)
    single[1] = u
    single[2] = v
    _halve(base, 1.0, weight, single)
    scratch = np.empty((2, BLOCK), dtype=np.float32)
    step = np.empty(3)
    status, evaluations = _search(
        base, 1.0, 0.0, u, v, weight, single, scratch, f, fu, fv, np.zeros(3), tilt_free, cap, _reach(u),
        _reach(v), pose, step, soft, logistic, np.zeros(4), tolerance,
    )  # fmt: skip
    if status == STATUS_OK:
        _correct(soft, logistic, u, v, step[0], step[1], step[2])
    return status, evaluations


@kernel()
def _some_of(u, v, cell):
    """Cells on which the search for the pose begins, by number: a few evenly spread, or all of a small face.

    u, v : places of the cells (n,); cell : their size in the same unit.  One of every so many in every
    so many raster rows, never above one another: an edge along a column must not be missed or doubled.
    """
    n = u.shape[0]
    wanted = min(max(n // SAMPLE_SHARE, SAMPLE_LEAST), SAMPLE_MOST)
    down = max(int(np.sqrt(n / wanted)), 1)
    along = max(n // (wanted * down), 1)
    which = np.empty(n, dtype=np.int32)
    found = 0
    for i in range(n):
        # Places are whole cells or halves from the middle: a quarter keeps rounding out of it.
        row = int(np.floor(v[i] / cell + 0.25))
        if row % down == 0:
            shift = int(row // down * GOLDEN % 1.0 * along)
            if (int(np.floor(u[i] / cell + 0.25)) + shift) % along == 0:
                which[found] = i
                found += 1
    return which[:found] if 2 * found > wanted else np.arange(n).astype(np.int32)


@kernel(fastmath=True)
def _halve(base, per, weight, single):
    """Leave ``per``·base and weight (n,) in the first and last row of ``single`` (4, n)."""
    widest_vectors()
    near, heavy = single[0], single[3]
    for i in range(near.shape[0]):
        near[i] = per * base[i]
        heavy[i] = weight[i]


@kernel(fastmath=True)
def _sample(base, per, weight, some, stands_for, owed, lam, single):
    """:func:`_halve` of ``some`` cells that stand for so many each, λ·owed (some,) off their base."""
    widest_vectors()
    near, heavy = single[0], single[3]
    for i in range(some.shape[0]):
        near[i] = per * (base[some[i]] - lam * owed[i])
        heavy[i] = stands_for * weight[some[i]]


@kernel(fastmath=True)
def _fall_short(single, weight, soft, logistic, step, some, stands_for, f, fu, fv, short, owed):
    """By how much force and moments of ``some`` cells fall short of all cells', over the force.

    At the pose just found, where those of all cells are f, fu, fv.  Left in ``short`` (3,), the softplus
    of these cells in ``owed`` (some,).  Returns the greatest change, or 1 if the sample tells nothing of
    the face because it carries less than half the load, or half as much again.
    """
    widest_vectors()
    u, v = single[1], single[2]
    g = gu = gv = 0.0
    for i in range(some.shape[0]):
        j = some[i]
        s = soft[j] + logistic[j] * (step[0] + step[1] * u[i] + step[2] * v[i])
        owed[i] = s
        a = weight[j] * s
        g += a
        gu += a * u[i]
        gv += a * v[i]
    now = (1.0 - stands_for * g / f, (fu - stands_for * gu) / f, (fv - stands_for * gv) / f)
    change = max(abs(now[0] - short[0]), abs(now[1] - short[1]), abs(now[2] - short[2]))
    short[0], short[1], short[2] = now
    return change if abs(now[0]) < 0.5 else 1.0


@kernel()
def _search(
    base, per, offset, u, v, weight, single, scratch, f, fu, fv, short, tilt_free, cap, u_max, v_max,
    pose, step, soft, logistic, due, tolerance,
):  # fmt: skip
    """:func:`solve_pose` for closings per·base + offset.

    It begins in single precision with the cells ``single`` (4, m): all, or a sample whose force and
    moments fall ``short`` (3,).  ``due``: what comes off base before it is used, see :func:`_wear_due`.
    Softplus stays as it was before the last motion of the pose, which is left in ``step`` (3,).
    """
    sums = np.empty(9)
    _evaluate_single(
        single[0], single[1], single[2], single[3], offset + pose[0], pose[1], pose[2], scratch, sums
    )
    evaluations = 1
    near = False
    reach = cap
    g, gu, gv = f - f * short[0], fu - f * short[1], fv - f * short[2]
    while evaluations < MAX_EVALUATIONS:
        slope = _newton(sums, g, gu, gv, tilt_free, step)
        motion = abs(step[0]) + abs(step[1]) * u_max + abs(step[2]) * v_max
        lost = not np.isfinite(motion)
        if not near and (lost or motion < NEAR or evaluations >= MOST_SINGLE):
            if motion < NEAR:
                pose[0] += step[0]
                pose[1] += step[1]
                pose[2] += step[2]
            _evaluate(base, per, u, v, weight, offset + pose[0], pose[1], pose[2], soft, logistic, due, sums)
            evaluations += 1
            g, gu, gv = f, fu, fv
            near = True
            reach = cap
            continue
        if lost:
            return STATUS_NO_CONVERGENCE, evaluations
        if motion < tolerance:
            pose[0] += step[0]
            pose[1] += step[1]
            pose[2] += step[2]
            return STATUS_OK, evaluations
        alpha = min(1.0, reach / motion)
        capped = alpha < 1.0
        low = 0.0
        high = -1.0
        at_low = slope
        while True:
            a0 = pose[0] + alpha * step[0]
            a1 = pose[1] + alpha * step[1]
            a2 = pose[2] + alpha * step[2]
            if near:
                _evaluate(base, per, u, v, weight, offset + a0, a1, a2, soft, logistic, due, sums)
            else:
                _evaluate_single(
                    single[0], single[1], single[2], single[3], offset + a0, a1, a2, scratch, sums
                )
            evaluations += 1
            here = (sums[0] - g) * step[0]
            if tilt_free:
                here += (sums[1] - gu) * step[1] + (sums[2] - gv) * step[2]
            if here <= 0.5 * abs(slope) or evaluations >= (MAX_EVALUATIONS if near else MOST_SINGLE):
                break
            # Overshot: the energy rises here.  Between false position and halving.
            high = alpha
            guess = low + (high - low) * at_low / (at_low - here)
            alpha = max(min(guess, low + 0.7 * (high - low)), low + 0.1 * (high - low))
        # A face that has worn into facets may have to roll far: longer steps while they hold.
        reach = 2.0 * reach if capped and high < 0.0 else cap
        pose[0] += alpha * step[0]
        pose[1] += alpha * step[1]
        pose[2] += alpha * step[2]
    return STATUS_NO_CONVERGENCE, evaluations


@kernel(fastmath=True)
def _close(base, basis, pose, t):
    """t = base + Σ pose_j·basis_j, basis (modes, n)."""
    widest_vectors()
    for i in range(base.shape[0]):
        t[i] = base[i]
    for j in range(pose.shape[0]):
        row = basis[j]
        for i in range(base.shape[0]):
            t[i] += pose[j] * row[i]


@kernel(fastmath=True)
def _flex_sums(weight, basis, soft, logistic, scratch, gradient, stiffness):
    """Reactions Σw·s·φ_j (modes,) and contact stiffness Σw·σ·φ_j·φ_k (modes, modes)."""
    widest_vectors()
    modes = basis.shape[0]
    for j in range(modes):
        row = basis[j]
        total = 0.0
        for i in range(weight.shape[0]):
            total += weight[i] * soft[i] * row[i]
            scratch[i] = weight[i] * logistic[i] * row[i]
        gradient[j] = total
        for k in range(j + 1):
            other = basis[k]
            total = 0.0
            for i in range(weight.shape[0]):
                total += scratch[i] * other[i]
            stiffness[j, k] = total
            stiffness[k, j] = total


@kernel()
def solve_flexible(
    base, basis, weight, target, bending, free, cap, pose, soft, logistic, closing, tolerance
):  # fmt: skip
    """Pose and bending amplitudes (modes,) of a part that bends: :func:`solve_pose` with more coordinates.

    basis (modes, n) : 1, u, v and the bending shapes; target (modes,) : load, moments and the
        loads' work on the shapes; bending (modes, modes) : elastic stiffness; free (modes,) :
        0 holds a coordinate at zero.

    The energy stays convex, so the same search works.  Returns (status, evaluations).
    """
    modes = basis.shape[0]
    gradient = np.empty(modes)
    hessian = np.empty((modes, modes))
    scratch = np.empty(weight.shape[0])
    spread = np.empty(modes)
    for j in range(modes):
        spread[j] = np.max(np.abs(basis[j]))
    _close(base, basis, pose, closing)
    softplus_logistic(closing, 1.0, basis[1], basis[2], 0.0, 0.0, 0.0, soft, logistic)
    _flex_sums(weight, basis, soft, logistic, scratch, gradient, hessian)
    evaluations = 1
    reach = cap
    while evaluations < MAX_EVALUATIONS:
        gradient += bending @ pose - target
        hessian += bending
        for j in range(modes):
            hessian[j, j] *= 1.0 + 1e-12
            hessian[j, j] += 1e-300
            if free[j] == 0.0:
                gradient[j] = 0.0
                hessian[j, :] = 0.0
                hessian[:, j] = 0.0
                hessian[j, j] = 1.0
        step = np.linalg.solve(hessian, -gradient)
        slope = gradient @ step
        motion = np.abs(step) @ spread
        if not np.isfinite(motion):
            return STATUS_NO_CONVERGENCE, evaluations
        if motion < tolerance:
            _close(base, basis, pose, closing)
            for j in range(modes):
                row = basis[j]
                for i in range(soft.shape[0]):
                    soft[i] += logistic[i] * step[j] * row[i]
            pose += step
            return STATUS_OK, evaluations
        alpha = min(1.0, reach / motion)
        capped = alpha < 1.0
        low = 0.0
        high = -1.0
        while True:
            trial = pose + alpha * step
            _close(base, basis, trial, closing)
            softplus_logistic(closing, 1.0, basis[1], basis[2], 0.0, 0.0, 0.0, soft, logistic)
            _flex_sums(weight, basis, soft, logistic, scratch, gradient, hessian)
            evaluations += 1
            here = (gradient + bending @ trial - target) @ (step * free)
            if here <= 0.5 * abs(slope) or evaluations >= MAX_EVALUATIONS:
                break
            high = alpha
            guess = low + (high - low) * slope / (slope - here)
            alpha = max(min(guess, low + 0.7 * (high - low)), low + 0.1 * (high - low))
        reach = 2.0 * reach if capped and high < 0.0 else cap
        pose += alpha * step
    return STATUS_NO_CONVERGENCE, evaluations


@kernel(fastmath=True)
def _log_near(r, centre):
    """ln(r/centre) and 1/r for 0.18 ≤ r ≤ 1 and centre² the least of them, without branches (1e-9)."""
    # One division for two.
    inverse = 1.0 / (r * (r + centre))
    z = (r - centre) * r * inverse
    w = z * z
    s = 0.2667325385969362
    s = s * w + 0.15252095632019813
    s = s * w + 0.22579160667294948
    s = s * w + 0.28549594632827596
    s = s * w + 0.40000628476725536
    s = s * w + 0.6666665993589754
    s = s * w + 2.000000000116939
    return z * s, (r + centre) * inverse


@kernel(fastmath=True)
def _prepare(h, share, cover, read, log_scale, lam, beta, to_force, floor, cells, base, weight):
    """Closing of every point and weight of every cell for the step, from heights over the paper.

    ``share`` is the area of a cell over its rate; ``read`` the cutting power of the paper, in whose
    place its inverse is left; ``log_scale`` the logarithm of all else that makes a spot cut faster or
    slower than the rest; ``floor``: least cutting power of the paper.  Its logarithm comes from 2·artanh
    by a polynomial, which the compiler can vectorise; below 0.001 from the library.
    """
    widest_vectors()
    per_lam = 1.0 / lam
    if floor >= 1.0:
        for i in range(h.shape[0]):
            base[i] = h[i] * per_lam + beta + log_scale[i]
        for i in range(cells):
            weight[i] = share[i] * cover[i] * to_force
        return
    if floor > LOWEST_LOG:
        centre = np.sqrt(floor)
        start = np.log(centre) + beta
        for i in range(h.shape[0]):
            logarithm, read[i] = _log_near(read[i], centre)
            base[i] = h[i] * per_lam + start + logarithm + log_scale[i]
    elif floor > LOWEST_LOG**4:
        # Fourth roots stay where the polynomial holds; the logarithm of a fourth root is a quarter.
        centre = np.sqrt(np.sqrt(np.sqrt(floor)))
        start = 4.0 * np.log(centre) + beta
        for i in range(h.shape[0]):
            logarithm, inverse = _log_near(np.sqrt(np.sqrt(read[i])), centre)
            square = inverse * inverse
            read[i] = square * square
            base[i] = h[i] * per_lam + start + 4.0 * logarithm + log_scale[i]
    else:
        for i in range(h.shape[0]):
            base[i] = h[i] * per_lam + beta + np.log(read[i]) + log_scale[i]
            read[i] = 1.0 / read[i]
    for i in range(cells):
        weight[i] = share[i] * cover[i] * to_force * read[i]


@kernel()
def touch(base, per, offset, u, v, weight, pose):
    """Set the approach so that the proudest loaded cell just touches: per·base + offset + pose = 0."""
    top = -1e300
    for i in range(weight.shape[0]):
        if weight[i] > 0.0:
            top = max(top, per * base[i] + offset + pose[1] * u[i] + pose[2] * v[i])
    pose[0] = -top


@kernel(fastmath=True)
def _coverage(pose, u, v, half, cell, strips, cover):
    """Share of a cell about every point (n,) that lies on paper: ramps one cell wide at every edge."""
    widest_vectors()
    per = 1.0 / cell
    c, s = half * pose[COS] * per, half * pose[SIN] * per
    for i in range(u.shape[0]):
        cover[i] = 0.0
    for k in range(strips.shape[0]):
        left, right = (pose[X] - strips[k, 0]) * per, (strips[k, 2] - pose[X]) * per
        near, far = (pose[Y] - strips[k, 1]) * per, (strips[k, 3] - pose[Y]) * per
        for i in range(u.shape[0]):
            x, y = c * u[i] - s * v[i], s * u[i] + c * v[i]
            along = min(max(left + x + 0.5, 0.0), 1.0) + min(max(right - x + 0.5, 0.0), 1.0) - 1.0
            across = min(max(near + y + 0.5, 0.0), 1.0) + min(max(far - y + 0.5, 0.0), 1.0) - 1.0
            cover[i] += max(along, 0.0) * max(across, 0.0)
    for i in range(u.shape[0]):
        cover[i] = min(cover[i], 1.0)


@kernel()
def _all_on_paper(pose, u_max, v_max, half, strips):
    """Whether the whole bounding box of the face lies on one strip."""
    for s in range(strips.shape[0]):
        inside = True
        for a in (-1.0, 1.0):
            for b in (-1.0, 1.0):
                x = pose[X] + half * (pose[COS] * a * u_max - pose[SIN] * b * v_max)
                y = pose[Y] + half * (pose[SIN] * a * u_max + pose[COS] * b * v_max)
                if x < strips[s, 0] or x > strips[s, 2] or y < strips[s, 1] or y > strips[s, 3]:
                    inside = False
        if inside:
            return True
    return False


@kernel(fastmath=True)
def _paper_factor(load, dull, paper, i0, i1, j0, j1, dose, longer, factor, clean, sharp):
    """Cutting power of the paper, fresh = 1, in a window of nodes, halfway through a step.

    ``dose`` (ny, nx) is what fresh paper would have cut there in the step before of the same kind [m],
    which this one is so many times ``longer`` than.  The half step is taken with the power's own fall (a
    linearly implicit midpoint): second order, and it does not overshoot where a step ages paper by several
    scales.  What is left of a clean and a sharp paper then is left in ``clean`` and ``sharp`` (1 to 0).
    """
    widest_vectors()
    fl = paper[P_FLOOR_LOAD]
    fd = paper[P_FLOOR_DULL]
    to_load = 1.0 / paper[P_SCALE_LOAD]
    to_dull = 1.0 / paper[P_SCALE_DULL]
    # Rows of few arrays at a time: the compiler makes sure that none overlap only of so many.
    for j in range(j0, j1):
        loaded, blunt, used = load[j, i0:i1], dull[j, i0:i1], dose[j, i0:i1]
        cleans, sharps, power = clean[j, i0:i1], sharp[j, i0:i1], factor[j, i0:i1]
        for i in range(i1 - i0):
            cleans[i] = _exp_negative(loaded[i] * to_load)
        for i in range(i1 - i0):
            sharps[i] = _exp_negative(blunt[i] * to_dull)
        for i in range(i1 - i0):
            ql = cleans[i]
            qd = sharps[i]
            by_load = fl + (1.0 - fl) * ql
            by_dull = fd + (1.0 - fd) * qd
            fall = by_load * (1.0 - fd) * qd * to_dull + by_dull * (1.0 - fl) * ql * to_load
            half_use = 0.5 * longer * used[i]
            power[i] = half_use * by_load * by_dull / (1.0 + half_use * fall)
        for i in range(i1 - i0):
            cleans[i] *= _exp_negative(power[i] * to_load)
        for i in range(i1 - i0):
            sharps[i] *= _exp_negative(power[i] * to_dull)
        for i in range(i1 - i0):
            power[i] = (fl + (1.0 - fl) * cleans[i]) * (fd + (1.0 - fd) * sharps[i])


@kernel(fastmath=True)
def _times(field, other, i0, i1, j0, j1):
    """Multiply a field by another in a window, in place."""
    widest_vectors()
    for j in range(j0, j1):
        for i in range(i0, i1):
            field[j, i] *= other[j, i]


@kernel(fastmath=True)
def _gather(field, taps, i0, i1, j0, j1, out):
    """Sum of a field (ny, nx) over ``taps`` (k, 3), places and weights, around every node of a window."""
    widest_vectors()
    n = i1 - i0
    fours = taps.shape[0] - taps.shape[0] % 4
    for j in range(j0, j1):
        to = out[j, i0:i1]
        to[:] = 0.0
        # Four at a time: what is summed is read and written a quarter as often.
        for k in range(0, fours, 4):
            a, b = i0 + int(taps[k, 0]), i0 + int(taps[k + 1, 0])
            c, d = i0 + int(taps[k + 2, 0]), i0 + int(taps[k + 3, 0])
            one = field[j + int(taps[k, 1]), a : a + n]
            two = field[j + int(taps[k + 1, 1]), b : b + n]
            three = field[j + int(taps[k + 2, 1]), c : c + n]
            four = field[j + int(taps[k + 3, 1]), d : d + n]
            p, q, r, s = taps[k, 2], taps[k + 1, 2], taps[k + 2, 2], taps[k + 3, 2]
            for i in range(n):
                to[i] += p * one[i] + q * two[i] + r * three[i] + s * four[i]
        for k in range(fours, taps.shape[0]):
            a = i0 + int(taps[k, 0])
            p = taps[k, 2]
            one = field[j + int(taps[k, 1]), a : a + n]
            for i in range(n):
                to[i] += p * one[i]


@kernel(fastmath=True)
def _scatter(field, taps, i0, i1, j0, j1, out):
    """The adjoint of :func:`_gather`: what lies in a window is spread over the taps, added to ``out``."""
    widest_vectors()
    for j in range(j0, j1):
        row = field[j, i0:i1]
        for k in range(taps.shape[0]):
            a = i0 + int(taps[k, 0])
            w = taps[k, 2]
            to = out[j + int(taps[k, 1]), a : a + i1 - i0]
            for i in range(i1 - i0):
                to[i] += w * row[i]


@kernel(fastmath=True)
def _box_along(field, reach, i0, i1, j0, j1, out):
    """Mean of a field over ± ``reach`` nodes along its rows, for the nodes of a window, by running sums.

    The field must hold zeros, or what counts, as far as that reaches beyond the window.
    """
    m = int(np.floor(reach - 0.5))
    part = reach - 0.5 - m
    each = 0.5 / reach
    for j in range(j0, j1):
        row = field[j, i0 - m - 1 : i1 + m + 1]
        to = out[j, i0:i1]
        total = 0.0
        for k in range(1, 2 * m + 2):
            total += row[k]
        for i in range(i1 - i0):
            to[i] = each * (total + part * (row[i] + row[i + 2 * m + 2]))
            total += row[i + 2 * m + 2] - row[i + 1]


@kernel(fastmath=True)
def _box_across(field, reach, i0, i1, j0, j1, total, out):
    """The same along its columns; ``total`` (1, nx or more) is scratch."""
    widest_vectors()
    m = int(np.floor(reach - 0.5))
    part = reach - 0.5 - m
    each = 0.5 / reach
    run = total[0, i0:i1]
    run[:] = 0.0
    for j in range(j0 - m, j0 + m + 1):
        row = field[j, i0:i1]
        for i in range(i1 - i0):
            run[i] += row[i]
    for j in range(j0, j1):
        to = out[j, i0:i1]
        before, after = field[j - m - 1, i0:i1], field[j + m + 1, i0:i1]
        for i in range(i1 - i0):
            to[i] = each * (run[i] + part * (before[i] + after[i]))
        leaving = field[j - m, i0:i1]
        for i in range(i1 - i0):
            run[i] += after[i] - leaving[i]


@kernel(fastmath=True)
def _blur(field, bell, along_i, i0, i1, j0, j1, out):
    """Weighted sum of a field over ``bell`` (b + 1,), on either side, along one axis, for a window of nodes.

    The bell is even, so that this is its own adjoint.
    """
    widest_vectors()
    for j in range(j0, j1):
        to = out[j, i0:i1]
        row = field[j, i0:i1]
        for i in range(i1 - i0):
            to[i] = bell[0] * row[i]
        for k in range(1, bell.shape[0]):
            w = bell[k]
            low = field[j, i0 - k : i1 - k] if along_i else field[j - k, i0:i1]
            high = field[j, i0 + k : i1 + k] if along_i else field[j + k, i0:i1]
            for i in range(i1 - i0):
                to[i] += w * (low[i] + high[i])


@kernel(fastmath=True)
def _clear(field, i0, i1, j0, j1):
    """Empty a window of a field."""
    widest_vectors()
    for j in range(j0, j1):
        for i in range(i0, i1):
            field[j, i] = 0.0


@kernel(fastmath=True)
def _dot(one, other, i0, i1, j0, j1):
    """Sum of the products of two fields in a window."""
    widest_vectors()
    total = 0.0
    for j in range(j0, j1):
        a = one[j, i0:i1]
        b = other[j, i0:i1]
        for i in range(i1 - i0):
            total += a[i] * b[i]
    return total


@kernel(fastmath=True)
def _where_papered(read, papered, floor, met_of):
    """From the mean of a stroke (n,) to that over what of it has paper, ``papered``; the first is left in
    ``met_of``."""
    widest_vectors()
    for i in range(read.shape[0]):
        met_of[i] = read[i]
        read[i] = max(read[i] / papered[i], floor)


@kernel(fastmath=True)
def _strayed(removed, area, met_of, least, inverse):
    """What was cut in all, area by depth (cells,), and the depths of cells whose stroke meets less paper than
    ``least``; one over what it meets is left in ``inverse``."""
    widest_vectors()
    off = strayed = 0.0
    for i in range(removed.shape[0]):
        inverse[i] = 1.0 / max(met_of[i], least)
        off += removed[i] * area[i]
        strayed += removed[i] if met_of[i] < least else 0.0
    return off, strayed


@kernel()
def _over_stroke(field, taps, line, bell, window, between, half_way, out):
    """What a spot feels of a field (ny, nx) over a stroke that sways: S·field in the window of the spots.

    ``line`` (2,) : half lengths along rows and along columns [nodes] of a stroke that runs along one of
        them, else noughts: then ``taps`` (k, 3) [nodes, nodes, share] say where it goes
    ``window`` (3, 4) : nodes i0, i1, j0, j1 of the spots, grown by the bell, and grown by the path besides
    """
    i0, i1, j0, j1 = window[0]
    a0, a1, b0, b1 = window[1]
    if line[0] > 0.0:
        _box_along(field, line[0], a0, a1, b0, b1, between)
    elif line[1] > 0.0:
        _box_across(field, line[1], a0, a1, b0, b1, half_way, between)
    else:
        _gather(field, taps, a0, a1, b0, b1, between)
    _blur(between, bell, True, i0, i1, b0, b1, half_way)
    _blur(half_way, bell, False, i0, i1, j0, j1, out)


@kernel()
def _laid_over_stroke(field, taps, line, bell, window, between, half_way, out):
    """The adjoint of :func:`_over_stroke`: what lies in the window of the spots, over the stroke.

    ``field`` must be empty outside that window; ``out`` is written in the grown one.
    """
    i0, i1, _, _ = window[0]
    a0, a1, b0, b1 = window[1]
    o0, o1, q0, q1 = window[2]
    reach = bell.shape[0] - 1
    _blur(field, bell, False, i0, i1, b0, b1, half_way)
    # Both sides are read as far as the bell reaches.
    _clear(half_way, a0 - reach, i0, b0, b1)
    _clear(half_way, i1, a1 + reach, b0, b1)
    _blur(half_way, bell, True, a0, a1, b0, b1, between)
    if line[0] > 0.0:
        # … and as far as the stroke does.
        far = int(np.floor(line[0] + 0.5)) + 1
        _clear(between, o0 - far, a0, b0, b1)
        _clear(between, a1, o1 + far, b0, b1)
        _box_along(between, line[0], o0, o1, b0, b1, out)
    elif line[1] > 0.0:
        far = int(np.floor(line[1] + 0.5)) + 1
        _clear(between, a0, a1, q0 - far, b0)
        _clear(between, a0, a1, b1, q1 + far)
        _box_across(between, line[1], a0, a1, q0, q1, half_way, out)
    else:
        _clear(out, o0, o1, q0, q1)
        _scatter(between, taps, a0, a1, b0, b1, out)


@kernel()
def _windows(cosine, sine, u_max, v_max, half, paper, taps, line, bell, window):
    """Nodes that a standing reaches, see :func:`_over_stroke`."""
    reach_x = half * (abs(cosine) * u_max + abs(sine) * v_max)
    reach_y = half * (abs(sine) * u_max + abs(cosine) * v_max)
    to_node = 1.0 / paper[P_STEP]
    window[0, 0] = int(np.floor((-reach_x - paper[P_X0]) * to_node + 0.5)) - 1
    window[0, 1] = int(np.floor((reach_x - paper[P_X0]) * to_node + 0.5)) + 2
    window[0, 2] = int(np.floor((-reach_y - paper[P_Y0]) * to_node + 0.5)) - 1
    window[0, 3] = int(np.floor((reach_y - paper[P_Y0]) * to_node + 0.5)) + 2
    b = bell.shape[0] - 1
    for k in range(4):
        window[1, k] = window[0, k] + (-b if k % 2 == 0 else b)
        far = int(np.floor(line[k // 2] + 0.5))
        for t in range(taps.shape[0]):
            far = max(far, int(abs(taps[t, k // 2])))
        window[2, k] = window[1, k] + (-far if k % 2 == 0 else far)


@kernel()
def _hold(pose, hull, rooms, centre):
    """Hold the resultant of a pose in the hull less a cell; 1 if it had left it.

    hull (k, 2) : outward normals; rooms (k,) : how far it may go along them from ``centre`` (2,), all over
        the half length
    """
    share = 1.0
    du, dv = pose[EU] - centre[0], pose[EV] - centre[1]
    for k in range(hull.shape[0]):
        want = hull[k, 0] * du + hull[k, 1] * dv
        if want > rooms[k]:
            share = min(share, rooms[k] / want)
    pose[EU] = centre[0] + share * du
    pose[EV] = centre[1] + share * dv
    return 1 if share < 1.0 else 0


@kernel()
def _columns(u, v, upright, begins):
    """Leave the cells (cells,) in ``upright`` column by column from the left, in each upwards; returns how
    many columns, which begin at ``begins`` (cells + 1,).

    What differs by rounding alone is in one column.
    """
    order = np.argsort(u)
    key = np.empty(u.shape[0])
    high = 4.0 * max(_reach(v), ROUNDING_OF_PLACES)
    found = 0
    begins[0] = 0
    for j in range(order.shape[0]):
        if j > 0 and u[order[j]] - u[order[j - 1]] > ROUNDING_OF_PLACES:
            found += 1
            begins[found] = j
        key[order[j]] = found + v[order[j]] / high
    upright[:] = np.argsort(key)
    begins[found + 1] = order.shape[0]
    return found + 1


@kernel()
def _ends_on_paper(cover, upright, begins, ends):
    """Leave the lowest and the highest cell of every column that stand on paper in ``ends`` (2, columns), −1
    for none: most columns are on paper at both ends, so that few cells are looked at."""
    for k in range(ends.shape[1]):
        ends[0, k] = -1
        ends[1, k] = -1
        for j in range(begins[k], begins[k + 1]):
            if cover[upright[j]] >= ON_PAPER:
                ends[0, k] = upright[j]
                break
        if ends[0, k] >= 0:
            j = begins[k + 1] - 1
            while cover[upright[j]] < ON_PAPER:
                j -= 1
            ends[1, k] = upright[j]


@kernel(fastmath=True)
def _covered(u, v, area, cover):
    """Area (cells,) that is on paper, and its moments along u and v."""
    widest_vectors()
    total = cu = cv = 0.0
    for i in range(area.shape[0]):
        a = area[i] * cover[i]
        total += a
        cu += a * u[i]
        cv += a * v[i]
    return total, cu, cv


@kernel()
def _corners(u, v, ends, corners):
    """Corners of the convex hull of cells, anticlockwise; returns how many: 2 where all lie on one line.

    By the monotone chain of Andrew (Information Processing Letters 9, 1979), from left to right along the
    lower side and back along the upper one.

    ends (2, columns) : numbers of the lowest and of the highest cell of every column, −1 for none
    corners (2·columns + 1,) : numbers of cells, left here
    """
    found = 0
    columns = ends.shape[1]
    for side in range(2):
        first = max(found - 1, 0)
        for j in range(columns):
            i = ends[side, j if side == 0 else columns - 1 - j]
            if i < 0 or (found > first and corners[found - 1] == i):
                continue
            while found > first + 1:
                a, b = corners[found - 2], corners[found - 1]
                if (u[b] - u[a]) * (v[i] - v[a]) > (v[b] - v[a]) * (u[i] - u[a]):
                    break
                found -= 1
            corners[found] = i
            found += 1
    return found - 1 if found > 1 and corners[found - 1] == corners[0] else found


@kernel()
def _side(u, v, corners, n, k):
    """Outward normal (2) of side ``k`` of a hull of ``n`` corners, and how far the hull reaches along it.

    Of two corners sides 2 and 3 are the ends.
    """
    at, to = corners[k % n], corners[(k + 1) % n]
    du, dv = u[to] - u[at], v[to] - v[at]
    length = max(np.sqrt(du * du + dv * dv), 1e-300)
    nu, nv = dv / length, -du / length
    if n == 2 and k >= 2:
        nu, nv = -du / length, -dv / length
    return nu, nv, nu * u[at] + nv * v[at]


@kernel()
def _into_hull(pose, u, v, area, cover, upright, begins, ends, corners, margin):
    """Move the resultant of a pose into the hull of what is on paper, shrunk by ``margin``, a cell.

    Only cells count, which end half a cell beyond their middles: points that are merely followed must
    not change the lap.  What is on paper need not be of one piece, nor its hull look like that of the
    face.  The resultant moves towards the middle of the area (cells,) that is on paper, where there is
    always a pose.  Returns 1 if the wobble carried it outside, 2 if its mean lies outside, 3 if nothing is
    on paper.  ``upright`` and ``begins``: see :func:`_columns`; ``ends`` and ``corners`` are scratch, see
    :func:`_corners`.
    """
    total, cu, cv = _covered(u, v, area, cover)
    if total <= 0.0:
        return 3
    cu /= total
    cv /= total
    _ends_on_paper(cover, upright, begins, ends)
    n = _corners(u, v, ends, corners)
    if n < 2:
        # On one cell, or on slivers of cells, nothing stands.
        away = 1e300 if n == 0 else np.hypot(pose[EU_STEADY] - u[corners[0]], pose[EV_STEADY] - v[corners[0]])
        pose[EU] = cu
        pose[EV] = cv
        return 2 if away > 0.5 * margin else 1
    share = 1.0
    outside = 0
    # Cells on one line have two sides and two ends.
    for k in range(4 if n == 2 else n):
        nu, nv, support = _side(u, v, corners, n, k)
        centre = nu * cu + nv * cv
        if centre > support:
            # Many cells with little paper each draw the middle off those that stand on it.
            share = 0.0
        support += 0.5 * margin
        room = max(support - margin - centre, 0.0)
        if nu * pose[EU_STEADY] + nv * pose[EV_STEADY] > support:
            outside = 2
        want = nu * pose[EU] + nv * pose[EV] - centre
        if want > room:
            share = min(share, room / want)
            outside = max(outside, 1)
    pose[EU] = cu + share * (pose[EU] - cu)
    pose[EV] = cv + share * (pose[EV] - cv)
    return outside if share == 1.0 else max(outside, 1)


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
        (2,) : see :func:`_hold`
    paper : constants of the paper's memory, see the columns above
    on_sheet (ny, nx) : share of every node that has paper; no nodes: all that is met
    standing (m,) : how the part stands and runs, one of: standings (k, 2), cosine and sine of its turn;
        lines (k, 2) and taps (t, 3), from tap_at[k] to tap_at[k + 1]: its path about the middle of the
        plate, see :func:`_over_stroke`; bell (b + 1,) : weights of the sway, along and across, from the
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
    some = _some_of(u[:cells], v[:cells], cell / half)
    owed = np.zeros(some.size)
    few = np.zeros((4, -(-some.size // VECTORS) * VECTORS), dtype=np.float32)
    few[1, : some.size] = u[some]
    few[2, : some.size] = v[some]
    stands_for = area[:cells].sum() / area[some].sum()
    scratch = np.empty((2, BLOCK), dtype=np.float32)
    u_reach, v_reach = _reach(u[:cells]), _reach(v[:cells])
    u_max, v_max = _reach(u), _reach(v)
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
        full = _all_on_paper(pose, u_max, v_max, half, strips)
        if aged:
            w = standing[r]
            path, line, window = taps[tap_at[w] : tap_at[w + 1]], lines[w], windows[w]
            if w != placed:
                _place(standings[w, 0], standings[w, 1], u, v, half, paper, nx, node, share_i, share_j)
                placed = w
            if not known[w]:
                known[w] = True
                _windows(
                    standings[w, 0], standings[w, 1], u_max, v_max, half, paper, path, line, bell, window
                )
                if window[2].min() < 0 or window[2, 1] > nx or window[2, 3] > ny:
                    diagnostics[D_FAILED_ROW] = r
                    return STATUS_NO_RASTER
                if partly:
                    _over_stroke(on_sheet, path, line, bell, window, between, half_way, seen)
                    _read_paper(seen, nx, node, share_i, share_j, papered[w])
                    for i in range(n):
                        papered[w, i] = max(papered[w, i], LEAST_PAPER)
                # What a face cut evenly lays on the paper: its foot.
                for i in range(n):
                    logistic[i] = 1.0 / papered[w, i] if partly else 1.0
                soft[:] = 1.0
                _spread(soft_on[:cells], area, node, share_i, share_j, logistic, paper[P_STEP], nx, base, cut)
                _laid_over_stroke(cut, path, line, bell, window, between, half_way, feet[w])
                _clear(cut, window[0, 0], window[0, 1], window[0, 2], window[0, 3])
                even = k0 * slide * pose[LOAD] / constants[K_MEAN_AREA]
                doses[2 * w] = even * feet[w]
                doses[2 * w + 1] = even * feet[w]
                dosed_over[2 * w : 2 * w + 2] = slide
                if partly:
                    _times(feet[w], on_sheet, window[2, 0], window[2, 1], window[2, 2], window[2, 3])
                feet[w] /= feet[w].sum()
            i0, i1, j0, j1 = window[2]
            dose = doses[2 * w + kinds[r] % 2]
            longer = slide / dosed_over[2 * w + kinds[r] % 2]
            _paper_factor(load, dull, paper, i0, i1, j0, j1, dose, longer, factor, clean, sharp)
            if partly:
                _times(factor, on_sheet, i0, i1, j0, j1)
            _over_stroke(factor, path, line, bell, window, between, half_way, seen)
            _read_paper(seen, nx, node, share_i, share_j, read)
            if partly:
                _where_papered(read, papered[w], floor, met_of)
            ql = _dot(clean, feet[w], i0, i1, j0, j1)
            qd = _dot(sharp, feet[w], i0, i1, j0, j1)
            lam = fresh_lam * (paper[P_BLUNT] + (1.0 - paper[P_BLUNT]) * qd)
            elastic[3:, 3:] = bending * lam
            clogged += pose[LOAD] * slide * (1.0 - ql)
            # Pushing gets harder as the paper clogs, and the resultant goes further forward.
            forward = paper[P_REACH] * (1.0 - ql)
            pose[EU] += forward * pose[MOVE_U]
            pose[EV] += forward * pose[MOVE_V]
            if full and forward > 0.0:
                diagnostics[D_CLIPPED] += _hold(pose, hull, rooms, centre)
        kept = 0
        if not full:
            _coverage(pose, u, v, half, cell, strips, cover)
            if columns == 0:
                columns = _columns(u[:cells], v[:cells], upright, begins)
            kept = _into_hull(
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
            _wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
            if bumpy:
                _read_ground(pose, u, v, half, ground_frame, ground, over)
                for i in range(n):
                    over[i] += h[i]
            elif rises:
                over[:] = h
            if rises:
                rise = ahead[headings[r]]
                for i in range(n):
                    over[i] += rise[i]
            _prepare(
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
                    _sample(closed_on, per, weight, some, stands_for, owed, due[0], few)
                else:
                    _wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
                    _halve(closed_on, per, weight, every)
                status, evaluations = _search(
                    closed_on, per, offset, u_on, v_on, weight, few if sampled else every, scratch, f, fu, fv,
                    short[kind] if sampled else nothing, tilt_free, constants[K_CAP] / lam, u_reach, v_reach,
                    guess, step, soft_on, logistic_on, due, TOLERANCE,
                )  # fmt: skip
                if some.size < cells:
                    change[kind] = _fall_short(
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
            _close(base_beyond, beyond, guess, closing_beyond)
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
            _only_on_paper(soft, logistic, cover)
            cover[:] = 1.0
        if bare:
            due[0] = lam
            due[1:] = step
        else:
            _wear(h_on, soft_on, logistic_on, u_on, v_on, lam, step[0], step[1], step[2], aged)
        _wear(h_beyond, soft_beyond, logistic_beyond, u_beyond, v_beyond, lam, 0.0, 0.0, 0.0, False)
        if aged:
            strayed = off = 0.0
            if partly:
                off, strayed = _strayed(soft_on[:cells], area, met_of, LEAST_PAPER * floor, read)
            _spread(soft_on[:cells], area, node, share_i, share_j, read, paper[P_STEP], nx, logistic, cut)
            _laid_over_stroke(cut, path, line, bell, window, between, half_way, dose)
            _clear(cut, window[0, 0], window[0, 1], window[0, 2], window[0, 3])
            laid = _dot(factor, dose, i0, i1, j0, j1)
            if strayed > 0.0 and laid > 0.0:
                # What is cut where the mean of the stroke meets no paper to speak of lies with the rest.
                more = off / (laid * paper[P_STEP] * paper[P_STEP])
                dose *= more
                laid *= more
            if partly:
                # Metal per area of paper, where the paper fills but a part of the node.
                _times(factor, per_sheet, i0, i1, j0, j1)
            _deposit(load, dull, dose, factor, i0, i1, j0, j1)
            dosed_over[2 * w + kinds[r] % 2] = slide
            diagnostics[D_DEPOSITED] += laid * paper[P_STEP] * paper[P_STEP]
        if events[r] & EVENT_SNAPSHOT:
            _wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
            snapshots[taken, :] = h
            noted[taken, N_CLEAN], noted[taken, N_SHARP], noted[taken, N_CLOGGED] = ql, qd, clogged
            if shapes > 0:
                amplitudes[taken, :] = flexed / flexed_rows
                flexed[:] = 0.0
                flexed_rows = 0
            taken += 1
    _wear_due(h_on, soft_on, logistic_on, u_on, v_on, due)
    carried.counted[C_DEPTH], carried.counted[C_CLOGGED], carried.counted[C_BEGUN] = depth, clogged, 1.0
    return STATUS_OK


@kernel(fastmath=True)
def _read_ground(pose, u, v, half, frame, ground, over):
    """Height of plate and paper (n,) under every point, bilinear, carried on level beyond the raster."""
    widest_vectors()
    ny, nx = ground.shape
    flat = ground.ravel()
    to_node = 1.0 / frame[2]
    x0 = (pose[X] - frame[0]) * to_node
    y0 = (pose[Y] - frame[1]) * to_node
    c = half * pose[COS] * to_node
    s = half * pose[SIN] * to_node
    for i in range(u.shape[0]):
        a = min(max(x0 + c * u[i] - s * v[i], 0.0), nx - 1.000001)
        b = min(max(y0 + s * u[i] + c * v[i], 0.0), ny - 1.000001)
        ni = np.int32(a)
        nj = np.int32(b)
        k = nj * nx + ni
        low = flat[k] + (a - ni) * (flat[k + 1] - flat[k])
        high = flat[k + nx] + (a - ni) * (flat[k + nx + 1] - flat[k + nx])
        over[i] = low + (b - nj) * (high - low)


@kernel(fastmath=True)
def _place(cosine, sine, u, v, half, paper, nx, node, share_i, share_j):
    """Where spots of a part in the middle of its stroke stand on the paper's raster.

    ``node`` (n,) is the lowest of the three by three nodes around a spot, counted through; ``share_i`` and
    ``share_j`` (n,) how far the spot lies beyond the middle one, −½ to ½.
    """
    widest_vectors()
    to_node = 1.0 / paper[P_STEP]
    x0 = -paper[P_X0] * to_node + 0.5
    y0 = -paper[P_Y0] * to_node + 0.5
    c = half * cosine * to_node
    s = half * sine * to_node
    for i in range(u.shape[0]):
        at_i = x0 + c * u[i] - s * v[i]
        at_j = y0 + s * u[i] + c * v[i]
        ni = np.int32(at_i)
        nj = np.int32(at_j)
        share_i[i] = at_i - ni - 0.5
        share_j[i] = at_j - nj - 0.5
        node[i] = (nj - 1) * nx + ni - 1


@kernel(fastmath=True)
def _read_paper(field, nx, node, share_i, share_j, read):
    """A field of the paper under every spot, shared between nine nodes by quadratic B-splines.

    Unlike linear shares these blur alike wherever a spot stands between nodes: by a quarter of the square
    of their spacing.
    """
    widest_vectors()
    flat = field.ravel()
    for i in range(read.shape[0]):
        k = node[i]
        a, b = share_i[i], share_j[i]
        left, middle, right = 0.5 * (0.5 - a) * (0.5 - a), 0.75 - a * a, 0.5 * (0.5 + a) * (0.5 + a)
        near = left * flat[k] + middle * flat[k + 1] + right * flat[k + 2]
        k += nx
        between = left * flat[k] + middle * flat[k + 1] + right * flat[k + 2]
        k += nx
        far = left * flat[k] + middle * flat[k + 1] + right * flat[k + 2]
        low, high = 0.5 * (0.5 - b) * (0.5 - b), 0.5 * (0.5 + b) * (0.5 + b)
        read[i] = low * near + (0.75 - b * b) * between + high * far


@kernel(fastmath=True)
def _spread(removed, area, node, share_i, share_j, inverse, step, nx, amount, cut):
    """Share out what was cut over the nodes around every spot, over their cutting power.

    It is the adjoint of the reading.
    ``inverse`` is one over the cutting power that was read at the spot, ``amount`` is scratch (n,).
    """
    per_node = 1.0 / (step * step)
    for i in range(removed.shape[0]):
        amount[i] = removed[i] * area[i] * inverse[i] * per_node
    lay = cut.ravel()
    for i in range(removed.shape[0]):
        k = node[i]
        a, b = share_i[i], share_j[i]
        left = amount[i] * 0.5 * (0.5 - a) * (0.5 - a)
        middle = amount[i] * (0.75 - a * a)
        right = amount[i] * 0.5 * (0.5 + a) * (0.5 + a)
        near, between, far = 0.5 * (0.5 - b) * (0.5 - b), 0.75 - b * b, 0.5 * (0.5 + b) * (0.5 + b)
        lay[k] += left * near
        lay[k + 1] += middle * near
        lay[k + 2] += right * near
        k += nx
        lay[k] += left * between
        lay[k + 1] += middle * between
        lay[k + 2] += right * between
        k += nx
        lay[k] += left * far
        lay[k + 1] += middle * far
        lay[k + 2] += right * far


@kernel(fastmath=True)
def _deposit(load, dull, dose, factor, i0, i1, j0, j1):
    """Lay what was cut on the nodes that cut it, each by its share of the cutting: per area of paper [m].

    Leaves what was laid in ``factor``.
    """
    widest_vectors()
    for j in range(j0, j1):
        used, metal = dose[j, i0:i1], factor[j, i0:i1]
        loaded, blunt = load[j, i0:i1], dull[j, i0:i1]
        for i in range(i1 - i0):
            metal[i] *= used[i]
        for i in range(i1 - i0):
            loaded[i] += metal[i]
        for i in range(i1 - i0):
            blunt[i] += metal[i]

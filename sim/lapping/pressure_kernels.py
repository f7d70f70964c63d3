"""The pressure law over all cells: softplus of the closing, its sums, and the wear that follows.

Inside, everything is scaled: ``t = (h + g + c0 + cu·u + cv·v)/λ + ln β`` is the closing of a
cell in bedding lengths, shifted by the work the step does (β = k·p0·Δs/λ).  A step of sliding Δs
takes ``λ·ln(1 + eᵗ)`` off the cell; its average pressure is that over k·Δs.

One loop without branches writes the softplus and its derivative, and another one sums them, block by
block, so that the second finds in the nearest cache what the first wrote.  exp(−|t|) is a power of two
times a polynomial of the remainder; ln(1+e) comes from 2·artanh(e/(2+e)).  Both are within 2e-10 of
themselves (tests hold them to the library functions).  Single precision has shorter polynomials: it only
has to bring the pose near.

A large face does not fit the nearer caches, and a row then costs what it reads and writes.  On a bare
face (flat plate, fresh paper all under it, one metal) a row passes over it once: the loop that evaluates a
cell first takes off it what the row before still owes.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import CHECKS_FIVE_ARRAYS, IN_ORDER, kernel, times_power_of_two, widest_vectors

LOWEST_LOG = 0.1799
"""Least cutting power for which the polynomial of the logarithm holds."""
BLOCK = 1024
"""Cells whose softplus is written and summed at one go: their arrays stay in the nearer caches."""
FREE_CAP = 40.0
"""Bedding lengths away from the paper beyond which the exponential is taken as flat [-]."""
PER_DOUBLING = float(1.0 / np.log(2.0))
ROUNDING = 1.5 * 2.0**52
"""Added to a number of moderate size it leaves the nearest whole number in the lowest bits."""
SINGLE_CAP, SINGLE_PER_DOUBLING, SINGLE_ROUNDING, SINGLE_ZERO = (
    np.float32(FREE_CAP),
    np.float32(PER_DOUBLING),
    np.float32(1.5 * 2.0**23),
    np.float32(0.0),
)


@kernel(fastmath=IN_ORDER)
def exp_negative(x):
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
    e = exp_negative(abs(t))
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
def wear(h, soft, logistic, u, v, lam, a0, au, av, keep):
    """:func:`correct`, and take the wear off the heights; kept in ``soft`` [m] if ``keep``."""
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
def wear_due(h, soft, logistic, u, v, due):
    """Take off what a step still owes: :func:`wear` by λ and the last motion of its pose, ``due`` (4,).

    λ = 0 says that nothing is owed.
    """
    if due[0] > 0.0:
        wear(h, soft, logistic, u, v, due[0], due[1], due[2], due[3], False)
        due[0] = 0.0


@kernel()
def evaluate(base, per, u, v, weight, a0, au, av, soft, logistic, due, sums):
    """Softplus and logistic (n,) at a pose, and their :func:`_sums`.

    What the step before still owes, ``due`` (see :func:`wear_due`), comes off the base first.
    """
    sums[:] = 0.0
    if not CHECKS_FIVE_ARRAYS:
        wear_due(base, soft, logistic, u, v, due)
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
def evaluate_single(base, u, v, weight, a0, au, av, scratch, sums):
    """Sums at a pose in single precision; ``scratch`` (2, BLOCK) holds a block's softplus and logistic."""
    sums[:] = 0.0
    b0, bu, bv = np.float32(a0), np.float32(au), np.float32(av)
    for start in range(0, base.shape[0], BLOCK):
        end = min(start + BLOCK, base.shape[0])
        soft = scratch[0, : end - start]
        logistic = scratch[1, : end - start]
        _single_softplus_logistic(base[start:end], u[start:end], v[start:end], b0, bu, bv, soft, logistic)
        _sums(weight[start:end], u[start:end], v[start:end], soft, logistic, SINGLE_ZERO, sums)


@kernel(fastmath=True)
def correct(soft, logistic, u, v, a0, au, av):
    """Carry softplus (n,) on along its derivative by a last small motion of the pose."""
    widest_vectors()
    for i in range(soft.shape[0]):
        soft[i] += logistic[i] * (a0 + au * u[i] + av * v[i])


@kernel(fastmath=True)
def only_on_paper(soft, logistic, cover):
    """What hangs over the paper's edge is not worn: softplus and its derivative (n,) times the cover (n,)."""
    widest_vectors()
    for i in range(soft.shape[0]):
        soft[i] *= cover[i]
        logistic[i] *= cover[i]


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
def closing_and_weight(h, share, cover, read, log_scale, lam, beta, to_force, floor, cells, base, weight):
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

"""A scrambled low-discrepancy sequence, whose points fill a cube more evenly than drawn ones would.

Sobol's sequence with the direction numbers of S. Joe and F. Y. Kuo, "Constructing Sobol sequences with better
two-dimensional projections", SIAM J. Sci. Comput. 30 (2008) 2635; scrambled as J. Matoušek proposes, "On the
L2-discrepancy for anchored boxes", J. Complexity 14 (1998) 527 (both from memory): a random lower triangular
matrix over the bits of every dimension, and a random shift.  It gives the points of ``scipy.stats.qmc.Sobol``
to the last bit (``tests/test_sobol.py``); to import that costs every start of the program half a second.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array

BITS = 30
# The polynomial of every dimension after the first, its leading and last coefficients included, and its
# first direction numbers.
_JOE_KUO: tuple[tuple[int, tuple[int, ...]], ...] = (
    (3, (1,)),
    (7, (1, 3)),
    (11, (1, 3, 1)),
    (13, (1, 1, 1)),
    (19, (1, 1, 3, 3)),
    (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)),
    (41, (1, 1, 5, 5, 5)),
    (47, (1, 1, 7, 11, 19)),
    (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)),
    (61, (1, 3, 5, 5, 31)),
    (67, (1, 3, 3, 9, 7, 49)),
    (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)),
    (103, (1, 1, 1, 15, 7, 5)),
    (109, (1, 3, 1, 15, 13, 25)),
    (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)),
    (137, (1, 3, 7, 13, 13, 15, 69)),
    (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)),
    (157, (1, 3, 1, 13, 9, 35, 107)),
    (167, (1, 3, 1, 5, 27, 61, 31)),
    (171, (1, 1, 5, 11, 19, 41, 61)),
    (185, (1, 3, 5, 3, 3, 13, 69)),
    (191, (1, 1, 7, 13, 1, 19, 1)),
    (193, (1, 3, 7, 5, 13, 19, 59)),
    (203, (1, 1, 3, 9, 25, 29, 41)),
    (211, (1, 3, 5, 13, 23, 1, 55)),
    (213, (1, 3, 7, 3, 13, 59, 17)),
    (229, (1, 3, 1, 3, 5, 53, 69)),
    (239, (1, 1, 5, 5, 23, 33, 13)),
    (241, (1, 1, 7, 7, 1, 61, 123)),
    (247, (1, 1, 7, 9, 13, 61, 49)),
    (253, (1, 3, 3, 5, 3, 55, 33)),
    (285, (1, 3, 1, 15, 31, 13, 49, 245)),
    (299, (1, 3, 5, 15, 31, 59, 63, 97)),
    (301, (1, 3, 1, 11, 11, 11, 77, 249)),
    (333, (1, 3, 1, 11, 27, 43, 71, 9)),
    (351, (1, 1, 7, 15, 21, 11, 81, 45)),
    (355, (1, 3, 7, 3, 25, 31, 65, 79)),
    (357, (1, 3, 1, 1, 19, 11, 3, 205)),
    (361, (1, 1, 5, 9, 19, 21, 29, 157)),
    (369, (1, 3, 7, 11, 1, 33, 89, 185)),
    (391, (1, 3, 3, 3, 15, 9, 79, 71)),
    (397, (1, 3, 7, 11, 15, 39, 119, 27)),
)
MOST_DIMENSIONS = 1 + len(_JOE_KUO)


def _directions(dimension: int) -> NDArray[np.uint32]:
    """Direction numbers (bits,) of a dimension, the first bit of a fraction foremost."""
    if dimension == 0:
        found = [1] * BITS
    else:
        polynomial, first = _JOE_KUO[dimension - 1]
        degree, found = len(first), list(first)
        for k in range(degree, BITS):
            new = found[k - degree]
            for i in range(1, degree + 1):
                if (polynomial >> (degree - i)) & 1:
                    new ^= found[k - i] << i
            found.append(new)
    return np.array([m << (BITS - 1 - k) for k, m in enumerate(found)], dtype=np.uint32)


def scrambled_sobol(dimensions: int, power: int, seed: int | np.random.SeedSequence) -> Array:
    """The first 2^power points (n, dimensions), in [0, 1); a longer sequence begins alike."""
    if not 1 <= dimensions <= MOST_DIMENSIONS:
        raise ValueError(f"{dimensions} dimensions: there are directions for 1 to {MOST_DIMENSIONS}")
    rng = np.random.default_rng(seed)
    place = np.arange(BITS, dtype=np.uint32)
    shift = rng.integers(2, size=(dimensions, BITS), dtype=np.uint32) @ (np.uint32(1) << place)
    mixing = np.tril(rng.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32))
    mixing[:, place, place] = 1
    plain = np.array([_directions(dimension) for dimension in range(dimensions)])
    # Bits of every direction number (dimensions, numbers, bits), the foremost first; mixed by parity.
    bits = (plain[:, :, None] >> place[::-1]) & np.uint32(1)
    mixed = np.einsum("dpk,djk->djp", mixing, bits) & np.uint32(1)
    directions = (mixed << place[::-1]).sum(axis=2, dtype=np.uint32)
    points = shift[None, :].astype(np.uint32)
    # In the order of a Gray code, every doubling is the points so far backwards, moved by one direction.
    for number in range(power):
        points = np.concatenate([points, points[::-1] ^ directions[:, number]])
    return np.asarray(points * 0.5**BITS)

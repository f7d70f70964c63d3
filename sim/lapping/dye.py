"""The dye picture: where a film put on before a block of strokes has been rubbed off."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array

FILM = 2.5e-6
"""Thickness of the film [m]; 2–3 µm, common practice."""
VALLEYS = 3.0
"""Depth, in Ra of the dyed face, that must go before its valleys lose their dye (1–6) [-]."""


def gone(
    removed: NDArray[np.floating[Any]], roughness: float, *, film: float = FILM, valleys: float = VALLEYS
) -> NDArray[np.bool_]:
    """Where the dye is gone: removal (…, n) since it was put on exceeds film + valleys·Ra.

    Parameters
    ----------
    removed : depth removed since the face was dyed (…, n) [m]
    roughness : Ra of the face when it was dyed [m]

    >>> gone(np.array([1e-6, 9e-6]), 1e-6).tolist()
    [False, True]
    """
    return np.asarray(removed) > film + valleys * roughness


def share_left(gone_map: Array, area: Array) -> Array:
    """Share of the face on which dye is left, from maps (…, n) and areas (n,) [-]."""
    return 1.0 - (gone_map @ area) / area.sum()


RENEW_BELOW = 0.5
"""Dye is put on again once less than this share of it is left."""


def follow(
    start: Array,
    looks: Array,
    area: Array,
    roughness_before: float,
    roughness: float,
    *,
    renews: NDArray[np.bool_] | None = None,
) -> tuple[Array, Array]:
    """The dye at every look of one face that is dyed at the start and again when half of it is gone.

    Parameters
    ----------
    start : the face when it is dyed first (n,) [m]
    looks : the face at every look (looks, n) [m]
    area : of each point (n,) [m²]
    roughness_before, roughness : Ra of the face when dyed first, and later [m]
    renews : at which looks (looks,) dye may be put on again; None: at all of them

    Returns
    -------
    where it is gone (looks, n) and the share left (looks,) before it is put on again

    >>> faces = np.array([[-4e-6, 0.0], [-8e-6, -4e-6], [-12e-6, -8e-6]])
    >>> follow(np.zeros(2), faces, np.ones(2), 0.0, 0.0)[1].tolist()
    [0.5, 0.0, 0.0]
    """
    gone_maps = np.empty(looks.shape, dtype=bool)
    left = np.empty(looks.shape[0])
    dyed, ra = np.asarray(start, dtype=float), roughness_before
    for i, face in enumerate(looks):
        gone_maps[i] = gone(dyed - face, ra)
        left[i] = share_left(gone_maps[i].astype(float), area)
        if left[i] < RENEW_BELOW and (renews is None or renews[i]):
            dyed, ra = face, roughness
    return gone_maps, left

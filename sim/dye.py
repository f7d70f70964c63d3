"""The dye picture: where a film put on before a block of strokes has been rubbed off."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.sim.outline import Array

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

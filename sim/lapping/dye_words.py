"""What a person sees of the dye, as a coarse grid: from letters, or from words.

The grid has three rows across the face, the far side first, and five columns along it, the left
end first; 1 where the dye is gone, 0 where it is left, ½ where some of it is, and not a number
where nothing was said.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import InputError
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array

ROWS, COLUMNS = 3, 5
LETTERS = {"g": 1.0, "h": 0.5, "l": 0.0, "?": np.nan}
LETTER_WORDS = "g gone, h half gone, l left, ? not seen"

_FAR, _MID, _NEAR = 0, 1, 2
PLACES: dict[str, tuple[tuple[int, ...], tuple[int, ...]]] = {
    "far left corner": ((0,), (0,)),
    "far right corner": ((0,), (4,)),
    "near left corner": ((2,), (0,)),
    "near right corner": ((2,), (4,)),
    "left end": ((0, 1, 2), (0,)),
    "right end": ((0, 1, 2), (4,)),
    "both ends": ((0, 1, 2), (0, 4)),
    "ends": ((0, 1, 2), (0, 4)),
    "four corners": ((0, 2), (0, 4)),
    "corners": ((0, 2), (0, 4)),
    "far side": ((0,), (0, 1, 2, 3, 4)),
    "near side": ((2,), (0, 1, 2, 3, 4)),
    "both sides": ((0, 2), (0, 1, 2, 3, 4)),
    "sides": ((0, 2), (0, 1, 2, 3, 4)),
    "left half": ((0, 1, 2), (0, 1)),
    "right half": ((0, 1, 2), (3, 4)),
    "middle": ((1,), (1, 2, 3)),
    "centre": ((1,), (1, 2, 3)),
    "everywhere": ((0, 1, 2), (0, 1, 2, 3, 4)),
}
"""Words for places → rows and columns of the grid."""
RIM = ("rim", "edges", "all round")
STATES = {"half gone": 0.5, "half left": 0.5, "gone": 1.0, "clear": 1.0, "left": 0.0, "still there": 0.0}
_STATE = re.compile(r"\b(half gone|half left|still there|gone|clear|left)\b(?!\s+(?:end|half|corner))")
_BUT = re.compile(r"\b(?:but for|but|except(?: for| in| at)?)\b")


def read_dye(text: str) -> Array:
    """The grid (3, 5) that letters or words describe.

    Fifteen letters are taken row by row from the far side; with words, what is not named is in
    the opposite state, unless both states are named.

    Raises
    ------
    InputError : if it cannot be understood; says what can

    >>> read_dye("ggggg ggggg ggggl")[2].tolist()
    [1.0, 1.0, 1.0, 1.0, 0.0]
    >>> read_dye("gone in the middle and both ends")[1].tolist()
    [1.0, 1.0, 1.0, 1.0, 1.0]
    >>> read_dye("left in the far right corner")[0].tolist()
    [1.0, 1.0, 1.0, 1.0, 0.0]
    """
    bare = re.sub(r"[\s/,|]", "", text.lower())
    if len(bare) == ROWS * COLUMNS and set(bare) <= set(LETTERS):
        grid = np.array([LETTERS[letter] for letter in bare]).reshape(ROWS, COLUMNS)
        if np.isnan(grid).all():
            raise InputError("--dye: nothing was seen in any zone")
        return grid
    if bare and set(bare) <= set(LETTERS):
        raise InputError(
            f"--dye: {len(bare)} letters; a grid has {ROWS} rows of {COLUMNS}, the far side first "
            f"({LETTER_WORDS})"
        )
    return _from_words(" ".join(text.lower().replace(";", ",").split()))


def _from_words(text: str) -> Array:
    grid = np.full((ROWS, COLUMNS), np.nan)
    marks = list(_STATE.finditer(text))
    if not marks:
        raise _not_understood(text)
    states = []
    for k, mark in enumerate(marks):
        stop = marks[k + 1].start() if k + 1 < len(marks) else len(text)
        state = STATES[mark[1]]
        places, *exceptions = _BUT.split(text[mark.end() : stop], maxsplit=1)
        zones = _zones(places) if places.strip(" ,.") else np.ones_like(grid, dtype=bool)
        grid[zones] = state
        for words in exceptions:
            if words.strip(" ,.") and k + 1 == len(marks):
                grid[_zones(words)] = 1.0 - state if state != 0.5 else np.nan
        states.append(state)
    rest = np.isnan(grid)
    if rest.any() and len(set(states)) == 1 and states[0] != 0.5:
        grid[rest] = 1.0 - states[0]
    return grid


def _zones(words: str) -> NDArray[np.bool_]:
    """Zones (3, 5) that some words name."""
    found = np.zeros((ROWS, COLUMNS), dtype=bool)
    known = False
    for name in sorted(PLACES, key=len, reverse=True):
        pattern = rf"\b{name}\b"
        if re.search(pattern, words):
            rows, columns = PLACES[name]
            found[np.ix_(rows, columns)] = True
            words, known = re.sub(pattern, " ", words), True
    for name in RIM:
        if re.search(rf"\b{name}\b", words):
            found[[0, 2], :] = True
            found[:, [0, 4]] = True
            words, known = words.replace(name, " "), True
    left = [
        w
        for w in re.findall(r"[a-z]+", words)
        if w not in ("in", "at", "the", "and", "on", "of", "is", "it", "a")
    ]
    if not known or left:
        raise _not_understood(words)
    return found


def _not_understood(words: str) -> InputError:
    return InputError(
        f'--dye: "{words.strip()}" is not understood; write 15 letters, three rows of five with the far side '
        f'first ({LETTER_WORDS}), or words such as "gone in the middle and both ends" with the places '
        f"{', '.join([*PLACES, *RIM])}"
    )


def zones_of(grid: Grid) -> tuple[NDArray[np.int64], Array]:
    """Zone (cells,) of every cell, row by row from the far left one, and the metal in each (15,) [m²]."""
    cells = slice(0, grid.n_cells)

    def part(at: Array, edges: Array, count: int) -> NDArray[np.int64]:
        return np.clip(count * (at - edges[0]) / (edges[-1] - edges[0]), 0, count - 1).astype(np.int64)

    column = part(grid.u[cells], grid.u_edges, COLUMNS)
    row = ROWS - 1 - part(grid.v[cells], grid.v_edges, ROWS)
    zone: NDArray[np.int64] = (row * COLUMNS + column).astype(np.int64)
    return zone, np.bincount(zone, grid.area[cells], ROWS * COLUMNS).astype(float)


def zone_shares(grid: Grid, gone: Array) -> Array:
    """Share of the dye gone (…, 15) in every zone, from maps (…, cells); not a number where no metal is."""
    zone, metal = zones_of(grid)
    weights = np.zeros((grid.n_cells, ROWS * COLUMNS))
    weights[np.arange(grid.n_cells), zone] = grid.area[: grid.n_cells]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(metal > 0.0, (gone @ weights) / metal, np.nan)

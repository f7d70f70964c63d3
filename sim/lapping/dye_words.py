"""What a person says of the dye, read as a picture: letters, words, or shares.

One reader for all commands; what cannot be understood is refused with what can.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.lapping.dye_picture import (
    COLUMNS,
    MOST_COLUMNS,
    MOST_ROWS,
    ROWS,
    WORDS_LEVELS,
    WORDS_SD,
    DyePicture,
    of_shares,
)

SHARES: dict[str, tuple[float, float]] = {
    "gone": (1.0, 1.0),
    "half gone": (0.5, np.nan),
    "left": (0.0, np.nan),
    "fading": (0.0, 1.0),
    "full": (0.0, 0.0),
    "fading or gone": (np.nan, 1.0),
    "not seen": (np.nan, np.nan),
}
"""States of a zone → share gone, and share fading or gone [-]; NaN where the word leaves it open."""
OPPOSITE = {
    "gone": "left",
    "left": "gone",
    "fading": "full",
    "full": "fading or gone",
    "fading or gone": "full",
    "half gone": "not seen",
}
"""What is meant of a place that is excepted, or of all not named where only one state is."""
LETTERS = {
    "g": "gone", "h": "half gone", "f": "fading", "u": "full", "l": "left", "?": "not seen",
}  # fmt: skip
LETTER_WORDS = "g gone, h half gone, f fading, u untouched (full), l left (full or fading), ? not seen"
SHARE_WORDS = "a share from 0 to 1, or from 0% to 100%"
GRID_WORDS = (
    f"{ROWS} rows of {COLUMNS} shares, rows parted by /, or a finer grid of up to {MOST_ROWS} rows of "
    f"{MOST_COLUMNS}"
)
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
STATES = {
    "fading or gone": "fading or gone", "faded or gone": "fading or gone", "half gone": "half gone",
    "half left": "half gone", "still there": "left", "untouched": "full", "full": "full",
    "fading": "fading", "faded": "fading", "gone": "gone", "clear": "gone", "left": "left",
}  # fmt: skip
"""Words for states; of two that begin alike the longer comes first."""
_STATE = re.compile(rf"\b({'|'.join(STATES)})\b(?!\s+(?:end|half|corner))")
_BUT = re.compile(r"\b(?:but for|but|except(?: for| in| at)?)\b")


def read_dye(text: str) -> DyePicture:
    """The picture that letters, words or shares describe.

    Fifteen letters are taken row by row from the far side; with words, what is not named is in
    the opposite state, unless more than one state is named.  Shares are those on which dye is left.

    Raises
    ------
    ValueError : if it cannot be understood; says what can

    >>> read_dye("ggggg ggggg ggggl").gone[10:].tolist()
    [1.0, 1.0, 1.0, 1.0, 0.0]
    >>> read_dye("gone in the middle and both ends").gone[5:10].tolist()
    [1.0, 1.0, 1.0, 1.0, 1.0]
    >>> read_dye("fading everywhere but the right end").faded[:5].tolist()
    [1.0, 1.0, 1.0, 1.0, 0.0]
    """
    bare = re.sub(r"[\s/,|]", "", text.lower())
    if len(bare) == ROWS * COLUMNS and set(bare) <= set(LETTERS):
        return _told([LETTERS[letter] for letter in bare], text)
    words = " ".join(text.lower().replace(";", ",").split())
    if _STATE.search(words):
        return _told(_from_words(words), text)
    if bare and set(bare) <= set(LETTERS):
        raise ValueError(
            f"{len(bare)} letters; a grid has {ROWS} rows of {COLUMNS}, the far side first ({LETTER_WORDS})"
        )
    if "/" in text:
        return of_shares(read_shares(text))
    raise _not_understood(text)


def _told(states: Sequence[str], text: str) -> DyePicture:
    """The picture of the states of all zones, told in words or letters."""
    gone, faded = np.array([SHARES[state] for state in states]).T
    if np.isnan(gone).all() and np.isnan(faded).all():
        raise ValueError(f'"{text.strip()}": nothing was seen in any zone')
    return DyePicture(gone, faded, WORDS_SD, WORDS_LEVELS)


def read_share(text: str) -> float:
    """A share from 0 to 1, or in per cent with its sign.

    Raises
    ------
    ValueError : says what is allowed

    >>> read_share("30%"), read_share(" 0.3 ")
    (0.3, 0.3)
    """
    plain = text.strip()
    try:
        value = float(plain.rstrip("% ")) / 100.0 if plain.endswith("%") else float(plain)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 1.0:
        raise ValueError(SHARE_WORDS)
    return value


def read_shares(text: str) -> Array:
    """Shares (rows, columns) written row by row, - where there is no metal or nothing was seen.

    Raises
    ------
    ValueError : says what is allowed

    >>> read_shares("0 0 50% - 1/0 0 0 0 0/1 1 1 1 1")[0].tolist()
    [0.0, 0.0, 0.5, nan, 1.0]
    """
    rows = [row.split() for row in text.split("/")]
    if not fits_grid(rows):
        raise ValueError(GRID_WORDS)
    return np.array([[np.nan if word == "-" else read_share(word) for word in row] for row in rows])


def fits_grid(rows: Sequence[Sequence[object]]) -> bool:
    """Whether rows are those of a grid of zones: all as long, three by five or finer.

    >>> fits_grid([[1] * 5] * 3), fits_grid([[1] * 10] * 6), fits_grid([[1] * 5, [], []])
    (True, True, False)
    """
    columns = len(rows[0]) if rows else 0
    return (
        ROWS <= len(rows) <= MOST_ROWS
        and COLUMNS <= columns <= MOST_COLUMNS
        and all(len(row) == columns for row in rows)
    )


def _from_words(text: str) -> list[str]:
    """States of all zones, row by row, by a text that names at least one state."""
    marks = list(_STATE.finditer(text))
    states = [STATES[mark[1]] for mark in marks]
    grid = np.full(
        (ROWS, COLUMNS), OPPOSITE[states[0]] if len(set(states)) == 1 else "not seen", dtype=object
    )
    named: list[tuple[NDArray[np.bool_], str]] = []
    excepted: list[tuple[NDArray[np.bool_], str]] = []
    for k, (mark, state) in enumerate(zip(marks, states, strict=True)):
        last = k + 1 == len(marks)
        stop = len(text) if last else marks[k + 1].start()
        places, *exceptions = _BUT.split(text[mark.end() : stop], maxsplit=1)
        everywhere = np.ones((ROWS, COLUMNS), dtype=bool)
        named.append((_zones(places) if places.strip(" ,.") else everywhere, state))
        excepted += [(_zones(w), OPPOSITE[state]) for w in exceptions if w.strip(" ,.") and last]
    # Of places that overlap the smaller one says more: corners are part of the ends.
    for zones, state in [*sorted(named, key=lambda one: -int(one[0].sum())), *excepted]:
        grid[zones] = state
    return [str(state) for state in grid.ravel()]


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


def _not_understood(words: str) -> ValueError:
    return ValueError(
        f'"{words.strip()}" is not understood; write 15 letters, three rows of five with the far side '
        f'first ({LETTER_WORDS}), {GRID_WORDS} (of dye left), or words such as "gone at both ends, fading '
        f'in the middle" with the states {", ".join(STATES)} and the places {", ".join([*PLACES, *RIM])}'
    )

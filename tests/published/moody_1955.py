"""A surface plate of 48 × 72 in, measured with an autocollimator, and its published reduction.

Source (published): J. C. Moody, "How to Calibrate Surface Plates in the Plant", The Tool
Engineer, October 1955: readings in arcseconds with a foot of 4 in along eight lines of a granite
plate, and the answer that all points lie between two planes 0.00018 in apart.  Two misprints of
the paper are corrected here: 18.8 on NE→NW and 4.3 on NE→SW.

x runs east and y north from the middle of the plate, both in inches; heights are in microinches,
positive = proud.  Stations lie evenly between (±32, ±20) in, which makes the spacing on the
diagonals 3.7736 in though the foot is 4.
"""

from __future__ import annotations

import math

import numpy as np

PUBLISHED_FLATNESS_IN = 0.00018
"""The paper's answer, for the datum of its own reduction [in]."""
FOOT_IN = 4.0

ARCSECONDS: dict[str, tuple[float, ...]] = {
    "NE-SE": (3.5, 2.1, 2.5, 2.8, 3.4, 3.2, 3.5, 4.0, 4.2, 3.5),
    "SE-SW": (16.4, 15.0, 15.6, 15.5, 15.1, 15.3, 15.1, 14.6, 14.0, 13.5, 13.5, 13.3, 13.3, 13.4, 14.0, 13.9),
    "NE-NW": (20.5, 19.7, 20.5, 20.3, 20.2, 19.9, 19.0, 19.5, 18.8, 18.6, 18.7, 18.6, 18.4, 18.5, 19.0, 17.9),
    "NW-SW": (6.0, 4.6, 4.5, 4.7, 5.0, 4.5, 5.9, 6.0, 6.0, 4.9),
    "NW-SE": (6.5, 6.0, 5.0, 5.2, 5.5, 5.6, 5.5, 5.0, 5.5, 4.8, 5.0, 5.2, 5.3, 4.9,
              4.6, 4.2, 5.3, 4.9, 4.5, 3.5),
    "NE-SW": (6.6, 5.4, 5.4, 5.2, 5.5, 5.7, 5.0, 5.0, 5.4, 4.5, 4.4, 4.5, 4.5, 4.8,
              4.2, 4.2, 4.2, 4.8, 4.3, 3.2),
    "N-S": (6.6, 6.4, 6.3, 6.5, 6.6, 6.9, 7.5, 7.4, 7.1, 7.0),
    "E-W": (11.7, 12.4, 12.1, 12.5, 12.0, 11.5, 11.5, 11.3, 11.3, 10.3, 10.8, 10.3, 10.0, 10.7, 10.4, 10.4),
}  # fmt: skip

PLACES_IN: dict[str, tuple[float, float]] = {
    "NE": (32.0, 20.0),
    "NW": (-32.0, 20.0),
    "SE": (32.0, -20.0),
    "SW": (-32.0, -20.0),
    "N": (0.0, 20.0),
    "S": (0.0, -20.0),
    "E": (32.0, 0.0),
    "W": (-32.0, 0.0),
}


def cumulated_uin(line: str) -> np.ndarray:
    """Heights of the stations of one line over its first, before any tilt, (readings + 1,) [µin]."""
    steps = FOOT_IN * 1e6 * math.pi / 648000.0 * np.array(ARCSECONDS[line])
    return np.concatenate([[0.0], np.cumsum(steps)])


def _between(line: str, start: float, end: float) -> np.ndarray:
    """The line, tilted and shifted so that its ends have these heights."""
    z = cumulated_uin(line)
    t = np.linspace(0.0, 1.0, z.size)
    return z + (start - z[0]) * (1.0 - t) + (end - z[-1]) * t


def heights_uin() -> dict[str, np.ndarray]:
    """Heights of all lines on one datum, by the reduction of the paper [µin].

    Each diagonal is tilted until its ends are equal, and its middle is set to zero; the perimeter
    is tilted onto the corners so found, the two middle lines onto the perimeter.
    """
    lines: dict[str, np.ndarray] = {}
    for diagonal in ("NW-SE", "NE-SW"):
        level = _between(diagonal, 0.0, 0.0)
        lines[diagonal] = level - level[10]
    corner = {
        "NW": lines["NW-SE"][0],
        "SE": lines["NW-SE"][-1],
        "NE": lines["NE-SW"][0],
        "SW": lines["NE-SW"][-1],
    }
    for side in ("NE-SE", "SE-SW", "NE-NW", "NW-SW"):
        start, end = side.split("-")
        lines[side] = _between(side, corner[start], corner[end])
    lines["N-S"] = _between("N-S", lines["NE-NW"][8], lines["SE-SW"][8])
    lines["E-W"] = _between("E-W", lines["NE-SE"][5], lines["NW-SW"][5])
    return lines


def stations_in() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """All 126 stations, those that several lines share repeated.

    Returns
    -------
    x, y (126,) [in]; height (126,) [µin]
    """
    x, y, z = [], [], []
    for line, heights in heights_uin().items():
        start, end = (np.array(PLACES_IN[p]) for p in line.split("-"))
        t = np.linspace(0.0, 1.0, heights.size)
        x.append(start[0] + (end[0] - start[0]) * t)
        y.append(start[1] + (end[1] - start[1]) * t)
        z.append(heights)
    return np.concatenate(x), np.concatenate(y), np.concatenate(z)


def distinct_stations_in() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The 111 distinct stations, repeats averaged: x, y [in], height [µin]."""
    x, y, z = stations_in()
    places, index = np.unique(np.round(np.column_stack([x, y]), 6), axis=0, return_inverse=True)
    index = index.reshape(-1)
    mean = np.bincount(index, weights=z) / np.bincount(index)
    return places[:, 0], places[:, 1], mean

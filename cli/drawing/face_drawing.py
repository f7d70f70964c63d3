"""A face as a few rows of blocks, for a terminal: a taller block stands prouder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlap.cli.reports.blocks import Drawing
from handlap.cli.reports.quantity import height, number
from handlap.sim.common.spoken import per_height

if TYPE_CHECKING:
    from handlap.sim.common.grid import Grid
    from handlap.sim.common.outline import Array, Outline

BLOCKS = "▁▂▃▄▅▆▇█"
TALL = 2.0
"""Height of a character over its width."""
MOST_ROWS = 16
SIDE = "  far   "


def face_drawing(grid: Grid, heights: Array, width: int, scale: tuple[float, float] | None = None) -> Drawing:
    """Draw heights (n,) [m] in at most ``width`` columns; openings stay empty.

    ``scale``: lowest and highest height of the blocks, where several faces share one [m].
    """
    import numpy as np

    cells = slice(0, grid.n_cells)
    long, wide = np.ptp(grid.u_edges), np.ptp(grid.v_edges)
    columns = int(min(width - len(SIDE), MOST_ROWS * TALL * long / wide))
    rows = int(max(2, round(columns * wide / long / TALL)))
    low, high = scale or (float(heights[cells].min()), float(heights[cells].max()))
    at_u = np.minimum((columns * (grid.u[cells] - grid.u_edges[0]) / long).astype(int), columns - 1)
    at_v = np.minimum((rows * (grid.v[cells] - grid.v_edges[0]) / wide).astype(int), rows - 1)
    area, moment = np.zeros((rows, columns)), np.zeros((rows, columns))
    np.add.at(area, (at_v, at_u), grid.area[cells])
    np.add.at(moment, (at_v, at_u), grid.area[cells] * heights[cells])
    full = (long / columns) * (wide / rows)
    lines = []
    for row in range(rows - 1, -1, -1):
        text = "".join(
            _block(moment[row, c] / area[row, c], low, high) if area[row, c] > 0.5 * full else " "
            for c in range(columns)
        )
        side = SIDE if row == rows - 1 else "  near  " if row == 0 else " " * len(SIDE)
        lines.append(side + text)
    lines.append(f"{' ' * len(SIDE)}left{' ' * max(1, columns - 9)}right")
    ends = f"{BLOCKS[0]} {height(low, 2)} (low)   {BLOCKS[-1]} {height(high, 2)} (proud)"
    lines.append(f"{' ' * len(SIDE)}{ends}")
    return Drawing(
        tuple(lines),
        f"Heights run from {number(per_height() * low, 2)} to {height(high, 2)}.",
    )


def outline_drawing(outline: Outline, width: int) -> list[str]:
    """A face in at most ``width`` columns of plain characters: where there is metal and where is none."""
    import numpy as np

    columns = int(max(8, min(width - len(SIDE) - 1, MOST_ROWS * TALL * outline.length / outline.width)))
    rows = int(max(2, round(columns * outline.width / outline.length / TALL)))
    u = ((np.arange(columns) + 0.5) / columns - 0.5) * outline.length
    v = ((np.arange(rows) + 0.5) / rows - 0.5) * outline.width
    metal = np.asarray(outline.contains(np.array([(x, y) for y in v for x in u]))).reshape(rows, columns)
    lines = []
    for row in range(rows - 1, -1, -1):
        side = SIDE if row == rows - 1 else "  near  " if row == 0 else " " * len(SIDE)
        lines.append(side + "".join("#" if there else " " for there in metal[row]))
    lines.append(f"{' ' * len(SIDE)}left{' ' * max(1, columns - 9)}right")
    return [line.rstrip() for line in lines]


def _block(height: float, low: float, high: float) -> str:
    if high <= low:
        return BLOCKS[0]
    return BLOCKS[max(0, min(len(BLOCKS) - 1, int(len(BLOCKS) * (height - low) / (high - low))))]

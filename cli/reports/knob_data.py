"""What a page with knobs goes by: the small lap as its script works it, and knobs in the user's units."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.cli.drawing import colours
from handlap.cli.reports.quantity import height
from handlap.sim.common.outline import Array
from handlap.sim.common.spoken import (
    per,
    per_swarf,
    unit,
)
from handlap.sim.face.straightedge import ROCKS_BELOW
from handlap.sim.job.stroke_path import PATTERNS
from handlap.sim.lapping.paper_memory import PaperMemory
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.set_up import HEADINGS
from handlap.sim.materials.paper_law import EDGE_RISE_LENGTH
from handlap.sim.teaching.knob_errors import CAUGHT, LEAST_ERROR
from handlap.sim.teaching.knobs import (
    HELD,
    HIGHEST_HANDS,
    LEAST_PRESS,
    MOST_BLUNT,
    MOST_PRESS,
    KnobPaper,
    KnobRig,
    KnobSetting,
)

BACK = 8
"""In the events of a row, besides those of the kernel: the part comes back."""
LEVELS = np.linspace(0.0, 1.0, 256)


def text_of(values: NDArray[Any] | Sequence[float], kind: str = "<f4") -> str:
    """Numbers as base64, four bytes each unless said otherwise."""
    return base64.b64encode(np.ascontiguousarray(values).astype(kind).tobytes()).decode("ascii")


def knob_data(knobs: KnobRig) -> dict[str, Any]:
    """All that the script of the page goes by; SI but for what is shown."""
    return {
        **_face(knobs), **_hands(knobs), **_paper(knobs), **_shown(knobs),
        "knobs": continuous_knobs(knobs),
        "start": setting_json(knobs.start),
        "presets": [setting_json(setting) for _, setting in knobs.presets],
    }  # fmt: skip


def setting_json(setting: KnobSetting) -> dict[str, float]:
    """A setting as the script has it."""
    return {name: float(getattr(setting, name)) for name in KnobSetting.__dataclass_fields__}


def _face(knobs: KnobRig) -> dict[str, Any]:
    rig, grid = knobs.rig, knobs.rig.grid
    outline = knobs.scenario.part.outline
    stop = grid.marks["lines"][0]
    points = grid.points[:stop]
    low, high = points.min(axis=0), points.max(axis=0)
    lines = knobs.gauged.lines
    centre, normals, rooms = rig.room_in_hull
    return {
        "cells": grid.n_cells,
        "half": rig.half,
        "halfLength": outline.length / 2.0,
        "halfWidth": outline.width / 2.0,
        "cell": grid.cell_size,
        "u": text_of(grid.u / rig.half),
        "v": text_of(grid.v / rig.half),
        "area": text_of(grid.area),
        "scale": text_of(rig.scale),
        "own": text_of(1e6 * knobs.own),
        "meanArea": outline.area,
        "zone": {
            "points": stop,
            "middle": ((low + high) / 2.0).tolist(),
            "halves": ((high - low) / 2.0).tolist(),
        },
        "rocks": ROCKS_BELOW,
        "lines": [
            {
                "name": line.name,
                "from": int(grid.marks["lines"][0] + lines.offsets[i]),
                "s": text_of(lines.position[lines.offsets[i] : lines.offsets[i + 1]]),
                "length": line.length,
                "start": list(line.start),
                "end": list(line.end),
            }
            for i, line in enumerate(lines.lines)
        ],
        "hull": {
            "centre": (centre / rig.half).tolist(),
            "normals": normals.tolist(),
            "rooms": (rooms / rig.half).tolist(),
            "rim": rig.hull_normals.tolist(),
            "supports": (rig.hull_supports / rig.half).tolist(),
        },
        "raster": {
            "rows": grid.v_edges.size - 1,
            "columns": grid.u_edges.size - 1,
            "cells": text_of(grid.row * (grid.u_edges.size - 1) + grid.column, "<u2"),
        },
        "outline": [[[round(float(u), 6), round(float(v), 6)] for u, v in ring]
                    for ring in (outline.rim, *outline.openings)],
    }  # fmt: skip


def _hands(knobs: KnobRig) -> dict[str, Any]:
    scenario, grip = knobs.scenario, knobs.conditions.grip
    return {
        "weight": scenario.part.weight,
        "weightAt": list(scenario.part.weight_at),
        "friction": knobs.conditions.friction,
        "rate": knobs.conditions.rate,
        "oneWay": PATTERNS[scenario.strokes.pattern].one_way,
        "travel": scenario.strokes.length,
        "grip": {
            "along": grip.bias_along,
            "wobbleAlong": grip.wobble_along,
            "wobbleAcross": grip.wobble_across,
            "ratio": grip.push_over_pull,
            "swell": grip.swell,
            "rocking": grip.rocking,
        },
    }


def _paper(knobs: KnobRig) -> dict[str, Any]:
    layout = knobs.papers[0].layouts[-1]
    standing_of = {int(kind) // 2: int(at) for kind, at in zip(layout.kinds, layout.standing, strict=True)}
    direction = knobs.scenario.strokes.direction
    states, known = [], []
    for i, state in enumerate(knobs.states):
        facing = direction + state.operator - state.part
        at = [int(np.rint(a * HEADINGS / (2.0 * np.pi))) % HEADINGS for a in (facing, facing + np.pi)]
        known += [a for a in at if a not in known]
        standing = standing_of.get(i, _standing(layout, state.part, direction + state.operator))
        states.append({"facing": facing, "standing": standing, "ways": [known.index(a) for a in at]})
    return {
        "aged": knobs.scenario.wear.ages,
        "states": states,
        "ways": [text_of(knobs.rig.ways_to_edge[a]) for a in known],
        "riseLength": EDGE_RISE_LENGTH,
        "memory": _memory(knobs.memory),
        "papers": [_one_paper(paper) for paper in knobs.papers],
        "turns": list(knobs.turns),
    }


def _standing(layout: Layout, turn: float, path: float) -> int:
    """Which standing has this turn of the part and this path [rad]."""
    wanted = np.array([np.mod(turn + 1e-9, 2.0 * np.pi), np.mod(path + 1e-9, np.pi)]) - 1e-9
    return int(np.argmin(np.abs(layout.standings - wanted).sum(axis=1)))


def _memory(memory: PaperMemory) -> dict[str, Any]:
    return {
        "x0": memory.x0,
        "y0": memory.y0,
        "nodeX": float(memory.steps[0]),
        "nodeY": float(memory.steps[1]),
        "nx": memory.shape[1],
        "ny": memory.shape[0],
        "standings": [
            {
                "cosine": float(turn[0]),
                "sine": float(turn[1]),
                "along": _felt(float(line[0]), memory.bell_x),
                "across": _felt(float(line[1]), memory.bell_y),
            }
            for turn, line in zip(memory.turns, memory.lines, strict=True)
        ],
    }


def _felt(half: float, bell: Array) -> list[float]:
    """Weights of nodes, from the middle outwards, over a stroke of this half length [nodes] and its sway."""
    sway = np.concatenate([bell[:0:-1], bell])
    path = np.ones(1)
    if half > 0.0:
        whole = int(np.floor(half - 0.5))
        path = np.concatenate([[half - 0.5 - whole], np.ones(2 * whole + 1), [half - 0.5 - whole]]) / (
            2.0 * half
        )
    both = np.convolve(path, sway)
    return [float(w) for w in both[both.size // 2 :]]


def _one_paper(paper: KnobPaper) -> dict[str, Any]:
    law = paper.law
    return {
        "name": paper.grit.name,
        "bedding": paper.bedding,
        "rateFactor": law.rate_factor,
        "loadingFloor": law.loading_floor,
        "dullingFloor": law.dulling_floor,
        "loadingScale": law.loading_scale,
        "dullingScale": law.dulling_scale,
        "brushing": law.brushing,
        "bluntBedding": law.blunt_bedding,
        "frictionGain": law.friction_gain,
        "edgeRate": law.edge_rate,
        "edgeLength": law.edge_length,
        "edgeRise": law.edge_rise,
        "brushEvery": paper.brush_every,
        "sheetEvery": paper.sheet_every,
        "rows": [_rows(layout) for layout in paper.layouts],
    }


def _rows(layout: Layout) -> dict[str, Any]:
    return {
        "count": int(layout.x.size),
        "slower": list(layout.slower),
        "looks": list(layout.snapshot_strokes),
        "kinds": text_of(layout.kinds, "u1"),
        "events": text_of(layout.events + BACK * (layout.lean < 0.0), "u1"),
        "slides": text_of(layout.slide),
        "zAlong": text_of(layout.z_along),
        "zAcross": text_of(layout.z_across),
        "progress": text_of(layout.progress),
    }


def _shown(knobs: KnobRig) -> dict[str, Any]:
    part = knobs.scenario.part
    kinds = ("height", "length", "pressure", "force", "swarf")
    # Swarf goes as the mean depth does.
    swarf = per_swarf() * part.metal.density * part.outline.area
    return {
        "strokes": knobs.strokes,
        "per": {kind: swarf if kind == "swarf" else per(kind) for kind in kinds},
        "units": {kind: unit(kind) for kind in kinds},
        "limit": part.limit,
        "limitBy": part.limit_by,
        "allowance": part.allowance,
        "errors": {name: knobs.errors.get(name, 0.0) for name in HELD},
        "leastError": LEAST_ERROR,
        "caught": CAUGHT,
        "colours": {
            "height": _table(colours.HEIGHT),
            "removed": _table(colours.DEPTH),
            "pressure": _table(colours.PRESSURE),
        },
    }


def _table(colour: Any) -> str:
    return text_of(np.round(255.0 * colour(LEVELS)[:, :3]), "u1")


def continuous_knobs(knobs: KnobRig) -> list[dict[str, Any]]:
    """The continuous knobs: name, what it is called, range and step in the unit shown."""
    made = []
    for name, words, kind, low, high, steps in (
        ("height", "Hands over the paper", "length", 0.0, HIGHEST_HANDS, 20),
        ("lean", "Lean: right − left +", "length", -knobs.lean, knobs.lean, 28),
        ("press", "Press", "force", LEAST_PRESS, MOST_PRESS, 48),
        ("bow", "Hollow − crown +", "height", -knobs.bend, knobs.bend, 40),
        ("twist", "Twist", "height", -knobs.bend, knobs.bend, 40),
    ):
        factor = per(kind)
        made.append({
            "name": name, "words": words, "unit": unit(kind), "factor": factor,
            "low": low, "high": high, "step": (high - low) / steps,
        })  # fmt: skip
    if knobs.scenario.wear.ages:
        made.append({
            "name": "blunt", "words": "Paper: bite gone before", "unit": "%", "factor": 100.0,
            "low": 0.0, "high": MOST_BLUNT, "step": 0.05,
        })  # fmt: skip
    return made


def error_words(knobs: KnobRig, name: str) -> str:
    """The error of a figure as it is stated, rounded up."""
    percent = math.ceil(100.0 * knobs.errors[name] - 1e-9)
    return f"{height(LEAST_ERROR)} and {percent} % of the deepest cut"

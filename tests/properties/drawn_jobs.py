"""Whole jobs drawn at random by number: a scenario file of every sort, and what was logged of it.

A number always gives the same job.  Its tables hold quantities in SI with what they are, so that the same
job can be written in millimetres or inches, turned by a quarter, or worked twice as fast.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from handlap.sim.common.outline import Array, Outline, circle
from handlap.sim.common.units import System, from_si
from handlap.sim.face.leaf_readings import read_face
from handlap.sim.face.straightedge import standard_lines
from handlap.sim.job.scenario import StraightedgeLine
from handlap.sim.job.turning import SCHEDULES
from handlap.sim.materials.metals import METALS, Metal

UM = 1e-6
SHAPES = ("rectangle", "L", "U", "disc", "ring", "slender", "corner off", "bores")
METAL_NAMES = ("A356", "grey iron", "brass", "mild steel", "6061", "ductile iron")
PAPER_LISTS = (("P120",), ("P80", "P120"), ("P60", "P120", "P240"), ("P180",), ("P80", "P180", "P400"))
FACES = ("hollow", "crown", "twist", "mixed", "flat")
READ = ("leaves", "few", "none", "contradictory", "table", "exact table")
OFTEN = (0.35, 0.1, 0.1, 0.08, 0.17, 0.2)
GRADES = ("DIN 876 1", "DIN 876 2", "ISO 8512-2 1", "ASME B89.3.7 A", "ASME B89.3.7 B")
LEAVES = UM * np.array([20, 30, 40, 50, 60, 80, 100, 150, 200, 300, 400, 500, 700, 1000])


@dataclass(frozen=True)
class Quantity:
    """A number in SI and what it is, by a name of :data:`handlap.sim.common.units.QUANTITIES`."""

    value: float
    of: str


@dataclass(frozen=True)
class Place:
    """A place or shape of part or plate that turns with it: a point, and what of it does not turn [m].

    ``kind``: point; circle (with its diameter); slot (length, width, angle [rad]); strip (its other corner).
    """

    x: float
    y: float
    kind: str = "point"
    rest: tuple[float, ...] = ()

    def turned(self) -> Place:
        """The same a quarter further, anticlockwise."""
        if self.kind == "strip":
            x1, y1 = self.rest
            return Place(-y1, self.x, "strip", (-self.y, x1))
        rest = self.rest
        if self.kind == "slot":
            rest = (*rest[:2], rest[2] + math.pi / 2.0)
        return Place(-self.y, self.x, self.kind, rest)

    def written(self, system: System) -> list[float]:
        """As the list a file holds."""
        lengths = [self.x, self.y, *(self.rest[:2] if self.kind == "slot" else self.rest)]
        numbers = [from_si(value, "length", system) for value in lengths]
        return [*numbers, math.degrees(self.rest[2])] if self.kind == "slot" else numbers


@dataclass(frozen=True)
class DrawnJob:
    """A job as it is written down.

    Attributes
    ----------
    number : by which it was drawn
    shape, read, pattern : what sort of job it is, see ``SHAPES`` and ``READ``
    tables : name of a table → key → value; lists of tables as lists
    heights : the table of heights beside it, u, v, height (k, 3) [m], or None
    log : arguments of ``handlap log``, entry by entry
    strokes : that are simulated
    turns : whether a quarter-turned twin is the same job (plates that know x from y are not turned)
    """

    number: int
    shape: str
    read: str
    pattern: str
    tables: dict[str, Any]
    heights: Array | None
    log: tuple[tuple[str, ...], ...]
    strokes: int
    turns: bool

    def text(self, system: System = "mm") -> str:
        """The scenario file."""
        lines = [f'title = "Drawn job {self.number}, invented"', "invented = true", f'units = "{system}"']
        for name, table in self.tables.items():
            for one in table if isinstance(table, list) else [table]:
                lines.append(f"[[{name}]]" if isinstance(table, list) else f"[{name}]")
                lines += [f"{key} = {_written(value, system)}" for key, value in one.items()]
        return "\n".join(lines) + "\n"

    def write(self, folder: Path, system: System = "mm") -> Path:
        """Write the scenario and the table beside it; where the scenario is."""
        folder.mkdir(parents=True, exist_ok=True)
        if self.heights is not None:
            rows = [f"{1e3 * u:.9g},{1e3 * v:.9g},{1e6 * h:.9g}" for u, v, h in self.heights]
            (folder / "h.csv").write_text("\n".join(["u_mm,v_mm,height_um", *rows]) + "\n", encoding="utf-8")
        path = folder / "job.toml"
        path.write_text(self.text(system), encoding="utf-8")
        return path

    def with_(self, table: str, **keys: Any) -> DrawnJob:
        """The same job with other keys in a table; None takes one away."""
        new = {k: v for k, v in ({**self.tables.get(table, {}), **keys}).items() if v is not None}
        return replace(self, tables={**self.tables, table: new})

    def with_strokes(self, strokes: int) -> DrawnJob:
        """The same job with other strokes to simulate."""
        return replace(self, strokes=strokes)

    def quarter(self) -> DrawnJob:
        """The same job with part, plate and strokes turned by a quarter: only names of sides change."""
        tables: dict[str, Any] = {
            name: [_turned(one) for one in table] if isinstance(table, list) else _turned(table)
            for name, table in self.tables.items()
        }
        for name in ("part", "plate"):
            if "length" in tables.get(name, {}):
                table = tables[name]
                table["length"], table["width"] = table["width"], table["length"]
        strokes = tables["strokes"]
        strokes["direction"] = Quantity(strokes["direction"].value + math.pi / 2.0, "angle")
        heights = None
        if self.heights is not None:
            heights = np.column_stack([-self.heights[:, 1], self.heights[:, 0], self.heights[:, 2]])
        return replace(self, tables=tables, heights=heights)


def _turned(table: dict[str, Any]) -> dict[str, Any]:
    def one(value: Any) -> Any:
        if isinstance(value, Place):
            return value.turned()
        if isinstance(value, list):
            return [one(v) for v in value]
        return {k: one(v) for k, v in value.items()} if isinstance(value, dict) else value

    return {key: one(value) for key, value in table.items()}


def _written(value: Any, system: System) -> str:
    """A value as TOML."""
    if isinstance(value, Quantity):
        return repr(float(from_si(value.value, value.of, system)))
    if isinstance(value, Place):
        return _written(value.written(system), system)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {_written(v, system)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_written(v, system) for v in value) + "]"
    return repr(value)


def length_of(value: float) -> Quantity:
    """A length [m]."""
    return Quantity(float(value), "length")


def height_of(value: float) -> Quantity:
    """A height [m]."""
    return Quantity(float(value), "height")


# ---- what is drawn


def draw_job(number: int, *, exact: bool = False) -> DrawnJob:
    """The job of a number.

    ``exact``: nothing in it is uncertain: every number is stated, the face is an exact table, one paper.
    """
    rng = np.random.default_rng([number, 77])
    shape = str(rng.choice(SHAPES))
    read = "exact table" if exact else str(rng.choice(READ, p=OFTEN))
    size = float(np.exp(rng.uniform(np.log(0.02), np.log(1.5))))
    outline, part = _part(rng, shape, size)
    face = _face(rng, outline, smooth=exact)
    metal = METALS[str(rng.choice(METAL_NAMES))]
    thick = float(np.clip(rng.uniform(0.1, 0.4) * min(outline.length, outline.width), 0.004, 0.08))
    part |= {
        "metal": metal.name,
        "mass": Quantity(max(0.002, metal.density * outline.area * thick), "mass"),
        "limit": height_of(round(float(np.exp(rng.uniform(np.log(8.0), np.log(150.0))))) * UM),
        "limit_by": str(rng.choice(["straightedge", "zone"])),
    }
    if rng.random() < 0.5:
        part["allowance"] = height_of(round(float(rng.uniform(50, 600))) * UM)
    tables: dict[str, Any] = {"part": part}
    turns = True
    if rng.random() < 0.12 and not exact:
        part["thickness"] = length_of(max(0.001, 0.04 * min(outline.length, outline.width)))
        part["pressing"] = str(rng.choice(["middle", "rim", "backing"]))
    if rng.random() < 0.15:
        tables["part.inserts"] = [_insert(rng, outline, shape)]
    tables |= _readings(rng, read, outline, face)
    pattern, strokes, turning = _way(rng, outline)
    plate, paper, alike = _bench(rng, outline, pattern, strokes, turning, exact=exact)
    tables |= {"plate": plate, "paper": paper, "strokes": strokes, "turning": turning}
    hands, wear = _exact_hands(rng, outline) if exact else _hands(rng, outline)
    tables |= {"hands": hands, "wear": wear}
    if exact or rng.random() < 0.3:
        tables["checks"] = {"every": int(rng.integers(2, 20)) * 10}
    if number % 50 or exact:
        # Some hundreds of cells break laws as well as thousands, in a tenth of the time.
        tables["exact"] = {"cell": length_of(math.sqrt(outline.area / 300.0))}
    if exact:
        strokes["sway"] = length_of(0.003)
    heights = None
    if "heights" in tables["readings"]:
        count = 25 if exact else int(rng.integers(4, 10))
        heights = _heights(rng, outline, face, tables["readings"]["heights_sd"].value, count)
    log = _log(rng, outline, face, metal, part["mass"].value, strokes["length"].value, paper["grits"][0])
    count = 2 * int(rng.integers(5, 150))
    job = DrawnJob(number, shape, read, pattern, tables, heights, log, count, turns and alike)
    return job if exact else _seldom(job, outline)


def _seldom(job: DrawnJob, outline: Outline) -> DrawnJob:
    """A third of the jobs with one to three things that few people state.

    They have draws of their own, so that the rest of a job is what its number always gave.
    """
    rng = np.random.default_rng([job.number, 78])
    if rng.random() < 0.67:
        return job
    for name in rng.choice(sorted(SELDOM), size=int(rng.integers(1, 4)), replace=False):
        job = SELDOM[name](job, rng, outline)
    return job


def _ribbed(job: DrawnJob, rng: np.random.Generator, outline: Outline) -> DrawnJob:
    thickness = job.tables["part"].get("thickness")
    return job if thickness is None else job.with_("part", ribbed_as=length_of(2.5 * thickness.value))


def _worst_gap(job: DrawnJob, rng: np.random.Generator, outline: Outline) -> DrawnJob:
    """A first look in place of all readings."""
    at = int(rng.integers(len(LEAVES) - 1))
    where = str(rng.choice(["middle", "ends", "corner", "unknown"]))
    gap = [height_of(LEAVES[at]), height_of(LEAVES[at + 1]), where]
    tables = {name: table for name, table in job.tables.items() if name != "readings.line"}
    return replace(job, read="gap", heights=None, tables={**tables, "readings": {"worst_gap": gap}})


def _lump(job: DrawnJob, rng: np.random.Generator, outline: Outline) -> DrawnJob:
    x, y = (float(rng.uniform(-0.2, 0.2)) * side for side in (outline.length, outline.width))
    across = 0.1 * min(outline.length, outline.width)
    high = float(rng.choice([-1.0, 1.0])) * 20e-6
    lump = [length_of(x), length_of(y), length_of(across), length_of(high)]
    return replace(job.with_("paper", lumps=[lump]), turns=False)


Seldom = Callable[[DrawnJob, np.random.Generator, Outline], DrawnJob]
SELDOM: dict[str, Seldom] = {
    "a check every stroke": lambda job, rng, outline: job.with_("checks", every=1),
    "brushed every stroke": lambda job, rng, outline: job.with_("paper", brush_every=1),
    "sheets of a few strokes": lambda job, rng, outline: job.with_(
        "paper", brush_every=2, sheet_every=2 * int(rng.integers(1, 5))
    ),
    "turned every other stroke": lambda job, rng, outline: job.with_("turning", every=2),
    "heavier to the end": lambda job, rng, outline: job.with_(
        "hands", swell=Quantity(round(float(rng.uniform(-0.5, 0.5)), 2), "number")
    ),
    "an arc of the wrists": lambda job, rng, outline: job.with_(
        "hands", twist=Quantity(math.radians(round(float(rng.uniform(-15.0, 15.0)))), "angle")
    ),
    "rocking": lambda job, rng, outline: job.with_(
        "hands", rocking=length_of(0.05 * float(rng.uniform(-1.0, 1.0)) * min(outline.length, outline.width))
    ),
    "heavy on one side": lambda job, rng, outline: job.with_(
        "part", weight_at=Place(0.05 * outline.length, -0.05 * outline.width)
    ),
    "one bedding length": lambda job, rng, outline: job.with_(
        "wear", bedding_length=height_of(round(float(rng.uniform(3.0, 30.0)), 1) * UM)
    ),
    "a bowed straightedge": lambda job, rng, outline: (
        job if "heights" in job.tables["readings"] else job.with_("readings", edge_bow=height_of(3 * UM))
    ),
    "few sheets": lambda job, rng, outline: job.with_("paper", sheets=int(rng.integers(1, 6))),
    "a paper to start on": lambda job, rng, outline: job.with_(
        "paper", start=job.tables["paper"]["grits"][-1]
    ),
    "a plate of known flatness": lambda job, rng, outline: (
        job
        if {"grade", "glass"} & job.tables["plate"].keys()
        else job.with_("plate", flatness=height_of(5 * UM))
    ),
    "ribs": _ribbed,
    "a first look": _worst_gap,
    "a lump under the paper": _lump,
}
"""What few jobs state, by name."""


def _part(rng: np.random.Generator, shape: str, size: float) -> tuple[Outline, dict[str, Any]]:
    """An outline about the middle of its bounding box, and how it is written down."""
    a = round(size, 4)
    b = round(size * float(rng.uniform(0.3, 0.95)), 4)
    t = float(rng.uniform(0.25, 0.45))
    part: dict[str, Any] = {}
    if shape in ("rectangle", "slender", "bores"):
        b = round(0.1 * a, 4) if shape == "slender" else b
        part = {"length": length_of(a), "width": length_of(b)}
        openings: tuple[Array, ...] = ()
        if shape == "bores":
            d = 0.35 * min(b, 0.4 * a)
            part["openings"] = [
                {"circle": Place(-0.25 * a, 0.05 * b, "circle", (d,))},
                {"slot": Place(0.25 * a, -0.05 * b, "slot", (0.6 * d + 0.1 * a, 0.5 * d, 0.4))},
            ]
            openings = (circle(-0.25 * a, 0.05 * b, d),)
        return Outline.rectangular(a, b, openings), part
    if shape in ("disc", "ring"):
        turn = 2.0 * np.pi * np.arange(48) / 48
        rim = 0.5 * a * np.column_stack([np.cos(turn), np.sin(turn)])
    elif shape == "L":
        rim = np.array([(0, 0), (a, 0), (a, t * b), (t * a, t * b), (t * a, b), (0, b)])
    elif shape == "U":
        s = t * a
        rim = np.array([(0, 0), (a, 0), (a, b), (a - s, b), (a - s, t * b), (s, t * b), (s, b), (0, b)])
    else:
        rim = np.array([(0, 0), (a, 0), (a, 0.6 * b), (0.7 * a, b), (0, b)])
    rim = rim - 0.5 * (rim.min(axis=0) + rim.max(axis=0))
    part["polygon"] = [Place(float(u), float(v)) for u, v in rim]
    holes: tuple[Array, ...] = ()
    if shape == "ring":
        part["openings"] = [{"circle": Place(0.0, 0.0, "circle", (0.45 * a,))}]
        holes = (circle(0.0, 0.0, 0.45 * a),)
    return Outline(rim, holes), part


def _insert(rng: np.random.Generator, outline: Outline, shape: str) -> dict[str, Any]:
    at = 0.5 * (outline.rim[0] + outline.rim[1]) * 0.86
    d = 0.08 * min(outline.length, outline.width)
    return {
        "name": "plug",
        "circle": Place(float(at[0]), float(at[1]), "circle", (d,)),
        "rate_ratio": Quantity(round(float(rng.uniform(0.2, 3.0)), 3), "number"),
    }


def _face(rng: np.random.Generator, outline: Outline, *, smooth: bool) -> Callable[[Array], Array]:
    """Heights at points (n, 2) of an invented face [m]."""
    kind = str(rng.choice(FACES))
    size = UM * float(np.exp(rng.uniform(np.log(15.0), np.log(250.0))))
    tilt = UM * rng.uniform(-5.0, 5.0, 2)
    ripple = 0.0 if smooth else {"mixed": 0.15, "flat": 0.0}.get(kind, 0.04) * size
    mixed = rng.uniform(-1.0, 1.0, 3)
    phase = rng.uniform(0.0, 2.0 * np.pi, 2)

    def height(points: Array) -> Array:
        x, y = 2.0 * points[:, 0] / outline.length, 2.0 * points[:, 1] / outline.width
        bend = {
            "hollow": x**2 + 0.5 * y**2,
            "crown": -(x**2) - 0.5 * y**2,
            "twist": x * y,
            "mixed": mixed[0] * x**2 + mixed[1] * x * y + mixed[2] * y**2 * x,
            "flat": 0.02 * x,
        }[kind]
        wave = ripple * np.sin(4.0 * x + phase[0]) * np.cos(3.0 * y + phase[1])
        return np.asarray(size * bend + wave + tilt[0] * x + tilt[1] * y)

    return height


def _readings(
    rng: np.random.Generator, read: str, outline: Outline, face: Callable[[Array], Array]
) -> dict[str, Any]:
    if "table" in read:
        sd = 0.0 if read == "exact table" else round(float(rng.uniform(1.0, 8.0)), 1) * UM
        return {"readings": {"heights": "h.csv", "heights_sd": height_of(sd)}}
    lines = [line for line in standard_lines(outline) if line.length > 0.0]
    found = list(
        read_face(outline, face, lines, LEAVES, stations=7, feel=4e-6, seed=int(rng.integers(1 << 31)))
    )
    found = [line for line in found if len(line.stations) >= 2]
    if read == "few":
        found = [replace(found[0], stations=found[0].stations[:: max(1, len(found[0].stations) - 1)][:2])]
    written = [_line(line) for line in found]
    if read == "none":
        for line in written:
            line["stations"] = [[at, "none", height_of(LEAVES[2])] for at, *_ in line["stations"]]
    if read == "contradictory":
        wrong = written[int(rng.integers(len(written)))]
        wrong["stations"] = [[at, height_of(4e-4), height_of(5e-4)] for at, *_ in wrong["stations"]]
    return {"readings": {"leaves": [height_of(leaf) for leaf in LEAVES]}, "readings.line": written}


def _line(line: StraightedgeLine) -> dict[str, Any]:
    return {
        "name": line.name,
        "from": Place(float(line.start[0]), float(line.start[1])),
        "to": Place(float(line.end[0]), float(line.end[1])),
        "held": line.held,
        "stations": [
            [
                length_of(s.at),
                height_of(s.goes) if s.goes > 0.0 else "none",
                height_of(s.stops) if math.isfinite(s.stops) else "open",
            ]
            for s in line.stations
        ],
    }


def _heights(
    rng: np.random.Generator, outline: Outline, face: Callable[[Array], Array], sd: float, count: int
) -> Array:
    """A raster of heights on the metal, so many either way, (k, 3) [m]."""
    u, v = np.meshgrid(
        np.linspace(-0.4999, 0.4999, count) * outline.length,
        np.linspace(-0.4999, 0.4999, count) * outline.width,
    )
    points = np.column_stack([u.ravel(), v.ravel()])
    points = points[outline.contains(points)]
    heights = face(points) + sd * rng.standard_normal(len(points))
    return np.column_stack([points, np.round(heights, 7)])


def _way(rng: np.random.Generator, outline: Outline) -> tuple[str, dict[str, Any], dict[str, Any]]:
    pattern = str(
        rng.choice(["straight"] * 4 + ["one way", "one way", "circle", "eight", "diagonal", "diagonal"])
    )
    span = min(outline.length, outline.width)
    length = float(np.clip(rng.uniform(0.3, 1.5) * span, 0.02, 0.4))
    direction = float(rng.choice([0.0, 0.0, 90.0, 20.0]))
    strokes = {
        "pattern": pattern,
        "length": length_of(round(length, 4)),
        "direction": Quantity(math.radians(direction), "angle"),
    }
    every = 2 * int(rng.integers(2, 30))
    schedule = str(rng.choice(list(SCHEDULES)))
    if rng.random() < 0.15:
        return pattern, strokes, {"states": [[0.0, 0.0], [70.0, 20.0], [200.0, -30.0]], "every": every}
    return pattern, strokes, {"schedule": schedule, "every": every}


def _bench(
    rng: np.random.Generator,
    outline: Outline,
    pattern: str,
    strokes: dict[str, Any],
    turning: dict[str, Any],
    *,
    exact: bool,
) -> tuple[dict[str, Any], dict[str, Any], bool]:
    """Plate and paper, and whether they look the same from all sides but for their measures."""
    reach = math.hypot(outline.length, outline.width) + strokes["length"].value
    share = 1.02 if exact else float(rng.choice([1.02, 1.02, 1.5, 0.85]))
    a = max(0.03, round(share * reach, 3))
    b = max(0.03, round(share * reach * float(rng.choice([1.0, 1.2])), 3))
    plate: dict[str, Any] = {"length": length_of(a), "width": length_of(b)}
    alike = True
    form = "flat" if exact else str(rng.choice(["flat", "flat", "grade", "shape", "glass"]))
    if form == "grade":
        plate["grade"] = str(rng.choice(GRADES))
    if form == "shape":
        plate |= {"shape": str(rng.choice(["dish", "hump", "twist"])), "shape_height": height_of(8 * UM)}
        alike = plate["shape"] != "twist"
    if form == "glass":
        plate |= {"glass": length_of(0.012), "gap": length_of(round(0.4 * a, 3))}
        alike = False
    grits = ("P120",) if exact else PAPER_LISTS[int(rng.integers(len(PAPER_LISTS)))]
    paper: dict[str, Any] = {"grits": list(grits), "wet": bool(rng.random() < 0.4)}
    x, y = a / 2.0, b / 2.0
    laid = "whole" if exact else str(rng.choice(["whole", "whole", "butted", "gap", "overlap", "short"]))
    cut = round(float(rng.uniform(-0.1, 0.1)) * a, 3)
    strips = {
        "butted": [Place(-x, -y, "strip", (cut, y)), Place(cut, -y, "strip", (x, y))],
        "gap": [Place(-x, -y, "strip", (cut, y)), Place(cut + 0.01 * a, -y, "strip", (x, y))],
        "overlap": [Place(-x, -y, "strip", (cut, y)), Place(cut - 0.02 * a, -y, "strip", (x, y))],
        "short": [Place(-x, -y, "strip", (0.45 * a, 0.45 * b))],
    }.get(laid)
    if strips:
        paper["strips"] = strips
    if exact or rng.random() < 0.4:
        paper |= {"brush_every": 2 * int(rng.integers(5, 60)), "sheet_every": 2 * int(rng.integers(60, 200))}
    if not exact and rng.random() < 0.2:
        paper["laid"] = "loose"
    return plate, paper, alike


def _spread(value: float, factor: float, of: str) -> dict[str, Quantity]:
    return {
        "value": Quantity(value, of),
        "low": Quantity(value / factor, of),
        "high": Quantity(value * factor, of),
    }


def _hands(rng: np.random.Generator, outline: Outline) -> tuple[dict[str, Any], dict[str, Any]]:
    """Hands and wear, some of it stated, some with a spread."""
    hands: dict[str, Any] = {}
    press = round(float(np.exp(rng.uniform(np.log(8.0), np.log(90.0)))), 1)
    kind = int(rng.integers(4))
    if kind:
        hands["press"] = ("light", Quantity(press, "force"), _spread(press, 1.4, "force"))[kind - 1]
    if rng.random() < 0.3:
        hands["height"] = length_of(0.05 * min(outline.length, outline.width))
    span = min(outline.length, outline.width)
    if span < 0.1:
        # Who holds a small part holds it between the fingers.
        hands |= {
            "height": length_of(0.05 * span),
            "wobble_across": length_of(0.08 * span),
            "bias_along": length_of(0.02 * span),
            "bias_across": length_of(-0.02 * span),
        }
    wear: dict[str, Any] = {"ages": bool(rng.random() < 0.4)}
    if rng.random() < 0.4:
        rate = round(float(np.exp(rng.uniform(np.log(0.008), np.log(0.1)))), 4)
        wear["rate"] = (
            Quantity(rate * 1e-9, "rate") if rng.random() < 0.5 else _spread(rate * 1e-9, 1.3, "rate")
        )
    return hands, wear


def _exact_hands(rng: np.random.Generator, outline: Outline) -> tuple[dict[str, Any], dict[str, Any]]:
    """Hands and wear with every number stated."""
    span = min(outline.length, outline.width)

    def number(low: float, high: float) -> Quantity:
        return Quantity(round(float(rng.uniform(low, high)), 3), "number")

    hands = {
        "press": Quantity(round(float(rng.uniform(20.0, 90.0)), 1), "force"),
        "height": length_of(round(0.04 * span, 5)),
        "bias_along": length_of(round(float(rng.uniform(-0.03, 0.03)) * span, 5)),
        "bias_across": length_of(round(float(rng.uniform(-0.03, 0.03)) * span, 5)),
        "wobble_along": length_of(round(0.05 * span, 5)),
        "wobble_across": length_of(round(0.03 * span, 5)),
        "push_over_pull": number(0.8, 1.5),
        "strokes_per_minute": number(30, 60),
    }
    wear: dict[str, Any] = {
        "rate": Quantity(round(float(rng.uniform(0.01, 0.06)), 4) * 1e-9, "rate"),
        "bedding": number(0.08, 0.2),
        "friction": number(0.4, 0.7),
        "edge_rate": number(0.0, 0.5),
        "edge_rise": height_of(0.0),
        "ages": bool(rng.random() < 0.5),
    }
    if wear["ages"]:
        wear |= {
            "ageing": number(0.7, 2.0),
            "loading_floor": number(0.2, 0.5),
            "dulling_floor": number(0.2, 0.5),
            "brushing": number(0.5, 0.9),
            "blunt_bedding": number(0.6, 1.0),
            "friction_gain": number(0.0, 0.4),
        }
    return hands, wear


def _log(
    rng: np.random.Generator,
    outline: Outline,
    face: Callable[[Array], Array],
    metal: Metal,
    mass: float,
    travel: float,
    paper: str,
) -> tuple[tuple[str, ...], ...]:
    """Entries of a log that may be true: weighings, strokes, dye, readings, in the order of the work."""
    weight, load = round(1e3 * mass, 2), 9.81 * mass + 40.0
    entries: list[tuple[str, ...]] = [("--part-weight", f"{weight:.2f}", "--scale", "0.01", "--dyed")]
    kinder = float(np.exp(0.5 * rng.standard_normal()))
    for block in range(int(rng.integers(1, 4))):
        strokes = int(rng.integers(10, 120))
        off = 1e3 * metal.density * kinder * 0.4 * metal.rate * load * 2.0 * travel * strokes
        weight = round(weight - off, 2)
        entry = ["--strokes", str(strokes), "--paper", paper]
        entry += ["--new-sheet"] if block == 0 or rng.random() < 0.4 else ["--brushed"]
        if rng.random() < 0.7:
            entry += ["--part-weight", f"{weight:.2f}"]
        if rng.random() < 0.4:
            entry += ["--swarf", f"{max(0.01, 0.9 * off):.2f}", "--scale", "0.01"]
        if rng.random() < 0.4:
            entry += ["--dye-left", f"{rng.integers(10, 95)}%", "--dyed"]
        if rng.random() < 0.4:
            lines = standard_lines(outline)
            line = read_face(outline, lambda p: 0.7 * face(p), lines[:1], LEAVES, stations=5)[0]
            stations = "; ".join(
                f"{1e3 * s.at:.3f} {f'{1e6 * s.goes:.0f}' if s.goes else 'none'} "
                f"{f'{1e6 * s.stops:.0f}' if math.isfinite(s.stops) else 'open'}"
                for s in line.stations
            )
            entry += ["--reading", f"{line.name} [{line.held}]: {stations}"]
        entries.append(tuple(entry))
    return tuple(entries)

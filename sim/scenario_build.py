"""From the checked values of a scenario file to its records.

Here live the checks that need more than one key, and the defaults that depend on others.
Every part of the job is looked at even when another is faulty, so that all faults are found.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from handlap.sim import metals, survey_lines
from handlap.sim.errors import ScenarioError
from handlap.sim.height_table import read_height_table
from handlap.sim.outline import Array, Outline, circle, polygon_moments, rectangle, slot
from handlap.sim.outline_faults import opening_faults
from handlap.sim.scenario import (
    Exact,
    Hands,
    HeightTable,
    Paper,
    Part,
    Plate,
    Readings,
    Scenario,
    StraightedgeLine,
    Strip,
    Strokes,
    Turning,
    TurnState,
    Uncertain,
    Wear,
)
from handlap.sim.scenario_keys import BY_NAME
from handlap.sim.scenario_values import READERS, Findings, find_grits, what_is_known
from handlap.sim.units import GRAVITY, show, to_si

Point = tuple[float, float]

FRICTION_FACTOR = math.sqrt(2.0)
HALF_TURN = math.pi
SCHEDULE_STATES: dict[str, tuple[Point, ...]] = {
    "none": ((0.0, 0.0),),
    "half": ((0.0, 0.0), (HALF_TURN, 0.0)),
    "quarter": tuple((i * HALF_TURN / 2.0, 0.0) for i in range(4)),
    "walk": ((0.0, 0.0), (0.0, HALF_TURN)),
    "half and walk": ((0.0, 0.0), (HALF_TURN, 0.0), (HALF_TURN, HALF_TURN), (0.0, HALF_TURN)),
}
"""Schedule → round of (turn of the part, turn of the operator) [rad]."""


def build(
    values: dict[str, Any], stated: set[str], found: Findings, source: str, folder: Path | None
) -> Scenario | None:
    """The scenario; None, with the faults written down, if something is wrong.

    Parameters
    ----------
    values : values by dotted key [SI], without those that were faulty
    stated : every key that was there, faulty or not
    found : where faults and warnings go
    source : path or built-in name
    folder : where the files it names are
    """
    return _Builder(values, stated, found, folder).scenario(source)


class _Builder:
    """Collects the defaults in force while the records are made."""

    def __init__(
        self, values: dict[str, Any], stated: set[str], found: Findings, folder: Path | None
    ) -> None:
        self.values = values
        self.stated = stated
        self.found = found
        self.folder = folder
        self.assumed: list[Uncertain] = []
        self.assumed_plain: list[tuple[str, str, str]] = []

    # ---- single values

    def note(self, name: str, words: str, basis: str = "") -> None:
        """Write down a plain default in force."""
        self.assumed_plain.append((name, words, basis or BY_NAME[name].basis))

    def get(self, name: str) -> Any:
        """Stated value, else the default of the table, without a word about it."""
        row = BY_NAME[name]
        if name in self.values or row.default is None:
            return self.values.get(name)
        return READERS[row.kind](row.default, row, name, Findings(""))

    def plain(self, name: str) -> Any:
        """The same, but a default in force is written down."""
        value = self.get(name)
        row = BY_NAME[name]
        if name not in self.stated and value is not None:
            words = str(row.default)
            if isinstance(row.default, bool):
                words = "yes" if row.default else "no"
            elif row.kind == "quantity":
                words = show(value, row.quantity, self.found.system)
            self.note(name, words)
        return value

    def uncertain(
        self, name: str, default: float | None = None, factor: float = 1.0, basis: str = ""
    ) -> Uncertain:
        """Stated value, or the default with its spread, which is then written down."""
        row = BY_NAME[name]
        if name in self.values:
            value: Uncertain = self.values[name]
            return value
        if default is None:
            default = to_si(float(row.default or 0.0), row.quantity)
            factor, basis = row.factor, row.basis
        if row.plus_minus > 0.0:
            half = to_si(row.plus_minus, row.quantity)
            made = Uncertain(default, default - half, default + half, "normal", name, True, basis)
        else:
            made = Uncertain(default, default / factor, default * factor, "lognormal", name, True, basis)
        if name not in self.stated:
            self.assumed.append(made)
        return made

    def clash(self, one: str, other: str) -> None:
        """Refuse two keys that say the same thing."""
        if one in self.stated and other in self.stated:
            self.found.fault(other, None, f"give either {one} or {other}, not both")

    # ---- the part

    def outline(self) -> tuple[Outline | None, Point]:
        """The face about the middle of its bounding box, and where the file's origin lies on it."""
        sides = [self.values.get("part.length"), self.values.get("part.width")]
        if "part.polygon" in self.stated:
            for name in ("part.length", "part.width"):
                self.clash("part.polygon", name)
            corners = self.values.get("part.polygon")
            if corners is None:
                return None, (0.0, 0.0)
            rim = np.array(corners)
            middle = 0.5 * (rim.min(axis=0) + rim.max(axis=0))
            shift = (-float(middle[0]), -float(middle[1]))
            self.polygon_origin(rim)
        else:
            for name in ("part.length", "part.width"):
                if name not in self.stated:
                    self.found.fault(name, None, f"missing: {BY_NAME[name].help}; or give part.polygon")
            if sides[0] is None or sides[1] is None:
                return None, (0.0, 0.0)
            rim = rectangle(sides[0], sides[1])
            corner = self.get("part.origin") == "corner"
            shift = (-sides[0] / 2.0, -sides[1] / 2.0) if corner else (0.0, 0.0)
        if "part.polygon" in self.stated:
            rim = rim + shift
        openings = self.openings(rim, shift)
        face = Outline(rim, tuple(openings))
        if face.area <= 0.0:
            self.found.fault("part.openings", None, "the openings leave no metal")
            return None, shift
        if face.width > 1.01 * face.length:
            self.found.warn("part", "wider than long; u is meant to run along the long side")
        return face, shift

    def polygon_origin(self, rim: Array) -> None:
        """A stated origin must be where the corners put it."""
        if "part.origin" not in self.stated or "part.origin" not in self.values:
            return
        low, high = rim.min(axis=0), rim.max(axis=0)
        there = low if self.values["part.origin"] == "corner" else 0.5 * (low + high)
        if np.hypot(*there) > 1e-6 * np.hypot(*(high - low)):
            self.found.fault(
                "part.origin",
                self.values["part.origin"],
                "left out with part.polygon: positions are in the frame of its corners",
            )

    def openings(self, rim: Array, shift: Point) -> list[Array]:
        """Polygons of the openings, about the middle of the face."""
        polygons, numbers = [], []
        for i, table in enumerate(self.values.get("part.openings", []), 1):
            label = f"part.openings[{i}]"
            if len(table) != 1:
                if not any(f.key.startswith(label) for f in self.found.faults):
                    self.found.fault(label, None, "one of circle, slot and polygon")
                continue
            kind, value = next(iter(table.items()))
            if kind == "circle":
                polygon = circle(*value)
            elif kind == "slot":
                polygon = slot(*value)
            else:
                polygon = np.array(value)
            polygons.append(polygon + shift)
            numbers.append(i)
        for index, words in opening_faults(rim, polygons):
            self.found.fault(f"part.openings[{numbers[index]}]", None, f"must lie {words}")
        return polygons

    def weight(self) -> float | None:
        """Weight that rests on the paper [N]."""
        self.clash("part.mass", "part.weight")
        if "part.mass" in self.values:
            return float(self.values["part.mass"] * GRAVITY)
        if "part.weight" in self.values:
            return float(self.values["part.weight"])
        if "part.mass" in self.stated or "part.weight" in self.stated:
            return None
        if "exact.load" in self.stated:
            return 0.0
        self.found.fault("part.mass", None, "missing: the mass of the part, or its weight as part.weight")
        return None

    def part(self, face: Outline | None, shift: Point, metal: metals.Metal | None) -> Part | None:
        weight = self.weight()
        limit_by = self.plain("part.limit_by")
        gasket = self.values.get("part.gasket")
        if isinstance(gasket, str) and metal is not None:
            gasket = metals.gasket_finish(gasket, metal)
        if face is None or weight is None or metal is None or "part.limit" not in self.values:
            return None
        at = self.values.get("part.weight_at")
        if at is None:
            at = _centroid(face)
            if weight > 0.0 and "part.weight_at" not in self.stated:
                words = BY_NAME["part.weight_at"].default_words
                self.note("part.weight_at", words)
        else:
            at = (at[0] + shift[0], at[1] + shift[1])
            if abs(at[0]) > face.length / 2.0 or abs(at[1]) > face.width / 2.0:
                self.found.warn("part.weight_at", "the centre of weight lies outside the face: it would tip")
        return Part(
            name=self.values.get("part.name") or self.values.get("title") or "part",
            outline=face,
            metal=metal,
            weight=weight,
            weight_at=at,
            limit=self.values["part.limit"],
            limit_by=limit_by,
            allowance=self.values.get("part.allowance"),
            gasket_ra=gasket,
        )

    def metal(self) -> metals.Metal | None:
        name = self.values.get("part.metal")
        if name is None:
            return None
        try:
            return metals.find(name)
        except ValueError as error:
            self.found.fault("part.metal", name, what_is_known(error))
            return None

    # ---- the readings

    def readings(self, face: Outline | None, shift: Point) -> Readings:
        lines_stated = "readings.line" in self.stated
        table_stated = "readings.heights" in self.stated
        if lines_stated and table_stated:
            self.found.fault("readings", None, "give either lines or heights, not both")
        if not lines_stated and not table_stated:
            self.found.fault(
                "readings", None, 'missing: at least one [[readings.line]], or heights = "table.csv"'
            )
        tables = self.values.get("readings.line", [])
        if lines_stated and not tables and not self.found.faults:
            self.found.fault("readings.line", None, "at least one line")
        leaves = tuple(self.values.get("readings.leaves", ()))
        lines: tuple[StraightedgeLine, ...] = ()
        if lines_stated:
            lines = survey_lines.build_lines(tables, leaves, face, shift, self.found)
            if any("held" not in t for t in tables):
                self.note("readings.line[].held", "at rest on two points")
        elif "readings.leaves" in self.stated and table_stated:
            self.found.warn("readings.leaves", "not used with a table of heights")
        if lines_stated and "readings.heights_sd" in self.stated:
            self.found.warn("readings.heights_sd", "not used without readings.heights")
        return Readings(
            lines=lines,
            table=self.table(face, shift),
            edge_sd=self.plain("readings.edge_error") if lines_stated else 0.0,
            edge_bow=self.plain("readings.edge_bow") if lines_stated else 0.0,
            leaves=leaves,
        )

    def table(self, face: Outline | None, shift: Point) -> HeightTable | None:
        name = self.values.get("readings.heights")
        if name is None:
            return None
        label = "readings.heights"
        if self.folder is None:
            self.found.fault(label, name, "used only in a scenario that is itself a file")
            return None
        folder = self.folder.resolve()
        try:
            path = (folder / name).resolve()
        except (OSError, RuntimeError, ValueError):
            path = folder.parent
        if Path(name).is_absolute() or not path.is_relative_to(folder):
            self.found.fault(label, name, "a file in the folder of the scenario or below it")
            return None
        try:
            table = read_height_table(path, self.plain("readings.heights_sd") or 0.0)
        except ScenarioError as error:
            self.found.fault(label, name, "a table of heights that can be read; its faults follow")
            self.found.faults.extend(error.faults)
            return None
        return survey_lines.place_table(table, face, shift, self.found)

    # ---- plate, paper, hands

    def plate(self, face: Outline | None, direction: float) -> Plate:
        along, across = _extents(face, direction)
        length, width = self.values.get("plate.length"), self.values.get("plate.width")
        for name, value in (("plate.length", length), ("plate.width", width)):
            if value is None and name not in self.stated:
                least, more = ((0.45, 0.2), (0.3, 0.1))[name == "plate.width"]
                made = max(least, (along, across)[name == "plate.width"] + more)
                self.note(name, show(made, "length", self.found.system))
        assumed = length is None or width is None
        plate = Plate(
            max(0.45, along + 0.2) if length is None else length,
            max(0.3, across + 0.1) if width is None else width,
            assumed,
        )
        if along > plate.length or across > plate.width:
            self.found.warn("plate", "the part is larger than the plate and hangs over its edge")
        return plate

    def paper(self, plate: Plate) -> Paper | None:
        assumed = []
        listed = self.values.get("paper.grits")
        if listed is None and "paper.grits" not in self.stated:
            listed = ["P80", "P120", "P240"]
            self.note("paper.grits", ", ".join(listed))
            assumed.append("paper.grits")
        system = self.values.get("paper.grade_system")
        papers = None if listed is None else find_grits(listed, system, "paper.grits", self.found)
        wet = self.plain("paper.wet")
        strips = self.strips(plate)
        for name in ("paper.wet", "paper.strips", "paper.brush_every", "paper.sheet_every"):
            if name not in self.stated:
                assumed.append(name)
                if name != "paper.wet":
                    self.note(name, BY_NAME[name].default_words)
        if papers is None:
            return None
        return Paper(
            grits=papers,
            wet=bool(wet),
            strips=strips,
            brush_every=self.values.get("paper.brush_every"),
            sheet_every=self.values.get("paper.sheet_every"),
            sheets=self.values.get("paper.sheets"),
            assumed=tuple(assumed),
        )

    def strips(self, plate: Plate) -> tuple[Strip, ...] | None:
        listed = self.values.get("paper.strips")
        if listed is None:
            return None
        strips = tuple(Strip(*s) for s in listed)
        for i, s in enumerate(strips, 1):
            over = max(max(-s.x0, s.x1) - plate.length / 2, max(-s.y0, s.y1) - plate.width / 2)
            if over > 1e-6:
                self.found.warn(
                    f"paper.strips[{i}]",
                    f"reaches {show(over, 'length', self.found.system)} over the edge of the plate",
                )
            for j, t in enumerate(strips[: i - 1], 1):
                wide = min(s.x1, t.x1) - max(s.x0, t.x0)
                high = min(s.y1, t.y1) - max(s.y0, t.y0)
                if wide > 1e-6 and high > 1e-6:
                    self.found.warn(f"paper.strips[{i}]", f"overlaps strip {j}; strips should butt")
        return strips

    def hands(self) -> Hands:
        return Hands(
            **{
                name: self.uncertain(f"hands.{name}")
                for name in (
                    "press",
                    "height",
                    "bias_along",
                    "bias_across",
                    "wobble_along",
                    "wobble_across",
                    "push_over_pull",
                    "strokes_per_minute",
                )
            }
        )

    def strokes(self, face: Outline | None, plate: Plate, direction: float) -> Strokes:
        pattern = self.plain("strokes.pattern")
        length = self.values.get("strokes.length")
        along, _ = _extents(face, direction)
        if length is None:
            length = min(0.15, max(0.04, plate.length - along))
            if "strokes.length" not in self.stated:
                self.note("strokes.length", show(length, "length", self.found.system))
        elif face is not None and along + length > plate.length + 1e-9:
            over = show((along + length - plate.length) / 2.0, "length", self.found.system)
            self.found.warn("strokes.length", f"the part runs {over} over either end of the plate")
        assumed = tuple(n for n in BY_NAME if n.startswith("strokes.") and n not in self.stated)
        return Strokes(pattern, length, direction, assumed)

    def turning(self) -> Turning:
        self.clash("turning.schedule", "turning.states")
        every = self.values.get("turning.every")
        own = self.values.get("turning.states")
        if own is not None:
            return Turning("own", tuple(TurnState(*pair) for pair in own), every, False)
        name = self.plain("turning.schedule") or "none"
        states = tuple(TurnState(*pair) for pair in SCHEDULE_STATES[name])
        if every is None and len(states) > 1 and "turning.every" not in self.stated:
            self.note("turning.every", BY_NAME["turning.every"].default_words)
        return Turning(name, states, every, "turning.schedule" not in self.stated)

    def wear(self, metal: metals.Metal | None, wet: bool) -> Wear | None:
        self.clash("wear.bedding", "wear.bedding_length")
        if metal is None:
            return None
        length = self.values.get("wear.bedding_length")
        if length is None:
            bedding = self.uncertain("wear.bedding")
        else:
            row = BY_NAME["wear.bedding"]
            bedding = Uncertain.fixed(float(row.default or 0.0), row.name, "not used: wear.bedding_length")
        ages = self.plain("wear.ages")
        if ages or "wear.ageing" in self.values:
            ageing = self.uncertain("wear.ageing")
        else:
            ageing = Uncertain.fixed(1.0, "wear.ageing", "not used: the paper does not age")
        return Wear(
            rate=self.uncertain(
                "wear.rate",
                metal.rate,
                metal.rate_factor,
                f"{metal.name}: {metal.basis}",
            ),
            bedding=bedding,
            friction=self.uncertain(
                "wear.friction",
                metal.friction(wet),
                FRICTION_FACTOR,
                f"{metal.name}, {'wet' if wet else 'dry'}: from memory",
            ),
            ageing=ageing,
            ages=bool(ages),
            bedding_length=length,
        )

    def exact(self, face: Outline | None, shift: Point) -> Exact:
        at = self.values.get("exact.load_at")
        if at is not None:
            at = (at[0] + shift[0], at[1] + shift[1])
            if face is not None and not _in_hull(face.rim, at):
                self.found.fault(
                    "exact.load_at",
                    list(self.values["exact.load_at"]),
                    "a place inside the face: outside it the part tips over",
                )
        return Exact(
            load=self.values.get("exact.load"),
            load_at=at,
            tilt_held=self.get("exact.tilt") == "held",
            strokes=self.values.get("exact.strokes"),
            cell=self.values.get("exact.cell"),
        )

    # ---- the whole

    def required(self) -> None:
        for row in BY_NAME.values():
            if row.required and "[]" not in row.name and row.name not in self.stated:
                self.found.fault(row.name, None, f"missing: {row.help}")

    def scenario(self, source: str) -> Scenario | None:
        self.required()
        face, shift = self.outline()
        metal = self.metal()
        part = self.part(face, shift, metal)
        readings = self.readings(face, shift)
        direction = self.plain("strokes.direction") or 0.0
        plate = self.plate(face, direction)
        paper = self.paper(plate)
        hands = self.hands()
        strokes = self.strokes(face, plate, direction)
        turning = self.turning()
        wear = self.wear(metal, bool(self.get("paper.wet")))
        exact = self.exact(face, shift)
        if "checks.every" not in self.stated:
            self.note("checks.every", BY_NAME["checks.every"].default_words)
        if part is not None and exact.load is None and part.weight + hands.press.low <= 0.0:
            if part.weight + hands.press.value <= 0.0:
                least = show(-part.weight, "force", self.found.system)
                lifts = show(hands.press.value, "force", self.found.system)
                self.found.fault("hands.press", None, f"{lifts} lifts the part off; allowed: above {least}")
            else:
                self.found.warn("hands.press", "its lower end lifts the part off the paper")
        if self.found.faults or part is None or paper is None or wear is None:
            return None
        name = Path(source).stem
        return Scenario(
            name=name,
            title=self.values.get("title") or name,
            source=source,
            invented=bool(self.get("invented")),
            part=part,
            readings=readings,
            plate=plate,
            paper=paper,
            hands=hands,
            strokes=strokes,
            turning=turning,
            wear=wear,
            exact=exact,
            check_every=self.values.get("checks.every"),
            warnings=tuple(self.found.warnings),
            assumed=tuple(self.assumed),
            assumed_plain=tuple(self.assumed_plain),
        )


def _centroid(face: Outline) -> Point:
    """Middle of the face's area, openings taken off [m]."""
    moments = np.array(polygon_moments(face.rim))
    for opening in face.openings:
        moments = moments - np.array(polygon_moments(opening))
    return float(moments[1] / moments[0]), float(moments[2] / moments[0])


def _extents(face: Outline | None, direction: float) -> Point:
    """Extent of the face along the stroke and across it [m]."""
    if face is None:
        return 0.0, 0.0
    c, s = math.cos(direction), math.sin(direction)
    along = face.rim @ np.array([c, s])
    across = face.rim @ np.array([-s, c])
    return float(np.ptp(along)), float(np.ptp(across))


def _in_hull(rim: Array, at: Point) -> bool:
    """Whether a place lies strictly inside the convex hull of a rim."""
    gap = np.sort(np.mod(np.arctan2(rim[:, 1] - at[1], rim[:, 0] - at[0]), 2.0 * math.pi))
    largest = float(np.max(np.diff(np.append(gap, gap[0] + 2.0 * math.pi))))
    return largest < math.pi - 1e-9

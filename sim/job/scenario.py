"""What one job consists of: part, readings, plate, paper, hands, strokes, turning.

Plain frozen records in SI units (m, N, Pa, s, m²/N); :mod:`handlap.sim.job.scenario_file` reads
them from TOML.  Nothing here computes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.units import System
from handlap.sim.job.past_jobs import PastJob
from handlap.sim.job.surroundings import Surroundings
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.metals import Metal

Law = Literal["fixed", "normal", "lognormal"]
LimitBy = Literal["straightedge", "zone"]
Held = Literal["rest", "level", "tipped start", "tipped end"]
Where = Literal["middle", "ends", "corner", "unknown"]
PlateShape = Literal["dish", "hump", "twist"]
Pressing = Literal["middle", "two pads", "rim", "backing"]
Pattern = Literal["straight", "one way", "circle", "eight", "diagonal"]
Laid = Literal["glued", "loose"]

Z95 = 1.6448536269514722
"""Standard normal quantile of 95 %: ``low`` and ``high`` below are 5 and 95 % points."""


@dataclass(frozen=True)
class Uncertain:
    """A quantity known only to a spread.

    Attributes
    ----------
    value : its median [SI]
    low, high : its 5 % and 95 % points, both equal to ``value`` for law "fixed" [SI]
    law : "fixed", "normal" (symmetric) or "lognormal" (positive; low·high = value²)
    key : the scenario key it answers to, such as ``hands.press``
    assumed : whether it is a default that the scenario file did not state
    basis : where the value comes from, in words
    """

    value: float
    low: float
    high: float
    law: Law
    key: str
    assumed: bool = False
    basis: str = ""

    @staticmethod
    def fixed(value: float, key: str = "", basis: str = "stated") -> Uncertain:
        """A value [SI] that is not varied."""
        return Uncertain(value, value, value, "fixed", key, False, basis)

    def at(self, z: Array | float) -> Array | float:
        """The quantity at standard normal score ``z`` (any shape) [SI].

        >>> Uncertain(4.0, 2.0, 8.0, "lognormal", "k").at(Z95)
        8.0
        """
        if self.law == "fixed":
            return self.value + 0.0 * z
        if self.law == "normal":
            return self.value + z * (self.high - self.low) / (2.0 * Z95)
        return self.value * (self.high / self.low) ** (z / (2.0 * Z95))

    @property
    def deviation(self) -> float:
        """Standard deviation [SI], of the logarithm [-] where the law is lognormal.

        >>> round(Uncertain(1.0, 1.0 / 3.0, 3.0, "lognormal", "k").deviation, 3)
        0.668
        """
        if self.law == "lognormal":
            return math.log(self.high / self.low) / (2.0 * Z95)
        return (self.high - self.low) / (2.0 * Z95)

    def settled(self) -> Uncertain:
        """The same with its spread taken away."""
        return replace(self, low=self.value, high=self.value, law="fixed")


@dataclass(frozen=True)
class Proud:
    """Something that stands ``height`` [m] proud of the face at (u, v) [m]; ``out``: taken out already."""

    name: str
    at: tuple[float, float]
    height: float
    out: bool = False


@dataclass(frozen=True)
class Insert:
    """Another metal in the face: an area (m, 2) [m] of its own rate.

    ``rate_ratio``: its specific wear rate over that of the face's own metal [-].
    """

    name: str
    area: Array
    rate_ratio: float


@dataclass(frozen=True)
class Part:
    """The workpiece; positions in its own frame, origin at the middle of the bounding box."""

    name: str
    outline: Outline
    metal: Metal
    weight: float
    """Weight that rests on the paper [N]."""
    weight_at: tuple[float, float]
    """Centre of weight (u, v) [m]."""
    limit: float
    """Flatness the face is to have [m]."""
    limit_by: LimitBy
    allowance: float | None
    """Greatest depth that may come off anywhere [m]; None: none stated."""
    gasket_ra: tuple[float, float] | None = None
    """Least and greatest roughness Ra the gasket takes [m]."""
    thickness: float | None = None
    """Thickness of the part as a plate [m]; None: thick enough to be rigid."""
    ribbed_as: float | None = None
    """Thickness of a plain plate that is as stiff as the part [m]: where it is ribbed, or where its
    stiffness was measured; None: neither."""
    pressing: Pressing = "middle"
    """Where the hands press: a pad in the middle, two pads, along the rim, a stiff block behind it."""
    pad: float = 0.06
    """Diameter of a pad [m]."""
    spring_back: float | None = None
    """Greatest spring-back wanted [m]; None: not asked."""
    proud: tuple[Proud, ...] = ()
    inserts: tuple[Insert, ...] = ()
    after: Surroundings = field(default_factory=Surroundings)
    """What is around the face and changes when metal comes off."""


@dataclass(frozen=True)
class Station:
    """What the leaves said at one place under a straightedge.

    ``goes`` is the thickest leaf that goes under (0: none goes); ``stops`` the thinnest that
    does not (infinite: nothing thicker was tried) [m]; ``at`` the distance from the line's
    start [m].
    """

    at: float
    goes: float
    stops: float = math.inf


@dataclass(frozen=True)
class StraightedgeLine:
    """One laying of the straightedge, from ``start`` to ``end`` (u, v) [m].

    ``held``: "rest" (sits still on two points), "level" (rocks on a crown and is held level),
    "tipped start" / "tipped end" (pressed down onto that end).
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    held: Held
    stations: tuple[Station, ...]


@dataclass(frozen=True)
class HeightTable:
    """Heights of the face at points: u, v, height (n,) [m], positive = proud.

    ``sd`` is the standard deviation of one height [m]; 0 takes the table as the exact face.
    ``sd_assumed``: nobody stated it, it was taken from ``step``, the step of the digits in which
    the heights are written [m] (0: not known).
    """

    u: Array
    v: Array
    height: Array
    sd: float
    source: str
    sd_assumed: bool = False
    step: float = 0.0


@dataclass(frozen=True)
class WorstGap:
    """The worst gap under a straightedge anywhere: thickest leaf that goes there (0: none), thinnest that
    does not (infinite: none tried) [m], and roughly where it is."""

    goes: float
    stops: float
    where: Where


@dataclass(frozen=True)
class Readings:
    """All that was measured: straightedge lines, or a table of heights, or no more than the worst gap."""

    lines: tuple[StraightedgeLine, ...] = ()
    table: HeightTable | None = None
    edge_sd: float = 0.0
    """Standard error of the straightedge's own line [m]."""
    edge_bow: float = 0.0
    """Known bow of the straightedge over its length, + = hollow in the middle [m]."""
    edge_length: float | None = None
    """Length of the straightedge; None: as long as every line [m]."""
    leaves: tuple[float, ...] = ()
    """Feeler leaves at hand, thin to thick, where they are stated [m]."""
    worst: WorstGap | None = None
    """What a first look found; None where lines or a table tell more."""


@dataclass(frozen=True)
class Glass:
    """Float glass as a plate: bedded fully (``gap`` 0) or bridging a gap between two supports [m].

    The supports run across the plate's length, the gap lies about its middle.
    """

    thickness: float
    gap: float = 0.0


@dataclass(frozen=True)
class Plate:
    """The flat the paper is stuck on, about the origin of the plate frame.

    Attributes
    ----------
    length, width : [m]
    grade : name of its grade, such as "DIN 876 1"; None: not stated
    tolerance : flatness its grade allows [m], the amplitude of random smooth shapes in an ensemble
    shape, shape_height : a simple known shape and its height [m]; dish = hollow, hump = crowned
    heights : measured heights, u and v being x and y on the plate [m]
    glass : float glass and its support
    """

    length: float
    width: float
    assumed: bool = False
    grade: str | None = None
    tolerance: float = 0.0
    shape: PlateShape | None = None
    shape_height: float = 0.0
    heights: HeightTable | None = None
    glass: Glass | None = None


@dataclass(frozen=True)
class Lump:
    """A lump under the paper, of glue say, round and smooth, at (x, y) on the plate [m]."""

    x: float
    y: float
    diameter: float
    height: float


@dataclass(frozen=True)
class Strip:
    """A rectangle of paper on the plate, in the plate frame [m]."""

    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True)
class Paper:
    """Paper on hand and how it is laid and looked after."""

    grits: tuple[Grit, ...]
    """Coarse to fine, in the order of use."""
    wet: bool
    strips: tuple[Strip, ...] | None = None
    """None: the whole plate is papered."""
    brush_every: int | None = None
    """Strokes between brushings; None: the plan chooses; 0: never."""
    sheet_every: int | None = None
    """Strokes a sheet; None: the plan chooses; 0: one sheet a paper."""
    sheets: int | None = None
    """Changes of paper that the stock allows, all grits together; None: not stated."""
    assumed: tuple[str, ...] = ()
    thickness: float = 0.35e-3
    """Thickness of one layer, the step where strips overlap [m]."""
    lumps: tuple[Lump, ...] = ()
    laid: Laid = "glued"
    """Glued down all over; or loose: held by water, curled, badly glued."""
    start: Grit | None = None
    """The paper to start on; None: the plan chooses."""
    abrasive: str = ""
    """What kind of paper it is, in the user's own word; only for matching it with that of earlier jobs."""


@dataclass(frozen=True)
class Hands:
    """How the part is held.  Signs in the operator's frame: + along = away, + across = left."""

    press: Uncertain
    """Mean force the hands add [N]; negative lifts."""
    height: Uncertain
    """Height of the push over the paper [m]."""
    bias_along: Uncertain
    bias_across: Uncertain
    """Constant offset of the press from the middle of the part [m]."""
    wobble_along: Uncertain
    wobble_across: Uncertain
    """Standard deviation of the wandering of the press [m]."""
    push_over_pull: Uncertain
    """Press while pushing over press while pulling [-]."""
    strokes_per_minute: Uncertain
    twist: float = 0.0
    """Turn of the part about its own middle during one pass, away = anticlockwise [rad]."""
    swell: float = 0.0
    """Press at the end of each pass, push or pull, over its middle, less one; at its start the
    opposite [-]."""
    rocking: float = 0.0
    """The press moves forward by this over the push, from front hand to back hand negative [m]."""
    whose: str = ""
    """Whose hands, in the user's own word; only for matching them with those of earlier jobs."""


@dataclass(frozen=True)
class Strokes:
    """How the part is moved."""

    pattern: Pattern
    length: float
    """Travel of the part one way; of a circle its diameter, of an eight its length [m]."""
    direction: float
    """Angle of the stroke (and of the operator) from the part's u axis at the start [rad]."""
    sway: Uncertain
    """Deviation of strokes beside their line and past their ends [m]."""
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class TurnState:
    """How the part and the operator stand: turns from the start, anticlockwise [rad]."""

    part: float
    operator: float


@dataclass(frozen=True)
class Turning:
    """States gone through in a round, each held for ``every`` strokes."""

    name: str
    states: tuple[TurnState, ...]
    every: int | None
    """Strokes in one state; None: the plan chooses."""
    assumed: bool = False


@dataclass(frozen=True)
class Exact:
    """What a scenario may fix to hold the program against a formula."""

    load: float | None = None
    """Total force of face on paper instead of weight and press [N]."""
    load_at: tuple[float, float] | None = None
    """Where it acts in the frame of the part, instead of weight, hands and friction [m]."""
    tilt_held: bool = False
    """The part keeps parallel to the paper; only its approach is free."""
    strokes: int | None = None
    cell: float | None = None
    """Side of a cell [m]."""


@dataclass(frozen=True)
class Wear:
    """How the paper cuts this metal."""

    rate: Uncertain
    """Specific wear rate k0 of fresh P120 [m²/N]."""
    bedding: Uncertain
    """Bedding length of fresh paper over grain diameter λ/d [-]."""
    friction: Uncertain
    """Coefficient of friction on fresh paper [-]."""
    ageing: Uncertain
    """Factor on the loading and dulling scales [-]."""
    loading_floor: Uncertain
    dulling_floor: Uncertain
    """Share of its rate that clogged, and blunt, P120 keeps [-]."""
    brushing: Uncertain
    """Share of the loading that brushing or rinsing takes out of P120 [-]."""
    blunt_bedding: Uncertain
    """Share of its bedding length that blunt paper keeps [-]."""
    friction_gain: Uncertain
    """Growth of friction on clogged paper, over that on fresh [-]."""
    edge_rate: Uncertain
    """How much faster the leading edge is cut than the middle, over that [-]."""
    edge_rise: Uncertain
    """How much prouder the paper stands right before the leading edge [m]."""
    ages: bool
    """False: paper stays as fresh as new."""
    bedding_length: float | None = None
    """λ itself, for every paper, where the scenario fixes it [m]."""


@dataclass(frozen=True)
class Past:
    """What a job takes from earlier ones; see :mod:`handlap.sim.lapping.from_past`.

    Attributes
    ----------
    plain : the job as its scenario has it, without them
    file : where they were read
    jobs : those that match at least in part
    names : quantities drawn together; ``factor`` (k, k): what makes their scores out of independent ones
    luck : of single grades, by name of the score
    strange : those of ``jobs`` that do not fit the others, by number from nought
    apart : how far jobs lie apart in their cut, ×/÷ (5 to 95 %); None: nothing of the cut was taken
    """

    plain: Scenario
    file: str
    jobs: tuple[PastJob, ...]
    names: tuple[str, ...]
    factor: Array
    luck: Mapping[str, Uncertain] = field(default_factory=dict)
    strange: tuple[int, ...] = ()
    apart: float | None = None


@dataclass(frozen=True)
class Scenario:
    """One job."""

    name: str
    title: str
    source: str
    """Path or built-in name it was read from."""
    invented: bool
    part: Part
    readings: Readings
    plate: Plate
    paper: Paper
    hands: Hands
    strokes: Strokes
    turning: Turning
    wear: Wear
    exact: Exact = field(default_factory=Exact)
    check_every: int | None = None
    """Strokes between checks; None: about two minutes' worth."""
    ways: tuple[str, ...] = ()
    """Ways of working to compare, as :func:`handlap.sim.job.ways.parse_way` reads them."""
    system: System = "mm"
    """Units in which its file is written, and in which what is said of it speaks of lengths."""
    leaf_unit: str = "µm"
    """What leaves are stamped in and shown in: mm, µm, in or thou."""
    warnings: tuple[str, ...] = ()
    assumed: tuple[Uncertain, ...] = ()
    """Uncertain defaults in force, for the report."""
    assumed_plain: tuple[tuple[str, str, str], ...] = ()
    """Other defaults in force: key, value in words, basis."""
    past: Past | None = None
    """What was taken from earlier jobs; None: nothing."""

    def settled(self) -> Scenario:
        """The same job with nothing uncertain."""

        def still(record: Any) -> Any:
            quantities: dict[str, Any] = {
                k: v.settled() for k, v in vars(record).items() if isinstance(v, Uncertain)
            }
            return replace(record, **quantities)

        return replace(self, hands=still(self.hands), wear=still(self.wear), strokes=still(self.strokes))

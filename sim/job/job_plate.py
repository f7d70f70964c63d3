"""The plate of a job and the paper on it: records, and on their fields the keys of ``[plate]`` and
``[paper]``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from handlap.sim.job.job_readings import HeightTable
from handlap.sim.job.key_row import Key
from handlap.sim.materials.grits import Grit

PlateShape = Literal["dish", "hump", "twist"]
Laid = Literal["glued", "loose"]


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

    length: Annotated[float, Key(
        "length of the plate, along x: the way u runs at the start",
        "length", 20.0, 5000.0, default_words="450 mm, or 200 mm more than the part", basis="ours",
    )]  # fmt: skip
    width: Annotated[float, Key(
        "width of the plate, along y",
        "length", 20.0, 5000.0, default_words="300 mm, or 100 mm more than the part", basis="ours",
    )]  # fmt: skip
    assumed: bool = False
    grade: Annotated[str | None, Key(
        "grade of the surface plate with its standard: DIN 876 0 to 3, ISO 8512-2 0 to 3, ASME B89.3.7 AA, "
        "A, B",
        default_words="taken as flat",
        basis="ours: a plate of unknown form adds its own error, which is then not in the result",
    )] = None  # fmt: skip
    tolerance: Annotated[float, Key(
        "flatness the plate is known to keep, between two planes, instead of a grade",
        "height", 0.0, 2000.0, usual=(0.0, 200.0), name="flatness", default_words="by plate.grade",
    )] = 0.0  # fmt: skip
    shape: Annotated[PlateShape | None, Key(
        "known shape of the plate: dish (hollow), hump (crowned), twist (proud where x and y have one sign)",
        default_words="none known",
    )] = None  # fmt: skip
    shape_height: Annotated[float, Key(
        "height of that shape over the whole plate, between two planes",
        "height", 0.0, 5000.0, usual=(0.0, 500.0), default_words="must be given with plate.shape",
    )] = 0.0  # fmt: skip
    heights: Annotated[HeightTable | None, Key(
        "table of measured heights of the plate (CSV with x, y, height) beside the scenario; the paper must "
        "lie within the area measured",
        kind="file", default_words="none measured",
    )] = None  # fmt: skip
    glass: Annotated[
        Glass | None,
        Key(
            "thickness of float glass used as the plate",
            "length", 2.0, 50.0, usual=(4.0, 25.0), kind="quantity", default_words="no glass",
        ),
        Key(
            "gap along x, about the middle, that the glass bridges; 0: bedded all over",
            "length", 0.0, 3000.0, default=0.0, name="gap", kind="quantity", basis="ours: bedded all over",
        ),
    ] = None  # fmt: skip


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

    grits: Annotated[
        tuple[Grit, ...],
        Key(
            'papers on hand, coarse to fine, such as ["P80", "P120"] or ["120 US"]',
            kind="grits", default_words="P80, P120, P240",
            basis="common practice: 60 to 120 to get flat, finer to finish",
        ),
        Key(
            "system of grits written as plain numbers: P (FEPA, ISO 6344) or US",
            choices=("P", "US"), name="grade_system", kind="choice",
            default_words="must be given for plain numbers above 220, where the two differ",
        ),
    ]  # fmt: skip
    """Coarse to fine, in the order of use."""
    start: Annotated[Grit | None, Key(
        "the paper of paper.grits to start on",
        kind="text", default_words="the plan chooses",
    )] = None  # fmt: skip
    """The paper to start on; None: the plan chooses."""
    laid: Annotated[Laid, Key(
        "glued (flat all over), or loose (held by water, curled, badly glued: it rises before the part)",
        default="glued", basis="ours",
    )] = "glued"  # fmt: skip
    """Glued down all over; or loose: held by water, curled, badly glued."""
    wet: Annotated[bool, Key("worked wet (water or paraffin)", default=False, basis="ours")] = False
    strips: Annotated[tuple[Strip, ...] | None, Key(
        "papered rectangles [x0, y0, x1, y1] about the middle of the plate; between them is no paper, and "
        "where they overlap one lies on the other",
        "length", -2500.0, 2500.0, kind="strips", default_words="the whole plate is papered", basis="ours",
    )] = None  # fmt: skip
    """None: the whole plate is papered."""
    thickness: Annotated[float, Key(
        "thickness of one layer of paper, the step where strips overlap",
        "length", 0.02, 5.0, usual=(0.1, 1.5), default=0.35,
        basis="from memory: coarse paper with its grit is 0.3 to 0.5 mm thick, fine 0.2",
    )] = 0.35e-3  # fmt: skip
    """Thickness of one layer, the step where strips overlap [m]."""
    lumps: Annotated[tuple[Lump, ...], Key(
        "round lumps of glue or a chip under the paper [x, y, diameter, height]; a height below 0 is a dent",
        "length", -2500.0, 2500.0, kind="lumps", default_words="none",
    )] = ()  # fmt: skip
    brush_every: Annotated[int | None, Key(
        "strokes between brushings; 0: never",
        low=0, high=1_000_000, default_words="the plan chooses", basis="ours",
    )] = None  # fmt: skip
    """Strokes between brushings; None: the plan chooses; 0: never."""
    sheet_every: Annotated[int | None, Key(
        "strokes on one sheet; 0: one sheet a paper",
        low=0, high=1_000_000, default_words="the plan chooses", basis="ours",
    )] = None  # fmt: skip
    """Strokes a sheet; None: the plan chooses; 0: one sheet a paper."""
    sheets: Annotated[int | None, Key(
        "changes of paper the stock allows, all grits together",
        low=1, high=10_000, default_words="not stated",
    )] = None  # fmt: skip
    """Changes of paper that the stock allows, all grits together; None: not stated."""
    abrasive: Annotated[str, Key(
        "what kind of paper, in a word of your own: what earlier jobs have taught of paper is only taken "
        "for the same",
        default_words="your usual one",
    )] = ""  # fmt: skip
    """What kind of paper it is, in the user's own word; only for matching it with that of earlier jobs."""
    assumed: tuple[str, ...] = ()

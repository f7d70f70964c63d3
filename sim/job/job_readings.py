"""What was measured of the face: records, and on their fields the keys of ``[readings]``."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal, get_args

from handlap.sim.common.outline import Array
from handlap.sim.job.key_row import FACE, Key

Held = Literal["rest", "level", "tipped start", "tipped end"]
Where = Literal["middle", "ends", "corner", "unknown"]


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

    name: Annotated[str, Key("name of this laying of the straightedge", required=True)]
    start: Annotated[tuple[float, float], Key(
        "where it starts [u, v]",
        "length", *FACE, required=True, name="from",
    )]  # fmt: skip
    end: Annotated[tuple[float, float], Key(
        "where it ends [u, v]",
        "length", *FACE, required=True, name="to",
    )]  # fmt: skip
    held: Annotated[Held, Key(
        "how it was held: at rest on two points; rocking and held level; or tipped onto one end",
        default="rest", basis="ours",
    )]  # fmt: skip
    stations: Annotated[
        tuple[Station, ...],
        Key(
            'readings [distance from the start, thickest leaf that goes or "none", thinnest that stops or '
            '"open"]',
            "leaf", 1.0, 10000.0, usual=(10.0, 2000.0), kind="stations",
            default_words="must be given, or slides_in",
        ),
        Key(
            'how far leaves slide in [leaf, "start" or "end", depth]',
            "leaf", 1.0, 10000.0, usual=(5.0, 2000.0), name="slides_in", kind="depths", default_words="none",
        ),
    ]  # fmt: skip


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
    table: Annotated[
        HeightTable | None,
        Key(
            "table of heights (CSV) beside the scenario, instead of lines",
            name="heights", kind="file", after="readings.worst_gap", default_words="must be given, or lines",
        ),
        Key(
            "standard error of one height of the table; 0 takes the table as the face itself",
            "height", 0.0, 200.0, usual=(0.0, 30.0), name="heights_sd", kind="quantity",
            after="readings.heights", default_words="half a step of the digits of the table, at least 1 µm",
            basis="common practice: half a division; the least is ours",
        ),
    ] = None  # fmt: skip
    edge_sd: Annotated[float, Key(
        "standard error of the straightedge's own line",
        "height", 0.0, 200.0, usual=(0.0, 30.0), default=3.0, name="edge_error",
        basis="ours: a machinist's straightedge in good order",
    )] = 0.0  # fmt: skip
    """Standard error of the straightedge's own line [m]."""
    edge_bow: Annotated[float, Key(
        "known bow of the straightedge over its length, + = hollow in its middle",
        "height", -500.0, 500.0, usual=(-50.0, 50.0), default=0.0, basis="ours: taken as straight",
    )] = 0.0  # fmt: skip
    """Known bow of the straightedge over its length, + = hollow in the middle [m]."""
    edge_length: Annotated[float | None, Key(
        "length of the straightedge; a line of the sheet that is longer is read in parts",
        "length", 20.0, 5000.0, usual=(100.0, 2000.0), default_words="as long as every line", basis="ours",
    )] = None  # fmt: skip
    """Length of the straightedge; None: as long as every line [m]."""
    leaves: Annotated[
        tuple[float, ...],
        Key(
            "how leaves are stamped: mm (0.05), µm or um (50), in (.002) or thou (2); plain numbers of "
            "leaves in [readings] are read so, and leaves are shown so",
            choices=("mm", "µm", "um", "in", "thou"), name="leaves_in", kind="choice",
            default_words="µm, or thou in a job in inches",
        ),
        Key(
            "feeler leaves at hand; a station may then leave out the leaf that stops",
            "leaf", 1.0, 10000.0, usual=(10.0, 2000.0), kind="leaves",
            default_words="those met in the readings",
        ),
    ] = ()  # fmt: skip
    """Feeler leaves at hand, thin to thick, where they are stated [m]."""
    worst: Annotated[WorstGap | None, Key(
        "of a first look, used while no lines are read: [thickest leaf that goes where the gap is worst or "
        '"none", thinnest that stops or "open", where: middle, ends, corner or unknown]',
        "leaf", 1.0, 10000.0, usual=(10.0, 2000.0), choices=get_args(Where), name="worst_gap",
        kind="worst gap", default_words="none",
    )] = None  # fmt: skip
    """What a first look found; None where lines or a table tell more."""

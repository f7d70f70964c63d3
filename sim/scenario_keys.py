"""Every key of a scenario file, in one table.

The loader is driven by this table: a key that is not here is refused, and one that is here is
checked against its row.  To add a key, add a row, and use its value where
:mod:`handlap.sim.scenario_file` builds the record.

Ranges and defaults are written in the units of the mm system (mm, µm, N, kg, mm³/(N·m), °).
A basis says where a default comes from: *published* (source seen), *from memory* (recalled
from the literature), *derived* (worked out from those), *common practice* (no source), *ours*
(a choice of this program).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from handlap.sim.units import System, from_si, plain, to_si, unit_of

Kind = Literal[
    "text",
    "choice",
    "yes or no",
    "whole number",
    "quantity",
    "uncertain quantity",
    "point",
    "points",
    "circle",
    "slot",
    "leaves",
    "stations",
    "depths",
    "strips",
    "grits",
    "turns",
    "direction",
    "gasket",
    "file",
]

GASKETS = ("composite", "multi-layer steel", "coated multi-layer steel")
SCHEDULES = ("none", "half", "quarter", "walk", "half and walk")
PATTERNS = ("straight", "one way", "circle", "eight", "diagonal")
HOLDS = ("rest", "level", "tipped start", "tipped end")


@dataclass(frozen=True)
class Key:
    """One row of the table.

    Attributes
    ----------
    name : dotted key; ``[]`` marks a list of tables
    kind : what the value is
    help : one line for the user
    quantity : for numbers, a row of :data:`handlap.sim.units.QUANTITIES`
    low, high : least and greatest value allowed [file unit, mm system]
    usual : outside this a value is doubted in a warning, not refused [file unit, mm system]
    choices : words allowed
    default : value taken when the key is absent [file unit, mm system]; None: see
        ``default_words``, or nothing is taken
    default_words : the default in words where it depends on other keys
    factor : default spread as ×/÷ this, 5 to 95 % [-]; 1: none
    plus_minus : default spread as ± this, 5 to 95 % [file unit, mm system]
    basis : where the default comes from
    required : whether a file must hold it
    """

    name: str
    kind: Kind
    help: str
    quantity: str = "number"
    low: float = 0.0
    high: float = 0.0
    usual: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    default: float | int | bool | str | None = None
    default_words: str = ""
    factor: float = 1.0
    plus_minus: float = 0.0
    basis: str = ""
    required: bool = False

    def bounds(self) -> tuple[float, float]:
        """Least and greatest value allowed [SI]."""
        return to_si(self.low, self.quantity), to_si(self.high, self.quantity)


_FACE = (-2000.0, 2000.0)
_LEAF = (1.0, 10000.0)

KEYS: tuple[Key, ...] = (
    # ---- the file itself
    Key("title", "text", "the job in one line", default_words="name of the file"),
    Key("invented", "yes or no", "true for demonstration data", default=False, basis="ours"),
    Key(
        "units",
        "choice",
        "system of plain numbers: mm (lengths mm, heights µm, forces N, masses kg, roughness µm) or inch "
        "(inches, thousandths, lbf, lb, microinches)",
        choices=("mm", "inch"),
        default="mm",
        basis="ours",
    ),
    # ---- part
    Key("part.name", "text", "what the part is", default_words="the title"),
    Key(
        "part.length",
        "quantity",
        "length of a rectangular face, along u",
        "length",
        1.0,
        3000.0,
        default_words="must be given, or part.polygon",
    ),
    Key(
        "part.width",
        "quantity",
        "width of a rectangular face, along v",
        "length",
        1.0,
        3000.0,
        default_words="must be given, or part.polygon",
    ),
    Key(
        "part.polygon",
        "points",
        "corners [u, v] of a face that is no rectangle, in order; positions in the file are then in the "
        "frame of these corners",
        "length",
        -3000.0,
        3000.0,
        default_words="none: a rectangle",
    ),
    Key(
        "part.origin",
        "choice",
        "where u = v = 0 lies on a rectangle for every position in the file: its middle, or its corner of "
        "least u and v",
        choices=("middle", "corner"),
        default="middle",
        basis="ours",
    ),
    Key("part.openings[].circle", "circle", "round hole [u, v, diameter]", "length", *_FACE),
    Key(
        "part.openings[].slot",
        "slot",
        "slot with round ends [u, v, length over all, width, angle from u in degrees]",
        "length",
        *_FACE,
    ),
    Key("part.openings[].polygon", "points", "corners [u, v] of an opening", "length", *_FACE),
    Key("part.metal", "text", "metal of the face, such as A356 or grey iron", required=True),
    Key(
        "part.mass",
        "quantity",
        "mass of all that rests on the paper (or give part.weight)",
        "mass",
        0.001,
        2000.0,
        usual=(0.02, 40.0),
        default_words="must be given, or part.weight",
    ),
    Key(
        "part.weight",
        "quantity",
        "weight of all that rests on the paper (or give part.mass)",
        "force",
        0.01,
        20000.0,
        usual=(0.2, 400.0),
        default_words="from part.mass",
    ),
    Key(
        "part.weight_at",
        "point",
        "where the centre of weight stands over the face [u, v]",
        "length",
        *_FACE,
        default_words="middle of the face's area",
        basis="ours",
    ),
    Key(
        "part.limit",
        "quantity",
        "flatness the face is to have; the maker's figure comes first",
        "height",
        0.1,
        5000.0,
        usual=(2.0, 700.0),
        required=True,
    ),
    Key(
        "part.limit_by",
        "choice",
        "how the limit is meant: greatest gap under a straightedge, or zone between two planes",
        choices=("straightedge", "zone"),
        default="straightedge",
        basis="common practice: workshop manuals give the gap under a straightedge",
    ),
    Key(
        "part.allowance",
        "quantity",
        "greatest depth that may come off anywhere",
        "height",
        0.0,
        20000.0,
        usual=(5.0, 2000.0),
        default_words="none stated",
    ),
    Key(
        "part.gasket",
        "gasket",
        "what the gasket asks of the finish: composite, multi-layer steel, coated multi-layer steel, or "
        "the range of roughness [least Ra, greatest Ra]",
        "roughness",
        0.0,
        25.0,
        choices=GASKETS,
        default_words="none stated",
    ),
    # ---- readings
    Key(
        "readings.edge_error",
        "quantity",
        "standard error of the straightedge's own line",
        "height",
        0.0,
        200.0,
        usual=(0.0, 30.0),
        default=3.0,
        basis="ours: a machinist's straightedge in good order",
    ),
    Key(
        "readings.edge_bow",
        "quantity",
        "known bow of the straightedge over its length, + = hollow in its middle",
        "height",
        -500.0,
        500.0,
        usual=(-50.0, 50.0),
        default=0.0,
        basis="ours: taken as straight",
    ),
    Key(
        "readings.leaves",
        "leaves",
        "feeler leaves at hand; a station may then leave out the leaf that stops",
        "height",
        1.0,
        10000.0,
        usual=(10.0, 2000.0),
        default_words="those met in the readings",
    ),
    Key(
        "readings.heights",
        "file",
        "table of heights (CSV) beside the scenario, instead of lines",
        default_words="must be given, or lines",
    ),
    Key(
        "readings.heights_sd",
        "quantity",
        "standard error of one height of the table; 0 takes the table as the face itself",
        "height",
        0.0,
        200.0,
        usual=(0.0, 30.0),
        default=0.0,
        basis="ours: heights are taken as exact until an error is stated",
    ),
    Key("readings.line[].name", "text", "name of this laying of the straightedge", required=True),
    Key("readings.line[].from", "point", "where it starts [u, v]", "length", *_FACE, required=True),
    Key("readings.line[].to", "point", "where it ends [u, v]", "length", *_FACE, required=True),
    Key(
        "readings.line[].held",
        "choice",
        "how it was held: at rest on two points; rocking and held level; or tipped onto one end",
        choices=HOLDS,
        default="rest",
        basis="ours",
    ),
    Key(
        "readings.line[].stations",
        "stations",
        'readings [distance from the start, thickest leaf that goes or "none", thinnest that stops or '
        '"open"]',
        "height",
        *_LEAF,
        usual=(10.0, 2000.0),
        default_words="must be given, or slides_in",
    ),
    Key(
        "readings.line[].slides_in",
        "depths",
        'how far leaves slide in [leaf, "start" or "end", depth]',
        "height",
        *_LEAF,
        usual=(5.0, 2000.0),
        default_words="none",
    ),
    # ---- plate
    Key(
        "plate.length",
        "quantity",
        "length of the plate, along the stroke",
        "length",
        20.0,
        5000.0,
        default_words="450 mm, or 200 mm more than the part",
        basis="ours",
    ),
    Key(
        "plate.width",
        "quantity",
        "width of the plate",
        "length",
        20.0,
        5000.0,
        default_words="300 mm, or 100 mm more than the part",
        basis="ours",
    ),
    # ---- paper
    Key(
        "paper.grits",
        "grits",
        'papers on hand, coarse to fine, such as ["P80", "P120"] or ["120 US"]',
        default_words="P80, P120, P240",
        basis="common practice: 60 to 120 to get flat, finer to finish",
    ),
    Key(
        "paper.grade_system",
        "choice",
        "system of grits written as plain numbers: P (FEPA, ISO 6344) or US",
        choices=("P", "US"),
        default_words="must be given for plain numbers above 220, where the two differ",
    ),
    Key("paper.wet", "yes or no", "worked wet (water or paraffin)", default=False, basis="ours"),
    Key(
        "paper.strips",
        "strips",
        "papered rectangles [x0, y0, x1, y1] about the middle of the plate",
        "length",
        -2500.0,
        2500.0,
        default_words="the whole plate is papered",
        basis="ours",
    ),
    Key(
        "paper.brush_every",
        "whole number",
        "strokes between brushings; 0: never",
        low=0,
        high=1_000_000,
        default_words="the plan chooses",
        basis="ours",
    ),
    Key(
        "paper.sheet_every",
        "whole number",
        "strokes on one sheet; 0: one sheet a paper",
        low=0,
        high=1_000_000,
        default_words="the plan chooses",
        basis="ours",
    ),
    Key(
        "paper.sheets",
        "whole number",
        "changes of paper the stock allows, all grits together",
        low=1,
        high=10_000,
        default_words="not stated",
    ),
    # ---- hands
    Key(
        "hands.press",
        "uncertain quantity",
        "force the hands add to the weight (negative lifts), or light, firm, heavy; press on a bathroom "
        "scale to learn yours",
        "force",
        -2000.0,
        10000.0,
        usual=(-100.0, 200.0),
        default=40.0,
        factor=2.0,
        basis="from memory and common practice: 20 to 60 N held for an hour, 100 to 150 N for minutes",
    ),
    Key(
        "hands.height",
        "uncertain quantity",
        "height over the paper at which the hands push",
        "length",
        0.0,
        1000.0,
        usual=(0.0, 250.0),
        default=50.0,
        factor=2.24,
        basis="derived: 20 to 100 mm over the paper",
    ),
    Key(
        "hands.bias_along",
        "uncertain quantity",
        "constant offset of the press from the middle of the part, away from you",
        "length",
        -1000.0,
        1000.0,
        usual=(-100.0, 100.0),
        default=0.0,
        plus_minus=8.0,
        basis="derived, low confidence",
    ),
    Key(
        "hands.bias_across",
        "uncertain quantity",
        "constant offset of the press from the middle of the part, to your left",
        "length",
        -1000.0,
        1000.0,
        usual=(-100.0, 100.0),
        default=0.0,
        plus_minus=8.0,
        basis="derived, low confidence",
    ),
    Key(
        "hands.wobble_along",
        "uncertain quantity",
        "how far the press wanders along the stroke (standard deviation)",
        "length",
        0.0,
        500.0,
        usual=(0.0, 80.0),
        default=25.0,
        factor=2.24,
        basis="derived from the crowns people report, low confidence",
    ),
    Key(
        "hands.wobble_across",
        "uncertain quantity",
        "how far the press wanders across the stroke (standard deviation)",
        "length",
        0.0,
        500.0,
        usual=(0.0, 80.0),
        default=12.0,
        factor=2.24,
        basis="derived from the crowns people report, low confidence",
    ),
    Key(
        "hands.push_over_pull",
        "uncertain quantity",
        "press while pushing over press while pulling",
        low=0.05,
        high=20.0,
        usual=(0.5, 3.0),
        default=1.3,
        factor=1.42,
        basis="derived: 1 to 2",
    ),
    Key(
        "hands.strokes_per_minute",
        "uncertain quantity",
        "strokes (there and back) a minute",
        low=1.0,
        high=600.0,
        usual=(10.0, 120.0),
        default=40.0,
        factor=1.42,
        basis="from memory: 30 to 60 double strokes a minute",
    ),
    # ---- strokes
    Key(
        "strokes.pattern",
        "choice",
        "straight (to and fro), one way (return lifted), circle, eight (figure of eight), diagonal "
        "(straight with changing direction)",
        choices=PATTERNS,
        default="straight",
        basis="common practice",
    ),
    Key(
        "strokes.length",
        "quantity",
        "travel one way; of a circle its diameter, of an eight its length",
        "length",
        1.0,
        3000.0,
        usual=(20.0, 600.0),
        default_words="150 mm, or what the plate leaves if that is less",
        basis="common practice: 100 to 300 mm",
    ),
    Key(
        "strokes.direction",
        "direction",
        "along (the u axis of the part), across, or degrees from it, anticlockwise",
        "angle",
        -360.0,
        360.0,
        choices=("along", "across"),
        default="along",
        basis="common practice: long axis",
    ),
    # ---- turning
    Key(
        "turning.schedule",
        "choice",
        "none; half turns of the part; quarter turns; walk to the other side of the plate; both",
        choices=SCHEDULES,
        default="half",
        basis="common practice: turn the part",
    ),
    Key(
        "turning.states",
        "turns",
        "a round of your own [[turn of the part, turn of the operator], …] in degrees, anticlockwise, "
        "instead of a schedule",
        "angle",
        -360.0,
        360.0,
        default_words="from turning.schedule",
    ),
    Key(
        "turning.every",
        "whole number",
        "strokes in one state",
        low=1,
        high=1_000_000,
        default_words="the plan chooses",
        basis="ours",
    ),
    # ---- wear
    Key(
        "wear.rate",
        "uncertain quantity",
        "specific wear rate of this metal on fresh paper P60 to P180",
        "rate",
        1e-6,
        10.0,
        usual=(0.002, 0.4),
        default_words="by metal, ×/÷ 3",
        basis="derived from published two-body abrasion on fresh paper",
    ),
    Key(
        "wear.bedding",
        "uncertain quantity",
        "bedding length over grain diameter",
        low=0.001,
        high=5.0,
        usual=(0.04, 0.3),
        default=0.12,
        factor=1.83,
        basis="derived from the roughness of paper: 0.06 to 0.2",
    ),
    Key(
        "wear.bedding_length",
        "quantity",
        "bedding length itself, the same for every paper, instead of wear.bedding",
        "height",
        0.01,
        1000.0,
        usual=(0.3, 60.0),
        default_words="from wear.bedding",
    ),
    Key(
        "wear.friction",
        "uncertain quantity",
        "coefficient of friction on the paper",
        low=0.0,
        high=2.0,
        usual=(0.0, 1.0),
        default_words="by metal, dry or wet, ×/÷ 1.42",
        basis="from memory",
    ),
    Key(
        "wear.ageing",
        "uncertain quantity",
        "factor on how much metal a paper cuts before it loads and dulls",
        low=0.001,
        high=1000.0,
        usual=(0.1, 10.0),
        default=1.0,
        factor=2.5,
        basis="derived, low confidence",
    ),
    Key("wear.ages", "yes or no", "false: paper stays as fresh as new", default=True, basis="ours"),
    # ---- exact cases
    Key(
        "exact.load",
        "quantity",
        "total force of face on paper, instead of weight and press",
        "force",
        0.001,
        20000.0,
        default_words="weight and press",
    ),
    Key(
        "exact.load_at",
        "point",
        "where it acts [u, v], instead of weight, hands and friction",
        "length",
        *_FACE,
        default_words="from weight, hands and friction",
    ),
    Key(
        "exact.tilt",
        "choice",
        "free, or held (the part keeps parallel to the paper)",
        choices=("free", "held"),
        default="free",
        basis="ours",
    ),
    Key(
        "exact.strokes",
        "whole number",
        "strokes of the one lap",
        low=1,
        high=1_000_000,
        default_words="not fixed",
    ),
    Key(
        "exact.cell",
        "quantity",
        "side of a cell of the face",
        "length",
        0.05,
        200.0,
        default_words="chosen by the error wanted",
    ),
    # ---- checks
    Key(
        "checks.every",
        "whole number",
        "strokes between checks",
        low=1,
        high=1_000_000,
        default_words="about two minutes' worth",
        basis="common practice: blocks of about two minutes",
    ),
)

BY_NAME: dict[str, Key] = {key.name: key for key in KEYS}


def key(name: str) -> Key:
    """The row of a dotted key (KeyError if there is none)."""
    return BY_NAME[name]


@dataclass(frozen=True)
class KeyRow:
    """A row of the table in words, for print."""

    name: str
    kind: str
    unit_mm: str
    unit_inch: str
    allowed: str
    default: str
    basis: str
    help: str
    required: bool


def _default_words(row: Key) -> str:
    if row.required:
        return "must be given"
    if row.default is None:
        return row.default_words or "none"
    if isinstance(row.default, bool):
        return "true" if row.default else "false"
    unit = unit_of(row.quantity, "mm")
    words = f"{row.default:g}" if isinstance(row.default, float) else str(row.default)
    words += f" {unit}" if unit and isinstance(row.default, float) else ""
    if row.factor > 1.0:
        words += f", ×/÷ {row.factor:g}"
    if row.plus_minus > 0.0:
        words += f" ± {row.plus_minus:g}"
    return words


def range_words(row: Key, system: System = "mm") -> str:
    """Least and greatest value of a row in words, in the units of a system.

    >>> range_words(key("part.limit"), "inch")
    '0.003937 to 196.9 thou'
    """
    unit = unit_of(row.quantity, system)
    low, high = (plain(from_si(bound, row.quantity, system)) for bound in row.bounds())
    return f"{low} to {high}" + (f" {unit}" if unit else "")


def allowed_words(row: Key, system: System = "mm") -> str:
    """Choices and range of a row in words."""
    parts = [", ".join(row.choices)] if row.choices else []
    if row.high > row.low:
        parts.append(range_words(row, system))
    return "; or ".join(parts)


def describe_keys() -> tuple[KeyRow, ...]:
    """Every key in words, in the order of the table."""
    return tuple(
        KeyRow(
            name=row.name,
            kind=row.kind,
            unit_mm=unit_of(row.quantity, "mm"),
            unit_inch=unit_of(row.quantity, "inch"),
            allowed=allowed_words(row),
            default=_default_words(row),
            basis=row.basis,
            help=row.help,
            required=row.required,
        )
        for row in KEYS
    )

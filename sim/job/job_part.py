"""The part of a job: records, and on their fields the keys of ``[part]`` in a scenario file."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from handlap.sim.common.outline import Array, Outline
from handlap.sim.job.key_row import FACE, Key
from handlap.sim.job.surroundings import Surroundings
from handlap.sim.materials.metals import Metal

LimitBy = Literal["straightedge", "zone"]
Pressing = Literal["middle", "two pads", "rim", "backing"]
GASKETS = ("composite", "multi-layer steel", "coated multi-layer steel")


@dataclass(frozen=True)
class Proud:
    """Something that stands ``height`` [m] proud of the face at (u, v) [m]; ``out``: taken out already."""

    name: Annotated[str, Key("what stands proud of the face: dowel, stud, pipe, valve", required=True)]
    at: Annotated[tuple[float, float], Key("where it stands [u, v]", "length", *FACE, required=True)]
    height: Annotated[float, Key(
        "how far it stands proud of the face (a length: mm or in)",
        "length", 0.0, 500.0, usual=(0.0, 150.0), required=True, name="stands",
    )]  # fmt: skip
    out: Annotated[bool, Key(
        "true once it has been taken out",
        default=False, basis="ours: what is named is there until it is said to be out",
    )] = False  # fmt: skip


@dataclass(frozen=True)
class Insert:
    """Another metal in the face: an area (m, 2) [m] of its own rate.

    ``rate_ratio``: its specific wear rate over that of the face's own metal [-].
    """

    name: Annotated[str, Key(
        "another metal in the face that stays in: a liner, a bush, a plug; later ones lie over earlier ones",
        required=True,
    )]  # fmt: skip
    area: Annotated[
        Array,
        Key(
            "round insert [u, v, diameter]; of a liner the outer diameter",
            "length", *FACE, name="circle", kind="circle",
        ),
        Key(
            "insert with round ends [u, v, length over all, width, angle from u in degrees]",
            "length", *FACE, name="slot", kind="slot",
        ),
        Key("corners [u, v] of an insert", "length", *FACE, name="polygon", kind="points"),
    ]  # fmt: skip
    rate_ratio: Annotated[
        float,
        Key(
            "its metal, such as grey iron; its rate against the face's own follows",
            name="metal", kind="text", default_words="must be given, or rate_ratio",
        ),
        Key(
            "how fast it wears against the metal of the face, instead of its metal; below 1: it ends proud",
            low=0.001, high=1000.0, usual=(0.05, 20.0), default_words="from the two metals",
        ),
    ]  # fmt: skip


@dataclass(frozen=True)
class Part:
    """The workpiece; positions in its own frame, origin at the middle of the bounding box."""

    name: Annotated[str, Key("what the part is", default_words="the title")]
    outline: Annotated[
        Outline,
        Key(
            "length of a rectangular face, along u",
            "length", 1.0, 3000.0, name="length", kind="quantity",
            default_words="must be given, or part.polygon",
        ),
        Key(
            "width of a rectangular face, along v",
            "length", 1.0, 3000.0, name="width", kind="quantity",
            default_words="must be given, or part.polygon",
        ),
        Key(
            "corners [u, v] of a face that is no rectangle, in order; positions in the file are then in the "
            "frame of these corners",
            "length", -3000.0, 3000.0, name="polygon", kind="points", default_words="none: a rectangle",
        ),
        Key(
            "where u = v = 0 lies on a rectangle for every position in the file: its middle, or its corner "
            "of least u and v",
            choices=("middle", "corner"), default="middle", name="origin", kind="choice", basis="ours",
        ),
        Key("round hole [u, v, diameter]", "length", *FACE, name="openings[].circle", kind="circle"),
        Key(
            "slot with round ends [u, v, length over all, width, angle from u in degrees]",
            "length", *FACE, name="openings[].slot", kind="slot",
        ),
        Key("corners [u, v] of an opening", "length", *FACE, name="openings[].polygon", kind="points"),
    ]  # fmt: skip
    metal: Annotated[Metal, Key("metal of the face, such as A356 or grey iron", required=True, kind="text")]
    weight: Annotated[
        float,
        Key(
            "mass of all that rests on the paper (or give part.weight)",
            "mass", 0.001, 2000.0, usual=(0.02, 40.0), doubt="mass", name="mass",
            default_words="must be given, or part.weight",
        ),
        Key(
            "weight of all that rests on the paper (or give part.mass)",
            "force", 0.01, 20000.0, usual=(0.2, 400.0), default_words="from part.mass",
        ),
    ]  # fmt: skip
    """Weight that rests on the paper [N]."""
    weight_at: Annotated[tuple[float, float], Key(
        "where the centre of weight stands over the face [u, v]",
        "length", *FACE, default_words="middle of the face's area", basis="ours",
    )]  # fmt: skip
    """Centre of weight (u, v) [m]."""
    limit: Annotated[float, Key(
        "flatness the face is to have; the maker's figure comes first",
        "height", 0.1, 5000.0, usual=(2.0, 700.0), doubt="limit", required=True,
    )]  # fmt: skip
    """Flatness the face is to have [m]."""
    limit_by: Annotated[LimitBy, Key(
        "how the limit is meant: greatest gap under a straightedge, or zone between two planes",
        default="straightedge", basis="common practice: workshop manuals give the gap under a straightedge",
    )]  # fmt: skip
    allowance: Annotated[float | None, Key(
        "greatest depth that may come off anywhere",
        "height", 0.0, 20000.0, usual=(5.0, 2000.0), doubt="allowance", default_words="none stated",
    )]  # fmt: skip
    """Greatest depth that may come off anywhere [m]; None: none stated."""
    gasket_ra: Annotated[tuple[float, float] | None, Key(
        "what the gasket asks of the finish: composite, multi-layer steel (MLS), coated multi-layer steel, "
        "or the range of roughness [least Ra, greatest Ra]",
        "roughness", 0.0, 25.0, choices=GASKETS, name="gasket", kind="gasket", default_words="none stated",
    )] = None  # fmt: skip
    """Least and greatest roughness Ra the gasket takes [m]."""
    thickness: Annotated[float | None, Key(
        "thickness of a thin part, which bends; leave it out for one thick enough to be rigid",
        "length", 0.2, 500.0, usual=(1.0, 60.0), default_words="rigid",
        basis="ours: a casting some 30 mm deep hardly bends under the hands",
    )] = None  # fmt: skip
    """Thickness of the part as a plate [m]; None: thick enough to be rigid."""
    ribbed_as: Annotated[
        float | None,
        Key(
            "thickness of a plain plate as stiff as this ribbed part, at least part.thickness",
            "length", 0.2, 500.0, usual=(1.0, 80.0), default_words="part.thickness: not ribbed",
        ),
        Key(
            "of a long part, instead of its thickness: load in the middle over how far it bends there, "
            "between two supports (weights and a dial indicator will tell)",
            "stiffness", 0.001, 10000.0, usual=(0.02, 500.0), name="stiffness", default_words="not stated",
            basis="common practice: 0.6 to 0.8 N/µm for iron soles of planes 355 to 560 mm long",
        ),
        Key(
            "distance between the two supports, along u and even about the middle",
            "length", 10.0, 3000.0, name="stiffness_span", default_words="the length of the part",
            basis="ours: supported at its ends",
        ),
    ] = None  # fmt: skip
    """Thickness of a plain plate that is as stiff as the part [m]: where it is ribbed, or where its
    stiffness was measured; None: neither."""
    pressing: Annotated[Pressing, Key(
        "where the hands press a thin part: on a pad in its middle, on two pads, along the rim, or on a "
        "stiff block behind all of it",
        default="middle", basis="ours",
    )] = "middle"  # fmt: skip
    """Where the hands press: a pad in the middle, two pads, along the rim, a stiff block behind it."""
    pad: Annotated[float, Key(
        "diameter of the pad of a hand",
        "length", 2.0, 500.0, usual=(20.0, 150.0), default=60.0, basis="ours: the palm of a hand",
    )] = 0.06  # fmt: skip
    """Diameter of a pad [m]."""
    spring_back: Annotated[float | None, Key(
        "greatest spring-back wanted when the hands let go",
        "height", 0.1, 5000.0, usual=(1.0, 200.0), default_words="not asked",
    )] = None  # fmt: skip
    """Greatest spring-back wanted [m]; None: not asked."""
    proud: tuple[Proud, ...] = ()
    inserts: tuple[Insert, ...] = ()
    after: Surroundings = field(default_factory=Surroundings)
    """What is around the face and changes when metal comes off."""

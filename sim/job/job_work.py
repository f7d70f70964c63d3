"""How a job is worked, hands, strokes, turning, exact cases: records, and on their fields the keys of these
tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from handlap.sim.job.key_row import FACE, Key
from handlap.sim.job.stroke_path import PATTERNS, Pattern, pattern_words
from handlap.sim.job.turning import SCHEDULES, TurnState
from handlap.sim.job.uncertain import Uncertain


@dataclass(frozen=True)
class Hands:
    """How the part is held.  Signs in the operator's frame: + along = away, + across = left."""

    press: Annotated[Uncertain, Key(
        "force the hands add to the weight (negative lifts), or light, firm, heavy; press on a bathroom "
        "scale to learn yours",
        "force", -2000.0, 10000.0, usual=(-100.0, 200.0), default=40.0, factor=2.0, doubt="force",
        basis="from memory and common practice: 20 to 60 N held for an hour, 100 to 150 N for minutes",
    )]  # fmt: skip
    """Mean force the hands add [N]; negative lifts."""
    height: Annotated[Uncertain, Key(
        "height over the paper at which the hands push",
        "length", 0.0, 1000.0, usual=(0.0, 250.0),
        default_words="15 mm on a small cover to 100 mm on a head, ×/÷ 1.5; less where it would nose over",
        basis="common practice: by the part's size",
    )]  # fmt: skip
    """Height of the push over the paper [m]."""
    bias_along: Annotated[Uncertain, Key(
        "constant offset of the press from the middle of the part, away from you",
        "length", -1000.0, 1000.0, usual=(-100.0, 100.0), default=0.0, plus_minus=8.0,
        basis="derived, low confidence",
    )]  # fmt: skip
    bias_across: Annotated[Uncertain, Key(
        "constant offset of the press from the middle of the part, to your left",
        "length", -1000.0, 1000.0, usual=(-100.0, 100.0), default=0.0, plus_minus=8.0,
        basis="derived, low confidence",
    )]  # fmt: skip
    """Constant offset of the press from the middle of the part [m]."""
    wobble_along: Annotated[Uncertain, Key(
        "how far the press wanders along the stroke (standard deviation)",
        "length", 0.0, 500.0, usual=(0.0, 80.0), factor=2.24,
        default_words="0.12 of the part's side along the stroke, at most 25 mm",
        basis="derived from the crowns people report, low confidence",
    )]  # fmt: skip
    wobble_across: Annotated[Uncertain, Key(
        "how far the press wanders across the stroke (standard deviation)",
        "length", 0.0, 500.0, usual=(0.0, 80.0), default=12.0, factor=2.24,
        basis="derived from the crowns people report, low confidence",
    )]  # fmt: skip
    """Standard deviation of the wandering of the press [m]."""
    push_over_pull: Annotated[Uncertain, Key(
        "press while pushing over press while pulling",
        low=0.05, high=20.0, usual=(0.5, 3.0), default=1.3, factor=1.42, basis="derived: 1 to 2",
    )]  # fmt: skip
    """Press while pushing over press while pulling [-]."""
    strokes_per_minute: Annotated[Uncertain, Key(
        "strokes (there and back) a minute",
        low=1.0, high=600.0, usual=(10.0, 120.0), default=40.0, factor=1.42,
        basis="from memory: 30 to 60 double strokes a minute",
    )]  # fmt: skip
    twist: Annotated[float, Key(
        "turn of the part about its middle during one pass, away from you anticlockwise: the wrists' arc",
        "angle", -90.0, 90.0, usual=(-45.0, 45.0), default=0.0, basis="ours: off",
    )] = 0.0  # fmt: skip
    """Turn of the part about its own middle during one pass, away = anticlockwise [rad]."""
    swell: Annotated[float, Key(
        "how much heavier the press gets towards the end of each pass, push or pull, than in its middle, as "
        "a share of it; at the start of the pass it is as much lighter",
        low=-0.9, high=0.9, usual=(-0.6, 0.6), default=0.0, basis="ours: off",
    )] = 0.0  # fmt: skip
    """Press at the end of each pass, push or pull, over its middle, less one; at its start the
    opposite [-]."""
    rocking: Annotated[float, Key(
        "how far the press moves forward over a push; from the front hand to the back hand is negative",
        "length", -500.0, 500.0, usual=(-150.0, 150.0), default=0.0, basis="ours: off",
    )] = 0.0  # fmt: skip
    """How far the middle of the press moves forward while the part is pushed from one end of the stroke to
    the other [m]: positive away from the operator; negative where it moves back, from the front hand to the
    hand behind."""
    whose: Annotated[str, Key(
        "whose hands, in a word of your own: what earlier jobs have taught of hands is only taken for the "
        "same",
        default_words="yours",
    )] = ""  # fmt: skip
    """Whose hands, in the user's own word; only for matching them with those of earlier jobs."""


@dataclass(frozen=True)
class Strokes:
    """How the part is moved."""

    pattern: Annotated[Pattern, Key(
        pattern_words(),
        choices=tuple(PATTERNS), default="straight", kind="choice", basis="common practice",
    )]  # fmt: skip
    length: Annotated[float, Key(
        "travel one way; of a circle its diameter, of an eight its length",
        "length", 1.0, 3000.0, usual=(20.0, 600.0),
        default_words="150 mm, or what the paper leaves if that is less",
        basis="common practice: 100 to 300 mm",
    )]  # fmt: skip
    """Travel of the part one way; of a circle its diameter, of an eight its length [m]."""
    direction: Annotated[float, Key(
        "along (the u axis of the part), across, or degrees from it, anticlockwise",
        "angle", -360.0, 360.0, choices=("along", "across"), default="along", kind="direction",
        basis="common practice: long axis",
    )]  # fmt: skip
    """Angle of the stroke (and of the operator) from the part's u axis at the start [rad]."""
    sway: Annotated[Uncertain, Key(
        "how far strokes run beside their line and past their ends (standard deviation): nobody strokes on "
        "rails; only the paper's wear feels it",
        "length", 0.0, 200.0, usual=(0.0, 30.0), default=5.0, factor=1.6,
        basis="ours: nobody has measured it",
    )]  # fmt: skip
    """Deviation of strokes beside their line and past their ends [m]."""
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Turning:
    """States gone through in a round, each held for ``every`` strokes."""

    name: Annotated[str, Key(
        "; ".join(schedule.asked for schedule in SCHEDULES.values()),
        choices=tuple(SCHEDULES), default="half", name="schedule", kind="choice",
        basis="common practice: turn the part",
    )]  # fmt: skip
    states: Annotated[tuple[TurnState, ...], Key(
        "a round of your own [[turn of the part, turn of the operator], …] in degrees, anticlockwise, "
        "instead of a schedule",
        "angle", -360.0, 360.0, kind="turns", default_words="from turning.schedule",
    )]  # fmt: skip
    every: Annotated[int | None, Key(
        "strokes in one state",
        low=1, high=1_000_000, default_words="the plan chooses", basis="ours",
    )]  # fmt: skip
    """Strokes in one state; None: the plan chooses."""
    assumed: bool = False


@dataclass(frozen=True)
class Exact:
    """What a scenario may fix to hold the program against a formula."""

    load: Annotated[float | None, Key(
        "total force of face on paper, instead of weight and press",
        "force", 0.001, 20000.0, default_words="weight and press",
    )] = None  # fmt: skip
    """Total force of face on paper instead of weight and press [N]."""
    load_at: Annotated[tuple[float, float] | None, Key(
        "where it acts [u, v], instead of weight, hands and friction",
        "length", *FACE, default_words="from weight, hands and friction",
    )] = None  # fmt: skip
    """Where it acts in the frame of the part, instead of weight, hands and friction [m]."""
    tilt_held: Annotated[bool, Key(
        "free, or held (the part keeps parallel to the paper)",
        choices=("free", "held"), default="free", name="tilt", kind="choice", basis="ours",
    )] = False  # fmt: skip
    """The part keeps parallel to the paper; only its approach is free."""
    strokes: Annotated[int | None, Key(
        "strokes of the one lap",
        low=1, high=1_000_000, default_words="not fixed",
    )] = None  # fmt: skip
    cell: Annotated[float | None, Key(
        "side of a cell of the face; 40000 of them over its length and width at the most",
        "length", 0.05, 200.0, default_words="chosen by the error wanted",
    )] = None  # fmt: skip
    """Side of a cell [m]."""

"""Tools of a bench, and the least difference that each of them tells.

What a tool sees is common practice, from memory: about two of its reading steps, since what is looked at
is nearly always the difference of two readings.
"""

from __future__ import annotations

from dataclasses import dataclass

from handlap.sim.teaching.lesson_figures import Unit


@dataclass(frozen=True)
class Tool:
    """A tool: what it is called, the kind of unit it reads, the least difference it tells [SI]."""

    words: str
    unit: Unit
    sees: float


TOOLS: dict[str, Tool] = {
    "straightedge": Tool("a straightedge against the light", "length", 10e-6),
    "leaf": Tool("the thinnest feeler leaf", "length", 30e-6),
    "dial gauge": Tool("a dial gauge", "length", 5e-6),
    "micrometer": Tool("a micrometer", "length", 10e-6),
    "callipers": Tool("callipers", "length", 50e-6),
    "kitchen scale": Tool("a kitchen scale", "mass", 2e-3),
    "letter scale": Tool("a letter scale that reads tenths of a gram", "mass", 0.2e-3),
    "pocket scale": Tool("a pocket scale that reads hundredths of a gram", "mass", 0.03e-3),
    "dye": Tool("the eye, in dye", "share", 0.10),
    "spring balance": Tool("a spring balance", "force", 3.0),
    "counting": Tool("counting strokes", "count", 20.0),
}
"""Every tool by the name that a lesson's file calls it."""

"""Keys of a lesson's file that hold its reason and its bench: starting faces, causes, steps.

A ``[[cause]]`` names what is switched off, or left on alone, in a run that holds the "because"; a
``[[step]]`` names what is to be seen on a real scrap and with which tool.
"""

from __future__ import annotations

import re
from typing import Any, cast

from handlap.sim.common.units import show
from handlap.sim.comparing.causes import OFF
from handlap.sim.job.findings import Findings
from handlap.sim.job.scenario_numbers import number
from handlap.sim.teaching.bench_tools import TOOLS
from handlap.sim.teaching.lesson import Cause, Expects, StartFace, Step
from handlap.sim.teaching.lesson_values import one_of, refuse_unknown, text_of, words_of

NAME = re.compile(r"[A-Za-z_]\w*")
FACE_KEYS = tuple(StartFace.__dataclass_fields__)
HIGHEST = 5000e-6
"""Greatest height of a starting face [m]."""
OUTCOME_EXPECTS = ("stays", "goes")
EXPECTS = (*OUTCOME_EXPECTS, "less", "turns")
SWITCHES = ("without", "only", "change", "face")
CAUSE_KEYS = ("words", *SWITCHES, "cases", "of", "expects")
STEP_KEYS = ("name", "words", "of", "tool")
MOST_CAUSES, MOST_STEPS = 4, 3


def read_face(raw: Any, label: str, found: Findings) -> StartFace | None:
    """A starting face [m], or None where there is none; faults are written down."""
    if raw is None:
        return None
    if not isinstance(raw, dict):
        found.fault(label, raw, f"a table with {', '.join(FACE_KEYS)}")
        return None
    refuse_unknown(raw, FACE_KEYS, f"{label}.", found)
    values = {}
    highest = show(HIGHEST, "height")
    allowed = f"a height from -{highest.split()[0]} to {highest}"
    for name in FACE_KEYS:
        if name not in raw:
            continue
        value = number(raw[name], f"{label}.{name}", found, "height", allowed)
        if value is not None and abs(value) > HIGHEST:
            found.fault(f"{label}.{name}", raw[name], allowed)
        elif value is not None and name == "uneven" and value < 0.0:
            found.fault(f"{label}.{name}", raw[name], "a height of 0 or more")
        elif value is not None:
            values[name] = value
    return StartFace(**values)


def read_cause(raw: dict[str, Any], label: str, found: Findings) -> Cause | None:
    """A run that holds the reason; None where it is at fault."""
    before = len(found.faults)
    words = text_of(raw.get("words"), f"{label}.words", found)
    given = [name for name in SWITCHES if name in raw]
    if not given:
        found.fault(label, None, f"missing: what is other in this run, {', '.join(SWITCHES)}")
    if "without" in raw and "only" in raw:
        found.fault(label, "without, only", "one of them: the others off, or these")
    without = words_of(raw.get("without"), f"{label}.without", tuple(OFF), found)
    only = one_of(raw.get("only"), f"{label}.only", tuple(OFF), found, needed=False)
    change = raw.get("change", {})
    if not isinstance(change, dict):
        found.fault(f"{label}.change", change, "a table of keys of a scenario file")
    cases = words_of(raw.get("cases"), f"{label}.cases", None, found)
    face = read_face(raw.get("face"), f"{label}.face", found)
    of = raw.get("of")
    if of is not None and not isinstance(of, str):
        found.fault(f"{label}.of", of, "a figure as in the texts, without its braces: case.figure")
    allowed = OUTCOME_EXPECTS if of is None else EXPECTS
    expects = one_of(raw.get("expects"), f"{label}.expects", allowed, found, needed=True)
    if len(found.faults) > before:
        return None
    return Cause(words, cast(Expects, expects), without or (), only, change, face, cases, of)


def read_step(raw: dict[str, Any], label: str, found: Findings) -> Step | None:
    """What is to be seen on a real scrap; None where it is at fault."""
    before = len(found.faults)
    name = raw.get("name", "step")
    if not isinstance(name, str) or not NAME.fullmatch(name):
        found.fault(f"{label}.name", name, "a short name of letters, digits and _, a letter first")
    words = text_of(raw.get("words"), f"{label}.words", found)
    of = text_of(raw.get("of"), f"{label}.of", found)
    tool = one_of(raw.get("tool"), f"{label}.tool", tuple(TOOLS), found, needed=True)
    if len(found.faults) > before or tool is None:
        return None
    return Step(name, words, of, tool)

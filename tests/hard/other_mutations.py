"""Mutants of what else is read: lessons, forms and seals of exercises, drafts of answers.

As in ``mutations.py``, kind and number always give the same bytes.
"""

from __future__ import annotations

import json
import random
import tomllib
from collections.abc import Callable
from functools import cache
from importlib import resources
from typing import Any

from mutations import TYPED, Mutant, _change_values, _edit_bytes, _edit_text, _json, as_toml

EXERCISE = (1, 0)
"""Level and number of the exercise tried."""
FILLED = {
    "by": "Ann", "shape": "hollow", "flatness": 90, "flatness_from": "60 µm", "flatness_to": 120,
    "least_cut": "90", "read_again": "none", "do": "lap", "papers": "P120", "strokes": "200",
    "turning": "half", "turn_every": 40,
}  # fmt: skip


def _encoded(text: str, label: str, rng: random.Random, by_text: float, by_bytes: float) -> Mutant:
    """The text as bytes, now and then edited as letters or as bytes."""
    if rng.random() < by_text:
        label, text = _edit_text(text, rng)
    data = text.encode("utf-8", "surrogatepass")
    return Mutant(*_edit_bytes(data, rng)) if rng.random() < by_bytes else Mutant(label, data)


# ---- lessons


@cache
def sound_lessons() -> tuple[str, ...]:
    """The built-in lessons."""
    folder = resources.files("handlap.scenarios") / "lessons"
    paths = sorted((p for p in folder.iterdir() if p.name.endswith(".toml")), key=lambda path: path.name)
    return tuple(path.read_text(encoding="utf-8") for path in paths)


def lesson(number: int) -> Mutant:
    """The mutated lesson of that number."""
    rng = random.Random(f"lesson {number}")
    text = rng.choice(sound_lessons())
    if rng.random() < 0.3:
        return _encoded(text, "", rng, 0.7, 0.4)
    document = tomllib.loads(text)
    label = _change_values(document, rng)
    return Mutant(label, as_toml(document).encode("utf-8", "surrogatepass"))


# ---- exercises


@cache
def sound_exercise() -> dict[str, str]:
    """The files of an exercise, its form filled in."""
    from handlap.sim.teaching.exercise import make_exercise
    from handlap.sim.teaching.exercise_answers import form_text
    from handlap.sim.teaching.exercise_seal import seal

    made = make_exercise(*EXERCISE)
    return {
        "scenario.toml": made.text,
        "answers.toml": form_text(made.task, FILLED),
        "truth.seal": seal(made.name, {**made.as_mapping(), "openings": []}),
    }


def form(number: int) -> Mutant:
    """The mutated form of answers of that number."""
    rng = random.Random(f"form {number}")
    text = sound_exercise()["answers.toml"]
    if rng.random() < 0.4:
        return _encoded(text, "", rng, 0.7, 0.5)
    document = tomllib.loads(text)
    label = _change_values(document, rng)
    return Mutant(label, as_toml(document).encode("utf-8", "surrogatepass"))


def seal(number: int) -> Mutant:
    """The mutated seal of that number; one in six is sealed anew, so that its check holds."""
    from handlap.sim.teaching.exercise_seal import open_seal
    from handlap.sim.teaching.exercise_seal import seal as sealed

    rng = random.Random(f"seal {number}")
    text = sound_exercise()["truth.seal"]
    if rng.random() < 5.0 / 6.0:
        return _encoded(text, "", rng, 0.6, 0.7)
    name, content = open_seal(text.encode(), "truth.seal")
    plain = json.loads(json.dumps(content))
    label = _change_values(plain, rng)
    try:
        return Mutant(f"sealed anew, {label}", sealed(name, plain).encode())
    except (TypeError, ValueError):  # what JSON cannot hold
        return _encoded(text, "", rng, 1.0, 0.0)


# ---- drafts


def draft(number: int, kind: str, names: tuple[str, ...]) -> Mutant:
    """A mutated draft of answers of that number.

    Parameters
    ----------
    kind : what the command calls its drafts
    names : of questions it asks
    """
    rng = random.Random(f"draft {number}")
    answers: dict[str, Any] = {name: rng.choice(TYPED) for name in names if rng.random() < 0.7}
    held = {"schema": kind, "answers": answers}
    label = "other answers"
    if rng.random() < 0.6:
        label = _change_values(held, rng)
    return _encoded(_json(held), label, rng, 0.2, 0.2)


MUTATE: dict[str, Callable[[int], Mutant]] = {"lesson": lesson, "form": form, "seal": seal}

"""A page on which a learner lays the straightedge on the hidden face of an exercise and pushes leaves.

What leaves say was worked beforehand by the program's own rule; the page looks it up and holds nothing else
of the face: who takes the page apart finds the readings that pushing leaves would have given, and neither
shape nor figure.  They are hidden as in the seal of the exercise, under a stream of SHAKE-256, so that no
reading stands there to be read; the key lies beside it, for the page has to open it.
"""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import Any

from handlap.cli.drawing.colours import BENCH_PAGE
from handlap.cli.reports.page import escape
from handlap.cli.reports.script_page import as_properties, script_page
from handlap.cli.reports.wording import face_words, sentence, subject, wanted_words
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.teaching.exercise import Exercise
from handlap.sim.teaching.exercise_answers import LONGEST_NAME, QUESTIONS
from handlap.sim.teaching.exercise_feel import HOLDS
from handlap.sim.teaching.exercise_levels import LEVELS
from handlap.sim.teaching.exercise_readings import HEAD, NONE, OPEN, SCHEMA
from handlap.sim.teaching.exercise_seal import hidden

HERE = Path(__file__).parent
SCRIPTS = (
    "../sheets/hand_over.js",
    "knob_map.js",
    "feel_seal.js",
    "feel_page.js",
)
HELD = (
    ("rest", "Let it rest"),
    ("level", "Hold it level"),
    ("tipped start", "Tip it onto its start"),
    ("tipped end", "Tip it onto its end"),
)
"""Ways of holding, on buttons."""


def render_feel(exercise: Exercise) -> str:
    """The page of an exercise whose face is to be felt."""
    style = as_properties(BENCH_PAGE) + _file("knob_page.css") + _file("feel_page.css")
    script = "\n".join(_file(name) for name in SCRIPTS)
    body = _file("feel_page.html")
    for name, text in _filled(exercise).items():
        body = body.replace(f"@{name}@", text)
    data = ("feel-data", feel_data(exercise))
    return script_page(f"Feel: {subject(exercise.scenario)}", style, body, data, script)


def _file(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")


def _filled(exercise: Exercise) -> dict[str, str]:
    part = exercise.scenario.part
    return {
        "subject": escape(f"{subject(exercise.scenario)}: {exercise.name}"),
        "lead": f"<p>{escape(sentence(face_words(part)))} {escape(sentence(wanted_words(part)))} "
        f"{escape(sentence(LEVELS[exercise.level].felt))} All of it is invented.</p>",
        "holds": "".join(
            f'<button type="button" data-held="{held}" aria-pressed="false">{escape(words)}</button>'
            for held, words in HELD
        ),
        "answers": "\n".join(
            f'<div class="asked"><label for="answer-{asked.name}">{escape(asked.text)}</label>'
            f'<p class="hint" id="more-{asked.name}">{escape(asked.more)}</p>'
            f'<input id="answer-{asked.name}" data-answer="{asked.name}" aria-describedby="more-{asked.name}"'
            ' maxlength="200" autocomplete="off"></div>'
            for asked in QUESTIONS
        ),
        "longest": str(LONGEST_NAME),
    }


def feel_data(exercise: Exercise) -> dict[str, Any]:
    """What the script goes by: the sheet's lines and stations [m], the leaves [µm], what they say, hidden."""
    outline = exercise.scenario.part.outline
    packed = packed_of(exercise)
    key = hashlib.sha256(exercise.name.encode("utf-8") + packed).digest()
    return {
        "head": {HEAD: SCHEMA, "exercise": exercise.name},
        "file": f"level-{exercise.level}-number-{exercise.seed}-felt.txt",
        "none": NONE,
        "open": OPEN,
        "holds": list(HOLDS),
        "leaves": [round(1e6 * leaf, 3) for leaf in sorted(exercise.scenario.readings.leaves)],
        "outline": [
            [[round(float(u), 6), round(float(v), 6)] for u, v in ring]
            for ring in (outline.rim, *outline.openings)
        ],
        "lines": [_line(line) for line in exercise.task.lines],
        "key": base64.b64encode(key).decode("ascii"),
        "felt": base64.b64encode(hidden(packed, key)).decode("ascii"),
    }


def _line(line: MeasuringLine) -> dict[str, Any]:
    return {
        "letter": line.letter,
        "name": line.name,
        "start": list(line.start),
        "end": list(line.end),
        "length": line.length,
        "at": list(line.at),
        "labels": [line.label(i) for i in range(len(line.at))],
    }


def packed_of(exercise: Exercise) -> bytes:
    """What leaves say, line by line: whether it rocks, then hold by hold how many go at each station."""
    found = bytearray()
    for line in exercise.felt:
        found.append(line.rocks)
        for counts in line.goes:
            found += bytes(counts)
    return bytes(found)

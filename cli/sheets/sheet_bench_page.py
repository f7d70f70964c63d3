"""The page for the bench: one HTML file for the phone beside the plate, that fetches nothing.

Style and scripts stand beside this module as files of their own and are put into the page, which allows
them by their digest and forbids everything else.  The page works nothing out of its own: what falls due,
what to expect, when to stop and all words of the job go in as data.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from handlap.cli.asking.readings_text import leaf_words
from handlap.cli.drawing.colours import BENCH_PAGE
from handlap.cli.reports.script_page import harmless_json, script_page
from handlap.cli.reports.wording import TURNS, dye_signs, sentence, subject, wanted_words
from handlap.cli.result_set import set_name
from handlap.cli.sheets.sheet_job import LEAVES
from handlap.cli.sheets.sheet_stop_rules import stop_words
from handlap.sim.bench.bench_blocks import leaf_band
from handlap.sim.bench.bench_page_text import head_of
from handlap.sim.bench.job_log import MOST_STROKES, Entry, part_mark
from handlap.sim.bench.log_lines import to_json
from handlap.sim.bench.log_marks import marks_of
from handlap.sim.bench.log_place import owner_of
from handlap.sim.bench.log_sense import MOST_PACE
from handlap.sim.bench.page_plan import PageLook, PagePlan, PageStage, page_mark, zone_chances
from handlap.sim.bench.photo_view import CORNERS, NoView, corner_places
from handlap.sim.bench.stop_rules import REREAD, SAME_STATION
from handlap.sim.common.outline import Array
from handlap.sim.common.units import POUND, System, from_si, leaf_number, plain, unit_of
from handlap.sim.face.done import EQUAL, NEAR_END, WIDEST_GAP
from handlap.sim.face.done import SAME_STATION as NAMED_BY
from handlap.sim.face.stations import SAME, MeasuringLine, lines_of
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario, TurnState

HERE = Path(__file__).parent
SCRIPTS = (
    "hand_over.js",
    "bench_page_rules.js",
    "bench_page_count.js",
    "bench_page_look.js",
    "bench_page_photo.js",
    "bench_page.js",
)
MM, UM, GRAM = 1e3, 1e6, 1e3
WEIGHTS: dict[System, dict[str, Any]] = {
    "mm": {
        "part": {"unit": "g", "grams": 1.0},
        "swarf": {"unit": "g", "grams": 1.0},
        "units": {"g": 1.0},
        "words": "grams, such as 3120.12",
    },
    "inch": {
        "part": {"unit": "oz", "grams": GRAM * POUND / 16.0},
        "swarf": {"unit": "grains", "grams": GRAM * POUND / 7000.0},
        "units": {
            "lb": GRAM * POUND,
            "oz": GRAM * POUND / 16.0,
            "grains": GRAM * POUND / 7000.0,
            "gr": GRAM * POUND / 7000.0,
        },
        "words": "pounds, ounces or grains, such as 5 lb 8.02 oz or 6.5 grains",
    },
}
"""What part and swarf weigh in on the page, what may be written behind a number, and how to say so."""
QUARTER = math.pi / 2.0
UNSAFE = re.compile(r"[^\w.-]+")
"""What does not go into the name of a file that is typed at a shell."""
RULE_NAMES = {
    "goal": ("Goal met", "goal"),
    "allowance grams": ("Allowance near, by the weight", "allowance"),
    "allowance strokes": ("Allowance near, by the strokes", "allowance"),
    "worse strokes": ("Getting worse from here on", "worse"),
    "worse stations": ("Worse than before", "worse"),
}
"""Rule that holds → its head on the page, and which rule of the job sheet says it."""


def render_bench_page(plan: PagePlan, system: System) -> str:
    """The page of a job."""
    style = _colours() + (HERE / "bench_page.css").read_text(encoding="utf-8")
    script = "\n".join((HERE / name).read_text(encoding="utf-8") for name in SCRIPTS)
    body = (HERE / "bench_page.html").read_text(encoding="utf-8")
    data = bench_page_data(plan, system)
    title = f"At the bench: {subject(plan.scenario)}"
    head = '<meta name="color-scheme" content="light dark">\n'
    return script_page(title, style, body, ("job", data), script, head=head)


def _colours() -> str:
    """The palette of the page as properties of its style sheet."""
    light, dark = (
        " ".join(f"--{name}: {shades[kind]};" for name, shades in BENCH_PAGE.items()) for kind in (0, 1)
    )
    return f":root {{ {light} }}\n@media (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"


def bench_page_data(plan: PagePlan, system: System) -> dict[str, Any]:
    """What the scripts of the page go by, in the units of the log (mm, µm, g) and the words of the user."""
    scenario, log = plan.scenario, plan.log
    lines = lines_of(scenario, system)
    leaves = tuple(sorted(scenario.readings.leaves or LEAVES[system]))
    data = {
        "title": subject(scenario),
        "wanted": sentence(f"wanted: {wanted_words(scenario.part)}"),
        "advice": plan.advice,
        "reasons": [sentence(reason) for reason in plan.reasons],
        "command": f"handlap log {scenario.source} --from",
        "replan": f"handlap replan {scenario.source}",
        "photo": _photo(scenario),
        "file": f"{UNSAFE.sub('-', set_name(scenario.name, 'bench'))}.txt",
        "before": [_entry(entry) for entry in log.standing],
        "known": [entry.id for entry in log.entries if entry.id],
        "strokes": log.strokes,
        "laid": plan.laid,
        "pace": round(float(scenario.hands.strokes_per_minute.value)),
        "most_pace": MOST_PACE,
        "most_strokes": MOST_STROKES,
        "stages": [_stage(stage, leaves, scenario.leaf_unit) for stage in plan.stages],
        "turns": [_turn(plan, k) for k in range(len(scenario.turning.states))],
        "turned": plan.turned,
        "turning": sentence(TURNS.get(scenario.turning.name, scenario.turning.name)),
        "plate": [_mm(scenario.plate.length), _mm(scenario.plate.width)],
        "outline": [_ring(ring) for ring in (scenario.part.outline.rim, *scenario.part.outline.openings)],
        "size": [_mm(scenario.part.outline.length), _mm(scenario.part.outline.width)],
        "lines": [_line(line, scenario.readings.lines, system) for line in lines],
        "leaves": [{"um": round(UM * x, 4), "name": leaf_number(x, scenario.leaf_unit)} for x in leaves],
        "leaf_unit": scenario.leaf_unit,
        "length_unit": unit_of("length", system),
        "scales": _scales(plan, system),
        "weights": WEIGHTS[system],
        "dye_signs": dye_signs(),
        "rules": _rules(plan, lines),
        "says": _says(plan, leaves, system),
    }
    marks = tuple(marks_of(scenario).values())
    mark = page_mark(harmless_json(data), log.entries)
    head = head_of(mark, part_mark(scenario.part), owner_of(scenario), len(log.entries), log.strokes, marks)
    return {**data, "head": head}


def _photo(scenario: Scenario) -> dict[str, Any] | None:
    """The marks to tap in a photo of the dye, and the command that reads it; None where there are too few.

    Corners, or where the rim has none the four openings that lie nearest to where they would be.
    """
    outline = scenario.part.outline
    try:
        corner_places(outline)
        marks = [{"says": f"the {name} corner", "option": "--corner "} for name in CORNERS]
    except NoView:
        marks = []
        left = {k: 0.5 * (ring.min(axis=0) + ring.max(axis=0)) for k, ring in enumerate(outline.openings, 1)}
        for name, (u, v) in zip(CORNERS, ((-1, 1), (1, 1), (1, -1), (-1, -1)), strict=True):
            if not left:
                return None
            number = max(left, key=lambda k: u * left[k][0] / outline.length + v * left[k][1] / outline.width)
            del left[number]
            says = f"the middle of the {name} opening (no. {number} of the scenario)"
            marks.append({"says": says, "option": f"--opening {number}="})
    return {
        "command": f"handlap dye-photo {scenario.source}",
        "marks": marks,
        "says": "From above, in even light, the whole face in it. "
        "You tap its marks here; it is read at the machine.",
    }


def _entry(entry: Entry) -> dict[str, Any]:
    """An entry of the log, for the rules."""
    return {key: value for key, value in to_json(entry).items() if key != "against"}


def _mm(length: float) -> float:
    return round(MM * float(length), 3)


def _ring(ring: Array) -> list[list[float]]:
    return [[_mm(u), _mm(v)] for u, v in ring]


def _band(band: Band | None, factor: float) -> list[float] | None:
    if band is None:
        return None
    return [float(f"{factor * x:.4g}") for x in (band.p05, band.p50, band.p95)]


def _stage(stage: PageStage, leaves: Sequence[float], leaf_unit: str) -> dict[str, Any]:
    return {
        "paper": stage.paper,
        "purpose": sentence(stage.purpose) if stage.purpose else "",
        "strokes": stage.strokes,
        "turn_every": stage.turn_every,
        "brush_every": stage.brush_every,
        "sheet_every": stage.sheet_every,
        "on_sheet": stage.on_sheet,
        "since_turn": stage.since_turn,
        "looks": [_look(look, leaves, leaf_unit) for look in stage.looks],
    }


def _look(look: PageLook, leaves: Sequence[float], leaf_unit: str) -> dict[str, Any]:
    """A look: grams, the leaf that goes in µm and in the user's own words, the dye."""
    leaf = leaf_band(look.straightedge, leaves)
    return {
        "at": look.at,
        "grams": _band(look.mass, GRAM),
        "leaf_um": [round(UM * x, 4) for x in leaf],
        "leaf": [leaf_words(x, leaf_unit) if x else "none" for x in leaf],
        "gone": _band(look.dye_gone, 1.0),
        "faded": _band(look.dye_faded, 1.0),
        "zones": zone_chances(look.zones),
        "reached": round(look.reached, 3),
        "spare": look.spare,
    }


def _turn(plan: PagePlan, k: int) -> dict[str, Any]:
    """A way of lying: how part and operator stand [rad], and how to get there from the one before."""
    states = plan.scenario.turning.states
    state = states[k]
    return {
        "part": round(state.part, 5),
        "stand": round(state.operator + plan.scenario.strokes.direction, 5),
        "words": _turn_words(states[k - 1], state) if len(states) > 1 else "",
    }


def _turn_words(before: TurnState, after: TurnState) -> str:
    """What to do to get from one way of lying to the next.

    >>> _turn_words(TurnState(0.0, 0.0), TurnState(math.pi, 0.0))
    'Turn the part half round.'
    """
    words = []
    for name, turn in (
        ("Turn the part", after.part - before.part),
        ("Walk", after.operator - before.operator),
    ):
        turn = math.remainder(turn, 2.0 * math.pi)
        if abs(turn) < 1e-6:
            continue
        rest = " the plate; the part stays as it lies" if name == "Walk" else ""
        if abs(abs(turn) - math.pi) < 1e-6:
            words.append(f"{name} half round{rest}.")
        elif abs(abs(turn) - QUARTER) < 1e-6:
            words.append(f"{name} a quarter round{rest}, the same way as last time.")
        else:
            words.append(f"{name} {abs(math.degrees(turn)):.0f}° round{rest}.")
    return " ".join(words)


def _line(line: MeasuringLine, read: Sequence[Any], system: System) -> dict[str, Any]:
    held = next((own.held for own in read if own.name == line.name), "rest")
    return {
        "letter": line.letter,
        "name": line.name,
        "from": [_exact(x) for x in line.start],
        "to": [_exact(x) for x in line.end],
        "held": held,
        "at": [_exact(x) for x in line.at],
        "places": _ring(line.places) if line.at else [],
        "said": [plain(from_si(x, "length", system)) for x in line.at],
    }


def _exact(length: float) -> float:
    """A length [m] in mm as the log writes it."""
    return float(f"{MM * length:.10g}")


def _scales(plan: PagePlan, system: System) -> dict[str, float]:
    """Least division of the scale that weighed last, by what it weighed, in the unit of that."""
    found = {}
    for entry in plan.log.standing:
        for name, mass in (("part", entry.part_mass), ("swarf", entry.swarf)):
            if mass is not None and entry.scale is not None:
                found[name] = float(f"{GRAM * entry.scale / WEIGHTS[system][name]['grams']:.5g}")
    return found


def _rules(plan: PagePlan, lines: Sequence[MeasuringLine]) -> dict[str, Any]:
    """Thresholds of the rules: none of them stands in the script."""
    part, marks = plan.scenario.part, plan.marks
    return {
        "limit_um": UM * part.limit,
        "by_straightedge": part.limit_by == "straightedge",
        "equal_um": UM * EQUAL,
        "named_by_mm": MM * NAMED_BY,
        "near_end_mm": MM * NEAR_END,
        "widest_gap": WIDEST_GAP,
        "same_line_mm": MM * SAME,
        "same_station_mm": MM * SAME_STATION,
        "reread_um": UM * REREAD,
        "allowance_g": None if marks.allowance_mass is None else GRAM * marks.allowance_mass,
        "allowance_strokes": marks.allowance_strokes,
        "worse_strokes": marks.worse_strokes,
        "lengths_mm": [_exact(line.length) for line in lines],
    }


def _says(plan: PagePlan, leaves: Sequence[float], system: System) -> dict[str, list[str]]:
    """What the rules say in the moment they hold: a head, and the job sheet's own words."""
    words = stop_words(plan.scenario, plan.marks, leaves, system)
    return {rule: [head, words[key]] for rule, (head, key) in RULE_NAMES.items()}

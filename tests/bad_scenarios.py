"""A short scenario, and what can be wrong with it."""

from __future__ import annotations

SHORT = """
title = "Short"
[part]
length = 200
width = 100
metal = "A356"
mass = 2
limit = 50
[[readings.line]]
name = "long"
from = [-100, 0]
to = [100, 0]
stations = [[10, "none", 30], [100, 50, 60]]
"""

WHOLE = """
title = "A plate"
invented = true
units = "mm"
[part]
name = "plate"
length = 254
width = 127
origin = "corner"
openings = [
    {circle = [50.8, 50.8, 25.4]},
    {slot = [127, 63.5, 50.8, 25.4, 30]},
    {polygon = [[190.5, 25.4], [215.9, 25.4], [215.9, 50.8]]},
]
metal = "A356"
mass = 4.5359237
weight_at = [127, 63.5]
limit = 50.8
limit_by = "zone"
allowance = 254
gasket = [0.762, 1.524]
thickness = 12.7
ribbed_as = 19.05
pressing = "two pads"
pad = 50.8
spring_back = 25.4
[[part.proud]]
name = "dowel"
at = [25.4, 12.7]
stands = 6.35
out = true
[[part.inserts]]
name = "liner"
circle = [50.8, 50.8, 31.75]
metal = "grey iron"
[[part.inserts]]
name = "bush"
slot = [203.2, 101.6, 25.4, 12.7, 90]
rate_ratio = 0.5
[[part.inserts]]
name = "plug"
polygon = [[12.7, 101.6], [25.4, 101.6], [25.4, 114.3]]
rate_ratio = 2
[readings]
edge_error = 2.54
edge_bow = -2.54
edge_length = 304.8
leaves = [25.4, 50.8, 101.6]
[[readings.line]]
name = "long"
from = [0, 6.35]
to = [254, 6.35]
held = "level"
stations = [[25.4, 50.8], [127, "none"], [203.2, 101.6, "open"]]
slides_in = [[25.4, "end", 38.1]]
[plate]
length = 508
width = 381
grade = "ASME B89.3.7 A"
[paper]
grits = [120, 240]
grade_system = "US"
wet = true
laid = "loose"
start = "P280"
strips = [[-254, -127, 0, 127], [0, -127, 254, 127]]
brush_every = 20
sheet_every = 200
sheets = 12
abrasive = "brown, on cloth"
thickness = 0.254
lumps = [[25.4, -25.4, 12.7, 101.6]]
[hands]
press = {value = 44.482216152605, low = 22.2411080763025, high = 88.96443230521}
height = 50.8
bias_along = {value = 0, low = -6.35, high = 6.35}
bias_across = 2.54
wobble_along = 12.7
wobble_across = {value = 12.7, low = 6.35, high = 25.4}
push_over_pull = 1.2
strokes_per_minute = 45
twist = 15
swell = 0.2
whose = "the apprentice"
rocking = 25.4
[strokes]
pattern = "diagonal"
length = 203.2
direction = 45
sway = 5.08
[turning]
schedule = "quarter"
every = 50
[wear]
rate = 0.03
bedding_length = 12.7
friction = 0.5
ageing = {value = 1, low = 0.5, high = 2}
loading_floor = 0.3
dulling_floor = 0.25
brushing = 0.8
blunt_bedding = {value = 0.6, low = 0.5, high = 0.72}
friction_gain = 0.2
edge_rate = 1
edge_rise = 25.4
ages = true
[exact]
load = 88.96443230521
load_at = [127, 63.5]
tilt = "held"
strokes = 400
cell = 2.54
[checks]
every = 100
"""
"""Nearly every key of a scenario file, in the mm system."""

READINGS = SHORT[SHORT.index("[[readings") :]
Change = tuple[str, str]
"""What is replaced in SHORT, and by what."""


def top(line: str) -> Change:
    """A line before the title."""
    return "title", f"{line}\ntitle"


def part(line: str) -> Change:
    """A line more in [part]."""
    return "mass = 2", f"mass = 2\n{line}"


def outline(line: str) -> Change:
    """Other lines for length and width."""
    return "length = 200\nwidth = 100", line


def line(text: str) -> Change:
    """A line more in [[readings.line]]."""
    return 'name = "long"', f'name = "long"\n{text}'


def station(text: str) -> Change:
    """Another second station."""
    return "[100, 50, 60]", text


LINE = '\n[[readings.line]]\nname = "two"\nfrom = [0, -50]\nto = [0, 50]\nstations = [[50, "none", 30]]\n'
FOLLOWED = {
    "part missing",
    "rectangle and polygon",
    "unknown section",
    "origin against corners",
    "lines and heights",
}
"""Cases where one fault brings up others."""


def worst(value: str) -> Change:
    """A worst gap put in front of the readings."""
    return "[[readings.line]]", f"[readings]\nworst_gap = {value}\n[[readings.line]]"


BAD: dict[str, tuple[Change, str, str]] = {
    # what is wrong: (change, key, words of the message)
    "no TOML": (("[part]", "[part"), "", "not valid TOML"),
    "value missing": (("mass = 2", "mass ="), "", "line 7"),
    "key twice": (part("mass = 3"), "", "not valid TOML"),
    "part missing": ((SHORT[SHORT.index("[part]") : SHORT.index("[[read")], ""), "part.metal", "missing"),
    "length missing": (("length = 200\n", ""), "part.length", "missing"),
    "limit missing": (("limit = 50\n", ""), "part.limit", "missing"),
    "mass missing": (("mass = 2\n", ""), "part.mass", "missing"),
    "metal missing": (('metal = "A356"\n', ""), "part.metal", "missing"),
    "unknown section": (("[part]", "[parts]"), "parts", 'nearest is "part"'),
    "unknown key": (part("mas = 2"), "part.mas", 'nearest is "part.mass"'),
    "key of another section": (
        part("push_over_pull = 3"),
        "part.push_over_pull",
        'nearest is "hands.push_over_pull"',
    ),
    "unknown key in a line": (
        line('hold = "rest"'),
        "readings.line[1].hold",
        'nearest is "readings.line[1].held"',
    ),
    "unknown units": (top('units = "cm"'), "units", '"mm", "inch"'),
    "text for a number": (("mass = 2", 'mass = "two"'), "part.mass", "kg, g, lb, oz"),
    "force for a mass": (("mass = 2", 'mass = "2 N"'), "part.mass", "kg, g, lb, oz"),
    "flag for a number": (("mass = 2", "mass = true"), "part.mass", "a number"),
    "list for a number": (("mass = 2", "mass = [2]"), "part.mass", "a number"),
    "nan": (("mass = 2", "mass = nan"), "part.mass", "finite"),
    "infinite": (("length = 200", "length = inf"), "part.length", "finite"),
    "immense": (("length = 200", "length = 1" + "0" * 400), "part.length", "finite"),
    "negative length": (("length = 200", "length = -200"), "part.length", "1 to 3000 mm"),
    "limit in mm": (("limit = 50", "limit = 0.05"), "part.limit", "0.1 to 5000 µm"),
    "worst gap of one leaf": (worst("[100]"), "readings.worst_gap", "[goes, stops, where]"),
    "worst gap nowhere": (worst('[100, 150, "top"]'), "readings.worst_gap (where)", "middle, ends, corner"),
    "worst gap turned round": (worst('[150, 100, "ends"]'), "readings.worst_gap (stops)", "thicker"),
    "worst gap of no leaf": (worst('["none", "open", "ends"]'), "readings.worst_gap", "at least one leaf"),
    "no table": (("[part]", "hands = 3\n[part]"), "hands", "a table [hands]"),
    "number for a text": (('title = "Short"', "title = 3"), "title", "a text"),
    "title of two lines": (('title = "Short"', 'title = "a\\nb"'), "title", "one line"),
    "mass and weight": (part("weight = 20"), "part.weight", "not both"),
    "rectangle and polygon": (
        ("width = 100", "width = 100\npolygon = [[0, 0], [9, 0], [0, 9]]"),
        "part.polygon",
        "not both",
    ),
    "two corners": (outline("polygon = [[0, 0], [9, 0]]"), "part.polygon", "3 to"),
    "corner of three": (outline("polygon = [[0, 0], [9, 0, 1], [0, 9]]"), "part.polygon[2]", "list of 2"),
    "bow tie": (
        outline("polygon = [[-100, -50], [100, 50], [100, -50], [-100, 50]]"),
        "part.polygon",
        "crosses",
    ),
    "corner twice": (outline("polygon = [[0, 0], [9, 0], [9, 0], [0, 9]]"), "part.polygon", "twice running"),
    "no area": (outline("polygon = [[0, 0], [9, 0], [20, 0]]"), "part.polygon", "no area"),
    "origin against corners": (
        outline('origin = "middle"\npolygon = [[0, 0], [200, 0], [0, 100]]'),
        "part.origin",
        "left out",
    ),
    "opening outside": (part("openings = [{circle = [150, 0, 20]}]"), "part.openings[1]", "inside the edge"),
    "opening over the edge": (part("openings = [{circle = [95, 0, 20]}]"), "part.openings[1]", "notch"),
    "openings overlap": (
        part("openings = [{circle = [0, 0, 20]}, {circle = [15, 0, 20]}]"),
        "part.openings[2]",
        "overlaps opening 1",
    ),
    "opening in an opening": (
        part("openings = [{circle = [0, 0, 20]}, {circle = [0, 0, 5]}]"),
        "part.openings[2]",
        "overlaps opening 1",
    ),
    "hole without size": (
        part("openings = [{circle = [0, 0, 0]}]"),
        "part.openings[1].circle (diameter)",
        "above 0",
    ),
    "slot wider than long": (
        part("openings = [{slot = [0, 0, 5, 10, 0]}]"),
        "part.openings[1].slot",
        "no greater",
    ),
    "opening of two kinds": (
        part("openings = [{circle = [0, 0, 9], slot = [0, 0, 9, 5, 0]}]"),
        "part.openings[1]",
        "one of",
    ),
    "opening of no kind": (part("openings = [{}]"), "part.openings[1]", "one of"),
    "unknown metal": (('"A356"', '"A365"'), "part.metal", "nearest is"),
    "unknown gasket": (part('gasket = "cork"'), "part.gasket", "composite"),
    "gasket upside down": (part("gasket = [2, 1]"), "part.gasket", "below the greatest"),
    "unknown limit_by": (part('limit_by = "eye"'), "part.limit_by", '"straightedge", "zone"'),
    "readings missing": ((READINGS, ""), "readings", "missing"),
    "no stations": (
        ('stations = [[10, "none", 30], [100, 50, 60]]', ""),
        "readings.line[1].stations",
        "missing",
    ),
    "empty stations": (
        ('stations = [[10, "none", 30], [100, 50, 60]]', "stations = []"),
        "readings.line[1].stations",
        "1 to",
    ),
    "line without from": (("from = [-100, 0]\n", ""), "readings.line[1].from", "missing"),
    "line without name": (('name = "long"\n', ""), "readings.line[1].name", "missing"),
    "line of no length": (("to = [100, 0]", "to = [-100, 0]"), "readings.line[1].to", "other than from"),
    "line off the face": (("to = [100, 0]", "to = [100, 90]"), "readings.line[1].to", "40 mm outside"),
    "line named twice": ((LINE, LINE.replace("two", "long")), "readings.line[2].name", "a name of its own"),
    "station beyond the line": (station("[201, 50, 60]"), "readings.line[1].stations (at)", "0 to 200 mm"),
    "station of one": (station("[100]"), "readings.line[1].stations[2]", "stops or"),
    "stops not above goes": (station("[100, 50, 50]"), "readings.line[1].stations[2]", "thicker"),
    "nothing tried": (station('[100, "none", "open"]'), "readings.line[1].stations[2]", "at least one leaf"),
    "leaf in mm": (station("[100, 0.05, 60]"), "readings.line[1].stations[2] (goes)", "1 to 10000 µm"),
    "leaf in wrong words": (station('[100, "open", 60]'), "readings.line[1].stations[2] (goes)", '"none"'),
    "stops left out without leaves": (station("[100, 50]"), "readings.line[1].stations", "readings.leaves"),
    "held askew": (line('held = "askew"'), "readings.line[1].held", "tipped start"),
    "depth beyond the line": (
        line('slides_in = [[50, "end", 300]]'),
        "readings.line[1].slides_in (depth)",
        "200 mm",
    ),
    "depth from nowhere": (
        line('slides_in = [[50, "middle", 30]]'),
        "readings.line[1].slides_in[1]",
        "start",
    ),
    "lines and heights": (
        ("[[readings.line]]", '[readings]\nheights = "a.csv"\n[[readings.line]]'),
        "readings",
        "not both",
    ),
    "unknown paper": (top('paper.grits = ["P125"]'), "paper.grits[1]", "nearest is P120"),
    "paper of no system": (top("paper.grits = [80, 400]"), "paper.grits[2]", '"400 US"'),
    "fine to coarse": (top('paper.grits = ["P120", "P80"]'), "paper.grits", "P80 does not follow P120"),
    "no paper": (top("paper.grits = []"), "paper.grits", "1 to"),
    "strip upside down": (top("paper.strips = [[10, 0, -10, 50]]"), "paper.strips[1]", "x0 below x1"),
    "half a stroke": (top("checks.every = 2.5"), "checks.every", "whole number"),
    "no strokes": (top("turning.every = 0"), "turning.every", "1 to"),
    "press in unknown words": (top('hands.press = "gentle"'), "hands.press", '"light", "firm", "heavy"'),
    "press in mm": (top('hands.press = "4 mm"'), "hands.press", "kgf"),
    "hands lift the part": (top("hands.press = -30"), "hands.press", "above -19.61 N"),
    "spread without ends": (top("hands.press = {value = 30}"), "hands.press", "low = …"),
    "spread upside down": (
        top("hands.press = {value = 30, low = 40, high = 50}"),
        "hands.press",
        "low ≤ value ≤ high",
    ),
    "negative wobble": (top("hands.wobble_along = -3"), "hands.wobble_along", "0 to 500 mm"),
    "unknown pattern": (top('strokes.pattern = "star"'), "strokes.pattern", '"eight"'),
    "unknown direction": (top('strokes.direction = "up"'), "strokes.direction", '"across"'),
    "schedule and states": (
        top('turning = {schedule = "half", states = [[0, 0]]}'),
        "turning.states",
        "not both",
    ),
    "bedding twice": (top("wear = {bedding = 0.1, bedding_length = 5}"), "wear.bedding_length", "not both"),
    "rate of nought": (top("wear.rate = 0"), "wear.rate", "mm³/(N·m)"),
    "load beside the face": (top("exact = {load = 9, load_at = [101, 0]}"), "exact.load_at", "tips over"),
    "millions of cells": (top("exact.cell = 0.05"), "exact.cell", "40000 at the most"),
    "thickness of nought": (part("thickness = 0"), "part.thickness", "0.2 to 500 mm"),
    "ribs without a plate": (part("ribbed_as = 9"), "part.thickness", "part.ribbed_as needs it"),
    "ribs that soften": (
        part("thickness = 9\nribbed_as = 6"),
        "part.ribbed_as",
        "at least part.thickness, 9 mm",
    ),
    "pressing somewhere": (part('pressing = "corner"'), "part.pressing", '"two pads"'),
    "proud without a place": (part('proud = [{name = "dowel", stands = 6}]'), "part.proud[1].at", "missing"),
    "proud far off": (
        part('proud = [{name = "dowel", at = [0, 99], stands = 6}]'),
        "part.proud[1].at",
        "49 mm outside",
    ),
    "proud in µm": (
        part('proud = [{name = "dowel", at = [0, 0], stands = 6000}]'),
        "part.proud[1].stands",
        "0 to 500 mm",
    ),
    "insert without a rate": (
        part('inserts = [{name = "liner", circle = [0, 0, 9]}]'),
        "part.inserts[1]",
        "one of metal and rate_ratio",
    ),
    "insert of two rates": (
        part('inserts = [{name = "liner", circle = [0, 0, 9], metal = "brass", rate_ratio = 2}]'),
        "part.inserts[1]",
        "one of metal and rate_ratio",
    ),
    "insert of unknown metal": (
        part('inserts = [{name = "liner", circle = [0, 0, 9], metal = "brasss"}]'),
        "part.inserts[1].metal",
        'nearest is "brass"',
    ),
    "insert of no shape": (
        part('inserts = [{name = "liner", metal = "brass"}]'),
        "part.inserts[1]",
        "one of circle, slot and polygon",
    ),
    "insert where there is no metal": (
        part(
            'openings = [{circle = [0, 0, 20]}]\ninserts = [{name = "p", circle = [0, 0, 9], rate_ratio = 2}]'
        ),
        "part.inserts[1].circle",
        "no metal of it there",
    ),
    "grade without a standard": (top('plate.grade = "AA"'), "plate.grade", "ASME B89.3.7 AA"),
    "unknown grade": (top('plate.grade = "DIN 876 5"'), "plate.grade", "known are DIN 876 0"),
    "grade and flatness": (
        top('plate = {grade = "DIN 876 0", flatness = 5}'),
        "plate.flatness",
        "not both",
    ),
    "unknown shape": (top('plate = {shape = "wave", shape_height = 5}'), "plate.shape", '"dish"'),
    "shape without height": (top('plate.shape = "dish"'), "plate.shape_height", "missing"),
    "height without shape": (top("plate.shape_height = 5"), "plate.shape", "missing"),
    "gap past the glass": (
        top("plate = {glass = 10, gap = 500}"),
        "plate.gap",
        "at most plate.length, 450 mm",
    ),
    "lump of three": (top("paper.lumps = [[0, 0, 9]]"), "paper.lumps[1]", "[x, y, diameter, height]"),
    "lump without size": (top("paper.lumps = [[0, 0, 0, 50]]"), "paper.lumps[1] (diameter)", "above 0"),
    "lump like a hill": (top("paper.lumps = [[0, 0, 9, 9000]]"), "paper.lumps[1] (height)", "5000 µm"),
    "paper beside the plate": (
        top("paper.strips = [[300, 0, 400, 50]]"),
        "paper.strips",
        "none of the strips",
    ),
    "press that swells away": (top("hands.swell = 1.2"), "hands.swell", "-0.9 to 0.9"),
    "heights from text": ((READINGS, '[readings]\nheights = "a.csv"\n'), "readings.heights", "itself a file"),
}

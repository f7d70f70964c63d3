"""Every command of handlap, and how hard use tries it.  A new command joins by a row in ``TRIED``, and what
it does in another way by one more.

In arguments ``{job}`` stands for a small scenario with readings, ``{bare}`` for one without, ``{exercise}``
for a folder with an exercise, and ``{out}`` for a folder that is there to write to.
"""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from handlap.sim.bench.job_log import part_mark
from handlap.sim.job.scenario_file import load

PLAIN_NAMES = {
    "title": "A small flange",
    "part": "flange",
    "line": "long",
    "insert": "bush",
    "proud": "dowel",
}
EVIL = "<script>alert('x')</script>\"&amp;&lt;<img src=x onerror=alert(1)>]]>--><b>"
EVIL_NAMES = {name: f"{name} {EVIL}" for name in PLAIN_NAMES}

BARE = """
title = {title}
invented = true
[part]
name = {part}
length = 120
width = 60
metal = "6061"
mass = 1
limit = 50
allowance = 400
openings = [{{circle = [0, 0, 20]}}]
inserts = [{{name = {insert}, circle = [40, 0, 12], rate_ratio = 0.5}}]
proud = [{{name = {proud}, at = [-50, 20], stands = 6, out = true}}]
[part.after]
thickness = 20
thickness_least = 19
[plate]
length = 400
width = 300
[paper]
grits = ["P120"]
[wear]
rate = 0.1
[hands]
height = 15
wobble_along = 8
wobble_across = 5
[readings]
leaves = [30, 40, 50, 80, 100]
"""
LINES = """
[[readings.line]]
name = {line}
from = [-60, 25]
to = [60, 25]
stations = [[10, "none", 30], [60, 40, 50], [110, "none", 30]]
[[readings.line]]
name = "diagonal"
from = [-60, -30]
to = [60, 30]
stations = [[30, "none", 30], [100, "none", 30]]
"""
NEW_ANSWERS = ["My head", "", "", "240", "140", "", "", "circle 0 0 72", "", "A356", "", "3.4", "", "", "200", "composite",
               "", "", "", "P80, P180", "", "yes", "", "35 20 60", "", "", "", "", ""]  # fmt: skip


@dataclass(frozen=True)
class Tried:
    """One command.

    Attributes
    ----------
    name : of the command
    args : what makes it do its work, on little
    writes : what makes it write as well; () if it only prints
    typed : lines typed
    long : what keeps it busy for many seconds, for those that can be
    slow : whether it takes seconds even on little
    codes : exit codes of sound runs
    bad : what it refuses, where that is not a scenario that is not there
    also : what another row of a command tries of it; "" for its first row
    """

    name: str
    args: tuple[str, ...]
    writes: tuple[str, ...] = ()
    typed: tuple[str, ...] = ()
    long: tuple[str, ...] = ()
    slow: bool = False
    codes: tuple[int, ...] = (0, 3)
    bad: tuple[str, ...] | None = None
    also: str = ""


GLANCE = ("--size", "120 x 60", "--metal", "6061", "--limit", "0.05", "--gap", "0.05 0.08", "--where", "middle",
          "--paper", "P120")  # fmt: skip
HAND_OVER = ("--out", "{out}", "--json-file", "{out}/result.json")
PHOTO_MARKS = ("--corner", "60,60", "--corner", "260,60", "--corner", "260,160", "--corner", "60,160")
"""Where the corners of the face are in the photo laid out."""
BIG = "two-cylinder-head"
TRIED = (
    Tried("glance", ("{out}/seen.toml", *GLANCE, "--members", "8"), ("{out}/seen.toml", *GLANCE, "--members", "8"),
          long=("{out}/seen.toml", *GLANCE, "--members", "512"), slow=True, bad=("--size", "120 x")),
    Tried("new", ("{out}/new.toml",), ("{out}/new.toml",), tuple(NEW_ANSWERS)),
    Tried("measuring-sheet", ("{bare}", "--out", "{out}/sheet.pdf"), ("{bare}", "--out", "{out}/sheet.pdf")),
    Tried("readings", ("{bare}",), ("{bare}",), ("", *["30 40"] * 9) * 8),
    Tried("survey", ("{job}", "--members", "16"), ("{job}", "--members", "16", *HAND_OVER), (),
          (BIG, "--members", "5000")),
    Tried("plan", ("{job}", "--members", "8"), ("{job}", "--members", "8", *HAND_OVER), (),
          (BIG, "--members", "256"), True),
    Tried("compare", ("{job}", "--members", "16", "--no-turns", "--way", "turning=half"),
          ("{job}", "--members", "16", "--no-turns", "--way", "turning=half", *HAND_OVER), (),
          (BIG, "--members", "128"), True),
    Tried("why", ("{job}", "--members", "16", "--dye", "gone at both ends", "--strokes", "20"),
          ("{job}", "--members", "16", "--dye", "gone at both ends", "--strokes", "20", *HAND_OVER), (), (BIG, "--members", "256"), True),
    Tried("improve", ("{job}", "--budget", "20", "--members", "16"),
          ("{job}", "--budget", "20", "--members", "16", *HAND_OVER), (), (BIG, "--members", "256"), True),
    Tried("simulate", ("{job}", "--strokes", "20"),
          ("{job}", "--strokes", "20", *HAND_OVER, "--heights", "{out}/heights.csv"), (),
          ("{job}", "--strokes", "200000"), True),
    Tried("scrap-trial", ("{job}",), ("{job}", *HAND_OVER)),
    Tried("job-sheet", ("{job}", "--members", "8", "--out", "{out}"), ("{job}", "--members", "8", "--out", "{out}"),
          (), (BIG, "--members", "256"), True),
    Tried("bench-page", ("{job}", "--members", "16", "--out", "{out}/bench.html"),
          ("{job}", "--members", "16", "--out", "{out}/bench.html"), (), ("{job}", "--members", "1024", "--out", "{out}/b.html"), True),
    Tried("log", ("{job}", "--show"), ("{job}", "--strokes", "20", "--swarf", "0.2", "--scale", "0.01", "--note", "by hand")),
    Tried("dye-photo", ("{job}", "{out}/../face.jpg", *PHOTO_MARKS), ("{job}", "{out}/../face.jpg", *PHOTO_MARKS, "--yes", *HAND_OVER),
          bad=("{job}", "{out}/absent.jpg", *PHOTO_MARKS)),
    Tried("replan", ("{job}", "--members", "16"), ("{job}", "--members", "16", *HAND_OVER), (),
          ("{job}", "--members", "1024"), True),
    Tried("record", ("{job}", "--members", "16"), ("{job}", "--members", "16", *HAND_OVER), (),
          ("{job}", "--members", "1024"), True),
    Tried("past-jobs", (), bad=("--drop", "3")),
    Tried("lesson", ("overhang", "--members", "8", "--tell"), ("overhang", "--members", "8", "--tell", *HAND_OVER),
          (), ("--all", "--tell", "--members", "256"), True, bad=("absent-lesson",)),
    Tried("play", ("{job}", "--strokes", "40", "--frames", "4"),
          ("{job}", "--strokes", "40", "--frames", "4", "--out", "{out}/play.html", "--gif", "{out}/play.gif",
           "--json-file", "{out}/play.json"), (), ("{job}", "--strokes", "100000", "--json"), True),
    Tried("play", ("{job}", "--strokes", "40", "--out", "{out}/knobs.html"),
          ("{job}", "--strokes", "40", "--out", "{out}/knobs.html"), slow=True, also="knobs"),
    Tried("exercise", ("--out", "{out}/made", "--level", "1"), ("--out", "{out}/made", "--level", "1"),
          bad=("{out}/absent",)),
    Tried("exercise", ("--out", "{out}/felt", "--feel"), ("--out", "{out}/felt", "--feel"), bad=("{out}/absent",),
          also="feel"),
    Tried("explain", ("plates",), bad=("no-such-page",)),
    Tried("convert", ("mass", "--help"), bad=("1 parsec",)),
    Tried("keys", ("press",), bad=("no-such-key-at-all",)),
    Tried("validity", (), HAND_OVER),
)  # fmt: skip
BY_NAME = {tried.name: tried for tried in TRIED if not tried.also}


def toml_text(text: str) -> str:
    """A text as a TOML string."""
    return json.dumps(text, ensure_ascii=False)


def lay_out(folder: Path, names: dict[str, str] = PLAIN_NAMES) -> Path:
    """Write scenario, bare scenario and log into a folder that has a folder ``out`` then."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "out").mkdir(exist_ok=True)
    quoted = {name: toml_text(text) for name, text in names.items()}
    (folder / "bare.toml").write_text(BARE.format(**quoted), encoding="utf-8")
    (folder / "job.toml").write_text((BARE + LINES).format(**quoted), encoding="utf-8")
    mark = part_mark(load(folder / "job.toml").part)
    entries = (
        {"handlap_log": 1, "part": mark, "name": names["part"]},
        {"n": 1, "at": 0, "when": "2024-01-05T10:00:00+00:00", "part_g": 1000.0, "scale_g": 0.01},
        {"n": 2, "at": 40, "when": "2024-01-05T10:05:00+00:00", "strokes": 40, "paper": "P120", "new_sheet": True,
         "swarf_g": 0.3, "scale_g": 0.01, "minutes": 1.5, "note": names["line"]},
        {"n": 3, "at": 40, "when": "2024-01-05T10:07:00+00:00", "dye_left": 0.5, "dye_faded": 0.75},
        {"n": 4, "at": 40, "when": "2024-01-05T10:08:00+00:00", "dye_seen": "gone at both ends, fading in the middle"},
    )  # fmt: skip
    (folder / "face.jpg").write_bytes(_face_photo())
    log = "".join(json.dumps(entry, ensure_ascii=False) + "\n" for entry in entries)
    (folder / "job.log.jsonl").write_text(log, encoding="utf-8")
    return folder


def _face_photo() -> bytes:
    """The face of the scenario from straight above, its left half dyed, as a JPEG."""
    y, x = np.mgrid[0:220, 0:320]
    light = np.full((220, 320, 3), 60.0)
    light[60:160, 60:260] = 190.0
    light[60:160, 60:160] = (60.0, 80.0, 170.0)
    for u, v, diameter in ((160, 110, 20.0 / 0.6), (227, 110, 12.0 / 0.6)):
        light[np.hypot(x + 0.5 - u, y + 0.5 - v) < 0.5 * diameter] = 15.0
    light += 2.0 * np.random.default_rng(0).standard_normal(light.shape)
    out = io.BytesIO()
    Image.fromarray(np.clip(light, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=90)
    return out.getvalue()


def filled(args: tuple[str, ...], out: str = "out", job: str = "job.toml") -> list[str]:
    """Arguments with the places put in, seen from the folder laid out."""
    return [arg.format(job=job, bare="bare.toml", out=out) for arg in args]


COMMA_LOCALE = "de_DE.UTF-8"


def make_comma_locale(folder: Path) -> bool:
    """Make a locale that writes 1,5 in a folder; False where none can be made."""
    make = ["localedef", "-i", "de_DE", "-f", "UTF-8", str(folder / COMMA_LOCALE)]
    return bool(shutil.which(make[0])) and not subprocess.run(make, capture_output=True).returncode


def unfinished(path: Path) -> str:
    """What shows that a file is not whole; empty if it is."""
    data = path.read_bytes()
    kind = path.suffix
    if kind in (".json", ".jsonl"):
        for line in data.decode().splitlines() if kind == ".jsonl" else [data.decode()]:
            json.loads(line)
        return "" if data.endswith(b"\n") else "no end of line"
    ends = {".png": b"IEND\xaeB`\x82", ".html": b"</html>\n", ".pdf": b"%%EOF", ".gif": b";", ".csv": b"\n"}
    if kind in ends:
        return "" if data.rstrip(b"\n").endswith(ends[kind].rstrip(b"\n")) else f"does not end like {kind}"
    if kind == ".toml":
        document = tomllib.loads(data.decode("utf-8-sig"))
        if "part" in document:
            load(path, require_readings=False)
        return ""
    return ""


def same_but_for_dates(data: bytes) -> bytes:
    """What two runs of a command have in common: dates of PDF files and times of entries left out."""
    data = re.sub(rb"/(Creation|Mod)Date \(D:[^)]*\)", b"", data)
    return re.sub(rb'"when": ?"[^"]*"', b"", data)


def clean(folder: Path) -> None:
    """Empty the folder to write to."""
    for entry in os.scandir(folder / "out"):
        shutil.rmtree(entry.path) if entry.is_dir() else os.unlink(entry.path)

"""What may be too much: every bound is said with the number there was and the greatest allowed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from bad_scenarios import SHORT
from fuzzing import HEIGHTS
from nursery_client import Nursery
from tried_commands import BY_NAME, LINES

from handlap.sim.bench.job_log import MOST_ENTRIES, MOST_READINGS_IN_ALL, MOST_STROKES, MOST_STROKES_IN_ALL
from handlap.sim.bench.log_file import LARGEST as LARGEST_LOG
from handlap.sim.common.errors import ScenarioError
from handlap.sim.job.height_table import LARGEST_FILE as LARGEST_TABLE
from handlap.sim.job.height_table import MOST_POINTS, parse_height_table
from handlap.sim.job.scenario_file import LARGEST_FILE, load_text
from handlap.sim.job.scenario_values import (
    MOST_CORNERS,
    MOST_LUMPS,
    MOST_READINGS,
    MOST_STATES,
    MOST_STRIPS,
    MOST_WAYS,
)

TABLES = 200


def lines_of(count: int, stations: int) -> str:
    """So many straightedge lines with so many readings each."""
    read = ", ".join(f"[{1 + 190 * k / stations:.3f}, 50, 60]" for k in range(stations))
    return "".join(
        f'[[readings.line]]\nname = "l{i}"\nfrom = [-100, {i / 4}]\nto = [100, {i / 4}]\n'
        f"stations = [{read}]\n"
        for i in range(count)
    )


def short(part: str = "", top: str = "", lines: str = "") -> str:
    """The short scenario with more of this or that."""
    text = SHORT.replace("limit = 50\n", f"limit = 50\n{part}\n")
    if lines:
        text = text[: text.index("[[readings.line]]")] + lines
    return f"{top}\n{text}"


def many(key: str, entry: str, count: int) -> str:
    return f"{key} = [{', '.join([entry] * count)}]"


SCENARIOS = {
    # (text, words of the message)
    "openings": (
        short(part=many("openings", '{circle = [0, 0, 1]}', TABLES + 1)),
        ("part.openings", "at most 200 tables"),
    ),
    "inserts": (
        short(part=many("inserts", '{name = "x", circle = [0, 0, 1], rate_ratio = 2}', TABLES + 1)),
        ("part.inserts", "at most 200 tables"),
    ),
    "proud": (
        short(part=many("proud", '{name = "x", at = [0, 0], stands = 1}', TABLES + 1)),
        ("part.proud", "at most 200 tables"),
    ),
    "lines": (short(lines=lines_of(TABLES + 1, 1)), ("readings.line", "at most 200 tables")),
    "stations of a line": (
        short(lines=lines_of(1, MOST_READINGS + 1)),
        ("readings.line[1].stations", "601 of them", "1 to 600 readings"),
    ),
    "readings of all lines": (
        short(lines=lines_of(100, 7)),
        ("readings.line", "700 readings", "at most 600 in all lines together"),
    ),
    "corners": (
        short(part=f"openings = [{{{many('polygon', '[0, 0]', MOST_CORNERS + 1)}}}]"),
        ("part.openings[1].polygon", "501 of them", "3 to 500 corners"),
    ),
    "strips": (
        short(top=many("paper.strips", '[0, 0, 1, 1]', MOST_STRIPS + 1)),
        ("paper.strips", "61 of them", "1 to 60 rectangles"),
    ),
    "lumps": (
        short(top=many("paper.lumps", '[0, 0, 1, 1]', MOST_LUMPS + 1)),
        ("paper.lumps", "61 of them", "1 to 60 lumps"),
    ),
    "states": (
        short(top=many("turning.states", '[0, 0]', MOST_STATES + 1)),
        ("turning.states", "101 of them", "1 to 100 pairs"),
    ),
    "ways": (
        short(top=many("compare.ways", '"turning=half"', MOST_WAYS + 1)),
        ("compare.ways", "41 of them", "1 to 40 ways"),
    ),
    "papers": (short(top=many("paper.grits", '"P80"', 2001)), ("paper.grits", "2001 of them")),
    "strokes": (short(top="exact.strokes = 100000000"), ("exact.strokes", "100000000", "a whole")),
    "length": (SHORT.replace("length = 200", "length = 3001"), ("part.length", "3001", "1 to 3000 mm")),
}  # fmt: skip


@pytest.mark.parametrize("name", SCENARIOS)
def test_scenarios(name: str) -> None:
    text, words = SCENARIOS[name]
    with pytest.raises(ScenarioError) as refused:
        load_text(text, file="m.toml", require_readings=False)
    for word in ("m.toml", *words):
        assert word in str(refused.value)


def test_at_the_bound_they_are_taken() -> None:
    assert len(load_text(short(lines=lines_of(100, 6))).readings.lines) == 100


def test_tables_of_heights() -> None:
    text = "u_mm,v_mm,height_um\n" + "".join(f"{i % 60},{i // 60},0\n" for i in range(MOST_POINTS + 1))
    with pytest.raises(ScenarioError, match=r"h\.csv: 3001 points; allowed: at most 3000 points"):
        parse_height_table(text, "h.csv")
    assert parse_height_table(text[: text.rindex("59,49")] + "59,49,0\n", "h.csv").u.size == MOST_POINTS


@pytest.mark.parametrize(
    ("name", "size", "args"),
    [
        ("job.toml", LARGEST_FILE, ("survey", "job.toml")),
        ("h.csv", LARGEST_TABLE, ("survey", "heights.toml")),
        ("job.log.jsonl", LARGEST_LOG, ("log", "job.toml", "--show")),
        ("job.log.jsonl", LARGEST_LOG, ("log", "job.toml", "--strokes", "5")),
        ("lesson.toml", 200_000, ("lesson", "lesson.toml")),
    ],
)
def test_sizes_of_files(nursery: Nursery, sandbox: Path, name: str, size: int, args: tuple[str, ...]) -> None:
    (sandbox / "heights.toml").write_text(HEIGHTS, encoding="utf-8")
    # A hole takes no room on the disk.
    with (sandbox / name).open("wb") as stream:
        stream.truncate(size + 1)
    ran = nursery.run(list(args), sandbox, seconds=5.0)
    assert ran.code == 2
    assert name in ran.err
    assert f"at most {size} bytes" in ran.err or "larger than 2 MB" in ran.err


def log_with(sandbox: Path, entries: list[dict[str, object]]) -> None:
    """Put entries behind the header of the log."""
    path = sandbox / "job.log.jsonl"
    header = path.read_text(encoding="utf-8").splitlines()[0]
    rows = [{"n": n, "when": "2026-01-05T10:00:00+00:00", **entry} for n, entry in enumerate(entries, 1)]
    path.write_text("\n".join([header, *map(json.dumps, rows)]) + "\n", encoding="utf-8")


STATIONS = [[1 + 118 * k / 100, "none", 30] for k in range(100)]
LOOK = {"at": 0, "readings": [{"name": "a", "from": [-60, 25], "to": [60, 25], "stations": STATIONS}] * 10}
WORKED = {"strokes": MOST_STROKES, "paper": "P120"}
LOGS = {
    "entries": ([{"at": 0, "note": "x"}] * (MOST_ENTRIES + 1), "1001 entries; allowed: at most 1000 entries"),
    "strokes of an entry": ([{**WORKED, "at": 20_001, "strokes": 20_001}], "from 0 to 20000"),
    "strokes in all": (
        [{**WORKED, "at": n * MOST_STROKES} for n in range(1, 12)],
        f"line 12, strokes: 220000 in all; allowed: at most {MOST_STROKES_IN_ALL} strokes in one log",
    ),
    "lines of a look": ([{**LOOK, "readings": LOOK["readings"] * 6}], "a list of 1 to 50 straightedge lines"),  # type: ignore[operator]
    "readings in all": (
        [LOOK] * 4,
        f"line 5, readings: 4000 in all; allowed: at most {MOST_READINGS_IN_ALL} readings in one log",
    ),
}


@pytest.mark.parametrize("name", LOGS)
def test_logs(nursery: Nursery, sandbox: Path, name: str) -> None:
    entries, words = LOGS[name]
    log_with(sandbox, entries)
    ran = nursery.run(["log", "job.toml", "--show"], sandbox, seconds=5.0)
    assert ran.code == 2, ran.out
    assert "job.log.jsonl" in ran.err
    assert words in ran.err


def test_one_look_too_many_is_not_written(nursery: Nursery, sandbox: Path) -> None:
    log_with(sandbox, [LOOK] * 3)
    before = (sandbox / "job.log.jsonl").read_bytes()
    ran = nursery.run(["log", "job.toml", "--readings-from", "job.toml"], sandbox, seconds=5.0)
    assert ran.code == 2
    assert "3005 in all; allowed: at most 3000 readings in one log" in ran.err
    assert LINES.count("[[readings.line]]") == 2
    assert (sandbox / "job.log.jsonl").read_bytes() == before


WITH_MEMBERS = ("survey", "plan", "compare", "why", "improve", "job-sheet", "replan", "record", "lesson")
OPTIONS = {
    **{f"{name} --members": (*BY_NAME[name].args, "--members", "1000000") for name in WITH_MEMBERS},
    "simulate --strokes": ("simulate", "{job}", "--strokes", "100000000"),
    "play --frames": ("play", "{job}", "--strokes", "40", "--frames", "1000000", "--json"),
    "improve --budget": ("improve", "{job}", "--budget", "1000000"),
    "why --strokes": ("why", "{job}", "--dye", "gone", "--strokes", "1000000"),
    "exercise --count": ("exercise", "--out", "{out}/made", "--count", "1000000"),
    "exercise --seed": ("exercise", "--out", "{out}/made", "--seed", "9" * 30),
    "log --strokes": ("log", "{job}", "--strokes", "1000000", "--paper", "P120"),
}


@pytest.mark.parametrize("name", OPTIONS)
def test_options(nursery: Nursery, sandbox: Path, name: str) -> None:
    command, option = name.split()
    args = [arg.format(job="job.toml", out="out") for arg in OPTIONS[name]]
    if args[0] != command:
        args = [command, *args]
    before = (sandbox / "job.log.jsonl").read_bytes()
    ran = nursery.run(args, sandbox, seconds=5.0)
    assert ran.code == 2, ran.out
    assert option.lstrip("-") in ran.err
    assert any(words in ran.err for words in ("range", "allowed", "at most", "go up to")), ran.err
    assert not any((sandbox / "out").iterdir())
    assert (sandbox / "job.log.jsonl").read_bytes() == before

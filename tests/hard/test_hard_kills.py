"""Killed at any moment while writing: every file is the old one or the new one, never half of it.

Each command is worked up to its first step of writing; from there forks of it go on, and are killed
outright at a step of writing and some microseconds, both by chance.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from nursery_client import SOURCE, Nursery
from tried_commands import TRIED, Tried, filled, same_but_for_dates, unfinished

KILLS, KILLS_OF_LONG_ONES = 16, 16
WRITING = [tried for tried in TRIED if tried.writes]


def killed(nursery: Nursery, sandbox: Path, tried: Tried, kills: int) -> int:
    """Kill a command that often and look at what is left; returns the number of kills."""
    typed = "".join(f"{line}\n" for line in tried.typed).encode()
    args = [tried.name, *filled(tried.writes)]
    # What is there already must not be lost: a second run writes over the first one's files.
    if tried.name not in ("new", "exercise", "readings", "log"):
        for name in (
            "result.json",
            f"job-{tried.name}.html",
            "heights.csv",
            "sheet.pdf",
            "play.html",
            "play.gif",
        ):
            (sandbox / "out" / name).write_bytes(b"an old file\n")
    (sandbox / "out" / "bystander.txt").write_bytes(b"nothing to do with it\n")
    scrap = Path(tempfile.mkdtemp(dir=nursery.scrap))
    request = {"args": args, "cwd": str(sandbox), "typed": typed.hex(), "kills": kills, "seconds": 240.0}
    answer = nursery.ask(request, scrap)
    assert (scrap / "report").exists(), answer
    report = json.loads((scrap / "report").read_text())
    assert report["code"] in tried.codes, "left alone, it goes through"
    assert report["kills"] == kills and report["steps"] >= 3
    assert report["cases"] == []
    check(sandbox, {n: {bytes.fromhex(d) for d in data} for n, data in report["seen"].items()},
          {n: bytes.fromhex(d) for n, d in report["before"].items()},
          {n: bytes.fromhex(d) for n, d in report["after"].items()})  # fmt: skip
    return int(report["kills"])


def check(
    sandbox: Path, seen: dict[str, set[bytes]], before: dict[str, bytes], after: dict[str, bytes]
) -> None:
    looked = sandbox / "looked"
    looked.mkdir()
    for name, contents in seen.items():
        for data in contents:
            plain = Path(name).name
            if plain.startswith(".") and plain.endswith(".part"):
                continue  # hidden, in nobody's way, and swept by a later write
            if data == before.get(name):
                continue
            assert "draft" in name or name in after, f"{name} is neither old nor new"
            if name in after and "draft" not in name:
                assert same_but_for_dates(data) == same_but_for_dates(after[name]), f"{name} is half-written"
            copy = looked / plain
            copy.write_bytes(data)
            assert unfinished(copy) == "", name


@pytest.mark.parametrize("tried", [t for t in WRITING if not t.slow], ids=lambda tried: tried.name)
def test_old_or_new_never_half(nursery: Nursery, sandbox: Path, tried: Tried) -> None:
    killed(nursery, sandbox, tried, KILLS)


@pytest.mark.slow
@pytest.mark.parametrize("tried", [t for t in WRITING if t.slow], ids=lambda tried: tried.name)
def test_old_or_new_never_half_after_long_work(nursery: Nursery, sandbox: Path, tried: Tried) -> None:
    killed(nursery, sandbox, tried, KILLS_OF_LONG_ONES)


def test_there_are_two_hundred_kills() -> None:
    long = sum(tried.slow for tried in WRITING)
    assert KILLS * (len(WRITING) - long) + KILLS_OF_LONG_ONES * long >= 200


def test_scraps_of_a_killed_run_are_swept(tmp_path: Path) -> None:
    """What a kill leaves is hidden, does no harm, and goes with the next write of that name."""
    from handlap.cli.files import write_whole

    scrap, fresh, other = (
        tmp_path / n for n in (".a.json.x1y2z3.part", ".a.json.abcdef.part", ".b.json.q.part")
    )
    for place in (scrap, fresh, other):
        place.write_text("half")
    for place in (scrap, other):
        os.utime(place, (time.time() - 7200,) * 2)
    write_whole(tmp_path / "a.json", "{}\n")
    assert not scrap.exists()
    assert fresh.exists(), "another run may be writing it at this moment"
    assert other.exists()


@pytest.mark.slow
def test_a_process_of_its_own_killed_at_any_time(sandbox: Path) -> None:
    """The same without any patching: real processes, killed at some time after they began to write."""
    code = "from handlap.cli.main import run; run()"
    env = {**os.environ, "PYTHONPATH": str(SOURCE), "OPENBLAS_NUM_THREADS": "1"}
    args = [
        "simulate",
        "job.toml",
        "--strokes",
        "5",
        "--heights",
        "out/heights.csv",
        "--json-file",
        "out/r.json",
    ]
    whole = subprocess.run(
        [sys.executable, "-c", code, *args], cwd=sandbox, env=env, capture_output=True, timeout=600
    )
    assert whole.returncode == 0
    new = {p.name: p.read_bytes() for p in (sandbox / "out").iterdir()}
    for turn in range(6):
        for name in new:
            (sandbox / "out" / name).write_bytes(b"old\n")
        process = subprocess.Popen(
            [sys.executable, "-c", code, *args], cwd=sandbox, env=env,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        limit = time.monotonic() + 600.0
        while process.poll() is None and time.monotonic() < limit:
            # The temporary file shows that writing has begun.
            if any(p.name.endswith(".part") for p in (sandbox / "out").iterdir()):
                break
        time.sleep(0.0005 * turn)
        process.send_signal(signal.SIGKILL)
        process.wait()
        for name, data in new.items():
            assert (sandbox / "out" / name).read_bytes() in (b"old\n", data)

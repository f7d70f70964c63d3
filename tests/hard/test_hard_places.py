"""Places that cannot be written to: one message that names the place, exit code 2, before the long work."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from nursery_client import Nursery
from tried_commands import TRIED, Tried, filled, lay_out

AT_ONCE = 4.0
"""Commands that are refused would go on for much longer than this [s]."""
FOLDERS = {
    "--out file": "file",
    "--out file/x": "file/x",
    "--out locked": "locked",
    "--out locked/x": "locked/x",
}
FILES = {"folder": "folder", "none/x": "none/x", "file/x": "file/x", "locked/x": "locked/x"}
"""Places by what is wrong with them."""


@pytest.fixture
def barred_sandbox(tmp_path: Path) -> Iterator[Path]:
    """A bench with places in it that cannot be written to."""
    sandbox = lay_out(tmp_path / "bench")
    (sandbox / "file").write_text("a file\n")
    (sandbox / "folder").mkdir()
    (sandbox / "locked").mkdir(mode=0o555)
    yield sandbox
    (sandbox / "locked").chmod(0o755)


def attempts(tried: Tried) -> list[tuple[list[str], str]]:
    """Ways to name a bad place to a command, each with the place."""
    work = [tried.name, *filled(tried.long or tried.args)]
    found: list[tuple[list[str], str]] = []
    if "--json-file" in tried.writes and tried.name != "play":
        found += [([*work, "--out", place], place) for place in FOLDERS.values()]
        found += [([*work, "--json-file", place], place) for place in FILES.values()]
    if "--heights" in tried.writes:
        found += [([*work, "--heights", place], place) for place in FILES.values()]
    if tried.name == "play":
        work = [word for word in work if word != "--json"]
        found += [([*work, option, p], p) for option in ("--out", "--gif") for p in FILES.values()]
        found += [([*work, "--json-file", "none/x"], "none/x")]
    if tried.name == "lesson":
        found += [(["lesson", "--all", "--print", f"{p}.pdf"], p) for p in ("none/x", "file/x", "locked/x")]
    if tried.name == "measuring-sheet":
        found += [(["measuring-sheet", "bare.toml", "--out", place], place) for place in FILES.values()]
    if tried.name == "job-sheet":
        found += [([*work, "--out", place], place) for place in FOLDERS.values()]
    if tried.name == "exercise":
        found += [(["exercise", "--out", p, "--level", "1"], p) for p in FOLDERS.values()]
    if tried.name == "bench-page":
        found += [(["bench-page", "job.toml", "--members", "16", "--out", p], p) for p in FILES.values()]
    if tried.name == "glance":
        found += [
            (["glance", place, *filled(tried.args[1:])], place)
            for place in ("none/x.toml", "file/x.toml", "locked/x.toml")
        ]
    if tried.name == "new":
        found += [
            (["new", place], place) for place in ("folder", "none/x.toml", "file/x.toml", "locked/x.toml")
        ]
        found += [(["new", "--from", "plane-sole", "locked/x.toml"], "locked/x.toml")]
    return found


def assert_refused(nursery: Nursery, sandbox: Path, args: list[str], place: str) -> None:
    before = sorted(str(p) for p in sandbox.rglob("*"))
    ran = nursery.run(args, sandbox, plain=True, seconds=30.0)
    assert ran.code == 2, (args, ran.code, ran.err)
    assert not ran.crashed
    assert ran.out == ""
    assert ran.err.count("handlap: ") == 1 and place in ran.err, (args, ran.err)
    assert "cannot write" in ran.err, ran.err
    assert ran.seconds < AT_ONCE, (args, ran.seconds)
    assert sorted(str(p) for p in sandbox.rglob("*")) == before, args


@pytest.mark.parametrize("tried", [t for t in TRIED if attempts(t)], ids=lambda t: t.name)
def test_bad_places_are_refused_before_the_work(nursery: Nursery, barred_sandbox: Path, tried: Tried) -> None:
    for args, place in attempts(tried):
        assert_refused(nursery, barred_sandbox, args, place)


def test_all_that_write_are_tried() -> None:
    """The log and the readings go where the scenario is, which is tried below."""
    assert {t.name for t in TRIED if t.writes and not attempts(t)} == {"readings", "log"}


@pytest.mark.parametrize("args", [["readings", "bare.toml"], ["log", "job.toml", "--strokes", "5"]])
def test_a_scenario_that_may_only_be_read(nursery: Nursery, barred_sandbox: Path, args: list[str]) -> None:
    before = {p.name: p.read_bytes() for p in barred_sandbox.iterdir() if p.is_file()}
    for place in (*barred_sandbox.iterdir(), barred_sandbox):
        place.chmod(0o555)
    ran = nursery.run(args, barred_sandbox, plain=True, typed=b"\n30 40\n" * 20)
    barred_sandbox.chmod(0o755)
    assert ran.code == 2, ran.err
    assert not ran.crashed and ran.out == ""
    assert ran.err.count("handlap: ") == 1 and "cannot write" in ran.err
    assert {p.name: p.read_bytes() for p in barred_sandbox.iterdir() if p.is_file()} == before

"""One long work, handed over many times: the process forks where the work is done, and each fork goes on
in surroundings of its own.

Used inside the nursery.  A request has ``hatch``, the function before
whose first call the forks are made (``module:name`` or ``module:Class.name``; with ``after `` before it:
after that call; empty: before the command), and ``branches``, for each its surroundings as :func:`surround`
takes them and besides

- ``out``, ``err``: a file, "closed", "pty" or "no reader"; ``columns`` of the terminal;
- ``file_size``, ``plain``: limits as for whole commands;
- ``files``: whether what is handed over goes to the folder ``out`` too;
- ``instead``: other files (None: none) as arguments of the function, by their places.
"""

from __future__ import annotations

import importlib
import io
import json
import os
import pty
import select
import shutil
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable
from fcntl import ioctl
from pathlib import Path
from typing import Any

SECONDS = 600.0
"""Most a branch may take."""


def surround(asked: dict[str, Any]) -> None:
    """Put the environment round this process: variables (None: taken away), locale, warnings."""
    for name, value in asked.get("env", {}).items():
        if value is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = value
    time.tzset()
    if asked.get("locale"):
        import locale

        locale.setlocale(locale.LC_ALL, asked["locale"])
    if asked.get("warnings"):
        import warnings

        warnings.simplefilter(asked["warnings"])


def run_branches(asked: dict[str, Any]) -> int:
    """Run the command up to the hatch, and all branches from there; the report goes to the scrap folder."""
    from nursery import run_command

    if not asked["hatch"]:
        if _branch_out(asked):
            return run_command({**asked, **_Branch.chosen})
        return 0
    from handlap.cli import options

    made: list[Any] = []
    real_output = options.Output

    def noted(*given: Any) -> Any:
        made.append(real_output(*given))
        return made[-1]

    options.Output = noted  # type: ignore[assignment,misc]
    after = asked["hatch"].startswith("after ")
    module, _, path = asked["hatch"].removeprefix("after ").partition(":")
    *inner, name = path.split(".")
    owner: Any = importlib.import_module(module)
    if inner:
        owner = real_output if inner == ["Output"] else getattr(owner, inner[0])
    setattr(owner, name, _hatched(getattr(owner, name), asked, made, after))
    return run_command(asked)


class _Branch:
    chosen: dict[str, Any] = {}  # noqa: RUF012
    """What the branch is that this process has become."""
    first = True


def _hatched(
    real: Callable[..., Any], asked: dict[str, Any], made: list[Any], after: bool
) -> Callable[..., Any]:
    def reached(*args: Any, **options: Any) -> Any:
        done = real(*args, **options) if after else None
        if _Branch.first:
            if not _branch_out(asked):
                os._exit(0)
            for output in made:
                files = bool(_Branch.chosen.get("files"))
                object.__setattr__(output, "out", Path("out") if files else None)
                object.__setattr__(output, "json_file", Path("out/result.json") if files else None)
            instead = _Branch.chosen.get("instead", {})
            args = tuple(
                arg if str(place) not in instead else instead[str(place)] and Path(instead[str(place)])
                for place, arg in enumerate(args)
            )
        return done if after else real(*args, **options)

    return reached


def _branch_out(asked: dict[str, Any]) -> bool:
    """Make the branches one after the other; True in each of them, False in the end in their parent."""
    from nursery import _restore, _snapshot

    _Branch.first = False
    cwd, scrap = Path(asked["cwd"]), Path(asked["scrap"])
    for place in cwd.joinpath("out").iterdir():
        shutil.rmtree(place) if place.is_dir() else place.unlink()
    for name in asked.get("old", ()):
        (cwd / name).write_bytes(b"an old file\n")
    before = _snapshot(cwd)
    report = {}
    for number, branch in enumerate(asked["branches"]):
        _restore(cwd, before)
        (place := scrap / str(number)).mkdir()
        found = _one(branch, place)
        if found is None:
            return True
        changed = {n: d for n, d in _snapshot(cwd).items() if before.get(n) != d}
        gone = [n for n in before if not (cwd / n).exists()]
        report[branch["name"]] = {**found, "changed": changed, "gone": gone}
    (scrap / "report").write_text(json.dumps(report))
    return False


def _one(branch: dict[str, Any], scrap: Path) -> dict[str, Any] | None:
    """Run one branch; None in the branch itself."""
    master = slave = -1
    if "pty" in (branch.get("out"), branch.get("err")):
        master, slave = pty.openpty()
        ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, branch.get("columns", 80), 0, 0))
    began = time.monotonic()
    pid = os.fork()
    if pid == 0:
        _become(branch, scrap, slave)
        return None
    if slave >= 0:
        os.close(slave)
    said = b""
    status = 0
    overrun = False
    while True:
        if master >= 0 and select.select([master], [], [], 0.002)[0]:
            try:
                said += os.read(master, 1 << 16)
                continue
            except OSError:
                os.close(master)
                master = -1
        done, status = os.waitpid(pid, os.WNOHANG)
        if done and master < 0:
            break
        if done:
            while select.select([master], [], [], 0.0)[0]:
                try:
                    said += os.read(master, 1 << 16)
                except OSError:
                    break
            os.close(master)
            break
        if time.monotonic() - began > SECONDS:
            os.kill(pid, signal.SIGKILL)
            overrun = True
        time.sleep(0.002)
    read = {n: (scrap / n).read_bytes().hex() if (scrap / n).exists() else "" for n in ("out", "err")}
    return {
        "code": os.waitstatus_to_exitcode(status),
        "seconds": time.monotonic() - began,
        "overrun": overrun,
        "screen": said.replace(b"\r\n", b"\n").hex(),
        **read,
    }


def _become(branch: dict[str, Any], scrap: Path, slave: int) -> None:
    from nursery import _limits

    _Branch.chosen = branch
    # Each draft of an answer goes down to the disk, which is not what is tried here.
    os.fsync = lambda fd: None
    surround(branch)
    for number, name in ((1, "out"), (2, "err")):
        asked = branch.get(name)
        stream: Any = None
        if asked == "closed":
            os.close(number)
        else:
            if asked == "pty":
                handle = os.dup(slave)
            elif asked == "no reader":
                read, handle = os.pipe()
                os.close(read)
            else:
                handle = os.open(asked or str(scrap / name), os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
            os.dup2(handle, number)
            os.close(handle)
            stream = io.TextIOWrapper(
                os.fdopen(number, "wb", closefd=False), encoding=branch.get("encoding", "utf-8")
            )
        setattr(sys, f"std{name}", stream)
        setattr(sys, f"__std{name}__", stream)
    if slave >= 0:
        os.close(slave)
    _limits(branch)

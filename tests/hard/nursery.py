"""A process that has everything imported and makes children of itself, so that a command starts at once.

It is run as a program (``python nursery.py``), single-threaded, and takes requests as lines of JSON.
Each is done by a fork of it, under limits, and may be interrupted or killed at a chosen moment.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import resource
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

WARM = (["survey", "{job}", "--members", "16"], ["simulate", "{job}", "--strokes", "20"])
OPERATIONS = ("open", "write", "fsync", "chmod", "replace", "ftruncate", "unlink", "fdopen", "rename")
"""Functions of ``os`` by which a file comes to be; a kill waits for one of them."""
PATIENCE = 60.0
"""How much longer than five times the processor time allowed a child may wait for its turn [s]."""


def processor_time(pid: int) -> float | None:
    """Of a running child [s]; None where the system does not tell."""
    if not sys.platform.startswith("linux"):
        return None
    # How Linux numbers the clock of a process (clock_getcpuclockid of POSIX).
    with contextlib.suppress(OSError):
        return time.clock_gettime(~pid << 3 | 2)
    return None


def _taken(since: float, used: float | None) -> float:
    """Time taken since a moment: on a machine that others keep busy, that of the processor [s]."""
    passed = time.monotonic() - since
    return passed if used is None else min(passed, used)


def _limits(asked: dict[str, Any]) -> None:
    for name, which in (("memory", resource.RLIMIT_AS), ("file_size", resource.RLIMIT_FSIZE)):
        if asked.get(name):
            resource.setrlimit(which, (asked[name], asked[name]))
    if asked.get("file_size"):
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        # Python takes what fits of a module's bytecode for the whole of it, and others would read that.
        sys.dont_write_bytecode = True
        os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    if asked.get("plain"):
        _become_plain()


def _become_plain() -> None:
    """Lay down the superuser's power over files: from now on their modes bind this process too.

    To become another user would not do, who may not be allowed to read the program itself.
    """
    if os.geteuid() != 0 or not sys.platform.startswith("linux"):
        return
    import ctypes

    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)  # version 3 of the interface, this process
    sets = (ctypes.c_uint32 * 6)()  # effective, permitted, inheritable; twice 32 bits
    if libc.capget(header, sets) != 0:
        raise OSError(ctypes.get_errno(), "capget")
    over_files = 1 << 1 | 1 << 2 | 1 << 3  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH, CAP_FOWNER
    for i in range(3):
        sets[i] &= ~over_files
    if libc.capset(header, sets) != 0:
        raise OSError(ctypes.get_errno(), "capset")


def run_command(asked: dict[str, Any]) -> int:
    """Run a command in this process as the console script would; returns its exit code."""
    from handlap.cli.main import main

    sys.stdin = io.TextIOWrapper(io.BytesIO(bytes.fromhex(asked.get("typed", ""))), encoding="utf-8")
    try:
        main(asked["args"], prog_name="handlap")
    except SystemExit as leave:
        return leave.code if isinstance(leave.code, int) else 1
    return 0


def _become_child(asked: dict[str, Any], work: Callable[[dict[str, Any]], int]) -> None:
    """In the child: take up the request and leave; never returns."""
    code = 99
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.chdir(asked["cwd"])
        os.environ.update(asked.get("env", {}))
        scrap = Path(asked["scrap"])
        for number, name in ((1, "out"), (2, "err")):
            if asked.get(name) == "closed":
                os.close(number)
                setattr(sys, "stdout" if number == 1 else "stderr", None)
                continue
            place = asked.get(name) or str(scrap / name)
            handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
            os.dup2(handle, number)
            os.close(handle)
            stream = io.TextIOWrapper(os.fdopen(number, "wb", closefd=False), encoding="utf-8")
            setattr(sys, "stdout" if number == 1 else "stderr", stream)
        _limits(asked)
        code = work(asked)
    except BaseException:
        import traceback

        with contextlib.suppress(Exception):
            traceback.print_exc()
        code = 98
    finally:
        for said in (sys.stdout, sys.stderr):
            with contextlib.suppress(Exception):
                said.flush()
        os._exit(code)


def _wait(pid: int, asked: dict[str, Any]) -> dict[str, Any]:
    """Wait for a child, interrupting it or putting an end to it where that is asked.

    Times are those of the processor: others may keep the machine busy.  A child that only waits is given up
    too, much later.
    """
    began, allowed = time.monotonic(), asked.get("seconds", 60.0)
    interrupted: float | None = None
    used_before: float | None = None
    overrun = False
    while True:
        done, status, used = os.wait4(pid, os.WNOHANG)
        if done:
            break
        now = time.monotonic()
        taken = _taken(began, processor_time(pid))
        if interrupted is None and asked.get("interrupt_after") and taken > asked["interrupt_after"]:
            used_before = processor_time(pid)
            os.kill(pid, signal.SIGINT)
            interrupted = now
        if taken > allowed or now - began > 5.0 * allowed + PATIENCE:
            os.kill(pid, signal.SIGKILL)
            overrun = True
        time.sleep(0.002)
    whole = used.ru_utime + used.ru_stime
    scrap = Path(asked["scrap"])
    after = None if used_before is None else whole - used_before
    read = {
        name: (scrap / name).read_text(encoding="utf-8", errors="replace") if (scrap / name).exists() else ""
        for name in ("out", "err")
    }
    return {
        "code": os.waitstatus_to_exitcode(status),
        "seconds": _taken(began, whole),
        "after_interrupt": None if interrupted is None else _taken(interrupted, after),
        "overrun": overrun,
        "megabytes": used.ru_maxrss / 1024.0,
        **read,
    }


def _fork(asked: dict[str, Any], work: Callable[[dict[str, Any]], int]) -> int:
    pid = os.fork()
    if pid == 0:
        _become_child(asked, work)
    return pid


# ---- kills while writing


class _Writing:
    """Stops a process at its first step of writing, and lets forks of it go on from there, one by one.

    The forks are killed at the n-th step of writing and a few microseconds, n and they by chance.
    """

    def __init__(self, asked: dict[str, Any]) -> None:
        self.asked, self.steps, self.told, self.at = asked, 0, -1, -1
        self.first = True
        self.rng = random.Random(f"kills {asked['args']}")
        self.cwd = Path(asked["cwd"])

    def patch(self) -> None:
        for name in OPERATIONS:
            setattr(os, name, self._wrapped(getattr(os, name)))

    def _wrapped(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def step(*args: Any, **options: Any) -> Any:
            if real is self.real_open and not (args[1] & (os.O_CREAT | os.O_WRONLY | os.O_RDWR)):
                return real(*args, **options)
            if self.first:
                self.first = False
                self._hatch()
            if self.told >= 0 and self.steps == self.at:
                self.real_write(self.told, b"x")
            self.steps += 1
            return real(*args, **options)

        return step

    def _hatch(self) -> None:
        """Become the parent of forks that go on writing; returns in the forks only."""
        before = _snapshot(self.cwd)
        report: dict[str, Any] = {"kills": 0, "cases": []}
        code, steps = self._one(None)
        if code is None:
            return
        report["code"] = code
        after = _snapshot(self.cwd)
        report["steps"] = steps
        seen: dict[str, set[str]] = {}
        for _ in range(self.asked["kills"]):
            _restore(self.cwd, before)
            found, _ = self._one(self.rng.randrange(steps))
            if found is None:
                return
            report["kills"] += 1
            for name, data in _snapshot(self.cwd).items():
                seen.setdefault(name, set()).add(data)
            for name in before:
                if not (self.cwd / name).exists():
                    report["cases"].append(f"{name} is gone")
        _restore(self.cwd, before)
        report.update(before=before, after=after, seen={name: sorted(data) for name, data in seen.items()})
        (Path(self.asked["scrap"]) / "report").write_text(json.dumps(report))
        os._exit(0)

    def _one(self, at: int | None) -> tuple[int | None, int]:
        """Let one fork go on and kill it at a step: its exit code and steps; None in the fork itself."""
        read, told = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(read)
            self.told, self.at, self.steps = told, -1 if at is None else at, 0
            if at is None:
                real_exit = os._exit

                def leave(code: int) -> None:
                    self.real_write(told, json.dumps(self.steps).encode())
                    real_exit(code)

                os._exit = leave  # type: ignore[assignment]
            return None, 0
        os.close(told)
        if at is not None:
            os.read(read, 1)
            time.sleep(self.rng.choice((0.0, 0.0, 2e-5, 1e-4, 4e-4, 2e-3)) * self.rng.random())
            os.kill(pid, signal.SIGKILL)
        _, status = os.waitpid(pid, 0)
        left = os.read(read, 100) if at is None else b""
        os.close(read)
        return os.waitstatus_to_exitcode(status), int(left or b"0")

    real_open = staticmethod(os.open)
    real_write = staticmethod(os.write)


def _snapshot(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): p.read_bytes().hex() for p in sorted(folder.rglob("*")) if p.is_file()
    }


def _restore(folder: Path, files: dict[str, str]) -> None:
    for place in sorted(folder.rglob("*")):
        if place.is_file() and str(place.relative_to(folder)) not in files:
            place.unlink()
    for name, data in files.items():
        (folder / name).write_bytes(bytes.fromhex(data))


def _killed_while_writing(asked: dict[str, Any]) -> int:
    # Numba and matplotlib write caches of their own; only what the command writes counts.
    writing = _Writing(asked)
    writing.patch()
    return run_command(asked)


# ---- the program


def _serve(warm: str) -> None:
    requests = os.fdopen(os.dup(0), "rb")
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    nothing = os.open(os.devnull, os.O_RDWR)
    os.dup2(nothing, 1)
    import matplotlib

    import handlap.cli.main
    import handlap.cli.options

    matplotlib.use("agg")
    import handlap.cli.drawing.pictures
    import handlap.cli.reports.as_json
    import handlap.sim.bench.replan
    import handlap.sim.comparing.improve
    import handlap.sim.planning.plan  # noqa: F401

    if warm:
        for args in WARM:
            run_command({"args": [arg.format(job=warm) for arg in args]})
    print("ready", file=answers, flush=True)
    for line in requests:
        asked = json.loads(line)
        work = _killed_while_writing if asked.get("kills") else run_command
        if "branches" in asked:
            from branches import run_branches

            work = run_branches
        pid = _fork(asked, work)
        print(json.dumps(_wait(pid, asked)), file=answers, flush=True)


if __name__ == "__main__":
    import warnings

    # Nothing runs beside the one thread at the moment of a fork.
    warnings.simplefilter("ignore")
    _serve(sys.argv[1] if len(sys.argv) > 1 else "")

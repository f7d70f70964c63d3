"""How the benchmarks take time, and what they know of the machine."""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import numba
from llvmlite import binding


@dataclass(frozen=True)
class Figure:
    """One line of the table: what was measured, its aim in words, and whether it was met (None: no aim)."""

    name: str
    value: float
    unit: str
    aim: str = ""
    met: bool | None = None


def held(name: str, value: float, unit: str, sense: str, aim: float) -> Figure:
    """A figure held against an aim: ``sense`` is "at least" or "at most"."""
    met = value >= aim if sense == "at least" else value <= aim
    return Figure(name, value, unit, f"{sense} {aim:g}", bool(met))


def least(work: Callable[[], Any], *, seconds: float = 1.0, fewest: int = 5) -> float:
    """Least time of many repetitions [s]: processor time of this thread, so that neighbours count little."""
    work()
    best, until, runs = float("inf"), time.perf_counter() + seconds, 0
    while runs < fewest or time.perf_counter() < until:
        start = time.thread_time()
        work()
        best = min(best, time.thread_time() - start)
        runs += 1
    return best


def vector_bits() -> int:
    """Width of the vectors that the processor has, as far as the compiler may use them [bit]."""
    features = getattr(numba.config, "CPU_FEATURES", None)
    has = set(features.replace("+", "").split(",")) if features else dict(binding.get_host_cpu_features())
    on = {name for name in has if not isinstance(has, dict) or has[name]}
    return 512 if "avx512f" in on else 256 if "avx2" in on else 128


def processor() -> str:
    """Name of the processor as the system gives it."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            found = next(line.split(":", 1)[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        found = platform.processor()
    return found or platform.machine()


def machine() -> dict[str, Any]:
    """What the figures depend on besides the program."""
    flags = sorted(name for name, there in dict(binding.get_host_cpu_features()).items() if there)
    return {
        "processor": processor(),
        "known to the compiler as": getattr(numba.config, "CPU_NAME", None) or binding.get_host_cpu_name(),
        "vectors [bit]": vector_bits(),
        "processors usable": len(os.sched_getaffinity(0))
        if hasattr(os, "sched_getaffinity")
        else os.cpu_count(),
        "load before": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
        "python": platform.python_version(),
        **{name: version(name) for name in ("numpy", "scipy", "numba", "llvmlite")},
        "flags": [f for f in flags if f.startswith(("avx", "fma", "sse4", "neon", "sve", "asimd"))],
    }

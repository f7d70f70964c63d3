"""Runs the commands of handlap on drawn jobs and says which law of a whole job an answer breaks.

As a program it tries any numbers, and keeps the files of those that fail::

    python tests/properties/job_laws.py 100 300 --keep FOLDER
"""

from __future__ import annotations

import argparse
import json
import math
import re
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
if __name__ == "__main__":
    sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1] / ".src")]

from click.testing import CliRunner  # noqa: E402
from drawn_jobs import DrawnJob, Quantity, draw_job  # noqa: E402

from handlap.cli.main import main  # noqa: E402
from handlap.cli.reports.plan_report import ends_at  # noqa: E402
from handlap.cli.reports.quantity import height, quantity  # noqa: E402
from handlap.cli.reports.wording import FINEST  # noqa: E402
from handlap.sim.common.spoken import speaking  # noqa: E402
from handlap.sim.job.results import Band  # noqa: E402
from handlap.sim.planning.effort import MINUTES_OF  # noqa: E402

MEMBERS = "8"
FEW = "16"
CODES = (0, 2, 3)
"""Exit codes that a valid job may end with: done, refused in words, a machine shop."""
MOST_SECONDS, MOST_MEGABYTES = 60.0, 1000
"""Processor time that one command may take, and memory that a process of commands may take."""


@dataclass
class Ran:
    """One run of a command: exit code, text, JSON (None where there is none), processor time [s]."""

    args: tuple[str, ...]
    code: int
    text: str
    found: dict[str, Any] | None
    seconds: float


@dataclass
class Tried:
    """All that was run on one job, and the laws that were broken, in words."""

    job: DrawnJob
    folder: Path
    runs: list[Ran] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)

    def run(self, *args: str, job: Path | None = None) -> Ran:
        """Run a command on the job (or another file), and hold what comes of it to the common laws."""
        path = job or self.folder / "job.toml"
        out = self.folder / "result.json"
        out.unlink(missing_ok=True)
        name, *rest = args
        given = [name, str(path), *rest]
        if name not in ("log", "job-sheet"):
            given += ["--json-file", str(out)]
        began = time.process_time()
        done = CliRunner().invoke(main, given)
        found = None
        if out.is_file():
            found = json.loads(out.read_text(encoding="utf-8"), parse_constant=self._not_finite)
        ran = Ran(args, done.exit_code, done.output, found, time.process_time() - began)
        self.runs.append(ran)
        self._hold_ending(ran)
        return ran

    def _not_finite(self, name: str) -> float:
        self.say(f"JSON holds {name}")
        return 0.0

    def say(self, words: str) -> None:
        """Write down a law that is broken."""
        last = " ".join(self.runs[-1].args[:3]) if self.runs else ""
        self.broken.append(f"[{last}] {words}")

    def same(self, what: str, got: float, want: float, *, rel: float = 1e-5, near: float = 1e-6) -> None:
        """Hold two figures to be the same."""
        if not math.isclose(got, want, rel_tol=rel, abs_tol=near):
            self.say(f"{what}: {got:.9g} is not {want:.9g}")

    def _hold_ending(self, ran: Ran) -> None:
        if ran.code not in CODES:
            self.say(f"exit code {ran.code}: {ran.text.strip()[-600:]}")
        if ran.seconds > MOST_SECONDS:
            self.say(f"takes {ran.seconds:.0f} s of processor time")
        if "Traceback" in ran.text:
            self.say(f"a traceback: {ran.text[-600:]}")
        elif ran.code == 2:
            self.refused.append(f"{ran.args[0]}: {ran.text.strip()[:300]}")
            if len(ran.text.strip()) < 20:
                self.say("refused without a reason")
        elif ran.found is None and ran.args[0] not in ("log", "job-sheet"):
            self.say("no JSON")
        if ran.found is not None:
            for words in odd_numbers(ran.found):
                self.say(words)


def odd_numbers(thing: Any, path: str = "") -> Iterator[str]:
    """What is wrong with the numbers of a JSON whatever they are: bands out of order, chances beyond 0…1."""
    if isinstance(thing, dict):
        if {"p05", "p50", "p95"} <= thing.keys() and None not in thing.values():
            low, middle, high = (thing[name] for name in ("p05", "p50", "p95"))
            if not low <= middle <= high:
                yield f"{path}: {low}, {middle}, {high} are not in order"
        for key, value in thing.items():
            if re.search(r"chance|dye_(left|faded|gone)$|wobble_held|press_off", key):
                least = 0.0
                if path.endswith("less_first"):
                    # The difference of two chances, and besides by how much pairing narrows it.
                    least, value = (
                        -1.0,
                        {k: v for k, v in value.items() if k in ("p05", "p50", "p95", "mean")},
                    )
                for share in numbers(value):
                    if not least - 1e-9 <= share <= 1.0 + 1e-9:
                        yield f"{path}.{key}: {share} is no share"
            yield from odd_numbers(value, f"{path}.{key}")
    elif isinstance(thing, list):
        for at, value in enumerate(thing):
            yield from odd_numbers(value, f"{path}[{at}]")


def numbers(thing: Any) -> Iterator[float]:
    """All numbers in a piece of JSON."""
    if isinstance(thing, dict):
        for value in thing.values():
            yield from numbers(value)
    elif isinstance(thing, list):
        for value in thing:
            yield from numbers(value)
    elif isinstance(thing, int | float) and not isinstance(thing, bool):
        yield float(thing)


def p50(found: dict[str, Any], *keys: str) -> float:
    """The middle of a band in a JSON."""
    for key in keys:
        found = found[key]
    return float(found["p50"])


# ---- laws of one answer


def hold_metal(tried: Tried, found: dict[str, Any], at: str) -> None:
    """Mass = density × area × mean depth, volume = area × mean depth; greatest ≥ mean ≥ 0."""
    removed = found.get("removed")
    if not removed:
        return
    area, density = found["face_area_mm2"], found["density_kg_m3"]
    for name in ("p05", "p50", "p95"):
        mean, most = removed["mean_um"][name], removed["greatest_um"][name]
        tried.same(
            f"{at} mass {name}", removed["mass_g"][name], 1e-6 * density * area * mean * 1e-3, rel=1e-5
        )
        tried.same(
            f"{at} volume {name}", removed["volume_mm3"][name], area * mean * 1e-3, rel=2e-4, near=1e-4
        )
        if mean < -1e-6 or most < mean - 1e-6:
            tried.say(f"{at}: greatest {most} and mean {mean} depth")
    for check in [c for s in found.get("stages", [found]) for c in s.get("checks", [])]:
        for name in ("p05", "p50", "p95"):
            mean, most = check["mean_depth_um"][name], check["greatest_depth_um"][name]
            tried.same(f"{at} mass at a check", check["mass_g"][name], 1e-9 * density * area * mean, rel=1e-5)
            if mean < -1e-6 or most < mean - 1e-6:
                tried.say(f"{at}: at a check greatest {most} and mean {mean} depth")


def shown(band: dict[str, float], unit: str, factor: float = 1.0, **how: Any) -> str | None:
    """A band of a JSON as the text should show it; None for one of which JSON has too few digits to tell.

    Members that differ in the eighth digit have a band in the text and none in the JSON.
    """
    low, middle, high = (factor * band[name] for name in ("p05", "p50", "p95"))
    if high - low <= 1e-5 * abs(middle):
        return None
    return quantity(Band(low, middle, high), unit, **how)


def microns(band: dict[str, float]) -> str | None:
    """A height of a JSON as the text should show it."""
    return shown(band, "µm", finest=FINEST)


def ended(band: dict[str, float]) -> str | None:
    """As the text of a plan should show what is left: of a face worked to a goal, where it stops."""
    return microns(band) and ends_at(Band(*(1e-6 * band[name] for name in ("p05", "p50", "p95"))))


def hold_text(tried: Tried, ran: Ran, wanted: Sequence[str | None]) -> None:
    """Figures of the JSON stand in the text with the digits that people see."""
    flat = re.sub(r"\s+", " ", ran.text)
    for words in wanted:
        if words is not None and words not in flat:
            tried.say(f"the text does not show {words!r}")


# ---- commands


def survey(tried: Tried) -> Ran:
    """The survey, its bands, and its words."""
    ran = tried.run("survey", "--members", FEW)
    if ran.found:
        f = ran.found
        hold_text(tried, ran, [microns(f["flatness_um"]), microns(f["straightedge_um"])])
        tried.same("chances of shapes", sum(f["shape"]["chances"].values()), 1.0)
        # No straightedge shows more than the minimum zone of the face under it can hold.
        if f["straightedge_um"]["p50"] < -1e-9 or f["flatness_um"]["p05"] < -1e-9:
            tried.say("a flatness below nought")
    return ran


def simulate(tried: Tried, job: DrawnJob | None = None, *, system: Any = "mm", name: str = "") -> Ran:
    """One lap, with all its accounts."""
    job = job or tried.job
    path = job.write(tried.folder / (name or "."), system)
    ran = tried.run("simulate", "--strokes", str(job.strokes), job=path)
    if not ran.found or ran.code not in (0, 3) or not ran.found.get("after"):
        return ran
    f = ran.found
    hold_metal(tried, f, "simulate")
    if f["deposited_volume_mm3"] is not None:
        tried.same("metal on the paper", f["deposited_volume_mm3"], p50(f, "removed", "volume_mm3"), rel=1e-6)
    last = f["checks"][-1]
    tried.same("strokes of the last check", last["strokes"], p50(f, "effort", "strokes"))
    for key, whole in (("flatness_um", "after"), ("straightedge_um", "after")):
        tried.same(f"last check's {key}", p50(last, key), p50(f, whole, key))
    tried.same("last check's mean", p50(last, "mean_depth_um"), p50(f, "removed", "mean_um"))
    means = [p50(c, "mean_depth_um") for c in f["checks"]]
    if means != sorted(means):
        tried.say("metal comes back between two checks")
    wanted = [f["before"]["flatness_um"], f["after"]["flatness_um"], f["after"]["straightedge_um"]]
    with speaking(system):
        hold_text(tried, ran, [height(1e-6 * band["p50"], 4, FINEST) for band in wanted])
    _hold_preston(tried, job, f)
    return ran


def _hold_preston(tried: Tried, job: DrawnJob, found: dict[str, Any]) -> None:
    """volume = k·W·s where paper does not age, one metal is cut and the leading edge is cut no faster."""
    wear = job.tables["wear"]
    edge = wear.get("edge_rate")
    plain = isinstance(edge, Quantity) and edge.value == 0.0 and not wear["ages"]
    rate = wear.get("rate")
    if not plain or not isinstance(rate, Quantity) or "part.inserts" in job.tables:
        return
    if job.tables["paper"]["grits"] != ["P120"]:
        return
    work = found["effort"]["load_sliding_nm"]
    tried.same("volume = k·W·s", p50(found, "removed", "volume_mm3"), 1e9 * rate.value * work, rel=1e-4)


def plan(tried: Tried, members: str = MEMBERS) -> Ran:
    """The plan, with all its sums."""
    ran = tried.run("plan", "--members", members)
    if not ran.found or ran.code not in (0, 3):
        return ran
    f = ran.found
    answer = f["verdict"]["answer"]
    if (ran.code == 3) != (answer == "machine shop"):
        tried.say(f"exit code {ran.code} with the verdict {answer}")
    if f.get("after") is None:
        if answer == "lap":
            tried.say("to be lapped, and no lap")
        return ran
    hold_metal(tried, f, "plan")
    hold_text(
        tried,
        ran,
        [
            ended(f["after"]["flatness_um"]),
            microns(f["removed"]["greatest_um"]),
            shown(f["removed"]["mass_g"], "g"),
            shown(f["effort"]["minutes"], "min"),
        ],
    )
    tried.same("sheets", sum(s["sheets"] for s in f["stages"]), f["effort"]["sheets"])
    tried.same("brushings", sum(s["brushings"] for s in f["stages"]), f["effort"]["brushings"])
    for name in ("p05", "p50", "p95"):
        for item in MINUTES_OF:
            if f["effort"][item][name] > f["effort"]["minutes"][name] + 1e-6:
                tried.say(f"{item} are more than all of the work takes")
    chance = f["chance"]
    if (
        chance["both"]
        > min(chance["goal"], chance["allowance"] if chance["allowance"] is not None else 1.0) + 1e-9
    ):
        tried.say(f"both limits are likelier met than one: {chance}")
    for stage in f["stages"]:
        strokes = [c["strokes"] for c in stage["checks"]]
        if strokes != sorted(set(strokes)):
            tried.say(f"checks are out of order: {strokes}")
    if not math.isclose(
        sum(f["members_mass_g"]),
        sum(f["members_mean_depth_um"]) * f["density_kg_m3"] * f["face_area_mm2"] * 1e-9,
        rel_tol=1e-5,
        abs_tol=1e-9,
    ):
        tried.say("grams of the members are not their depths")
    return ran


def both_say(tried: Tried, surveyed: Ran, planned: Ran) -> None:
    """What the survey cannot tell, no other command tells; and both see the same face."""
    if not surveyed.found or not planned.found:
        return
    answer, said = surveyed.found["verdict"]["answer"], planned.found["verdict"]["answer"]
    if not surveyed.found["settled"] and said not in ("cannot tell",):
        tried.say(f"the survey does not settle, {planned.args[0]} says {said}")
    if tried.job.read == "exact table":
        if answer == "no" and said == "leave":
            tried.say("the survey says beyond the limit, and the plan to leave it")
        if answer == "yes" and said != "leave":
            tried.say(f"the survey says inside the limit, and the plan {said}")
        before = planned.found.get("before")
        if before:
            for key in ("flatness_um", "straightedge_um"):
                a, b = p50(surveyed.found, key), p50(before, key)
                # Other draws of what an exact table leaves open between its points.
                open_ = 0.5 * (surveyed.found[key]["p95"] - surveyed.found[key]["p05"])
                tried.same(f"survey and {planned.args[0]}, {key}", b, a, rel=0.02, near=0.5 + open_)


# ---- twins


def inch_twin(tried: Tried, lapped: Ran, surveyed: Ran) -> None:
    """The same job in inches gives the same answer."""
    path = tried.job.write(tried.folder / "inch", "inch")
    again = simulate(tried, system="inch", name="inch")
    same_lap(tried, lapped, again, "in inches", 1e-3)
    ran = tried.run("survey", "--members", FEW, job=path)
    if ran.code != surveyed.code:
        tried.say(f"the survey ends with {surveyed.code}, in inches with {ran.code}")
    if ran.found and surveyed.found:
        for key in ("flatness_um", "straightedge_um"):
            tried.same(
                f"survey in inches, {key}", p50(ran.found, key), p50(surveyed.found, key), rel=1e-3, near=1e-3
            )


def quarter_twin(tried: Tried, lapped: Ran) -> None:
    """The same job turned by a quarter gives the same answer."""
    if not tried.job.turns:
        return
    again = simulate(tried, tried.job.quarter(), name="quarter")
    if tried.job.read == "exact table":
        same_lap(tried, lapped, again, "turned by a quarter", 0.02)
    elif tried.job.read in ("table", "leaves"):
        # Another draw of faces through the same readings.
        same_lap(tried, lapped, again, "turned by a quarter", 2.0, rel=0.35, keys=BEFORE)


def halved_twin(tried: Tried) -> None:
    """Twice the rate and half the strokes give the same face where the paper does not age."""
    job = tried.job
    rate = job.tables["wear"].get("rate")
    if job.tables["wear"]["ages"] or not isinstance(rate, Quantity):
        job = job.with_("wear", ages=False, rate=Quantity(0.02e-9, "rate"))
        rate = job.tables["wear"]["rate"]
    turning = job.tables["turning"]
    once = simulate(tried, job, name="once")
    every = turning["every"] // 2
    faster = job.with_("wear", rate=Quantity(2.0 * rate.value, "rate")).with_("turning", every=every)
    if "brush_every" in job.tables["paper"]:
        paper = job.tables["paper"]
        faster = faster.with_(
            "paper", brush_every=paper["brush_every"] // 2, sheet_every=paper["sheet_every"] // 2
        )
    faster = faster.with_("checks", every=None).with_strokes(job.strokes // 2)
    same_lap(tried, once, simulate(tried, faster, name="faster"), "twice as fast, half the strokes", 0.05)


BEFORE = (("before", "flatness_um"),)
LAPPED = (
    *BEFORE,
    ("after", "flatness_um"),
    ("after", "straightedge_um"),
    ("removed", "mean_um"),
    ("removed", "greatest_um"),
)
"""Figures that two laps which are one have in common."""


def same_lap(
    tried: Tried,
    one: Ran,
    other: Ran,
    what: str,
    near: float,
    rel: float = 0.0,
    keys: Sequence[tuple[str, str]] = LAPPED,
) -> None:
    """Two laps come out alike, but for the errors that they state [µm]."""
    if one.code != other.code:
        tried.say(f"{what}: ends with {other.code}, not {one.code}: {other.text.strip()[-200:]}")
        return
    f, g = one.found or {}, other.found or {}
    if bool(f.get("after")) != bool(g.get("after")):
        tried.say(f"{what}: one is lapped, the other is not")
    if not f.get("after") or not g.get("after"):
        return
    stated = sum(x["errors"][name] or 0.0 for x in (f, g) for name in ("step_um", "grid_um"))
    if what == "in inches":
        stated = 0.0
    for path in keys:
        a, b = p50(f, *path), p50(g, *path)
        if abs(a - b) > near + 1.5 * stated + max(rel, 0.002) * max(abs(a), abs(b)):
            tried.say(f"{what}: {'.'.join(path)} {b:.4f}, not {a:.4f} (errors stated {stated:.3f})")


def exact_plan(tried: Tried) -> None:
    """Where nothing is uncertain, all members of a plan are one, and they are the lap of simulate."""
    ran = plan(tried)
    if not ran.found or ran.found.get("after") is None:
        return
    f = ran.found
    was_open = max(b["p95"] - b["p05"] for b in f["before"].values() if isinstance(b, dict))
    for part in ("after", "removed", "effort"):
        for key, value in f[part].items():
            # A table leaves a little open between its points.
            more = 0.05 + 0.02 * abs(value["p50"]) + was_open if isinstance(value, dict) else 0.0
            if isinstance(value, dict) and value["p95"] - value["p05"] > more:
                tried.say(
                    f"nothing is uncertain, and {part}.{key} runs from {value['p05']} to {value['p95']}"
                )
    strokes = int(p50(f, "effort", "strokes"))
    if strokes < 1:
        return
    lapped = simulate(tried, tried.job.with_strokes(strokes))
    if lapped.found and lapped.found.get("after"):
        _one_lap(tried, f, lapped.found)


def _one_lap(tried: Tried, planned: dict[str, Any], lapped: dict[str, Any]) -> None:
    """The lap of a plan is that of simulate: at every look up to where it stops, and there."""
    stated = sum(x["errors"][name] or 0.0 for x in (planned, lapped) for name in ("step_um", "grid_um"))
    near = 0.3 + 1.5 * stated
    seen = {c["strokes"]: c for c in planned["stages"][0]["checks"]}
    keys = ("flatness_um", "straightedge_um", "mean_depth_um")
    for check in lapped["checks"]:
        for key in keys if check["strokes"] in seen else ():
            a, b = p50(seen[check["strokes"]], key), p50(check, key)
            if abs(a - b) > near + 0.02 * abs(b):
                tried.say(f"plan after {check['strokes']}, {key}: {a:.3f}, simulate {b:.3f} ({stated:.3f})")
    strokes, stop = p50(lapped, "effort", "strokes"), p50(planned, "effort", "strokes")
    minutes = p50(planned, "effort", "stroke_minutes") * strokes / stop
    tried.same("minutes of the strokes", minutes, p50(lapped, "effort", "minutes"))
    for key, name in (("flatness_um", "after"), ("straightedge_um", "after"), ("mean_um", "removed")):
        a, b = p50(planned, name, key), p50(lapped, name, key)
        if abs(a - b) > near + 0.02 * abs(b):
            tried.say(f"plan {name}.{key} {a:.3f}, simulate {b:.3f} (errors stated {stated:.3f})")


# ---- work at the bench


def bench(tried: Tried, surveyed: Ran) -> None:
    """A log, and replan and record on it: one answer."""
    for entry in tried.job.log:
        if tried.run("log", *entry).code != 0:
            break
    again = tried.run("replan", "--members", FEW)
    noted = tried.run("record", "--members", FEW)
    if again.found and noted.found:
        one, other = again.found.get("limits"), noted.found.get("limits")
        if (
            one
            and other
            and [(x["name"], x["answer"]) for x in one] != [(x["name"], x["answer"]) for x in other]
        ):
            tried.say(f"replan and record differ: {one} and {other}")


def compare(tried: Tried) -> None:
    """Two ways on the same faces."""
    tried.run(
        "compare", "--members", FEW, "--no-turns", "--way", "turning=none", "--way", "turning=half every=20"
    )


LAST: tuple[Callable[[Tried, Ran, Ran], None], ...] = (
    lambda tried, surveyed, lapped: both_say(tried, surveyed, plan(tried)),
    lambda tried, surveyed, lapped: bench(tried, surveyed),
    lambda tried, surveyed, lapped: compare(tried),
    lambda tried, surveyed, lapped: _job_sheet(tried),
    lambda tried, surveyed, lapped: _why(tried),
    lambda tried, surveyed, lapped: both_say(tried, surveyed, plan(tried)),
)


def _job_sheet(tried: Tried) -> None:
    tried.run("job-sheet", "--members", MEMBERS, "--out", str(tried.folder / "out"))


def _why(tried: Tried) -> None:
    tried.run("why", "--members", FEW, "--strokes", "60")


def try_number(number: int, folder: Path, *, long: bool = True) -> Tried:
    """Everything that is held of the job of a number; ``long``: plans, comparisons and logs too."""
    exact = number % 7 == 6
    tried = Tried(draw_job(number, exact=exact), folder)
    tried.job.write(folder)
    surveyed, lapped = survey(tried), simulate(tried)
    twin = number % 4
    if twin == 0:
        inch_twin(tried, lapped, surveyed)
    elif twin == 1:
        quarter_twin(tried, lapped)
    elif twin == 2:
        halved_twin(tried)
    tried.job.write(folder)
    if exact:
        exact_plan(tried)
    elif long:
        LAST[number % len(LAST)](tried, surveyed, lapped)
    return tried


def is_dear(job: DrawnJob) -> bool:
    """Whether its laps or its survey take many seconds."""
    return job.tables["wear"]["ages"] or job.pattern in ("circle", "eight") or job.read == "contradictory"


def _tell(tried: Tried, seconds: float, keep: Path | None) -> None:
    job = tried.job
    print(f"{job.number} {job.shape}, {job.read}, {job.pattern}: {seconds:.1f} s", flush=True)
    for what, said in (("refused", tried.refused), ("BROKEN", tried.broken)):
        for words in said:
            print(f"   {what}:", words.replace("\n", " | "))
    slow = [f"{' '.join(r.args)} {r.seconds:.0f} s" for r in tried.runs if r.seconds > MOST_SECONDS / 3.0]
    if slow:
        print("   slow:", "; ".join(slow))
    if tried.broken:
        print(job.text(), flush=True) if keep is None else job.write(keep / str(job.number))


def run() -> int:
    """Try the numbers from one up to another; 1 if any of them breaks a law."""
    parser = argparse.ArgumentParser()
    parser.add_argument("first", type=int)
    parser.add_argument("last", type=int)
    parser.add_argument(
        "--keep", type=Path, help="folder for the jobs that break a law; else they are printed"
    )
    parser.add_argument("--cheap", action="store_true", help="leave out what takes long: ageing, rounds")
    asked = parser.parse_args()
    # The first of all laps compiles the kernels, which is no time of the job's.
    with tempfile.TemporaryDirectory() as folder:
        try_number(7, Path(folder), long=False)
    tried_all = broken = 0
    for at in range(asked.first, asked.last):
        if asked.cheap and is_dear(draw_job(at, exact=at % 7 == 6)):
            continue
        tried_all += 1
        began = time.process_time()
        with tempfile.TemporaryDirectory() as folder:
            tried = try_number(at, Path(folder))
        _tell(tried, time.process_time() - began, asked.keep)
        broken += bool(tried.broken)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"{broken} of {tried_all} jobs break a law; peak memory {peak} MB")
    return int(broken > 0)


if __name__ == "__main__":
    sys.exit(run())

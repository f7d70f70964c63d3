"""What README, DEVELOPERS and the pages of ``handlap explain`` say is so: commands, names, links, figures."""

from __future__ import annotations

import fnmatch
import functools
import importlib.metadata
import json
import re
import shlex
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from handlap.cli.explained import TOPICS, page
from handlap.cli.main import commands, main
from handlap.sim.job.scenario_file import builtin_names, load

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PAGES = {topic: page(topic) for topic in TOPICS}
TOLD = "\n".join((README, *PAGES.values()))
"""All that users are told in running text."""
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "sim", "cli", "tests", "scenarios"}
FRESH = "python3 -m venv"
DRIFT = 0.35
"""Figures of the worked example are rounded and move with the code; this far is let pass."""


def blocks(language: str) -> list[str]:
    """Fenced blocks in that language, those of the README first."""
    return re.findall(rf"^```{language}\n(.*?)^```$", TOLD, flags=re.M | re.S)


def handlap_lines() -> list[str]:
    """Every command line that starts handlap, in blocks and in running text."""
    shown = [line for block in blocks("sh") for line in block.splitlines()]
    shown += re.findall(r"`(handlap [^`]*)`", TOLD + DEVELOPERS)
    parts = [part.strip() for line in shown for part in line.split("&&")]
    return [part for part in parts if Path(part.split()[0]).name == "handlap"]


def run(line: str, *more: str) -> str:
    """What a handlap command prints; ``more``: asked for besides."""
    done = CliRunner().invoke(main, [*shlex.split(line)[1:], *more])
    assert done.exit_code == 0, done.stderr
    return done.stdout


def ours(name: str) -> bool:
    """Neither a dot-file nor something that .gitignore or an unpacked sdist explains."""
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    extra = {"PKG-INFO"}
    return not (
        name.startswith(".")
        or name in extra
        or any(fnmatch.fnmatch(name, pattern.rstrip("/")) for pattern in ignored)
    )


def test_top_level_is_exactly_as_stated():
    assert {path.name for path in ROOT.iterdir() if ours(path.name)} == TOP
    stated = re.search(r"The top level stays as it is: (.*), and dot-files\.", DEVELOPERS)
    assert stated is not None
    assert {name.strip("`/ ") for name in stated[1].split(",")} == TOP


def fresh_blocks() -> list[str]:
    """Blocks that set up an environment of their own: .ci/run takes them from the README, in this order."""
    return [block for block in blocks("sh") if block.startswith(FRESH)]


def test_both_set_ups_are_one_command_line_each():
    first, second = fresh_blocks()
    for block in (first, second):
        assert block.count("\n") == 1
    assert first.rstrip().endswith("/bin/handlap plan two-cylinder-head")
    assert second.rstrip().endswith("/bin/pytest")


def test_commands_stay_inside_their_own_environment():
    for block in fresh_blocks():
        folder = shlex.split(block)[3]
        steps = [shlex.split(step) for step in block.split("&&")]
        assert all(step[0].startswith(f"{folder}/bin/") for step in steps[1:])


def test_every_command_named_exists_and_takes_its_options():
    known = {entry.name for entry in commands()}
    lines = handlap_lines()
    assert len(lines) > 8
    for line in lines:
        words = shlex.split(line)[1:]
        if not words or words[0].startswith("-"):
            continue
        assert words[0] in known, line
        command = main.get_command(click.Context(main), words[0])
        assert command is not None
        options = {name for parameter in command.params for name in parameter.opts}
        assert {word for word in words if word.startswith("--")} <= options | {"--help"}, line


def test_every_command_and_built_in_scenario_is_described():
    for entry in commands():
        assert f"| `handlap {entry.name}" in PAGES["commands"], entry.name
    for name, _ in builtin_names():
        assert f"`{name}`" in PAGES["commands"], name


def test_scenarios_named_in_commands_are_built_in():
    names = {name for name, _ in builtin_names()}
    for line in handlap_lines():
        words = shlex.split(line)
        if words[1:2] and words[1] in ("plan", "survey", "simulate") and len(words) > 2:
            assert words[2] in names or words[2] == "SCENARIO" or words[2].endswith(".toml"), line


def test_links_and_pictures_resolve():
    texts = {ROOT / "README.md": README, ROOT / "DEVELOPERS.md": DEVELOPERS}
    texts |= {ROOT / "cli" / "pages" / f"{topic}.md": text for topic, text in PAGES.items()}
    for file, text in texts.items():
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (file.parent / target).is_file(), (file.name, target)
    for topic in TOPICS:
        assert f"](cli/pages/{topic}.md)" in README, topic


def test_every_page_is_carried_and_has_its_line():
    assert {file.stem for file in (ROOT / "cli" / "pages").iterdir()} == set(TOPICS)


def test_pictures_are_small_and_all_shown():
    """In the README, or named in the story of a built-in scenario."""
    stories = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "scenarios").glob("*.toml"))
    for picture in (ROOT / "scenarios" / "pictures").iterdir():
        assert picture.read_bytes().startswith(b"\x89PNG")
        assert picture.stat().st_size < 150_000, picture.name
        shown = f"pictures/{picture.name}"
        assert shown in TOLD + stories


def test_modules_named_for_developers_exist():
    """By their path, or, where the map gives only a name or a pattern, anywhere in the two folders."""
    names = re.findall(r"`([\w/*]+\.py)`", DEVELOPERS)
    assert len(names) > 60
    modules = [path.name for folder in ("sim", "cli") for path in (ROOT / folder).rglob("*.py")]
    for name in names:
        file = name.rpartition("/")[2]
        there = (ROOT / name).is_file() if name.startswith(("sim/", "cli/", "tests/")) else False
        assert there or fnmatch.filter(modules, file), name


def test_nearly_every_module_is_in_the_map():
    """A few may lag behind; more than one in ten make the map a false one."""
    table = [line.split("|")[1] for line in DEVELOPERS.splitlines() if line.startswith("| `")]
    told = {Path(name).name for cell in table for name in re.findall(r"`([\w/*]+\.py)`", cell)}
    modules = [path.name for folder in ("sim", "cli") for path in (ROOT / folder).rglob("*.py")]
    missing = [name for name in modules if not any(fnmatch.fnmatch(name, one) for one in told)]
    assert len(missing) < 0.1 * len(modules), missing


def test_the_scenario_shown_loads_without_a_doubt(tmp_path):
    (block,) = blocks("toml")
    assert tomllib.loads(block)["title"]
    file = tmp_path / "cover.toml"
    file.write_text(block, encoding="utf-8")
    job = load(str(file))
    assert [grit.name for grit in job.paper.grits] == ["P120", "P240"]
    assert not job.warnings


@pytest.mark.parametrize("members", [8, pytest.param(16, marks=pytest.mark.slow)])
def test_the_lines_of_python_run_as_they_stand(members, capsys):
    """Sixteen faces are what stands there; on half as many they are the same lines."""
    (block,) = blocks("python")
    assert block.count("members=16") == 3
    block = block.replace("members=16", f"members={members}")
    exec(compile(block, "python.md", "exec"), {"__name__": "page"})
    told = capsys.readouterr().out.splitlines()
    assert "lap" in told[1] and told[2].startswith("handlap.plan/")
    assert len(told) == 4 + 3
    minutes = [float(line) for line in told[4:]]
    assert minutes[0] > minutes[2] > 0.0, "a tighter limit takes longer"


def test_formula_check_prints_what_the_hand_calculation_says():
    """Closed form: depth = k·W·s/A, mass = density·area·depth."""
    depth_um = 0.02 * 100 * (1000 * 2 * 0.1) / (200 * 100) * 1e3
    assert depth_um == pytest.approx(20.0)
    result = json.loads(run("handlap simulate formula-check --json"))
    assert result["removed"]["mean_um"]["p50"] == pytest.approx(depth_um, rel=1e-6)
    assert result["removed"]["greatest_um"]["p50"] == pytest.approx(depth_um, rel=1e-6)
    assert result["removed"]["mass_g"]["p50"] == pytest.approx(2.86, rel=1e-6)
    text = run("handlap simulate formula-check")
    for printed in ("20.00 µm", "400.0 mm³", "2.860 g"):
        assert printed in text
        assert printed.split()[0] in PAGES["checks"]


@functools.cache
def example() -> dict[str, str]:
    """Last column of the table of the worked example by the first."""
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \| ([^|]+) \|$", PAGES["plan"], flags=re.M)
    return {name.strip(): here.strip() for name, here in rows}


def test_figures_of_the_worked_example_have_not_drifted(checked):
    """Regression: printed by the program itself.  Make table and pictures anew if this fails."""
    plan = json.loads(run("handlap plan two-cylinder-head --json"))
    told = example()
    assert told["verdict"] == plan["verdict"]["answer"]
    assert told["goal"] == "over 95 %"
    assert plan["chance"]["goal"] > 0.95
    for row, band in (
        ("flatness, before", plan["before"]["flatness_um"]),
        ("straightedge, before", plan["before"]["straightedge_um"]),
        ("straightedge, after", plan["after"]["straightedge_um"]),
        ("comes off, at most", plan["removed"]["greatest_um"]),
        ("comes off, on average", plan["removed"]["mean_um"]),
        ("metal", plan["removed"]["mass_g"]),
        ("strokes", plan["effort"]["strokes"]),
    ):
        figure, unit = (told[row].split() + [""])[:2]
        checked(
            f"worked example of the README: {row}",
            expected=float(figure),
            got=band["p50"],
            tolerance=DRIFT * float(figure),
            unit=unit,
            kind="regression",
            source="printed by the program itself",
            about="plan",
        )


@pytest.mark.slow
def test_figures_of_ways_and_causes_have_not_drifted():
    """Regression: the sections on ways and on causes.  Make them and their pictures anew if this fails."""
    ways = json.loads(run("handlap compare two-cylinder-head --json"))
    why = json.loads(run("handlap why valve-chest-cover --json"))
    by_name = {way["name"]: way for way in ways["ways"]}
    turns = dict(zip(ways["turns"]["intervals"], ways["turns"]["taper_um"], strict=True))
    told = {
        r"never turned comes out ([\d.]+) µm": by_name["never turned"]["taper_along_um"]["p50"],
        r"after (\d+) strokes or sooner": ways["turns"]["largest_harmless"],
        r"In the (\d+) strokes planned": ways["turns"]["strokes"],
        r"taper of ([\d.]+) µm if the part is never": sorted(turns[max(turns)])[1],
        r"After (\d+) strokes on P120": why["strokes"],
        r"its middle still lies (\d+) µm": why["total"]["crown_along_um"]["p50"],
        r"strokes again lower the straightedge's reading by (\d+) µm": -next(
            change["difference_um"]
            for change in why["changes"]
            if change["name"] == "half as many strokes again"
        ),
    }
    for pattern, got in told.items():
        found = [m[1] for m in re.finditer(pattern, PAGES["ways"]) if m[1]]
        assert found and got == pytest.approx(float(found[0]), rel=DRIFT), pattern


@pytest.mark.parametrize("members", [24, pytest.param(64, marks=pytest.mark.slow)])
def test_the_job_at_the_bench_goes_as_told(members, tmp_path, monkeypatch):
    """Regression: the head worked by the commands of its page, in an empty folder; unasked they take 64."""
    section = PAGES["bench"]
    lines = [
        line for block in re.findall(r"```sh\n(.*?)```", section, flags=re.S) for line in block.split("\n")
    ]
    monkeypatch.chdir(tmp_path)
    copied = shlex.split(lines[0])
    (tmp_path / copied[2]).write_bytes((ROOT / copied[1]).read_bytes())
    said = []
    for line in lines[1:]:
        if line and "job-sheet" not in line:
            command = line.split()[1]
            few = () if command == "log" else ("--members", str(members))
            said.append((command, run(line, *few)))
    first, last = (text for command, text in said if command == "replan")
    (record,) = (text for command, text in said if command == "record")
    assert "GO ON" in first and "STOP: THE GOAL IS MET" in last
    assert "the two agree" in record
    for text in (last, record):
        left = re.search(
            r"([\d.]+) µm \(([\d.]+)–([\d.]+)\) by the straightedge now|Out of flat +([\d.]+)", text
        )
        assert left is not None
        assert float(left[1] or left[4]) == pytest.approx(40, rel=DRIFT)
    told = re.search(r"cuts ([\d.]+) times .* ± (\d+) %.* the goal is (\d+) strokes", section, flags=re.S)
    assert told is not None
    said_of_cut = re.search(r"cuts ([\d.]+)\s+times[^±]*±\s+(\d+) %", first)
    assert said_of_cut is not None
    assert float(said_of_cut[1]) == pytest.approx(float(told[1]), rel=0.15)
    assert float(said_of_cut[2]) == pytest.approx(float(told[2]), rel=DRIFT)
    goal = re.search(r"To the goal +(\d+) strokes", first)
    assert goal is not None
    assert float(goal[1]) == pytest.approx(float(told[3]), rel=DRIFT)


def test_licence_is_named_and_its_text_closes_the_readme():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["license"] == "MIT"
    last = README.split("\n## ")[-1]
    assert last.startswith("Licence\n\nMIT License\n\nCopyright (c) 2026 the handlap authors")
    assert last.rstrip().endswith("DEALINGS IN THE SOFTWARE.")


def test_continuous_integration_is_a_program_and_reads_the_readme():
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & 0o111
    assert "README.md" in script.read_text(encoding="utf-8")


def test_nothing_of_an_everyday_name_is_installed():
    """Packages called sim or cli would collide with other people's."""
    files = importlib.metadata.files("handlap")
    assert files
    assert not {path.parts[0] for path in files} & {"sim", "cli", "scenarios", "tests"}

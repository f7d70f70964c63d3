"""The pictures of the README and of the pages, from one run; and the figures that their texts name.

    .venv-test/bin/python tests/readme_pictures.py [--seeds N] [--into FOLDER]

Works the built-in jobs once with what is installed, writes the pictures in place of the old ones and
prints the versions it ran on and the figures of the plan of the head.  ``--seeds N`` plans the head N
times and prints how far each figure moves from seed to seed, over its middle: what the tolerance of
``tests/test_readme.py`` has to bear.  Needs chromium and its driver for the page to play with.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import io
import json
import platform
import sys
import tempfile
from pathlib import Path
from unittest import mock

from browser import Browser, missing
from click.testing import CliRunner
from PIL import Image

from handlap.cli.main import main as handlap

HERE = Path(__file__).parents[1] / "scenarios" / "pictures"
WIDEST, THUMBNAIL = 1200, 560
"""Pixels; those of a page of paper shown small."""
COLOURS, MOST_BYTES = (256, 128, 64, 32), 145_000
"""Colours: as many as a picture of so many bytes may have."""
HEAD = "two-cylinder-head"
SHOWN = {
    "head-survey-map": (f"survey {HEAD}", f"{HEAD}-survey-map.png"),
    "head-plan-warp": (f"plan {HEAD}", f"{HEAD}-plan-warp.png"),
    "head-plan-course": (f"plan {HEAD}", f"{HEAD}-plan-course.png"),
    "head-plan-depth": (f"plan {HEAD}", f"{HEAD}-plan-depth.png"),
    "head-plan-dye": (f"plan {HEAD}", f"{HEAD}-plan-dye.png"),
    "head-compare-turns": (f"compare {HEAD}", f"{HEAD}-compare-turns.png"),
    "valve-chest-why-causes": ("why valve-chest-cover", "valve-chest-cover-why-causes.png"),
    "thin-pump-cover-depth": ("plan thin-pump-cover", "thin-pump-cover-plan-depth.png"),
    "glass-over-gap-depth": ("plan glass-over-gap", "glass-over-gap-plan-depth.png"),
    "long-part-short-plate-depth": ("plan long-part-short-plate", "long-part-short-plate-plan-depth.png"),
}
"""Each picture, the command that draws it, and what that command calls it."""
SHEETS = {
    "head-measuring-sheet": (f"measuring-sheet {HEAD} --out {{out}}/sheet.pdf", "sheet_measuring"),
    "head-job-sheet": (f"job-sheet {HEAD} --out {{out}}", "sheet_job_pdf"),
}
"""Sheets to print, shown by their first page, and the module that writes them."""


def run(*words: str) -> str:
    """What a command of handlap prints."""
    done = CliRunner().invoke(handlap, list(words))
    if done.exit_code not in (0, 3):
        raise SystemExit(f"handlap {' '.join(words)}: {done.stderr}")
    return done.stdout


def reduced(picture: Image.Image, width: int = WIDEST) -> bytes:
    """A picture of few bytes: no wider than ``width`` pixels, in a table of colours."""
    picture = picture.convert("RGB")
    if picture.width > width:
        picture = picture.resize(
            (width, round(picture.height * width / picture.width)), Image.Resampling.LANCZOS
        )
    for colours in COLOURS:
        stream = io.BytesIO()
        picture.quantize(colours, dither=Image.Dither.NONE).save(stream, "PNG", optimize=True)
        if stream.tell() <= MOST_BYTES:
            break
    return stream.getvalue()


def first_page(command: str, module: str, out: Path) -> bytes:
    """The first page of a sheet as a small picture; ``module`` hands its pages to ``write_pdf``."""
    found = []

    def keep(pages, title):
        stream = io.BytesIO()
        pages[0].figure.savefig(stream, format="png", dpi=150)
        found.append(reduced(Image.open(stream), THUMBNAIL))
        return b"%PDF-1.4\n%%EOF"

    with mock.patch(f"handlap.cli.sheets.{module}.write_pdf", keep):
        run(*command.format(out=out).split())
    return found[0]


def play_page(out: Path) -> bytes:
    """The page to play with, at stroke 320, as a browser shows it."""
    page = out / "play.html"
    run("play", HEAD, "--steps", "--out", str(page))
    return shown_page(
        page, 1200, 860,
        "const s = document.getElementById('stroke'); const at = [...Array(+s.max + 1).keys()];"
        "s.value = Math.round(s.max * 0.4); s.dispatchEvent(new Event('input', {bubbles: true}));",
    )  # fmt: skip


def knob_page(out: Path) -> bytes:
    """The page with knobs, pressed harder than the setting kept as A."""
    page = out / "knobs.html"
    run("play", HEAD, "--out", str(page))
    return shown_page(
        page, 1280, 870,
        "document.getElementById('keep').click(); document.getElementById('stand-push').click();"
        "const k = document.getElementById('knob-press'); k.value = '100';"
        "k.dispatchEvent(new Event('input'));",
        until="return document.getElementById('kept-flatness').textContent !== '–'",
    )  # fmt: skip


def shown_page(page: Path, width: int, height: int, script: str, until: str = "return true") -> bytes:
    """A page in a window of this size, once a script has been run in it and a condition holds."""
    browser = Browser(width=width, height=height)
    try:
        browser.size(width, height)
        browser.open(page)
        browser.run(script)
        browser.until(until)
        return reduced(Image.open(io.BytesIO(browser.picture())))
    finally:
        browser.close()


def figures(seed: int) -> dict[str, float]:
    """The figures of the worked example, by their rows."""
    plan = json.loads(run("plan", HEAD, "--json", "--seed", str(seed)))
    return {
        "flatness, before [µm]": plan["before"]["flatness_um"]["p50"],
        "straightedge, before [µm]": plan["before"]["straightedge_um"]["p50"],
        "straightedge, after [µm]": plan["after"]["straightedge_um"]["p50"],
        "comes off, at most [µm]": plan["removed"]["greatest_um"]["p50"],
        "comes off, on average [µm]": plan["removed"]["mean_um"]["p50"],
        "metal [g]": plan["removed"]["mass_g"]["p50"],
        "strokes": plan["effort"]["strokes"]["p50"],
        "minutes": plan["effort"]["minutes"]["p50"],
    }


def spread(seeds: int) -> None:
    """Print how far the figures move from seed to seed."""
    runs = [figures(seed) for seed in range(seeds)]
    for name in runs[0]:
        found = sorted(one[name] for one in runs)
        middle = found[len(found) // 2]
        apart = (found[-1] - found[0]) / middle
        print(
            f"{name:28} {found[0]:.3g} to {found[-1]:.3g}, middle {middle:.3g}, apart {100.0 * apart:.0f} %"
        )


def main() -> None:
    """Make them."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--seeds", type=int, default=0)
    parser.add_argument("--into", type=Path, default=HERE)
    given = parser.parse_args()
    names = ("handlap", "numpy", "scipy", "numba", "matplotlib")
    print(
        f"Python {platform.python_version()},",
        ", ".join(f"{name} {importlib.metadata.version(name)}" for name in names),
    )
    if given.seeds:
        spread(given.seeds)
        return
    given.into.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        for command in dict.fromkeys(command for command, _ in SHOWN.values()):
            print(f"handlap {command}", file=sys.stderr)
            run(*command.split(), "--out", str(out))
        made = {name: reduced(Image.open(out / file)) for name, (_, file) in SHOWN.items()}
        made |= {name: first_page(*sheet, out) for name, sheet in SHEETS.items()}
        if missing():
            print(f"the page to play with is left as it was: {missing()}")
        else:
            made["head-play-page"] = play_page(out)
            made["head-knob-page"] = knob_page(out)
    for name, data in made.items():
        (given.into / f"{name}.png").write_bytes(data)
        print(f"{name}.png: {len(data) / 1000:.0f} kB")
    for name, value in figures(0).items():
        print(f"{name:28} {value:.3g}")


if __name__ == "__main__":
    main()

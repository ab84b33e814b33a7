"""How long the edit page takes from an edit until its values stand redrawn.

    python tests/benchmarks/page_latency.py [--edits 200] [--picture FILE.png]

A headless browser types wraps into the table, then drags an end; the page itself notes
the time from the event to the first paint with the new values. Also prints what the
server needs of it.
"""

import argparse
import json
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from model import Design, design_to_text
from optimiser.chosen import choose
from optimiser.desk import Desk
from tests.pages.browser import a_browser, browser_path
from tests.pages.desks import DESIGN, SPEC
from tests.unit.shown_shafts import long_design

ROOT = Path(__file__).parents[2]
SHOWN = "#metrics td[data-metric]"


def line(name, times):
    """One row of the table, in milliseconds."""
    q = np.percentile(times, [50, 95, 100])
    print(f"{name:<34} {len(times):5d} {q[0]:8.1f} {q[1]:8.1f} {q[2]:8.1f}")


def noted(page):
    text = page.evaluate(
        "JSON.stringify(performance.getEntriesByName('edit to redraw')"
        ".map((entry) => entry.duration))"
    )
    page.evaluate("performance.clearMeasures('edit to redraw')")
    return json.loads(text)


def typed(page, edits):
    """Wraps of a flag in the middle, back and forth, each waited for."""
    cell = page.locator('#flags tbody tr:nth-child(4) [data-cell="5"]')
    first = float(cell.input_value())
    for i in range(edits):
        cell.fill(f"{first + 0.05 * (1 + i % 7):.2f}")
        cell.press("Enter")
        page.wait_for_timeout(120)
    cell.fill(f"{first:g}")
    cell.press("Enter")
    page.wait_for_timeout(400)
    return noted(page)[:edits]


def dragged(page, edits, handle):
    page.evaluate("scrollTo(0, 0)")
    box = page.locator(f'[data-end="{handle}"]').bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for i in range(edits):
        page.mouse.move(x - 2.0 * (1 + i % 40), y)
        page.wait_for_timeout(16)
    page.mouse.up()
    page.wait_for_timeout(400)
    return noted(page)


def served_times(desk, edits):
    data = desk.opened(None, None)["design"]
    measured, told = [], []
    for i in range(edits):
        data["flag"][3]["wraps"] = 2.0 + 0.05 * (i % 7)
        begun = time.perf_counter()
        desk.measured(data)
        measured.append(1e3 * (time.perf_counter() - begun))
        if i % 4 == 0:
            begun = time.perf_counter()
            desk.explained(data)
            told.append(1e3 * (time.perf_counter() - begun))
    return measured, told


def file_of(design, folder):
    """Design file, and the spec that goes with it."""
    path = folder / "design.toml"
    if isinstance(design, Design):
        path.write_text(design_to_text(design), encoding="utf-8")
        return path, None
    shutil.copy(design, path)
    return path, SPEC


def desk_of(path, spec):
    desk = Desk.of(choose(path, spec=spec))
    desk.warm_up()
    return desk


@contextmanager
def opened(path, spec):
    """Address of the page, served by a process of its own as people have it."""
    words = [sys.executable, "-m", "optimiser.cli", "open", str(path), "--no-browser"]
    words += ["--spec", str(spec)] if spec else []
    with subprocess.Popen(
        words, cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process.stdout.readline().split()[0]
        finally:
            process.terminate()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--edits", type=int, default=200)
    parser.add_argument("--picture", type=Path, help="PNG of the page as it opens")
    options = parser.parse_args()
    if browser_path() is None:
        raise SystemExit("no browser was found")
    print(f"{platform.machine()}, Python {platform.python_version()}, times in ms")
    print(f"{'':<34} {'n':>5} {'median':>8} {'95 %':>8} {'most':>8}")
    cases = (
        ("7 flags, with a spec", DESIGN, "4 start"),
        ("14 flags", long_design(), "4 end"),
    )
    with a_browser() as browser:
        for name, design, handle in cases:
            with tempfile.TemporaryDirectory() as folder:
                path, spec = file_of(design, Path(folder))
                measured, told = served_times(desk_of(path, spec), options.edits)
                with opened(path, spec) as address:
                    page = browser.new_page(viewport={"width": 1500, "height": 1000})
                    page.goto(address)
                    page.wait_for_selector(SHOWN)
                    page.wait_for_selector("#shares tbody")
                    if options.picture and design is DESIGN:
                        page.wait_for_timeout(300)
                        page.screenshot(path=options.picture)
                    noted(page)
                    line(f"typed edit, {name}", typed(page, options.edits))
                    line(f"drag, {name}", dragged(page, options.edits, handle))
                    page.close()
                line(f"  evaluation alone, {name}", measured)
                line(f"  shares and changes, {name}", told)


if __name__ == "__main__":
    main()

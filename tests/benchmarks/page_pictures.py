"""Renew the pictures of the pages in the README.

    python tests/benchmarks/page_pictures.py RUN [--out results/pictures]

A headless browser opens the review page of the run with a band on cost and its picks
pinned, and the edit page with the design of the scenarios, and takes four pictures.
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from optimiser.review import suggest
from optimiser.review_page import write_review
from optimiser.store import open_run
from tests.pages.browser import a_browser
from tests.pages.desks import a_desk, served

PICTURES = Path(__file__).parents[2] / "results" / "pictures"
DEAREST = "16"  # band on cost that is shown


def of_review(browser, run, out):
    picks = {
        pick.title: pick.design_id
        for pick in suggest(run.front, run.spec, run.library.currency)
    }
    with tempfile.TemporaryDirectory() as folder:
        path = write_review(Path(folder), run)[0]
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready=yes]")
        page.get_by_label("Material cost [USD], highest").fill(DEAREST)
        page.get_by_label("Material cost [USD], highest").press("Enter")
        page.evaluate("document.activeElement.blur()")
        page.wait_for_timeout(1_000)
        page.screenshot(path=out / "review.png")
        for identity in dict.fromkeys(picks.values()):
            pin = page.locator("#picks").get_by_role("button", name=f"Pin {identity}")
            if page.locator(".pin").count() == 4 or not pin.count():
                continue
            if pin.get_attribute("aria-pressed") == "false":
                pin.click()
        page.locator("#pinned").evaluate("el => el.scrollIntoView()")
        page.mouse.move(5, 5)
        page.wait_for_timeout(6_000)  # until nothing is said any more
        page.screenshot(path=out / "pinned.png")
        page.locator("#told summary").first.click()
        page.wait_for_timeout(500)
        page.locator("#told details").first.screenshot(path=out / "explained.png")
        page.close()


def of_desk(browser, out):
    with tempfile.TemporaryDirectory() as folder:
        desk = a_desk(Path(folder), "design.toml")
        with served(desk) as port:
            page = browser.new_page(viewport={"width": 1500, "height": 1000})
            page.goto(f"http://127.0.0.1:{port}/")
            page.wait_for_selector("#metrics td[data-metric]")
            page.wait_for_selector("#shares tbody")
            page.wait_for_timeout(500)
            page.screenshot(path=out / "edit_page.png")
            page.close()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("run", type=Path)
    parser.add_argument("--out", type=Path, default=PICTURES)
    asked = parser.parse_args()
    with a_browser() as browser:
        of_review(browser, open_run(asked.run), asked.out)
        of_desk(browser, asked.out)


if __name__ == "__main__":
    main()

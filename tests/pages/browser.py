"""A headless browser for tests of pages; none is fetched, one that is there is used."""

import shutil
from contextlib import contextmanager

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
#: So that the browser itself asks nothing of the network.
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def browser_path():
    return next(filter(None, map(shutil.which, NAMES)), None)


def need_browser():
    pytest.importorskip("playwright", reason="playwright is not installed")
    if browser_path() is None:
        pytest.skip(f"no browser was found (looked for {', '.join(NAMES)})")


@contextmanager
def a_browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(
            executable_path=browser_path(), args=list(QUIET)
        )
        try:
            yield browser
        finally:
            browser.close()

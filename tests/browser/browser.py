"""A browser that is already on this computer, driven without a window and without a network."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "microsoft-edge", "msedge")
NO_BROWSER = (
    "No Chromium, Chrome or Edge is on the PATH, so the page was not opened. "
    "Install one (on Debian or Ubuntu: apt-get install chromium) and run the tests again."
)
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def find_browser() -> str | None:
    """Find a browser on the PATH."""
    return next((found for found in map(shutil.which, NAMES) if found), None)


@contextmanager
def open_browser(program: str) -> Iterator[Browser]:
    """Start the browser, and end it afterwards."""
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=program, args=QUIET)
        try:
            yield started
        finally:
            started.close()

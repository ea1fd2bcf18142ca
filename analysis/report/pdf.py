"""The page as a PDF, printed by a browser that is already on this computer."""

from __future__ import annotations

import os
import shutil
import subprocess  # nosec B404 # started below without a shell
import tempfile
from pathlib import Path

FILE = "quarterly_report.pdf"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "microsoft-edge", "msedge")
USUAL_PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "{PROGRAMFILES}/Google/Chrome/Application/chrome.exe",
    "{PROGRAMFILES(X86)}/Google/Chrome/Application/chrome.exe",
    "{PROGRAMFILES(X86)}/Microsoft/Edge/Application/msedge.exe",
    "{PROGRAMFILES}/Microsoft/Edge/Application/msedge.exe",
)
BY_HAND = "For a PDF, open the page in any browser and choose Print, then Save as PDF, on A4."
LONGEST_SECONDS = 90
SETTLE_MILLISECONDS = 10_000
"""How long the page's own clock may run until its charts are drawn; it runs ahead of ours."""


def find_browser() -> str | None:
    """Find Chromium, Chrome or Edge on the PATH or where they usually stand.

    Returns
    -------
    str or None
        The program, or None where there is none.
    """
    on_path = [found for found in map(shutil.which, NAMES) if found]
    places = [_filled(place) for place in USUAL_PLACES]
    return next((each for each in (*on_path, *places) if each and Path(each).is_file()), None)


def _filled(place: str) -> str:
    """Put in the folder a place begins with; empty where this computer has none."""
    start, closed, rest = place.removeprefix("{").partition("}")
    if not closed:
        return place
    folder = os.environ.get(start, "")
    return folder + rest if folder else ""


def print_page(page: Path, browser: str | None) -> Path | None:
    """Print the report's page to a PDF beside it.

    Parameters
    ----------
    page : Path
    browser : str or None
        As ``find_browser`` gives it.

    Returns
    -------
    Path or None
        None where there is no browser or it printed nothing; an older PDF
        is taken away then, for it would tell another report.

    Notes
    -----
    The browser gets an empty profile that is thrown away, no window and no
    network. A PDF carries the time it was printed, so it is not the same
    bytes twice.
    """
    made = page.with_name(FILE)
    made.unlink(missing_ok=True)
    if browser is None:
        return None
    # The profile may still be written to while the browser's last process ends.
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        try:
            subprocess.run(  # noqa: S603 # nosec B603 # a browser found here, a page made here
                _command(browser, page, made, profile), capture_output=True, timeout=LONGEST_SECONDS, check=True
            )
        except (OSError, subprocess.SubprocessError):
            made.unlink(missing_ok=True)
    return made if made.exists() else None


def _command(browser: str, page: Path, made: Path, profile: str) -> list[str]:
    """Say what the browser is started with."""
    as_root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return [
        browser,
        "--headless",
        *as_root,
        "--disable-gpu",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        f"--user-data-dir={profile}",
        f"--virtual-time-budget={SETTLE_MILLISECONDS}",
        "--no-pdf-header-footer",
        f"--print-to-pdf={made.resolve()}",
        page.resolve().as_uri(),
    ]

"""Take the pictures README.md shows, of the demo clinic's report and of one notebook.

Run ``make demo`` first, then ``python -m tests.browser.pictures``.
"""

import os
import secrets
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser

from tests.browser.browser import NO_BROWSER, find_browser, open_browser

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "shared" / "pictures"
NOTEBOOK = "4_when_to_call_back.ipynb"
PORT = 8931
LARGEST_BYTES = 250_000


def take_all() -> None:
    """Take every picture."""
    program = find_browser()
    if program is None:
        raise SystemExit(NO_BROWSER)
    reports = sorted((ROOT / "demo_clinic" / "reports").glob("*/quarterly_report.html"))
    if not reports:
        raise SystemExit("The demo clinic's report is not there. Make it with: make demo")
    PICTURES.mkdir(exist_ok=True)
    with open_browser(program) as browser:
        _report(browser, reports[-1], "report_desktop.png", width=1000, height=1150)
        _report(
            browser,
            reports[-1],
            "report_phone.png",
            width=390,
            height=1000,
            section="#when-should-people-be-called-back",
        )
        with _lab() as address:
            _notebook(browser, address)
    for path in PICTURES.glob("*.png"):
        if path.stat().st_size > LARGEST_BYTES:
            raise SystemExit(f"{path.name} is larger than {LARGEST_BYTES:,} bytes.")


def _report(browser: Browser, file: Path, name: str, *, width: int, height: int, section: str = "body") -> None:
    """Take one picture of the page as it opens, or from a section on."""
    page = browser.new_page(viewport={"width": width, "height": height}, device_scale_factor=1)
    page.goto(file.as_uri())
    page.locator(".chart:not(:has(.xy))").first.wait_for(state="detached")
    page.evaluate(f"document.querySelector('{section}').scrollIntoView({{behavior: 'instant'}})")
    page.wait_for_timeout(300)
    page.screenshot(path=PICTURES / name)
    page.close()


@contextmanager
def _lab() -> Iterator[str]:
    """Serve the notebooks on this computer only, and stop afterwards."""
    token = secrets.token_hex(16)
    with tempfile.TemporaryDirectory() as own:
        words = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1", f"--port={PORT}"]
        words += [f"--ServerApp.root_dir={ROOT}", f"--IdentityProvider.token={token}"]
        places = dict.fromkeys(("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR"), own)
        quiet = Path(own) / "lab" / "user-settings" / "@jupyterlab" / "apputils-extension"
        quiet.mkdir(parents=True)
        (quiet / "notification.jupyterlab-settings").write_text('{"fetchNews": "false", "checkForUpdates": false}')
        server = subprocess.Popen(words, env=os.environ | places, stderr=subprocess.DEVNULL)
        try:
            _wait_for(f"http://127.0.0.1:{PORT}/api?token={token}")
            yield f"http://127.0.0.1:{PORT}/lab/tree/notebooks/{NOTEBOOK}?token={token}"
        finally:
            server.terminate()
            server.wait()


def _wait_for(address: str) -> None:
    """Wait until the server answers."""
    for _ in range(120):
        try:
            with urllib.request.urlopen(address, timeout=2):  # noqa: S310 (this computer's own)
                return
        except urllib.error.URLError:
            time.sleep(0.5)
    raise SystemExit("JupyterLab did not start.")


def _notebook(browser: Browser, address: str) -> None:
    """Take the picture of a notebook as it opens."""
    page = browser.new_page(viewport={"width": 1200, "height": 1150})
    page.goto(address)
    page.locator(".jp-Notebook .js-plotly-plot .xy").first.wait_for(timeout=120_000)
    page.wait_for_timeout(1500)
    page.screenshot(path=PICTURES / "notebook.png")
    page.close()


if __name__ == "__main__":
    take_all()

"""The short form of ``python -m tests.fuzz_intake``: sixty spoilt exports, the same each time."""

import subprocess
import sys
from pathlib import Path

RUNS = 60


def test_spoilt_exports_lose_nothing_leak_nothing_and_raise_nothing():
    told = subprocess.run(
        [sys.executable, "-m", "tests.fuzz_intake", "--runs", f"{RUNS}", "--together", f"{RUNS}"],
        cwd=Path(__file__).parents[3], capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert told.returncode == 0, told.stdout + told.stderr
    assert f"{RUNS} runs" in told.stdout
    assert "went wrong: 0" in told.stdout

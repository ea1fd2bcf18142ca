"""Which step a long command is at, on the screen's error stream."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

from analysis.problems import printable

Progress = Callable[[str], None]
"""Called with a step's name as the step begins."""


class ShownProgress:
    """Name each step as it begins, and its seconds once the next one does.

    Parameters
    ----------
    stream : text stream, optional
        Where to write; the error stream by default, so that piping is clean.
    clock : callable, optional
        Seconds from any start; handed in by tests.
    """

    def __init__(self, stream: TextIO | None = None, clock: Callable[[], float] = time.perf_counter) -> None:
        self.stream = stream or sys.stderr
        self.clock = clock
        self.begun: float | None = None

    def __call__(self, step: str) -> None:
        """Begin a step."""
        self.finish()
        self.stream.write(f"  {printable(step)} ... ")
        self.stream.flush()
        self.begun = self.clock()

    def finish(self) -> None:
        """End the step at hand."""
        if self.begun is not None:
            self.stream.write(f"{self.clock() - self.begun:.1f} s\n")
            self.begun = None


def silent(step: str) -> None:
    """Show nothing: what ``--quiet`` hands in."""

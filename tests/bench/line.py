"""A line of the table of `make bench`: what something takes, and what it takes beside it."""

from __future__ import annotations

from dataclasses import dataclass

HEADINGS = ("part", "rows", "seconds", "peak GiB", "beside it", "its seconds", "ratio", "figures apart")


@dataclass(frozen=True)
class Line:
    """One part at one size; ``beside`` was timed in the same run."""

    part: str
    rows: int
    seconds: float
    peak_gigabytes: float | None = None
    beside: str = ""
    beside_seconds: float | None = None
    apart: float | None = None

    @property
    def ratio(self) -> str:
        """Say how many times faster or slower the part is than what stands beside it."""
        if self.beside_seconds is None:
            return ""
        faster = self.beside_seconds / self.seconds
        return f"{faster:,.0f} times faster" if faster > 1 else f"{1 / faster:.1f} times as long"

    def __str__(self) -> str:
        """Give the line as the table has it."""
        cells = [
            self.part,
            f"{self.rows:,}",
            f"{self.seconds:.3g}" if self.seconds < 1 else f"{self.seconds:.1f}",
            "" if self.peak_gigabytes is None else f"{self.peak_gigabytes:.1f}",
            self.beside,
            "" if self.beside_seconds is None else f"{self.beside_seconds:.1f}",
            self.ratio,
            "" if self.apart is None else f"{self.apart:.0e}",
        ]
        return "| " + " | ".join(cells) + " |"

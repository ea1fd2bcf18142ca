"""Timing our way beside another that must find the same figures."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable

import numpy as np

from tests.bench.line import Line

REPEATS = 3
"""Runs of ours, of which the best counts; the other way is run once."""


def compared(what: str, rows: int, works: tuple[Callable, Callable], given: object, beside: str) -> Line:
    """Time both ways to the same figures."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the libraries' own, of links and steps; figures are compared
        mine, found = min((_took(works[0], given) for _ in range(REPEATS)), key=lambda each: each[0])
        theirs, other = _took(works[1], given)
    apart = float(np.max(np.abs(found - other) / np.maximum(np.abs(other), 1.0)))
    return Line(what, rows, mine, beside=beside, beside_seconds=theirs, apart=apart)


def _took(work: Callable[..., np.ndarray], given: object) -> tuple[float, np.ndarray]:
    """Give seconds and the figures found."""
    begun = time.perf_counter()
    found = work(given)
    return time.perf_counter() - begun, found

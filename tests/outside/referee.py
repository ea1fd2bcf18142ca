"""Comparisons with figures from outside, held as ``pytest.approx`` holds them and remembered for the page of them all.

``python -m tests.how_we_know`` writes ``shared/how_we_know.md`` from what is remembered.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

RELATIVE, ABSOLUTE = 1e-6, 1e-12
"""What ``pytest.approx`` allows where nothing is said."""


@dataclass(frozen=True)
class Comparison:
    """The worst of the numbers compared at once: how many, the figure from outside, ours, and how far apart they may be."""

    test: str
    numbers: int
    published: float
    ours: float
    allowed: float

    @property
    def apart(self) -> float:
        """How far apart both are."""
        return abs(self.ours - self.published) if self.ours != self.published else 0.0


REMEMBERED: list[Comparison] = []


class approx:  # stands where pytest.approx would
    """Compare as ``pytest.approx`` does, and remember.

    Parameters
    ----------
    published : number, sequence, array or mapping
        What stands outside.
    rel, abs : float, optional
        Tolerances.
    """

    __array_ufunc__ = None
    __array_priority__ = 100
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, published: Any, rel: float | None = None, abs: float | None = None) -> None:
        self.published, self.rel, self.abs = published, rel, abs
        self.inner = pytest.approx(published, rel=rel, abs=abs)

    def __eq__(self, ours: object) -> bool:
        remember(ours, self.published, _allowed(self.published, self.rel, self.abs))
        return bool(ours == self.inner)

    def __ne__(self, ours: object) -> bool:
        return not self == ours

    def __repr__(self) -> str:
        return repr(self.inner)


def all_close(ours: Any, published: Any, *, rtol: float = 1e-7, atol: float = 0.0) -> None:
    """Compare arrays as ``numpy.testing.assert_allclose`` does, and remember."""
    remember(ours, published, atol + rtol * np.abs(_numbers(published)))
    np.testing.assert_allclose(ours, published, rtol=rtol, atol=atol)


def as_printed(ours: float, printed: float, digits: int = 0) -> bool:
    """Tell whether a number rounds to what is printed, and remember."""
    remember(ours, printed, 0.5 * 10.0**-digits)
    return round(ours, digits) == printed


def remember(ours: Any, published: Any, allowed: Any) -> None:
    """Remember a comparison by the numbers furthest apart, for what they may be."""
    here, there = _numbers(ours), _numbers(published)
    if here.shape != there.shape:
        here = np.broadcast_to(here, there.shape) if here.size == 1 else here
    if here.shape != there.shape or not here.size:
        return  # what is compared has another shape, and the comparison fails by itself
    bounds = np.broadcast_to(np.asarray(allowed, dtype=float).ravel(), there.shape)
    apart = np.nan_to_num(np.abs(here - there)) / np.where(bounds > 0, bounds, 1.0)
    worst = int(np.argmax(apart))
    test = os.environ.get("PYTEST_CURRENT_TEST", "").split(" (")[0]
    REMEMBERED.append(Comparison(test, here.size, float(there[worst]), float(here[worst]), float(bounds[worst])))


def _numbers(values: Any) -> np.ndarray:
    """Lay numbers out in a row."""
    if isinstance(values, Mapping):
        values = [values[key] for key in sorted(values, key=str)]
    return np.asarray(values, dtype=float).ravel()


def _allowed(published: Any, rel: float | None, absolute: float | None) -> np.ndarray:
    """Say how far apart numbers may be, as ``pytest.approx`` reckons."""
    numbers = np.abs(_numbers(published))
    if rel is None and absolute is not None:
        return np.full(numbers.shape, absolute)
    return np.maximum((RELATIVE if rel is None else rel) * numbers, ABSOLUTE if absolute is None else absolute)

"""Where a line's name can stand on a chart without covering a line or another name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

NARROW_PIXELS, LETTER_PIXELS, LINE_PIXELS = 300.0, 7.6, 18.0
"""Room is reckoned for a phone and a wide typeface: what fits there fits elsewhere."""
CLEARANCE_PIXELS = 5.0
SAMPLES = 160
ANCHORS = (("right", 1.0), ("center", 0.5), ("left", 0.0))


@dataclass(frozen=True, slots=True)
class Place:
    """A name's place: the point of its line it hangs on, on which side of it, and its one or two lines."""

    index: int
    xanchor: str
    above: bool
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Box:
    """A rectangle in pixels; y grows upwards."""

    left: float
    right: float
    low: float
    high: float

    def holds(self, x: np.ndarray, y: np.ndarray) -> int:
        """Count the points inside."""
        return int(((x > self.left) & (x < self.right) & (y > self.low) & (y < self.high)).sum())

    def meets(self, other: _Box) -> bool:
        """Tell whether two rectangles overlap."""
        return self.left < other.right and other.left < self.right and self.low < other.high and other.low < self.high


def label_places(
    names: Sequence[str],
    x: Sequence[np.ndarray],
    y: Sequence[np.ndarray],
    *,
    height: float,
    lowest: float,
    highest: float,
    upright: float | None = None,
    level: float | None = None,
) -> list[Place]:
    """Find a free place for each line's name, near its right end where there is one.

    Parameters
    ----------
    names : sequence of str
    x, y : sequence of numpy.ndarray
        Each line's points; ``x`` rising, as numbers.
    height : float
        Pixels from ``lowest`` to ``highest`` on the vertical axis.
    lowest, highest : float
        What the vertical axis shows.
    upright, level : float, optional
        Where an upright and a level line are drawn, to be kept clear as well.

    Returns
    -------
    list of Place
        In the order of the names. Where no place is free, the one that covers least.

    Examples
    --------
    >>> months = np.arange(13.0)
    >>> rising, flat = months / 15, np.full(13, 0.2)
    >>> places = label_places(["rising", "flat"], [months, months], [rising, flat], height=300, lowest=0, highest=1)
    >>> [(place.index, place.above) for place in places]
    [(12, True), (12, True)]
    """
    first, last = min(each[0] for each in x), max(each[-1] for each in x)
    pixels_x = [(each - first) / max(last - first, 1e-12) * NARROW_PIXELS for each in x]
    pixels_y = [(each - lowest) / max(highest - lowest, 1e-12) * height for each in y]
    drawn = [_sampled(*line) for line in zip(pixels_x, pixels_y, strict=True)]
    if upright is not None:
        along = np.linspace(0.0, height, SAMPLES)
        drawn.append((np.full(SAMPLES, (upright - first) / max(last - first, 1e-12) * NARROW_PIXELS), along))
    if level is not None:
        along = np.linspace(0.0, NARROW_PIXELS, SAMPLES)
        drawn.append((along, np.full(SAMPLES, (level - lowest) / max(highest - lowest, 1e-12) * height)))
    taken: list[_Box] = []
    places = []
    for name, line_x, line_y in zip(names, pixels_x, pixels_y, strict=True):
        candidates = _candidates(name, line_x, line_y)
        place, box, _ = min(candidates, key=lambda each: each[2] + _covered(each[1], drawn, taken, height))
        taken.append(box)
        places.append(place)
    return places


def _sampled(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give many points along a line."""
    known = np.isfinite(y)
    along = np.linspace(0.0, NARROW_PIXELS, SAMPLES)
    along = along[(along >= x[known].min()) & (along <= x[known].max())] if known.any() else along[:0]
    return along, np.interp(along, x[known], y[known]) if known.any() else along


def _candidates(name: str, x: np.ndarray, y: np.ndarray) -> list[tuple[Place, _Box, float]]:
    """List places along a line with what each costs by itself: far from the right end, below, or in two lines."""
    found = []
    sides = [(anchor, share, above) for anchor, share in ANCHORS for above in (True, False)]
    for lines in dict.fromkeys([(name,), _halves(name)]):
        width, tall = LETTER_PIXELS * max(len(line) for line in lines) + 4, LINE_PIXELS * len(lines)
        for index in np.flatnonzero(np.isfinite(y)):
            for xanchor, share, above in sides:
                left = x[index] - share * width
                low = y[index] + CLEARANCE_PIXELS if above else y[index] - CLEARANCE_PIXELS - tall
                cost = (NARROW_PIXELS - x[index]) / NARROW_PIXELS + 0.1 * (not above) + 0.4 * (len(lines) - 1)
                box = _Box(left, left + width, low, low + tall)
                found.append((Place(int(index), xanchor, above, lines), box, float(cost)))
    return found


def _halves(name: str) -> tuple[str, ...]:
    """Break a name of several words into two lines of about one length."""
    words = name.split(" ")
    breaks = [(" ".join(words[:at]), " ".join(words[at:])) for at in range(1, len(words))]
    return min(breaks, key=lambda lines: max(len(line) for line in lines), default=(name,))


def _covered(box: _Box, drawn: list[tuple[np.ndarray, np.ndarray]], taken: list[_Box], height: float) -> float:
    """Say what a place would cover; leaving the chart counts most, then another name, then lines."""
    outside = box.left < -2 or box.right > NARROW_PIXELS + 2 or box.low < 0 or box.high > height + LINE_PIXELS
    names = sum(box.meets(other) for other in taken)
    return 1000.0 * outside + 100.0 * names + sum(box.holds(x, y) for x, y in drawn)

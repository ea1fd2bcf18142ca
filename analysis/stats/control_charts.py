"""Control charts: whether a figure has changed over time, or only swings as it always did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom, norm, poisson

SPREADS = 3.0
"""How many spreads from the centre the limits stand (Shewhart)."""
RUN_LENGTH = 8
"""So many points in a row on one side of the centre are a signal (Western Electric 1956, fourth rule)."""
FALSE_ALARM_EVERY = 152.73
"""Points between false alarms of both rules together (Champ and Woodall 1987, Technometrics 29, 393-399; from memory,
and met by simulation in the tests)."""
RANGE_TO_SPREAD = 1.128
"""Mean range of two normal values over their spread, d2; rounded as handbooks print it."""
RANGE_LIMIT = 3.267
"""Upper limit of the range of two values over its mean, D4; rounded as handbooks print it."""
TAIL = float(norm.sf(SPREADS))


@dataclass(frozen=True, eq=False)
class ControlChart:
    """Points in order of time with their centre and limits.

    Attributes
    ----------
    values, centre, low, high : numpy.ndarray, shape (n,)
        What was seen, and what it is judged by; a point that is not a number
        stands for a time without any.
    stretch : numpy.ndarray of int, shape (n,)
        Which points share a centre; it grows by one at each declared change.
    beyond : numpy.ndarray of bool, shape (n,)
        Points beyond a limit.
    run : numpy.ndarray of bool, shape (n,)
        Points that complete or extend a run on one side of the centre.
    """

    values: np.ndarray
    centre: np.ndarray
    low: np.ndarray
    high: np.ndarray
    stretch: np.ndarray
    beyond: np.ndarray
    run: np.ndarray

    @property
    def signals(self) -> np.ndarray:
        """Points at which either rule signals."""
        return self.beyond | self.run


def individuals_chart(values: np.ndarray, stretch: np.ndarray | None = None) -> ControlChart:
    """Chart single values by their moving ranges, the X part of an XmR chart.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        One value a point in time, such as a month's mean minutes.
    stretch : numpy.ndarray of int, shape (n,), optional
        Which points share a centre; without it, all.

    Returns
    -------
    ControlChart
        A stretch with fewer than two values has no limits.

    Notes
    -----
    Centre: the mean. Spread: the mean range of neighbours over 1.128.
    Neighbours are the values before and after, times without any passed over;
    ranges across a declared change are left out.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
    .. [2] Western Electric (1956), Statistical Quality Control Handbook: its
       first rule (a point beyond three spreads) and its fourth (eight in a row
       on one side). The second and third are left out: with shares and counts
       they raise too many false alarms.

    Examples
    --------
    >>> chart = individuals_chart(np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]))
    >>> f"{chart.centre[0]:.2f} {chart.low[0]:.2f} {chart.high[0]:.2f}", chart.signals.any().item()
    ('50.81 45.82 55.80', False)
    """
    values = np.asarray(values, dtype=float)
    stretch = _stretch(values, stretch)
    centre, spread = np.full(len(values), np.nan), np.full(len(values), np.nan)
    for here in _stretches(stretch):
        known = values[here & ~np.isnan(values)]
        if len(known) > 1:
            centre[here] = known.mean()
            spread[here] = np.abs(np.diff(known)).mean() / RANGE_TO_SPREAD
    return _judged(values, centre, centre - SPREADS * spread, centre + SPREADS * spread, stretch)


def moving_range_chart(values: np.ndarray, stretch: np.ndarray | None = None) -> ControlChart:
    """Chart the ranges of neighbouring values, the mR part of an XmR chart.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        The values themselves, as ``individuals_chart`` takes them.
    stretch : numpy.ndarray of int, shape (n,), optional
        Which points share a centre.

    Returns
    -------
    ControlChart
        Of ranges; the first point of a stretch has none. Runs are not looked
        for: neighbouring ranges share a value, so they go together.

    Examples
    --------
    >>> chart = moving_range_chart(np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]))
    >>> f"{chart.centre[1]:.4f} {chart.high[1]:.4f}"
    '1.8778 6.1347'
    """
    values = np.asarray(values, dtype=float)
    stretch = _stretch(values, stretch)
    ranges, centre = np.full(len(values), np.nan), np.full(len(values), np.nan)
    for here in _stretches(stretch):
        known = np.flatnonzero(here & ~np.isnan(values))
        if len(known) > 1:
            ranges[known[1:]] = np.abs(np.diff(values[known]))
            centre[here] = np.nanmean(ranges[known[1:]])
    return _judged(ranges, centre, np.zeros(len(values)), RANGE_LIMIT * centre, stretch, runs=False)


def share_chart(
    counts: np.ndarray,
    of: np.ndarray,
    stretch: np.ndarray | None = None,
    *,
    together: bool = False,
    rare: bool = False,
) -> ControlChart:
    """Chart shares of changing totals: a p chart.

    Parameters
    ----------
    counts, of : numpy.ndarray, shape (n,)
        How many of how many at each point; a total of nought is a time without any.
    stretch : numpy.ndarray of int, shape (n,), optional
        Which points share a centre; without it, all.
    together : bool, optional
        True where what is counted goes together, such as two ears of a patient
        or the starts of one morning: limits are then widened to the swing
        actually seen from point to point, never narrowed [2]_.
    rare : bool, optional
        True sets the limits at the binomial tails three spreads would leave of
        a normal (0.135% each side), for counts too small for three spreads.

    Returns
    -------
    ControlChart

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2.
    .. [2] Laney (2002), Quality Engineering 14(4), 531-537 (the p' chart).

    Examples
    --------
    >>> chart = share_chart(np.array([12, 8, 25]), np.array([50, 50, 50]))
    >>> f"{chart.centre[0]:.3f} {chart.high[0]:.3f}", chart.beyond.tolist()
    ('0.300 0.494', [False, False, True])
    """
    counts, of = np.asarray(counts, dtype=float), np.asarray(of, dtype=float)
    values = np.divide(counts, of, out=np.full(len(of), np.nan), where=of > 0)
    stretch = _stretch(values, stretch)
    centre = _pooled(counts, of, stretch)
    if rare:
        low, high = (edge / np.where(of > 0, of, np.nan) for edge in _binomial_edges(centre, of))
        return _judged(values, centre, low, high, stretch)
    spread = np.sqrt(centre * (1 - centre) / np.where(of > 0, of, np.nan))
    half = SPREADS * spread * (_swing(values, centre, spread, stretch) if together else 1.0)
    return _judged(values, centre, np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0), stretch)


def rate_chart(
    counts: np.ndarray, of: np.ndarray, stretch: np.ndarray | None = None, *, rare: bool = False
) -> ControlChart:
    """Chart events for each unit of opportunity: a u chart.

    Parameters
    ----------
    counts, of : numpy.ndarray, shape (n,)
        Events, and how much they could happen in, at each point; nought is a time without any.
    stretch : numpy.ndarray of int, shape (n,), optional
        Which points share a centre; without it, all.
    rare : bool, optional
        True sets the limits at the Poisson tails of 0.135% each side.

    Returns
    -------
    ControlChart

    References
    ----------
    .. [1] Montgomery, Introduction to Statistical Quality Control, the chapter
       on charts for attributes; worked examples as kept in R's package qcc.

    Examples
    --------
    >>> chart = rate_chart(np.array([10, 12, 8, 14]), np.array([5, 5, 5, 5]))
    >>> f"{chart.centre[0]:.2f} {chart.low[0]:.2f} {chart.high[0]:.2f}"
    '2.20 0.21 4.19'
    """
    counts, of = np.asarray(counts, dtype=float), np.asarray(of, dtype=float)
    of = np.where(of > 0, of, np.nan)
    values, stretch = counts / of, _stretch(counts, stretch)
    centre = _pooled(counts, np.nan_to_num(of), stretch)
    if rare:
        low, high = (edge / of for edge in _poisson_edges(centre * of))
    else:
        half = SPREADS * np.sqrt(centre / of)
        low, high = np.maximum(centre - half, 0.0), centre + half
    return _judged(values, centre, low, high, stretch)


def runs_on_one_side(above: np.ndarray, stretch: np.ndarray) -> np.ndarray:
    """Mark the points that complete or extend a run of eight on one side of the centre.

    Parameters
    ----------
    above : numpy.ndarray, shape (n,)
        How far each point lies above the centre; not a number at a time without any.
    stretch : numpy.ndarray of int, shape (n,)
        A run ends with its stretch.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        A point on the centre ends a run; a time without any does not.

    Examples
    --------
    >>> runs_on_one_side(np.array([1.0, 2, 1, np.nan, 3, 1, 2, 1, 1, -1]), np.zeros(10, dtype=int)).tolist()
    [False, False, False, False, False, False, False, False, True, False]
    """
    marks = np.zeros(len(above), dtype=bool)
    known = np.flatnonzero(~np.isnan(above))
    side, part = np.sign(above[known]), np.asarray(stretch)[known]
    begins = np.ones(len(known), dtype=bool)
    begins[1:] = (side[1:] != side[:-1]) | (part[1:] != part[:-1])
    place = np.arange(len(known))
    length = place - np.maximum.accumulate(np.where(begins, place, 0)) + 1
    marks[known] = (length >= RUN_LENGTH) & (side != 0)
    return marks


def _stretch(values: np.ndarray, stretch: np.ndarray | None) -> np.ndarray:
    """Take all points together where no change was declared."""
    return np.zeros(len(values), dtype=int) if stretch is None else np.asarray(stretch, dtype=int)


def _stretches(stretch: np.ndarray) -> list[np.ndarray]:
    """Mark the points of each stretch."""
    return [stretch == each for each in np.unique(stretch)]


def _pooled(counts: np.ndarray, of: np.ndarray, stretch: np.ndarray) -> np.ndarray:
    """Give each point the share or rate of its whole stretch."""
    centre = np.full(len(counts), np.nan)
    for here in _stretches(stretch):
        if of[here].sum() > 0:
            centre[here] = counts[here & (of > 0)].sum() / of[here].sum()
    return centre


def _swing(values: np.ndarray, centre: np.ndarray, spread: np.ndarray, stretch: np.ndarray) -> np.ndarray:
    """Say how many times as wide as by counting alone the points of a stretch swing; at least 1."""
    factor = np.ones(len(values))
    z = np.divide(values - centre, spread, out=np.full(len(values), np.nan), where=spread > 0)
    for here in _stretches(stretch):
        known = z[here & ~np.isnan(z)]
        if len(known) > 1:
            factor[here] = max(1.0, np.abs(np.diff(known)).mean() / RANGE_TO_SPREAD)
    return factor


def _binomial_edges(centre: np.ndarray, of: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the least and the most a count may be without a signal."""
    known = ~np.isnan(centre) & (of > 0)
    low, high = np.full(len(of), np.nan), np.full(len(of), np.nan)
    low[known] = binom.ppf(TAIL, of[known], centre[known])
    high[known] = binom.isf(TAIL, of[known], centre[known])
    return np.maximum(low, 0.0), high


def _poisson_edges(expected: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the least and the most a count may be without a signal."""
    known = ~np.isnan(expected)
    low, high = np.full(len(expected), np.nan), np.full(len(expected), np.nan)
    low[known], high[known] = poisson.ppf(TAIL, expected[known]), poisson.isf(TAIL, expected[known])
    return np.maximum(low, 0.0), high


def _judged(
    values: np.ndarray,
    centre: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    stretch: np.ndarray,
    *,
    runs: bool = True,
) -> ControlChart:
    """Apply both rules."""
    rounding = 1e-12 * np.maximum(np.abs(np.nan_to_num(centre)), 1.0)
    beyond = (values > high + rounding) | (values < low - rounding)
    above = np.where(np.abs(values - centre) <= rounding, 0.0, values - centre)
    run = runs_on_one_side(above, stretch) if runs else np.zeros(len(values), dtype=bool)
    return ControlChart(values, centre, low, high, stretch, beyond, run)

"""What is left over when more is needed than there is, and how long the last in line would wait."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

HALVED_TO, NOTHING = 0.0005, 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class WaitingList:
    """Each drawn future's waiting list.

    Attributes
    ----------
    left_over : numpy.ndarray, shape (futures, months)
        Work not done at each month's end, in the units of what is needed.
    wait_weeks : numpy.ndarray, shape (futures, months)
        Weeks that somebody asking at the month's end would wait.
    short : numpy.ndarray of bool, shape (futures, months)
        Whether the month alone needed more than there was.
    """

    left_over: np.ndarray
    wait_weeks: np.ndarray
    short: np.ndarray

    @property
    def short_by_then(self) -> np.ndarray:
        """Share of futures in which any month so far needed more than there was, shape (months,)."""
        return np.logical_or.accumulate(self.short, axis=1).mean(axis=0)


def waiting_list(needed: np.ndarray, there: np.ndarray, weeks: np.ndarray, waiting: float = 0.0) -> WaitingList:
    """Carry what could not be done in a month over into the next.

    Parameters
    ----------
    needed : numpy.ndarray, shape (futures, months)
        What each month's own visits need, such as half-day sessions.
    there : numpy.ndarray, shape (months,)
        What there is of it; above 0. What is not used in its month is lost.
    weeks : numpy.ndarray, shape (months,)
        Calendar weeks of each month.
    waiting : float, optional
        Work already waiting when the first month begins.

    Returns
    -------
    WaitingList

    Notes
    -----
    Lindley's recursion by months: what is left over is ``max(0, left over
    before + needed - there)``. Whoever asks at a month's end waits until
    that is done, at the pace of the month after (of the last month, after the
    last). Nobody is supposed to give up or to go elsewhere.

    References
    ----------
    .. [1] Lindley (1952), Proceedings of the Cambridge Philosophical Society 48, 277-289.

    Examples
    --------
    Ten sessions a month in four weeks; 12, 8 and 15 are needed.

    >>> line = waiting_list(np.array([[12.0, 8.0, 15.0]]), np.full(3, 10.0), np.full(3, 4.0))
    >>> line.left_over.tolist(), line.wait_weeks.tolist()
    ([[2.0, 0.0, 5.0]], [[0.8, 0.0, 2.0]])
    """
    left_over = np.empty(needed.shape)
    before = np.full(len(needed), float(waiting))
    for month, capacity in enumerate(there):
        before = np.maximum(before + needed[:, month] - capacity, 0.0)
        left_over[:, month] = before
    pace = there / weeks
    return WaitingList(left_over, left_over / np.append(pace[1:], pace[-1:]), needed > there)


def sessions_for_short_waits(
    needed: np.ndarray,
    there: np.ndarray,
    weeks: np.ndarray,
    *,
    waiting: float,
    longest_weeks: float,
    sure: float,
) -> float:
    """How many times what there is would keep every month's wait short.

    Parameters
    ----------
    needed : numpy.ndarray, shape (futures, months)
    there : numpy.ndarray, shape (months,)
    weeks : numpy.ndarray, shape (months,)
    waiting : float
        Work already waiting when the first month begins.
    longest_weeks : float
        The wait no month's end should pass.
    sure : float
        Share of futures in which none does, at least.

    Returns
    -------
    float
        A multiple of ``there``, to within one in a thousand; nought where nothing is needed.

    Notes
    -----
    More sessions never lengthen a wait, so the least multiple is found by halving.

    Examples
    --------
    >>> needed = np.full((10, 2), 12.0)
    >>> times = sessions_for_short_waits(
    ...     needed, np.full(2, 10.0), np.full(2, 4.0), waiting=0.0, longest_weeks=0.0, sure=0.9)
    >>> round(times, 2)
    1.2
    """

    def short(times: float) -> bool:
        line = waiting_list(needed, times * there, weeks, waiting)
        return bool((line.wait_weeks <= longest_weeks + 1e-9).all(axis=1).mean() >= sure)

    low, high = 0.0, float((needed.max() + waiting) / there.min())
    if high < NOTHING:
        return 0.0
    while high - low > HALVED_TO * high and high > NOTHING:
        middle = (low + high) / 2
        low, high = (low, middle) if short(middle) else (middle, high)
    return high

"""The share to whom it has happened, from times known only between limits, with no shape assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

STEPS = 5000
CLOSE = 1e-3
"""How much log-likelihood may at most be missing when the search stops."""
TINY = 1e-300


class NotAtRest(ArithmeticError):
    """The search for the likeliest curve ran out of steps."""


@dataclass(frozen=True, eq=False)
class Turnbull:
    """Curves that need no shape: chance lies on a few intervals, and nothing is known within them.

    Attributes
    ----------
    left, right : numpy.ndarray, shape (k,)
        The intervals: after ``left`` and by ``right``, which may be infinite.
    mass : numpy.ndarray, shape (curves, k)
        Share of those to whom it happens within each; rows sum to 1.
    log_likelihood, missing : numpy.ndarray, shape (curves,)
        What was reached, and how much more the likeliest curve could have at most.
    """

    left: np.ndarray
    right: np.ndarray
    mass: np.ndarray
    log_likelihood: np.ndarray
    missing: np.ndarray

    def share_by(self, times: np.ndarray) -> np.ndarray:
        """Share to whom it has happened by some times, a straight line within an interval; shape (curves, times).

        Not a number within an interval without end, where nothing is known but the share at its start.
        """
        times = np.asarray(times, dtype=float)
        ends = np.where(np.isfinite(self.right), self.right, self.left)
        knots = np.column_stack([self.left, ends]).ravel()
        reached = np.cumsum(self.mass, axis=1)
        heights = np.stack(
            [reached - self.mass, np.where(np.isfinite(self.right), reached, reached - self.mass)], axis=2
        )
        heights = heights.reshape(len(self.mass), -1)
        shares = np.array([np.interp(times, knots, each, left=0.0) for each in heights])
        unknown = np.isinf(self.right[-1]) & (times > self.left[-1])
        return np.where(unknown, np.nan, shares)


def turnbull(low: np.ndarray, high: np.ndarray, counts: np.ndarray | None = None, *, close: float = CLOSE) -> Turnbull:
    """Find the likeliest curve, whatever its shape, of exact, left-, right- and interval-censored times.

    Parameters
    ----------
    low, high : numpy.ndarray, shape (n,)
        It happened after ``low`` and by ``high``. ``low`` 0: at any time up to
        ``high``; ``high`` infinite: not yet by ``low``; alike: exactly then.
    counts : numpy.ndarray, shape (n,) or (curves, n), optional
        How many each row stands for; may be fractions. Several rows of counts
        give a curve each, as redrawn patients need. 1 without it.
    close : float, optional
        Log-likelihood that may at most be missing.

    Returns
    -------
    Turnbull

    Raises
    ------
    NotAtRest
        If 5,000 steps do not come as close.

    Notes
    -----
    Chance can lie only where a lower limit is followed directly by an upper
    one [1]_. Among these intervals the share is found by expectation and
    maximisation, with two steps of it stretched into a longer one where that
    does not lose likelihood [2]_. The likelihood has one maximum; how far it
    is off is bounded by the steepest direction left [3]_, and the search stops
    by this bound rather than because little moves.

    References
    ----------
    .. [1] Turnbull (1976), J. R. Stat. Soc. B 38, 290-295.
    .. [2] Varadhan and Roland (2008), Scand. J. Stat. 35, 335-353.
    .. [3] Gentleman and Geyer (1994), Biometrika 81, 618-623.

    Examples
    --------
    Of ten parts inspected at time 1, four had failed; of ten at time 2, seven.

    >>> low, high = np.array([0.0, 1.0, 0.0, 2.0]), np.array([1.0, np.inf, 2.0, np.inf])
    >>> curve = turnbull(low, high, np.array([4, 6, 7, 3]))
    >>> curve.share_by(np.array([1.0, 2.0])).round(3).tolist()
    [[0.4, 0.7]]
    """
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    counts = np.ones((1, len(low))) if counts is None else np.atleast_2d(np.asarray(counts, dtype=float))
    left, right, first, past = _innermost(low, high)
    search = _Search.of(first, past, len(left), counts)
    mass = search.run(close)
    value, gain = search.judged(mass)
    return Turnbull(left, right, mass, value, search.total * np.maximum(gain.max(axis=1) - 1, 0.0))


def _innermost(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, ...]:
    """List the intervals that can bear chance, and for each row the first it holds and the one past its last."""
    # at one time: an exact time begins, then intervals end, then others begin (they are open to the left)
    begins = np.stack([low, np.where(low == high, -1, 1)], axis=1)
    ends = np.stack([high, np.zeros(len(high))], axis=1)
    points, place = np.unique(np.concatenate([begins, ends]), axis=0, return_inverse=True)
    place = place.ravel()
    opening = points[:, 1] != 0
    at = np.flatnonzero(opening[:-1] & ~opening[1:])
    first = np.searchsorted(at, place[: len(low)])
    past = np.searchsorted(at + 1, place[len(low) :], side="right")
    return points[at, 0], points[at + 1, 0], first, past


@dataclass(frozen=True, eq=False)
class _Search:
    """Rows as turns of a running sum: each takes up at its first interval and lets go past its last."""

    turns: sparse.csr_array
    counts: np.ndarray
    total: np.ndarray

    @classmethod
    def of(cls, first: np.ndarray, past: np.ndarray, intervals: int, counts: np.ndarray) -> _Search:
        """Lay the rows out."""
        n, rows = len(first), np.arange(len(first))
        entries = np.concatenate([np.ones(n), -np.ones(n)])
        where = (np.concatenate([rows, rows]), np.concatenate([first, past]))
        turns = sparse.coo_array((entries, where), shape=(n, intervals + 1)).tocsr()
        return cls(turns, counts, counts.sum(axis=1))

    def judged(self, mass: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Give each curve's log-likelihood and what a little more chance on each interval would gain; 1 at rest."""
        running = np.concatenate([np.zeros((len(mass), 1)), np.cumsum(mass, axis=1)], axis=1)
        chance = np.maximum(-(self.turns @ running.T).T, TINY)
        gain = np.cumsum((self.turns.T @ (self.counts / chance).T).T, axis=1)[:, :-1]
        return (self.counts * np.log(chance)).sum(axis=1), gain / self.total[:, None]

    def run(self, close: float) -> np.ndarray:
        """Step until no curve can gain more than ``close``; curves at rest wait for the others."""
        mass = np.full((len(self.counts), self.turns.shape[1] - 1), 1.0 / (self.turns.shape[1] - 1))
        left = np.arange(len(mass))
        for _ in range(STEPS):
            moving = _Search(self.turns, self.counts[left], self.total[left])
            gain = moving.judged(mass[left])[1]
            still = moving.total * (gain.max(axis=1) - 1) >= close
            left = left[still]
            if not len(left):
                return mass
            mass[left] = _Search(self.turns, self.counts[left], self.total[left]).stepped(mass[left], gain[still])
        raise NotAtRest("The search for the likeliest curve does not come to rest.")

    def stepped(self, mass: np.ndarray, gain: np.ndarray) -> np.ndarray:
        """Take two steps, or the longer one they point to where it is the likelier."""
        one = mass * gain
        two = one * self.judged(one)[1]
        far = _stretched(mass, one, two)
        better = self.judged(far)[0] >= self.judged(two)[0]
        return np.where(better[:, None], far, two)


def _stretched(mass: np.ndarray, one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Go on the way two steps went, as far as their bend suggests; chance stays above nought and sums to 1."""
    r, bend = one - mass, two - 2 * one + mass
    lengths = [np.sqrt((each * each).sum(axis=1)) for each in (r, bend)]
    far = np.maximum(np.divide(lengths[0], lengths[1], out=np.ones(len(mass)), where=lengths[1] > 0), 1.0)[:, None]
    moved = np.maximum(mass + 2 * far * r + far * far * bend, two * 1e-3)
    return moved / moved.sum(axis=1, keepdims=True)

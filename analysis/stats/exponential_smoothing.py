"""Exponential smoothing: level, trend and season that follow a series, with ranges left to whoever uses them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

LEAST_SHARE, MOST_SHARE = 1e-4, 0.9999
LEAST_DAMPING, MOST_DAMPING = 0.80, 0.98
FIRST_POINTS, LATER_POINTS, ROUNDS = 8, 5, 8
"""The best smoothing shares are looked for on a coarse grid, then on ever finer ones around the best so far."""


@dataclass(frozen=True, slots=True)
class Form:
    """Which parts a smoothing model has, and how many periods its season lasts (0: none)."""

    trend: bool = False
    damped: bool = False
    season: int = 0

    @property
    def shares(self) -> int:
        """How many smoothing shares are to be found: level, trend, damping, season."""
        return 1 + self.trend + (self.trend and self.damped) + (self.season > 0)

    @property
    def states(self) -> int:
        """How many starting values are to be found; a season's add up to nought."""
        return 1 + self.trend + max(self.season - 1, 0)


@dataclass(frozen=True, eq=False)
class Smoothing:
    """Smoothing shares, one entry for each set tried.

    Attributes
    ----------
    level, trend, season : numpy.ndarray, shape (sets,)
        How far each part follows the latest miss: alpha, beta, gamma.
    damping : numpy.ndarray, shape (sets,)
        What is left of the trend after each period: phi; 1 for a lasting trend.
    """

    level: np.ndarray
    trend: np.ndarray
    season: np.ndarray
    damping: np.ndarray


@dataclass(frozen=True, eq=False)
class States:
    """Where a smoothing stands: level and trend, shape (sets, columns), and season, shape (sets, columns, periods).

    ``season[..., k]`` belongs to the periods whose number, counted from nought at the first value, leaves ``k``.
    """

    level: np.ndarray
    trend: np.ndarray
    season: np.ndarray


@dataclass(frozen=True, eq=False)
class Fitted:
    """A smoothing model fitted to one series.

    Attributes
    ----------
    form : Form
    shares : Smoothing
        One set.
    sum_of_squares : float
        Of the misses one step ahead.
    values : int
        How many values it was fitted to.
    start, end : States
        Before the first value and after the last.
    """

    form: Form
    shares: Smoothing
    sum_of_squares: float
    values: int
    start: States
    end: States

    @property
    def parameters(self) -> int:
        """Smoothing shares, starting values and the spread."""
        return self.form.shares + self.form.states + 1

    @property
    def log_likelihood(self) -> float:
        """Log-likelihood but for a constant that depends on the number of values only."""
        return -0.5 * self.values * float(np.log(max(self.sum_of_squares, 1e-12)))

    @property
    def corrected_aic(self) -> float:
        """Akaike's criterion corrected for few values; infinite where there are too few."""
        left = self.values - self.parameters - 1
        if left <= 0:
            return float("inf")
        k = self.parameters
        return 2 * k - 2 * self.log_likelihood + 2 * k * (k + 1) / left

    def forecast(self, steps: int) -> np.ndarray:
        """Give the next values expected, shape (steps,)."""
        return forecasts(self.shares, self.end, self.values, steps)[:, 0, 0]

    def spreads(self, steps: int) -> np.ndarray:
        """Give the standard deviation of the misses to expect so many steps ahead, shape (steps,)."""
        freedom = max(self.values - self.form.shares - self.form.states, 1)
        return np.sqrt(self.sum_of_squares / freedom * variance_growth(self.shares, self.form.season, steps)[0])


def smooth(values: np.ndarray, shares: Smoothing, start: States) -> tuple[np.ndarray, States]:
    """Follow series step by step.

    Parameters
    ----------
    values : numpy.ndarray, shape (n, columns)
        Series in columns; every set of shares follows every column.
    shares : Smoothing
    start : States
        States before the first value.

    Returns
    -------
    (numpy.ndarray, States)
        Misses one step ahead, shape (n, sets, columns), and the states after the last value.

    Notes
    -----
    With additive misses ``e = y - (l + phi b + s)``: the level moves by
    ``alpha e``, the trend by ``beta e``, the season by ``gamma e`` [1]_.

    References
    ----------
    .. [1] Hyndman, Koehler, Snyder and Grose (2002), International Journal of Forecasting 18, 439-454.

    Examples
    --------
    >>> half, none = np.array([0.5]), np.zeros(1)
    >>> start = States(np.array([[10.0]]), np.zeros((1, 1)), np.zeros((1, 1, 1)))
    >>> misses, end = smooth(np.array([[12.0], [11.0]]), Smoothing(half, none, none, none + 1), start)
    >>> misses.ravel().tolist(), end.level.item()
    ([2.0, 0.0], 11.0)
    """
    level, trend, season = start.level.copy(), start.trend.copy(), start.season.copy()
    alpha, beta, gamma, phi = (each[:, None] for each in (shares.level, shares.trend, shares.season, shares.damping))
    periods = season.shape[-1]
    misses = np.empty((len(values), *level.shape))
    for place, value in enumerate(values):
        now = place % periods
        moved = phi * trend
        expected = level + moved
        miss = value - expected - season[..., now]
        level = expected + alpha * miss
        trend = moved + beta * miss
        season[..., now] += gamma * miss
        misses[place] = miss
    return misses, States(level, trend, season)


def forecasts(shares: Smoothing, states: States, values: int, steps: int) -> np.ndarray:
    """Carry states forward: shape (steps, sets, columns).

    Parameters
    ----------
    shares : Smoothing
    states : States
        After the last value.
    values : int
        How many values there were.
    steps : int

    Returns
    -------
    numpy.ndarray
    """
    phi = shares.damping[:, None]
    periods = states.season.shape[-1]
    reached, ahead = np.zeros_like(phi), []
    for step in range(steps):
        reached = reached + phi ** (step + 1)
        ahead.append(states.level + reached * states.trend + states.season[..., (values + step) % periods])
    return np.array(ahead)


def variance_growth(shares: Smoothing, season: int, steps: int) -> np.ndarray:
    """Give how the variance of the misses grows with the steps ahead, 1 for one step.

    Parameters
    ----------
    shares : Smoothing
    season : int
        Periods in a season; 0 without one.
    steps : int

    Returns
    -------
    numpy.ndarray, shape (sets, steps)

    References
    ----------
    .. [1] Hyndman, Koehler, Ord and Snyder (2005), Journal of Forecasting 24, 17-37.

    Examples
    --------
    >>> one, none = np.array([0.5]), np.zeros(1)
    >>> variance_growth(Smoothing(one, none, none, none + 1), 0, 3).tolist()
    [[1.0, 1.25, 1.5]]
    """
    ahead = np.arange(1, steps)
    reached = np.cumsum(shares.damping[:, None] ** ahead, axis=1)
    again = (ahead % season == 0) if season else np.zeros(steps - 1)
    felt = shares.level[:, None] + shares.trend[:, None] * reached + shares.season[:, None] * again
    return 1 + np.concatenate([np.zeros((len(felt), 1)), np.cumsum(felt**2, axis=1)], axis=1)


def fit_form(values: np.ndarray, form: Form, *, rounds: int = ROUNDS) -> Fitted:
    """Fit one form of exponential smoothing by least squares.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        The series, oldest first, longer than the form's starting values.
    form : Form
    rounds : int, optional
        Grids searched, each twice as fine as the one before; 2 do for a trial of many fits.

    Returns
    -------
    Fitted

    Notes
    -----
    For given shares the misses are linear in the starting values, so those are
    solved for exactly; only the shares, four at most, are searched. With
    normal misses this is the likeliest fit.

    Examples
    --------
    >>> fit_form(np.array([5.0, 5.0, 5.0, 5.0]), Form()).forecast(2).round(6).tolist()
    [5.0, 5.0]
    """
    y = np.asarray(values, dtype=float)
    axes = _first_axes(form)
    steps = [axis[1] - axis[0] for axis in axes]
    for turn in range(rounds):
        sets = _sets(axes, form)
        starts, squares = _solved(y, sets, form)
        best = int(np.argmin(squares))
        if turn + 1 < rounds:
            axes, steps = _finer(sets, best, steps, form)
    one = Smoothing(*(each[best : best + 1] for each in (sets.level, sets.trend, sets.season, sets.damping)))
    start = _states(starts[best], form)
    misses, end = smooth(y[:, None], one, start)
    return Fitted(form, one, float(np.square(misses).sum()), len(y), start, end)


def fit_best(values: np.ndarray, period: int = 12, *, rounds: int = ROUNDS) -> Fitted:
    """Fit level, level with a damped trend and, from two whole seasons, level with season; keep the best.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        The series, oldest first, at least four values.
    period : int, optional
        Values in a season; 12 for months.
    rounds : int, optional
        As for ``fit_form``.

    Returns
    -------
    Fitted
        By Akaike's criterion corrected for few values.

    Examples
    --------
    >>> year = 100 + 30 * np.sin(np.arange(48) * np.pi / 6)
    >>> fit_best(year).forecast(3).round(3).tolist()
    [100.0, 115.0, 125.981]
    """
    forms = [Form(), Form(trend=True, damped=True), *([Form(season=period)] if len(values) >= 2 * period else [])]
    return min((fit_form(values, form, rounds=rounds) for form in forms), key=lambda fitted: fitted.corrected_aic)


def _first_axes(form: Form) -> list[np.ndarray]:
    """Give the coarse grid of each share to be found; trend and season as shares of what they may be at most."""
    share = np.linspace(LEAST_SHARE, MOST_SHARE, FIRST_POINTS)
    damping = np.linspace(LEAST_DAMPING, MOST_DAMPING, 3)
    return [
        share,
        *([share] if form.trend else []),
        *([damping] if form.trend and form.damped else []),
        *([share] if form.season else []),
    ]


def _sets(axes: list[np.ndarray], form: Form) -> Smoothing:
    """Combine the axes; a trend follows no more than the level does, a season no more than the level leaves."""
    points = np.array(list(product(*axes)))
    columns = iter(points.T)
    level = next(columns)
    trend = level * next(columns) if form.trend else np.zeros_like(level)
    damping = next(columns) if form.trend and form.damped else np.ones_like(level)
    season = (1 - level) * next(columns) if form.season else np.zeros_like(level)
    return Smoothing(level, trend, season, damping)


def _finer(sets: Smoothing, best: int, steps: list[float], form: Form) -> tuple[list[np.ndarray], list[float]]:
    """Lay a finer grid around the best set so far."""
    level = sets.level[best]
    at = [
        level,
        *([sets.trend[best] / level] if form.trend else []),
        *([sets.damping[best]] if form.trend and form.damped else []),
        *([sets.season[best] / (1 - level)] if form.season else []),
    ]
    damping = 2 if form.trend and form.damped else -1
    axes = []
    for place, (middle, step) in enumerate(zip(at, steps, strict=True)):
        least, most = (LEAST_DAMPING, MOST_DAMPING) if place == damping else (LEAST_SHARE, MOST_SHARE)
        axes.append(np.unique(np.clip(middle + step * np.linspace(-1, 1, LATER_POINTS), least, most)))
    return axes, [2 * step / (LATER_POINTS - 1) for step in steps]


def _solved(y: np.ndarray, sets: Smoothing, form: Form) -> tuple[np.ndarray, np.ndarray]:
    """Solve for each set's starting values and give the sum of squared misses left."""
    many, unknown = len(sets.level), form.states
    columns = np.zeros((len(y), 1 + unknown))
    columns[:, 0] = y
    units = _states(np.concatenate([np.zeros((1, unknown)), np.eye(unknown)]), form)
    start = States(*(np.repeat(each, many, axis=0) for each in (units.level, units.trend, units.season)))
    misses, _ = smooth(columns, sets, start)
    own, linear = misses[:, :, 0].T, -misses[:, :, 1:].transpose(1, 0, 2)
    gram = linear.transpose(0, 2, 1) @ linear
    # a start that has died out leaves nothing to solve for; the least of it keeps the system regular
    ridge = 1e-10 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(unknown)
    starts = np.linalg.solve(gram + ridge, linear.transpose(0, 2, 1) @ own[..., None])[..., 0]
    left = own - (linear @ starts[..., None])[..., 0]
    return starts, np.square(left).sum(axis=1)


def _states(starts: np.ndarray, form: Form) -> States:
    """Read starting values, shape (columns, states) or (states,), as the states of one set."""
    rows = np.atleast_2d(starts)
    trend = rows[:, 1] if form.trend else np.zeros(len(rows))
    season = np.zeros((len(rows), max(form.season, 1)))
    if form.season:
        season[:, :-1] = rows[:, 1 + form.trend :]
        season[:, -1] = -season[:, :-1].sum(axis=1)
    return States(rows[None, :, 0], trend[None], season[None])

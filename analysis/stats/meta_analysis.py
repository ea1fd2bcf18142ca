"""Several studies of one question put together: Mantel-Haenszel, and random effects with honest ranges."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, norm, t

FEWEST_FOR_PREDICTION = 3


@dataclass(frozen=True, eq=False)
class TwoByTwos:
    """Counts of several studies, one a place.

    Attributes
    ----------
    treated_events, treated, control_events, control : numpy.ndarray, shape (k,)
        Events and people (or ears) of either arm.
    """

    treated_events: np.ndarray
    treated: np.ndarray
    control_events: np.ndarray
    control: np.ndarray

    def log_risk_ratios(self) -> tuple[np.ndarray, np.ndarray]:
        """Give each study's log risk ratio and its variance; every arm needs an event."""
        effects = np.log(self.treated_events / self.treated) - np.log(self.control_events / self.control)
        variances = 1 / self.treated_events - 1 / self.treated + 1 / self.control_events - 1 / self.control
        return effects, variances


@dataclass(frozen=True, slots=True)
class Pooled:
    """One pooled effect: a difference of shares, or the log of a ratio, and its variance."""

    value: float
    variance: float

    def ends(self, level: float) -> tuple[float, float]:
        """Give the ends of its range, on its own scale."""
        half = float(norm.ppf(0.5 + level / 2)) * sqrt(self.variance)
        return self.value - half, self.value + half


def mantel_haenszel(counts: TwoByTwos, *, measure: str) -> Pooled:
    """Pool studies as if all had one and the same effect.

    Parameters
    ----------
    counts : TwoByTwos
        No study is too small; one without any event says nothing on a ratio.
    measure : str
        ``risk_difference``, ``log_risk_ratio`` or ``log_odds_ratio``.

    Returns
    -------
    Pooled

    Notes
    -----
    Variances hold with few large studies and with many small ones: Greenland
    and Robins [1]_ for the risk ratio, Sato [2]_ for the difference, Robins,
    Breslow and Greenland [3]_ for the odds ratio.

    References
    ----------
    .. [1] Greenland and Robins (1985), Biometrics 41, 55-68.
    .. [2] Sato (1989), Biometrics 45, 1323-1324.
    .. [3] Robins, Breslow and Greenland (1986), Biometrics 42, 311-323.

    Examples
    --------
    One study pools to itself.

    >>> one = TwoByTwos(np.array([41.0]), np.array([45.0]), np.array([38.0]), np.array([46.0]))
    >>> pooled = mantel_haenszel(one, measure="log_risk_ratio")
    >>> round(float(np.exp(pooled.value)), 3), [round(float(np.exp(end)), 3) for end in pooled.ends(0.95)]
    (1.103, [0.939, 1.296])
    """
    return _MEASURES[measure](counts)


def _risk_ratio(counts: TwoByTwos) -> Pooled:
    """Pool log risk ratios."""
    a, n1, c, n2 = counts.treated_events, counts.treated, counts.control_events, counts.control
    total = n1 + n2
    above, below = np.sum(a * n2 / total), np.sum(c * n1 / total)
    variance = np.sum((n1 * n2 * (a + c) - a * c * total) / total**2) / (above * below)
    return Pooled(float(np.log(above / below)), float(variance))


def _risk_difference(counts: TwoByTwos) -> Pooled:
    """Pool differences of shares."""
    a, n1, c, n2 = counts.treated_events, counts.treated, counts.control_events, counts.control
    total = n1 + n2
    weight = np.sum(n1 * n2 / total)
    value = np.sum((a * n2 - c * n1) / total) / weight
    lean = np.sum(c * (n1 / total) ** 2 - a * (n2 / total) ** 2 + n1 * n2 * (n2 - n1) / (2 * total**2))
    spread = np.sum(a * (n2 - c) / total + c * (n1 - a) / total) / 2
    return Pooled(float(value), float((value * lean + spread) / weight**2))


def _odds_ratio(counts: TwoByTwos) -> Pooled:
    """Pool log odds ratios."""
    a, c = counts.treated_events, counts.control_events
    b, d = counts.treated - a, counts.control - c
    total = counts.treated + counts.control
    p, q, r, s = (a + d) / total, (b + c) / total, a * d / total, b * c / total
    above, below = np.sum(r), np.sum(s)
    variance = (
        np.sum(p * r) / (2 * above**2) + np.sum(p * s + q * r) / (2 * above * below) + np.sum(q * s) / (2 * below**2)
    )
    return Pooled(float(np.log(above / below)), float(variance))


_MEASURES = {"log_risk_ratio": _risk_ratio, "risk_difference": _risk_difference, "log_odds_ratio": _odds_ratio}


@dataclass(frozen=True, slots=True)
class RandomEffects:
    """Studies whose effects differ, put together.

    Attributes
    ----------
    value, standard_error : float
        Mean of the effects that studies like these have; its ordinary standard error.
    low, high : float
        Ends of its Hartung-Knapp range.
    hartung_knapp_error : float
        The standard error behind that range.
    tau2 : float
        How much the true effects differ from study to study (a variance; REML).
    i2 : float
        Share of the studies' spread that is more than chance, between 0 and 1.
    heterogeneity, heterogeneity_p : float
        Cochran's Q and its p-value.
    predicted_low, predicted_high : float or None
        Where the effect of one more setting like these would lie; None under 3 studies.
    studies : int
    """

    value: float
    standard_error: float
    low: float
    high: float
    hartung_knapp_error: float
    tau2: float
    i2: float
    heterogeneity: float
    heterogeneity_p: float
    predicted_low: float | None
    predicted_high: float | None
    studies: int


def random_effects(
    effects: np.ndarray, variances: np.ndarray, *, level: float = 0.95, never_narrower: bool = True
) -> RandomEffects:
    """Pool studies whose true effects may differ, with the range of Hartung and Knapp.

    Parameters
    ----------
    effects, variances : numpy.ndarray, shape (k,)
        Each study's effect (log ratios for ratios) and its variance above 0; k at least 2.
    level : float, optional
        How sure the range should be.
    never_narrower : bool, optional
        Keep the Hartung-Knapp error from falling below the ordinary one, which
        it does where few studies agree by luck.

    Returns
    -------
    RandomEffects

    Notes
    -----
    The spread between studies is the restricted maximum likelihood one [1]_.
    The range uses Hartung and Knapp's error and Student's t [2]_, never
    narrower than the ordinary error unless asked [3]_: with two or three
    studies it is wide, as it should be. The prediction range is that of
    Higgins, Thompson and Spiegelhalter [4]_.

    References
    ----------
    .. [1] Viechtbauer (2005), Journal of Educational and Behavioral Statistics 30, 261-293.
    .. [2] Hartung and Knapp (2001), Statistics in Medicine 20, 3875-3889.
    .. [3] Roever, Knapp and Friede (2015), BMC Medical Research Methodology 15, 99.
    .. [4] Higgins, Thompson and Spiegelhalter (2009), JRSS A 172, 137-159.

    Examples
    --------
    >>> pooled = random_effects(np.array([0.1, 0.3, 0.2]), np.array([0.04, 0.04, 0.04]))
    >>> round(pooled.value, 3), pooled.tau2, round(pooled.low, 3), round(pooled.high, 3)
    (0.2, 0.0, -0.297, 0.697)
    """
    effects, variances = np.asarray(effects, dtype=float), np.asarray(variances, dtype=float)
    many = len(effects)
    tau2 = reml_spread(effects, variances)
    weights = 1 / (variances + tau2)
    value = float(np.sum(weights * effects) / weights.sum())
    error = 1 / sqrt(weights.sum())
    scale = float(np.sum(weights * (effects - value) ** 2)) / (many - 1)
    knapp = error * sqrt(max(scale, 1.0) if never_narrower else scale)
    half = float(t.ppf(0.5 + level / 2, many - 1)) * knapp
    q, typical = _heterogeneity(effects, variances)
    ahead = None
    if many >= FEWEST_FOR_PREDICTION:
        ahead = float(t.ppf(0.5 + level / 2, many - 2)) * sqrt(tau2 + error**2)
    return RandomEffects(
        value,
        error,
        value - half,
        value + half,
        knapp,
        tau2,
        tau2 / (tau2 + typical),
        q,
        float(chi2.sf(q, many - 1)),
        None if ahead is None else value - ahead,
        None if ahead is None else value + ahead,
        many,
    )


def reml_spread(effects: np.ndarray, variances: np.ndarray) -> float:
    """Variance of the true effects between studies, by restricted maximum likelihood.

    Parameters
    ----------
    effects, variances : numpy.ndarray, shape (k,)
        k at least 2.

    Returns
    -------
    float
        0 where the studies differ by no more than chance.

    Examples
    --------
    With equal variances it is the plain variance less the studies' own.

    >>> round(reml_spread(np.array([0.0, 1.0, 2.0]), np.array([0.25, 0.25, 0.25])), 6)
    0.75
    """
    if _score(0.0, effects, variances) <= 0:
        return 0.0
    above = float(np.var(effects, ddof=1)) + float(variances.max())
    while _score(above, effects, variances) > 0:
        above *= 2
    return float(brentq(_score, 0.0, above, args=(effects, variances), xtol=1e-14, rtol=1e-13))


def _score(tau2: float, effects: np.ndarray, variances: np.ndarray) -> float:
    """Slope of the restricted likelihood in the spread, times two."""
    weights = 1 / (variances + tau2)
    mean = np.sum(weights * effects) / weights.sum()
    return float(np.sum(weights**2 * (effects - mean) ** 2) - weights.sum() + np.sum(weights**2) / weights.sum())


def _heterogeneity(effects: np.ndarray, variances: np.ndarray) -> tuple[float, float]:
    """Give Cochran's Q and the typical variance within a study."""
    weights = 1 / variances
    mean = np.sum(weights * effects) / weights.sum()
    q = float(np.sum(weights * (effects - mean) ** 2))
    typical = (len(effects) - 1) * weights.sum() / (weights.sum() ** 2 - np.sum(weights**2))
    return q, float(typical)

"""What a treatment changes: differences, ratios, numbers needed, and how strong a hidden cause would have to be."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log, sqrt

import numpy as np
from scipy.special import expit, logit
from scipy.stats import norm

from analysis.stats.estimate import Estimate
from analysis.stats.influence import Averages
from analysis.stats.two_arms import UNTREATED, TwoArms

BENEFIT, HARM, UNCLEAR = "benefit", "harm", "no_clear_difference"


def arm_mean(arms: TwoArms, arm: int, level: float = 0.95) -> Estimate:
    """Mean of one arm with its range.

    Parameters
    ----------
    arms : TwoArms
    arm : int
        ``TREATED`` or ``UNTREATED`` of ``two_arms``.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        In the unit of the outcome; ``n`` counts the arm's rows.
    """
    value = (arms.treated, arms.untreated)[arm]
    half = _z(level) * sqrt(arms.covariance[arm, arm])
    return Estimate(value, value - half, value + half, level, _rows(arms, arm), arms.method)


def arm_share(arms: TwoArms, arm: int, level: float = 0.95) -> Estimate:
    """Share of one arm with a range that stays between 0 and 1 (made on the log-odds scale).

    Parameters
    ----------
    arms : TwoArms
        Means of a yes/no outcome. A share of exactly 0 or 1 has no range: both
        ends are the share itself.
    arm : int
        ``TREATED`` or ``UNTREATED`` of ``two_arms``.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
    """
    share = (arms.treated, arms.untreated)[arm]
    if not 0 < share < 1:
        return Estimate(share, share, share, level, _rows(arms, arm), arms.method)
    half = _z(level) * sqrt(arms.covariance[arm, arm]) / (share * (1 - share))
    low, high = (float(expit(logit(share) + side * half)) for side in (-1, 1))
    return Estimate(share, low, high, level, _rows(arms, arm), arms.method)


def mean_difference(arms: TwoArms, level: float = 0.95) -> Estimate:
    """Treated less untreated, with its range.

    Of shares this is the risk difference: 0.05 is 5 more successes in 100.

    Parameters
    ----------
    arms : TwoArms
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        In the unit of the outcome; ``n`` counts the rows of both arms.

    Examples
    --------
    >>> arms = TwoArms(0.80, 0.60, np.diag([0.0016, 0.0024]), 100, 100, "example")
    >>> round(mean_difference(arms).low, 3), round(mean_difference(arms).high, 3)
    (0.076, 0.324)
    """
    value = arms.treated - arms.untreated
    half = _z(level) * sqrt(max(_contrast_variance(arms, 1.0, -1.0), 0.0))
    return Estimate(value, value - half, value + half, level, arms.n_treated + arms.n_untreated, arms.method)


def risk_ratio(arms: TwoArms, level: float = 0.95) -> Estimate:
    """Share of the treated over the share of the untreated, ranged on the log scale.

    Parameters
    ----------
    arms : TwoArms
        Both shares above 0.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        A ratio; 1 is no difference.

    Notes
    -----
    With independent rows this is the interval of Katz and others [1]_.

    References
    ----------
    .. [1] Katz, Baptista, Azen and Pike (1978), Biometrics 34, 469-474.

    Examples
    --------
    41 of 45 against 38 of 46 (Piromchai 2020, who print 1.10, 0.94 to 1.29).

    >>> p, q = 41 / 45, 38 / 46
    >>> arms = TwoArms(p, q, np.diag([p * (1 - p) / 45, q * (1 - q) / 46]), 45, 46, "published counts")
    >>> ratio = risk_ratio(arms)
    >>> round(ratio.value, 2), round(ratio.low, 2), round(ratio.high, 1)
    (1.1, 0.94, 1.3)
    """
    value = arms.treated / arms.untreated
    half = _z(level) * sqrt(max(_contrast_variance(arms, 1 / arms.treated, -1 / arms.untreated), 0.0))
    low, high = (exp(log(value) + side * half) for side in (-1, 1))
    return Estimate(value, low, high, level, arms.n_treated + arms.n_untreated, arms.method)


@dataclass(frozen=True, slots=True)
class NumberNeeded:
    """How many have to be treated for one more success.

    Attributes
    ----------
    form : str
        ``benefit`` or ``harm`` where the whole range lies on that side;
        ``no_clear_difference`` where it holds "none".
    value : float
        The number itself, above 0 whichever side it lies on; infinite where
        the difference is nought.
    low, high : float or None
        Ends of the range where the form is benefit or harm; else None.
    benefit_from, harm_from : float or None
        With no clear difference the range runs from ``benefit_from`` treated
        for one more success, through no difference at all, to ``harm_from``
        treated for one success fewer. None where the form is clear.
    """

    form: str
    value: float
    low: float | None = None
    high: float | None = None
    benefit_from: float | None = None
    harm_from: float | None = None


def number_needed(difference: Estimate) -> NumberNeeded:
    """Turn a difference of shares into a number needed to treat, without hiding an unclear one.

    Parameters
    ----------
    difference : Estimate
        Treated less untreated; above 0 is benefit.

    Returns
    -------
    NumberNeeded

    Notes
    -----
    Where the range of the difference holds nought, the range of its inverse is
    not an interval: it goes through infinity [1]_, and is told as two ends.

    References
    ----------
    .. [1] Altman (1998), British Medical Journal 317, 1309-1312.

    Examples
    --------
    >>> number_needed(Estimate(0.10, -0.05, 0.25, 0.95, 80, ""))
    NumberNeeded(form='no_clear_difference', value=10.0, low=None, high=None, benefit_from=4.0, harm_from=20.0)
    """
    value = inf if difference.value == 0 else 1 / abs(difference.value)
    if difference.excludes_zero:
        low, high = sorted((1 / abs(difference.low), 1 / abs(difference.high)))
        return NumberNeeded(BENEFIT if difference.value > 0 else HARM, value, low, high)
    benefit_from = 1 / difference.high if difference.high > 0 else inf
    harm_from = -1 / difference.low if difference.low < 0 else inf
    return NumberNeeded(UNCLEAR, value, benefit_from=benefit_from, harm_from=harm_from)


@dataclass(frozen=True, slots=True)
class HiddenCause:
    """How strong an unrecorded cause would have to be to explain a ratio away.

    Attributes
    ----------
    value : float
        Risk ratio that the cause would need with both treatment and outcome
        to turn the ratio into 1; 1 where there is nothing to explain.
    for_range : float
        The same for the end of the range nearest 1; 1 where the range holds 1.
    """

    value: float
    for_range: float


def e_value(ratio: Estimate) -> HiddenCause:
    """Strength of an unrecorded cause that would explain a risk ratio away.

    Parameters
    ----------
    ratio : Estimate
        A risk ratio and its range, all above 0.

    Returns
    -------
    HiddenCause

    References
    ----------
    .. [1] VanderWeele and Ding (2017), Annals of Internal Medicine 167, 268-274.

    Examples
    --------
    >>> hidden = e_value(Estimate(3.9, 1.8, 8.7, 0.95, 0, ""))
    >>> round(hidden.value, 2), round(hidden.for_range, 2)
    (7.26, 3.0)
    """
    holds_one = ratio.low <= 1 <= ratio.high
    nearest = ratio.low if ratio.value > 1 else ratio.high
    return HiddenCause(_needed_strength(ratio.value), 1.0 if holds_one else _needed_strength(nearest))


def _needed_strength(ratio: float) -> float:
    """Apply the E-value formula to a ratio on either side of 1."""
    above = max(ratio, 1 / ratio)
    return above + sqrt(above * (above - 1))


def _contrast_variance(arms: TwoArms, treated: float, untreated: float) -> float:
    """Variance of a weighted sum of the two means."""
    weights = np.array([treated, untreated])
    return float(weights @ arms.covariance @ weights)


def _rows(arms: TwoArms, arm: int) -> int:
    """Rows of one arm."""
    return arms.n_untreated if arm == UNTREATED else arms.n_treated


def _z(level: float) -> float:
    """Give the standard normal quantile of a two-sided range."""
    return float(norm.ppf(0.5 + level / 2))


def contrast_estimate(averages: Averages, weights: np.ndarray, *, level: float, n: int, method: str) -> Estimate:
    """Give a weighted sum of averages with its range.

    Examples
    --------
    >>> from analysis.stats.influence import Averages
    >>> both = Averages(np.array([0.7, 0.5]), np.eye(2) / 200)
    >>> gap = contrast_estimate(both, np.array([1.0, -1.0]), level=0.95, n=80, method="")
    >>> round(gap.value, 2), round(gap.low, 3)
    (0.2, 0.004)
    """
    value = float(weights @ averages.means)
    half = _z(level) * sqrt(float(weights @ averages.covariance @ weights))
    return Estimate(value, value - half, value + half, level, n, method)

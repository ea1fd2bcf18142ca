"""Dose of noise over a working day, by the American and the European rule for workers.

Both rules are for people at work. Neither says what an ear that is being
cleaned may hear.
"""

from __future__ import annotations

import numpy as np

NIOSH_LEVEL, NIOSH_EXCHANGE = 85.0, 3.0
"""Recommended limit for eight hours, dB(A), and the decibels that halve the time (NIOSH 98-126, 1998)."""
DAY_MINUTES = 480.0
LOWER_ACTION, UPPER_ACTION, LIMIT = 80.0, 85.0, 87.0
"""Daily levels at which Directive 2003/10/EC asks for action, first and second, and its limit, dB(A)."""


def allowed_minutes(level: float) -> float:
    """Minutes a day that NIOSH allows a worker at a steady level.

    Parameters
    ----------
    level : float
        dB(A), as measured where the worker's ear is.

    Returns
    -------
    float

    References
    ----------
    .. [1] NIOSH (1998), Criteria for a Recommended Standard: Occupational
       Noise Exposure, publication 98-126, section 1.

    Examples
    --------
    >>> allowed_minutes(85.0), allowed_minutes(94.0), allowed_minutes(100.0)
    (480.0, 60.0, 15.0)
    """
    return float(DAY_MINUTES / 2 ** ((level - NIOSH_LEVEL) / NIOSH_EXCHANGE))


def niosh_dose(minutes: np.ndarray, levels: np.ndarray) -> float:
    """Dose of a working day as a share of what NIOSH allows; 1 is all of it.

    Parameters
    ----------
    minutes, levels : numpy.ndarray, shape (n,)
        Minutes at each level, and the level in dB(A).

    Returns
    -------
    float
        Nought for a day without any.

    References
    ----------
    .. [1] NIOSH (1998), publication 98-126: sum of minutes over minutes allowed.

    Examples
    --------
    >>> niosh_dose(np.array([3.0]), np.array([100.0]))
    0.2
    """
    return float(sum(each / allowed_minutes(level) for each, level in zip(minutes, levels, strict=True)))


def daily_level(minutes: np.ndarray, levels: np.ndarray) -> float:
    """Daily exposure level over eight hours, the L EX,8h of Directive 2003/10/EC.

    Parameters
    ----------
    minutes, levels : numpy.ndarray, shape (n,)
        Minutes at each level, and the level in dB(A).

    Returns
    -------
    float
        dB(A); minus infinity for a day without any.

    References
    ----------
    .. [1] Directive 2003/10/EC, articles 2 and 3, which takes the level as
       ISO 1999 defines it.

    Examples
    --------
    >>> round(daily_level(np.array([240.0]), np.array([90.0])), 2)
    86.99
    """
    energy = float((np.asarray(minutes) * 10 ** (np.asarray(levels) / 10)).sum()) / DAY_MINUTES
    return 10 * float(np.log10(energy)) if energy > 0 else float("-inf")

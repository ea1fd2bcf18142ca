"""When ears of patients known before the log enter it: the slower they fill, the later."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.recall_enough import enough
from analysis.stats.cells import cells_of

STEP_DAYS, DAYS_A_YEAR = 91, 365.25
"""Entry into the log is told in quarters of a year, so that ears alike can be put together (our choice, no source)."""


def entered_years(gaps: pd.DataFrame) -> pd.Series:
    """Say how long after the log's first clearance each clearance of a patient known before it fell.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.

    Returns
    -------
    pandas.Series
        Years, in quarters; empty for patients new to the log.

    Examples
    --------
    >>> from analysis.schema import GAPS, typed_frame
    >>> gaps = typed_frame(GAPS, pd.DataFrame(
    ...     {"cleared_on": ["2025-01-01", "2025-12-31", "2025-12-31"], "known_before": [True, True, False]}))
    >>> entered_years(gaps).round(1).tolist()
    [0.0, 1.0, nan]
    """
    steps = (gaps["cleared_on"] - gaps["cleared_on"].min()).dt.days // STEP_DAYS
    known = gaps["known_before"].fillna(False).astype(bool)
    return (steps * STEP_DAYS / DAYS_A_YEAR).where(known).astype(float)


def entry_columns(firsts: list[pd.DataFrame], fewest_ears: int) -> list[np.ndarray]:
    """Lay out columns that let ears of patients known before fill at another pace, and by when they enter the log.

    Parameters
    ----------
    firsts : list of pandas.DataFrame
        Groups' ears, from ``first_clearances``.
    fewest_ears : int
        Ears graded later that the known, and the new, must have for a pace of their own.

    Returns
    -------
    list of numpy.ndarray, each of shape (ears, 0 to 2)

    Notes
    -----
    A patient known before the log enters it with the next visit, which comes the later the slower the ears fill, and
    is then watched for less time: among ears watched for long the fast ones are too many, and months come out
    3 to 4 in 100 early. Given when it entered, how fast an ear fills has no more to do with how long it is watched;
    so ears are told apart by it, and the curve shown is the mean over all ears (dependent truncation and
    censoring removed by conditioning on entry [1]_).

    References
    ----------
    .. [1] Keiding (1992), Independent delayed entry, in Survival Analysis: State of the Art, 309-326 (from memory).
    """
    ears = pd.concat([first[["entered_years", "open_until_days", "occluding_by_days"]] for first in firsts])
    known, years = ears["entered_years"].notna().to_numpy(), ears["entered_years"].fillna(0.0).to_numpy()
    added = np.empty((len(ears), 0))
    if enough(ears[known], fewest_ears):
        added = np.column_stack([known, years]) if enough(ears[~known], fewest_ears) else years[:, None]
    group = np.repeat(np.arange(len(firsts)), [len(first) for first in firsts])
    cells = cells_of(group, added).first
    both = np.column_stack([np.eye(len(firsts))[group[cells]], added[cells]])
    if np.linalg.matrix_rank(both) < both.shape[1]:
        added = added[:, :0]
    return np.split(added, np.cumsum([len(first) for first in firsts])[:-1])

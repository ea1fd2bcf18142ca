"""Where labels stand among others: the look-up that joins large tables by long labels."""

from __future__ import annotations

import numpy as np
import pandas as pd


def place_of(wanted: pd.Series, among: pd.Series) -> np.ndarray:
    """Find each label's place among others.

    Parameters
    ----------
    wanted, among : pandas.Series
        Labels of one type.

    Returns
    -------
    numpy.ndarray of int, shape (len(wanted),)
        The first place of the label in ``among``, counted from 0; -1 where it is not there or blank.

    Examples
    --------
    >>> place_of(pd.Series(["b", "c", None]), pd.Series(["a", "b", "b"])).tolist()
    [1, -1, -1]
    """
    numbers, different = pd.factorize(pd.concat([among, wanted], ignore_index=True))
    place = np.full(len(different) + 1, -1)  # the last stands for blanks, which are numbered -1
    known = numbers[: len(among)][::-1]
    place[known] = np.arange(len(among))[::-1]
    place[-1] = -1
    return place[numbers[len(among) :]]

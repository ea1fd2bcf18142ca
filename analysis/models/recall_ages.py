"""Ages that cannot both be right: a patient entered with two years of birth."""

from __future__ import annotations

import pandas as pd

MOST_BANDS = 1
"""Age bands a patient may rise by within a log: each is 15 years wide or more, but for the under-18s' last year."""


def without_conflicting_ages(gaps: pd.DataFrame, visits: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Take the age off patients who grow younger, or older by two age bands, from visit to visit.

    Parameters
    ----------
    gaps, visits : pandas.DataFrame
        The tables ``GAPS`` and ``VISITS``.

    Returns
    -------
    (pandas.DataFrame, int)
        The gaps, such a patient's ``age_band`` empty, and how many such patients there are.

    Notes
    -----
    Which of two ages is right cannot be told from the log, so neither is used;
    all else about the patient is.

    Examples
    --------
    >>> from analysis.schema import GAPS, VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "patient_key": "p1", "slot_start": pd.to_datetime(["2025-01-06", "2025-07-07"]),
    ...     "age_band": ["60_74", "18_39"]}))
    >>> gaps = typed_frame(GAPS, pd.DataFrame({"patient_key": ["p1"], "age_band": ["60_74"]}))
    >>> found, patients = without_conflicting_ages(gaps, visits)
    >>> found["age_band"].isna().all().item(), patients
    (True, 1)
    """
    noted = visits[visits["age_band"].notna() & visits["patient_key"].notna()].sort_values(["slot_start", "age_band"])
    bands = noted["age_band"].cat.codes.astype(int)
    by_patient = bands.groupby(noted["patient_key"])
    younger = noted.loc[by_patient.diff() < 0, "patient_key"]
    rise = by_patient.max() - by_patient.min()
    wrong = set(younger) | set(rise.index[rise > MOST_BANDS])
    mine = gaps["patient_key"].isin(wrong)
    return gaps.assign(age_band=gaps["age_band"].where(~mine)), len(wrong)

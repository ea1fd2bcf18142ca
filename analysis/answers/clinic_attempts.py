"""The clinic's attempts, listed once for all the answers that count them."""

from __future__ import annotations

import pandas as pd

from analysis.answers.kept import once_a_clinic
from analysis.clinic import Clinic
from analysis.derive.attempts import attempts


@once_a_clinic
def clinic_attempts(clinic: Clinic) -> pd.DataFrame:
    """List the clinic's attempts by its own settings.

    Parameters
    ----------
    clinic : Clinic
        With an attended visit: without one a log has no last day.

    Returns
    -------
    pandas.DataFrame
        The table ``ATTEMPTS``, for nobody to change.
    """
    days = clinic.settings.softening.second_attempt_days
    return attempts(clinic.visits, clinic.ears, second_attempt_days=days, last_day=clinic.last_day)

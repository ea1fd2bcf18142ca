"""Work done once a clinic: several questions stand on the same fits."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar
from weakref import WeakKeyDictionary

from analysis.clinic import Clinic

Result = TypeVar("Result")


def once_a_clinic(work: Callable[[Clinic], Result]) -> Callable[[Clinic], Result]:
    """Do a piece of work once for each clinic, and let go of what came of it with the clinic.

    A clinic's tables are read-only, so the same clinic always gives the same; what
    is refused is refused anew. Draws start afresh wherever the result is used.

    Parameters
    ----------
    work : callable
        From a clinic to a result nobody changes.

    Returns
    -------
    callable

    Examples
    --------
    >>> import pandas as pd
    >>> asked = []
    >>> count = once_a_clinic(lambda clinic: asked.append(1) or len(clinic.visits))
    >>> clinic = Clinic(pd.DataFrame({"visit_id": ["a"]}), pd.DataFrame())
    >>> count(clinic), count(clinic), len(asked)
    (1, 1, 1)
    """
    known: WeakKeyDictionary[Clinic, Result] = WeakKeyDictionary()

    @wraps(work)
    def asked(clinic: Clinic) -> Result:
        if clinic not in known:
            known[clinic] = work(clinic)
        return known[clinic]

    return asked

"""Logs of millions of bookings: what is fitted patient by patient is fitted on patients drawn at random."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import wraps

import numpy as np
import pandas as pd

from analysis.answers.kept import once_a_clinic
from analysis.clinic import Clinic
from analysis.present import words
from analysis.present.answer import Answer

SEED = 20261126
"""Patients are drawn from this fixed seed, so that the same log gives the same answer."""


def of_drawn_patients(question: Callable[[Clinic], Answer]) -> Callable[[Clinic], Answer]:
    """Ask a question of patients drawn at random where the log is larger than its fits need.

    Parameters
    ----------
    question : callable
        One that goes patient by patient. Counts of the clinic's work, and what
        goes by whole sessions, need every booking.

    Returns
    -------
    callable
        Its answers say how many bookings were left out and why; their ranges
        are those of the patients drawn. Where those are too few for an answer,
        the whole log is asked.

    Examples
    --------
    >>> from analysis.present.answer import Basis
    >>> from analysis.setting_parts import ClinicPart
    >>> from analysis.settings import Settings
    >>> @of_drawn_patients
    ... def how_many(clinic):
    ...     return Answer("?", "", basis=Basis(len(clinic.visits), "bookings", {}, clinic.first_day, clinic.last_day))
    >>> days = pd.to_datetime(["2026-03-02"] * 30_000)
    >>> visits = pd.DataFrame({"visit_id": np.arange(30_000).astype(str), "patient_key": np.arange(30_000).astype(str),
    ...     "slot_start": days, "attendance": "attended"})
    >>> settings = Settings(clinic=ClinicPart(fitted_bookings=10_000))
    >>> str(how_many(Clinic(visits, pd.DataFrame({"visit_id": ["1"]}), settings=settings)).basis)
    'Rests on 10,004 bookings, March 2026. Left out: 19,996 bookings of patients not drawn.'
    """

    @wraps(question)
    def asked(clinic: Clinic) -> Answer:
        drawn = _drawn(clinic)
        if drawn is None:
            return question(clinic)
        answer = question(drawn)
        return _said(answer, clinic, drawn) if answer.answered else question(clinic)

    return asked


@once_a_clinic
def _drawn(clinic: Clinic) -> Clinic | None:
    """Draw patients with all their bookings; bookings of nobody known one by one. None of a log small enough."""
    visits, most = clinic.visits, clinic.settings.clinic.fitted_bookings
    if len(visits) <= most:
        return None
    rng, share = np.random.default_rng(SEED), most / len(visits)
    patient, patients = pd.factorize(visits["patient_key"])
    lucky = rng.random(len(patients) + 1) < share  # the last stands for nobody known and is not looked at
    kept = visits[np.where(patient >= 0, lucky[patient], rng.random(len(visits)) < share)]
    ears = clinic.ears[clinic.ears["visit_id"].isin(kept["visit_id"])]
    until = replace(clinic.settings.clinic, last_day=None if pd.isna(clinic.last_day) else clinic.last_day.date())
    return replace(
        clinic,
        visits=kept.reset_index(drop=True),
        ears=ears.reset_index(drop=True),
        settings=replace(clinic.settings, clinic=until),
    )


def _said(answer: Answer, clinic: Clinic, drawn: Clinic) -> Answer:
    """Say what the answer was asked of."""
    left_out = len(clinic.visits) - len(drawn.visits)
    basis = answer.basis and replace(
        answer.basis, left_out=answer.basis.left_out | {"bookings of patients not drawn": left_out}
    )
    told = (
        f"Of the log's {words.count(len(clinic.visits))} bookings these figures rest on the "
        f"{words.count(len(drawn.visits))} of patients drawn at random, each with all bookings; the ranges are those of so "
        "many. fitted_bookings under [clinic] in clinic.toml sets how many are drawn."
    )
    return replace(answer, basis=basis, assumptions=(*answer.assumptions, told))

"""Returns within two years beside a published trial, as a bracket of plausibility.

Coppin 2011 (doi 10.1370/afm.1229, its counts read there): of patients with earwax, 85 of 117 (73 %)
treated by clinic irrigation and 70 of 117 (60 %) given a bulb syringe came back with wax within two
years. The invented clinic was planted near these; here the figure is read off its log alone, by
the method that reads it off an owner's log.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.demo import invented_clinic
from analysis.derive.gaps import gaps
from analysis.models.recall_back import new_patients_back
from analysis.stats.kaplan_meier import kaplan_meier
from tests.outside.referee import approx

COPPIN = {"clinic irrigation": (85, 117), "bulb syringe": (70, 117)}
LAST_DAY = pd.Timestamp("2026-09-30")


@pytest.mark.parametrize("arm", COPPIN)
def test_the_curve_of_returns_gives_the_trials_plain_shares_where_all_are_followed(arm):
    """With nobody lost before two years, the curve of returns is the share counted."""
    back, of = COPPIN[arm]
    days = np.concatenate([np.linspace(30, 700, back), np.full(of - back, 730.0)])
    curve = kaplan_meier(days, np.arange(of) < back)
    assert 1 - curve.at([730]) == approx([back / of], rel=1e-12)


def test_new_patients_of_the_invented_clinic_come_back_within_the_trials_bracket():
    clinic = invented_clinic(20260930)
    table = gaps(clinic.visits, clinic.ears, symptom_window_days=60, last_day=LAST_DAY)
    back = new_patients_back(table, clinic.visits, last_day=LAST_DAY, days=730)
    least, most = (COPPIN[arm][0] / COPPIN[arm][1] for arm in ("bulb syringe", "clinic irrigation"))
    assert least <= back.value <= most
    # the share counted over patients followed for two years, of whom the curve uses more
    assert back.value == approx(clinic.truth["returns"]["back_within_24_months_share"], abs=0.03)

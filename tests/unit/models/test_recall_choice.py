"""Which curve foretells patients held out: planted curves are told apart, and a tie stays with the Weibull."""

import numpy as np
import pytest

from analysis.models import recall_choice
from analysis.models.recall_choice import FOLDS, Material, chosen_family, held_out_scores, score_difference
from analysis.stats.censored import log_scores, time_regression
from analysis.stats.time_families import FAMILIES, LOG_LOGISTIC, WEIBULL


def watched(family, *, patients: int = 1500, sigma: float = 0.5, seed: int = 5) -> Material:
    """Both ears of patients with times of one curve, looked at every hundred days up to twelve hundred."""
    rng = np.random.default_rng(seed)
    keys = np.repeat([f"p{place:04d}" for place in range(patients)], 2)
    times = np.exp(6.0 + sigma * family.place(rng.random(2 * patients)))
    low = np.minimum(np.floor(times / 100) * 100, 1200)
    high = np.where(low == 1200, np.inf, low + 100)
    return Material.of(low, high, np.ones(len(low)), np.ones((len(low), 1)), keys)


@pytest.mark.parametrize("name", list(FAMILIES))
def test_the_planted_curve_is_chosen(name):
    assert chosen_family(watched(FAMILIES[name], patients=3000)).name == name


def test_curves_that_foretell_alike_leave_the_weibull(monkeypatch):
    monkeypatch.setattr(recall_choice, "held_out_scores", lambda *_: np.zeros(3))
    assert chosen_family(watched(LOG_LOGISTIC, patients=25)) is WEIBULL


def test_both_ears_are_held_out_together_and_scored_by_the_others():
    material = watched(WEIBULL, patients=60)
    scores = held_out_scores(material, WEIBULL)
    assert scores.shape == (60,)
    mine = material.patient % FOLDS == 0
    rest = time_regression(material.low[~mine], material.high[~mine], material.design[~mine])
    by_ear = log_scores(rest, material.low[mine], material.high[mine], material.design[mine])
    assert scores[::FOLDS] == pytest.approx(by_ear.reshape(-1, 2).sum(axis=1))


def test_weights_count():
    material = watched(WEIBULL, patients=60)
    twice = Material(material.low, material.high, 2 * material.weight, material.design, material.patient)
    assert held_out_scores(twice, WEIBULL) == pytest.approx(2 * held_out_scores(material, WEIBULL))
    assert twice.ears == 2 * material.ears


def test_a_difference_is_that_of_the_patients():
    found = score_difference(np.array([-2.0, -5.0, -2.0]), np.array([-1.0, -3.0, -2.0]), 6.0, 0.95)
    assert found.value == pytest.approx(-0.5)
    assert found.low == pytest.approx(-0.5 - 1.959964 * np.sqrt(3) * np.std([-1, -2, 0]) / 6)
    assert found.high == pytest.approx(-1.0 - found.low)

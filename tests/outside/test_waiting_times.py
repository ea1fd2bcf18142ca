"""Waiting in line against queueing formulas and sessions computed exactly in R.

``values/waiting.json`` names the calls and the software. ``faithful.csv`` is the data
set ``faithful`` of R 4.2.2 (datasets, GPL-2 or GPL-3), used as lengths only. A
simulation is allowed four standard errors of its own.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.planning.session import run_sessions
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "waiting.json").read_text(encoding="utf-8"))
FORMULAS = BLOCKS["dur-o13-queue-formulas"]["values"]
FAITHFUL = pd.read_csv(VALUES / "faithful.csv")
LINES, WARM_UP, PATIENTS = 4000, 300, 330


def mean_wait(arrivals: np.ndarray, service: np.ndarray) -> tuple[float, float]:
    """Mean wait of the patients after the warm-up, and its standard error over independent lines."""
    runs = run_sessions(arrivals, service, np.ones(service.shape, bool))
    waits = runs.wait_minutes[WARM_UP:].mean(axis=0)
    return waits.mean(), waits.std() / np.sqrt(len(waits))


@pytest.mark.parametrize("load", [0.5, 0.8])
@pytest.mark.parametrize("kind", ["MM1", "MD1"])
def test_random_arrivals_wait_as_pollaczek_and_khinchine_say(kind, load):
    rng = np.random.default_rng(7)
    arrivals = rng.exponential(1 / load, (PATIENTS, LINES)).cumsum(axis=0)
    service = rng.exponential(1.0, arrivals.shape) if kind == "MM1" else np.ones(arrivals.shape)
    wait, error = mean_wait(arrivals, service)
    assert wait == approx(FORMULAS[f"{kind}.rho{load}.Wq_over_service"], abs=4 * error)


@pytest.mark.parametrize(("slot", "key"), [(1.25, "DM1.mu1_T1.25.Wq"), (2.0, "DM1.mu1_T2.Wq")])
def test_fixed_slots_and_random_lengths_wait_as_the_formula_says(slot, key):
    rng = np.random.default_rng(8)
    arrivals = np.broadcast_to(np.arange(PATIENTS)[:, None] * slot, (PATIENTS, LINES))
    wait, error = mean_wait(arrivals, rng.exponential(1.0, (PATIENTS, LINES)))
    assert wait == approx(FORMULAS[key], abs=4 * error)


def test_one_session_runs_minute_for_minute_as_in_r():
    expected = BLOCKS["dur-o14-lindley-trace"]["values"]
    minutes = 5 * FAITHFUL["eruptions"].to_numpy()[:20, None]
    slots = 18.0 * np.arange(20)[:, None]
    runs = run_sessions(slots, minutes, np.ones((20, 1), bool))
    assert runs.wait_minutes[:, 0] == approx(expected["wait"], abs=1e-9)
    assert runs.free_at_minutes[0] == approx(expected["finish"], abs=1e-9)


def test_ten_visits_of_random_length_run_as_computed_exactly_in_r():
    expected = BLOCKS["dur-o15-exact-session"]["values"]
    sessions = 40_000
    minutes = np.random.default_rng(9).choice(FAITHFUL["waiting"].to_numpy(dtype=float), (10, sessions))
    slots = 75.0 * np.arange(10)[:, None]
    runs = run_sessions(slots, minutes, np.ones(minutes.shape, bool))
    waits, total = sum(expected[f"E_wait.{place}"] for place in range(1, 11)), runs.wait_minutes.sum(axis=0)
    assert total.mean() == approx(waits, abs=4 * total.std() / np.sqrt(sessions))
    finish = runs.free_at_minutes
    assert finish.mean() == approx(expected["E_finish"], abs=4 * finish.std() / np.sqrt(sessions))

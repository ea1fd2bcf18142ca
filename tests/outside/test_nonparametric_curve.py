"""The curve without a shape against published tables and R.

``values/nonparametric_curves.json`` names, for every block, the data and where they come
from, the R call, the package versions and, where there are any, the published figures and
how they are known; the CSV files beside it are the data.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.stats.kaplan_meier import kaplan_meier
from analysis.stats.turnbull import Turnbull, turnbull
from tests.outside.referee import all_close, approx, as_printed

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "nonparametric_curves.json").read_text(encoding="utf-8"))
CLOSE = 1e-9


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(VALUES / f"{name}.csv")


def cosmesis(arm: str) -> Turnbull:
    table = data("breast_cosmesis").query(f"rct == {int(arm == 'rct')}")
    return turnbull(table["left"].fillna(0).to_numpy(), table["right"].fillna(np.inf).to_numpy(), close=CLOSE)


def masses(curve: Turnbull, keys: list[str]) -> list[float]:
    """The chance on each interval named in the keys, such as mass.(4,5]."""
    named = {f"({a:g},{b:g}]": mass for a, b, mass in zip(curve.left, curve.right, curve.mass[0], strict=True)}
    return [float(named[key.split("mass.")[1]]) for key in keys]


@pytest.mark.parametrize("arm", ["rt", "rct"])
def test_breast_cosmesis_masses_agree_with_r(arm):
    values = BLOCKS["rec-o10"]["values"]
    keys = [key for key in values if key.startswith(f"turnbull_{arm}.mass")]
    curve = cosmesis(arm)
    all_close(
        masses(curve, keys), [values[key] for key in keys], rtol=0, atol=1e-8
    )  # both searches stop within about this
    assert curve.log_likelihood[0] == approx(values[f"turnbull_{arm}.loglik"], rel=1e-9)
    assert (curve.mass[0] > 1e-6).sum() == values[f"turnbull_{arm}.n_intervals"]


@pytest.mark.parametrize("arm", ["rt", "rct"])
def test_breast_cosmesis_masses_round_to_the_printed_ones(arm):
    printed = next(each for each in BLOCKS["rec-o10"]["published"] if "Fay" in each["source"])["as_printed"]
    keys = [key for key in printed if key.startswith(f"turnbull_{arm}.mass")]
    assert len(keys) >= 8
    for key, mass in zip(keys, masses(cosmesis(arm), keys), strict=True):
        assert as_printed(mass, float(printed[key]), 4), key


def doubly_censored() -> Turnbull:
    """Turnbull's table: events seen at a time, lost after it, or found to have happened by it."""
    table = data("turnbull1974")
    time, kind = table["time"].to_numpy(dtype=float), table["status"].to_numpy()
    low = np.where(kind == 2, 0.0, time)
    high = np.where(kind == 0, np.inf, time)
    return turnbull(low, high, table["n"].to_numpy(dtype=float), close=CLOSE)


def test_turnbulls_own_table_agrees_with_r():
    values = BLOCKS["rec-o11"]["values"]
    times = np.array([float(key.split(".")[1]) for key in values])
    all_close(1 - doubly_censored().share_by(times)[0], list(values.values()), rtol=0, atol=1e-6)


def test_turnbulls_own_table_rounds_to_what_he_printed():
    for key, printed in BLOCKS["rec-o11"]["published"][0]["as_printed"].items():
        share = 1 - doubly_censored().share_by(np.array([float(key.split(".")[1])]))[0, 0]
        assert as_printed(share, float(printed), 3), key


def test_wheels_looked_at_once_agree_with_the_monotone_regression_of_r():
    """Looked at once each, the likeliest curve is the rising one nearest to the shares found."""
    values, table = BLOCKS["rec-o07"]["values"], data("turbine")
    hours = table["hours"].to_numpy(dtype=float)
    low, high = np.concatenate([np.zeros(len(hours)), hours]), np.concatenate([hours, np.full(len(hours), np.inf)])
    counts = np.concatenate([table["failed"], table["inspected"] - table["failed"]]).astype(float)
    curve = turnbull(low, high, counts, close=CLOSE)
    times = np.array([float(key.split(".")[1]) for key in values])
    found = dict(zip(times, curve.share_by(times)[0], strict=True))
    # beyond the last interval with an end nothing is known; there the regression repeats its last level
    known = {float(key.split(".")[1]): value for key, value in values.items()}
    compared = [time for time in times if np.isfinite(found[time])]
    assert len(compared) >= 10
    all_close([found[time] for time in compared], [known[time] for time in compared], rtol=0, atol=1e-6)


def test_parts_looked_at_again_and_again_agree_with_the_plain_shares():
    values, table = BLOCKS["rec-o14"]["values"], data("cracks")
    low, high = table["left"].fillna(0).to_numpy(dtype=float), table["right"].fillna(np.inf).to_numpy(dtype=float)
    curve = turnbull(low, high, table["n"].to_numpy(dtype=float), close=CLOSE)
    times = np.array([float(key.split(".")[1]) for key in values])
    all_close(curve.share_by(times)[0], list(values.values()), rtol=0, atol=1e-8)


@pytest.mark.parametrize("arm", ["6-MP", "control"])
def test_where_every_event_is_seen_the_curve_is_that_of_kaplan_and_meier(arm):
    table = data("gehan").query(f"treat == '{arm}'")
    time, seen = table["time"].to_numpy(dtype=float), table["cens"].to_numpy() == 1
    curve = turnbull(time, np.where(seen, time, np.inf), close=CLOSE)
    events = np.unique(time[seen])
    all_close(1 - curve.share_by(events)[0], kaplan_meier(time, seen).at(events), rtol=0, atol=1e-6)

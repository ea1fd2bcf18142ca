"""What was planted of visit time is found again: pooled ears, findings, practitioners, cut-short and rounded minutes.

Ranges are checked over many small logs: of 95% ranges, 40 logs should hold the truth in 38 on
average; fewer than 33 would come up less than once in 100 (binomial). Where many correlated
ranges are counted together the bound is the same share of them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.derive.attempts import attempts
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_calibration import held_out_visits
from analysis.models.visit_clearing import time_to_clear
from analysis.models.visit_coverage import coverage_by_month
from analysis.models.visit_heaping import minutes_heaping
from analysis.models.visit_pooling import fit_pooled_minutes
from analysis.models.visit_sequence import what_follows
from analysis.models.visit_time import fit_visit_time
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import VisitTimePart
from analysis.stats.censored import weibull_regression
from analysis.stats.heaping import as_intervals
from analysis.stats.log_normal import log_normal_regression
from analysis.stats.mixed import fit_mixed
from tests.visit_world import ADDED, WHO_MINUTES, invented_log

LOGS, HELD_IN_40 = 40, 33


def fitted(visits: pd.DataFrame, ears: pd.DataFrame) -> FittedVisitTime:
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    return fit_visit_time(visits, worked, ears, VisitTimePart())


def test_pooled_ears_and_practitioners_hold_the_planted_minutes():
    ears_held, who_held = 0, 0
    for seed in range(LOGS):
        visits, ears = invented_log(np.random.default_rng(2000 + seed), visits=700, easy=0.2)
        fit = fitted(visits, ears)
        found = fit_pooled_minutes(fit, ears)
        for row in found.added.to_dict("records"):
            ears_held += row["low"] <= ADDED[row["grade"], row["first_method"]] <= row["high"]
        share = fit.sample.visits["practitioner"].value_counts(normalize=True)
        mean = sum(WHO_MINUTES[name] * share[name] for name in WHO_MINUTES)
        for row in found.practitioners.to_dict("records"):
            who_held += row["low"] <= WHO_MINUTES[row["practitioner"]] - mean <= row["high"]
    assert ears_held >= 4 * HELD_IN_40
    assert who_held >= 2 * HELD_IN_40


def test_a_sparse_ear_is_drawn_towards_its_grade_and_misses_less():
    """Sparse cells pooled lie nearer to the truth, on average over logs, than their own few visits do."""
    rng = np.random.default_rng(5)
    apart, pooled = [], []
    for _ in range(60):
        cells = rng.normal(0, 1.0, 8)
        which = np.repeat(np.arange(8), [200, 200, 150, 100, 50, 6, 6, 6])
        minutes = 10 + cells[which] + rng.normal(0, 4, len(which))
        members = np.eye(8)[which]
        fit = fit_mixed(np.ones((len(which), 1)), [members], minutes)
        sparse = slice(5, 8)
        own = np.array([minutes[which == cell].mean() for cell in range(5, 8)])
        apart.append(np.mean((own - 10 - cells[sparse]) ** 2))
        pooled.append(np.mean((fit.fixed[0] + fit.effects[sparse] - 10 - cells[sparse]) ** 2))
    # By theory 16/6 = 2.67 against about 1 / (1 + 6/16) = 0.73; half leaves room for estimating the spread.
    assert np.mean(pooled) < np.mean(apart) / 2


def test_planted_findings_are_found_and_one_not_planted_is_not():
    rng = np.random.default_rng(6)
    visits, ears = invented_log(rng, visits=5000)
    impacted, narrow = rng.random(len(ears)) < 0.3, rng.random(len(ears)) < 0.3
    more = pd.Series(4.0 * impacted).groupby(ears["visit_id"].to_numpy()).sum()
    seated = visits.assign(minutes=visits["minutes"] + visits["visit_id"].map(more).fillna(0.0))
    marked = ears.assign(impacted=impacted, canal=np.where(narrow, "narrow", "ordinary"))
    marked = typed_frame(EAR_ROWS, marked)
    effects = fit_pooled_minutes(fitted(seated, marked), marked).effects.set_index("fact")
    assert effects.loc["impacted", "minutes"] == pytest.approx(4.0, abs=0.7)
    assert effects.loc["impacted", "low"] > 0
    assert effects.loc["narrow_or_tortuous", "low"] < 0 < effects.loc["narrow_or_tortuous", "high"]


def test_the_planted_share_goes_on_and_its_path_is_the_harder_ears():
    rng = np.random.default_rng(7)
    visits, ears = invented_log(rng, visits=5000)
    hook = (ears["methods"] == "fine_suction") & (rng.random(len(ears)) < 0.25)
    more = pd.Series(np.where(hook, 5.0, 0.0)).groupby(ears["visit_id"].to_numpy()).sum()
    seated = visits.assign(minutes=visits["minutes"] + visits["visit_id"].map(more).fillna(0.0))
    ears = typed_frame(EAR_ROWS, ears.assign(methods=ears["methods"].mask(hook, "fine_suction>hook_or_loop")))
    paths = what_follows(fitted(seated, ears), ears, "fine_suction", "hook_or_loop").paths.set_index("then")
    assert paths.loc["hook_or_loop", "share_low"] <= 0.25 <= paths.loc["hook_or_loop", "share_high"]
    assert paths.loc["hook_or_loop", "minutes"] - paths.loc["", "minutes"] == pytest.approx(5.0, abs=0.8)


@pytest.mark.parametrize("curve", ["log_normal", "weibull"])
def test_a_curve_of_times_cut_short_is_found_where_plain_times_are_too_short(curve):
    rng = np.random.default_rng(8)
    held, plain = 0, 0
    for _ in range(LOGS):
        normal = rng.normal(3.0, 0.4, 600)
        full = np.exp(normal) if curve == "log_normal" else 22.0 * rng.weibull(2.5, 600)
        half = np.exp(3.0) if curve == "log_normal" else 22.0 * np.log(2) ** (1 / 2.5)
        stop = rng.gamma(6, 5, 600)
        seen, done = np.minimum(full, stop), full <= stop
        regression = log_normal_regression if curve == "log_normal" else weibull_regression
        one = regression(seen, np.where(done, seen, np.inf), np.ones((600, 1))).time_until(0.5, np.ones(1))
        cut = regression(seen, seen, np.ones((600, 1))).time_until(0.5, np.ones(1))
        held += one.low <= half <= one.high
        plain += cut.low <= half <= cut.high
    assert held >= HELD_IN_40
    assert plain <= 4


def test_time_to_clear_is_longer_than_in_the_chair_where_visits_stop_early():
    rng = np.random.default_rng(9)
    visits, ears = invented_log(rng, visits=3000)
    ears = typed_frame(EAR_ROWS, ears.assign(outcome=np.where(rng.random(len(ears)) < 0.25, "stopped", "clear")))
    found = time_to_clear(fitted(visits, ears), ears)
    assert (found.table["clear"] > found.table["chair"]).all()
    assert 0.2 < found.stopped / found.visits < 0.5


def test_rounded_minutes_as_intervals_hold_the_truth_where_rounding_down_or_up_is_even():
    """Rounding to ten spreads short visits; intervals find spread and middle again, the written minutes do not."""
    rng = np.random.default_rng(10)
    held, written = 0, 0
    for _ in range(LOGS):
        true = np.exp(rng.normal(2.0, 0.35, 1500))
        rounded = np.maximum(5 * np.rint(true / 5), 5.0)
        low, high = as_intervals(rounded, np.ones(1500, bool))
        low = np.where(rounded == 5.0, 0.0, low)
        one = log_normal_regression(low, high, np.ones((1500, 1)))
        plain = log_normal_regression(rounded, rounded, np.ones((1500, 1)))
        nine = np.exp(2.0 + 0.35 * 1.2815515655446004)
        held += one.time_until(0.9, np.ones(1)).low <= nine <= one.time_until(0.9, np.ones(1)).high
        written += plain.time_until(0.9, np.ones(1)).low <= nine <= plain.time_until(0.9, np.ones(1)).high
    assert held >= HELD_IN_40
    assert written < held


def test_only_the_practitioner_who_rounds_is_found_to():
    visits, ears = invented_log(np.random.default_rng(11), visits=2000)
    rounds = (visits["practitioner"] == "B").to_numpy()
    minutes = np.where(rounds, np.maximum(5 * np.rint(visits["minutes"] / 5), 5.0), np.rint(visits["minutes"]))
    fit = fitted(visits.assign(minutes=minutes), ears)
    parts = pd.DataFrame({"practitioner": fit.sample.visits["practitioner"].astype(str), "export": "one"})
    found = minutes_heaping(fit, parts, parts.iloc[:0])
    strong = found.table[found.table["by"] == "practitioner"].set_index("part")["strong"]
    assert strong.to_dict() == {"A": False, "B": True}
    assert found.intervals == (parts["practitioner"] == "B").sum()


def test_a_clinic_that_slows_down_leaves_its_limits_and_a_steady_one_hardly_ever():
    rng = np.random.default_rng(12)
    day = pd.date_range("2024-01-01", periods=6000, freq="4h")
    steady = pd.DataFrame({"slot_start": day, "category": "new", "minutes": rng.gamma(9, 2.5, 6000)})
    slower = steady.assign(minutes=steady["minutes"].where(np.arange(6000) < 5200, steady["minutes"] * 1.25))
    flags = []
    for log in (steady, slower):
        _, checked = held_out_visits(log)
        months = coverage_by_month(checked, window_visits=1500)
        flags.append(months.loc[months["share"] == 0.8, "left_limits"].tolist())
    assert sum(flags[0]) <= 1
    assert all(flags[1][-3:])
    assert not any(flags[1][:2])

"""Foretold, pooled, cut-short and rounded minutes, on small logs in which the answer is plain."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.derive.attempts import attempts
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_calibration import FEWEST_IN_WINDOW, calibrated_quantiles, held_out_visits
from analysis.models.visit_candidates import candidate_losses
from analysis.models.visit_clearing import time_to_clear
from analysis.models.visit_coverage import coverage_by_category, coverage_by_month
from analysis.models.visit_ears import cleared, found_facts, later_methods, sample_ears
from analysis.models.visit_heaping import minutes_heaping
from analysis.models.visit_pooling import fit_pooled_minutes
from analysis.models.visit_sequence import what_follows
from analysis.models.visit_time import fit_visit_time
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import VisitTimePart
from analysis.stats.censored import NoMaximum
from analysis.stats.log_normal import log_normal_regression
from analysis.stats.mixed import NotPooled, fit_mixed
from tests.visit_world import invented_log


def fitted(visits: pd.DataFrame, ears: pd.DataFrame) -> FittedVisitTime:
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    return fit_visit_time(visits, worked, ears, VisitTimePart())


@pytest.fixture(scope="module")
def log() -> tuple[pd.DataFrame, pd.DataFrame, FittedVisitTime]:
    visits, ears = invented_log(np.random.default_rng(41), visits=1000)
    return visits, ears, fitted(visits, ears)


def kept_minutes(new: int, recall: int) -> pd.DataFrame:
    day = pd.date_range("2026-01-01", periods=new + recall, freq="h")
    category = np.array(["new"] * new + ["routine_recall"] * recall)[
        np.argsort(np.arange(new + recall) * 7 % (new + recall))
    ]
    return pd.DataFrame({"slot_start": day, "category": category, "minutes": 10.0 + np.arange(new + recall) % 20})


def test_a_category_is_put_right_by_its_own_visits_only_from_fifty():
    rare = FEWEST_IN_WINDOW * 4 - 40
    table = calibrated_quantiles(kept_minutes(1000, rare)).table.set_index(["category", "share"])
    assert table.loc[("new", 0.8), "own"]
    assert not table.loc[("routine_recall", 0.8), "own"]
    assert table.loc[("routine_recall", 0.8), "window_visits"] == (1000 + rare) - int((1000 + rare) * 0.75)


def test_visits_without_a_category_are_passed_over_and_too_few_are_refused():
    visits = kept_minutes(80, 60)
    visits.loc[visits.index[:41], "category"] = None
    with pytest.raises(NotEnough, match="Only 99 visits"):
        calibrated_quantiles(visits)


def test_minutes_that_grew_in_the_window_are_put_right_upwards():
    visits = kept_minutes(800, 0)
    visits["minutes"] = visits["minutes"].where(np.arange(800) < 600, visits["minutes"] * 1.5)
    table = calibrated_quantiles(visits).table
    assert (table["minutes"] > 1.3 * table["foretold"]).all()


def test_the_last_quarter_checks_and_has_no_part_in_the_promise():
    visits = kept_minutes(800, 0)
    _, checked = held_out_visits(visits)
    assert checked["slot_start"].min() == visits["slot_start"].iloc[600]
    assert (checked.groupby("share").size() == 200).all()


def test_a_category_or_month_of_few_visits_is_not_judged():
    checked = pd.DataFrame(
        {
            "slot_start": pd.to_datetime(["2026-01-05"] * 19 + ["2026-02-05"] * 20),
            "category": ["new"] * 19 + ["routine_recall"] * 20,
            "share": 0.8,
            "within": True,
            "under": True,
        }
    )
    months = coverage_by_month(checked, window_visits=300)
    assert months["month"].dt.month.tolist() == [2]
    by_category = coverage_by_category(checked, level=0.95).set_index("category")
    assert np.isnan(by_category.loc["new", "held"])
    assert by_category.loc["routine_recall", "held"] == 1.0


def test_ways_are_judged_only_with_a_hundred_later_visits(log):
    visits, ears, _ = log
    came = visits[visits["minutes"].notna()]
    with pytest.raises(NotEnough, match="later visits"):
        candidate_losses(fitted(came.iloc[:396], ears))
    found = candidate_losses(fitted(came.iloc[:420], ears))
    assert found.judged_on == 105
    assert found.table["worse"].min() == 0


def test_no_way_is_judged_on_what_it_was_fitted_on(log):
    """Later visits far beyond what was foretold, and ten minutes further: each loss grows by ten times its share."""
    visits, ears, fit = log
    cut = fit.sample.visits["slot_start"].iloc[int(len(fit.minutes) * 0.75)]
    short = visits[~(visits["minutes"] > 45)]
    tables = []
    for shift in (60.0, 70.0):
        later = short.assign(minutes=short["minutes"] + shift * (short["slot_start"] >= cut))
        tables.append(candidate_losses(fitted(later, ears)).table)
    for share in (0.5, 0.8, 0.9):
        growth = tables[1][f"loss_{share:g}"] - tables[0][f"loss_{share:g}"]
        assert growth.tolist() == pytest.approx([share * 10] * len(growth))


def test_facts_of_an_ear_are_read_as_recorded():
    ears = pd.DataFrame(
        {
            "impacted": pd.array([True, None, False], dtype="boolean"),
            "debris": ["mixed", "hard_wax", None],
            "canal": ["narrow_and_tortuous", "operated", "ordinary"],
            "outcome": ["clear", "stopped", "non_occluding_left"],
            "methods": ["fine_suction>hook_or_loop>forceps", "hook_or_loop", None],
        }
    )
    facts = {name: found.tolist() for name, found in found_facts(ears).items()}
    assert facts == {
        "impacted": [True, False, False],
        "dead_skin": [True, False, False],
        "narrow_or_tortuous": [True, False, False],
    }
    assert cleared(ears).tolist() == [True, False, True]
    assert later_methods(ears).tolist() == ["hook_or_loop", "", ""]


def test_each_worked_ear_finds_its_own_row(log):
    _, ears, fit = log
    mine = sample_ears(fit.sample, ears)
    assert len(mine) == len(fit.sample.ears)
    assert (mine["methods"].to_numpy() == fit.sample.ears["first_method"].to_numpy()).all()


def test_where_every_visit_has_one_ear_the_parts_are_whole_visits(log):
    visits, ears, _ = log
    one = ears.drop_duplicates("visit_id")
    seen = visits[visits["visit_id"].isin(one["visit_id"])]
    found = fit_pooled_minutes(fitted(seen, one), one)
    assert not found.has_overhead
    assert found.added["minutes"].min() > 9  # the planted overhead is in them


def test_a_path_of_few_ears_has_no_minutes_and_one_never_taken_is_not_listed(log):
    visits, ears, _ = log
    fine = ears.index[ears["methods"] == "fine_suction"]
    methods = ears["methods"].astype("object").copy()
    methods[fine[:19]] = "fine_suction>hook_or_loop"
    methods[fine[19:39]] = "fine_suction>forceps"
    changed = typed_frame(EAR_ROWS, ears.assign(methods=methods))
    paths = what_follows(fitted(visits, changed), changed, "fine_suction", "hook_or_loop").paths.set_index("then")
    assert sorted(paths.index) == ["", "forceps", "hook_or_loop"]
    assert np.isnan(paths.loc["hook_or_loop", "minutes"])
    assert paths.loc["forceps", "minutes"] > 0
    assert paths["share"].sum() == pytest.approx(1)


def test_a_visit_with_an_unknown_outcome_is_left_out_of_clearing(log):
    visits, ears, _ = log
    outcome = ears["outcome"].astype("object").copy()
    outcome[ears.index[:10]] = None
    blank = typed_frame(EAR_ROWS, ears.assign(outcome=outcome))
    whole, less = time_to_clear(fitted(visits, ears), ears), time_to_clear(fitted(visits, blank), blank)
    assert whole.stopped == less.stopped == 0
    assert less.unknown - whole.unknown == blank.loc[blank.index[:10], "visit_id"].nunique()
    assert less.visits == whole.visits - (less.unknown - whole.unknown)


def test_minutes_cut_short_by_a_stop_never_count_as_cleared(log):
    visits, ears, _ = log
    stopped = typed_frame(EAR_ROWS, ears.assign(outcome="stopped"))
    with pytest.raises(NotEnough, match="Only 0 visits have their occluding ears recorded as cleared"):
        time_to_clear(fitted(visits, stopped), stopped)


def test_a_part_of_few_visits_is_taken_as_written(log):
    visits, ears, _ = log
    who = np.where(np.arange(len(visits)) < 25, "C", "A")
    minutes = np.where(who == "C", 20.0, visits["minutes"].round())
    fit = fitted(visits.assign(practitioner=who, minutes=np.where(visits["minutes"].notna(), minutes, np.nan)), ears)
    parts = pd.DataFrame({"practitioner": fit.sample.visits["practitioner"].astype(str), "export": "one"})
    found = minutes_heaping(fit, parts, parts.iloc[:0])
    assert found.table["part"].tolist() == ["all", "A", "one"]
    assert found.intervals == 0


def test_without_groups_nothing_is_pooled():
    design, minutes = np.column_stack([np.ones(4), [0.0, 0.0, 1.0, 1.0]]), np.array([9.0, 11.0, 19.0, 21.0])
    assert fit_mixed(design, [], minutes).fixed == pytest.approx([10.0, 10.0])


def test_columns_that_are_sums_of_others_are_refused():
    with pytest.raises(NotPooled):
        fit_mixed(np.ones((4, 2)), [np.eye(4)], np.arange(4.0))


def test_times_that_do_not_spread_or_never_end_settle_no_curve():
    ones, alike = np.ones((30, 1)), np.full(30, 15.0)
    with pytest.raises(NoMaximum, match="do not spread"):
        log_normal_regression(alike, alike, ones)
    with pytest.raises(NoMaximum, match="upper limit"):
        log_normal_regression(alike, np.full(30, np.inf), ones)

"""The invented clinic tells the story it says it tells."""

import numpy as np
import pandas as pd
import pytest

from analysis.demo import invented_clinic
from analysis.demo.diary import ROTA
from analysis.schema import EAR_ROWS, OCCLUDING, SUCCESSES, VISITS, pandas_dtype


@pytest.fixture(scope="module")
def invented():
    return invented_clinic()


@pytest.fixture(scope="module")
def attended(invented):
    return invented.visits[invented.visits["attendance"] == "attended"]


def test_about_eleven_thousand_bookings_at_two_sites_by_four_practitioners_over_three_years(invented):
    visits = invented.visits
    assert 10_000 <= len(visits) <= 12_000
    assert visits["site"].nunique() == 2
    assert visits["practitioner"].nunique() == 4
    assert visits["slot_start"].min().date().isoformat() == "2023-10-02"  # the first Monday
    assert visits["slot_start"].max().date().isoformat() == "2026-09-30"


@pytest.mark.parametrize(("table", "name"), [(VISITS, "visits"), (EAR_ROWS, "ears")])
def test_frames_have_the_columns_and_types_of_the_schema(invented, table, name):
    frame = getattr(invented, name)
    assert list(frame.columns) == table.names
    assert {each.name: str(frame[each.name].dtype) for each in table.columns} == {
        each.name: str(pd.Series([], dtype=pandas_dtype(each)).dtype) for each in table.columns
    }


def test_every_attended_visit_has_a_left_and_a_right_ear_and_no_other_has_any(invented, attended):
    ears = invented.ears
    assert not ears.duplicated(["visit_id", "ear"]).any()
    assert set(ears["visit_id"]) == set(attended["visit_id"])
    assert len(ears) == 2 * len(attended)
    assert invented.visits["visit_id"].is_unique


def test_minutes_are_timed_and_end_minus_start(attended):
    took = (attended["ended_at"] - attended["started_at"]).dt.total_seconds() / 60
    assert (took == attended["minutes"]).all()
    assert (attended["minutes_quality"] == "timed").all()


def test_no_patient_starts_before_slot_or_arrival_or_the_end_of_the_one_before(attended):
    assert (attended["started_at"] >= attended[["slot_start", "arrived_at"]].max(axis=1)).all()
    in_order = attended.sort_values(["practitioner", "slot_start"])
    day = in_order["slot_start"].dt.normalize()
    before = in_order["ended_at"].groupby([in_order["practitioner"], day]).shift()
    followed = before.notna()
    pause = (in_order["started_at"] - before)[followed].dt.total_seconds() / 60
    assert followed.sum() > 5000
    assert pause.min() >= 2


def test_sessions_cannot_run_into_each_other():
    """No practitioner stands twice on one weekday's rota."""
    days = [(weekday, who) for rota in ROTA for weekday, _, who in rota]
    assert len(days) == len(set(days))


def test_slots_of_a_session_follow_one_another(invented):
    held = invented.visits[invented.visits["attendance"].isin(["attended", "missed", "cancelled_late"])]
    held = held.sort_values(["practitioner", "slot_start"])
    ends = held["slot_start"] + pd.to_timedelta(held["slot_minutes"], unit="m")
    before = ends.groupby([held["practitioner"], held["slot_start"].dt.normalize()]).shift()
    assert (held["slot_start"][before.notna()] == before[before.notna()]).all()


def test_bookings_are_made_before_their_day(invented):
    ahead = invented.visits["slot_start"].dt.normalize() - invented.visits["booked_on"]
    assert ahead.dt.days.min() >= 1


def test_second_attempts_come_about_ten_to_fourteen_days_later(invented):
    second = invented.visits[invented.visits["booking_kind"] == "second_attempt"]
    days = (second["slot_start"].dt.normalize() - second["booked_on"]).dt.days
    assert days.quantile(0.25) >= 9
    assert days.quantile(0.75) <= 14


def test_the_same_seed_gives_the_same_clinic_and_another_seed_another(invented):
    again, other = invented_clinic(), invented_clinic(7)
    pd.testing.assert_frame_equal(invented.visits, again.visits)
    pd.testing.assert_frame_equal(invented.ears, again.ears)
    assert invented.truth == again.truth
    assert len(other.visits) != len(invented.visits)
    assert other.truth["softening"]["used"]["risk_difference"] != invented.truth["softening"]["used"]["risk_difference"]


def test_softening_helps_but_the_plain_comparison_of_the_advised_says_the_opposite(invented, attended):
    planted = invented.truth["softening"]
    assert 0.08 <= planted["used"]["risk_difference"] <= 0.12
    assert 0.03 < planted["advised"]["risk_difference"] < planted["used"]["risk_difference"]
    assert planted["advised"]["unadjusted_risk_difference"] < 0.01
    assert planted["used"]["unadjusted_risk_difference"] < planted["used"]["risk_difference"] / 2
    ears = invented.ears[invented.ears["grade"].isin(OCCLUDING)].merge(attended, on="visit_id")
    ears = ears[ears["booking_kind"] != "second_attempt"]
    success = ears["outcome"].isin(SUCCESSES)
    advised = ears["softening_advised"].astype(bool)
    # the same sign as the truth file says, from the frames alone (eligibility is a little wider here)
    assert success[advised].mean() - success[~advised].mean() == pytest.approx(
        planted["advised"]["unadjusted_risk_difference"], abs=0.02
    )


def test_within_like_ears_the_softened_clear_more_often(invented, attended):
    ears = invented.ears[invented.ears["grade"].isin(OCCLUDING)].merge(attended, on="visit_id")
    ears = ears.assign(success=ears["outcome"].isin(SUCCESSES), used=ears["softener"] != "none")
    like = ears.groupby(["grade", "debris", "impacted", "used"], observed=True)["success"].agg(["mean", "size"])
    used, unused = (like.xs(arm, level="used") for arm in (True, False))
    big = (used["size"] >= 100) & (unused["size"] >= 100)
    assert big.sum() >= 4
    assert (used["mean"] - unused["mean"])[big].min() > 0


def test_mean_minutes_add_up_from_the_planted_parts(invented, attended):
    planted = invented.truth["visit_time"]
    ears = invented.ears.assign(first=invented.ears["methods"].str.split(">").str[0])
    parts = [
        planted["looked_at_minutes"] if not first else planted["ear_minutes_unsoftened"][grade][first]
        for grade, first in zip(ears["grade"].astype(str), ears["first"], strict=True)
    ]
    softened = ears["visit_id"].map(attended.set_index("visit_id")["softener"].astype(str) != "none")
    shorter = softened & ears["grade"].isin(OCCLUDING)
    total = (
        pd.Series(np.where(shorter, planted["softened_factor"], 1.0) * parts, ears["visit_id"]).groupby(level=0).sum()
    )
    mean = (
        planted["overhead_minutes"]
        + attended["visit_id"].map(total)
        + attended["booking_kind"].astype(str).map(planted["kind_minutes"])
        + attended["practitioner"].map(planted["practitioner_minutes"])
        + planted["in_chair_minutes"] * attended["in_chair_softener"].astype(float)
    )
    ratio = attended["minutes"] / mean
    # standard error of the mean ratio is 1/sqrt(9 * 8,900), about 0.0035; four of them
    assert ratio.mean() == pytest.approx(1.0, abs=0.014)
    # the coefficient of variation of a gamma of shape 9 is 1/3
    assert ratio.std() == pytest.approx(1 / planted["gamma_shape"] ** 0.5, abs=0.02)


def test_a_later_method_goes_with_a_long_visit_but_is_not_its_cause(invented, attended):
    later = invented.ears["methods"].str.contains(">")
    with_later = set(invented.ears.loc[later, "visit_id"])
    has = attended["visit_id"].isin(with_later)
    assert attended["minutes"][has].mean() > attended["minutes"][~has].mean() + 2


WHOSE = ("_all_clearances", "", "_population")


def test_hearing_aid_wearers_occlude_sooner_and_the_figures_stay_near_coppin(invented):
    months = invented.truth["recall"]["months_until_share_occluded"]
    for share in ("at_20_percent", "at_30_percent", "at_50_percent"):
        assert months["hearing_aid"][share] < months["overall"][share] < months["no_hearing_aid"][share]
        of_ears = [invented.truth["recall"][f"months_until_share_occluded{whose}"]["overall"][share] for whose in WHOSE]
        assert of_ears == sorted(of_ears)  # ears that fill fast are in the log oftener
    # Coppin 2011 (doi 10.1370/afm.1229): 60 % and 73 % came back within 2 years
    assert 0.60 <= invented.truth["returns"]["back_within_24_months_share"] <= 0.73


def test_population_months_are_those_of_the_written_formula(invented):
    planted = invented.truth["recall"]
    at = invented.truth["recall"]["months_until_share_occluded_population_no_cotton_bud"]["at_50_percent"]
    scales = (planted["scale_months"]["neither"], planted["scale_months"]["hearing_aid"])
    variance = planted["frailty_variance"]
    shares = [1 - (1 + variance * (at / scale) ** planted["weibull_shape"]) ** (-1 / variance) for scale in scales]
    assert shares[0] < 0.5 < shares[1]  # the mixture's median lies between those of its two groups


def test_the_futures_go_on_where_the_log_ends(invented):
    demand = invented.truth["demand"]
    visits = invented.visits[invented.visits["attendance"] == "attended"]
    last_half_year = (visits["slot_start"] >= "2026-04-01").sum() / 6
    assert demand["months"] == ["2026-10", "2026-11", "2026-12", "2027-01", "2027-02", "2027-03"]
    assert 0.85 * last_half_year < np.mean(demand["visits"]) < 1.35 * last_half_year
    by_kind = np.sum(list(demand["visits_by_kind"].values()), axis=0)
    assert by_kind == pytest.approx(demand["visits"], abs=1e-4)
    # room for chance: if the diary were full, futures could not differ
    assert min(demand["visits_spread"]) > 8


def test_grades_agree_with_the_share_blocked(invented):
    spans = invented.ears.groupby("grade", observed=True)["percent_blocked"].agg(["min", "max"])
    assert spans.to_numpy().tolist() == [[0, 0], [15, 45], [50, 95], [100, 100]]

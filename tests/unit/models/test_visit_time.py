"""Which minutes count, how ears are counted, and what a visit's minutes are split into."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.derive.attempts import attempts
from analysis.models.ear_cells import POOLED, ear_cells
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_time import fit_visit_time
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import VisitTimePart
from tests.visit_world import invented_log


def fit(visits: pd.DataFrame, ears: pd.DataFrame, settings: VisitTimePart | None = None) -> FittedVisitTime:
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    return fit_visit_time(visits, worked, ears, settings or VisitTimePart())


def log(*groups: tuple[int, list[float], list[str]]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """So many visits each of given minutes, with ears of given grades, all by fine-end suction."""
    rows, ears = [], []
    for many, minutes, grades in groups:
        for each in minutes * many:
            visit = f"v{len(rows):04d}"
            rows.append((visit, pd.Timestamp("2026-03-02") + pd.Timedelta(minutes=len(rows)), each))
            ears += [(visit, ear, grade) for ear, grade in zip(["left", "right"], grades, strict=False)]
    visits = pd.DataFrame(rows, columns=["visit_id", "slot_start", "minutes"])
    visits = visits.assign(attendance="attended", minutes_quality="timed", patient_key=visits["visit_id"])
    frame = pd.DataFrame(ears, columns=["visit_id", "ear", "grade"]).assign(methods="fine_suction", outcome="clear")
    return typed_frame(VISITS, visits), typed_frame(EAR_ROWS, frame)


PLAIN = log((20, [8.0, 10.0], []), (20, [13.0, 17.0], ["fully_occluding"]), (20, [19.0, 23.0], ["fully_occluding"] * 2))


def test_a_visit_is_its_overhead_and_a_part_for_each_ear():
    found = fit(*PLAIN)
    assert found.overhead.value == pytest.approx(9.0)
    assert found.added["minutes"].tolist() == pytest.approx([6.0])
    assert found.added[["ears", "visits"]].to_numpy().tolist() == [[120, 80]]
    ear = ("fully_occluding", "fine_suction")
    assert found.expected_minutes([ear, ear]).value == pytest.approx(21.0)
    assert found.expected_minutes([]).value == pytest.approx(9.0)
    assert found.minutes_within(0.5, [ear, ear]) < found.minutes_within(0.9, [ear, ear])


def test_an_ear_or_a_practitioner_the_log_does_not_know_is_refused():
    found = fit(*PLAIN)
    with pytest.raises(KeyError):
        found.expected_minutes([("clear", "forceps")])
    with pytest.raises(KeyError):
        found.expected_minutes([], practitioner="nobody")


def test_minutes_that_do_not_count_are_left_out_and_counted_and_rounded_ones_kept():
    visits, ears = PLAIN
    quality = ["filled_from_slot"] * 3 + ["missing"] * 2 + ["implausible"] + ["rounded"] * 4
    visits = visits.assign(
        minutes_quality=pd.Categorical(quality + ["timed"] * 110, visits["minutes_quality"].cat.categories)
    )
    visits.loc[10, "minutes"] = 1.5
    visits.loc[11, "minutes"] = 121.0
    visits.loc[12, "minutes"] = np.nan
    found = fit(visits, ears)
    assert found.sample.left_out == {"filled_from_slot": 3, "missing": 3, "implausible": 3}
    assert found.sample.rounded == 4
    assert len(found.means) == 120 - 9


def test_the_shortest_and_longest_plausible_minutes_themselves_count():
    visits, ears = PLAIN
    visits = visits.assign(minutes=visits["minutes"].where(visits.index > 1, [2.0, 120.0] + [0.0] * 118))
    assert fit(visits, ears).sample.left_out == {}


def test_one_patient_who_alone_tells_of_an_ear_leaves_a_range_that_ends():
    visits, ears = PLAIN
    graded = ears.loc[ears["grade"] == "fully_occluding", "visit_id"]
    keys = visits["patient_key"].mask(visits["visit_id"].isin(graded), "p1")
    alone, many = fit(visits.assign(patient_key=keys), ears).added, fit(visits, ears).added
    assert alone["minutes"].tolist() == many["minutes"].tolist()
    assert np.isfinite(alone[["low", "high"]]).all(axis=None)


def test_two_like_visits_of_a_patient_tell_no_more_than_one():
    visits, ears = PLAIN
    once = fit(visits, ears).overhead
    again = visits["visit_id"].replace("$", "b", regex=True)
    twice = pd.concat([visits, visits.assign(visit_id=again)], ignore_index=True)
    whose = pd.Series([f"p{place}" for place in [*range(len(visits))] * 2], dtype="str")
    both = pd.concat([ears, ears.assign(visit_id=ears["visit_id"].replace("$", "b", regex=True))], ignore_index=True)
    together = fit(twice.assign(patient_key=whose), both).overhead
    assert together.value == pytest.approx(once.value)
    assert together.high - together.low == pytest.approx(once.high - once.low)


def test_a_visit_without_patient_number_is_a_patient_of_its_own():
    visits, ears = PLAIN
    without = visits.assign(patient_key=pd.Series([None] * len(visits), dtype="str"))
    assert fit(without, ears).overhead == fit(visits, ears).overhead


def test_a_visit_with_an_ungraded_worked_ear_is_left_out():
    visits, ears = PLAIN
    ears = ears.assign(grade=ears["grade"].where(~ears["visit_id"].isin(["v0040", "v0100"])))
    found = fit(visits, ears)
    assert found.sample.left_out == {"ungraded": 2}
    assert found.overhead.value == pytest.approx(9.0, abs=0.1)


@pytest.mark.parametrize("lacking", [{"grade": None}, {"grade": None, "methods": None, "outcome": None}])
def test_without_grades_ears_have_no_parts_and_the_visits_mean_stands(lacking):
    visits, ears = PLAIN
    ears = typed_frame(EAR_ROWS, ears.drop(columns=list(lacking)))
    found = fit(visits, ears)
    assert found.added.empty
    assert not found.sample.has_grades
    assert found.overhead.value == pytest.approx(visits["minutes"].mean())


def test_without_any_ear_row_the_visits_mean_stands():
    visits, ears = PLAIN
    assert fit(visits, ears.iloc[:0]).overhead.value == pytest.approx(visits["minutes"].mean())


def test_without_methods_ears_are_told_apart_by_grade_alone():
    visits, ears = PLAIN
    found = fit(visits, typed_frame(EAR_ROWS, ears.drop(columns="methods")))
    assert found.added["minutes"].tolist() == pytest.approx([6.0])
    assert found.added["first_method"].isna().all()


def test_where_every_visit_has_one_worked_ear_its_minutes_are_the_whole_visits():
    found = fit(*log((30, [13.0, 17.0], ["fully_occluding"]), (30, [9.0, 13.0], ["partly_occluding"])))
    assert found.overhead is None
    assert found.added["minutes"].tolist() == pytest.approx([11.0, 15.0])


def test_where_each_ear_is_timed_its_minutes_are_its_own():
    visits, ears = PLAIN
    found = fit(visits, ears.assign(minutes=[2.0, 6.0] * 60))
    assert found.sample.timed_by_ear
    assert found.added["minutes"].tolist() == pytest.approx([4.0])
    rest = visits["minutes"].sum() - 480.0
    assert found.overhead.value == pytest.approx(rest / len(visits))


def test_a_visit_shorter_than_its_timed_ears_is_left_out():
    visits, ears = PLAIN
    ears = ears.assign(minutes=4.0)
    ears.loc[0, "minutes"] = 13.0  # the visit took 13 minutes, so nothing is left of it
    assert fit(visits, ears).sample.left_out == {"ear_minutes": 1}


def test_one_practitioner_has_no_term_and_two_lie_about_the_logs_average():
    visits, ears = invented_log(np.random.default_rng(4))
    alone = fit(visits.assign(practitioner="A"), ears)
    assert alone.practitioners.empty
    table = fit(visits, ears).practitioners
    assert (table["minutes"] * table["visits"]).sum() == pytest.approx(0, abs=1e-9)


def test_a_practitioner_with_few_visits_is_counted_with_the_commonest():
    visits, ears = invented_log(np.random.default_rng(4), visits=400)
    visits.loc[:9, "practitioner"] = "C"
    assert set(fit(visits, ears).practitioners["practitioner"]) == {"A", "B"}


def ears_of(*cells: tuple[int, str, str]) -> pd.DataFrame:
    rows = [(grade, method) for many, grade, method in cells for _ in range(many)]
    frame = pd.DataFrame(rows, columns=["grade", "first_method"])
    return frame.assign(visit=range(len(frame)))


def test_rare_first_methods_of_a_grade_are_pooled_and_show_no_figure():
    ears = ears_of(
        (9, "fully_occluding", "fine_suction"), (3, "fully_occluding", "forceps"), (3, "fully_occluding", "irrigation")
    )
    cells = ear_cells(ears, visits=20, fewest_visits=5)
    assert cells.cells == [("fully_occluding", "fine_suction"), ("fully_occluding", POOLED)]
    assert cells.counts.sum(axis=0).tolist() == [9, 6]
    assert cells.has_own_figure.tolist() == [True, False, False]


def test_too_rare_to_be_pooled_counts_with_the_commonest():
    ears = ears_of((9, "clear", "fine_suction"), (7, "clear", "forceps"), (2, "clear", "irrigation"))
    cells = ear_cells(ears, visits=18, fewest_visits=5)
    assert cells.counts.sum(axis=0).tolist() == [11, 7]
    assert cells.has_own_figure.tolist() == [True, True, False]


def test_exactly_the_fewest_visits_have_a_figure():
    assert ear_cells(ears_of((5, "clear", "forceps")), visits=5, fewest_visits=5).has_own_figure.tolist() == [True]


def test_two_ears_of_one_visit_are_one_visit():
    ears = ears_of((5, "clear", "forceps")).assign(visit=[0, 0, 1, 1, 2])
    assert ear_cells(ears, visits=3, fewest_visits=4).cells == []


def test_a_grade_seen_too_rarely_is_left_out_with_its_visits():
    visits, ears = PLAIN
    ears = ears.assign(grade=ears["grade"].where(~ears["visit_id"].isin(["v0040", "v0041"]), "partly_occluding"))
    found = fit(visits, ears)
    assert found.sample.left_out == {"rare_grade": 2}
    assert found.added["grade"].tolist() == ["fully_occluding"]


def test_counting_each_visit_once_redraws_the_fit_itself():
    found = fit(*invented_log(np.random.default_rng(6)))
    means, shape = found.redrawn(np.ones(len(found.means)))
    assert means == pytest.approx(found.means, rel=1e-8)
    assert shape == pytest.approx(found.shape, rel=1e-8)


def test_one_step_comes_close_to_fitting_the_redrawn_visits_anew():
    visits, ears = invented_log(np.random.default_rng(6), visits=3000)
    found = fit(visits, ears)
    twice = found.sample.visits["visit_id"].isin(set(found.sample.visits["visit_id"].iloc[::3]))
    means, _ = found.redrawn(1.0 + twice.to_numpy())
    again_visits, again_ears = with_copies(visits, ears, set(found.sample.visits["visit_id"][twice]))
    again = fit(again_visits, again_ears)
    both = pd.Series(again.means, index=again.sample.visits["visit_id"]).loc[found.sample.visits["visit_id"]]
    assert means == pytest.approx(both.to_numpy(), rel=0.01)


def with_copies(visits: pd.DataFrame, ears: pd.DataFrame, whose: set[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Add a copy of some visits, for patients of their own."""
    more, also = visits[visits["visit_id"].isin(whose)], ears[ears["visit_id"].isin(whose)]
    more = more.assign(visit_id="copy " + more["visit_id"], patient_key="copy " + more["patient_key"])
    also = also.assign(visit_id="copy " + also["visit_id"])
    return pd.concat([visits, more], ignore_index=True), pd.concat([ears, also], ignore_index=True)


def why(visits: pd.DataFrame, ears: pd.DataFrame) -> str:
    with pytest.raises(NotEnough) as refusal:
        fit(visits, ears)
    return str(refusal.value)


def test_no_end_times_are_said_to_be_missing():
    visits, ears = PLAIN
    assert why(typed_frame(VISITS, visits.drop(columns=["minutes", "minutes_quality"])), ears) == (
        "The log holds no start and end for 120 of 120 attended visits. "
        "Record when each visit starts and ends, for a month at least."
    )


def test_ends_filled_from_the_slot_are_said_to_be():
    visits, ears = PLAIN
    filled = visits.assign(
        minutes_quality=pd.Categorical(["filled_from_slot"] * 120, visits["minutes_quality"].cat.categories)
    )
    assert "the end is copied from the slot" in why(filled, ears)


def test_visits_that_last_exactly_their_slot_are_the_diarys():
    visits, ears = PLAIN
    assert "last exactly their slot" in why(visits.assign(slot_minutes=visits["minutes"]), ears)


def test_a_handful_of_visits_is_too_few():
    visits, ears = PLAIN
    assert why(visits.iloc[:49], ears) == "The log holds 49 attended visits; 50 are needed. Add more of the log."

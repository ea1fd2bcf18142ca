"""Practitioners and sites within what chance allows: never ranked, never named, refused where there are too few."""

import numpy as np
import pandas as pd

from analysis.answers.within_chance import within_chance
from analysis.clinic import Clinic
from analysis.present.page_parts import answer_html, answer_text
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def clinic(shares: dict[str, float], *, each: int = 300, toml: str = "", **columns) -> Clinic:
    """Make a year of visits: each practitioner sees so many ears and clears this share of them."""
    rows = []
    for who, share in shares.items():
        for place in range(each):
            start = pd.Timestamp("2025-01-02 09:00") + pd.Timedelta(days=place)
            rows.append({"practitioner": who, "slot_start": start, "cleared": place < share * each})
    visits = pd.DataFrame(rows).assign(attendance="attended", **columns)
    visits["visit_id"] = visits["patient_key"] = [f"v{row}" for row in visits.index]
    ears = pd.DataFrame(
        {"visit_id": visits["visit_id"], "ear": "left", "grade": "fully_occluding", "methods": "irrigation"}
    )
    ears["outcome"] = np.where(visits["cleared"], "clear", "occluding_left")
    day = "\n[clinic]\nlast_day = 2025-12-31"
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears), settings=settings_from_toml(toml + day))


def test_alike_practitioners_are_within_what_chance_allows():
    answer = within_chance(clinic({"Zoe": 0.80, "Ann": 0.82, "Kit": 0.81}), "2025-Q4")
    assert answer.chart_title == "All are within what chance allows"
    assert set(answer.table["chance_verdict"]) == {"within what chance allows"}


def test_nobody_is_named_nor_ranked():
    answer = within_chance(clinic({"Zoe": 0.9, "Ann": 0.6, "Kit": 0.8}), "2025-Q4")
    assert answer.table["part"].tolist() == ["practitioner 1", "practitioner 2", "practitioner 3"]
    shown = answer_html(answer) + answer_text(answer) + answer.chart.to_json()
    assert not any(name in shown for name in ("Zoe", "Ann", "Kit"))
    assert not any(word in answer_text(answer).lower() for word in ("best", "worst", "rank "))


def test_one_far_off_is_told_as_a_question_with_its_limits():
    answer = within_chance(clinic({"Zoe": 0.9, "Ann": 0.6, "Kit": 0.88}), "2025-Q4")
    assert "practitioner 1 in first attempts that succeeded (60%," in answer.headline
    assert any("not a verdict" in each for each in answer.cautions)


def test_one_practitioner_is_not_compared_with_anybody():
    answer = within_chance(clinic({"Zoe": 0.8}), "2025-Q4")
    assert not answer.answered
    assert "no two practitioners or sites" in answer.headline


def test_a_log_without_sites_or_grades_is_compared_by_practitioner():
    bare = clinic({"Zoe": 0.8, "Ann": 0.82})
    ears = typed_frame(EAR_ROWS, bare.ears.drop(columns="grade"))
    answer = within_chance(Clinic(bare.visits, ears, settings=bare.settings), "2025-Q4")
    assert answer.table["quarter_share"].notna().all()


def test_each_column_may_be_lacking():
    whole = clinic({"Zoe": 0.8, "Ann": 0.82}, adverse_event="none")
    for column in ("practitioner", "patient_key", "attendance", "slot_start", "adverse_event"):
        visits = typed_frame(VISITS, whole.visits.drop(columns=column))
        assert within_chance(Clinic(visits, whole.ears, settings=whole.settings), "2025-Q4").headline

"""What a quarter's ears were: counted by hand, small counts hidden, lacking columns left out."""

import pandas as pd
import pytest

from analysis.answers.case_mix import what_we_saw
from analysis.clinic import Clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def clinic(ears: list[dict], *, toml: str = "[clinic]\nhide_below = 1") -> Clinic:
    """Make one visit an ear in summer 2026."""
    table = pd.DataFrame(ears)
    table["visit_id"] = [f"v{row}" for row in table.index]
    visits = pd.DataFrame({"visit_id": table["visit_id"], "patient_key": table["visit_id"], "attendance": "attended"})
    visits["slot_start"] = pd.date_range("2026-07-01 09:00", "2026-09-29 09:00", periods=len(table))
    day = "\nlast_day = 2026-09-30"
    return Clinic(
        typed_frame(VISITS, visits),
        typed_frame(EAR_ROWS, table.assign(ear="left")),
        settings=settings_from_toml(toml + day),
    )


FINE = {"grade": "fully_occluding", "impacted": True, "methods": "fine_suction>hook_or_loop", "debris": "hard_wax"}
WIDE = {"grade": "partly_occluding", "impacted": False, "methods": "wide_suction", "debris": "soft_wax"}


def counts(answer) -> dict[str, float]:
    return answer.table.set_index("measure")["this_quarter"].to_dict()


def test_grades_methods_and_their_order_are_counted():
    told = counts(what_we_saw(clinic([FINE] * 12 + [WIDE] * 20), "2026-Q3"))
    assert told["first found fully occluding"] == told["impacted"] == told["fine-end suction, then hook or loop"] == 12
    assert told["begun with wide suction"] == told["one method only"] == 20
    assert told["went on to a second method"] == 12


def test_shares_are_of_the_ears_of_which_the_log_says():
    silent = {name: value for name, value in WIDE.items() if name != "impacted"}
    answer = what_we_saw(clinic([FINE] * 10 + [WIDE] * 10 + [silent] * 20), "2026-Q3")
    row = answer.table.set_index("measure").loc["impacted"]
    assert (row["quarter_share"], row["out_of"]) == (0.5, 20)


def test_a_small_count_is_hidden_with_the_one_that_would_give_it_away():
    told = counts(what_we_saw(clinic([FINE] * 3 + [WIDE] * 30, toml="[clinic]"), "2026-Q3"))
    assert pd.isna(told["impacted"])
    assert pd.isna(told["not impacted"])


@pytest.mark.parametrize("column", ["grade", "impacted", "methods", "debris"])
def test_each_column_may_be_lacking(column):
    lacking = [{name: value for name, value in ear.items() if name != column} for ear in [FINE] * 10 + [WIDE] * 10]
    answer = what_we_saw(clinic(lacking), "2026-Q3")
    assert answer.answered


def test_no_first_attempt_gives_no_answer():
    assert not what_we_saw(clinic([FINE] * 10), "2024-Q3").answered

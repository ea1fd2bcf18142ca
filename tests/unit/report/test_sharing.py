"""The last look before a report leaves: small counts, shares that tell them, and small numbers in sentences go."""

import pandas as pd
import pytest

from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.problems import NotEnough
from analysis.report.sharing import safe_to_share


def shared(**parts):
    return safe_to_share(Answer("Q?", "H.", **parts), 5)


def row(quantity, value, *, unit="share", n=None, low=None):
    return ResultRow("quarter", quantity, {}, value, low, low, 0.95, unit, n, "")


@pytest.mark.parametrize(
    ("counts", "left"),
    [
        ([0, 5, 60], [0, 5, 60]),
        ([3, 4, 60], [None, None, 60]),
        ([3, 60, 7], [None, 60, None]),
        ([2, 2, 60, 7], [None, None, 60, None]),
        ([4], [None]),
    ],
)
def test_small_counts_of_a_column_go_and_never_one_alone(counts, left):
    table = shared(table=pd.DataFrame({"reason": "r", "ears": counts})).table
    assert table["ears"].astype("object").where(table["ears"].notna(), None).tolist() == left


def test_a_share_goes_that_tells_a_small_count_of_what_it_is_of():
    table = pd.DataFrame({"success_share": [0.06, 0.5, 0.123], "out_of": [50, 50, 50], "low": [0.0, 0.4, 0.1]})
    assert shared(table=table).table["success_share"].isna().tolist() == [True, False, False]


def test_a_share_goes_that_tells_a_small_count_of_those_left():
    table = pd.DataFrame({"share_with": [0.96, 0.5], "ears_with": [50, 50]})
    assert shared(table=table).table["share_with"].isna().tolist() == [True, False]


def test_blanks_of_the_record_are_no_patients():
    table = pd.DataFrame({"recorded_share": [0.96], "n": [50]})
    assert shared(table=table).table["recorded_share"].tolist() == [0.96]


def test_minutes_and_months_stay_however_small():
    table = pd.DataFrame({"added_minutes": [3.0, 4.0], "recall_months": [4, 3]})
    pd.testing.assert_frame_equal(shared(table=table).table, table)


@pytest.mark.parametrize(
    ("given", "left"),
    [
        (row("share", 0.04, n=50), (None, 50)),
        (row("share", 0.5, n=4), (None, None)),
        (row("share", 0.96, n=50), (None, 50)),
        (row("fact_recorded", 0.96, n=50), (0.96, 50)),
        (row("share", 0.123, n=50), (0.123, 50)),
        (row("count", 3.0, unit="count"), (None, None)),
        (row("count", 7.0, unit="count"), (7.0, None)),
        (row("expected_visits", 3.0, unit="visits", low=1.0), (3.0, None)),
        (row("backtest_coverage", 0.5, n=4), (0.5, 4)),
        (row("catch_up_every", 4.0, unit="patients"), (4.0, None)),
    ],
)
def test_result_rows_keep_no_small_count_and_no_figure_that_tells_one(given, left):
    (kept,) = shared(rows=(given,)).rows
    assert (kept.value, kept.n) == left
    assert kept.low is None or kept.value is not None


def test_what_was_left_out_is_told_as_fewer_than_and_some():
    first, last = pd.Timestamp("2026-01-02"), pd.Timestamp("2026-03-30")
    basis = Basis(90, "visits", {"were missed": 3, "had no end": 8, "were test rows": 40, "had no day": 0}, first, last)
    assert str(shared(basis=basis).basis) == (
        "Rests on 90 visits, January 2026 to March 2026. "
        "Left out: fewer than 5 were missed; some had no end; 40 were test rows."
    )
    assert "3 were missed; 8 had no end" in str(basis)


@pytest.mark.parametrize(
    ("why", "said"),
    [
        ("Only 3 of 40 attended visits have minutes; 20 are needed.", "Fewer than 5 of 40 attended visits have minutes; 20 are needed."),
        ("Only 18 cleared ears were graded, 3 of them occluding.", "Only 18 cleared ears were graded, fewer than 5 of them occluding."),
        ("Ears are few: only 2 ears can be compared.", "Ears are few: fewer than 5 ears can be compared."),
        ("The log covers 3 whole months; at least 4 visits a month are needed.", "The log covers 3 whole months; at least 4 visits a month are needed."),
        ("The log holds 12 attended visits.", "The log holds 12 attended visits."),
    ],
)  # fmt: skip
def test_why_there_is_no_figure_tells_no_small_number_of_people(why, said):
    shown = safe_to_share(no_answer("Q?", NotEnough(why, "Wait.")), 5)
    assert shown.headline == f"No figure yet. {said} Wait."


def test_nothing_changes_where_even_one_may_be_shown():
    table = pd.DataFrame({"ears": [1, 2]})
    answer = Answer("Q?", "H.", table=table, rows=(row("count", 1.0, unit="count"),))
    kept = safe_to_share(answer, 1)
    assert kept.table.equals(table)
    assert kept.rows == answer.rows

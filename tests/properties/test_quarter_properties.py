"""What must hold of a quarter's answers for any log."""

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.answers.quarter import activity, outcomes, safety
from analysis.clinic import Clinic
from analysis.schema import ADVERSE_EVENTS, ATTENDANCE, BOOKING_KINDS, EAR_ROWS, GRADES, OUTCOMES, VISITS, typed_frame
from analysis.settings import ClinicPart, Settings

ASK = (activity, outcomes, safety)
LAST = dt.date(2026, 9, 30)


def some(options: list) -> st.SearchStrategy:
    return st.sampled_from([*options, None])


booking = st.fixed_dictionaries(
    {
        "day": st.integers(0, 182),
        "site": st.sampled_from(["North", "South"]),
        "practitioner": some(["A", "B", "C"]),
        "attendance": st.sampled_from(["attended"] * 6 + list(ATTENDANCE)),
        "booking_kind": some(list(BOOKING_KINDS)),
        "patient_key": some([f"p{who}" for who in range(8)]),
        "adverse_event": st.sampled_from(["none"] * 6 + list(ADVERSE_EVENTS)),
        "onward_referral": some([True, False]),
        "late": some([-5, 0, 4, 12]),
        "grade": some(list(GRADES)),
        "outcome": some(list(OUTCOMES)),
    }
)
logs = st.lists(booking, min_size=1, max_size=24)


def clinic(rows: list[dict], *, hide_below: int = 1) -> Clinic:
    """Make a clinic of bookings from April to September 2026, one ear a visit."""
    table = pd.DataFrame(rows)
    table["visit_id"] = [f"v{place}" for place in range(len(table))]
    table["slot_start"] = pd.Timestamp("2026-04-01 09:00") + pd.to_timedelta(table["day"], unit="D")
    table["started_at"] = table["slot_start"] + pd.to_timedelta(table["late"].astype("float64"), unit="min")
    came = table[table["attendance"] == "attended"]
    ears = came[["visit_id", "grade", "outcome"]].assign(ear="left", methods="fine_suction")
    part = ClinicPart(last_day=LAST, hide_below=hide_below)
    return Clinic(typed_frame(VISITS, table), typed_frame(EAR_ROWS, ears), settings=Settings(clinic=part))


def counts(answer, period: str = "this_quarter") -> dict[tuple[str, str], float | None]:
    return {
        (row.group["measure"], row.group["part"]): row.value
        for row in answer.rows
        if row.quantity == "count" and row.group["period"] == period
    }


@settings(max_examples=12, deadline=None)
@given(logs)
def test_parts_add_up_and_shares_lie_within_their_ranges(rows):
    for ask in ASK:
        answer = ask(clinic(rows), "2026-Q3")
        found = counts(answer)
        sites = {part for _, part in found if part in ("North", "South")}
        for name in {name for name, part in found if part in sites}:
            assert sum(found[name, site] for site in sites) == found[name, "all"]
        for row in answer.rows:
            if row.quantity == "share":
                assert 0 <= row.low <= row.value <= row.high <= 1
            if row.low is not None:
                assert row.low <= row.value <= row.high


@settings(max_examples=8, deadline=None)
@given(logs, st.randoms(use_true_random=False))
def test_the_order_of_the_rows_does_not_matter(rows, shuffler):
    log = clinic(rows, hide_below=3)
    mixed = list(range(len(log.visits)))
    shuffler.shuffle(mixed)
    other = dataclasses.replace(
        log, visits=log.visits.iloc[mixed].reset_index(drop=True), ears=log.ears.iloc[::-1].reset_index(drop=True)
    )
    for ask in ASK:
        first, second = ask(log, "2026-Q3"), ask(other, "2026-Q3")
        assert (first.headline, first.rows) == (second.headline, second.rows)


@settings(max_examples=12, deadline=None)
@given(logs, st.integers(2, 6))
def test_no_small_count_and_no_share_of_a_hidden_one_is_shown(rows, hide_below):
    for ask in ASK:
        answer = ask(clinic(rows, hide_below=hide_below), "2026-Q3")
        told = {"this_quarter": counts(answer), "last_quarter": counts(answer, "last_quarter")}
        for found in told.values():
            assert not [many for many in found.values() if many is not None and 0 < many < hide_below]
        for row in answer.rows:
            cell = (row.group["measure"], row.group["part"])
            if row.quantity == "share":
                assert told[row.group["period"]][cell] is not None
                assert round(row.value * row.n) == told[row.group["period"]][cell]
            elif row.quantity != "count":
                assert told["this_quarter"][cell] is not None
                assert told[row.group["against"]][cell] is not None


@settings(max_examples=12, deadline=None)
@given(logs, st.integers(2, 6))
def test_a_hidden_count_follows_from_no_shown_ones(rows, hide_below):
    """With a total and all other parts shown, a hidden part would be known: at least two are hidden."""
    answer = activity(clinic(rows, hide_below=hide_below), "2026-Q3")
    found = counts(answer)
    bases = {
        row.group["part"]: row.n
        for row in answer.rows
        if row.quantity == "share"
        and row.group["measure"] in ("attended", "missed", "cancelled_late")
        and row.group["period"] == "this_quarter"
    }
    for part, held in bases.items():
        parts = [found[name, part] for name in ("attended", "missed", "cancelled_late")]
        assert held is not None
        assert parts.count(None) != 1
    sites = {part for _, part in found if part in ("North", "South")}
    for name in ("booked", "attended", "missed", "cancelled_late", "new", "returning", "on_time"):
        shown = [found[name, site] for site in sites if (name, site) in found]
        if found.get((name, "all")) is not None and len(shown) == len(sites):
            assert shown.count(None) != 1


@settings(max_examples=8, deadline=None)
@given(st.lists(booking, min_size=5, max_size=30))
def test_twice_the_log_has_twice_the_counts_and_the_same_shares(rows):
    doubled = [
        row | {"patient_key": None if row["patient_key"] is None else f"{row['patient_key']}{copy}"}
        for copy in "ab"
        for row in rows
    ]
    for ask in ASK:
        once, twice = ask(clinic(rows), "2026-Q3"), ask(clinic(doubled), "2026-Q3")
        if not once.answered:
            assert not twice.answered
            continue
        assert [2 * many for many in counts(once).values()] == list(counts(twice).values())
        shares = [[row.value for row in each.rows if row.quantity == "share"] for each in (once, twice)]
        np.testing.assert_allclose(*shares)

"""Counts that two answers of a quarter tell: hidden in both alike, and not worked out from what others tell."""

from analysis.models.quarter_margins import joined
from analysis.models.quarter_measures import ALL, Counts, shown_measures


def counts(**cells):
    return Counts({"this_quarter": {(name, ALL): many for name, many in cells.items()}}, {}, {})


def shown(both, *names):
    measures = shown_measures(both, names, [ALL], hide_below=5, level=0.95)
    return {each.name: each.counts["this_quarter"] for each in measures}


BOOKINGS = Counts(
    counts(booked=70, held=60, attended=50, missed=7, cancelled_late=3).by_period,
    {("held", ALL): [[("attended", ALL), ("missed", ALL), ("cancelled_late", ALL)]]},
    {},
)


def test_what_is_told_elsewhere_is_shown_and_another_count_hidden():
    told = joined([BOOKINGS], {}, told=frozenset([("attended", ALL)]))
    assert shown(told, "attended", "missed", "cancelled_late") == {
        "attended": 50,
        "missed": None,
        "cancelled_late": None,
    }


def test_with_none_missed_the_bookings_themselves_are_hidden():
    """Of 53 held 50 attended: how many were held, or booked with hardly more, would tell the 3 that were cancelled late."""
    few = Counts(counts(booked=54, held=53, attended=50, missed=0, cancelled_late=3).by_period, BOOKINGS.sums, {})
    told = joined([few], {("booked", ALL): [[("held", ALL)]]}, told=frozenset([("attended", ALL)]))
    assert shown(told, "booked", "held", "attended", "missed") == {
        "booked": None,
        "held": None,
        "attended": 50,
        "missed": 0,
    }


def test_a_count_of_both_is_hidden_once():
    kinds = Counts(
        counts(attended=50, new=3, returning=47).by_period,
        {("attended", ALL): [[("new", ALL), ("returning", ALL)]]},
        {},
    )
    both = joined([BOOKINGS, kinds], {}, told=frozenset([("attended", ALL)]))
    assert shown(both, "new", "returning", "attended") == {"new": None, "returning": None, "attended": 50}


def test_nothing_is_hidden_where_nothing_is_small():
    enough = Counts(counts(booked=70, held=60, attended=48, missed=7, cancelled_late=5).by_period, BOOKINGS.sums, {})
    both = joined([enough, counts(timed=47)], {("attended", ALL): [[("timed", ALL)]]})
    assert shown(both, "attended", "timed") == {"attended": 48, "timed": 47}

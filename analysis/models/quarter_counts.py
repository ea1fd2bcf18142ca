"""What a quarter is counted from: bookings and their outcome, ears first worked on, adverse events."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.derive.sessions import AFTERNOON_FROM_HOUR, HELD_SLOT, ON_TIME_MINUTES
from analysis.models.case_mix_names import CASE_MIX_BASES
from analysis.models.quarter_measures import ALL, Cell, Counts, Measure, widened
from analysis.models.quarter_periods import THIS, Periods
from analysis.problems import NotEnough
from analysis.schema import ADVERSE_EVENTS, GRADES

FEWEST_STARTS, SAME_CLOCK = 20, 0.99
"""Starts that must be known, and the share of them at the slot's very minute above which both are one time (our choice)."""
SLIP_MINUTES = 60
"""A start this long before its slot is taken for a slip of the pen (a rule of caution, no source)."""
NO_SITE = "site not recorded"
EVENTS = tuple(event for event in ADVERSE_EVENTS if event != "none")
Flags = dict[str, pd.Series]
Totals = dict[str, tuple[tuple[str, ...], ...]]

# Only facts about patients count as parts: that a fact was left blank, or a start late, gives no patient away.
ACTIVITY: Totals = {"held": (HELD_SLOT,), "known_kind": (("new", "returning"),)}
ACTIVITY_OF_PERSON: Totals = {"held": (HELD_SLOT,)}
OUTCOME: Totals = {
    "graded": (tuple(GRADES),),
    "judged": (("success", "no_success"),),
    "worked": (("first", "again"),),
}
REFERRAL: Totals = {"asked": (("referred", "not_referred"),)}
SAFETY: Totals = {"watched": (("any_event", "no_event"),), "any_event": (EVENTS,)}
BASES = {
    **dict.fromkeys(HELD_SLOT, "held"),
    **dict.fromkeys(("new", "returning"), "known_kind"),
    **dict.fromkeys(GRADES, "graded"),
    **dict.fromkeys(("any_event", *EVENTS), "watched"),
    **CASE_MIX_BASES,
    "over_slot": "with_slot",
    "recall_came": "recall_due",
    "recall_kept": "recall_held",
    **{"on_time": "timed", "success": "judged", "again": "worked", "referred": "asked"},
}


def activity_counts(visits: pd.DataFrame, found: Periods) -> tuple[Counts, list[str]]:
    """Count a quarter's bookings by how they turned out, by site.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``. A moved booking counts where it was moved to.
    found : Periods

    Returns
    -------
    (Counts, list of str)
        The counts, and the parts: ``all``, then each site where there are several.

    Raises
    ------
    NotEnough
        If the log never says how a booking turned out, or the quarter has none.
    """
    if visits["attendance"].isna().all():
        raise NotEnough(
            "The log does not say which bookings were attended.", "Record of every booking whether the patient came."
        )
    kept = visits[found.within(visits["slot_start"]) & (visits["attendance"] != "moved").fillna(True)]
    sites = kept["site"].fillna(NO_SITE)
    names = sorted(sites.unique())
    counts = counted(kept["slot_start"], booking_flags(kept), ACTIVITY, found, sites if len(names) > 1 else None)
    if not counts.by_period[THIS]["booked", ALL]:
        raise NotEnough(f"The log has no booking in {found.quarter.label}.", "Ask for a quarter that the log covers.")
    return counts, [ALL, *(names if len(names) > 1 else [])]


def person_counts(
    visits: pd.DataFrame, found: Periods, practitioners: pd.Series, hide_below: int
) -> tuple[Counts, list[str]]:
    """Count a quarter's bookings by practitioner, where none of the counts is too small to show.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    found : Periods
    practitioners : pandas.Series of str
        What each booking's practitioner is called.
    hide_below : int
        With one count of 1 to one less than this nobody is listed: hiding it
        alone would take the whole clinic's figures with it.

    Returns
    -------
    (Counts, list of str)
        Of this quarter only, and the practitioners; none where there is only
        one, or a count is too small.
    """
    kept = visits[found.within(visits["slot_start"]) & visits["attendance"].isin(HELD_SLOT)]
    flags = {"held": pd.Series(data=True, index=kept.index)}
    flags |= {each: _is(kept["attendance"], each) for each in HELD_SLOT}
    counts = counted(kept["slot_start"], flags, ACTIVITY_OF_PERSON, found, practitioners[kept.index])
    cells = counts.by_period[THIS]
    people = [part for name, part in cells if name == "held" and part != ALL and cells[name, part]]
    small = any(0 < cells[name, person] < hide_below for person in people for name in flags)
    return replace(counts, by_period={THIS: cells}), [] if small or len(people) < 2 else people


def booking_flags(kept: pd.DataFrame) -> Flags:
    """Mark each booking by how it turned out, its kind and its start."""
    outcome, kind = kept["attendance"], kept["booking_kind"]
    attended = _is(outcome, "attended")
    late = (kept["started_at"] - kept["slot_start"]).dt.total_seconds() / 60
    timed = attended & (late >= -SLIP_MINUTES) & ~_is(kept["minutes_quality"], "filled_from_slot")
    if _one_clock(late[timed]):
        timed &= False
    return {
        "booked": pd.Series(data=True, index=kept.index),
        "held": outcome.isin(HELD_SLOT),
        **{each: _is(outcome, each) for each in HELD_SLOT},
        "known_kind": attended & kind.notna(),
        "new": attended & _is(kind, "new"),
        "returning": attended & kind.notna() & ~_is(kind, "new"),
        "timed": timed,
        "on_time": timed & (late <= ON_TIME_MINUTES),
    }


def _one_clock(late_minutes: pd.Series) -> bool:
    """Say whether the log has one time a visit, which then stands for slot and start alike and says nothing of being late."""
    return len(late_minutes) >= FEWEST_STARTS and bool((late_minutes == 0).mean() > SAME_CLOCK)


def outcome_counts(table: pd.DataFrame, found: Periods, followed_until: pd.Timestamp) -> tuple[Counts, pd.DataFrame]:
    """Count the grades first found, first attempts that succeeded, and further attempts.

    Parameters
    ----------
    table : pandas.DataFrame
        The table ``ATTEMPTS``.
    found : Periods
    followed_until : pandas.Timestamp
        First attempts after this day are too recent for their success to be known.

    Returns
    -------
    (Counts, pandas.DataFrame)
        The counts, and for each attempt its day, patient (as ``group``) and marks.

    Raises
    ------
    NotEnough
        If the quarter has no first attempt.
    """
    table = table[found.within(table["day"])]
    first = table["attempt_number"] == 1
    judged = first & table["success"].notna() & (table["day"] <= followed_until)
    success = table["success"].fillna(False).astype(bool)
    flags = {
        "worked": pd.Series(data=True, index=table.index),
        "first": first,
        "again": ~first,
        "graded": first & table["grade"].notna(),
        **{grade: first & _is(table["grade"], grade) for grade in GRADES},
        "judged": judged,
        "success": judged & success,
        "no_success": judged & ~success,
    }
    flags = {name: marks.astype(bool) for name, marks in flags.items()}
    counts = counted(table["day"], flags, OUTCOME, found)
    if not counts.by_period[THIS]["first", ALL]:
        raise NotEnough(
            f"The log has no first attempt at an ear in {found.quarter.label}.",
            "Record of every ear its grade, the method used and the outcome.",
        )
    patient = table["patient_key"].fillna("visit " + table["visit_id"])
    return counts, pd.DataFrame({"day": table["day"], "group": patient, **flags})


def referral_counts(visits: pd.DataFrame, found: Periods) -> Counts:
    """Count attended visits that ended in a referral, of those where the log says yes or no."""
    asked = _is(visits["attendance"], "attended") & visits["onward_referral"].notna()
    referred = visits["onward_referral"].fillna(False).astype(bool)
    flags = {"asked": asked, "referred": asked & referred, "not_referred": asked & ~referred}
    return counted(visits["slot_start"], flags, REFERRAL, found)


def safety_counts(visits: pd.DataFrame, found: Periods) -> Counts:
    """Count attended visits with an adverse event, by event.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``. Where the log never writes "none", a blank is
        taken for none; otherwise a blank is not known and left out.
    found : Periods

    Returns
    -------
    Counts

    Raises
    ------
    NotEnough
        If no adverse event was ever recorded, not even "none"; or the quarter
        has no attended visit of which the log says.
    """
    event = visits["adverse_event"]
    if event.isna().all():
        raise NotEnough(
            "The log holds no adverse event, not even the word none: are they recorded at all?",
            "Record at every visit whether there was one, and write none where there was not.",
        )
    watched, had_one = watched_visits(visits)
    flags = {
        "watched": watched,
        "no_event": watched & ~had_one,
        "any_event": had_one,
        **{each: watched & _is(event, each) for each in EVENTS},
    }
    counts = replace(counted(visits["slot_start"], flags, SAFETY, found), told=frozenset([("watched", ALL)]))
    if not counts.by_period[THIS]["watched", ALL]:
        raise NotEnough(
            f"In {found.quarter.label} the log says of no attended visit whether there was an adverse event.",
            "Record at every visit whether there was one, and write none where there was not.",
        )
    return counts


def watched_visits(visits: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Mark the attended visits of which the log says whether there was an adverse event, and those that had one."""
    event = visits["adverse_event"]
    watched = _is(visits["attendance"], "attended") & (event.notna() if writes_none(visits) else True)
    return watched, watched & event.isin(EVENTS)


def writes_none(visits: pd.DataFrame) -> bool:
    """Say whether the log ever writes that there was no adverse event."""
    return bool(_is(visits["adverse_event"], "none").any())


def starts(visits: pd.DataFrame) -> pd.DataFrame:
    """List the visits with a known start: their day, whose half-day they are in, their site, and whether on time.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    pandas.DataFrame
        For ``allow_for_groups``: a late start runs on to the next patients of
        the practitioner's half-day, so those go together.
    """
    flags = booking_flags(visits)
    slot = visits["slot_start"]
    who = visits["practitioner"].astype("object").fillna("") + "/" + visits["site"].astype("object").fillna("")
    half = (slot.dt.hour >= AFTERNOON_FROM_HOUR).map({True: " afternoon", False: " morning"})
    listed = pd.DataFrame(
        {
            "day": slot,
            "group": who + slot.dt.strftime(" %Y-%m-%d").fillna("") + half,
            "site": visits["site"].fillna(NO_SITE),
            "timed": flags["timed"],
            "on_time": flags["on_time"],
        }
    )
    return listed[listed["timed"]]


def allow_for_groups(measure: Measure, marked: pd.DataFrame, found: Periods) -> Measure:
    """Widen a measure's ranges for rows that go together: two ears of a patient, starts of a half-day.

    Parameters
    ----------
    measure : Measure
        With shares of those rows.
    marked : pandas.DataFrame
        As ``outcome_counts`` or ``starts`` gives them: ``day``, ``group`` and a column a mark.
    found : Periods

    Returns
    -------
    Measure
    """
    of = marked[marked[BASES[measure.name]]]
    marks = found.split(of["day"])
    outcome, group = of[measure.name].to_numpy(), of["group"].to_numpy()
    now = marks[THIS].to_numpy()

    def change(period: str) -> np.ndarray:
        return now | marks[period].to_numpy()

    return replace(
        measure,
        share=None if measure.share is None else widened(measure.share, outcome[now], group[now]),
        earlier={
            period: widened(share, outcome[marks[period]], group[marks[period]])
            for period, share in measure.earlier.items()
        },
        change={
            period: widened(each, outcome[both := change(period)], group[both], now[both])
            for period, each in measure.change.items()
        },
    )


def _is(values: pd.Series, code: str) -> pd.Series:
    """Mark the rows that hold a code; an empty one does not."""
    return (values == code).fillna(False).astype(bool)


def counted(moments: pd.Series, flags: Flags, totals: Totals, found: Periods, sites: pd.Series | None = None) -> Counts:
    """Count every mark in every period, in all and by site, with the sums they make.

    Parameters
    ----------
    moments : pandas.Series of datetime64
        When each row was.
    flags : dict of str to pandas.Series of bool
        Marks of the rows, by name.
    totals : dict
        For each total the sets of marks that make it up.
    found : Periods
    sites : pandas.Series of str, optional
        Each row's part; without it, all only.

    Returns
    -------
    Counts
    """
    names = [] if sites is None else sorted(sites.unique())
    by_period = {}
    for period, inside in found.split(moments).items():
        cells: dict[Cell, int] = {(name, ALL): int(marks[inside].sum()) for name, marks in flags.items()}
        for site in names:
            here = inside & (sites == site)
            cells |= {(name, site): int(marks[here].sum()) for name, marks in flags.items()}
        by_period[period] = cells
    sums: dict[Cell, list[list[Cell]]] = {}
    for part in [ALL, *names]:
        for total, sets in totals.items():
            sums[total, part] = [[(each, part) for each in made_of] for made_of in sets]
    if names:
        for name in flags:
            sums.setdefault((name, ALL), []).append([(name, site) for site in names])
    return Counts(by_period, sums, {name: base for name, base in BASES.items() if name in flags})

"""The planted truth about the months after the log: the same clinic run on, many times."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np

from analysis.demo import story
from analysis.demo.people import People, draw_onset, draw_people
from analysis.demo.returns import plan_return
from analysis.demo.weeks import joined_weeks, run_weeks

MONTHS_AHEAD = np.arange(np.datetime64("2026-10"), np.datetime64("2027-04"))
CONTINUATIONS = 20
LAST_WEEK = 182  # its Monday is 2027-03-29
TRIES = 40


def demand_truth(rng: np.random.Generator, people: People, week: int) -> dict[str, Any]:
    """Give the expected bookings and visits of each of the six months after the log.

    The mean of many continuations from the state on the Monday of the log's
    last week, with every patient's future drawn anew, given what has happened
    so far: so a forecast is judged against what was to be expected, not
    against one future's luck. ``spread`` is the standard deviation between
    continuations, the part no forecast can know.
    """
    monday = story.FIRST_MONDAY + 7 * week
    counted = np.array([_one_future(rng, people, week, monday) for _ in range(CONTINUATIONS)])
    mean, spread = counted.mean(axis=0), counted.std(axis=0, ddof=1)
    came = mean[:, story.ATTENDED]
    return {
        "continuations": CONTINUATIONS,
        "months": [str(month) for month in MONTHS_AHEAD],
        "bookings": mean.sum(axis=(1, 2)).tolist(),
        "visits": came.sum(axis=1).tolist(),
        "visits_spread": counted[:, :, story.ATTENDED].sum(axis=2).std(axis=0, ddof=1).tolist(),
        "bookings_spread": counted.sum(axis=(2, 3)).std(axis=0, ddof=1).tolist(),
        "visits_by_kind": {kind: came[:, each].tolist() for each, kind in enumerate(story.KINDS)},
        "visits_spread_by_kind": {
            kind: spread[:, story.ATTENDED, each].tolist() for each, kind in enumerate(story.KINDS)
        },
        "calls_a_month_at_start": story.CALLS_A_MONTH,
        "growth_a_year": story.GROWTH_A_YEAR,
        "season_size": story.SEASON_SIZE,
        "season_peak_month": story.SEASON_PEAK_MONTH,
    }


def _one_future(rng: np.random.Generator, people: People, week: int, monday: int) -> np.ndarray:
    """Run on once; counts by month, attendance and kind."""
    future = copy.deepcopy(people)
    _draw_anew(rng, future, monday)
    future = future.joined(draw_people(rng, monday, story.FIRST_MONDAY + 7 * LAST_WEEK))
    rows = joined_weeks(run_weeks(rng, future, week, LAST_WEEK))
    month = (story.DAY_ZERO + rows["day"] * story.A_DAY).astype("datetime64[M]") - MONTHS_AHEAD[0]
    month = month.astype(int)
    ahead = (month >= 0) & (month < len(MONTHS_AHEAD))
    counts = np.zeros((len(MONTHS_AHEAD), len(story.ATTENDANCES), len(story.KINDS)))
    np.add.at(counts, (month[ahead], rows["attendance"][ahead], rows["kind"][ahead]), 1)
    return counts


def _draw_anew(rng: np.random.Generator, people: People, monday: int) -> None:
    """Draw again the return of everyone who has not called yet, given that they have not."""
    kinds = (people.kind == story.RECALL) | (people.kind == story.SYMPTOMS)
    waiting = np.flatnonzero(kinds & people.comes_back & np.isfinite(people.seen_day) & (people.booked_day >= monday))
    before = copy.deepcopy(people)
    left = waiting
    for _ in range(TRIES):
        seen = people.seen_day[left]
        onset = draw_onset(rng, people, left, seen[:, None])
        people.onset_day[left] = np.where(people.unfinished[left], before.onset_day[left], onset)
        plan_return(rng, people, left, seen)
        left = left[people.booked_day[left] < monday]
    for name in ("onset_day", "kind", "want_day", "booked_day"):
        getattr(people, name)[left] = getattr(before, name)[left]

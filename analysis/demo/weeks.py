"""The clinic, week by week: who is due, who comes, what is found, when they return."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import story
from analysis.demo.diary import Placed, place_week
from analysis.demo.people import People, draw_onset
from analysis.demo.returns import plan_after_absence, plan_return, plan_second_attempt
from analysis.demo.softening import Softened, chance, soften, success_logit
from analysis.demo.wax import Found, look

Week = dict[str, np.ndarray]
CLEARED, REMNANT, STILL_OCCLUDING, STOPPED, REFERRED, NOTHING = range(6)
FAILURES = np.array([STILL_OCCLUDING, STOPPED, REFERRED])


def run_weeks(rng: np.random.Generator, people: People, first_week: int, last_week: int) -> list[Week]:
    """Run weeks one after the other, changing the people's state; each gives its bookings."""
    weeks = (one_week(rng, people, story.FIRST_MONDAY + 7 * week) for week in range(first_week, last_week + 1))
    return [week for week in weeks if len(week["patient"])]


def one_week(rng: np.random.Generator, people: People, monday: int) -> Week:
    """Book and see everyone who wanted a visit before this Monday."""
    due = np.flatnonzero(people.want_day < monday)
    kind = people.kind[due]
    attendance = (rng.random(len(due))[:, None] > story.ATTENDANCE_SHARES.cumsum(axis=1)[kind]).sum(axis=1)
    placed = place_week(monday, people.site[due], kind, attendance, people.want_day[due])
    who, kind, attendance = due[placed.row], kind[placed.row], attendance[placed.row]
    found = look(rng, people, who, placed.day)
    softened = soften(rng, found, kind)
    week = _booking_rows(people, who, kind, attendance, placed, softened)
    week |= _ear_rows(rng, people, who, found, softened, placed.practitioner)
    came = attendance == story.ATTENDED
    _remember(rng, people, {name: values[came] for name, values in week.items()})
    away = ~came
    plan_after_absence(rng, people, who[away], placed.day[away].astype(float), attendance[away])
    return week


def _booking_rows(
    people: People, who: np.ndarray, kind: np.ndarray, attendance: np.ndarray, placed: Placed, softened: Softened
) -> Week:
    """Gather what belongs to a booking."""
    return {
        "patient": who,
        "kind": kind,
        "attendance": attendance,
        "booked_day": people.booked_day[who],
        "day": placed.day,
        "half": placed.half,
        "practitioner": placed.practitioner,
        "site": people.site[who],
        "slot_minute": placed.minute,
        "signal": softened.signal,
        "advised": softened.advised,
        "used": softened.used,
    }


def _ear_rows(
    rng: np.random.Generator,
    people: People,
    who: np.ndarray,
    found: Found,
    softened: Softened,
    practitioner: np.ndarray,
) -> Week:
    """Gather what belongs to the two ears, outcome included."""
    occluding = found.grade >= story.PARTLY
    worked = occluding | (
        (found.grade == story.NON_OCCLUDING) & (rng.random(occluding.shape) < story.WORK_ON_NON_OCCLUDING)
    )
    logit = success_logit(found, people.canal[who], people.ease[who], practitioner)
    share = chance(logit + story.SUCCESS_SOFTENED * softened.used[:, None])
    tries = np.where(worked, people.tries[who] + 1, 0)
    return {
        "percent": found.percent,
        "grade": found.grade,
        "debris": found.debris,
        "impacted": found.impacted,
        "worked": worked,
        "tries": tries,
        "logit": logit,
        "outcome": _outcomes(rng, worked, rng.random(share.shape) < share, tries),
        "onset_day": people.onset_day[who],
    }


def _outcomes(rng: np.random.Generator, worked: np.ndarray, cleared: np.ndarray, tries: np.ndarray) -> np.ndarray:
    """Name how each ear ended; after a second failure most are referred."""
    failed = FAILURES[(rng.random(worked.shape)[..., None] > story.FAILURE_SHARES.cumsum()[:-1]).sum(axis=-1)]
    refer = (tries >= 2) & (rng.random(worked.shape) < story.REFERRED_AFTER_TWO)
    failed = np.where(refer, REFERRED, failed)
    good = np.where(rng.random(worked.shape) < 0.76, CLEARED, REMNANT)
    return np.where(worked, np.where(cleared, good, failed), NOTHING)


def _remember(rng: np.random.Generator, people: People, week: Week) -> None:
    """Move the people seen on: clocks restart, failures stay open tasks, the next booking is planned."""
    who, day, outcome = week["patient"], week["day"].astype(float), week["outcome"]
    good = outcome <= REMNANT
    sent = outcome == REFERRED
    failed = week["worked"] & ~good & ~sent
    restart = good | sent  # a referred ear is cleared elsewhere, about six weeks later (assumed)
    people.open_from[who] = np.where(restart, day[:, None] + np.where(sent, 42.0, 0.0), people.open_from[who])
    fresh = draw_onset(rng, people, who, people.open_from[who])
    people.onset_day[who] = np.where(restart, fresh, people.onset_day[who])
    people.unfinished[who] = failed
    people.tries[who] = np.where(failed, week["tries"], 0)
    people.debris[who], people.impacted[who] = week["debris"], week["impacted"]
    people.seen_day[who] = day
    again = failed.any(axis=1) & (rng.random(len(who)) < story.SECOND_ATTEMPT_SHARE)
    plan_second_attempt(rng, people, who[again], day[again])
    plan_return(rng, people, who[~again], day[~again])


def joined_weeks(weeks: list[Week]) -> dict[str, Any]:
    """Put the weeks one below the other."""
    return {name: np.concatenate([week[name] for week in weeks]) for name in weeks[0]}

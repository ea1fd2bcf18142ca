"""When a patient comes back, and why."""

from __future__ import annotations

import numpy as np

from analysis.demo import story
from analysis.demo.people import People


def plan_return(rng: np.random.Generator, people: People, who: np.ndarray, today: np.ndarray) -> None:
    """Set the next booking: with symptoms or on recall, whichever comes first; never for those who do not come back."""
    call = _symptom_call(rng, people, who, today)
    recall = _recall_day(rng, people, who, today)
    symptoms_first = call + 2 < recall
    people.kind[who] = np.where(symptoms_first, story.SYMPTOMS, story.RECALL)
    wanted = np.where(symptoms_first, call + rng.integers(1, 5, len(who)), recall)
    booked = np.where(symptoms_first, call, np.maximum(recall - rng.integers(5, 25, len(who)), today))
    never = ~people.comes_back[who]
    people.want_day[who] = np.where(never, np.inf, wanted)
    people.booked_day[who] = np.where(never, np.inf, booked)


def _symptom_call(rng: np.random.Generator, people: People, who: np.ndarray, today: np.ndarray) -> np.ndarray:
    """Day on which the first troublesome ear makes the patient call."""
    lag_mean = np.where(
        rng.random((len(who), 2)) < story.TOLERANT_SHARE, story.TOLERANT_LAG_DAYS, story.SYMPTOM_LAG_DAYS
    )
    lag = rng.gamma(story.SYMPTOM_LAG_SHAPE, lag_mean / story.SYMPTOM_LAG_SHAPE)
    since = np.maximum(people.onset_day[who], today[:, None] + np.where(people.unfinished[who], 20.0, 0.0))
    return np.floor((since + lag).min(axis=1)) + 1


def _recall_day(rng: np.random.Generator, people: People, who: np.ndarray, today: np.ndarray) -> np.ndarray:
    """Day a routine recall is taken up: at the first, second ... invitation, or not within five."""
    taken_at = rng.geometric(story.RECALL_UPTAKE, len(who))
    day = np.floor(today + people.invite_months[who] * story.MONTH_DAYS * taken_at + rng.integers(0, 21, len(who)))
    return np.where(taken_at <= 5, day, np.inf)


def plan_second_attempt(rng: np.random.Generator, people: People, who: np.ndarray, today: np.ndarray) -> None:
    """Book the unfinished ear again, about ten to fourteen days on."""
    people.kind[who] = story.SECOND
    people.booked_day[who] = today
    people.want_day[who] = today + rng.integers(4, 7, len(who))


def plan_after_absence(
    rng: np.random.Generator, people: People, who: np.ndarray, today: np.ndarray, attendance: np.ndarray
) -> None:
    """Book the same again soon, or, where the patient lets it lie, later or never."""
    again = rng.random(len(who)) < story.REBOOKS[attendance]
    later = today + np.where(again, rng.integers(1, 9, len(who)), rng.integers(30, 120, len(who)))
    lost = ~again & ((people.kind[who] == story.NEW) | ~people.comes_back[who])
    people.booked_day[who] = np.where(lost, np.inf, np.where(again, today, later - 2))
    people.want_day[who] = np.where(lost, np.inf, later)
    lapsed_second = ~again & (people.kind[who] == story.SECOND)
    people.kind[who] = np.where(lapsed_second, story.SYMPTOMS, people.kind[who])

"""Who calls the clinic, and the state of their ears."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from analysis.demo import story


@dataclass
class People:
    """Everyone who ever called, one element (or row of two ears) a patient; days count from the log's first day.

    The lower block is the state that the weeks change; the upper is fixed.
    """

    call_day: np.ndarray
    age: np.ndarray
    hearing_aid: np.ndarray
    cotton_bud: np.ndarray
    frailty: np.ndarray
    speed_days: np.ndarray
    ease: np.ndarray
    canal: np.ndarray
    perforation: np.ndarray
    site: np.ndarray
    comes_back: np.ndarray
    invite_months: np.ndarray
    want_day: np.ndarray
    booked_day: np.ndarray
    kind: np.ndarray
    seen_day: np.ndarray
    open_from: np.ndarray
    onset_day: np.ndarray
    unfinished: np.ndarray
    tries: np.ndarray
    debris: np.ndarray
    impacted: np.ndarray

    def __len__(self) -> int:
        return len(self.call_day)

    def joined(self, other: People) -> People:
        """Put others behind these people; a fresh copy, so a state can be kept."""
        return People(
            **{
                each.name: np.concatenate([getattr(self, each.name), getattr(other, each.name)])
                for each in fields(self)
            }
        )

    def scale_days(self, who: np.ndarray) -> np.ndarray:
        """Weibull scale in days at frailty 1."""
        factor = np.where(self.hearing_aid[who], story.HEARING_AID_FACTOR, 1.0)
        factor = factor * np.where(self.cotton_bud[who], story.COTTON_BUD_FACTOR, 1.0)
        return story.SCALE_MONTHS * story.MONTH_DAYS * factor


def calls_a_day(day: np.ndarray) -> np.ndarray:
    """Give the expected calls of new patients a day: growth times season."""
    years = day / 365.25
    growth = np.where(years < 0, story.QUIET_GROWTH_BEFORE, story.GROWTH_A_YEAR) * years
    months = (story.DAY_ZERO + day.astype(int) * story.A_DAY).astype("datetime64[M]").astype(int) % 12 + 1
    season = story.SEASON_SIZE * np.cos(2 * np.pi * (months - story.SEASON_PEAK_MONTH) / 12)
    return story.CALLS_A_MONTH / story.MONTH_DAYS * np.exp(growth + season)


def draw_people(rng: np.random.Generator, first_day: int, last_day: int) -> People:
    """Draw the new patients who call between two days, both included."""
    days = np.arange(first_day, last_day + 1)
    call = np.repeat(days, rng.poisson(calls_a_day(days))).astype(float)
    n = len(call)
    band = rng.choice(len(story.AGE_SHARES), n, p=story.AGE_SHARES)
    age = rng.integers(story.AGE_EDGES[band], story.AGE_EDGES[band + 1]).astype(float) + rng.random(n)
    aid = rng.random(n) < story.HEARING_AID_SHARES[band]
    short_recall = aid & (rng.random(n) < story.SHORT_RECALL_SHARE)
    people = People(
        call_day=call,
        age=age,
        hearing_aid=aid,
        cotton_bud=rng.random(n) < story.COTTON_BUD_SHARES[band],
        frailty=rng.gamma(1 / story.FRAILTY_VARIANCE, story.FRAILTY_VARIANCE, n),
        speed_days=story.SPEED_DAYS * np.exp(story.SPEED_SPREAD * rng.standard_normal(n)),
        ease=story.EASE_SPREAD * rng.standard_normal(n),
        canal=_canals(rng, n),
        perforation=rng.random((n, 2)) < story.PERFORATION_SHARE,
        site=(rng.random(n) < 0.45).astype(int),
        comes_back=rng.random(n) < story.COMES_BACK,
        invite_months=np.where(short_recall, story.INVITE_MONTHS_AID, story.INVITE_MONTHS),
        want_day=call + rng.integers(1, 6, n),
        booked_day=call.copy(),
        kind=np.full(n, story.NEW),
        seen_day=np.full(n, np.nan),
        open_from=np.full((n, 2), np.nan),
        onset_day=np.full((n, 2), np.nan),
        unfinished=np.zeros((n, 2), bool),
        tries=np.zeros((n, 2), int),
        debris=np.full((n, 2), story.NO_CODE),
        impacted=np.zeros((n, 2), bool),
    )
    _first_wax(rng, people)
    return people


def _canals(rng: np.random.Generator, n: int) -> np.ndarray:
    """Draw both canals; a patient's second is mostly like the first, never both operated by chance alone."""
    one = rng.choice(len(story.CANAL_SHARES), n, p=story.CANAL_SHARES)
    other = np.where(rng.random(n) < 0.8, one, rng.choice(len(story.CANAL_SHARES), n, p=story.CANAL_SHARES))
    other = np.where(one == story.OPERATED, story.ORDINARY, other)
    swap = rng.random(n) < 0.5
    return np.column_stack([np.where(swap, other, one), np.where(swap, one, other)])


def _first_wax(rng: np.random.Generator, people: People) -> None:
    """Give each new patient the ears that made them call: one blocked, both, or (a few) neither."""
    n = len(people)
    blocked = np.zeros((n, 2), bool)
    blocked[np.arange(n), rng.integers(0, 2, n)] = True
    blocked |= (rng.random(n) < story.BOTH_EARS_SHARE)[:, None]
    blocked &= (rng.random(n) >= story.NO_WAX_SHARE)[:, None]
    call = people.call_day[:, None]
    since = rng.gamma(story.FIRST_LAG_SHAPE, story.FIRST_LAG_DAYS / story.FIRST_LAG_SHAPE, (n, 2))
    everyone = np.arange(n)
    age_days = rng.random((n, 2)) * people.scale_days(everyone)[:, None]
    people.open_from[:] = call - age_days
    still_open = draw_onset(rng, people, everyone, call)
    people.onset_day[:] = np.where(blocked, call - since, still_open)
    people.open_from[:] = np.where(blocked, call - since - age_days - 30, people.open_from)


def draw_onset(rng: np.random.Generator, people: People, who: np.ndarray, open_at: np.ndarray) -> np.ndarray:
    """Draw the day each ear becomes half blocked, given that it was open on a day.

    The Weibull is drawn beyond the age it has already survived, so an ear left
    alone keeps its clock: T = scale * ((age / scale)^shape + E / frailty)^(1 / shape).
    """
    scale = people.scale_days(who)[:, None]
    age = np.maximum(open_at - people.open_from[who], 0.0)
    wait = rng.standard_exponential((len(who), 2)) / people.frailty[who][:, None]
    total = (age / scale) ** story.WEIBULL_SHAPE + wait
    return people.open_from[who] + scale * total ** (1 / story.WEIBULL_SHAPE)

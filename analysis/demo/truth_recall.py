"""The planted truth about re-occlusion, recall and return."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.demo import story
from analysis.demo.people import People

Rows = dict[str, Any]
MONTHS = np.arange(0.0, 240.0, 0.01)
SHARES = (0.2, 0.3, 0.5)
TWO_YEARS_DAYS = 730


def recall_truth(people: People, rows: Rows) -> dict[str, Any]:
    """Tell when ears truly occlude again, by group and overall.

    The plain months are of the ears the log clears, each counted once, with its
    patient's own frailty: frail ears are the likelier to be among them. *All
    clearances* counts an ear as often as the log clears it, so it is earlier.
    *Population* is a patient drawn at random from those seen in the log, the frailty averaged
    out, so it is later.
    """
    seen = np.unique(rows["patient"][rows["attendance"] == story.ATTENDED])
    visit, side = np.nonzero(_cleared(rows))
    cleared = rows["patient"][visit]
    once = np.unique(2 * cleared + side) // 2
    bud = people.cotton_bud[seen]
    return {
        "weibull_shape": story.WEIBULL_SHAPE,
        "frailty_variance": story.FRAILTY_VARIANCE,
        "scale_months": {
            "neither": story.SCALE_MONTHS,
            "hearing_aid": story.SCALE_MONTHS * story.HEARING_AID_FACTOR,
            "cotton_bud": story.SCALE_MONTHS * story.COTTON_BUD_FACTOR,
            "both": story.SCALE_MONTHS * story.HEARING_AID_FACTOR * story.COTTON_BUD_FACTOR,
        },
        "months_until_share_occluded": _by_group(_as_cleared, people, once),
        "months_until_share_occluded_all_clearances": _by_group(_as_cleared, people, cleared),
        "months_until_share_occluded_population": _by_group(_population, people, seen),
        "months_until_share_occluded_population_no_cotton_bud": _population(people, seen[~bud]),
        "months_until_share_occluded_population_cotton_bud": _population(people, seen[bud]),
    }


def _by_group(
    months: Callable[[People, np.ndarray], dict[str, float]], people: People, who: np.ndarray
) -> dict[str, dict[str, float]]:
    """Tell the months overall, with a hearing aid and without."""
    aid = people.hearing_aid[who]
    groups = {"overall": who, "hearing_aid": who[aid], "no_hearing_aid": who[~aid]}
    return {name: months(people, these) for name, these in groups.items()}


def return_truth(rows: Rows) -> dict[str, Any]:
    """Tell who comes back at all, who takes up a recall, and the share back within two years."""
    return {
        "return_share": story.COMES_BACK,
        "recall_uptake": story.RECALL_UPTAKE,
        "recall_months": story.INVITE_MONTHS,
        "recall_months_some_hearing_aids": story.INVITE_MONTHS_AID,
        "some_hearing_aids_share": story.SHORT_RECALL_SHARE,
        "second_attempt_share": story.SECOND_ATTEMPT_SHARE,
        "symptom_lag_days": story.SYMPTOM_LAG_DAYS,
        "tolerant_share": story.TOLERANT_SHARE,
        "tolerant_lag_days": story.TOLERANT_LAG_DAYS,
        "back_within_24_months_share": _back_within_two_years(rows),
    }


def _cleared(rows: Rows) -> np.ndarray:
    """Say which ears, shape (visits, 2), were cleared."""
    return (rows["attendance"] == story.ATTENDED)[:, None] & (rows["outcome"] <= 1)


def _population(people: People, who: np.ndarray) -> dict[str, float]:
    """Months until a share of a random patient's ears is occluding; gamma frailty averaged out."""
    scales, counts = np.unique(people.scale_days(who) / story.MONTH_DAYS, return_counts=True)
    hazard = (MONTHS[None, :] / scales[:, None]) ** story.WEIBULL_SHAPE
    still_open = (1 + story.FRAILTY_VARIANCE * hazard) ** (-1 / story.FRAILTY_VARIANCE)
    return _months_at(1 - np.average(still_open, axis=0, weights=counts))


def _as_cleared(people: People, who: np.ndarray) -> dict[str, float]:
    """Months until a share of some ears is occluding again, each with its patient's own frailty."""
    weight = people.frailty[who] / (people.scale_days(who) / story.MONTH_DAYS) ** story.WEIBULL_SHAPE
    weights, counts = np.unique(np.round(weight, 5), return_counts=True)
    months = MONTHS[::25]
    still_open = np.exp(-weights[:, None] * months[None, :] ** story.WEIBULL_SHAPE)
    return _months_at(1 - np.average(still_open, axis=0, weights=counts), months)


def _months_at(share: np.ndarray, months: np.ndarray = MONTHS) -> dict[str, float]:
    """Read the months at which a rising share reaches 20, 30 and 50 in 100."""
    return {f"at_{round(100 * each)}_percent": float(np.interp(each, share, months)) for each in SHARES}


def _back_within_two_years(rows: Rows) -> float:
    """Share of new patients seen two years or more before the log ends who came back; second attempts do not count."""
    came = rows["attendance"] == story.ATTENDED
    patient, day, kind = rows["patient"][came], rows["day"][came], rows["kind"][came]
    new = kind == story.NEW
    start = dict(zip(patient[new].tolist(), day[new].tolist(), strict=True))
    watched = {each for each, since in start.items() if since <= story.LAST_DAY - TWO_YEARS_DAYS}
    back = {
        who
        for who, when, why in zip(patient.tolist(), day.tolist(), kind.tolist(), strict=True)
        if who in watched and why in (story.RECALL, story.SYMPTOMS) and when - start[who] <= TWO_YEARS_DAYS
    }
    return len(back) / len(watched)

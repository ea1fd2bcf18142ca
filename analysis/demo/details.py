"""What happens at the visits of a finished run: methods, minutes, times and the smaller facts."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import story
from analysis.demo.clock import arrivals, starts
from analysis.demo.minutes import draw_minutes, first_methods, in_chair, mean_minutes, method_texts
from analysis.demo.people import People

Rows = dict[str, Any]


def with_details(rng: np.random.Generator, people: People, rows: Rows) -> Rows:
    """Add methods, minutes, times and small facts; rows come back in order of day, session and slot."""
    order = np.lexsort((rows["attendance"] >= story.CANCELLED, rows["slot_minute"], rows["practitioner"], rows["day"]))
    rows = {name: values[order] for name, values in rows.items()}
    who = rows["patient"]
    rows["canal"], rows["perforation"] = people.canal[who], people.perforation[who]
    rows["age"] = people.age[who] + (rows["day"] - people.call_day[who]) / 365.25
    rows["hearing_aid"], rows["cotton_bud"] = people.hearing_aid[who], people.cotton_bud[who]
    rows["in_chair"] = in_chair(rng, rows)
    rows["first_method"] = first_methods(rng, rows, rows["canal"], rows["perforation"])
    mean = mean_minutes(rows, rows["first_method"], rows["used"])
    rows["minutes"] = draw_minutes(rng, mean)
    rows["methods"] = method_texts(rng, rows, rows["first_method"], rows["minutes"] / mean)
    rows["arrived"] = arrivals(rng, rows["slot_minute"])
    rows["started"] = _start_attended(rows)
    return rows | _small_facts(rng, rows)


def _start_attended(rows: Rows) -> np.ndarray:
    """Run the sessions of those who came; empty for the others."""
    came = rows["attendance"] == story.ATTENDED
    began = np.full(len(came), np.nan)
    kept = {name: rows[name][came] for name in ("day", "practitioner", "slot_minute")}
    began[came] = starts(kept, rows["arrived"][came], rows["minutes"][came])
    return began


def _small_facts(rng: np.random.Generator, rows: Rows) -> Rows:
    """Draw agent, days, events, referral, eardrum, middle ear and revised grades."""
    n = len(rows["day"])
    agents, shares = list(story.AGENT_SHARES), list(story.AGENT_SHARES.values())
    events, event_shares = list(story.ADVERSE_SHARES), list(story.ADVERSE_SHARES.values())
    touched = rows["worked"].any(axis=1)
    event = np.where(touched, rng.choice(events, n, p=event_shares), "none")
    return {
        "softener": np.where(rows["used"], rng.choice(agents, n, p=shares), "none"),
        "softening_days": np.where(rows["used"], np.clip(np.rint(rng.gamma(3.0, 2.0, n)), 1, 21), 0.0),
        "adverse_event": event,
        "referral": (rows["outcome"] == 4).any(axis=1) | (event == "suspected_perforation") | (rng.random(n) < 0.006),
        "fee": story.FEES[rows["kind"]]
        + story.FEE_RISE * ((rows["day"] >= story.FEE_RISE_DAY) & (rows["kind"] != story.SECOND)),
        "revised": _revised(rng, rows),
    } | _drum_and_middle_ear(rng, rows)


def _revised(rng: np.random.Generator, rows: Rows) -> np.ndarray:
    """Regrade a few ears on seeing more, mostly upwards; NO_CODE where not regraded."""
    grade = rows["grade"]
    step = np.where(rng.random(grade.shape) < 0.75, 1, -1)
    other = np.clip(grade + step, story.NON_OCCLUDING, story.FULLY)
    regraded = rows["worked"] & (rng.random(grade.shape) < 0.05) & (other != grade)
    return np.where(regraded, other, story.NO_CODE)


def _drum_and_middle_ear(rng: np.random.Generator, rows: Rows) -> Rows:
    """Say what of the eardrum was seen, and what behind it."""
    shape = rows["grade"].shape
    hidden = np.isin(rows["outcome"], (2, 3, 4))
    draw = rng.random(shape)
    middle = np.select(
        [rows["perforation"], draw < 0.018, draw < 0.032, draw < 0.038],
        ["perforation", "retraction", "fluid_suspected", "other"],
        "none",
    )
    abnormal = (middle == "perforation") | (rng.random(shape) < 0.012)
    return {
        "eardrum": np.where(hidden, "not_seen", np.where(abnormal, "seen_abnormal", "seen_intact")),
        "middle_ear": np.where(hidden & ~rows["perforation"], "none", middle),
    }

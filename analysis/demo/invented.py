"""The invented clinic: one seed in, a clean log and its planted truth out."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from analysis.demo import story
from analysis.demo.details import with_details
from analysis.demo.frames import ear_frame, visit_frame
from analysis.demo.people import draw_people
from analysis.demo.truth import gather_truth
from analysis.demo.truth_demand import demand_truth
from analysis.demo.weeks import joined_weeks, run_weeks

SEED = 20260930
FINAL_WEEK = (story.LAST_DAY - story.FIRST_MONDAY) // 7


@dataclass(frozen=True)
class Invented:
    """An invented clinic's log before any mess, and what was planted in it.

    Attributes
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``; patient_key is a plain number.
    truth : dict
        Planted figures by subject: about, counts, visit_time, softening,
        recall, returns, demand.
    """

    visits: pd.DataFrame
    ears: pd.DataFrame
    truth: dict[str, Any] = field(default_factory=dict)


def invented_clinic(seed: int = SEED) -> Invented:
    """Invent a clinic: three years of bookings with a written causal story.

    Parameters
    ----------
    seed : int, optional
        Another seed gives another clinic with the same story.

    Returns
    -------
    Invented
        About 11,000 bookings, two sites, four practitioners, 1 October 2023
        to 30 September 2026.

    Notes
    -----
    The same seed gives the same clinic. The story, the diary's details and the
    futures draw from streams of their own, so that a change in one leaves the
    others as they were.
    """
    story_rng, detail_rng, future_rng = (np.random.default_rng(each) for each in np.random.SeedSequence(seed).spawn(3))
    final_monday = story.FIRST_MONDAY + 7 * FINAL_WEEK
    people = draw_people(story_rng, -7 * story.WARM_UP_WEEKS, final_monday - 1)
    weeks = run_weeks(story_rng, people, -story.WARM_UP_WEEKS, FINAL_WEEK - 1)
    demand = demand_truth(future_rng, copy.deepcopy(people), FINAL_WEEK)
    weeks += run_weeks(story_rng, people, FINAL_WEEK, FINAL_WEEK)
    rows = joined_weeks(weeks)
    logged = (rows["day"] >= 0) & (rows["day"] <= story.LAST_DAY)
    rows = with_details(detail_rng, people, {name: values[logged] for name, values in rows.items()})
    return Invented(visit_frame(rows), ear_frame(rows), gather_truth(people, rows, demand, seed))

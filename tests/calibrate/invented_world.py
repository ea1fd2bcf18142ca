"""One invented clinic of a world: its log as written, and what is true of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.demo import details, story
from analysis.demo.frames import ear_frame, visit_frame
from analysis.demo.people import People, draw_people
from analysis.demo.weeks import joined_weeks, run_weeks
from tests.calibrate.worlds import World, planted

Rows = dict[str, Any]
MONTHS_AHEAD = 3
WEEKS_BEYOND = 4 * MONTHS_AHEAD + 3


@dataclass(frozen=True, eq=False)
class Drawn:
    """A world's clinic: the log up to its last day, the story's own rows behind it, and the visits of the months after."""

    world: World
    visits: pd.DataFrame
    ears: pd.DataFrame
    people: People
    rows: Rows
    came_later: np.ndarray

    @property
    def last_day(self) -> pd.Timestamp:
        """Last day of the log."""
        return pd.Timestamp(story.DAY_ZERO) + pd.Timedelta(days=self.world.last_day)


def draw_clinic(world: World, seed: list[int]) -> Drawn:
    """Draw one clinic; call within ``planted``, so that its truth can be told from the same story."""
    story_rng, detail_rng, spoil_rng = (np.random.default_rng(each) for each in np.random.SeedSequence(seed).spawn(3))
    final = (world.last_day - story.FIRST_MONDAY) // 7 + WEEKS_BEYOND
    people = draw_people(story_rng, -7 * story.WARM_UP_WEEKS, story.FIRST_MONDAY + 7 * final)
    whole = joined_weeks(run_weeks(story_rng, people, -story.WARM_UP_WEEKS, final))
    logged = (whole["day"] >= 0) & (whole["day"] <= world.last_day)
    rows = details.with_details(detail_rng, people, {name: values[logged] for name, values in whole.items()})
    rows["minutes"] = np.maximum(np.rint(rows["minutes"] + _drifted(world, rows["day"])), 3.0)
    log, ears = _as_written(spoil_rng, world, visit_frame(rows), ear_frame(rows))
    return Drawn(world, log, ears, people, rows, _came_later(whole, world.last_day))


def one_clinic(world: World, visits: int, seed: list[int]) -> Drawn:
    """Draw one clinic of so many visits, about."""
    with planted(world, visits):
        return draw_clinic(world, seed)


def _drifted(world: World, day: np.ndarray) -> np.ndarray:
    """Minutes by which visits have grown by then; nought on average over the log."""
    return world.drift * (day - world.last_day / 2) / 365.25


def _came_later(whole: Rows, last_day: int) -> np.ndarray:
    """Count the attended visits of each month after the log."""
    day = whole["day"][whole["attendance"] == story.ATTENDED]
    month = (story.DAY_ZERO + day * story.A_DAY).astype("datetime64[M]").astype(int)
    first = int((story.DAY_ZERO + (last_day + 1) * story.A_DAY).astype("datetime64[M]").astype(int))
    return np.array([(month == first + each).sum() for each in range(MONTHS_AHEAD)], dtype=float)


def _as_written(
    rng: np.random.Generator, world: World, visits: pd.DataFrame, ears: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Write the log as badly as the world says."""
    spoilt = world.spoilt
    if share := spoilt.get("rounded", 0.0):
        names = visits["practitioner"].unique()
        rounding = visits["practitioner"].isin(sorted(names)[: max(1, round(share * len(names)))])
        fives = (5 * (visits["minutes"] / 5).round()).clip(lower=5)
        quality = visits["minutes_quality"].astype("object").mask(rounding & visits["minutes"].notna(), "rounded")
        visits = visits.assign(
            minutes=visits["minutes"].mask(rounding, fives),
            minutes_quality=quality.astype(visits["minutes_quality"].dtype),
        )
    if share := spoilt.get("blank", 0.0):
        for name in ("minutes", "hearing_aid", "softening_advised"):
            visits = visits.assign(**{name: visits[name].mask(rng.random(len(visits)) < share)})
        quality = visits["minutes_quality"].astype("object").mask(visits["minutes"].isna(), "missing")
        visits = visits.assign(minutes_quality=quality.astype(visits["minutes_quality"].dtype))
        for name in ("grade", "debris"):
            ears = ears.assign(**{name: ears[name].mask(rng.random(len(ears)) < share)})
    if spoilt.get("no_debris"):
        nothing = {name: ears[name].mask(np.ones(len(ears), bool)) for name in ("debris", "impacted")}
        ears = ears.assign(**nothing)
    return visits, ears

"""A small invented clinic in which everything about re-occlusion is planted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd

from analysis.schema import EAR_ROWS, VISITS, typed_frame

FIRST_DAY = pd.Timestamp("2023-01-01")
MONTH = 30.4375
OPEN, FILLING, CLEANED, BLOCKED = range(4)
GRADES = np.array(["clear", "non_occluding", "non_occluding", "fully_occluding"])
SEEN_TO_FILL = 0.6


@dataclass(frozen=True)
class World:
    """What is planted: Weibull times with a frailty both ears share, some who never return, symptoms within a window.

    Beyond that, where asked for: patients who go elsewhere at any time (``leaves_a_year``), some who wait far longer
    than the window (``slow_share``, ``slow_days``), some who never call of themselves and are seen at recalls only
    (``recall_only``), a clinic older than its log (``years_before``), and ears cleaned while open: each look at one in
    the last two fifths of its time, when it is seen to fill, ends in a cleaning with the chance ``cleaned_open``.
    """

    shape: float = 1.6
    scale_months: float = 20.0
    hearing_aid_factor: float = 0.65
    frailty_variance: float = 0.0
    never: float = 0.25
    recall_uptake: float = 0.4
    window_days: float = 60.0
    years: float = 3.0
    patients: int = 2500
    leaves_a_year: float = 0.0
    slow_share: float = 0.0
    slow_days: float = 240.0
    recall_only: float = 0.0
    years_before: float = 0.0
    cleaned_open: float = 0.0

    @property
    def last_day(self) -> pd.Timestamp:
        return FIRST_DAY + pd.Timedelta(days=round(self.years * 365))

    def months_until(self, share: float, *, hearing_aid: bool) -> float:
        """Give the true months until a share of a random patient's ears is occluding again.

        In a clinic older than its log the ears are those the log clears, each once: frail ears come oftener.
        """
        variance = self.frailty_variance
        factor = self.hearing_aid_factor if hearing_aid else 1.0
        if variance and self.years_before:
            frailties = _frailties_seen(replace(self, patients=40_000), hearing_aid=hearing_aid)
            hazard = np.linspace(0.0, 3.0, 3001)
            occluding = 1 - np.exp(-np.outer(hazard, frailties)).mean(axis=1)
            return float(self.scale_months * factor * np.interp(share, occluding, hazard) ** (1 / self.shape))
        hazard_then = -np.log1p(-share) if variance == 0 else ((1 - share) ** -variance - 1) / variance
        return float(self.scale_months * factor * hazard_then ** (1 / self.shape))

    def return_share(self) -> float:
        """Give the true share of patients new to the log who ever come back, watched for ever."""
        return 1 - self.never if self.leaves_a_year == 0 else _ever_back(replace(self, patients=40_000))

    def log(self, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Draw the visits and ears of one such clinic: both ears cleared first, then whatever brings people back."""
        visits = self.rounds(np.random.default_rng(seed))[0]
        return _frames([each for each in visits if len(each[0])])

    def rounds(self, rng: np.random.Generator) -> tuple[list[tuple], np.ndarray, np.ndarray]:
        """Draw the visits within the log, round by round; everybody's frailty, and who wears a hearing aid."""
        n, end, before = self.patients, self.years * 365, self.years_before * 365
        day = np.floor(rng.uniform(-before, end, n))
        aid, stays = rng.random(n) < 0.3, rng.random(n) >= self.never
        v = self.frailty_variance
        frailty = rng.gamma(1 / v, v, n) if v > 0 else np.ones(n)
        leaves = day + rng.exponential(365 / self.leaves_a_year, n) if self.leaves_a_year else np.full(n, np.inf)
        calls = rng.random(n) >= self.recall_only if self.recall_only else np.ones(n, dtype=bool)
        scale = self.scale_months * MONTH * np.where(aid, self.hearing_aid_factor, 1.0)
        onset, filling_from = np.full((2, n, 2), -np.inf)
        kind = np.full(n, "new", dtype=object)
        rounds, who = [], np.arange(n)
        while len(who):
            blocked = onset[who] <= day[who, None]
            logged = day[who] >= 0
            filling = ~blocked & (filling_from[who] <= day[who, None])
            cleaned = (
                filling & (rng.random(filling.shape) < self.cleaned_open) if self.cleaned_open else filling & False
            )
            found = np.where(blocked, BLOCKED, np.where(cleaned, CLEANED, np.where(filling, FILLING, OPEN)))
            rounds.append((who[logged], day[who[logged]], kind[who[logged]], aid[who[logged]], found[logged]))
            wait = scale[who, None] * (rng.exponential(size=blocked.shape) / frailty[who, None]) ** (1 / self.shape)
            renewed = blocked | cleaned
            onset[who] = np.where(renewed, day[who, None] + wait, onset[who])
            filling_from[who] = np.where(renewed, day[who, None] + SEEN_TO_FILL * wait, filling_from[who])
            call = onset[who].min(axis=1) + self._lag(rng, len(who))
            recall = day[who] + 365 * rng.geometric(self.recall_uptake, len(who))
            call = np.where(calls[who], call, np.inf)
            kind[who] = np.where(call <= recall, "symptoms_return", "routine_recall")
            day[who] = np.ceil(np.minimum(call, recall))
            who = who[stays[who] & (day[who] <= np.minimum(end, leaves[who]))]
        return rounds, frailty, aid

    def _lag(self, rng: np.random.Generator, n: int) -> np.ndarray:
        """Draw days from an ear's occluding to the call."""
        quick = rng.uniform(0, self.window_days, n)
        if not self.slow_share:
            return quick
        return np.where(rng.random(n) < self.slow_share, rng.uniform(0, self.slow_days, n), quick)


@cache
def _frailties_seen(world: World, *, hearing_aid: bool) -> np.ndarray:
    """Give the frailties behind the ears that a large clinic clears within its log, each ear once."""
    rounds, frailty, aid = world.rounds(np.random.default_rng(1))
    ears = [2 * each[0][:, None] + np.arange(2) for each in rounds]
    cleared = [np.isin(each[4], [BLOCKED, CLEANED]) for each in rounds]
    seen = np.unique(np.concatenate([each[which] for each, which in zip(ears, cleared, strict=True)])) // 2
    mine = seen[aid[seen] == hearing_aid]
    return np.quantile(frailty[mine], (np.arange(500) + 0.5) / 500)


@cache
def _ever_back(world: World) -> float:
    """Give the share of a large clinic's patients who come back at all, watched for forty years."""
    rounds, _, _ = replace(world, years=40.0).rounds(np.random.default_rng(1))
    entered = rounds[0][0][rounds[0][1] < 20 * 365]
    return float(np.isin(entered, rounds[1][0]).mean())


def _frames(rounds: list[tuple]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Write the rounds of visits down as a log."""
    who, day, kind, aid = (np.concatenate([each[place] for each in rounds]) for place in range(4))
    found = np.concatenate([each[4] for each in rounds])
    worked = np.isin(found, [BLOCKED, CLEANED])
    names = [f"v{place}" for place in range(len(who))]
    visits = pd.DataFrame({"visit_id": names, "patient_key": [f"p{each}" for each in who], "booking_kind": kind})
    visits = visits.assign(
        attendance="attended", hearing_aid=aid, slot_start=FIRST_DAY + pd.to_timedelta(day, unit="D")
    )
    ears = [
        pd.DataFrame(
            {
                "visit_id": names,
                "ear": ear,
                "grade": GRADES[found[:, place]],
                "methods": np.where(worked[:, place], "fine_suction", ""),
                "outcome": np.where(worked[:, place], "clear", "nothing_to_remove"),
            }
        )
        for place, ear in enumerate(("left", "right"))
    ]
    return typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.concat(ears))

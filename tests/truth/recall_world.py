"""A small invented clinic in which everything about re-occlusion is planted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.schema import EAR_ROWS, VISITS, typed_frame

FIRST_DAY = pd.Timestamp("2023-01-01")
MONTH = 30.4375


@dataclass(frozen=True)
class World:
    """What is planted: Weibull times with a frailty both ears share, some who never return, symptoms within a window."""

    shape: float = 1.6
    scale_months: float = 20.0
    hearing_aid_factor: float = 0.65
    frailty_variance: float = 0.0
    never: float = 0.25
    recall_uptake: float = 0.4
    window_days: float = 60.0
    years: float = 3.0
    patients: int = 2500

    @property
    def last_day(self) -> pd.Timestamp:
        return FIRST_DAY + pd.Timedelta(days=round(self.years * 365))

    def months_until(self, share: float, *, hearing_aid: bool) -> float:
        """Give the true months until a share of a random patient's ears is occluding again."""
        variance = self.frailty_variance
        hazard = -np.log1p(-share) if variance == 0 else ((1 - share) ** -variance - 1) / variance
        factor = self.hearing_aid_factor if hearing_aid else 1.0
        return float(self.scale_months * factor * hazard ** (1 / self.shape))

    def log(self, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Draw the visits and ears of one such clinic: both ears cleared first, then whatever brings people back."""
        rng, n = np.random.default_rng(seed), self.patients
        end = self.years * 365
        day = np.floor(rng.uniform(0, end, n))
        aid, stays = rng.random(n) < 0.3, rng.random(n) >= self.never
        v = self.frailty_variance
        frailty = rng.gamma(1 / v, v, n) if v > 0 else np.ones(n)
        scale = self.scale_months * MONTH * np.where(aid, self.hearing_aid_factor, 1.0)
        onset, kind = np.full((n, 2), -np.inf), np.full(n, "new", dtype=object)
        rounds, who = [], np.arange(n)
        while len(who):
            blocked = onset[who] <= day[who, None]
            rounds.append((who, day[who], kind[who], aid[who], blocked))
            wait = scale[who, None] * (rng.exponential(size=blocked.shape) / frailty[who, None]) ** (1 / self.shape)
            onset[who] = np.where(blocked, day[who, None] + wait, onset[who])
            call = onset[who].min(axis=1) + rng.uniform(0, self.window_days, len(who))
            recall = day[who] + 365 * rng.geometric(self.recall_uptake, len(who))
            kind[who] = np.where(call <= recall, "symptoms_return", "routine_recall")
            day[who] = np.ceil(np.minimum(call, recall))
            who = who[stays[who] & (day[who] <= end)]
        return _frames(rounds)


def _frames(rounds: list[tuple]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Write the rounds of visits down as a log."""
    who, day, kind, aid = (np.concatenate([each[place] for each in rounds]) for place in range(4))
    blocked = np.concatenate([each[4] for each in rounds])
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
                "grade": np.where(blocked[:, place], "fully_occluding", "clear"),
                "methods": np.where(blocked[:, place], "fine_suction", ""),
                "outcome": np.where(blocked[:, place], "clear", "nothing_to_remove"),
            }
        )
        for place, ear in enumerate(("left", "right"))
    ]
    return typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.concat(ears))

"""The planted truth about softening: every ear's both endings, from the story itself."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import story
from analysis.demo.minutes import mean_minutes
from analysis.demo.softening import chance

Rows = dict[str, Any]


def softening_truth(rows: Rows) -> dict[str, Any]:
    """Tell what softening truly does on the clinic's own eligible first attempts, and how it looks unadjusted.

    Eligible is an occluding ear's first attempt at a visit that took place,
    with no operated canal, perforation or abnormal eardrum. The true effect is
    the mean over those ears of the planted chance of success with softening
    minus without; for *advised*, each chance is mixed by who would then use it.
    """
    eligible = eligible_ears(rows)
    visit = np.nonzero(eligible)[0]
    without = chance(rows["logit"][eligible])
    with_it = chance(rows["logit"][eligible] + story.SUCCESS_SOFTENED)
    signal = rows["signal"].astype(int)[visit]
    told, untold = story.USED_SHARES[1, signal], story.USED_SHARES[0, signal]
    success = (rows["outcome"] <= 1)[eligible]
    saved = _minutes_saved(rows)
    told_visit, untold_visit = (
        story.USED_SHARES[1, rows["signal"].astype(int)],
        story.USED_SHARES[0, rows["signal"].astype(int)],
    )
    any_eligible = eligible.any(axis=1)
    return {
        "eligible_ears": int(eligible.sum()),
        "eligible_visits": int(any_eligible.sum()),
        "success_share": float(success.mean()),
        "odds_ratio_used_given_ear": float(np.exp(story.SUCCESS_SOFTENED)),
        "used": _contrast(with_it, without)
        | {"minutes_saved": float(saved[any_eligible].mean()), "minutes_saved_an_ear": float(saved[visit].mean())}
        | _unadjusted(rows, rows["used"], eligible),
        "advised": _contrast(told * with_it + (1 - told) * without, untold * with_it + (1 - untold) * without)
        | {
            "minutes_saved": float((saved * (told_visit - untold_visit))[any_eligible].mean()),
            "minutes_saved_an_ear": float((saved * (told_visit - untold_visit))[visit].mean()),
            "share_using_if_advised": float(told.mean()),
            "share_using_if_not": float(untold.mean()),
        }
        | _unadjusted(rows, rows["advised"], eligible),
    }


def eligible_ears(rows: Rows) -> np.ndarray:
    """Say which ears, shape (visits, 2), are eligible first attempts."""
    against = (
        (rows["canal"] == story.OPERATED) | (rows["eardrum"] == "seen_abnormal") | (rows["middle_ear"] == "perforation")
    )
    came = (rows["attendance"] == story.ATTENDED)[:, None]
    return came & (rows["tries"] == 1) & (rows["grade"] >= story.PARTLY) & ~against


def _contrast(with_it: np.ndarray, without: np.ndarray) -> dict[str, float]:
    """Give both arms' shares, their difference, ratio and the number needed to treat."""
    treated, untreated = float(with_it.mean()), float(without.mean())
    return {
        "success_share_with": treated,
        "success_share_without": untreated,
        "risk_difference": treated - untreated,
        "risk_ratio": treated / untreated,
        "number_needed_to_treat": 1 / (treated - untreated),
    }


def _minutes_saved(rows: Rows) -> np.ndarray:
    """Mean minutes each visit would take unsoftened minus softened."""
    nobody = np.zeros(len(rows["used"]), bool)
    return mean_minutes(rows, rows["first_method"], nobody) - mean_minutes(rows, rows["first_method"], ~nobody)


def _unadjusted(rows: Rows, treated: np.ndarray, eligible: np.ndarray) -> dict[str, float]:
    """Compare the arms as they stand in the log, as a careless reader would."""
    arm = treated[np.nonzero(eligible)[0]]
    success = (rows["outcome"] <= 1)[eligible]
    minutes = rows["minutes"][eligible.any(axis=1)]
    visit_arm = treated[eligible.any(axis=1)]
    return {
        "ears_with": int(arm.sum()),
        "ears_without": int((~arm).sum()),
        "unadjusted_risk_difference": float(success[arm].mean() - success[~arm].mean()),
        "unadjusted_minutes_saved": float(minutes[~visit_arm].mean() - minutes[visit_arm].mean()),
    }

"""What the gaps say about re-occlusion, and who may have gone for good."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.models.recall_callers import FEWEST_READ, FEWEST_WATCHED, Calls, first_calls
from analysis.stats.kaplan_meier import KaplanMeier, kaplan_meier

EVERYONE = "everyone"
AFTER_CLEARANCE, AFTER_RETURN = 0, 1


@dataclass(frozen=True, eq=False)
class Returns:
    """How long patients stay away after a clearance, and the share who never return.

    Attributes
    ----------
    curve : KaplanMeier
        Share not yet back, by days.
    until_days : float
        How far the curve is read: the last day with enough patients watched.
    never : float
        Share never back: the curve's level on that day, less those only late.
    error : float
        Standard error of ``never``, widened by half of what was taken off for the late.
    calls : Calls or None
        How soon patients call of themselves, and how many never do; None where that was not asked.
    """

    curve: KaplanMeier
    until_days: float
    never: float
    error: float
    calls: Calls | None = None

    def gone(self, away_days: np.ndarray, never: float) -> np.ndarray:
        """Chance that a patient away for so long is gone for good, were ``never`` the share."""
        away = self.curve.at(np.minimum(away_days, self.until_days))
        return np.clip(np.divide(never, away, out=np.zeros_like(away), where=away > 0), 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Evidence:
    """Ears between limits: the rows of the likelihood.

    Attributes
    ----------
    low, high : numpy.ndarray
        Days; the ear was open until ``low`` and occluding by ``high``.
    weight : numpy.ndarray
        Share of the row that counts.
    row : numpy.ndarray of int
        Place of the gap in the frame it came from.
    """

    low: np.ndarray
    high: np.ndarray
    weight: np.ndarray
    row: np.ndarray


def first_clearances(gaps: pd.DataFrame) -> pd.DataFrame:
    """Keep each ear's first clearance in the log, so that every ear counts once.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.

    Returns
    -------
    pandas.DataFrame
        Those rows, with

        - ``unended``: not found occluding, and no later clearance;
        - ``after_return``: the patient had come back before, in the log or before it;
        - ``away_days``: days since the ear was last seen, up to the log's end;
        - ``earlier_clearances``: 0.

    Notes
    -----
    An ear that fills fast is cleared often. Counting every clearance would
    count such ears more often than others; the first one alone does not.
    """
    every = all_clearances(gaps)
    return every[every["earlier_clearances"] == 0].reset_index(drop=True)


def all_clearances(gaps: pd.DataFrame) -> pd.DataFrame:
    """Mark every clearance, in the order of each ear's.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.

    Returns
    -------
    pandas.DataFrame
        All rows, with the columns ``first_clearances`` adds and
        ``earlier_clearances``: how many of the same ear the log holds before.
    """
    ordered = gaps.sort_values(["patient_key", "ear", "cleared_on"])
    ear = ["patient_key", "ear"]
    last = ~ordered.duplicated(ear, keep="last")
    return ordered.assign(
        unended=last & ordered["occluding_by_days"].isna(),
        after_return=_after_return(ordered),
        away_days=ordered["watched_days"] - ordered["open_until_days"],
        earlier_clearances=ordered.groupby(ear, observed=True).cumcount(),
    ).reset_index(drop=True)


def absence_tells(gaps: pd.DataFrame) -> bool:
    """Say whether staying away means anything: not in a log where all who came back were called.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.

    Returns
    -------
    bool
        False where kinds of return are noted and none is a return with
        symptoms: then only the clinic chose the days, and whoever stayed away
        may have an ear in any state.
    """
    kinds = gaps["return_kind"].dropna()
    return bool(kinds.empty or (kinds == "symptoms_return").any())


def _after_return(gaps: pd.DataFrame) -> pd.Series:
    """Say of each gap whether its patient had come back before: in the log, or before it began.

    Whom the log knows from before is there because he came back; counted as new, such patients make it seem
    that nearly all do. Where too few new patients are left to be read, everybody counts as new.
    """
    before = gaps["known_before"].fillna(False).astype(bool)
    if gaps.loc[~before, "patient_key"].nunique() < FEWEST_WATCHED:
        before = pd.Series(False, index=gaps.index)
    return before | _after_return_in_log(gaps)


def _after_return_in_log(gaps: pd.DataFrame) -> pd.Series:
    """Say of each gap whether its patient had come back before, after the first clearance in the log."""
    start = gaps.groupby("patient_key")["cleared_on"].transform("min")
    back = (start + pd.to_timedelta(gaps["return_days"], unit="D")).where(gaps["cleared_on"] == start)
    return back.groupby(gaps["patient_key"]).transform("min") <= gaps["cleared_on"]


def patient_returns(gaps: pd.DataFrame, symptom_window_days: int | None = None) -> list[Returns]:
    """Read how long patients stay away: after the first clearance in the log, and after having come back.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``; at least one row.
    symptom_window_days : int, optional
        With it, first returns also tell who calls of themselves.

    Returns
    -------
    list of Returns
        At ``AFTER_CLEARANCE`` and ``AFTER_RETURN``. Where fewer than 25
        patients who had come back were watched, these are taken to stay away
        like the others.

    Notes
    -----
    The Kaplan-Meier level after long watching is the share who never return
    [1]_; it needs no assumption about when wax builds up. After short watching
    some are only late. These are put at what follows if returns go on falling
    as they fell from the second to the last third of the time watched (a
    geometric series, in the manner of [2]_); if they did not fall, nobody is
    taken to be gone.

    References
    ----------
    .. [1] Maller and Zhou (1992), Biometrika 79, 731-739.
    .. [2] Escobar-Bach and Van Keilegom (2019), J. R. Stat. Soc. B 81, 861-880.
    """
    spells = gaps.assign(after_return=_after_return(gaps)).sort_values(["patient_key", "cleared_on"])
    first = spells[~spells["after_return"]].drop_duplicates("patient_key", keep="last")
    later = spells[spells["after_return"]].drop_duplicates(["patient_key", "cleared_on"])
    found = [_returns(first), _returns(later if len(later) >= FEWEST_WATCHED else first)]
    if symptom_window_days is not None:
        ears = spells[~spells["after_return"]].drop_duplicates(["patient_key", "ear"], keep="last")
        found[0] = replace(found[0], calls=first_calls(ears, found[0].curve, found[0].never, symptom_window_days))
    return found


def _returns(spells: pd.DataFrame) -> Returns:
    """Read one curve of returns."""
    days = spells["return_days"].fillna(spells["watched_days"]).to_numpy()
    curve = kaplan_meier(days, spells["returned"].to_numpy(dtype=bool))
    end = max(int((curve.at_risk >= FEWEST_READ).sum()) - 1, 0)
    until, level = float(curve.times[end]), float(curve.survival[end])
    late = min(_only_late(curve, until), level)
    return Returns(curve, until, level - late, float(np.hypot(curve.standard_error[end], late / 2)))


def _only_late(curve: KaplanMeier, until: float) -> float:
    """Share still to come back after the time watched, if returns go on falling as they fell."""
    a_third, two_thirds, whole = curve.at(until * np.array([1 / 3, 2 / 3, 1]))
    middle, last = a_third - two_thirds, two_thirds - whole
    if last <= 0:
        return 0.0
    return float(last * last / (middle - last)) if middle > last else 1.0


def calls_uncertain(returns: list[Returns]) -> bool:
    """Say whether a share who never call of themselves was estimated, so that its error counts."""
    calls = returns[AFTER_CLEARANCE].calls
    return calls is not None and bool(np.isfinite(calls.error)) and calls.error > 0


def ear_evidence(
    first: pd.DataFrame,
    returns: list[Returns],
    never: list[float],
    symptom_window_days: int,
    *,
    silent_errors: float = 0.0,
) -> Evidence:
    """Turn gaps into rows of a likelihood.

    Parameters
    ----------
    first : pandas.DataFrame
        From ``first_clearances``.
    returns : list of Returns
        From ``patient_returns``.
    never : list of float
        Share who never return, for each of ``returns``; noughts leave gone patients out of account.
    symptom_window_days : int
        Days before a return with symptoms within which the ear became occluding.
    silent_errors : float, optional
        By how many of its errors the share who never call of themselves is moved.

    Returns
    -------
    Evidence

    Notes
    -----
    An ear whose patient stays away is either still open, or its patient is gone
    for good or comes at recalls only. It counts as open until half a symptom window before the log's
    end (whoever occluded later may not have called yet; a call comes half a
    window after onset on average), with the chance that the patient is not
    gone and would call; and as open until last seen with the chance that the
    patient is gone or would not.
    """
    unended = first["unended"].to_numpy(dtype=bool)
    stage = first["returned"].to_numpy(dtype=bool) | first["after_return"].to_numpy(dtype=bool)
    away = first["away_days"].to_numpy()
    gone = np.where(
        stage, returns[AFTER_RETURN].gone(away, never[AFTER_RETURN]), returns[AFTER_CLEARANCE].gone(away, never[0])
    )
    calls = returns[AFTER_CLEARANCE].calls
    tells = 1 - gone
    if calls is not None:
        tells = tells * calls.would_call(away, calls.silent_moved(silent_errors))
    seen, by = first["open_until_days"].to_numpy(), first["occluding_by_days"].fillna(np.inf).to_numpy()
    absent = np.maximum(first["watched_days"].to_numpy() - symptom_window_days / 2, seen)
    rows = np.arange(len(first))
    return Evidence(
        low=np.concatenate([np.where(unended, absent, seen), seen[unended]]),
        high=np.concatenate([by, np.full(unended.sum(), np.inf)]),
        weight=np.concatenate([np.where(unended, tells, 1.0), 1 - tells[unended]]),
        row=np.concatenate([rows, rows[unended]]),
    )

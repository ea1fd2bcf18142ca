"""What the gaps say about re-occlusion, and who may have gone for good."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.recall_callers import CALL, RECALL, Calls
from analysis.models.recall_entry import entered_years
from analysis.models.recall_returns import AFTER_CLEARANCE, AFTER_RETURN, Returns, after_return
from analysis.models.recall_unseen import Unseen, stand_for

EVERYONE = "everyone"


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
        - ``has_called``: the patient has come back with symptoms at any time;
        - ``recall_open_days``, ``recall_found_days``: open until then and occluding by then, of the first ear of the
          patient's that a recall found occluding;
        - ``away_days``: days since the ear was last seen, up to the log's end;
        - ``stands_for``: ears it stands for, as ``stand_for`` says;
        - ``entered_years``: of patients known before the log, as ``entered_years`` says;
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
    return (
        _with_habits(ordered)
        .assign(
            unended=last & ordered["occluding_by_days"].isna(),
            after_return=after_return(ordered),
            away_days=ordered["watched_days"] - ordered["open_until_days"],
            stands_for=stand_for(ordered, Unseen.of(ordered)),
            entered_years=entered_years(ordered),
            earlier_clearances=ordered.groupby(ear, observed=True).cumcount(),
        )
        .reset_index(drop=True)
    )


def _with_habits(ordered: pd.DataFrame) -> pd.DataFrame:
    """Say of each patient whether any return was with symptoms, and when a recall first found an ear occluding."""
    patient = ordered["patient_key"]
    called = ((ordered["first_return_kind"] == CALL) | (ordered["return_kind"] == CALL)).fillna(False).astype(bool)
    found = ordered[
        ((ordered["return_kind"] == RECALL) & ordered["occluding_by_days"].notna()).fillna(False).astype(bool)
    ]
    first = found.drop_duplicates("patient_key").set_index("patient_key")
    return ordered.assign(
        has_called=called.groupby(patient).transform("max"),
        recall_found_days=patient.map(first["occluding_by_days"]).astype(float),
        recall_open_days=patient.map(first["open_until_days"]).astype(float),
    )


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
    patient is gone or would not. Whoever has ever come with symptoms would call.

    An ear that a recall finds occluding would, had it been so for longer than
    the window, have brought a patient who calls: it became so within the last two
    thirds of the window (of those yet to call the ear has been occluding for a third
    of it on average), with the chance that the patient calls; and at any time since
    it was last seen open with the chance that the patient never does. Taken to have
    become so at any time, such ears made months 1 in 100 early at clinics of any size.
    """
    unended = first["unended"].to_numpy(dtype=bool)
    seen, by = first["open_until_days"].to_numpy(), first["occluding_by_days"].fillna(np.inf).to_numpy()
    calls = returns[AFTER_CLEARANCE].calls
    silent = 0.0 if calls is None else calls.silent_moved(silent_errors)
    tells = _tells(first, returns, never, silent, symptom_window_days)
    absent = np.maximum(first["watched_days"].to_numpy() - symptom_window_days / 2, seen)
    at_recall, never_calls = _found_at_recall(first, calls, silent, symptom_window_days)
    lately = np.maximum(by - symptom_window_days * 2 / 3, seen)
    rows = np.arange(len(first))
    row = np.concatenate([rows, rows[unended], rows[at_recall]])
    chance = np.concatenate([np.where(unended, tells, never_calls), 1 - tells[unended], 1 - never_calls[at_recall]])
    return Evidence(
        low=np.concatenate([np.where(unended, absent, seen), seen[unended], lately[at_recall]]),
        high=np.concatenate([by, np.full(unended.sum(), np.inf), by[at_recall]]),
        weight=chance * first["stands_for"].to_numpy()[row],
        row=row,
    )


def _tells(
    first: pd.DataFrame, returns: list[Returns], never: list[float], silent: float, window_days: int
) -> np.ndarray:
    """Chance that an absent patient is neither gone nor one who would not call, so that staying away tells of open ears."""
    away = first["away_days"].to_numpy()
    stage = (first["returned"] | first["after_return"]).to_numpy(dtype=bool)
    gone = np.where(
        stage, returns[AFTER_RETURN].gone(away, never[AFTER_RETURN]), returns[AFTER_CLEARANCE].gone(away, never[0])
    )
    calls = returns[AFTER_CLEARANCE].calls
    if calls is None:
        return 1 - gone
    seen, watched = first["open_until_days"].to_numpy(), first["watched_days"].to_numpy()
    would = calls.would_call(_never_calls(first, calls, silent, window_days), seen, watched, silent, window_days)
    return np.clip((1 - gone) * would, 0.0, 1.0)


def _never_calls(first: pd.DataFrame, calls: Calls, silent: float, window_days: int) -> np.ndarray:
    """Chance that each ear's patient never calls, from the kinds of all returns and what the first recall found."""
    at, until = (first[each].to_numpy() for each in ("recall_found_days", "recall_open_days"))
    found = np.isfinite(at)
    chance = np.full(len(first), silent)
    chance[found] = calls.found_silent(until[found], at[found], silent, window_days)
    return np.where(first["has_called"].to_numpy(dtype=bool), 0.0, chance)


def _found_at_recall(
    first: pd.DataFrame, calls: Calls | None, silent: float, window_days: int
) -> tuple[np.ndarray, np.ndarray]:
    """Say which ears a recall found occluding, and the chance that their patients never call; 1 for all others."""
    at_recall = (first["return_kind"] == RECALL) & first["occluding_by_days"].notna()
    found, chance = at_recall.fillna(False).to_numpy(dtype=bool), np.ones(len(first))
    if calls is None or not calls.known:
        return np.zeros_like(found), chance
    seen, by = (first[each].to_numpy()[found] for each in ("open_until_days", "occluding_by_days"))
    called = first["has_called"].to_numpy(dtype=bool)[found]
    chance[found] = np.where(called, 0.0, calls.found_silent(seen, by, silent, window_days))
    return found, chance

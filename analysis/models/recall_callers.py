"""Who calls when an ear troubles them, and who is seen at recalls only: what staying away may say of an ear."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from analysis.stats.kaplan_meier import KaplanMeier, kaplan_meier

FEWEST_WATCHED = 25
"""Patients or first returns at recalls that must be there for what they show to count (our choice, no source)."""
FEWEST_READ = 10
"""Patients still watched for a curve of returns to be read. Our choice: on simulated clinics of 1,000 visits 25 stopped short
of the second yearly recall, so that the share who come back came out 6 in 100 too low and its ranges held 83 in 100; with 10
it came out right, and ranges as wide held 96."""
LEAST_ODDS = -0.5
"""Odds of never calling below which chance is not followed, so that the share stays finite."""
CALL, RECALL = "symptoms_return", "routine_recall"


@dataclass(frozen=True, eq=False)
class Calls:
    """How soon patients call of themselves, and the share of those not gone who never do.

    Attributes
    ----------
    calls : KaplanMeier
        When patients first came with symptoms; whoever came for another reason is watched until then.
    others : numpy.ndarray
        How many first came for another reason at each time of ``calls``.
    away : numpy.ndarray
        Share of all patients not back yet just before each time of ``calls``.
    never : float
        Share of patients who are gone for good.
    silent : float
        Share of these who come at recalls only, however long their ears trouble them. By chance it may come out below
        nought, and is left so: raised to nought it would be too high on average, and months too early.
    error : float
        Standard error of ``silent``; infinite where too few first returns were at recalls for it to be known.
    recalls : int
        First returns at recalls that saw an ear.
    """

    calls: KaplanMeier
    others: np.ndarray
    away: np.ndarray
    never: float
    silent: float
    error: float
    recalls: int

    @property
    def known(self) -> bool:
        """Whether enough first returns were at recalls for ``silent`` to be known."""
        return bool(np.isfinite(self.error))

    def silent_moved(self, errors: float) -> float:
        """Give the share who never call, moved by some of its errors; as it is where these are not known."""
        return min(self.silent + errors * self.error, 1.0) if self.known else self.silent

    def came(self, days: np.ndarray) -> np.ndarray:
        """Share of the patients not gone who have come with symptoms by some days.

        Recalls take only those who are not gone out of the watching, so that the gone make up more and more of those
        watched: at each time only the expected number of the others counts as at risk.
        """
        return 1 - self._waiting(self.calls.events, days)

    def not_recalled(self, days: float) -> float:
        """Share of the patients not gone whom no recall would have brought back by some days, were there no calls."""
        return float(self._waiting(self.others, np.array([days]))[0])

    def called_first(self, days: np.ndarray) -> np.ndarray:
        """Share of all patients who came back within some days, the first time with symptoms."""
        share = np.concatenate([[0.0], np.cumsum(self.away * self.calls.events / self.calls.at_risk)])
        return share[np.searchsorted(self.calls.times, days, side="right")]

    def about_to_come(self, days: np.ndarray, window_days: float) -> np.ndarray:
        """Share of the patients not gone who come with symptoms within half a window after some days.

        Read off two windows around it: the few who come within half a window say little.
        """
        middle = np.asarray(days, dtype=float) + window_days / 4
        early, late = np.maximum(middle - window_days, 0.0), middle + window_days
        return (self.came(late) - self.came(early)) * (window_days / 2) / (late - early)

    def occluding(self, days: np.ndarray, window_days: float) -> np.ndarray:
        """Share of the patients not gone who call in the end and have an ear occluding by some days; none by 0 days."""
        days = np.asarray(days, dtype=float)
        return np.where(days > 0, self.came(days) + self.about_to_come(days, window_days), 0.0)

    def found_silent(self, open_until: np.ndarray, days: np.ndarray, silent: float, window_days: float) -> np.ndarray:
        """Chance that a patient in whom a recall finds an ear occluding, open until some days, never calls."""
        filled = self.occluding(days, window_days) - self.occluding(open_until, window_days)
        silent_ones = silent * np.maximum(filled, 0.0)
        both = silent_ones + (1 - silent) * self.about_to_come(days, window_days)
        return np.clip(np.divide(silent_ones, both, out=np.zeros_like(both), where=both > 0), 0.0, 1.0)

    def would_call(
        self, before: np.ndarray, open_until: np.ndarray, watched: np.ndarray, silent: float, window_days: float
    ) -> np.ndarray:
        """Chance that an absent patient who is not gone would call were an ear to trouble them.

        Parameters
        ----------
        before : numpy.ndarray
            Chance that the patient never calls, from all that was seen before staying away.
        open_until, watched : numpy.ndarray
            Days until which ears were seen open, and until which the patient has been watched.
        silent : float
        window_days : float

        Returns
        -------
        numpy.ndarray
            May be above 1 where ``before`` is below nought.
        """
        rest = np.maximum(1 - silent - self.came(watched), 0.0)
        then = 1 - silent - self.occluding(open_until, window_days)
        waits = np.clip(np.divide(rest, then, out=np.ones_like(rest), where=then > 0), 0.0, 1.0)
        callers = (1 - before) * waits
        sure = np.where(before > 0, 0.0, 1.0)
        return np.divide(callers, callers + before, out=sure, where=callers + before > 0)

    def _waiting(self, events: np.ndarray, days: np.ndarray) -> np.ndarray:
        """Share of the patients not gone to whom one kind of return has not happened by some days, were there no other."""
        gone = np.divide(self.never, self.away, out=np.ones_like(self.away), where=self.away > 0)
        watched = self.calls.at_risk * np.clip(1 - gone, 0.0, 1.0)
        read = (self.calls.at_risk >= FEWEST_READ) & (watched >= 1)
        chance = np.divide(events, watched, out=np.zeros_like(watched), where=read)
        waiting = np.concatenate([[1.0], np.cumprod(1 - np.clip(chance, 0.0, 1.0))])
        return waiting[np.searchsorted(self.calls.times, days, side="right")]


@dataclass(frozen=True, eq=False)
class FirstReturns:
    """First returns of patients, and what those at recalls found.

    Attributes
    ----------
    days : numpy.ndarray, shape (patients,)
        Until the return, or until the log's end.
    returned, called : numpy.ndarray of bool, shape (patients,)
        Whether the patient came back, and whether with symptoms.
    at, occluding : numpy.ndarray, shape (finds,)
        Days to first returns at recalls that saw an ear, and 1 where one was occluding then, else 0.
    whose : numpy.ndarray of int, shape (finds,)
        Place of the patient.
    fewest : int
        Finds that are needed for them to count.
    """

    days: np.ndarray
    returned: np.ndarray
    called: np.ndarray
    at: np.ndarray
    occluding: np.ndarray
    whose: np.ndarray
    fewest: int = FEWEST_WATCHED

    @classmethod
    def of(cls, first: pd.DataFrame) -> FirstReturns:
        """Read rows of the table ``GAPS`` before which the patient had not come back, every ear's last such row."""
        patients = first.drop_duplicates("patient_key", keep="last")
        returned = patients["returned"].to_numpy(dtype=bool)
        called = (patients["first_return_kind"] == CALL).fillna(False).to_numpy(dtype=bool)
        days = patients["return_days"].fillna(patients["watched_days"]).to_numpy()
        finds = _found_at_recalls(first)
        whose = pd.Index(patients["patient_key"]).get_indexer(finds.index)
        return cls(days, returned, returned & called, finds["at"].to_numpy(), finds["occluding"].to_numpy(), whose)

    @cached_property
    def first_called(self) -> KaplanMeier:
        """When patients first came with symptoms; whoever came for another reason is watched until then."""
        return kaplan_meier(self.days, self.called)

    def kept(self, keep: np.ndarray) -> FirstReturns:
        """Keep some of the patients; what is asked of all is not asked of some of them again."""
        finds, place = keep[self.whose], np.cumsum(keep) - 1
        return FirstReturns(
            self.days[keep], self.returned[keep], self.called[keep],
            self.at[finds], self.occluding[finds], place[self.whose[finds]], 1,
        )  # fmt: skip

    def calls(self, returns: KaplanMeier, never: float, window_days: int, lender: Calls | None = None) -> Calls:
        """Learn who calls, as ``first_calls`` says; how many never do from a lender, where there is one."""
        curve = self.first_called
        away = returns.at(np.nextafter(curve.times, 0.0))
        unknown = Calls(curve, returns.events - curve.events, away, never, 0.0, np.inf, len(self.at))
        if lender is not None:
            return replace(unknown, silent=lender.silent, error=lender.error)
        here, filled = unknown.came(self.at), unknown.occluding(self.at, window_days)
        room = float(filled.sum())
        if len(self.at) < self.fewest or room <= 0:
            return unknown
        beyond = self.occluding * (1 - here) - (filled - here)
        odds = max(float(beyond.sum()) / room, LEAST_ODDS)
        error = float(np.sqrt(len(self.at)) * beyond.std()) / room
        return replace(unknown, silent=odds / (1 + odds), error=error / (1 + odds) ** 2)


def first_calls(first: pd.DataFrame, returns: KaplanMeier, never: float, symptom_window_days: int) -> Calls:
    """Learn from first returns who calls of themselves.

    Parameters
    ----------
    first : pandas.DataFrame
        Rows of the table ``GAPS`` before which the patient had not come back, every ear's last such row.
    returns : KaplanMeier
        Share of patients not back yet, for whatever reason, by days.
    never : float
        Share of patients who are gone for good.
    symptom_window_days : int
        Days within which those who call do so once an ear is occluding.

    Returns
    -------
    Calls

    Notes
    -----
    Did everybody call within the window, a recall would find an ear occluding
    only if it became so within the last weeks and the call was still to come:
    of patients not yet back by day t, about ``(a(t + window / 2) - a(t)) /
    (1 - a(t))``, where ``a`` is the share who have called. Whoever never calls
    is found occluding with the same chance as other ears have filled by then,
    ``a(t + window / 2)``; what recalls find beyond the former says how many such
    patients there are. The estimate solves one equation, summed over first
    returns at recalls: it needs no curve of a given shape.
    """
    return FirstReturns.of(first).calls(returns, never, symptom_window_days)


def _found_at_recalls(first: pd.DataFrame) -> pd.DataFrame:
    """Days to first returns at recalls that saw an ear, and whether one was occluding then, by patient."""
    seen = first[(first["first_return_kind"] == RECALL).fillna(False).to_numpy(dtype=bool)]
    occluding = seen["occluding_by_days"] == seen["return_days"]
    looked_at = occluding | (seen["open_until_days"] >= seen["return_days"])
    ears = pd.DataFrame(
        {"patient_key": seen["patient_key"], "at": seen["return_days"], "occluding": occluding.astype(float)}
    )[looked_at]
    return ears.groupby("patient_key").max().astype(float)

"""Who calls when an ear troubles them, and who is seen at recalls only: what staying away may say of an ear."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.stats.kaplan_meier import KaplanMeier, kaplan_meier

FEWEST_WATCHED = 25
"""Patients or first returns at recalls that must be there for what they show to count (our choice, no source)."""
FEWEST_READ = 10
"""Patients still watched for a curve of returns to be read. Our choice: on simulated clinics of 1,000 visits 25 stopped short
of the second yearly recall, so that the share who come back came out 6 in 100 too low and its ranges held 83 in 100; with 10
it came out right, and ranges as wide held 96."""
CALL, RECALL = "symptoms_return", "routine_recall"


@dataclass(frozen=True, eq=False)
class Calls:
    """How soon patients call of themselves, and the share of those not gone who never do.

    Attributes
    ----------
    calls : KaplanMeier
        When patients first came with symptoms; whoever came for another reason is watched until then.
    away : numpy.ndarray
        Share of all patients not back yet just before each time of ``calls``.
    never : float
        Share of patients who are gone for good.
    silent : float
        Share of these who come at recalls only, however long their ears trouble them.
    error : float
        Standard error of ``silent``; infinite where too few first returns were at recalls for it to be known.
    recalls : int
        First returns at recalls that saw an ear.
    """

    calls: KaplanMeier
    away: np.ndarray
    never: float
    silent: float
    error: float
    recalls: int

    def silent_moved(self, errors: float) -> float:
        """Give the share who never call, moved by some of its errors; as it is where these are not known."""
        return min(self.silent + errors * self.error, 1.0) if np.isfinite(self.error) else self.silent

    def came(self, days: np.ndarray) -> np.ndarray:
        """Share of the patients not gone who have come with symptoms by some days.

        Recalls take only those who are not gone out of the watching, so that the gone make up more and more of those
        watched: at each time only the expected number of the others counts as at risk.
        """
        watched = self.calls.at_risk * np.clip(1 - self.never / self.away, 0.0, 1.0)
        read = (self.calls.at_risk >= FEWEST_READ) & (watched >= 1)
        chance = np.divide(self.calls.events, watched, out=np.zeros_like(watched), where=read)
        waiting = np.concatenate([[1.0], np.cumprod(1 - np.clip(chance, 0.0, 1.0))])
        return 1 - waiting[np.searchsorted(self.calls.times, days, side="right")]

    def would_call(self, away_days: np.ndarray, silent: float) -> np.ndarray:
        """Chance that a patient away for so long, and not gone, would call were an ear to trouble them."""
        came = self.came(away_days)
        rest = 1 - came
        return np.clip(np.divide(rest - silent, rest, out=np.ones_like(rest), where=rest > silent), 0.0, 1.0)


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
    is found occluding with the same chance as others have called by then; what
    recalls find beyond the former says how many such patients there are. The
    estimate solves one equation, summed over first returns at recalls: it needs
    no curve of a given shape.
    """
    patients = first.drop_duplicates("patient_key", keep="last")
    days = patients["return_days"].fillna(patients["watched_days"]).to_numpy()
    called = (patients["returned"] & (patients["first_return_kind"] == CALL)).fillna(False).to_numpy(dtype=bool)
    curve = kaplan_meier(days, called)
    away = returns.at(np.nextafter(curve.times, 0.0))
    unknown = Calls(curve, away, never, 0.0, np.inf, 0)
    at, occluding = _found_at_recalls(first)
    here, soon = unknown.came(at), unknown.came(at + symptom_window_days / 2)
    room = float(here.sum())
    if len(at) < FEWEST_WATCHED or room <= 0:
        return replace(unknown, recalls=len(at))
    beyond = occluding * (1 - here) - (soon - here)
    odds, error = max(float(beyond.sum()) / room, 0.0), float(np.sqrt(len(at)) * beyond.std()) / room
    return Calls(curve, away, never, odds / (1 + odds), error / (1 + odds) ** 2, len(at))


def _found_at_recalls(first: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Days to first returns at recalls that saw an ear, and whether one was occluding then."""
    seen = first[(first["first_return_kind"] == RECALL).fillna(False).to_numpy(dtype=bool)]
    occluding = seen["occluding_by_days"] == seen["return_days"]
    looked_at = occluding | (seen["open_until_days"] >= seen["return_days"])
    ears = pd.DataFrame(
        {"patient_key": seen["patient_key"], "at": seen["return_days"], "occluding": occluding.astype(float)}
    )[looked_at]
    patients = ears.groupby("patient_key").max()
    return patients["at"].to_numpy(dtype=float), patients["occluding"].to_numpy(dtype=float)

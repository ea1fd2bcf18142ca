"""How long patients stay away, and who of them is gone for good, late, or waits for a recall."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.models.recall_callers import FEWEST_READ, FEWEST_WATCHED, Calls, FirstReturns
from analysis.stats.kaplan_meier import KaplanMeier, kaplan_meier

AFTER_CLEARANCE, AFTER_RETURN = 0, 1
LOOSEST_NEVER = 0.03
"""Standard error above which a group's own share of never-returners, or of those who never call, is not used (our choice,
no source)."""
PARTS = 20
"""Parts of the patients left out one after the other to see how uncertain shares are (common practice, no source)."""
THIRDS = np.array([1 / 3, 2 / 3, 1])
CLOSE, MOST_ROUNDS, TINY = 1e-4, 50, 1e-12


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

    @property
    def chance(self) -> float:
        """Standard error of the curve's level, without what is only late."""
        return float(self.curve.standard_error[np.searchsorted(self.curve.times, self.until_days)])

    def not_gone_away(self, days: float) -> float:
        """Share of the patients not gone who have not come back by some days."""
        away = float(self.curve.at(min(days, self.until_days)))
        return max(away - self.never, 0.0) / max(1 - self.never, TINY)

    def lent(self, whole: Returns) -> Returns:
        """Take another's share never back; those not gone stay away for as long as before.

        Without bending the curve to that share, a group's curve that comes to rest higher by chance would make late
        returners of its gone.
        """
        waiting = np.maximum(self.curve.survival - self.never, 0.0) / max(1 - self.never, TINY)
        bent = replace(self.curve, survival=whole.never + (1 - whole.never) * waiting)
        calls = self.calls
        if calls is not None:
            before = np.maximum(calls.away - self.never, 0.0) / max(1 - self.never, TINY)
            calls = replace(calls, never=whole.never, away=whole.never + (1 - whole.never) * before)
        return replace(self, curve=bent, never=whole.never, error=whole.error, calls=calls)

    def gone(self, away_days: np.ndarray, never: float) -> np.ndarray:
        """Chance that a patient away for so long is gone for good, were ``never`` the share."""
        away = self.curve.at(np.minimum(away_days, self.until_days))
        return np.clip(np.divide(never, away, out=np.zeros_like(away), where=away > 0), 0.0, 1.0)


def patient_returns(
    gaps: pd.DataFrame,
    symptom_window_days: int | None = None,
    *,
    whole: list[Returns] | None = None,
    loosest: float = LOOSEST_NEVER,
) -> list[Returns]:
    """Read how long patients stay away: after the first clearance in the log, and after having come back.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``; at least one row.
    symptom_window_days : int, optional
        With it, first returns also tell who calls of themselves.
    whole : list of Returns, optional
        Of everyone, who lends a group the shares who never return or never call that are known too loosely; how long
        those not gone stay away remains the group's own.
    loosest : float, optional
        Standard error above which a share is known too loosely.

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
    taken to be gone. Whoever comes at recalls only is later still: as many are
    added as ``first_calls`` finds and recalls have not brought yet, unless the
    returns' own fall foretells more. With a fifth of such patients the share who
    come back was 5 in 100 too low before.

    Patients who had come back were watched for less time. Of these only so many
    are gone as are away beyond the new patients who are not gone and still away
    after as long: whoever has come back comes no later than they. Read off their
    own curve alone, 2 to 4 in 100 seemed gone where nobody was.

    Errors come from leaving out every twentieth patient in turn.

    References
    ----------
    .. [1] Maller and Zhou (1992), Biometrika 79, 731-739.
    .. [2] Escobar-Bach and Van Keilegom (2019), J. R. Stat. Soc. B 81, 861-880.
    """
    spells = gaps.assign(after_return=after_return(gaps)).sort_values(["patient_key", "cleared_on"])
    first = spells[~spells["after_return"]].drop_duplicates("patient_key", keep="last")
    later = spells[spells["after_return"]].drop_duplicates(["patient_key", "cleared_on"])
    found = _returns(first)
    if symptom_window_days is not None:
        ears = FirstReturns.of(spells[~spells["after_return"]].drop_duplicates(["patient_key", "ear"], keep="last"))
        alone = _with_calls(found, ears, symptom_window_days)
        lender = None if whole is None else whole[AFTER_CLEARANCE].calls
        lends = lender is not None and alone.calls is not None and alone.calls.error > loosest
        found = _with_calls(found, ears, symptom_window_days, lender) if lends else alone
    stages = [found, _as_soon_as(_returns(later), found) if len(later) >= FEWEST_WATCHED else found]
    if whole is None:
        return stages
    return [own.lent(lender) if own.error > loosest else own for own, lender in zip(stages, whole, strict=True)]


def _returns(spells: pd.DataFrame) -> Returns:
    """Read one curve of returns."""
    days = spells["return_days"].fillna(spells["watched_days"]).to_numpy()
    curve = kaplan_meier(days, spells["returned"].to_numpy(dtype=bool))
    end = max(int((curve.at_risk >= FEWEST_READ).sum()) - 1, 0)
    until, level = float(curve.times[end]), float(curve.survival[end])
    late = min(_still_to_come(curve.at(until * THIRDS)), level)
    return Returns(curve, until, level - late, float(np.hypot(curve.standard_error[end], late / 2)))


def _with_calls(found: Returns, first: FirstReturns, window_days: int, lender: Calls | None = None) -> Returns:
    """Learn who calls; whoever comes at recalls only and has not taken one up yet is late, not gone.

    The shares gone and never calling are sought from nobody gone and from all gone who are away; where both searches
    do not end alike, returns do not tell, and the middle is taken with an error that reaches both ends.
    """
    search = _Search(found.until_days, window_days, lender)
    ends = [search.shares(first, found.curve, start) for start in (0.0, found.never)]
    never, apart = (ends[0][0].never + ends[1][0].never) / 2, (ends[1][0].never - ends[0][0].never) / 2
    calls = first.calls(found.curve, never, window_days, lender)
    if not calls.known:
        return replace(found, calls=calls)
    parts = np.arange(len(first.days)) % PARTS
    others = [search.without(first, parts == part, never) for part in range(PARTS)]
    spread = np.sqrt(np.var(others, axis=0) * (PARTS - 1))
    chance = max(float(spread[0]), found.chance)
    error = float(np.sqrt(chance**2 + (max(ends[0][1], ends[1][1]) / 2) ** 2 + apart**2))
    calls = calls if lender is not None else replace(calls, error=float(spread[1]))
    return replace(found, calls=calls, never=never, error=error)


@dataclass(frozen=True, eq=False)
class _Search:
    """How shares gone and never calling are sought: how far returns are read, the window, and who lends the latter share."""

    until_days: float
    window_days: int
    lender: Calls | None

    def shares(self, first: FirstReturns, curve: KaplanMeier, never: float) -> tuple[Calls, float]:
        """Find shares that go together, from a first guess; and how many are late by no more than how returns fell."""
        level, thirds = float(curve.at(self.until_days)), self.until_days * THIRDS
        fallen = min(_still_to_come(curve.at(thirds)), level)
        for _ in range(MOST_ROUNDS):
            calls = first.calls(curve, never, self.window_days, self.lender)
            if not calls.known:
                return replace(calls, never=level - fallen), fallen
            callers = min(_still_to_come(1 - calls.called_first(thirds)), level)
            waiting = (1 - never) * max(calls.silent, 0.0) * calls.not_recalled(self.until_days)
            before, never = never, level - min(max(fallen, callers + waiting), level)
            if abs(never - before) < CLOSE:
                break
        return replace(calls, never=never), fallen if fallen >= callers + waiting else callers

    def without(self, first: FirstReturns, left_out: np.ndarray, never: float) -> tuple[float, float]:
        """Find the shares anew with some patients left out."""
        rest = first.kept(~left_out)
        calls, _ = self.shares(rest, kaplan_meier(rest.days, rest.returned), never)
        return calls.never, calls.silent


def _as_soon_as(later: Returns, first: Returns) -> Returns:
    """Take patients who had come back to come again as soon as new ones who are not gone, or sooner.

    They were watched for less time, too short to tell the slow from the gone.
    """
    level = float(later.curve.at(later.until_days))
    waiting = float(first.not_gone_away(later.until_days))
    gone = (level - waiting) / (1 - waiting) if waiting < 1 else 0.0
    return replace(later, never=float(np.clip(gone, 0.0, later.never)))


def _still_to_come(away: np.ndarray) -> float:
    """Share still to come after the time watched, if returns go on falling as from the second to the last third of it."""
    a_third, two_thirds, whole = away
    middle, last = a_third - two_thirds, two_thirds - whole
    if last <= 0:
        return 0.0
    return float(last * last / (middle - last)) if middle > last else 1.0


def after_return(gaps: pd.DataFrame) -> pd.Series:
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


def calls_uncertain(returns: list[Returns]) -> bool:
    """Say whether a share who never call of themselves was estimated, so that its error counts."""
    calls = returns[AFTER_CLEARANCE].calls
    return calls is not None and bool(np.isfinite(calls.error)) and calls.error > 0

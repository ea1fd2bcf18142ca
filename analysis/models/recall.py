"""When cleared ears occlude again, by group of patients."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.models.recall_curve import RecallCurve, recall_curve
from analysis.models.recall_enough import DAYS_A_MONTH, refuse_too_little
from analysis.models.recall_evidence import EVERYONE, absence_tells, first_clearances
from analysis.models.recall_fit import fit_groups, groups_family
from analysis.models.recall_group_names import recall_group_names, recall_groups
from analysis.models.recall_groups import Group, everyone_and_groups
from analysis.models.recall_returns import AFTER_CLEARANCE, Returns, patient_returns
from analysis.models.recall_unseen import Unseen
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import Family

MEDIAN = 0.5
SHORTEST_FOLLOWED_MONTHS = 6
"""Months returns must be followed before any curve is shown (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class FittedRecall:
    """What the log says about re-occlusion.

    Attributes
    ----------
    curves : dict of str to RecallCurve
        The groups, then ``everyone``; where the log does not tell groups apart, ``everyone`` alone.
    without_never : dict of str to RecallCurve, or None
        The same, were nobody ever gone for good, which makes it later; None where
        that settles no curve, or where staying away says nothing.
    return_share : Estimate
        Share of patients who come back at all after the log first clears an ear of theirs; of those
        new to the log, unless fewer than 25 are.
    silent_share : Estimate or None
        Share of patients not gone who come at recalls only, however long their ears trouble them; None
        where fewer than 25 first returns were at recalls, or staying away says nothing.
    absence_tells : bool
        Whether patients who stay away count as evidence.
    later_clearances : int
        Clearances not used, of ears counted already.
    known_before : int
        Ears of patients known before the log began, whose ears fill sooner than those of patients seen from the first visit on.
    ungrouped : int
        Ears used for everyone's curve only: what makes the groups was not noted of them.
    followed_months : float
        How long enough patients were watched for returns to be read.
    first_day, last_day : pandas.Timestamp
        First and last clearance used.
    family : Family
        Weibull, Weibull averaged over patients who differ, or log-logistic: the one that best foretells patients held out.
    unseen : Unseen
        How often ears were cleaned while open, or worked on without a grade.
    """

    curves: dict[str, RecallCurve]
    without_never: dict[str, RecallCurve] | None
    return_share: Estimate
    silent_share: Estimate | None
    absence_tells: bool
    later_clearances: int
    known_before: int
    ungrouped: int
    followed_months: float
    first_day: pd.Timestamp
    last_day: pd.Timestamp
    family: Family
    unseen: Unseen

    @property
    def by_entry(self) -> bool:
        """Whether everyone's curve tells ears apart by when they entered the log."""
        return self.curves[EVERYONE].times.rows.shape[1] > 1

    @property
    def known_before_share(self) -> float:
        """Share of the ears that are of patients known before the log began."""
        return self.known_before / self.curves[EVERYONE].ears

    @property
    def shape(self) -> Estimate:
        """Shape of the curve, or of each patient's own where it averages over patients; above 1, an open ear is likelier to occlude the longer it has been open."""
        curve = next(iter(self.curves.values()))
        return replace(curve.times.fit.shape, n=self.curves[EVERYONE].ears)


def fit_recall(
    gaps: pd.DataFrame,
    settings: RecallPart,
    *,
    level: float = 0.95,
    family: Family | None = None,
    by_entry: bool = True,
) -> FittedRecall:
    """Estimate when cleared ears occlude again, with and without a hearing aid or by the owner's groups.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.
    settings : RecallPart
        The facts that make the groups, the symptom window, and how many ears a group needs.
    level : float, optional
        How sure ranges should be.
    family : Family, optional
        The curve, where it is not to be chosen anew.
    by_entry : bool, optional
        False: ears that enter the log late are not told apart from others.

    Returns
    -------
    FittedRecall

    Raises
    ------
    NotEnough
        If no clearance can be followed, nobody came back, no ear was graded
        on return, or too few ears were.

    Notes
    -----
    *What is estimated.* Of the ears of the patients in the log, each counted
    once, the share occluding again by some months after a clearance. Ears that
    fill fast are cleared often; among clearances rather than patients, ears
    occlude sooner than said here.

    *How.* A Weibull curve with one shape and a scale for each group, fitted to
    what is known of each ear: open until then, occluding by then; or such a
    curve averaged over patients who differ, little or much (the latter is the
    log-logistic), whichever best foretells patients held out. Ranges let a
    patient's ears go together [2]_, and widen for the uncertain share who never
    return. That share is the level at which the curve of returns comes to rest;
    each absent patient's ears count as open with the chance that the patient is
    neither gone nor one who comes at recalls only (``first_calls`` tells how many
    these are): the expectation step of a mixture of the lost and the staying [1]_,
    with the chance taken from the returns rather than from the ears. With the same
    chances an ear that a recall finds occluding became so lately, as its patient
    would have called, or at any time since it was last seen open.

    Where no return was with symptoms, staying away says nothing of the ears;
    then only ears seen again count.

    *Who is watched longer.* An open ear that is cleaned was about to occlude: ears found
    alike and left alone count for it (``stand_for``); so do graded ears for those worked on without a grade. Ears of patients known before the
    log enter it the later the slower they fill, and are watched the less: they are
    told apart by it (``entry_columns``), and the curve is the mean over all ears.

    *How far off it may be.* The symptom window is a setting, not a finding: a
    window shorter than people truly wait makes every figure late by about the
    difference of the means. On simulated clinics of three years the months
    until 30 in 100 are within 1 to 2 % on average where the assumptions hold,
    up to 3 % early where people go elsewhere, some late where people wait longer, and 4 to 8 % late where
    every open ear that fills is cleaned (``shared/recall_study.md``). Ranges allow for chance, not
    for these; with nobody taken to be gone months come out later still.

    *Short logs.* Where patients were watched for less time than most take to
    come back, the lost cannot be told from the late; ranges are wide for this
    reason, and after one year a single clinic's figure may be nearly half too
    early.

    References
    ----------
    .. [1] Farewell (1982), Biometrics 38, 1041-1046.
    .. [2] Liang and Zeger (1986), Biometrika 73, 13-22.
    """
    gaps = gaps.assign(patient_key=pd.factorize(gaps["patient_key"], sort=True)[0])  # numbers are put together sooner
    first = first_clearances(gaps)
    if not by_entry:
        first = first.assign(entered_years=np.nan)
    refuse_too_little(first, settings.fewest_ears)
    everyone, own = everyone_and_groups(gaps, first, settings, settings.groups)
    telling = absence_tells(gaps)
    # where staying away says nothing, the groups' returns are told to take everybody away for gone
    returns = (everyone.returns if telling else patient_returns(gaps, settings.symptom_window_days))[AFTER_CLEARANCE]
    family = family or groups_family(own or [everyone], settings)
    curves = _curves(own, everyone, settings, level, family=family, never=True)
    _refuse_too_short(returns.until_days / DAYS_A_MONTH)
    return FittedRecall(
        curves=curves,
        without_never=_without_never(own, everyone, settings, level, family) if telling else None,
        return_share=_return_share(returns, level),
        silent_share=_silent_share(returns, level) if telling else None,
        absence_tells=telling,
        later_clearances=len(gaps) - len(first),
        known_before=int(first["known_before"].fillna(False).sum()),
        ungrouped=int((recall_group_names(first, settings.groups) == "").sum()),
        followed_months=returns.until_days / DAYS_A_MONTH,
        first_day=first["cleared_on"].min(),
        last_day=first["cleared_on"].max(),
        family=family,
        unseen=Unseen.of(gaps),
    )


def _refuse_too_short(followed_months: float) -> None:
    """Refuse a log in which hardly anybody's return could have been seen yet."""
    if followed_months < SHORTEST_FOLLOWED_MONTHS:
        raise NotEnough(
            f"Enough patients were watched for returns for only {followed_months:.0f} of the "
            f"{SHORTEST_FOLLOWED_MONTHS} months this needs.",
            "Keep logging returns, or take in earlier exports too, and ask again.",
        )


def _curves(
    own: list[Group], everyone: Group, settings: RecallPart, level: float, *, family: Family, never: bool
) -> dict[str, RecallCurve]:
    """Fit the groups together and everyone alone; a group without a curve of its own shows everyone's."""
    [whole] = fit_groups([everyone], settings, level, family=family, never=never)
    together = fit_groups(own, settings, level, family=family, never=never) if own else []
    times = dict(zip([group.name for group in own], together, strict=True))
    named = recall_group_names(everyone.first, settings.groups)
    curves = {
        name: recall_curve(name, everyone.first[named == name], times.get(name, whole), own=name in times)
        for name in (recall_groups(settings.groups) if own else ())
    }
    return curves | {EVERYONE: recall_curve(EVERYONE, everyone.first, whole, own=True)}


def _without_never(
    own: list[Group], everyone: Group, settings: RecallPart, level: float, family: Family
) -> dict[str, RecallCurve] | None:
    """Fit the same with nobody gone for good; a second opinion the answer can do without."""
    try:
        return _curves(own, everyone, settings, level, family=family, never=False)
    except NotEnough:
        return None


def _silent_share(returns: Returns, level: float) -> Estimate | None:
    """Share of patients not gone who never call of themselves."""
    calls = returns.calls
    if calls is None or not np.isfinite(calls.error):
        return None
    reach = float(norm.ppf(0.5 + level / 2)) * calls.error
    value, low, high = np.clip([calls.silent, calls.silent - reach, calls.silent + reach], 0.0, 1.0).tolist()
    return Estimate(value, low, high, level, calls.recalls, "what recalls find beyond what calls foretell")


def _return_share(returns: Returns, level: float) -> Estimate:
    """Share of patients who come back at all, of those new to the log."""
    never = returns.curve.estimate_at(returns.until_days, level)
    two_thirds, whole = returns.curve.at(returns.until_days * np.array([2 / 3, 1.0]))
    # only how returns fell tells the late from the gone: a yearly recall just ahead may bring what the last third brought
    error = float(np.hypot(returns.error, (two_thirds - whole) / 2))
    high = 1 - returns.never + float(norm.ppf(0.5 + level / 2)) * error
    return replace(never, value=1 - returns.never, low=1 - never.high, high=min(high, 1.0))

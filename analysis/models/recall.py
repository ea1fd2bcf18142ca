"""When cleared ears occlude again, by group of patients."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.models.recall_choice import Material, chosen_family
from analysis.models.recall_evidence import EVERYONE, absence_tells, ear_evidence, first_clearances
from analysis.models.recall_group_names import recall_group_names, recall_groups
from analysis.models.recall_groups import Group, everyone_and_groups, graded_later, refuse_too_little
from analysis.models.recall_returns import AFTER_CLEARANCE, Returns, calls_uncertain, patient_returns
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.censored import NoMaximum, TimeRegression, time_regression
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import WEIBULL, Family

DAYS_A_MONTH = 30.4375
MEDIAN = 0.5
FIRMEST = 0.3
OFF_SCALE, OFF_SHAPE = 0.025, 0.07
"""Standard errors that no log is too large for: of the logarithm of months, and of how the curve bends about its firmest
share (our choice, by ``shared/calibration.md``): open ears are cleaned when they begin to fill, which makes months late,
the more so the larger the share; slow ears enter a log late, which makes them early."""
SHORTEST_FOLLOWED_MONTHS = 6
"""Months returns must be followed before any curve is shown (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class RecallCurve:
    """How the share of a group's ears that are occluding again grows with time.

    Attributes
    ----------
    group : str
        ``hearing_aid``, ``no_hearing_aid`` or ``everyone``; or a group of the owner's such as ``age_60:yes canal:no``.
    ears, seen_again, occluding : int
        Ears cleared; of these graded at a later visit; of these found occluding.
    own : bool
        False where the group has too few ears and shows the whole clinic's curve.
    watched_months : float
        Longest time an ear of the group was watched; the curve beyond is a guess.
    """

    group: str
    ears: int
    seen_again: int
    occluding: int
    own: bool
    watched_months: float
    fit: TimeRegression
    row: np.ndarray

    def months_until(self, share: float) -> Estimate:
        """Months until a share of the ears is occluding again."""
        return replace(self.fit.time_until(share, self.row).scaled(1 / DAYS_A_MONTH), n=self.ears)

    def share_by(self, months: float) -> Estimate:
        """Share of the ears that is occluding again by some months, above nought."""
        return replace(self.fit.share_by(months * DAYS_A_MONTH, self.row), n=self.ears)


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

    @property
    def known_before_share(self) -> float:
        """Share of the ears that are of patients known before the log began."""
        return self.known_before / self.curves[EVERYONE].ears

    @property
    def shape(self) -> Estimate:
        """Shape of the curve, or of each patient's own where it averages over patients; above 1, an open ear is likelier to occlude the longer it has been open."""
        curve = next(iter(self.curves.values()))
        return replace(curve.fit.shape, n=self.curves[EVERYONE].ears)


def fit_recall(
    gaps: pd.DataFrame, settings: RecallPart, *, level: float = 0.95, family: Family | None = None
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

    *How far off it may be.* An ear cleaned while open leaves the sample with
    its patient's habits; and the symptom window is a setting, not a finding: a
    window shorter than people truly wait makes every figure late by about the
    difference of the means. On simulated clinics of three years the months
    until 30 in 100 are within 1 to 2 % on average where the assumptions hold,
    up to 5 % early where people go elsewhere or the clinic is older than its
    log, and some late where people wait longer (``shared/recall_study.md``). Where
    open ears are often cleaned they are 2 to 3 % late, and 5 to 6 % at half: such
    ears were about to occlude, and no log is large enough to lose this. Ranges
    allow for chance and for as much; with nobody taken to be gone months come out later still.

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
    )


def groups_family(groups: list[Group], settings: RecallPart) -> Family:
    """Choose the curve by how it foretells patients held out; the Weibull where that cannot be told."""
    shares = [[each.never for each in group.returns] for group in groups]
    try:
        return chosen_family(groups_material(groups, shares, settings))
    except NoMaximum:
        return WEIBULL


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
    whole = fit_groups([everyone], settings, level, family=family, never=never)
    together = fit_groups(own, settings, level, family=family, never=never) if own else whole
    rows = dict(zip([group.name for group in own], np.eye(len(own)), strict=True))
    named, curves = recall_group_names(everyone.first, settings.groups), {}
    for name in recall_groups(settings.groups) if own else ():
        fit, row = (together, rows[name]) if name in rows else (whole, np.ones(1))
        curves[name] = recall_curve(name, everyone.first[named == name], fit, row, own=name in rows)
    return curves | {EVERYONE: recall_curve(EVERYONE, everyone.first, whole, np.ones(1), own=True)}


def _without_never(
    own: list[Group], everyone: Group, settings: RecallPart, level: float, family: Family
) -> dict[str, RecallCurve] | None:
    """Fit the same with nobody gone for good; a second opinion the answer can do without."""
    try:
        return _curves(own, everyone, settings, level, family=family, never=False)
    except NotEnough:
        return None


def recall_curve(name: str, first: pd.DataFrame, fit: TimeRegression, row: np.ndarray, *, own: bool) -> RecallCurve:
    """Put a fitted curve beside the ears it is said of."""
    watched = float(first["watched_days"].max()) / DAYS_A_MONTH if len(first) else 0.0
    occluding = int(first["occluding_by_days"].notna().sum())
    return RecallCurve(name, len(first), int(graded_later(first).sum()), occluding, own, watched, fit, row)


def fit_groups(
    groups: list[Group], settings: RecallPart, level: float, *, family: Family, never: bool
) -> TimeRegression:
    """Fit one shape and a scale a group; widen the covariance for the uncertain shares who never return."""
    groups = groups if never else [_all_open(group) for group in groups]
    shares = [[each.never if never else 0.0 for each in group.returns] for group in groups]
    fit = _fit_with(groups, shares, settings, level, family)
    covariance = fit.covariance.copy()
    at = np.append(fit.coefficients, fit.log_sigma)
    moves = [(g, stage) for g, group in enumerate(groups) for stage, each in enumerate(group.returns) if each.error > 0]
    for g, stage in moves if never else []:
        moved = [list(each) for each in shares]
        moved[g][stage] += groups[g].returns[stage].error
        covariance += _apart(at, _fit_with(groups, moved, settings, level, family))
    if never and any(calls_uncertain(group.returns) for group in groups):
        covariance += _apart(at, _fit_with(groups, shares, settings, level, family, silent_errors=1))
    return replace(fit, covariance=covariance + _however_large(fit))


def _however_large(fit: TimeRegression) -> np.ndarray:
    """Give the covariance that stays however large the log is, for months and bend of all groups alike."""
    reach = float(fit.family.place(FIRMEST)) * np.exp(fit.log_sigma)
    months = OFF_SCALE * np.append(np.ones_like(fit.coefficients), 0.0)
    bend = OFF_SHAPE * np.append(np.full_like(fit.coefficients, -reach), 1.0)
    return np.outer(months, months) + np.outer(bend, bend)


def _all_open(group: Group) -> Group:
    """Take whoever stays away to have open ears: nobody to be gone, and nobody to come at recalls only."""
    calls = [None if each.calls is None else replace(each.calls, silent=0.0) for each in group.returns]
    return replace(group, returns=[replace(each, calls=its) for each, its in zip(group.returns, calls, strict=True)])


def _apart(at: np.ndarray, other: TimeRegression) -> np.ndarray:
    """Give what another fit's distance from one adds to the covariance."""
    shift = np.append(other.coefficients, other.log_sigma) - at
    return np.outer(shift, shift)


def _fit_with(
    groups: list[Group],
    never: list[list[float]],
    settings: RecallPart,
    level: float,
    family: Family,
    *,
    silent_errors: float = 0.0,
) -> TimeRegression:
    """Fit with given shares who never return, and shares who never call moved by some of their errors."""
    of = groups_material(groups, never, settings, silent_errors=silent_errors)
    try:
        return time_regression(
            of.low, of.high, of.design, family=family, counts=of.weight, clusters=of.patient, level=level
        )
    except NoMaximum:
        raise NotEnough(
            "The ears seen again do not settle a curve: nearly all were found in the same state.",
            "Record each ear's grade at every visit, also where nothing was removed.",
        ) from None


def groups_material(
    groups: list[Group], never: list[list[float]], settings: RecallPart, *, silent_errors: float = 0.0
) -> Material:
    """Lay out the likelihood's rows, a column of the design for each group."""
    parts = [
        ear_evidence(group.first, group.returns, shares, settings.symptom_window_days, silent_errors=silent_errors)
        for group, shares in zip(groups, never, strict=True)
    ]
    patients = [group.first["patient_key"].to_numpy()[part.row] for group, part in zip(groups, parts, strict=True)]
    return Material.of(
        low=np.concatenate([part.low for part in parts]),
        high=np.concatenate([part.high for part in parts]),
        weight=np.concatenate([part.weight for part in parts]),
        design=np.repeat(np.eye(len(groups)), [len(part.low) for part in parts], axis=0),
        keys=np.concatenate(patients),
    )


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

"""Does softening first pay: success at the first attempt and minutes, with and without."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.models.adjusted import adjusted_arms
from analysis.models.case_mix import CaseMix, case_mix, level_columns
from analysis.models.softening_material import ears_material, in_arm, minutes_material
from analysis.models.softening_sample import CONTRASTS, FACTS, Sample, compared_ears
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import wilson_share
from analysis.stats.two_arms import TwoArms, plain_means


@dataclass(frozen=True, eq=False)
class SofteningFit:
    """Two arms compared in several ways, and what the comparison rests on.

    Attributes
    ----------
    contrast : str
        ``advised`` (what a booking message changes) or ``used`` (what the ear received).
    arms : dict of str to TwoArms
        By estimator: ``unadjusted`` and ``standardised``. Shares of first
        attempts that succeeded, or minutes of a visit.
    variations : dict of str to TwoArms
        The standardised comparison made otherwise, to see what hangs on it.
    level : float
        How sure ranges should be.
    facts : tuple of str
        Columns of ``ATTEMPTS`` adjusted for; those recorded nowhere are left out.
    mix : CaseMix
        Levels joined, blanks. For minutes, ``levels`` holds the visit's own facts only.
    rows, patients : int
        Ears (or visits) compared, and whose they are.
    left_out : dict of str to int
        Reason codes and counts.
    first_day, last_day : pandas.Timestamp
        Days compared.
    """

    contrast: str
    arms: dict[str, TwoArms]
    variations: dict[str, TwoArms]
    level: float
    facts: tuple[str, ...]
    mix: CaseMix
    rows: int
    patients: int
    left_out: dict[str, int]
    first_day: pd.Timestamp
    last_day: pd.Timestamp


def fit_softening(
    attempts: pd.DataFrame, *, contrast: str, level: float, fewest_ears: int, followed_until: pd.Timestamp
) -> SofteningFit:
    """Share of first attempts that succeed, with softening beforehand and without.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    level : float
        How sure ranges should be.
    fewest_ears : int
        Ears the smaller arm needs.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.

    Returns
    -------
    SofteningFit
        Arms are shares between 0 and 1. ``variations``: ``contraindicated_kept``
        and ``debris_not_adjusted``.

    Raises
    ------
    NotEnough
        If the log lacks grades, outcomes or the treatment, if the smaller arm
        has too few ears, or if an arm has fewer than 5 successes or failures.

    Notes
    -----
    The unadjusted shares mislead where harder ears are softened more often.
    The standardised ones come from a logistic regression of success on the
    treatment, grade, impaction, what was found, canal, age band, hearing aid,
    kind of booking and practitioner, averaged over all ears compared (see
    ``stats.two_arms``). Methods are not adjusted for: a hook after suction is a
    consequence of difficulty, not its cause. Grade and debris are those found
    at the visit, after any softening; what softening changed in them is hidden
    from the comparison, which is why it is also made without the debris.

    A level of a fact too rare to stand alone is joined with another
    (``models.case_mix``); blanks are a level of their own.
    """
    material = ears_material(attempts, contrast=contrast, fewest_ears=fewest_ears, followed_until=followed_until)
    sample, mix, treated, outcome = material.sample, material.mix, material.treated, material.outcome
    whole = compared_ears(attempts, contrast=contrast, followed_until=followed_until, keep_contraindicated=True)
    whole_mix = _ear_mix(whole, contrast)
    arms = {
        "unadjusted": plain_means(outcome, treated, sample.whose),
        "standardised": _standardised(sample, contrast, mix.levels),
    }
    variations = {
        "contraindicated_kept": _standardised(whole, contrast, whole_mix.levels),
        "debris_not_adjusted": _standardised(sample, contrast, mix.levels.drop(columns="debris")),
    }
    return _fit(sample, contrast, arms, variations, mix, level, FACTS)


def fit_minutes(attempts: pd.DataFrame, *, contrast: str, level: float, fewest_visits: int) -> SofteningFit:
    """Minutes of a first-attempt visit, with softening beforehand and without.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    level : float
        How sure ranges should be.
    fewest_visits : int
        Visits the smaller arm needs.

    Returns
    -------
    SofteningFit
        Arms are minutes a visit; minutes saved are untreated less treated.

    Raises
    ------
    NotEnough
        If the log lacks grades, measured minutes or the treatment, or the
        smaller arm has too few visits.

    Notes
    -----
    Minutes are kept per visit, and so are advice and use: a row is a visit. The
    standardised minutes come from a least-squares regression on the treatment,
    the number of ears worked on, how many of them are of each grade, debris and
    canal and how many impacted, and the visit's own facts. Least squares
    because the difference of means is wanted, whose range (sandwich, patients
    clustered) needs no shape of the minutes. Minutes filled from the slot,
    implausible or missing are left out.
    """
    material = minutes_material(attempts, contrast=contrast, fewest_visits=fewest_visits)
    visits, treated, minutes = material.sample, material.treated, material.outcome
    arms = {
        "unadjusted": plain_means(minutes, treated, visits.whose),
        "standardised": adjusted_arms(
            material.columns, treated=treated, outcome=minutes, clusters=visits.whose, shares=False
        ),
    }
    return _fit(visits, contrast, arms, {}, material.mix, level, ("ears_worked", *FACTS))


@dataclass(frozen=True, slots=True)
class AsAdvised:
    """How many softened, of those advised to and of those not (shares of visits); None where there were none."""

    used_if_advised: Estimate | None
    used_if_not: Estimate | None


def did_as_advised(attempts: pd.DataFrame, *, level: float) -> AsAdvised:
    """Share of visits at which softening had been used, by whether it had been advised.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``; visits with both facts recorded are counted.
    level : float
        How sure ranges should be.

    Returns
    -------
    AsAdvised
        With Wilson score ranges.
    """
    both = attempts.dropna(subset=["softening_advised", "softening_used"]).drop_duplicates("visit_id")
    advised, used = (both[name].to_numpy(dtype=bool) for name in CONTRASTS.values())
    shares = [
        wilson_share(int(used[group].sum()), int(group.sum()), level) if group.any() else None
        for group in (advised, ~advised)
    ]
    return AsAdvised(*shares)


def _ear_mix(sample: Sample, contrast: str) -> CaseMix:
    """Take the facts of the ears compared."""
    outcome = sample.rows["success"].to_numpy(dtype=bool)
    return case_mix(sample.rows, FACTS, treated=in_arm(sample, contrast), outcome=outcome)


def _standardised(sample: Sample, contrast: str, levels: pd.DataFrame) -> TwoArms:
    """Make the two arms alike in the given facts."""
    outcome = sample.rows["success"].to_numpy(dtype=bool)
    treated, columns = in_arm(sample, contrast), level_columns(levels)
    return adjusted_arms(columns, treated=treated, outcome=outcome, clusters=sample.whose, shares=True)


def _fit(
    sample: Sample,
    contrast: str,
    arms: dict[str, TwoArms],
    variations: dict[str, TwoArms],
    mix: CaseMix,
    level: float,
    facts: tuple[str, ...],
) -> SofteningFit:
    """Put the comparison and its basis together."""
    recorded = tuple(fact for fact in facts if fact not in mix.unrecorded)
    days = sample.rows["day"]
    return SofteningFit(
        contrast,
        arms,
        variations,
        level,
        recorded,
        mix,
        len(sample.rows),
        len(set(sample.whose)),
        sample.left_out,
        days.min(),
        days.max(),
    )

"""The recall interval as a decision: whole months by which no more than a chosen share is occluding again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import floor

from analysis.models.recall import FittedRecall
from analysis.models.recall_curve import RecallCurve
from analysis.settings import RecallPart
from analysis.stats.estimate import Estimate

SOONEST_MONTHS = 1


@dataclass(frozen=True, slots=True)
class RecallRule:
    """When to call a group back, beside what today's interval means for it.

    Attributes
    ----------
    curve : RecallCurve
        The group and its curve.
    months_until : Estimate
        Months until the chosen share of its ears is occluding again.
    recall_months : Estimate
        Whole months: the most by which no more than the chosen share is.
    share_today : Estimate or None
        Share expected to be occluding at today's interval; None where no recall rule of today is set.
    beyond_the_log : bool
        Whether the months lie beyond what any ear of the group was watched for.
    """

    curve: RecallCurve
    months_until: Estimate
    recall_months: Estimate
    share_today: Estimate | None
    beyond_the_log: bool


def recall_rules(fitted: FittedRecall, settings: RecallPart) -> dict[str, RecallRule]:
    """Turn curves into recall intervals.

    Parameters
    ----------
    fitted : FittedRecall
        From ``models.recall``.
    settings : RecallPart
        The chosen share, and the months after which the clinic recalls today.

    Returns
    -------
    dict of str to RecallRule
        By group, in the order of ``fitted.curves``.

    Notes
    -----
    The share is the owner's to choose: no published page we saw supports a
    fixed interval. Whole months are rounded down, so that at the recommended
    month the share is not yet passed; at least 1 month, where even that passes it.
    """
    return {group: _rule(curve, settings) for group, curve in fitted.curves.items()}


def _rule(curve: RecallCurve, settings: RecallPart) -> RecallRule:
    """Make one group's rule."""
    until = curve.months_until(settings.share)
    value, low, high = (float(whole_months(each)) for each in (until.value, until.low, until.high))
    return RecallRule(
        curve=curve,
        months_until=until,
        recall_months=replace(until, value=value, low=low, high=high, method=f"{until.method}, rounded down"),
        share_today=curve.share_by(settings.today_months) if settings.today_months else None,
        beyond_the_log=until.value > curve.watched_months,
    )


def whole_months(months: float) -> int:
    """Round down to whole months, at least one.

    Examples
    --------
    >>> whole_months(8.9), whole_months(13.0), whole_months(0.4)
    (8, 13, 1)
    """
    return max(SOONEST_MONTHS, floor(months))

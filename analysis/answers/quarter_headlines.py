"""The headlines and chart titles of a quarter's three answers."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.answers import quarter_words as say
from analysis.models.quarter_measures import Measure
from analysis.models.quarter_periods import THIS, Periods
from analysis.present import words
from analysis.schema import GRADES
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import exact_share


def activity_headline(measures: Sequence[Measure], found: Periods) -> str:
    """Say how many bookings, against when, and how many were missed."""
    booked = say.find(measures, "booked")
    compared = say.lead_change(booked)
    if (many := booked.counts[THIS]) is None:
        opening = (
            f"How many bookings there were in {say.period(found)} is not shown, so that single patients stay unknown"
        )
    else:
        opening = f"{words.plural(many, 'booking')} in {say.period(found)}{f', {compared}' if compared else ''}"
    missed = [each for each in measures if each.name == "missed"]
    if not missed:
        return f"{opening}."
    told = say.share(missed[0])
    ending = (
        f"of those not cancelled in time, {told} were missed"
        if told
        else "the share missed is hidden, its counts being small"
    )
    return f"{opening}; {ending}."


def activity_title(measures: Sequence[Measure]) -> str:
    """Say the shares drawn in a few words."""
    drawn = {"missed": "of bookings were missed", "on_time": "of visits started on time"}
    told = [
        f"{words.percent(each.share.value)} {drawn[each.name]}"
        for each in measures
        if each.part == "all" and each.name in drawn and each.share
    ]
    return words.joined(told) if told else "How bookings turned out"


def outcome_headline(measures: Sequence[Measure], first: int, found: Periods) -> str:
    """Say how many first attempts succeeded, or why that cannot be said, and against when."""
    success = next((each for each in measures if each.name == "success"), None)
    if success is None:
        return f"{words.plural(first, 'first attempt')} in {say.period(found)}; whether they succeeded is not recorded, or not known yet."
    if success.share is None:
        return f"{words.plural(first, 'first attempt')} in {say.period(found)}; too few succeeded, or failed, to show how many."
    compared = say.lead_change(success)
    share = success.share
    return (
        f"{words.percent(share.value)} of first attempts succeeded ({words.between_percent(share)}, of {words.count(share.n)} "
        f"whose follow-up is complete) in {say.period(found)}{f': {compared}' if compared else ''}."
    )


def outcome_title(measures: Sequence[Measure]) -> str:
    """Say success and the fullest grade in a few words."""
    drawn = {"success": "of first attempts succeeded", "fully_occluding": f"of ears were {GRADES['fully_occluding']}"}
    told = [
        f"{words.percent(each.share.value)} {drawn[each.name]}"
        for each in measures
        if each.name in drawn and each.share
    ]
    return words.joined(told) if told else "What was found at first attempts"


def safety_headline(event: Measure, watched: int, found: Periods, *, few: bool, hide_below: int, level: float) -> str:
    """Say how many visits had an adverse event, and how many could have had.

    ``few`` says that a hidden count is a small one itself, not hidden for the sake of others.
    """
    when, visits = say.period(found), words.count(watched)
    count = event.counts[THIS]
    if (event.share is None or count is None) and not few:
        return f"Adverse events were recorded in {when}; at how many of {visits} visits is not shown, so that single patients stay unknown."
    if event.share is None or count is None:
        most = exact_share(min(hide_below - 1, watched), watched, level).high
        return (
            f"Fewer than {hide_below} of {visits} visits had an adverse event recorded in {when}; "
            f"the true figure could be as many as {thousandths(most)} in 1,000."
        )
    if count == 0:
        return (
            f"No adverse event was recorded in {when}: none in {words.plural(watched, 'visit')}; "
            f"the true figure could be as many as {thousandths(event.share.high)} in 1,000."
        )
    compared = say.lead_change(event, per=1000)
    return (
        f"{thousandths(event.share.value)} in 1,000 visits ({in_thousand(event.share)}; {words.count(count)} of {visits}) had an "
        f"adverse event recorded in {when}{f': {compared}' if compared else ''}."
    )


def safety_title(event: Measure) -> str:
    """Say the share drawn in a few words."""
    if event.share is None:
        return "Visits with an adverse event in earlier quarters"
    if event.share.value == 0:
        return "No adverse event was recorded"
    return f"{thousandths(event.share.value)} in 1,000 visits had an adverse event recorded"


def thousandths(share: float) -> str:
    """Say a share as so many in 1,000; a small one keeps a decimal."""
    return words.number(share * 1000, 0 if share >= 0.0095 else 1)


def in_thousand(share: Estimate) -> str:
    """Say a range as so many in 1,000."""
    return f"between {thousandths(share.low)} and {thousandths(share.high)}"

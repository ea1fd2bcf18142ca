"""One quarter's work: how many came, how first attempts went, and whether anything went wrong."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from analysis.answers import quarter_figures as show
from analysis.answers import quarter_headlines as top
from analysis.answers import quarter_words as say
from analysis.answers.clinic_attempts import clinic_attempts
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.derive.quarters import Quarter
from analysis.models.quarter_counts import (
    EVENTS,
    activity_counts,
    allow_for_groups,
    person_counts,
    referral_counts,
    safety_counts,
    starts,
    writes_none,
)
from analysis.models.quarter_margins import attempt_margins, booking_margins
from analysis.models.quarter_measures import ALL, Counts, Measure, shown_measures
from analysis.models.quarter_periods import THIS, Periods, periods
from analysis.models.quarter_quiet import quiet_quarter
from analysis.present.answer import INFORMATION, Answer, Basis, Check, no_answer
from analysis.problems import NotEnough
from analysis.schema import GRADES

ACTIVITY, OUTCOMES, SAFETY = "How busy were we this quarter?", "How did first attempts go?", "Did anything go wrong?"
BUSY = ("booked", "attended", "missed", "cancelled_late", "new", "returning", "on_time")
EACH_PERSON = ("attended", "missed", "cancelled_late")
RATES = ("missed", "cancelled_late", "new", "on_time")
COUNTING = "Counts; Wilson ranges for shares, Newcombe's for their differences, exact ones for ratios of counts."
RARE = "Counts; exact ranges for shares, Newcombe's for their differences."


def activity(clinic: Clinic, quarter: str) -> Answer:
    """Say how many bookings a quarter had, how they turned out, and how that compares.

    Parameters
    ----------
    clinic : Clinic
        ``clinic.hide_below`` says which counts are too small to show.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Bookings, attended, missed, cancelled late, new and returning patients
        and starts on time, in all and by site; attended, missed and cancelled
        late by practitioner (numbered, unless the clinic shows names), where no
        practitioner's count is too small to show. Rows of
        section ``quarter``: ``count``, ``share``, ``ratio_of_counts``,
        ``difference_of_shares``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked = Quarter.parse(quarter)
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        _, parts = activity_counts(clinic.visits, found)
        counts = booking_margins(clinic.visits, found)
        booked = counts.by_period[THIS]["booked", ALL]
        say.refuse_if_few(booked, "bookings", clinic.settings.clinic.hide_below, found)
    except NotEnough as reason:
        return no_answer(ACTIVITY, reason)
    measures = [*_with_half_days(clinic, _shown(clinic, counts, BUSY, parts), found), *_of_each_person(clinic, found)]
    bars = show.shares_bars(measures, RATES)
    return Answer(
        ACTIVITY,
        top.activity_headline(measures, found),
        how_sure=say.how_sure(measures, clinic.settings.level),
        table=show.measures_table(measures),
        chart=show.bars_chart(bars, "share"),
        chart_title=top.activity_title(measures),
        chart_text=show.bars_text(bars),
        assumptions=say.ACTIVITY_ASSUMPTIONS,
        cautions=say.ACTIVITY_CAUTIONS,
        checks=(
            *say.compared_checks(measures, BUSY, found),
            *say.people_check(clinic.visits["practitioner"].nunique(), measures, clinic.settings.clinic.hide_below),
            *_hidden(clinic, measures),
        ),
        basis=_activity_basis(measures, counts, found),
        rows=show.measure_rows("quarter", measures),
    )


def outcomes(clinic: Clinic, quarter: str) -> Answer:
    """Say what was found at a quarter's first attempts, and how many succeeded.

    Parameters
    ----------
    clinic : Clinic
        ``softening.second_attempt_days`` says what undoes a success.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Grades found, first attempts that succeeded, further attempts and
        referrals. First attempts too recent for their success to be known are
        left out of the success share. Rows as those of ``activity``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked = Quarter.parse(quarter)
    days = clinic.settings.softening.second_attempt_days
    until = clinic.last_day - pd.Timedelta(days=days)
    numbered = bool(clinic.visits["patient_key"].notna().any())
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        counts, ears, _ = attempt_margins(clinic_attempts(clinic), clinic.ears, found, until)
        first = counts.by_period[THIS]["first", ALL]
        say.refuse_if_few(first, "first attempts", clinic.settings.clinic.hide_below, found)
        measures = _outcome_measures(clinic, counts, ears, found, numbered=numbered)
    except NotEnough as reason:
        return no_answer(OUTCOMES, reason)
    successes = [each for each in measures if each.name == "success" and each.share is not None]
    bars = [*show.shares_bars(successes, ["success"]), *show.grade_bars(measures)]
    judged = counts.by_period[THIS]["judged", ALL]
    return Answer(
        OUTCOMES,
        top.outcome_headline(measures, first, found),
        how_sure=say.how_sure(measures, clinic.settings.level),
        table=show.measures_table(measures),
        chart=show.bars_chart(bars, "share of first attempts"),
        chart_title=top.outcome_title(measures),
        chart_text=show.bars_text(bars),
        assumptions=say.outcome_assumptions(days, numbered=numbered),
        cautions=say.OUTCOME_CAUTIONS,
        checks=(
            *_recent_check(found, until, days),
            *say.compared_checks(measures, ("success", "fully_occluding", "again", "referred"), found),
            *_hidden(clinic, measures),
        ),
        basis=_basis(found, first, "first attempts", f"{COUNTING} Ranges of ears widened for two ears of one patient.",
                     {"first attempts whose success is not recorded, or not known yet, from the share that succeeded": first - judged}),
        rows=show.measure_rows("quarter", measures),
    )  # fmt: skip


def safety(clinic: Clinic, quarter: str) -> Answer:
    """Say how many of a quarter's visits had an adverse event, and how many could have had.

    Parameters
    ----------
    clinic : Clinic
        ``clinic.hide_below`` says which counts are too small to show.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Any event and each kind. No event is told with how many there could be
        for all that. Rows of section ``safety``: ``count``, ``share``,
        ``difference_of_shares``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked = Quarter.parse(quarter)
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        counts = safety_counts(clinic.visits, found)
        watched = counts.by_period[THIS]["watched", ALL]
        say.refuse_if_few(watched, "visits", clinic.settings.clinic.hide_below, found)
    except NotEnough as reason:
        return no_answer(SAFETY, reason)
    measures = _shown(clinic, counts, ("any_event", *EVENTS), [ALL], rare=True)
    bars = show.shares_bars(measures, ["any_event"], scale=1000)
    return Answer(
        SAFETY,
        top.safety_headline(
            measures[0],
            watched,
            found,
            few=counts.by_period[THIS]["any_event", ALL] < clinic.settings.clinic.hide_below,
            hide_below=clinic.settings.clinic.hide_below,
            level=clinic.settings.level,
        ),
        how_sure=say.how_sure(measures, clinic.settings.level),
        table=show.measures_table(measures, per_thousand=True),
        chart=show.bars_chart(bars, "visits with an adverse event, in 1,000", percent=False),
        chart_title=top.safety_title(measures[0]),
        chart_text=show.bars_text(bars, percent=False),
        assumptions=(_blanks(clinic.visits), say.SAME_MEANS),
        cautions=say.SAFETY_CAUTIONS,
        checks=(
            *say.quiet_check(quiet_quarter(clinic.visits, found, clinic.settings.level)),
            *say.compared_checks(measures, ("any_event",), found, per=1000),
            *_hidden(clinic, measures),
        ),
        basis=_basis(found, watched, "attended visits", RARE),
        rows=show.measure_rows("safety", measures),
    )


def _shown(
    clinic: Clinic, counts: Counts, names: Sequence[str], parts: Sequence[str], *, rare: bool = False
) -> list[Measure]:
    """Make the measures to show by the clinic's own settings; leave out those the quarter has no record of."""
    settings = clinic.settings
    recorded = [name for name in names if name not in counts.base or counts.by_period[THIS][counts.base[name], ALL]]
    hide_below = settings.clinic.hide_below
    return shown_measures(counts, recorded, parts, hide_below=hide_below, level=settings.level, rare=rare)


def _with_half_days(clinic: Clinic, measures: Sequence[Measure], found: Periods) -> list[Measure]:
    """Widen the ranges of starts on time, for a late start runs on through its half-day."""
    begun = starts(clinic.visits[found.within(clinic.visits["slot_start"])])
    return [
        allow_for_groups(each, begun if each.part == ALL else begun[begun["site"] == each.part], found)
        if each.name == "on_time"
        else each
        for each in measures
    ]


def _of_each_person(clinic: Clinic, found: Periods) -> list[Measure]:
    """Make each practitioner's measures, numbered unless the clinic shows names."""
    called = practitioner_labels(clinic.visits, show_names=clinic.settings.clinic.show_practitioner_names)
    counts, people = person_counts(clinic.visits, found, called, clinic.settings.clinic.hide_below)
    return _shown(clinic, counts, EACH_PERSON, people)


def _outcome_measures(
    clinic: Clinic, counts: Counts, ears: pd.DataFrame, found: Periods, *, numbered: bool
) -> list[Measure]:
    """Make the measures of ears, widened for pairs, and the share referred."""
    names = ("success", *GRADES, *(("again",) if numbered else ()))
    of_ears = [allow_for_groups(each, ears, found) for each in _shown(clinic, counts, names, [ALL])]
    if not {each.name for each in of_ears} - {"again"}:
        raise NotEnough(
            f"For {say.period(found)} the log has neither grades nor outcomes of first attempts that are old enough to judge.",
            "Record of every ear its grade when first seen and its outcome.",
        )
    return [*of_ears, *_shown(clinic, referral_counts(clinic.visits, found), ("referred",), [ALL])]


def _recent_check(found: Periods, until: pd.Timestamp, days: int) -> tuple[Check, ...]:
    """Say from which day on success is not known yet."""
    if found.last_day <= until:
        return ()
    told = (
        f"First attempts of the log's last {days} days are left out of the share that succeeded: "
        f"a further attempt within {days} days could still follow."
    )
    return (Check("Too recent to judge", INFORMATION, told),)


def _hidden(clinic: Clinic, measures: Sequence[Measure]) -> tuple[Check, ...]:
    """Say that small counts are hidden, where some are."""
    return say.hidden_check(measures, clinic.settings.clinic.hide_below)


def _blanks(visits: pd.DataFrame) -> str:
    """Say what a blank adverse event is taken for."""
    if writes_none(visits):
        return "Visits that say nothing of adverse events, not even none, are left out."
    return "The log never writes that there was no adverse event, so a blank is taken for none; the true figure may be higher."


def _activity_basis(measures: Sequence[Measure], counts: Counts, found: Periods) -> Basis:
    """Say how many bookings there were, or, where that would give a few of them away, how many came."""
    booked = say.find(measures, "booked").counts[THIS]
    if booked is None:
        return _basis(found, counts.by_period[THIS]["attended", ALL], "visits attended, of all bookings", COUNTING)
    return _basis(found, booked, "bookings", COUNTING)


def _basis(found: Periods, used: int, of_what: str, method: str, left_out: dict[str, int] | None = None) -> Basis:
    """Say what a quarter's figures rest on."""
    return Basis(used, of_what, left_out or {}, found.first_day, found.last_day, method)

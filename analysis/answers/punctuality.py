"""Did we keep to time: starts, visits longer than their slot, and slots beside the minutes they took."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from analysis.answers import quarter_figures as show
from analysis.answers import quarter_words as say
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.derive.sessions import ON_TIME_MINUTES
from analysis.models.quarter_counts import allow_for_groups
from analysis.models.quarter_margins import booking_margins
from analysis.models.quarter_measures import ALL, Measure, shown_measures
from analysis.models.quarter_periods import THIS, Periods, periods
from analysis.models.quarter_punctuality import punctuality_counts
from analysis.present import words
from analysis.present.answer import Answer, Basis, no_answer
from analysis.problems import NotEnough

KEPT = "Did we keep to time?"
NAMES = ("on_time", "over_slot")
SAID = {"on_time": f"started within {ON_TIME_MINUTES} minutes of the slot", "over_slot": "took longer than their slot"}
METHOD = "Counts; Wilson ranges for shares, Newcombe's for their differences, widened for visits of one half-day."
ASSUMPTIONS = (
    f"On time is a start no later than {ON_TIME_MINUTES} minutes after the slot's start; visits whose times look copied from "
    "the slot are left out.",
    "Longer than the slot means more minutes in the chair than were booked, of visits whose minutes are their own. Minutes "
    "for cleaning and notes are not in them.",
    "Visits of one half-day go together; ranges are widened for it.",
    say.SAME_MEANS,
)
CAUTIONS = (
    "A visit that needs longer gets longer. These figures are for the diary, never for hurrying a patient or judging who "
    "saw them; consent, history, looking in the ear, aftercare and cleaning keep their minutes.",
)


def did_we_keep_to_time(clinic: Clinic, quarter: str) -> Answer:
    """Say how many visits of a quarter started on time, and how many took longer than their slot.

    Parameters
    ----------
    clinic : Clinic
        ``clinic.hide_below`` says which counts are too small to show.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        In all and by kind of booking, with the middle visit's minutes beside
        the middle slot. Rows as those of ``activity``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked, settings = Quarter.parse(quarter), clinic.settings
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        _, parts, table = punctuality_counts(clinic.visits, found)
        counts = booking_margins(clinic.visits, found)
        cells = counts.by_period[THIS]
        seen = max(cells["timed", ALL], cells["with_slot", ALL])
        say.refuse_if_few(seen, "visits", settings.clinic.hide_below, found)
    except NotEnough as reason:
        return no_answer(KEPT, reason)
    names = [name for name in NAMES if cells[counts.base[name], ALL]]
    made = shown_measures(counts, names, parts, hide_below=settings.clinic.hide_below, level=settings.level)
    measures = [
        allow_for_groups(each, table if each.part == ALL else table[table["part"] == each.part], found) for each in made
    ]
    bars = show.shares_bars(measures, NAMES)
    return Answer(
        KEPT,
        _headline(measures, _middles(table, found), found),
        how_sure=say.how_sure(measures, settings.level),
        table=_table(measures, table, found, settings.clinic.hide_below),
        chart=show.bars_chart(bars, "share of visits"),
        chart_title=_title(measures),
        chart_text=show.bars_text(bars),
        assumptions=ASSUMPTIONS,
        cautions=CAUTIONS,
        checks=(
            *say.compared_checks(measures, NAMES, found),
            *say.hidden_check(measures, settings.clinic.hide_below),
        ),
        basis=Basis(seen, "attended visits", {}, found.first_day, found.last_day, METHOD),
        rows=tuple(row for row in show.measure_rows("quarter", measures) if _own(row.group)),
    )


def _own(group: dict[str, object]) -> bool:
    """Say whether a row is this answer's own: starts of all are told by the quarter's activity."""
    return (group["measure"], group["part"]) != ("on_time", ALL)


def _middles(table: pd.DataFrame, found: Periods) -> pd.DataFrame:
    """Give the middle visit's minutes and the middle slot, in all and by kind, with how many visits."""
    now = table[found.split(table["day"])[THIS] & table["with_slot"]]
    by_kind = now.groupby("part").agg(minutes=("minutes", "median"), slot=("slot_minutes", "median"), n=("day", "size"))
    return pd.concat(
        [
            by_kind,
            pd.DataFrame(
                {"minutes": now["minutes"].median(), "slot": now["slot_minutes"].median(), "n": len(now)}, index=[ALL]
            ),
        ]
    )


def _table(measures: Sequence[Measure], table: pd.DataFrame, found: Periods, hide_below: int) -> pd.DataFrame:
    """Lay the measures out, beside each part's middle minutes and middle slot."""
    laid, middles = show.measures_table(measures), _middles(table, found)
    middles = middles[middles["n"] >= hide_below].reindex([each.part for each in measures])
    return laid.assign(half_within_minutes=middles["minutes"].to_numpy(), slot_minutes=middles["slot"].to_numpy())


def _headline(measures: Sequence[Measure], middles: pd.DataFrame, found: Periods) -> str:
    """Say starts on time, visits longer than the slot, and slots beside minutes."""
    told: list[str] = []
    for each in measures:
        if each.part == ALL and each.share is not None:
            compared = say.lead_change(each, briefly=True, named=not told)
            told.append(
                f"{words.percent(each.share.value)} {SAID[each.name]} ({words.between_percent(each.share)}{f'; {compared}' if compared else ''})"
            )
    minutes, slot = (float(each) for each in middles.loc[[ALL], ["minutes", "slot"]].to_numpy()[0])
    beside = f"; half took no more than {words.minutes(minutes)}, and half of the slots were no longer than {words.number(slot)}"
    figures = " and ".join(told) or "the shares are not shown, so that single patients stay unknown"
    return f"Of the visits in {say.period(found)}, {figures}{beside if pd.notna(minutes) else ''}."


def _title(measures: Sequence[Measure]) -> str:
    """Say the shares in a few words."""
    told = [
        f"{words.percent(each.share.value)} {SAID[each.name]}"
        for each in measures
        if each.part == ALL and each.share is not None
    ]
    return words.joined(told) or "Starts and slots in earlier quarters"

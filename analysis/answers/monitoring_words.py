"""How watched measures, their usual limits and their signals are said."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.answers.quarter_words import MEASURES
from analysis.answers.quarter_words import period as said_period
from analysis.models.quarter_periods import Periods
from analysis.models.watched_months import (
    FEW_POINTS,
    FEWEST_POINTS,
    MINUTES,
    QUARTER,
    RATE,
    SHARE,
    Watched,
    signals_within,
)
from analysis.present import words
from analysis.present.answer import INFORMATION, Check
from analysis.stats.control_charts import FALSE_ALARM_EVERY, RUN_LENGTH

NAMES = {
    **{name: MEASURES[name] for name in ("success", "again", "any_event")},
    "missed": "bookings missed",
    "cancelled_late": "bookings cancelled late",
    "on_time": MEASURES["on_time"],
    "over_slot": "longer than the slot",
    "minutes": "average minutes in the chair",
}
SCALES = {SHARE: 1.0, RATE: 1000.0, MINUTES: 1.0}
UNITS = {SHARE: "share", RATE: "in 1,000 visits", MINUTES: "minutes"}
RESULT_UNITS = {SHARE: "share", RATE: "per 1,000", MINUTES: "minutes"}
SMALL, SHORT = "small", "short"
CAUTIONS = (
    "A signal says that something differs, never why: other patients, other staff, other habits of recording, or chance. "
    "It is a reason to look, no verdict on anyone.",
    "No signal is no proof that all is well, and no adverse event waits for one: each is for its own review. Local "
    "protocols and licensed practice decide.",
    "These limits describe what was usual here. They are no targets.",
)


def latest(watched: Watched) -> int:
    """Find the last point with a figure."""
    return int(np.flatnonzero(~np.isnan(watched.chart.values))[-1])


def figure(watched: Watched, value: float) -> str:
    """Say one figure in the measure's unit."""
    if watched.kind == SHARE:
        return words.percent(value)
    return words.number(value * SCALES[watched.kind], 1 if watched.kind == MINUTES else 0)


def with_unit(watched: Watched, value: float) -> str:
    """Say one figure with its unit."""
    return f"{figure(watched, value)}{'' if watched.kind == SHARE else f' {UNITS[watched.kind]}'}"


def limits(watched: Watched, place: int) -> str:
    """Say the usual limits of one point."""
    return f"{figure(watched, watched.chart.low[place])} to {figure(watched, watched.chart.high[place])}"


def when(watched: Watched, place: int) -> str:
    """Say a point's month, or its quarter."""
    at: pd.Period = watched.periods[place]
    if watched.by == QUARTER:
        return f"{at.start_time:%b} to {at.end_time:%b} {at.year}"
    return f"{at.start_time:%B %Y}"


def axis_label(watched: Watched) -> str:
    """Name a measure's panel: what, in which unit, and by what."""
    unit = f", {UNITS[watched.kind]}" if watched.kind == RATE else ""
    return f"{NAMES[watched.name][:1].upper()}{NAMES[watched.name][1:]}{unit}"


def by_quarter(watched: Watched) -> str:
    """Say that a measure goes by quarter; nothing where it goes by month."""
    return ", by quarter" if watched.by == QUARTER else ""


def signal(watched: Watched, place: int) -> str:
    """Say what signals at a point."""
    if watched.chart.beyond[place]:
        return f"{'above' if watched.chart.values[place] > watched.chart.high[place] else 'below'} its limits"
    if watched.chart.run[place]:
        side = "above" if watched.chart.values[place] > watched.chart.centre[place] else "below"
        return f"{RUN_LENGTH} or more in a row {side} the usual figure"
    return "none"


def _signalling(shown: Sequence[Watched], found: Periods) -> list[tuple[Watched, int]]:
    """List each measure that signals in the quarter, with its latest point that does."""
    marks = [(each, np.flatnonzero(signals_within(each, found.quarter.first_day, found.last_day))) for each in shown]
    return [(each, int(places[-1])) for each, places in marks if len(places)]


def _told(watched: Watched, place: int) -> str:
    """Say one signal with its figure and what is usual."""
    value, usual = with_unit(watched, watched.chart.values[place]), with_unit(watched, watched.chart.centre[place])
    if watched.chart.beyond[place]:
        return f"{NAMES[watched.name]} ({value} in {when(watched, place)}, usually {limits(watched, place)})"
    return f"{NAMES[watched.name]} ({signal(watched, place)} of {usual} up to {when(watched, place)})"


def headline(shown: Sequence[Watched], found: Periods) -> str:
    """Say how many measures left what is usual, and which."""
    signalling = _signalling(shown, found)
    if signalling:
        told = "; ".join(_told(*each) for each in signalling)
        return f"{len(signalling)} of {words.plural(len(shown), 'watched measure')} left what is usual in {said_period(found)}: {told}."
    lead = shown[0]
    place = latest(lead)
    example = f"{NAMES[lead.name]}: {with_unit(lead, lead.chart.values[place])} in {when(lead, place)}, usually {limits(lead, place)}"
    many = f"None of {len(shown)} watched measures" if len(shown) > 1 else "The one watched measure never"
    return f"{many} left what is usual in {said_period(found)} ({example})."


def title(shown: Sequence[Watched], found: Periods) -> str:
    """Say in a few words what the charts show."""
    names = [NAMES[each.name] for each, _ in _signalling(shown, found)]
    if not names:
        return "Nothing left its usual limits in the quarter"
    return f"Left what is usual in the quarter: {words.joined(names)}"


def how_sure(shown: Sequence[Watched], found: Periods) -> str:
    """Say how often chance alone would raise a signal among so many measures."""
    points = sum(
        int((np.asarray(each.periods.start_time >= found.quarter.first_day) & ~np.isnan(each.chart.values)).sum())
        for each in shown
    )
    alarm = 1 - (1 - 1 / FALSE_ALARM_EVERY) ** points
    often = f"about {words.percent(alarm)} of quarters" if points else "no quarter"
    return (
        "From and to are usual limits: a month of an unchanged clinic is beyond them about 3 times in 1,000. With "
        f"{words.plural(len(shown), 'measure')} watched, chance alone would raise some signal in {often}."
    )


def chart_text(shown: Sequence[Watched]) -> str:
    """Tell each panel in words."""
    told = []
    for each in shown:
        place = latest(each)
        signals = [when(each, at) for at in np.flatnonzero(each.chart.signals).tolist()]
        said = f"signals in {words.joined(signals)}" if signals else "no signal"
        told.append(
            f"{axis_label(each)}: {with_unit(each, each.chart.values[place])} in {when(each, place)}, usually "
            f"{with_unit(each, each.chart.centre[place])}, limits {limits(each, place)}; {said}."
        )
    return " ".join(told)


def assumptions(changes: Sequence[tuple[pd.Timestamp, str]]) -> tuple[str, ...]:
    """Say the rules, and where limits begin anew."""
    declared = (
        f"Limits are worked out anew from {words.joined([f'{words.day(day)} ({said})' for day, said in changes])}, as declared."
        if changes
        else "No lasting change is declared, so limits are worked out once, over all whole months up to the quarter's end "
        "(monitoring.changes in clinic.toml is the place to declare one)."
    )
    return (
        f"A signal is a month beyond its limits, or the {RUN_LENGTH}th month in a row on one side of the usual figure: the "
        "first and the fourth of the rules of Western Electric (1956), which also count three spreads as the limits. Its "
        "second and third rule are left out, for with shares and counts they raise too many false alarms.",
        declared,
        "Months that the log covers only in part are left out, and so are months too recent to know whether first "
        "attempts succeeded. The time of year is not taken out.",
        "A measure with a month's count too small to show goes by quarter.",
    )


def earlier_check(shown: Sequence[Watched], found: Periods) -> tuple[Check, ...]:
    """List the signals before the quarter."""
    told = []
    for each in shown:
        before = each.chart.signals & np.asarray(each.periods.start_time < found.quarter.first_day)
        if before.any():
            told.append(
                f"{NAMES[each.name]}: {words.joined([when(each, at) for at in np.flatnonzero(before).tolist()])}"
            )
    sentence = f"{'; '.join(told)}." if told else "None of the measures shown."
    return (Check("Signals before this quarter", INFORMATION, sentence[:1].upper() + sentence[1:]),)


def ranges_check(shown: Sequence[Watched], found: Periods) -> tuple[Check, ...]:
    """Say where the step from one month to the next was beyond its own limit."""
    checks = []
    for each in shown:
        if each.ranges is None:
            continue
        inside = each.ranges.beyond & np.asarray(each.periods.start_time >= found.quarter.first_day)
        months = [when(each, at) for at in np.flatnonzero(inside).tolist()]
        told = f"larger than usual into {words.joined(months)}" if months else "none larger than usual in the quarter"
        checks.append(Check("Steps of the average minutes", INFORMATION, f"Steps from month to month: {told}."))
    return tuple(checks)


def provisional_check(shown: Sequence[Watched]) -> tuple[Check, ...]:
    """Say which limits rest on few points."""
    few = [f"{NAMES[each.name]} ({words.plural(each.known, each.by)})" for each in shown if each.known < FEW_POINTS]
    if not few:
        return ()
    told = f"Limits from fewer than {FEW_POINTS} points are provisional: {words.joined(few)}."
    return (Check("Few points", INFORMATION, told),)


def left_out_check(left_out: dict[str, str], hide_below: int) -> tuple[Check, ...]:
    """Say which measures are not charted, and why."""
    why = {
        SMALL: f"not charted, for even a quarter's count, or one that would give it away, is under {hide_below}",
        SHORT: f"not charted, for fewer than {FEWEST_POINTS} whole months have a figure",
    }
    told = [f"{NAMES[name]}: {why[reason]}" for name, reason in left_out.items()]
    if not told:
        return ()
    sentence = f"{'; '.join(told)}."
    return (Check("Not charted", INFORMATION, sentence[:1].upper() + sentence[1:]),)

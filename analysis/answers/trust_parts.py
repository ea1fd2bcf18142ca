"""Do parts of the log differ: practitioners and sites that record differently, and systems that make patients look new."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import trust_parts_words as say
from analysis.answers.trust_words import NO_DATES
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import NOBODY, practitioner_labels
from analysis.models.log_recorders import FEWEST_VISITS, Habit, recording_habits
from analysis.models.log_system_change import FirstVisits, first_visits
from analysis.present import words
from analysis.present.answer import FAILED, PASSED, Answer, Basis, Check, no_answer
from analysis.present.charts import Bar, Line, line_chart, range_chart
from analysis.present.theme import NAMED, RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.proportions import wilson_share

DIFFER = "Do practitioners or sites record differently?"
LOOK_NEW = "Do known patients look new?"


def who_records_differently(clinic: Clinic) -> Answer:
    """Say which practitioners or sites write down differently from the others, beyond chance.

    Parameters
    ----------
    clinic : Clinic
        Its settings say whether practitioners are named and which counts are hidden.

    Returns
    -------
    Answer
        One row of the table a habit and a practitioner or site that differs;
        where none does, the widest that chance explains. Shown as record
        keeping, in the order of the labels and never by size. Its first check
        fails where a habit differs.
    """
    if pd.isna(clinic.first_day):
        return no_answer(DIFFER, NO_DATES)
    habits = [*_of_practitioners(clinic), *_of_sites(clinic)]
    if not habits:
        reason = f"Fewer than two practitioners or sites have {FEWEST_VISITS} attended visits each."
        return no_answer(DIFFER, NotEnough(reason, "Record who saw the patient, and where."))
    differing = [habit for habit in habits if habit.differs]
    shown = differing or sorted(habits, key=lambda habit: -abs(habit.difference.value))[: say.MOST_IF_NONE]
    hidden = _hidden(habits, clinic.settings.clinic.hide_below)
    visits = int((clinic.visits["attendance"] == "attended").sum())
    return Answer(
        DIFFER,
        say.differ_headline(
            habits, [habit for habit in differing if habit.key not in hidden], len(differing), _period(clinic)
        ),
        how_sure=say.DIFFER_SURE,
        table=_differ_table(shown, hidden),
        chart=_differ_chart(shown, hidden),
        chart_title=say.differ_title(differing),
        chart_text=say.differ_text(shown, hidden),
        assumptions=say.DIFFER_ASSUMPTIONS,
        cautions=say.DIFFER_CAUTIONS,
        checks=(
            Check("Written alike", FAILED if differing else PASSED, say.differ_check(differing, len(habits))),
            *say.differ_consequences(differing),
        ),
        basis=Basis(visits, "attended visits", {}, clinic.first_day, clinic.last_day, say.DIFFER_METHOD),
    )


def do_known_patients_look_new(clinic: Clinic) -> Answer:
    """Say whether a change of system makes known patients look new, and how far back the log can tell.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        One row of the table a month. Its first check fails where far more
        visits suddenly look like first ones.
    """
    try:
        found = first_visits(clinic.visits)
    except NotEnough as reason:
        return no_answer(LOOK_NEW, reason)
    return Answer(
        LOOK_NEW,
        say.new_headline(found, _period(clinic)),
        how_sure=say.NEW_SURE,
        table=_new_table(found, clinic.settings.clinic.hide_below),
        chart=_new_chart(found, clinic.settings.level),
        chart_title=say.new_title(found),
        chart_text=say.new_text(found),
        assumptions=say.NEW_ASSUMPTIONS,
        checks=(
            Check("Known patients stay known", FAILED if found.jumps else PASSED, say.new_check(found)),
            say.reach_check(found),
            *say.new_consequences(found),
        ),
        basis=Basis(
            int(found.months["visits"].sum()),
            "attended visits with a patient number",
            {},
            clinic.first_day,
            clinic.last_day,
            say.NEW_METHOD,
        ),
    )


def _period(clinic: Clinic) -> str:
    """Say the days of the log."""
    return words.months(clinic.first_day, clinic.last_day)


def _of_practitioners(clinic: Clinic) -> list[Habit]:
    """Judge the practitioners; visits of nobody named are none of theirs."""
    labels = practitioner_labels(clinic.visits, show_names=clinic.settings.clinic.show_practitioner_names)
    named = labels != NOBODY
    return recording_habits(clinic.visits[named], clinic.ears, labels[named])


def _of_sites(clinic: Clinic) -> list[Habit]:
    """Judge the sites."""
    site = clinic.visits["site"].fillna("")
    named = site != ""
    return recording_habits(clinic.visits[named], clinic.ears, site[named].astype("str"))


def _hidden(habits: Sequence[Habit], bound: int) -> set[tuple[str, str, str]]:
    """Choose the shares that tell a small count: of visits that show a habit, and of grades also of those that do not."""
    hidden = set()
    for habit in habits:
        counts = [habit.count, habit.visits - habit.count] if habit.kind == "fullest" else [habit.count]
        if any(0 < count < bound for count in counts):
            hidden.add(habit.key)
    return hidden


def _differ_table(shown: Sequence[Habit], hidden: set[tuple[str, str, str]]) -> pd.DataFrame:
    """Set habits out beside the others'."""
    rows = []
    for habit in shown:
        hides = habit.key in hidden
        hundreds = habit.difference.scaled(100)
        rows.append(
            {
                "habit": say.habit_told(habit),
                "part": habit.part,
                "visits": habit.visits,
                "habit_share": None if hides else habit.share,
                "others_share": habit.others_share,
                "more_points": None if hides else hundreds.value,
                "more_points_low": None if hides else hundreds.low,
                "more_points_high": None if hides else hundreds.high,
            }
        )
    numbers = ["habit_share", "others_share", "more_points", "more_points_low", "more_points_high"]
    return pd.DataFrame(rows).astype(dict.fromkeys(numbers, "float64"))


def _differ_chart(shown: Sequence[Habit], hidden: set[tuple[str, str, str]]) -> go.Figure:
    """Draw how many more visits in 100 show a habit than with the others."""
    bars = []
    for habit in shown:
        hundreds = habit.difference.scaled(100)
        hides = habit.key in hidden
        value, low, high = (float("nan"),) * 3 if hides else (hundreds.value, hundreds.low, hundreds.high)
        colour = RECOMMENDED if habit.differs else TODAY
        bars.append(Bar(f"{say.habit_told(habit)}, {habit.part}", value, low, high, colour))
    return range_chart(bars, x_title="more visits in 100 than with the others", reference=0.0)


def _new_table(found: FirstVisits, bound: int) -> pd.DataFrame:
    """Set the months out; a share that tells a small count is left out."""
    visits = found.months["visits"]
    columns = {"month": [f"{month:%B %Y}" for month in found.months.index], "visits": visits.to_numpy()}
    for sign, name in (("not_seen_before", "not_seen_share"), ("booked_as_new", "booked_new_share")):
        count = found.months[sign].astype("float64")
        small = ((count > 0) & (count < bound)) | ((visits - count > 0) & (visits - count < bound))
        columns[name] = (count / visits).mask(small).to_numpy()
    return pd.DataFrame(columns)


def _new_chart(found: FirstVisits, level: float) -> go.Figure:
    """Draw the share of each month's visits that look like first ones."""
    months = list(found.months.index)
    lines = []
    for sign, name, colour in (
        ("not_seen_before", "not seen before", RECOMMENDED),
        ("booked_as_new", "booked as new", NAMED[0]),
    ):
        counts = found.months[sign]
        if counts.isna().any():
            continue
        shares = [
            wilson_share(int(count), int(visits), level)
            for count, visits in zip(counts, found.months["visits"], strict=True)
        ]
        lines.append(
            Line(
                name,
                months,
                [share.value for share in shares],
                [share.low for share in shares],
                [share.high for share in shares],
                colour,
            )
        )
    figure = line_chart(lines, x_title="", y_title="share of the month's visits", percent=True)
    return figure.update_xaxes(nticks=4, tickformat="%b %Y", tickangle=0)

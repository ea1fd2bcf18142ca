"""How long it takes to clear the ears, and how long visits are in the chair: two questions, kept apart."""

from __future__ import annotations

import pandas as pd

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import TimedVisits, timed_visits, visit_basis
from analysis.answers.visit_time_words import CAUTIONS
from analysis.clinic import Clinic
from analysis.models.visit_clearing import Clearing, time_to_clear
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "How long until the ears are clear, and how long in the chair?"
CURVE_NAMES = {"log_normal": "log-normal", "weibull": "Weibull"}
SPOKEN = 0.5
STOPPING = "A visit stopped for the patient's sake is good care; these minutes are no reason to go on."
HOW = (
    "A visit that ended before its occluding ears were clear tells only that clearing takes longer (right-censored); for time "
    "in the chair it is complete. Curves on the logarithm of time, one spread for all, a patient's visits together."
)


@of_drawn_patients
def how_long_until_clear(clinic: Clinic) -> Answer:
    """Say how long clearing the occluding ears takes, and apart from it how long such visits are in the chair.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        By number of occluding ears and fullest grade. Rows: ``minutes_to_clear`` and
        ``minutes_in_chair``. Without a figure where grades or outcomes are not recorded.
    """
    try:
        timed = timed_visits(clinic)
        found = time_to_clear(timed.fitted, clinic.ears)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level = timed.fitted.level
    return Answer(
        question=QUESTION,
        headline=_headline(found, level),
        how_sure=f"{words.how_sure(level)} They do not cover that visits are stopped because the ear is hard.",
        table=_table(found),
        chart=range_chart(
            _bars(found), x_title="minutes from the start of the visit, for half of visits", from_zero=True
        ),
        chart_title="Clearing the ears takes longer than the visits last, since some stop before"
        if found.stopped
        else "Every visit cleared its ears, so both times are the same",
        chart_text=_told(found),
        assumptions=_assumptions(found),
        cautions=(CAUTIONS[0], STOPPING),
        checks=(_check(found),),
        basis=visit_basis(clinic, timed, HOW),
        rows=tuple(_rows(found, timed)),
    )


def group_name(ears: int, fullest: str) -> str:
    """Name visits by their occluding ears."""
    grade = words.code_label("grade", fullest)
    return f"one {grade} ear" if ears == 1 else f"two occluding ears, the fuller {grade}"


def _halves(found: Clearing) -> list[dict]:
    """Take what half of visits take, by group."""
    return found.table[found.table["share"] == SPOKEN].to_dict("records")


def _headline(found: Clearing, level: float) -> str:
    """Say both times for the largest group, named apart."""
    row = max(_halves(found), key=lambda each: each["visits"])
    clear = Estimate(row["clear"], row["clear_low"], row["clear_high"], level, int(row["visits"]), "")
    chair = Estimate(row["chair"], row["chair_low"], row["chair_high"], level, int(row["visits"]), "")
    return (
        f"Of visits with {group_name(int(row['ears']), row['fullest'])}, half would have cleared {'it' if row['ears'] == 1 else 'them'} within "
        f"{words.minutes(clear.value, 1)} ({words.between(clear, 1)}), and half are out of the chair within "
        f"{words.minutes(chair.value, 1)} ({words.between(chair, 1)}); {words.count(found.stopped)} of "
        f"{words.count(found.visits)} visits ended before the ears were clear."
    )


def _bars(found: Clearing) -> list[Bar]:
    """Give two rows a group: time to clear, time in the chair."""
    bars = []
    for row in _halves(found):
        name = group_name(int(row["ears"]), row["fullest"]).replace(",", "")
        bars.append(Bar(f"{name}, until clear", row["clear"], row["clear_low"], row["clear_high"], RECOMMENDED))
        bars.append(Bar(f"{name}, in the chair", row["chair"], row["chair_low"], row["chair_high"], TODAY))
    return bars


def _told(found: Clearing) -> str:
    """Tell the chart."""
    said = [
        f"{bar.label} {words.number(bar.value, 1)} ({words.number(bar.low, 1)} to {words.number(bar.high, 1)})"
        for bar in _bars(found)
    ]
    return f"Minutes for half of visits, with their ranges: {'; '.join(said)}."


def _table(found: Clearing) -> pd.DataFrame:
    """List both times for half and for 8 in 10 visits."""
    rows = []
    for row in found.table.to_dict("records"):
        name = f"{group_name(int(row['ears']), row['fullest'])}: {row['share'] * 10:g} in 10 visits"
        clear, chair = (
            (row["clear"], row["clear_low"], row["clear_high"]),
            (row["chair"], row["chair_low"], row["chair_high"]),
        )
        rows.append([name, *clear, *chair, int(row["visits"]), int(row["stopped"])])
    columns = [
        "measure",
        "clear_minutes",
        "clear_low_minutes",
        "clear_high_minutes",
        "chair_minutes",
        "chair_low_minutes",
        "chair_high_minutes",
    ]
    return pd.DataFrame(rows, columns=[*columns, "visits", "ended_before"])


def _assumptions(found: Clearing) -> tuple[str, ...]:
    """Say what would have to be true."""
    said = [
        "Both times begin with the visit, so talking, looking and aftercare are in them.",
        "Stopping would have to say nothing of how long the rest takes. Hard ears are stopped oftener, so clearing truly takes longer than shown.",
        "An ear counts as clear when it ended clear or with a remnant that does not occlude.",
    ]
    if found.unknown:
        said.append(
            f"{words.plural(found.unknown, 'visit')} with occluding ears are left out: an outcome is not recorded, or too few are alike."
        )
    return tuple(said)


def _check(found: Clearing) -> Check:
    """Say which curve is likelier."""
    other = next(name for name in CURVE_NAMES if name != found.curve)
    sentence = (
        f"The {CURVE_NAMES[found.curve]} curve fits the time to clear better than the {CURVE_NAMES[other]} one (by "
        f"{words.number(found.likelier_by, 1)} in log-likelihood) and is used for both times."
    )
    return Check("Which curve", INFORMATION, sentence)


def _rows(found: Clearing, timed: TimedVisits) -> list[ResultRow]:
    """Keep both times."""
    rows, level = [], timed.fitted.level
    for row in found.table.to_dict("records"):
        group = {"ears": int(row["ears"]), "fullest": row["fullest"], "q": row["share"]}
        method = f"{CURVE_NAMES[found.curve]} curve, patients clustered"
        for quantity, name in (("minutes_to_clear", "clear"), ("minutes_in_chair", "chair")):
            ends = row[name], row[f"{name}_low"], row[f"{name}_high"], level
            rows.append(ResultRow("visit_time", quantity, group, *ends, "minutes", int(row["visits"]), method))
    return rows

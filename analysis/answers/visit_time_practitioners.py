"""Who needs longer slots: practitioners' minutes for the same ears, never a ranking."""

from __future__ import annotations

import pandas as pd

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import TimedVisits, timed_visits, visit_basis
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.models.visit_pooling import FEWEST_OF_PRACTITIONER, fit_pooled_minutes
from analysis.present import words
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.problems import NotEnough
from analysis.stats.mixed import METHOD

QUESTION = "Who needs longer slots?"
WORTH_MINUTES = 1.0
"""Minutes beyond the clinic's average from which longer slots are spoken of (a choice, no source)."""
HOW = (
    "Minutes for ears of the same grade and first method and the same kind of booking, against the log's average "
    "practitioner; each figure is drawn in as far as the data ask for it (linear mixed model)."
)
CAUTIONS = (
    "This says whose diary needs longer slots. It is no measure of skill, pace or worth, and no reason to hurry anyone: "
    "longer visits may mean harder ears than the grades tell, more talking, more teaching, or better notes.",
    "Practitioners are in the order of their labels, never of their minutes. Talk with the person before changing their diary.",
    "Consent, history, looking into the ear and aftercare keep their time; local protocol and licensed practice decide what an ear needs.",
)


@of_drawn_patients
def who_needs_longer_slots(clinic: Clinic) -> Answer:
    """Say for whom slots should be longer than the clinic's, for the same ears.

    Parameters
    ----------
    clinic : Clinic
        Its settings say whether names are shown; otherwise practitioners are numbered.

    Returns
    -------
    Answer
        Practitioners of at least 30 visits, by label. Rows:
        ``practitioner_minutes``. Without a figure where fewer than two have so many.
    """
    try:
        timed = timed_visits(clinic)
        table = _labelled(clinic, fit_pooled_minutes(timed.fitted, clinic.ears).practitioners)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    if len(table) < 2:
        return no_answer(QUESTION, _nobody_to_compare(timed))
    level = timed.fitted.level
    return Answer(
        question=QUESTION,
        headline=_headline(table, timed),
        how_sure=f"{words.how_sure(level)} A figure of few visits is drawn towards the clinic's average.",
        table=table.rename(columns={"minutes": "more_minutes"}),
        chart=range_chart(_bars(table), x_title="minutes more than the clinic's average, like for like", reference=0.0),
        chart_title=_title(table),
        chart_text=_told(table),
        assumptions=(
            "Ears of the same grade and first method, in the same kind of booking, are alike; what the log does not record may still differ.",
            f"Nothing is shown of a practitioner with fewer than {FEWEST_OF_PRACTITIONER} visits.",
            "Who rounds minutes or leaves ends to the diary shows fewer or blunter minutes; see the question on rounded minutes.",
        ),
        cautions=CAUTIONS,
        basis=visit_basis(clinic, timed, HOW),
        rows=tuple(_rows(table, level)),
    )


def _nobody_to_compare(timed: TimedVisits) -> NotEnough:
    """Say why there are not two practitioners to compare."""
    named = timed.fitted.sample.visits["practitioner"]
    if named.fillna("").ne("").all() and len(set(named)) == 1:
        return NotEnough(
            "The log names one practitioner, so there is nobody to compare.", "Nothing more need be recorded."
        )
    few = f"Fewer than two practitioners have {FEWEST_OF_PRACTITIONER} visits with minutes of their own."
    return NotEnough(few, "Record who saw each patient.")


def _same(timed: TimedVisits) -> str:
    """Say what is alike in the comparison: ears, or where they are not graded the kind of booking."""
    return (
        "the same ears" if timed.fitted.sample.has_grades else "the same kind of booking (the log grades too few ears)"
    )


def _labelled(clinic: Clinic, found: pd.DataFrame) -> pd.DataFrame:
    """Put labels in place of names, in the order of the labels."""
    labels = practitioner_labels(clinic.visits, show_names=clinic.settings.clinic.show_practitioner_names)
    called = dict(zip(clinic.visits["practitioner"].astype("object"), labels, strict=True))
    table = found.assign(practitioner=found["practitioner"].map(called).astype("str"))
    order = table["practitioner"].str.extract(r"(\d+)$")[0].astype("float64")
    return table.assign(order=order).sort_values(["order", "practitioner"], ignore_index=True).drop(columns="order")


def _needing(table: pd.DataFrame) -> list[str]:
    """Say whose whole range lies above nought and whose figure is worth a longer slot, by label."""
    mine = table[(table["low"] > 0) & (table["minutes"] >= WORTH_MINUTES)]
    return [
        f"{row['practitioner']} ({words.number(row['low'], 1)} to {words.number(row['high'], 1)} minutes more)"
        for row in mine.to_dict("records")
    ]


def _headline(table: pd.DataFrame, timed: TimedVisits) -> str:
    """Say whose slots should be longer, or that nobody's need be."""
    visits = words.count(len(timed.fitted.means))
    said = _needing(table)
    if not said:
        return f"Nobody clearly needs longer slots than the clinic's: for {_same(timed)}, over {visits} visits, no one's minutes lie a whole minute above the average."
    return f"For {_same(timed)}, over {visits} visits, longer slots than the clinic's average would suit {words.joined(said)}."


def _title(table: pd.DataFrame) -> str:
    """Say the finding."""
    return "Some diaries need longer slots than others" if _needing(table) else "One template suits everyone's minutes"


def _bars(table: pd.DataFrame) -> list[Bar]:
    """Give one row a practitioner, by label, all in one colour."""
    return [Bar(row["practitioner"], row["minutes"], row["low"], row["high"]) for row in table.to_dict("records")]


def _told(table: pd.DataFrame) -> str:
    """Tell the chart."""
    said = [
        f"{bar.label} {words.number(bar.value, 1)} ({words.number(bar.low, 1)} to {words.number(bar.high, 1)})"
        for bar in _bars(table)
    ]
    return f"Minutes more than the clinic's average, like for like, by label and not by size: {'; '.join(said)}."


def _rows(table: pd.DataFrame, level: float) -> list[ResultRow]:
    """Keep the figures."""
    return [
        ResultRow(
            "visit_time", "practitioner_minutes", {"practitioner": row["practitioner"]}, row["minutes"], row["low"],
            row["high"], level, "minutes", int(row["visits"]), METHOD,
        )
        for row in table.to_dict("records")
    ]  # fmt: skip

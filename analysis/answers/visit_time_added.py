"""What each ear adds when sparse figures are drawn towards their like, and what findings go with longer visits."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import TimedVisits, timed_visits, visit_basis
from analysis.answers.visit_time_words import CAUTIONS, NOT_RECORDED
from analysis.clinic import Clinic
from analysis.models.visit_pooling import FEWEST_WITH_FACT, PooledMinutes, fit_pooled_minutes
from analysis.present import words
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import GRADE_BLUES, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.mixed import METHOD

QUESTION = "What makes visits long?"
FACT_NAMES = {
    "impacted": "an impacted ear",
    "dead_skin": "an ear with dead skin",
    "narrow_or_tortuous": "an ear with a narrow or tortuous canal",
    "in_chair_softening": "softening in the chair",
    "dizziness_stop": "a stop for dizziness",
}
HOW = (
    "Parts add up over overhead, ears and kind of booking; a first method's departure from its grade, and a practitioner's "
    "from the clinic, are drawn in as far as the data ask for it (linear mixed model, the gamma model's variances)."
)
SEQUENCE = (
    "The first method is chosen for the ear, and a later method follows from difficulty; neither is a reason for the minutes. "
    "What follows fine suction is a question of its own."
)


@of_drawn_patients
def what_makes_visits_long(clinic: Clinic) -> Answer:
    """Say what each grade and first method adds, sparse ones pooled, and what goes with longer visits.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Rows: ``pooled_minutes`` (by grade and method) and ``fact_minutes``. Without
        a figure where no worked ears are graded or no minutes are the visits' own.
    """
    try:
        timed = timed_visits(clinic)
        found = fit_pooled_minutes(timed.fitted, clinic.ears)
        _refuse_without_grades(found)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    return Answer(
        question=QUESTION,
        headline=_headline(found, timed),
        how_sure=f"{words.how_sure(timed.fitted.level)} Of several facts looked at together, one range in twenty misses.",
        table=_table(found),
        chart=_chart(found),
        chart_title=_title(found),
        chart_text=_told(found),
        assumptions=_assumptions(found),
        cautions=CAUTIONS,
        basis=visit_basis(clinic, timed, HOW),
        rows=tuple(_rows(found, timed.fitted.level)),
    )


def _refuse_without_grades(found: PooledMinutes) -> None:
    """Say what is missing where no ear has a part."""
    if found.added.empty:
        raise NotEnough(
            "The log grades too few worked ears to say what an ear adds.",
            "Record each worked ear's grade and first method.",
        )


def _headline(found: PooledMinutes, timed: TimedVisits) -> str:
    """Say the fullest grade's least and most, and what clearly goes with longer or shorter visits."""
    fullest = found.added[found.added["grade"] == found.added["grade"].tolist()[-1]]
    grade = words.code_label("grade", fullest["grade"].tolist()[0])
    verb = "adds" if found.has_overhead else "takes"
    least, most = (_ear_minutes(fullest, longest=longest) for longest in (False, True))
    span = (
        f"{least} minutes"
        if len(fullest) == 1
        else f"between {least} and {most} minutes, depending on what is used first"
    )
    clear = found.effects[(found.effects["low"] > 0) | (found.effects["high"] < 0)]
    said = [f"{FACT_NAMES[row['fact']]} {_more(row, timed.fitted.level)}" for row in clear.to_dict("records")]
    facts = (
        f"; beyond its grade, {words.joined(said)}" if said else "; no further finding clearly goes with longer visits"
    )
    if found.effects.empty:
        facts = "; too few visits have a further finding on record"
    return f"A {grade} ear {verb} {span}{facts}."


def _ear_minutes(ears: pd.DataFrame, *, longest: bool) -> str:
    """Say the least or the most minutes of some ears, with their range."""
    row = ears.sort_values("minutes", ascending=not longest).to_dict("records")[0]
    return f"{words.number(row['minutes'], 1)} ({words.number(row['low'], 1)} to {words.number(row['high'], 1)})"


def _more(row: dict, level: float) -> str:
    """Say how many minutes more or fewer."""
    figure = Estimate(row["minutes"], row["low"], row["high"], level, int(row["visits"]), "")
    longer = figure.value > 0
    figure = figure if longer else figure.scaled(-1.0)
    way = "more" if longer else "fewer"
    return f"goes with {words.number(figure.value, 1)} minutes {way} ({words.between(figure, 1)})"


def _title(found: PooledMinutes) -> str:
    """Say the finding."""
    by_grade = found.added.groupby("grade")["minutes"].agg(lambda each: each.max() - each.min()).max()
    means = found.added.groupby("grade")["minutes"].mean()
    return (
        "How full the ear is matters more than what is used first"
        if means.max() - means.min() > by_grade
        else "Ears differ within their grade as much as between grades"
    )


def _bars(found: PooledMinutes) -> list[Bar]:
    """Give one row an ear, fullest first, then one a fact."""
    fullest_first = found.added.sort_values(
        "grade", key=lambda each: each.map(list(GRADE_BLUES).index), ascending=False, kind="stable"
    )
    bars = []
    for row in fullest_first.to_dict("records"):
        label = f"{words.code_label('grade', row['grade'])}, {_method(row['first_method'])}"
        bars.append(Bar(label, row["minutes"], row["low"], row["high"], GRADE_BLUES[row["grade"]]))
    bars += [
        Bar(f"beyond its grade, {FACT_NAMES[row['fact']]}", row["minutes"], row["low"], row["high"], TODAY)
        for row in found.effects.to_dict("records")
    ]
    return bars


def _chart(found: PooledMinutes) -> go.Figure:
    """Draw what each ear adds, and what goes with further minutes."""
    title = "minutes added" if found.has_overhead else "minutes of the visit for each ear"
    return range_chart(_bars(found), x_title=title, reference=0.0, from_zero=True)


def _told(found: PooledMinutes) -> str:
    """Tell the chart."""
    said = [
        f"{bar.label} {words.number(bar.value, 1)} ({words.number(bar.low, 1)} to {words.number(bar.high, 1)})"
        for bar in _bars(found)
    ]
    return f"Minutes added, with their ranges: {'; '.join(said)}."


def _method(method: str) -> str:
    """Name a first method."""
    return words.code_label("method", method) if method else f"method {NOT_RECORDED}"


def _table(found: PooledMinutes) -> pd.DataFrame:
    """List ears and facts with their ranges and the visits behind them."""
    ears = found.added.assign(
        what=[
            f"{words.code_label('grade', row['grade'])}, {_method(row['first_method'])}"
            for row in found.added.to_dict("records")
        ]
    )
    facts = found.effects.assign(what=[FACT_NAMES[fact] for fact in found.effects["fact"]])
    columns = ["what", "minutes", "low", "high", "visits"]
    table = pd.concat([each[columns] for each in (ears, facts) if len(each)], ignore_index=True)
    return table.rename(columns={"what": "measure", "minutes": "added_minutes"})


def _assumptions(found: PooledMinutes) -> tuple[str, ...]:
    """Say what would have to be true."""
    said = [
        "A grade and first method seen seldom is drawn towards its grade, so its figure is a little less its own the fewer visits it has.",
        SEQUENCE,
        f"A finding needs {FEWEST_WITH_FACT} visits with it and as many without; one not shown was too seldom or not recorded.",
        "Findings are compared at the same grade, first method, kind of booking and practitioner, softened or not; what is not recorded may still differ.",
    ]
    if found.has_overhead:
        return tuple(said)
    return (*said, "Every visit has equally many worked ears, so the visit's own minutes are counted with the ear's.")


def _rows(found: PooledMinutes, level: float) -> list[ResultRow]:
    """Keep the figures."""
    rows = []
    for row in found.added.to_dict("records"):
        group = {"grade": row["grade"], "method": row["first_method"] or None}
        figures = row["minutes"], row["low"], row["high"], level
        rows.append(ResultRow("visit_time", "pooled_minutes", group, *figures, "minutes", int(row["ears"]), METHOD))
    for row in found.effects.to_dict("records"):
        group, figures = {"fact": row["fact"], "of": row["of"]}, (row["minutes"], row["low"], row["high"], level)
        rows.append(ResultRow("visit_time", "fact_minutes", group, *figures, "minutes", int(row["visits"]), METHOD))
    return rows

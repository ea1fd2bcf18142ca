"""How full ears are at return, by the months since they were cleared."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_grades_fit import KINDS, fit_check, in_groups
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.grade_at_return import GradesAtReturn, GradesOfOneKind, fit_grades_at_return
from analysis.present import words
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.chart_grades import grades_chart
from analysis.present.charts import Line
from analysis.present.theme import GRADE_BLUES
from analysis.problems import NotEnough
from analysis.schema import GRADES
from analysis.stats.estimate import Estimate

QUESTION = "How full are ears when people come back?"
GRADE_COLOURS = tuple(GRADE_BLUES.values())
DRAWS, SEED = 200, 20262
MONTHS_TOLD = (3, 6, 12, 24)


@of_drawn_patients
def how_full_at_return(clinic: Clinic) -> Answer:
    """Say how full ears are found, by months since they were cleared.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where nobody came back, too few ears were graded at a return, or nearly all in one grade.
    """
    try:
        fitted = fit_grades_at_return(clinic_gaps(clinic), clinic.settings.recall.fewest_ears)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level = clinic.settings.level
    told = {kind: months_told(one) for kind, one in fitted.kinds.items()}
    chances = {kind: _chances(fitted, np.array(months), kind, level) for kind, months in told.items()}
    return Answer(
        question=QUESTION,
        headline=_headline(fitted, chances, told),
        how_sure=words.how_sure(level),
        table=_table(chances, told),
        chart=_chart(fitted, level),
        chart_title=_chart_title(fitted, level),
        chart_text=_chart_text(chances, told),
        assumptions=(
            "Of ears at least as full as a grade, the share that is fuller moves smoothly with the months, differently for each grade; "
            "beyond the months seen it is held at the last.",
            "A share that falls with the months need not mean that ears empty: at recalls, ears looked at early are often those "
            "called early because they fill fast.",
            "Only ears of people who came are seen; whoever has symptoms chose the day, so their ears are fuller at any month.",
        ),
        cautions=("How full ears are on average says nothing of one patient: look in the ear.",),
        checks=(fit_check(fitted),),
        basis=_basis(fitted),
        rows=tuple(_rows(chances, told, level, len(fitted.seen))),
    )


def _kinds(fitted: GradesAtReturn) -> tuple[bool, ...]:
    """List the kinds of return the figures tell apart."""
    return tuple(fitted.kinds)


def _chances(fitted: GradesAtReturn, months: np.ndarray, kind: bool, level: float) -> np.ndarray:
    """Chance of each grade with its range; shape (3, months, grades): figure, low, high."""
    one = fitted.kinds[kind]
    drawn = np.array([one.chances(months, each) for each in one.draws(DRAWS, np.random.default_rng(SEED))])
    low, high = np.quantile(drawn[1:], [0.5 - level / 2, 0.5 + level / 2], axis=0)
    return np.stack([drawn[0], low, high])


def months_told(one: GradesOfOneKind) -> list[float]:
    """Choose the months to tell: the usual ones within those seen, or else the middle of those seen.

    Parameters
    ----------
    one : GradesOfOneKind

    Returns
    -------
    list of float
        At least one.
    """
    within = [float(months) for months in MONTHS_TOLD if floor(one.earliest) <= months <= ceil(one.latest)]
    return within or [float(round((one.earliest + one.latest) / 2))]


def _headline(fitted: GradesAtReturn, chances: dict[bool, np.ndarray], told: dict[bool, list[float]]) -> str:
    """Give the one sentence that answers: clear and fully occluding ears, soonest and latest."""
    kind = next(iter(chances))
    soonest = _said(chances[kind][:, 0])
    said = f"Of ears seen again for {KINDS[kind]} {_months(told[kind][0])} after they were cleared, {soonest}"
    if len(told[kind]) > 1:
        said += f"; after {_months(told[kind][-1])} {_said(chances[kind][:, -1])}"
    days = fitted.seen["day"]
    return f"{said}; going by returns {words.from_months(days.min(), days.max())}."


def _months(months: float) -> str:
    """Say whole months."""
    return words.plural(round(months), "month")


def _said(chances: np.ndarray) -> str:
    """Say the shares of clear and of fully occluding ears, shape (3, grades): figure, low, high."""
    said = []
    for grade, spoken in (("clear", "clear"), ("fully_occluding", "fully occluding")):
        value, low, high = chances[:, list(GRADES).index(grade)]
        said.append(f"{words.percent(value)} ({words.percent(low)} to {words.percent(high)}) are {spoken}")
    return words.joined(said)


def _chart_title(fitted: GradesAtReturn, level: float) -> str:
    """Say whether fewer ears are found clear as months go by; nothing is claimed where the range holds nought."""
    one = fitted.kinds[next(iter(fitted.kinds))]
    ends = np.array([6.0, 24.0])
    clear = np.array([one.chances(ends, each)[:, 0] for each in one.draws(DRAWS, np.random.default_rng(SEED))])
    low, high = np.quantile(np.diff(clear[1:], axis=1), [0.5 - level / 2, 0.5 + level / 2])
    if high < 0:
        return "The longer ago an ear was cleared, the more often there is wax in it"
    if low > 0:
        return "Ears cleared longer ago are found clear more often, not less"
    return "The log does not show that ears are found fuller as months go by"


def _chart_text(chances: dict[bool, np.ndarray], told: dict[bool, list[float]]) -> str:
    """Tell the chart in words."""
    kind = next(iter(chances))
    first, last = (_months(each) for each in (told[kind][0], told[kind][-1]))
    each_grade = [
        f"{label} {words.percent(chances[kind][0, 0, place])} at {first} and {words.percent(chances[kind][0, -1, place])} "
        f"at {last}"
        for place, label in enumerate(GRADES.values())
    ]
    return f"Lines of the share of each grade by months, for ears seen again for {KINDS[kind]}: {words.joined(each_grade)}."


def _table(chances: dict[bool, np.ndarray], told: dict[bool, list[float]]) -> pd.DataFrame:
    """Lay out every chance told."""
    return pd.DataFrame(
        [
            {
                "came_for": KINDS[kind],
                "months_since": months,
                "grade": grade,
                "grade_chance": found[0, at, place],
                "grade_chance_low": found[1, at, place],
                "grade_chance_high": found[2, at, place],
            }
            for kind, found in chances.items()
            for at, months in enumerate(told[kind])
            for place, grade in enumerate(GRADES)
        ]
    )


def _chart(fitted: GradesAtReturn, level: float) -> go.Figure:
    """Draw the grades of the first kind of return, beside what was seen."""
    kind = _kinds(fitted)[0]
    one = fitted.kinds[kind]
    first = max(1.0, floor(one.earliest))
    months = np.arange(first, max(first + 1, ceil(one.latest)) + 0.5)
    found, groups = _chances(fitted, months, kind, level), in_groups(fitted, symptoms=kind)
    shown = [place for place, grade in enumerate(GRADES) if grade in fitted.kinds[kind].grades]
    labels = list(GRADES.values())
    value, low, high = (found[part].T.tolist() for part in range(3))
    at_months = months.tolist()
    lines = [Line(labels[g], at_months, value[g], low[g], high[g], GRADE_COLOURS[g]) for g in shown]
    return grades_chart(lines, [(groups.months.tolist(), groups.seen[:, g].tolist()) for g in shown])


def _basis(fitted: GradesAtReturn) -> Basis:
    """Say what the figures rest on."""
    days = fitted.seen["day"]
    method = (
        "Steps from each grade to a fuller one by the logarithm of months, bent once, for each kind of return (continuation "
        "ratios); a patient's ears go together."
    )
    return Basis(len(fitted.seen), "cleared ears seen again", {}, days.min(), days.max(), method)


def _rows(chances: dict[bool, np.ndarray], told: dict[bool, list[float]], level: float, n: int) -> Iterable[ResultRow]:
    """Give every figure as ``results.json`` keeps it."""
    for kind, found in chances.items():
        name = "symptoms_return" if kind else "other"
        for at, months in enumerate(told[kind]):
            for place, grade in enumerate(GRADES):
                value, low, high = (float(each) for each in found[:, at, place])
                figure = Estimate(value, low, high, level, n, "continuation ratios, drawn parameters")
                yield ResultRow.from_estimate(
                    "recall", "grade_at_return", "share", figure, grade=grade, kind=name, months=round(months)
                )

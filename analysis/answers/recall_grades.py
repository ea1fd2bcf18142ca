"""How full ears are at return, by the months since they were cleared."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.grade_at_return import GradesAtReturn, fit_grades_at_return
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
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
GROUPS_OF_MONTHS = 6
FEWEST_IN_GROUP = 20
FURTHEST_OFF = 0.04
"""Mean distance of fitted from seen shares above which the fit is said to be poor (our choice, no source)."""
KINDS = {True: "symptoms", False: "another reason"}


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
    chances = {kind: _chances(fitted, np.array(MONTHS_TOLD, dtype=float), kind, level) for kind in _kinds(fitted)}
    return Answer(
        question=QUESTION,
        headline=_headline(fitted, chances),
        how_sure=words.how_sure(level),
        table=_table(chances),
        chart=_chart(fitted, level),
        chart_title=_chart_title(fitted, chances),
        chart_text=_chart_text(chances),
        assumptions=(
            "Of ears at least as full as a grade, the share that is fuller moves smoothly with the months, differently for each grade; "
            "beyond the months seen it is held at the last.",
            "Only ears of people who came are seen; whoever has symptoms chose the day, so their ears are fuller at any month.",
        ),
        cautions=("How full ears are on average says nothing of one patient: look in the ear.",),
        checks=(_fit_check(fitted),),
        basis=_basis(fitted),
        rows=tuple(_rows(chances, level, len(fitted.seen))),
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


def _headline(fitted: GradesAtReturn, chances: dict[bool, np.ndarray]) -> str:
    """Give the one sentence that answers: occluding ears at six and at twenty-four months."""
    kind = next(iter(chances))
    full = chances[kind][:, :, list(GRADES).index("fully_occluding")]
    early, late = MONTHS_TOLD.index(6), MONTHS_TOLD.index(24)
    said = [
        f"{words.percent(full[0, at])} ({words.percent(full[1, at])} to {words.percent(full[2, at])})"
        for at in (early, late)
    ]
    first, last = fitted.seen["day"].min(), fitted.seen["day"].max()
    return (
        f"Of ears seen again for {KINDS[kind]} 6 months after they were cleared, {said[0]} are fully occluding, and after "
        f"24 months {said[1]}, going by returns {words.from_months(first, last)}."
    )


def _chart_title(fitted: GradesAtReturn, chances: dict[bool, np.ndarray]) -> str:
    """Say whether ears are found fuller as months go by; nothing is claimed where the slope's range holds nought."""
    one = fitted.kinds[next(iter(chances))]
    slope, error = one.slope, one.slope_error
    if slope > 2 * error:
        return "The longer ago an ear was cleared, the fuller it is found"
    if slope < -2 * error:
        return "Ears cleared longer ago are not found fuller, but less full"
    return "The log does not show that ears are found fuller as months go by"


def _chart_text(chances: dict[bool, np.ndarray]) -> str:
    """Tell the chart in words."""
    kind = next(iter(chances))
    told = [
        f"{label} {words.percent(chances[kind][0, 0, place])} at {MONTHS_TOLD[0]} months and "
        f"{words.percent(chances[kind][0, -1, place])} at {MONTHS_TOLD[-1]}"
        for place, label in enumerate(GRADES.values())
    ]
    return f"Lines of the share of each grade by months, for ears seen again for {KINDS[kind]}: {words.joined(told)}."


def _table(chances: dict[bool, np.ndarray]) -> pd.DataFrame:
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
            for at, months in enumerate(MONTHS_TOLD)
            for place, grade in enumerate(GRADES)
        ]
    )


def _in_groups(fitted: GradesAtReturn, *, symptoms: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean months, shares seen and shares fitted in groups of months with about as many ears each."""
    mine = fitted.seen[fitted.seen["symptoms"] == symptoms].sort_values("months")
    many = max(1, min(GROUPS_OF_MONTHS, len(mine) // FEWEST_IN_GROUP))
    parts = np.array_split(np.arange(len(mine)), many)
    codes = pd.Categorical(mine["grade"], list(GRADES)).codes
    months = mine["months"].to_numpy()
    fit = fitted.kinds[symptoms].chances(months)
    seen = np.array([[np.mean(codes[part] == grade) for grade in range(len(GRADES))] for part in parts])
    return np.array([months[part].mean() for part in parts]), seen, np.array([fit[part].mean(axis=0) for part in parts])


def _chart(fitted: GradesAtReturn, level: float) -> go.Figure:
    """Draw the grades of the first kind of return, beside what was seen."""
    kind = _kinds(fitted)[0]
    furthest = float(fitted.seen.loc[fitted.seen["symptoms"] == kind, "months"].quantile(0.99))
    months = np.arange(1, max(12.0, np.ceil(furthest)) + 0.5)
    found, (at, seen, _) = _chances(fitted, months, kind, level), _in_groups(fitted, symptoms=kind)
    shown = [place for place, grade in enumerate(GRADES) if grade in fitted.kinds[kind].grades]
    labels = list(GRADES.values())
    value, low, high = (found[part].T.tolist() for part in range(3))
    at_months = months.tolist()
    lines = [Line(labels[g], at_months, value[g], low[g], high[g], GRADE_COLOURS[g]) for g in shown]
    return grades_chart(lines, [(at.tolist(), seen[:, g].tolist()) for g in shown])


def _fit_check(fitted: GradesAtReturn) -> Check:
    """Say how far fitted shares lie from those seen, in groups of months."""
    apart = [np.abs(seen - fit) for _, seen, fit in (_in_groups(fitted, symptoms=kind) for kind in _kinds(fitted))]
    off = float(np.concatenate(apart).mean())
    said = f"In groups of months, fitted shares lie {words.percent(off)} from those seen, on average."
    if len(fitted.seen) < FEWEST_IN_GROUP * GROUPS_OF_MONTHS:
        return Check("Fit beside what was seen", INFORMATION, f"{said} There are too few ears to judge by.")
    if off <= FURTHEST_OFF:
        return Check("Fit beside what was seen", PASSED, said)
    return Check("Fit beside what was seen", FAILED, f"{said} Trust the dots of the chart rather than its lines.")


def _basis(fitted: GradesAtReturn) -> Basis:
    """Say what the figures rest on."""
    days = fitted.seen["day"]
    method = (
        "Steps from each grade to a fuller one by the logarithm of months, bent once, for each kind of return (continuation "
        "ratios); a patient's ears go together."
    )
    return Basis(len(fitted.seen), "cleared ears seen again", {}, days.min(), days.max(), method)


def _rows(chances: dict[bool, np.ndarray], level: float, n: int) -> Iterable[ResultRow]:
    """Give every figure as ``results.json`` keeps it."""
    for kind, found in chances.items():
        name = "symptoms_return" if kind else "other"
        for at, months in enumerate(MONTHS_TOLD):
            for place, grade in enumerate(GRADES):
                value, low, high = (float(each) for each in found[:, at, place])
                figure = Estimate(value, low, high, level, n, "continuation ratios, drawn parameters")
                yield ResultRow.from_estimate(
                    "recall", "grade_at_return", "share", figure, grade=grade, kind=name, months=months
                )

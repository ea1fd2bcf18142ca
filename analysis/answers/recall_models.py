"""Whether the fitted curve of recall fits what was seen with no shape assumed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers import recall_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_group_words import group_spoken
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import FittedRecall, fit_recall
from analysis.models.recall_evidence import EVERYONE
from analysis.models.recall_free import FreeCurve, free_curves
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.chart_fit import fit_chart
from analysis.present.charts import Line
from analysis.present.theme import RECOMMENDED
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "Does the curve fit what was seen?"
DRAWS, SEED = 200, 20263
MONTHS_TOLD = (6, 12, 18, 24, 30, 36)
FEWEST_INSIDE = 0.8
"""Share of months at which the curve must lie within the range, to pass (our choice, no source)."""
FEWEST_MONTHS = 6
"""Months at which both must be known before the fit is judged (our choice, no source)."""


@dataclass(frozen=True, slots=True)
class Beside:
    """The fitted share beside the free one, at the months at which both are known."""

    months: np.ndarray
    fitted: np.ndarray
    free: FreeCurve

    @property
    def seen(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The free curve and the ends of its range."""
        known = self.free.known
        return self.free.share[known], self.free.low[known], self.free.high[known]

    @property
    def inside(self) -> np.ndarray:
        """Whether the fitted share lies within the free curve's range."""
        _, low, high = self.seen
        return (low <= self.fitted) & (self.fitted <= high)

    @property
    def furthest(self) -> int:
        """Where both lie furthest apart."""
        return int(np.argmax(np.abs(self.fitted - self.seen[0])))


@of_drawn_patients
def does_the_curve_fit(clinic: Clinic) -> Answer:
    """Set the fitted curve beside one that assumes no shape.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where there is no fitted curve, or too few months at which both are known.
    """
    try:
        fitted, beside = _both(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level, whole = clinic.settings.level, beside[EVERYONE]
    return Answer(
        question=QUESTION,
        headline=_headline(fitted, whole),
        how_sure=f"{words.how_sure(level)} They are those of the dots, from patients drawn again {DRAWS} times.",
        table=_table(beside),
        chart=_chart(fitted, whole),
        chart_title=_chart_title(whole),
        chart_text=_chart_text(whole),
        assumptions=_assumptions(clinic.settings.recall.symptom_window_days),
        cautions=("A curve that fits on average says nothing of one patient: look in the ear.",),
        checks=(*(_fit_check(name, each) for name, each in beside.items()), _rest_check(beside)),
        basis=_basis(fitted),
        rows=tuple(_rows(beside, level)),
    )


def _both(clinic: Clinic) -> tuple[FittedRecall, dict[str, Beside]]:
    """Fit the curves, and find those without a shape, for the groups that have both."""
    settings, table = clinic.settings, clinic_gaps(clinic)
    fitted = fit_recall(table, settings.recall, level=settings.level, by_entry=False)
    rng = np.random.default_rng(SEED)
    free = free_curves(table, settings.recall, draws=DRAWS, rng=rng, level=settings.level)
    beside = {}
    for name, curve in free.items():
        months = curve.months[curve.known]
        shares = np.array([fitted.curves[name].share_by(month).value for month in months])
        beside[name] = Beside(months, shares, curve)
    if len(beside[EVERYONE].months) < FEWEST_MONTHS:
        raise NotEnough(
            f"Without a shape, the share is known at only {len(beside[EVERYONE].months)} of the {FEWEST_MONTHS} months "
            "that a comparison needs.",
            "Keep logging each ear's grade at every visit, and ask again.",
        )
    return fitted, {name: each for name, each in beside.items() if len(each.months) >= FEWEST_MONTHS}


def _furthest(beside: Beside) -> str:
    """Say where both lie furthest apart."""
    at = beside.furthest
    value, low, high = (float(each[at]) for each in beside.seen)
    month = words.plural(beside.months[at], "month")
    return (
        f"{words.percent(beside.fitted[at])} by {month}, where no shape gives {words.percent(value)} "
        f"({words.percent(low)} to {words.percent(high)})"
    )


def _headline(fitted: FittedRecall, whole: Beside) -> str:
    """Give the one sentence that answers."""
    return (
        f"The fitted curve lies within the range of what was seen at {int(whole.inside.sum())} of "
        f"{words.plural(len(whole.months), 'month')}; furthest off it says {_furthest(whole)}, going by ears cleared "
        f"{say.period(fitted)}."
    )


def _chart_title(whole: Beside) -> str:
    """Say the finding."""
    if whole.inside.mean() >= FEWEST_INSIDE:
        return "The fitted curve follows what was seen"
    return "The fitted curve misses what was seen at many months"


def _chart_text(whole: Beside) -> str:
    """Tell the chart in words."""
    seen, low, high = whole.seen
    told = [
        f"{words.percent(whole.fitted[at])} fitted and {words.percent(seen[at])} seen "
        f"({words.percent(low[at])} to {words.percent(high[at])}) by {month:.0f} months"
        for at, month in enumerate(whole.months)
        if month in MONTHS_TOLD
    ]
    return f"A rising line of the share of all cleared ears occluding again, over dots with their ranges: {'; '.join(told)}."


def _chart(fitted: FittedRecall, whole: Beside) -> go.Figure:
    """Draw everyone's fitted curve over what was seen."""
    months = np.arange(0, whole.months[-1] + 0.25, 0.5)
    shares = [0.0, *(fitted.curves[EVERYONE].share_by(month).value for month in months[1:])]
    seen, low, high = (each.tolist() for each in whole.seen)
    lines = [Line("fitted curve", months.tolist(), shares, colour=RECOMMENDED)]
    return fit_chart(lines, whole.months.tolist(), seen, low, high)


def _assumptions(window: int) -> tuple[str, ...]:
    """Say what both curves have in common."""
    return (
        "Both curves rest on the same evidence, so they share what it supposes: that symptoms bring people within "
        f"{words.plural(window, 'day')} of an ear's occluding, and that those gone for good have ears like the others'. "
        "A good fit does not show these to be true.",
        "Without a shape, times are gathered to whole months, and the share between two looks is drawn straight.",
    )


def _fit_check(name: str, beside: Beside) -> Check:
    """Say whether the curve lies within what was seen."""
    whose = "" if name == EVERYONE else f", {group_spoken(name)}"
    inside, many = int(beside.inside.sum()), len(beside.months)
    said = f"The fitted curve lies within the range at {inside} of {words.plural(many, 'month')}; furthest off it says {_furthest(beside)}."
    rule = f"At least {round(FEWEST_INSIDE * 10)} in 10 months are asked for."
    passed = beside.inside.mean() >= FEWEST_INSIDE
    return Check(f"Fit{whose or ', everyone'}", PASSED if passed else FAILED, f"{said} {rule}")


def _rest_check(beside: dict[str, Beside]) -> Check:
    """Say how near the search came to the likeliest curve."""
    likelier = float(np.expm1(max(each.free.missing for each in beside.values())))
    said = (
        f"No other curve makes what was seen more than {words.percent(likelier)} likelier; the search goes on until this "
        "can be said."
    )
    return Check("Search for the curve without a shape", INFORMATION, said)


def _table(beside: dict[str, Beside]) -> pd.DataFrame:
    """Lay the months told out, group by group."""
    rows = []
    for name, each in beside.items():
        seen, low, high = each.seen
        rows += [
            {
                "recall_group": group_spoken(name),
                "ears": each.free.ears,
                "months_since": int(month),
                "share_fitted": each.fitted[at],
                "share_free": seen[at],
                "share_free_low": low[at],
                "share_free_high": high[at],
            }
            for at, month in enumerate(each.months)
            if month in MONTHS_TOLD
        ]
    return pd.DataFrame(rows)


def _basis(fitted: FittedRecall) -> Basis:
    """Say what the comparison rests on."""
    return say.recall_basis(
        fitted,
        f"Turnbull's curve for times known only between two visits, beside the {fitted.family.spoken}; patients drawn again.",
    )


def _rows(beside: dict[str, Beside], level: float) -> Iterable[ResultRow]:
    """Keep the shares as results."""
    for name, each in beside.items():
        for at, month in enumerate(each.months):
            value, low, high = (float(part[at]) for part in each.seen)
            free = Estimate(value, low, high, level, each.free.ears, "Turnbull curve, patients drawn again")
            yield ResultRow.from_estimate(
                "recall", "share_occluded_no_shape", "share", free, group=name, months=int(month)
            )

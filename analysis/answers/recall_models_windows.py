"""What hangs on how long people put up with symptoms, and on who never returns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import recall_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_group_words import group_spoken
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import FittedRecall, fit_recall
from analysis.models.recall_back import new_patients_back
from analysis.models.recall_curve import RecallCurve
from analysis.models.recall_evidence import EVERYONE
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import NAMED, RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import Family

QUESTION = "What hangs on how long people wait with symptoms, and on who never returns?"
WINDOWS_DAYS = (7, 14, 28, 56)
TWO_YEARS_DAYS = 730
ESTIMATED, ALL_RETURN = "estimated", "all_return"
NEVER_NAMES = {ESTIMATED: "share who never return, as estimated", ALL_RETURN: "everyone taken as returning"}
CALLED_ONLY = (
    "No return in the log was with symptoms, so neither the symptom window nor who never returns enters the figures."
)


@of_drawn_patients
def what_hangs_on_windows(clinic: Clinic) -> Answer:
    """Say how the months move with the symptom window, and with taking everyone as returning.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where the clinic's own window settles no curve, or no return was with symptoms.
    """
    settings = clinic.settings.recall
    try:
        own = _fitted(clinic, settings.symptom_window_days)
        if not own.absence_tells:
            raise NotEnough(CALLED_ONLY, "Record which bookings are returns with symptoms.")
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    fits = {
        window: _try(clinic, window, own.family) for window in WINDOWS_DAYS if window != settings.symptom_window_days
    }
    fits = dict(sorted((fits | {settings.symptom_window_days: own}).items()))
    share, months = settings.share, _everyone(fits, settings.share)
    return Answer(
        question=QUESTION,
        headline=_headline(own, months, share),
        how_sure=words.how_sure(clinic.settings.level),
        table=_table(fits, share),
        chart=_chart(months, settings.symptom_window_days),
        chart_title=_chart_title(months),
        chart_text=_chart_text(months),
        assumptions=_assumptions(settings.symptom_window_days),
        cautions=(say.CAUTIONS[0],),
        checks=(*_unsettled(fits), _back_check(clinic)),
        basis=_basis(own),
        rows=tuple(_rows(fits, share)),
    )


def _fitted(clinic: Clinic, window: int, family: Family | None = None) -> FittedRecall:
    """Fit with a window; with a curve given, so that nothing moves but the window."""
    windowed = replace(clinic.settings, recall=replace(clinic.settings.recall, symptom_window_days=window))
    return fit_recall(clinic_gaps(clinic, window), windowed.recall, level=windowed.level, family=family)


def _try(clinic: Clinic, window: int, family: Family) -> FittedRecall | None:
    """Fit with another window; None where that settles no curve."""
    try:
        return _fitted(clinic, window, family)
    except NotEnough:
        return None


def _ways(fit: FittedRecall) -> dict[str, dict[str, RecallCurve] | None]:
    """Both ways of taking those who stay away."""
    return {ESTIMATED: fit.curves, ALL_RETURN: fit.without_never}


def _everyone(fits: dict[int, FittedRecall | None], share: float) -> dict[tuple[str, int], Estimate]:
    """Months for everyone's ears, by way and window."""
    return {
        (way, window): curves[EVERYONE].months_until(share)
        for way in (ESTIMATED, ALL_RETURN)
        for window, fit in fits.items()
        if fit is not None and (curves := _ways(fit)[way]) is not None
    }


def _span(months: dict[tuple[str, int], Estimate], way: str) -> str:
    """Say the least and most months of one way."""
    values = [each.value for (its, _), each in months.items() if its == way]
    low, high = (words.number(end, 1) for end in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"


def _headline(own: FittedRecall, months: dict[tuple[str, int], Estimate], share: float) -> str:
    """Give the one sentence that answers."""
    windows = sorted({window for _, window in months})
    said = f"{say.share_spoken(share).capitalize()} ears are occluding again by {_span(months, ESTIMATED)} months"
    said += f" with symptom windows from {windows[0]} to {windows[-1]} days"
    if any(way == ALL_RETURN for way, _ in months):
        said += f", and by {_span(months, ALL_RETURN)} months were everybody taken as returning"
    return f"{said}, going by ears cleared {say.period(own)}."


def _chart_title(months: dict[tuple[str, int], Estimate]) -> str:
    """Say the finding."""
    moved = max(each.value for each in months.values()) - min(each.value for each in months.values())
    return f"Between them, window and returns move the figure by {words.plural(moved, 'month')}"


def _chart_text(months: dict[tuple[str, int], Estimate]) -> str:
    """Tell the chart in words."""
    told = "; ".join(
        f"{NEVER_NAMES[way]}, {window} days: {words.number(each.value, 1)} months ({words.between(each, 1)})"
        for (way, window), each in months.items()
    )
    return f"A dot and its range for each window and either way of taking those who stay away: {told}."


def _chart(months: dict[tuple[str, int], Estimate], own_window: int) -> go.Figure:
    """Draw the months."""
    bars = [
        Bar(
            f"{NEVER_NAMES[way].replace(',', '')}, {window} days{' (set)' if window == own_window else ''}",
            *(each.value, each.low, each.high),
            RECOMMENDED if (way, window) == (ESTIMATED, own_window) else NAMED[0] if way == ALL_RETURN else TODAY,
        )
        for (way, window), each in months.items()
    ]
    return range_chart(bars, x_title="months until the chosen share is occluding", from_zero=True)


def _assumptions(window: int) -> tuple[str, ...]:
    """Say what the table means and does not mean."""
    return (
        f"The window in use is {words.plural(window, 'day')}; it is a setting, since the log does not show when an ear "
        "occluded before its owner came. A window shorter than people truly wait makes every figure late.",
        "Whoever never returns may be well or may have gone elsewhere. As estimated, each who stays away is gone with the "
        "chance the returns suggest. With everyone taken as returning, whoever stays away has open ears, so months come out later.",
        "The truth lies between the two only if nobody stays away with an occluding ear for long.",
    )


def _unsettled(fits: dict[int, FittedRecall | None]) -> list[Check]:
    """Say which windows settle no curve, and where everyone returning settles none."""
    checks = [
        Check(f"Symptoms for up to {window} days", INFORMATION, "With this window the log does not settle a curve.")
        for window, fit in fits.items()
        if fit is None
    ]
    none = [str(window) for window, fit in fits.items() if fit is not None and fit.without_never is None]
    if none:
        said = f"With everyone taken as returning the log settles no curve, for windows of {words.joined(none)} days."
        checks.append(Check("Everyone returning", INFORMATION, said))
    return checks


def _back_check(clinic: Clinic) -> Check:
    """Say how many new patients were back within two years, beside a published trial."""
    name = "New patients back within two years"
    table = clinic_gaps(clinic)
    try:
        back = new_patients_back(
            table, clinic.visits, last_day=clinic.last_day, days=TWO_YEARS_DAYS, level=clinic.settings.level
        )
    except NotEnough as reason:
        return Check(name, INFORMATION, f"{reason.why} {reason.record}")
    said = (
        f"{words.percent(back.value)} ({words.between_percent(back)}) of {words.plural(back.n, 'new patient')}. In a British "
        "trial 60% and 73% of its two groups came back with wax within two years (Coppin 2011, doi 10.1370/afm.1229): "
        "other people, other treatment, and only returns for wax."
    )
    return Check(name, INFORMATION, said)


def _table(fits: dict[int, FittedRecall | None], share: float) -> pd.DataFrame:
    """Lay out both ways beside one another, window by window and group by group."""
    rows = []
    for window, fit in fits.items():
        if fit is None:
            continue
        for name, curve in fit.curves.items():
            here = curve.months_until(share)
            there = fit.without_never[name].months_until(share) if fit.without_never else None
            rows.append(
                {
                    "window_days": window,
                    "recall_group": group_spoken(name),
                    "ears": curve.ears,
                    "months_until": here.value,
                    "months_until_low": here.low,
                    "months_until_high": here.high,
                    "return_share_shown": fit.return_share.value,
                    "months_all_return": there.value if there else None,
                    "months_all_return_low": there.low if there else None,
                    "months_all_return_high": there.high if there else None,
                }
            )
    return pd.DataFrame(rows)


def _basis(own: FittedRecall) -> Basis:
    """Say what the figures rest on."""
    return say.recall_basis(
        own, "The recall curves fitted anew with each window, with the share who never return estimated and with none."
    )


def _rows(fits: dict[int, FittedRecall | None], share: float) -> Iterable[ResultRow]:
    """Keep the figures as results."""
    for window, fit in fits.items():
        for way, curves in (_ways(fit) if fit is not None else {}).items():
            for name, curve in (curves or {}).items():
                keys = {"group": name, "never": way, "share": share, "window_days": window}
                months = curve.months_until(share)
                yield ResultRow.from_estimate("recall", "months_until_share_by_window", "months", months, **keys)

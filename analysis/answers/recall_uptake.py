"""Did people come when they were due to be called back."""

from __future__ import annotations

from analysis.answers import quarter_figures as show
from analysis.answers import quarter_words as say
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.quarter_measures import ALL, Measure
from analysis.models.quarter_measures import shown_measures as shown
from analysis.models.quarter_periods import THIS, Periods, periods
from analysis.models.quarter_recall import WINDOW_DAYS, recall_counts
from analysis.present import words
from analysis.present.answer import Answer, Basis, no_answer
from analysis.problems import NotEnough

UPTAKE = "Did people come when they were due?"
NAMES = ("recall_came", "recall_kept")
TITLES = {"recall_came": "of patients due came", "recall_kept": "of recall bookings were kept"}
METHOD = "Counts; Wilson ranges for shares, Newcombe's for their differences."
CAUTIONS = (
    "Not coming is not always a loss: an ear may stay clear, and people go elsewhere. A recall date never replaces the advice "
    "to come back when symptoms appear.",
)


def did_people_come_when_due(clinic: Clinic, quarter: str) -> Answer:
    """Say how many patients came about when their recall fell due, and how many recall bookings were kept.

    Parameters
    ----------
    clinic : Clinic
        ``recall.today_months`` says when the clinic recalls today.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Rows as those of ``activity``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked, settings = Quarter.parse(quarter), clinic.settings
    hide_below, months = settings.clinic.hide_below, settings.recall.today_months
    try:
        if not months:
            raise NotEnough(
                "No recall rule of today is set, so nobody can be said to be due.",
                "Set today_months under [recall] in clinic.toml.",
            )
        found = periods(asked, clinic.first_day, clinic.last_day)
        counts = recall_counts(clinic.visits, found, months=months)
        cells = counts.by_period[THIS]
        most = max(cells["recall_due", ALL], cells["recall_held", ALL])
        say.refuse_if_few(most, "patients due and recall bookings", hide_below, found)
    except NotEnough as reason:
        return no_answer(UPTAKE, reason)
    names = [name for name in NAMES if cells[counts.base[name], ALL]]
    measures = shown(counts, names, [ALL], hide_below=hide_below, level=settings.level)
    bars = show.shares_bars(measures, NAMES)
    return Answer(
        UPTAKE,
        _headline(measures, found, months),
        how_sure=say.how_sure(measures, settings.level),
        table=show.measures_table(measures),
        chart=show.bars_chart(bars, "share"),
        chart_title=_title(measures),
        chart_text=show.bars_text(bars),
        assumptions=(
            f"Due is {months} months after a visit (recall.today_months in clinic.toml). A visit from {WINDOW_DAYS} days before "
            f"to {WINDOW_DAYS} days after counts as coming, whatever it was booked as; whoever was back earlier was not due.",
            "Each is counted in the quarter in which those days ran out, so that all are known. Only patients with a number.",
            "That someone was in fact called is not in the log: this is the share who came, called or not.",
            say.SAME_MEANS,
        ),
        cautions=CAUTIONS,
        checks=(*say.compared_checks(measures, NAMES, found), *say.hidden_check(measures, hide_below)),
        basis=Basis(
            most, "patients due or recall bookings, whichever are more", {}, found.first_day, found.last_day, METHOD
        ),
        rows=show.measure_rows("quarter", measures),
    )


def _headline(measures: list[Measure], found: Periods, months: int) -> str:
    """Say both shares, compared."""
    told = []
    for each in measures:
        if each.share is not None:
            compared = say.lead_change(each)
            what = (
                f"of patients due after {months} months came"
                if each.name == "recall_came"
                else "of recall bookings were kept"
            )
            told.append(f"{say.share(each)} {what}{f', {compared}' if compared else ''}")
    return f"In {say.period(found)}, {'; '.join(told) or 'the shares are not shown, so that single patients stay unknown'}."


def _title(measures: list[Measure]) -> str:
    """Say the first share in a few words."""
    told = [f"{words.percent(each.share.value)} {TITLES[each.name]}" for each in measures if each.share is not None]
    return told[0] if told else "Recall in earlier quarters"

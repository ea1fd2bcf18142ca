"""What a half-day session brings in, where the log holds fees."""

from __future__ import annotations

import pandas as pd

from analysis.answers import quarter_words as say
from analysis.answers.quarter_figures import PERIOD_NAMES
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.quarter_income import income_per_session
from analysis.models.quarter_periods import LAST, THIS, YEAR, periods
from analysis.present import words
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough

BRINGS = "What does a session bring in?"
ASSUMPTIONS = (
    "Fees of attended visits, as the log has them, by half-day session. A visit without its fee is taken for the mean of its "
    "session's others; sessions without any fee are left out.",
    "Fees only: wages, rent and materials are not in the log.",
    "Sessions are taken to vary by themselves; a change of prices or of the mix of visits is not told apart.",
)
CAUTIONS = ("Income never sets how long a visit may take, nor what is done at an ear.",)
METHOD = "Mean of half-day sessions with Student's range."


def what_a_session_brings(clinic: Clinic, quarter: str) -> Answer:
    """Say what a half-day session brought in on average.

    Parameters
    ----------
    clinic : Clinic
        ``softening_worth.currency`` names the money.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        This quarter, the one before and the same a year before. Rows of
        section ``monitoring``: ``income_per_session``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked, money = Quarter.parse(quarter), clinic.settings.softening_worth.currency
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        told = income_per_session(clinic.visits, found, clinic.settings.level)
    except NotEnough as reason:
        return no_answer(BRINGS, reason)
    now = told[THIS]
    shown = {period: told[period] for period in (THIS, LAST, YEAR) if period in told}
    bars = [
        Bar(
            PERIOD_NAMES[period].capitalize(), each.value, each.low, each.high, RECOMMENDED if period == THIS else TODAY
        )
        for period, each in shown.items()
    ]
    table = [
        {"watched_period": PERIOD_NAMES[period], "value": each.value, "low": each.low, "high": each.high, "n": each.n}
        for period, each in shown.items()
    ]
    return Answer(
        BRINGS,
        f"A half-day session brought in {words.number(now.value)} {money} on average ({words.between(now)}) in {say.period(found)}.",
        how_sure=words.how_sure(now.level),
        table=pd.DataFrame(table),
        chart=range_chart(bars, x_title=f"{money} a session", from_zero=True),
        chart_title=f"A session brought in {words.number(now.value)} {money}",
        chart_text=". ".join(f"{bar.label}: {words.number(bar.value)} {money} ({words.number(bar.low)} to {words.number(bar.high)})" for bar in bars) + ".",
        assumptions=ASSUMPTIONS,
        cautions=CAUTIONS,
        basis=Basis(now.n, "half-day sessions", {}, found.first_day, found.last_day, METHOD),
        rows=tuple(
            ResultRow.from_estimate("monitoring", "income_per_session", "money", each, period=period)
            for period, each in shown.items()
        ),
    )  # fmt: skip

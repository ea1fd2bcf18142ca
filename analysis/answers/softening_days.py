"""For how many days to soften: success by days of use as a smooth curve, beside the same ears unsoftened."""

from __future__ import annotations

import pandas as pd

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import asked_of
from analysis.clinic import Clinic
from analysis.models.softening_days import DaysCurve, days_curve
from analysis.present import words
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.charts import Line, line_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough

QUESTION = "For how many days is it worth softening?"


@of_drawn_patients
def softening_by_days(clinic: Clinic) -> Answer:
    """Draw success at the first attempt over the days of softening.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Rows: ``success_share_by_days`` and ``longer_less_shorter_days``.
    """
    try:
        asked = asked_of(clinic)
        curve = days_curve(asked.ears("used"), level=asked.level, fewest_ears=asked.fewest)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    days = [int(day) for day in curve.days]
    none = curve.unsoftened
    lines = [
        Line("softened", days, [each.value for each in curve.shares], [each.low for each in curve.shares],
             [each.high for each in curve.shares], RECOMMENDED),
        Line("not softened", days, [none.value] * len(days), [none.low] * len(days), [none.high] * len(days), TODAY, "dash"),
    ]  # fmt: skip
    return Answer(
        QUESTION,
        _headline(curve),
        how_sure=f"{words.how_sure(asked.level)} That of the curve holds at each day by itself.",
        table=_table(curve),
        chart=line_chart(
            lines, x_title="days of softening before the visit", y_title="first attempts that succeed",
            from_zero=False, percent=True,
        ),
        chart_title=f"Success over {days[0]} to {words.plural(days[-1], 'day')} of softening, like with like",
        chart_text=f"Softened: {words.percent(curve.shares[0].value)} at {words.plural(days[0], 'day')}, "
        f"{words.percent(curve.shares[-1].value)} at {words.plural(days[-1], 'day')}; not softened: {words.percent(none.value)}.",
        assumptions=(
            "The curve may bend, but only smoothly. It is drawn over the days between which nine in ten softened ears lie.",
            "Whoever softens for longer may have the harder wax, or have waited longer for a slot; only what is recorded is made alike.",
            "Days are as patients tell them.",
        ),
        cautions=say.CAUTIONS,
        basis=Basis(
            curve.ears, "softened ears with their days", {}, curve.first_day, curve.last_day,
            "Logistic regression with a restricted cubic spline of days, standardised; patients clustered.",
        ),
        rows=(
            *(
                ResultRow.from_estimate("softening", "success_share_by_days", "share", each, days=day)
                for day, each in zip(days, curve.shares, strict=True)
            ),
            ResultRow.from_estimate(
                "softening", "longer_less_shorter_days", "share", curve.longer_less_shorter, days=curve.long_days,
                other_days=curve.short_days,
            ),
        ),
    )  # fmt: skip


def _table(curve: DaysCurve) -> pd.DataFrame:
    """Lay success out day by day."""
    return pd.DataFrame(
        [
            {
                "days_of_softening": int(day),
                "ears": curve.ears_by_day.get(int(day), 0),
                "success_share": each.value,
                "success_share_low": each.low,
                "success_share_high": each.high,
            }
            for day, each in zip(curve.days, curve.shares, strict=True)
        ]
    )


def _headline(curve: DaysCurve) -> str:
    """Say what longer softening goes with."""
    gap = curve.longer_less_shorter
    period = words.months(curve.first_day, curve.last_day)
    lead = f"{curve.long_days} days of softening went with {say.more_successes(gap)} than {curve.short_days} days"
    if gap.excludes_zero:
        return f"{lead}, comparing like with like, {period}."
    return f"It is not clear that softening for longer changes success: {lead}, comparing like with like, {period}."

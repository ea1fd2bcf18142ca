"""Does anything stand in an order that cannot be, and do visits start two at once."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import trust_times_words as say
from analysis.answers.trust_times import log_basis, period, practitioners, too_few
from analysis.answers.trust_words import NO_DATES
from analysis.clinic import Clinic
from analysis.models.log_orders import Coincidence, Order, coinciding_starts, impossible_orders, visits_with_any
from analysis.present import words
from analysis.present.answer import FAILED, PASSED, Answer, Check, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.proportions import exact_share

ORDER = "Does anything stand in an order that cannot be?"
TOGETHER = "Do visits start two at once?"


def is_anything_out_of_order(clinic: Clinic) -> Answer:
    """Say how many visits show an order of times, attempts or ears that cannot be.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        One row of the table a kind of order that was looked for. Its first
        check fails where one was found.
    """
    if pd.isna(clinic.first_day):
        return no_answer(ORDER, NO_DATES)
    days = clinic.settings.softening.second_attempt_days
    orders = [each for each in impossible_orders(clinic.visits, clinic.ears, second_attempt_days=days) if each.of]
    if not orders:
        return no_answer(
            ORDER, NotEnough("The log holds no two facts whose order could be looked at.", say.ORDER_RECORD)
        )
    found = sorted((each for each in orders if each.visits), key=lambda each: -len(each.visits))
    shown = visits_with_any(orders)
    share = exact_share(len(shown), len(clinic.visits), clinic.settings.level)
    result = FAILED if found else PASSED
    return Answer(
        ORDER,
        say.order_headline(len(shown), share, found, period(clinic)),
        how_sure=f"The count of this log is exact. {words.how_sure(clinic.settings.level)} They show what the same habits would give again.",
        table=_order_table([*found, *(each for each in orders if not each.visits)]),
        chart=_order_chart(found, clinic.settings.level) if found else None,
        chart_title=say.order_title(found),
        chart_text=say.order_text(found),
        assumptions=say.ORDER_ASSUMPTIONS,
        checks=(
            Check("Orders that can be", result, say.order_check(found, len(orders))),
            *say.booked_after_checks(clinic.record),
            *say.consequences(say.ORDER_MEANS, say.ORDER_RECORD),
        ),
        basis=log_basis(clinic, len(clinic.visits), "bookings", say.ORDER_METHOD),
    )


def do_visits_start_two_at_once(clinic: Clinic) -> Answer:
    """Say how often one practitioner starts two patients in one minute, or one before the last has left.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        One row of the table a practitioner; counts under the clinic's limit
        are hidden. Its first check fails where two starts share a minute.
    """
    if pd.isna(clinic.first_day):
        return no_answer(TOGETHER, NO_DATES)
    found = coinciding_starts(clinic.visits, practitioners(clinic))
    if not found:
        return no_answer(TOGETHER, too_few("a practitioner and a start"))
    same, starts = (sum(getattr(each, name) for each in found) for name in ("same_minute", "starts"))
    share = exact_share(same, starts, clinic.settings.level)
    bound = clinic.settings.clinic.hide_below
    return Answer(
        TOGETHER,
        say.together_headline(same, starts, share, period(clinic)),
        how_sure=f"The count of this log is exact. {words.how_sure(clinic.settings.level)}",
        table=_together_table(found, bound),
        chart=_together_chart(found, clinic.settings.level, bound),
        chart_title=say.together_title(same, sum(each.overlapping for each in found)),
        chart_text=say.together_text(found, bound),
        assumptions=say.TOGETHER_ASSUMPTIONS,
        cautions=say.NO_RANKING,
        checks=(
            Check("One patient at a time", FAILED if same else PASSED, say.together_check(same)),
            *say.consequences(say.TOGETHER_MEANS, say.TOGETHER_RECORD),
        ),
        basis=log_basis(clinic, starts, "starts", say.TOGETHER_METHOD),
    )


def _order_table(orders: Sequence[Order]) -> pd.DataFrame:
    """Set the orders out, those found first."""
    return pd.DataFrame(
        [
            {
                "impossible_order": say.ORDERS[each.what].told,
                "visits": len(each.visits),
                "out_of": each.of,
                "gap_means": say.ORDERS[each.what].means if each.visits else "nothing",
                "to_record": say.ORDERS[each.what].record if each.visits else "as now",
            }
            for each in orders
        ]
    )


def _order_chart(found: Sequence[Order], level: float) -> go.Figure:
    """Draw how often each order is found where it could be seen, in 1,000 visits."""
    bars = []
    for each in found:
        share = exact_share(len(each.visits), each.of, level).scaled(1000)
        bars.append(Bar(say.ORDERS[each.what].told, share.value, share.low, share.high))
    return range_chart(bars, x_title="in 1,000 visits where it could be seen", from_zero=True)


def _together_table(found: Sequence[Coincidence], bound: int) -> pd.DataFrame:
    """Set the practitioners out in the order of their labels; small counts are hidden."""
    shown = say.shown_counts(found, bound)
    return pd.DataFrame(
        [
            {
                "part": each.part,
                "starts": each.starts,
                "same_minute": shown["same_minute"][place],
                "overlapping": shown["overlapping"][place],
            }
            for place, each in enumerate(found)
        ]
    ).astype({"same_minute": "Int64", "overlapping": "Int64"})


def _together_chart(found: Sequence[Coincidence], level: float, bound: int) -> go.Figure:
    """Draw the share of starts that come too soon, for each practitioner; hidden counts leave no mark."""
    shown = say.shown_counts(found, bound)
    bars = []
    for place, each in enumerate(found):
        for name, what in say.TOO_SOON.items():
            many = shown[name][place]
            share = None if many is None else exact_share(many, each.starts, level).scaled(1000)
            value, low, high = (float("nan"),) * 3 if share is None else (share.value, share.low, share.high)
            bars.append(Bar(f"{each.part}, {what}", value, low, high, RECOMMENDED if many else TODAY))
    return range_chart(bars, x_title="in 1,000 starts", from_zero=True)

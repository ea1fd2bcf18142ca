"""Sentences of "when is capacity outgrown"."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.answers.demand_words import month_name
from analysis.present import words
from analysis.settings import Settings

if TYPE_CHECKING:
    from analysis.answers.demand_capacity import Capacity

LIKELY = 0.5
CAUTIONS = (
    "Shortening visits to fit more in is no way to meet demand; local protocol and the practitioner's judgement come "
    "first, and whoever has pain, discharge or sudden hearing loss must not be kept on a waiting list.",
    "People who could not be given an appointment are not in the log, so the true demand may be larger than the forecast.",
)


def headline(capacity: Capacity) -> str:
    """Say the first month that probably needs more than there is, and the wait at the end."""
    months, short = capacity.figures.demand.months.ahead, capacity.line.short.mean(axis=0)
    likely = np.flatnonzero(short > LIKELY)
    if not len(likely):
        most = int(short.argmax())
        return (
            f"Up to {month_name(months[-1])}, the {words.number(capacity.there.mean())} half-day sessions a month available should be enough in every month; the tightest is "
            f"{month_name(months[most])}, which needs more {_in_100(short[most])}."
        )
    first = int(likely[0])
    return (
        f"In {month_name(months[first])}, the {words.number(capacity.there[first])} half-day sessions available are probably "
        f"outgrown for the first time: the visits need more "
        f"{_in_100(short[first])}. By the end of {month_name(months[-1])} whoever asks would wait "
        f"{_wait(capacity, len(months) - 1)} for want of sessions."
    )


def _in_100(share: float) -> str:
    """Say a chance in drawn futures, of a hundred."""
    hundred = round(100 * share)
    if hundred in (0, 100):
        return "in fewer than 1 of 100 possible futures" if not hundred else "in more than 99 of 100 possible futures"
    return f"in {hundred} of 100 possible futures"


def _wait(capacity: Capacity, month: int) -> str:
    """Say the expected wait of a month's end, with its range."""
    weeks = capacity.line.wait_weeks[:, month]
    low, high = np.quantile(weeks, [0.1, 0.9])
    return f"about {words.number(weeks.mean(), 1)} weeks (8 futures in 10: {words.number(low, 1)} to {words.number(high, 1)})"


def _people(waiting: int) -> str:
    """Say how many wait at the start."""
    if not waiting:
        return "Nobody is waiting"
    return f"{words.plural(waiting, 'person is', 'people are')} waiting"


def how_sure(capacity: Capacity) -> str:
    """Say what the chances rest on."""
    by_then = capacity.line.short_by_then[-1]
    return (
        f"Counted over {words.count(len(capacity.needed))} possible futures; at least one of these months needs more "
        f"than there is {_in_100(by_then)}. Ranges hold 8 futures in 10."
    )


def chart_title(capacity: Capacity) -> str:
    """Compare what is needed with what there is."""
    needed, there = capacity.needed.mean(), capacity.there.mean()
    return f"About {words.number(needed)} half-day sessions a month are needed, and {words.number(there)} are there"


def chart_text(capacity: Capacity) -> str:
    """Tell the chart in words."""
    needed = capacity.needed.mean(axis=0)
    told = [
        f"{month_name(month)} {words.number(a)} needed, {words.number(b)} there"
        for month, a, b in zip(capacity.figures.demand.months.ahead, needed, capacity.there, strict=True)
    ]
    return f"Half-day sessions by month: {words.joined(told)}."


def assumptions(capacity: Capacity, settings: Settings) -> tuple[str, ...]:
    """Say what would have to be true."""
    there = (
        f"There are {words.number(settings.demand.sessions_a_week, 1)} half-day sessions in a full week, as set."
        if capacity.told
        else "There are as many half-day sessions to an opening day as were held in the last year, however full they were; "
        "set sessions_a_week under [demand] in clinic.toml if you plan otherwise."
    )
    said = [
        there,
        "What a month cannot hold is done first in the next; sessions not filled are lost; nobody gives up waiting or "
        "goes elsewhere.",
        f"{_people(capacity.waiting)} when the forecast begins; set waiting_now under [demand] if it is otherwise.",
        "A practitioner's day is two half-day sessions; rooms are those in use at once with sessions spread evenly over "
        "the opening days, so uneven weeks need more.",
    ]
    if capacity.tips_a_visit is not None:
        said.append(
            f"{settings.demand.suction_tips_per_ear:g} suction tips an ear treated by suction is an example "
            "value unless you set it (suction_tips_per_ear)."
        )
    return tuple(said)

"""Is advising people to soften worth it: what it saves against what it costs, in 100 bookings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import hypot, isfinite

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import SEED, Asked, asked_of
from analysis.answers.softening_words import CAUTIONS, PROTECTED_MINUTES, left_out_of, spoken
from analysis.clinic import Clinic
from analysis.models.adjusted import adjusted_arms
from analysis.models.softening_material import (
    Material,
    events_material,
    minutes_material,
    second_visits_material,
)
from analysis.planning.softening_worth import BOOKINGS, Amounts, Prices, Worth, worth_of_advice
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.tables import BLANK
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.settings import Settings
from analysis.stats.effects import mean_difference
from analysis.stats.estimate import Estimate
from analysis.stats.influence import Shifts, correlations, patient_shifts
from analysis.stats.two_arms import plain_means

QUESTION = "Is advising people to soften worth it?"
SECTION, CONTRAST, DRAWS = "softening", "advised", 4000
NEARLY_SURE = 0.9
NOBODY = Shifts(np.array([], dtype=str), np.zeros((0, 1)))
"""Of a figure there is none of: no patient moves it."""
AMOUNT_NAMES = {
    "visits": "second visits avoided",
    "minutes": "minutes saved in the chair",
    "agent": "people who use an agent because they were told to",
    "delay": "days they wait while softening",
    "discomfort": "visits with discomfort avoided",
}


@of_drawn_patients
def is_softening_worth_it(clinic: Clinic) -> Answer:
    """Say whether advising people to soften is worth more than it costs.

    Parameters
    ----------
    clinic : Clinic
        Prices are settings, under ``softening_worth``.

    Returns
    -------
    Answer
        In 100 bookings of people with an occluding ear. Rows: ``worth``,
        ``worth_amount``, ``break_even_price``, ``chance_worth``.
    """
    try:
        asked = asked_of(clinic)
        material = second_visits_material(
            asked.table, contrast=CONTRAST, fewest_visits=asked.fewest, followed_until=asked.followed_until
        )
        amounts, refusals = _amounts(asked, material)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    part = clinic.settings.softening_worth
    prices = Prices(part.price_visit, part.price_minute, part.price_agent, part.price_day)
    worth = worth_of_advice(amounts, prices, draws=DRAWS, rng=np.random.default_rng(SEED))
    days = material.sample.rows["day"]
    return Answer(
        QUESTION,
        _headline(worth, part.currency, days),
        how_sure=f"{_break_even(worth, part.currency)} {words.how_sure(asked.level)} They and the chance "
        "leave out what nobody wrote down.",
        table=_table(amounts, worth, prices),
        chart=range_chart(_bars(worth), x_title=f"{part.currency} in 100 bookings, costs below nought", reference=0.0),
        chart_title=f"In 100 bookings: {_money(worth.total, part.currency)}",
        chart_text="; ".join(f"{bar.label}: {bar.text} {part.currency}" for bar in _bars(worth)) + ".",
        assumptions=_assumptions(clinic.settings),
        cautions=(*CAUTIONS, PROTECTED_MINUTES),
        checks=tuple(Check(f"No figure for {name}", INFORMATION, str(reason)) for name, reason in refusals.items()),
        basis=_basis(material),
        rows=tuple(_rows(amounts, worth)),
    )


Figure = tuple[Estimate, Shifts]


def _amounts(asked: Asked, material: Material) -> tuple[Amounts, dict[str, NotEnough]]:
    """Estimate what advice changes in 100 bookings, like with like; keep the reason where a part has no figure."""
    refusals: dict[str, NotEnough] = {}

    def tried(name: str, make: Callable[[], Figure]) -> tuple[Estimate | None, Shifts]:
        try:
            return make()
        except NotEnough as reason:
            refusals[name] = reason
            return None, NOBODY

    visits, of_visits = _fewer(material, asked.level)
    minutes, of_minutes = tried(
        AMOUNT_NAMES["minutes"],
        lambda: _fewer(minutes_material(asked.table, contrast=CONTRAST, fewest_visits=asked.fewest), asked.level),
    )
    discomforts, _ = tried("discomfort", lambda: _fewer(_discomfort(asked), asked.level))
    days, of_days = tried(AMOUNT_NAMES["delay"], lambda: _days_each(material.sample.rows, asked.level))
    users, of_users = _users(material.sample.rows, asked.level)
    together = correlations([of_visits, of_minutes, of_users, of_days])
    return Amounts(visits, minutes, users, days, discomforts, together), refusals


def _discomfort(asked: Asked) -> Material:
    """Take the visits on which discomfort is compared."""
    visits = asked.clinic.visits.set_index("visit_id")["adverse_event"]
    discomfort = (visits == "discomfort").astype("boolean").where(visits.notna())
    return events_material(
        asked.table,
        discomfort,
        contrast=CONTRAST,
        fewest_visits=asked.fewest,
        followed_until=asked.followed_until,
    )


def _fewer(material: Material, level: float) -> Figure:
    """Give how much less of the outcome advised bookings have, in 100, like with like."""
    arms = adjusted_arms(
        material.columns,
        treated=material.treated,
        outcome=material.outcome,
        clusters=material.sample.whose,
        shares=material.shares,
    )
    shifts = arms.difference_shifts
    return mean_difference(arms, level).scaled(-BOOKINGS), Shifts(shifts.patients, -shifts.sums)


def _users(table: pd.DataFrame, level: float) -> Figure:
    """Give how many more of 100 use an agent when told to."""
    both = table.dropna(subset=["softening_advised", "softening_used"]).drop_duplicates("visit_id")
    advised = both["softening_advised"].to_numpy(dtype=bool)
    if not advised.any() or advised.all():
        raise NotEnough(
            "The log does not say of visits with and without advice whether an agent was used.",
            "Ask at every visit which agent was used before it; write 'none' for none.",
        )
    arms = plain_means(both["softening_used"].to_numpy(dtype=float), advised, _whose(both))
    return mean_difference(arms, level).scaled(BOOKINGS), arms.difference_shifts


def _days_each(table: pd.DataFrame, level: float) -> Figure:
    """Give the days a person who softens does so, visits of one patient going together."""
    used = table[table["softening_used"].fillna(value=False).astype(bool)].drop_duplicates("visit_id")
    told = used.dropna(subset=["softening_days"])
    if told["visit_id"].nunique() < 2:
        raise NotEnough("The log does not say for how many days people soften.", "Ask for how many days.")
    days = told["softening_days"].to_numpy(dtype=float)
    mean = float(days.mean())
    shifts = patient_shifts((days - mean)[:, None] / len(days), _whose(told))
    half = float(norm.ppf(0.5 + level / 2) * np.sqrt(shifts.covariance[0, 0]))
    return Estimate(mean, mean - half, mean + half, level, len(days), "mean days of users, patients clustered"), shifts


def _whose(visits: pd.DataFrame) -> np.ndarray:
    """Name each visit's patient; a visit without a patient number is one of its own."""
    return visits["patient_key"].fillna("visit " + visits["visit_id"]).to_numpy(dtype=object)


def _headline(worth: Worth, currency: str, days: pd.Series) -> str:
    """Give the sentence the owner can act on, with how sure."""
    period = words.months(days.min(), days.max())
    sure = words.percent(worth.chance_worth)
    if worth.chance_worth >= NEARLY_SURE:
        act = f"At your prices, advise softening: the chance that it is worth more than it costs is {sure}"
    elif worth.chance_worth <= 1 - NEARLY_SURE:
        act = f"At your prices, advising softening costs more than it is worth: the chance that it pays is only {sure}"
    else:
        act = f"At your prices it is not clear that advising softening pays: the chance that it is worth more than it costs is {sure}"
    return f"{act}. In 100 bookings that is {_money(worth.total, currency)}, {period}."


def _money(total: Estimate, currency: str) -> str:
    """Say an amount of money gained or lost, and its range."""
    value, ends = spoken(total, "gained", "lost")
    return f"{value} {currency} {'gained' if total.value >= 0 else 'lost'} ({ends})"


def _break_even(worth: Worth, currency: str) -> str:
    """Say from which price of a visit it pays."""
    found = worth.break_even
    if found is None:
        return "The log does not clearly show that advice avoids second visits, so no price of a visit can be named at which it pays."
    if found.value == 0:
        return "It pays even if a second visit were worth nothing, for the minutes saved cover the rest."
    if not isfinite(found.high):
        return f"It pays if a second visit is worth more than about {words.number(found.value)} {currency}; the log leaves much more possible."
    ends = f"between {words.number(found.low)} and {words.number(found.high)}"
    return f"It pays if a second visit is worth more than {words.number(found.value)} {currency} ({ends})."


def _named(amounts: Amounts) -> Iterable[tuple[str, Estimate]]:
    """List the amounts there are."""
    yield "visits", amounts.visits_avoided
    if amounts.minutes_saved is not None:
        yield "minutes", amounts.minutes_saved
    yield "agent", amounts.users
    if amounts.days_each is not None:
        yield "delay", _times(amounts.users, amounts.days_each)
    if amounts.discomforts_fewer is not None:
        yield "discomfort", amounts.discomforts_fewer


def _times(users: Estimate, days: Estimate) -> Estimate:
    """Multiply people by their days; the spread of both counts."""
    value = users.value * days.value
    half = hypot((users.high - users.low) / 2 * days.value, (days.high - days.low) / 2 * users.value)
    return Estimate(value, value - half, value + half, users.level, users.n, "people times days")


def _table(amounts: Amounts, worth: Worth, prices: Prices) -> pd.DataFrame:
    """Lay amounts, prices and worth side by side."""
    each = {"visits": prices.visit, "minutes": prices.minute, "agent": prices.agent, "delay": prices.day}
    rows = []
    for name, amount in _named(amounts):
        part = worth.parts.get(name)
        rows.append(
            {
                "worth_item": AMOUNT_NAMES[name],
                "value": _said(name, amount.value),
                "low": _said(name, amount.low),
                "high": _said(name, amount.high),
                "worth_each": f"{each[name]:g}" if name in each else "not priced",
                "worth_money": words.number(part.value) if part else BLANK,
            }
        )
    blank = dict.fromkeys(("value", "low", "high", "worth_each"), BLANK)
    rows.append({"worth_item": "all together", **blank, "worth_money": words.number(worth.total.value)})
    return pd.DataFrame(rows)


def _said(name: str, amount: float) -> str:
    """Say an amount: visits, which are few, in one decimal."""
    return words.number(amount, 1 if name in ("visits", "discomfort") else 0)


def _bars(worth: Worth) -> list[Bar]:
    """Draw what each part is worth, and all together."""
    names = {
        "visits": "Second visits avoided",
        "minutes": "Minutes saved",
        "agent": "Agents bought",
        "delay": "Days of waiting",
    }
    priced = [
        (names[name], part, TODAY)
        for name, part in worth.parts.items()
        if (part.value, part.low, part.high) != (0, 0, 0)
    ]
    return [
        Bar(name, part.value, part.low, part.high, colour, _ends(part))
        for name, part, colour in (*priced, ("All together", worth.total, RECOMMENDED))
    ]


def _ends(part: Estimate) -> str:
    """Say a figure and its range in whole money."""
    value, low, high = (words.number(each) for each in (part.value, part.low, part.high))
    return f"{value} ({low} to {high})"


def _assumptions(settings: Settings) -> tuple[str, ...]:
    """Say what would have to be true."""
    part = settings.softening_worth
    return (
        f"Prices are yours, from clinic.toml (as delivered they are examples): a second visit {part.price_visit:g}, a minute "
        f"{part.price_minute:g}, an agent {part.price_agent:g}, a day of waiting {part.price_day:g} {part.currency}.",
        "Of 100 bookings whose ears turn out partly or fully occluding; others gain less from advice and cost the same.",
        "Comparing like with like, nothing unrecorded steers both advice and result. People do as advised as often as in the log.",
        "Discomfort is shown and not priced: it is no matter of money.",
    )


def _basis(material: Material) -> Basis:
    """Say what the figures rest on."""
    rows, days = material.sample.rows, material.sample.rows["day"]
    method = f"Regression averaged over the clinic's case mix; {DRAWS:,} joint draws of all figures (same patients)."
    return Basis(len(rows), "visits", left_out_of(material.sample.left_out, CONTRAST), days.min(), days.max(), method)


def _rows(amounts: Amounts, worth: Worth) -> Iterable[ResultRow]:
    """Give every figure as ``results.json`` keeps it."""
    for name, amount in _named(amounts):
        yield ResultRow.from_estimate(SECTION, "worth_amount", "in 100 bookings", amount, item=name)
    for name, part in {**worth.parts, "all": worth.total}.items():
        yield ResultRow.from_estimate(SECTION, "worth", "money", part, item=name)
    n, level = worth.total.n, worth.total.level
    even = worth.break_even
    ends = [each if even and isfinite(each) else None for each in ((even.value, even.low, even.high) if even else ())]
    value, low, high = ends or [None, None, None]
    yield ResultRow(SECTION, "break_even_price", {}, value, low, high, level, "money", n, "cost over visits avoided")
    method = "share of draws above 0"
    yield ResultRow(SECTION, "chance_worth", {}, worth.chance_worth, None, None, None, "share", n, method)

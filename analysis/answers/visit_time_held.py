"""Whether the minutes foretold for each booking category hold on visits not yet seen, and whether they drift."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.booking_words import articled, category_name
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import VisitLog, visit_basis, visit_log
from analysis.answers.visit_time_words import CAUTIONS
from analysis.clinic import Clinic
from analysis.models.visit_calibration import Calibrated, calibrated_quantiles, held_out_visits
from analysis.models.visit_coverage import ALL, MONTH_LEVEL, coverage_by_category, coverage_by_month
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, Line, line_chart, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "Do the minutes foretold for 8 in 10 visits hold on later visits?"
SPOKEN = 0.8
METHOD = "share of later visits with Wilson score interval, minutes put right by split-conformal adjustment"
HOW = (
    "Half of the log foretells each booking category's minutes, the next quarter puts them right, the last quarter checks, "
    "in order of time (split-conformal adjustment)."
)
BY_MONTH = "share of the month's visits, with the limits of chance"
PUT_RIGHT = "split-conformal adjustment"
FEWEST_MONTHS = 3
"""Months from which coverage is drawn month by month."""


@dataclass(frozen=True, eq=False)
class _Found:
    """What was promised, what held, and what is promised now."""

    log: VisitLog
    now: Calibrated
    held: pd.DataFrame
    under: pd.DataFrame
    before: pd.DataFrame
    months: pd.DataFrame
    level: float

    def name(self, category: str) -> str:
        """Name a category."""
        return "all visits" if category == ALL else category_name(self.log.expected, category)

    def one(self, category: str, share: float, table: pd.DataFrame | None = None) -> Estimate:
        """Give one share that held."""
        table = self.held if table is None else table
        row = table[(table["category"] == category) & (table["share"] == share)].to_dict("records")[0]
        return Estimate(row["held"], row["low"], row["high"], self.level, int(row["visits"]), METHOD)


@of_drawn_patients
def do_foretold_minutes_hold(clinic: Clinic) -> Answer:
    """Check the minutes of each booking category on visits later than those they rest on.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Coverage by booking category with its range, month by month with its
        limits, and the minutes the whole log gives now. Rows:
        ``coverage_by_category``, ``coverage_by_month``, ``calibrated_minutes``.
    """
    try:
        log = visit_log(clinic)
        found = _found(log)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    return Answer(
        question=QUESTION,
        headline=_headline(found),
        how_sure=f"{words.how_sure(found.level)} For months: limits that 99 in 100 months keep within if nothing has changed.",
        table=_table(found),
        chart=_chart(found),
        chart_title=_title(found),
        chart_text=_told(found),
        assumptions=(
            "Later visits are like those the minutes were put right on; where habits change, the months show it.",
            "A booking category with fewer than 50 visits in the quarter that puts right shares the correction of all.",
            "Minutes are whole, so a little more than promised may stay within.",
            "Visits count one by one, though a patient's visits go together a little.",
        ),
        cautions=CAUTIONS[:1],
        checks=_checks(found),
        basis=visit_basis(clinic, log, HOW),
        rows=tuple(_rows(found)),
    )


def _found(log: VisitLog) -> _Found:
    """Promise on the earlier log, check on the later, and promise anew on all."""
    sample = log.fitted.sample.visits
    visits = sample[["slot_start", "minutes"]].assign(category=pd.Series(log.expected.of_visit, dtype="object"))
    made, checked = held_out_visits(visits)
    foretold = made.table.set_index(["category", "share"])["foretold"]
    pairs = pd.MultiIndex.from_frame(checked[["category", "share"]])
    before = checked.assign(within=checked["minutes"].to_numpy() <= foretold.reindex(pairs).to_numpy())
    window = int(len(visits) * 0.25)
    return _Found(
        log=log,
        now=calibrated_quantiles(visits),
        held=coverage_by_category(checked, level=log.fitted.level),
        under=coverage_by_category(checked.assign(within=checked["under"]), level=log.fitted.level),
        before=coverage_by_category(before, level=log.fitted.level),
        months=coverage_by_month(checked, window_visits=window),
        level=log.fitted.level,
    )


def _of_months(found: _Found) -> pd.DataFrame:
    """Take the months of the share spoken of."""
    return found.months[found.months["share"] == SPOKEN]


def _headline(found: _Found) -> str:
    """Say what held, where least, and how many months left their limits."""
    held = found.one(ALL, SPOKEN)
    mine = found.held[(found.held["share"] == SPOKEN) & (found.held["category"] != ALL) & found.held["held"].notna()]
    said = (
        f"Of the last {words.count(held.n)} visits {words.percent(held.value)} ({words.between_percent(held)}) stayed within the "
        "minutes foretold for 8 in 10"
    )
    if len(mine) > 1:
        least = str(mine.sort_values("held")["category"].tolist()[0])
        lowest = found.one(least, SPOKEN)
        said += f", least for {articled(found.log.expected, least)} with {words.percent(lowest.value)} ({words.between_percent(lowest)})"
    return f"{said}; {_months_said(found)}."


def _months_said(found: _Found) -> str:
    """Say how many months left their limits."""
    months = _of_months(found)
    if months.empty:
        return "no month has visits enough to be judged by itself"
    out = months[months["left_limits"]]
    if out.empty:
        return f"none of {words.plural(len(months), 'month')} left the limits of chance"
    names = words.joined([f"{day:%B %Y}" for day in out["month"]])
    return f"{names} left the limits of chance"


def _title(found: _Found) -> str:
    """Say the finding."""
    return (
        "The minutes hold steadily"
        if not _of_months(found)["left_limits"].any()
        else "The minutes have drifted in some months"
    )


def _chart(found: _Found) -> go.Figure:
    """Draw coverage by month between its limits; by category where months are few."""
    months = _of_months(found)
    if len(months) < FEWEST_MONTHS:
        bars = [
            Bar(found.name(row["category"]), row["held"], row["low"], row["high"])
            for row in found.held[found.held["share"] == SPOKEN].to_dict("records")
        ]
        return range_chart(bars, x_title="visits within the minutes for 8 in 10", reference=SPOKEN, percent=True)
    x = months["month"].tolist()
    lines = [
        Line(
            "within chance",
            x,
            [SPOKEN] * len(x),
            months["limit_low"].tolist(),
            months["limit_high"].tolist(),
            TODAY,
            "dot",
        ),
        Line("stayed within", x, months["held"].tolist(), colour=RECOMMENDED),
    ]
    return line_chart(
        lines, x_title="month", y_title="visits within the minutes foretold for 8 in 10", from_zero=False, percent=True
    )


def _told(found: _Found) -> str:
    """Tell the chart."""
    months = _of_months(found)
    if len(months) < FEWEST_MONTHS:
        said = [
            f"{found.name(row['category'])} {words.percent(row['held'])}"
            for row in found.held[(found.held["share"] == SPOKEN) & found.held["held"].notna()].to_dict("records")
        ]
        return f"Visits within the minutes foretold for 8 in 10: {'; '.join(said)}."
    said = [f"{row['month']:%B %Y} {words.percent(row['held'])}" for row in months.to_dict("records")]
    low, high = words.percent(months["limit_low"].min()), words.percent(months["limit_high"].max())
    return f"Visits within the minutes foretold for 8 in 10, by month: {'; '.join(said)}. Chance allows about {low} to {high}."


def _table(found: _Found) -> pd.DataFrame:
    """List each category's minutes now and what share of later visits the earlier ones held."""
    now, rows = found.now.minutes(), []
    for row in found.held.to_dict("records"):
        minutes = now.get((row["category"], row["share"]), float("nan"))
        figures = [row["held"], row["low"], row["high"]]
        rows.append([found.name(row["category"]), row["share"], minutes, *figures, int(row["visits"])])
    columns = [
        "booking",
        "promised_share",
        "calibrated_minutes",
        "held_share",
        "held_share_low",
        "held_share_high",
        "visits",
    ]
    return pd.DataFrame(rows, columns=columns)


def _checks(found: _Found) -> tuple[Check, ...]:
    """Say how each promise held over all, and what putting right changed."""
    made = []
    for share in sorted(set(found.held["share"])):
        held, before = found.one(ALL, share), found.one(ALL, share, found.before)
        # Whole minutes tie: the promise lies between those not longer and those shorter than their minutes.
        near = held.high >= share and found.one(ALL, share, found.under).low <= share
        sentence = (
            f"Promised {words.percent(share)}, held {words.percent(held.value)} ({words.between_percent(held)}); before they "
            f"were put right the minutes held {words.percent(before.value)}."
        )
        made.append(Check(f"Minutes for {share * 10:g} in 10", PASSED if near else FAILED, sentence))
    out = found.months[found.months["left_limits"]]
    if len(found.months):
        said = [
            f"{row['month']:%B %Y} for {row['share'] * 10:g} in 10 ({words.percent(row['held'])})"
            for row in out.to_dict("records")
        ]
        told = f"Left their limits: {'; '.join(said)}." if said else "No month left its limits."
        made.append(Check("Drift by month", FAILED if said else PASSED, told))
    else:
        made.append(Check("Drift by month", INFORMATION, "No month has visits enough to be judged by itself."))
    return tuple(made)


def _rows(found: _Found) -> list[ResultRow]:
    """Keep what held by category and month, and the minutes promised now."""
    make, rows = ResultRow, []
    for each in found.held.to_dict("records"):
        group = {"booking": each["category"], "q": each["share"]}
        value, low, high = (None if pd.isna(each[name]) else float(each[name]) for name in ("held", "low", "high"))
        many = int(each["visits"])
        rows.append(
            make("visit_time", "coverage_by_category", group, value, low, high, found.level, "share", many, METHOD)
        )
    for each in found.months.to_dict("records"):
        group = {"month": f"{each['month']:%Y-%m}", "q": each["share"]}
        low, high, many = each["limit_low"], each["limit_high"], int(each["visits"])
        rows.append(
            make(
                "visit_time", "coverage_by_month", group, each["held"], low, high, MONTH_LEVEL, "share", many, BY_MONTH
            )
        )
    for each in found.now.table.to_dict("records"):
        group, many = {"booking": each["category"], "q": each["share"]}, int(each["window_visits"])
        rows.append(
            make(
                "visit_time", "calibrated_minutes", group, each["minutes"], None, None, None, "minutes", many, PUT_RIGHT
            )
        )
    return rows

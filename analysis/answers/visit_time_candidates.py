"""Which way of foretelling minutes does best on visits it has not seen."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import timed_visits, visit_basis
from analysis.answers.visit_time_words import CAUTIONS
from analysis.clinic import Clinic
from analysis.models.visit_candidates import KIND_ALONE, METHOD, CandidateLosses, candidate_losses
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "Which way of foretelling minutes does best on later visits?"
Row = dict[Any, Any]
FORM_NAMES = {
    KIND_ALONE: "the kind of booking alone",
    "gamma_identity": "parts that add up",
    "log_normal": "parts that multiply",
    "quantile_regression": "a line for each share",
}
HOW = (
    "Each way is fitted on the first three quarters of the log and judged on the last: how far the minutes it gives for 5, 8 "
    "and 9 in 10 visits are off, a minute too short counting 1, 4 or 9 times a minute too long (pinball loss)."
)


@of_drawn_patients
def which_way_foretells_best(clinic: Clinic) -> Answer:
    """Compare ways of foretelling a visit's minutes on visits they were not fitted on.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        The plainest way that cannot be told from the best. Rows:
        ``held_out_loss``, one a way. Without a figure where too few visits have
        minutes of their own.
    """
    try:
        timed = timed_visits(clinic)
        found = candidate_losses(timed.fitted)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    return Answer(
        question=QUESTION,
        headline=_headline(found),
        how_sure=f"{words.how_sure(timed.fitted.level)} Here they are ranges of what a way loses against the best.",
        table=_table(found),
        chart=range_chart(_bars(found), x_title="minutes of loss beyond the best", from_zero=True),
        chart_title=_title(found),
        chart_text=_told(found),
        assumptions=(
            f"Fitted on {words.count(found.fitted_on)} earlier visits, judged on the {words.count(found.judged_on)} after them.",
            "The grades and methods of a visit's ears are known only at the chair, so this judges the description of "
            "visits; slots rest on what is known when booking.",
            "Where ways cannot be told apart, the plainest is kept: first without practitioners, then parts that add up.",
        ),
        cautions=CAUTIONS[:1],
        checks=_checks(found),
        basis=visit_basis(clinic, timed, HOW),
        rows=tuple(_rows(found, timed.fitted.level)),
    )


def way_name(row: Row) -> str:
    """Name a way."""
    return FORM_NAMES[row["form"]] + (", with practitioners" if row["practitioners"] else "")


def _headline(found: CandidateLosses) -> str:
    """Say which way is kept, what it loses, and whether the plain one wins."""
    ways: list[Row] = found.table.to_dict("records")
    plain, chosen, best = ways[0], ways[found.chosen], ways[found.best]
    later = f"on the last {words.count(found.judged_on)} visits"
    loss = words.minutes(chosen["loss"], 2)
    if found.chosen == 0:
        tie = "" if found.best == 0 else f", as good as {way_name(best)} within chance"
        return f"The plain way wins: {later} {way_name(chosen)} has a loss of {loss}{tie}."
    gain = Estimate(plain["worse"], plain["worse_low"], plain["worse_high"], 0.95, found.judged_on, "")
    tie = "" if found.chosen == found.best else f", as good as {way_name(best)} within chance"
    one = chosen["form"] == "quantile_regression"
    return (
        f"{way_name(chosen).capitalize()} {'foretells' if one else 'foretell'} best: {later} {'its' if one else 'their'} "
        f"loss is {loss}{tie}; {way_name(plain)} loses {words.number(gain.value, 2)} more than the best "
        f"({words.between(gain, 2)})."
    )


def _title(found: CandidateLosses) -> str:
    """Say the finding."""
    if found.chosen == 0:
        return "Knowing the ears would foretell no better than the kind of booking"
    with_who = found.table["practitioners"].tolist()[found.chosen]
    return "Knowing the ears foretells better" + (", and knowing the practitioner better still" if with_who else "")


def _bars(found: CandidateLosses) -> list[Bar]:
    """Give one row a way, plainest first."""
    bars = []
    for place, row in enumerate(found.table.to_dict("records")):
        text = f"loss {words.number(row['loss'], 2)}"
        colour = RECOMMENDED if place == found.chosen else TODAY
        bars.append(Bar(way_name(row), row["worse"], row["worse_low"], row["worse_high"], colour, text))
    return bars


def _told(found: CandidateLosses) -> str:
    """Tell the chart."""
    said = [
        f"{way_name(row)} {words.number(row['worse'], 2)} ({words.number(row['worse_low'], 2)} to {words.number(row['worse_high'], 2)})"
        for row in found.table.to_dict("records")
    ]
    return f"Minutes of loss beyond the best way: {'; '.join(said)}."


def _table(found: CandidateLosses) -> pd.DataFrame:
    """List the losses."""
    table = found.table
    shown = pd.DataFrame({"foretold_by": [way_name(row) for row in table.to_dict("records")]})
    for name in ("loss", "loss_0.5", "loss_0.8", "loss_0.9"):
        shown[name.replace("0.", "0_") + "_minutes"] = table[name].round(4)
    return shown.assign(kept=[place == found.chosen for place in table.index])


def _checks(found: CandidateLosses) -> tuple[Check, ...]:
    """Say which way did not settle."""
    if not found.failed:
        return ()
    names = words.joined([FORM_NAMES[form] for form in found.failed])
    return (
        Check("Ways that did not settle", INFORMATION, f"On the earlier visits no figures could be found by {names}."),
    )


def _rows(found: CandidateLosses, level: float) -> list[ResultRow]:
    """Keep each way's loss; its range is that of the loss against the best, moved to it."""
    least = float(found.table["loss"].min())
    rows = []
    for row in found.table.to_dict("records"):
        group = {"form": row["form"], "practitioners": bool(row["practitioners"])}
        ends = least + row["worse_low"], least + row["worse_high"]
        rows.append(
            ResultRow(
                "visit_time", "held_out_loss", group, row["loss"], *ends, level, "minutes", found.judged_on, METHOD
            )
        )
    return rows

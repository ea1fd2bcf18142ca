"""Months until ears occlude again in at most four groups a receptionist can tell apart."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers import recall_checks as check
from analysis.answers import recall_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_group_words import FACT_WORDS, colours, group_short, group_spoken, listed, people, with_own
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall_ages import without_conflicting_ages
from analysis.models.recall_curve import RecallCurve
from analysis.models.recall_evidence import EVERYONE
from analysis.models.recall_grouped import GroupedRecall, fit_grouped
from analysis.planning.recall_policy import whole_months
from analysis.present import words
from analysis.present.answer import FAILED, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.chart_recall import recall_chart
from analysis.present.charts import Line
from analysis.problems import NotEnough

QUESTION = "How soon do the ears of each group fill up again?"
SHARES = (0.2, 0.3, 0.5)
SHORTEST_CHART_MONTHS, LONGEST_CHART_MONTHS = 18, 60


@of_drawn_patients
def how_soon_by_group(clinic: Clinic) -> Answer:
    """Say for each group by when 20, 30 and 50 in 100 ears are occluding again.

    Parameters
    ----------
    clinic : Clinic
        Its settings may name the facts that make the groups.

    Returns
    -------
    Answer
        Without a figure where there is no recall curve.
    """
    settings = clinic.settings.recall
    table, conflicting = without_conflicting_ages(clinic_gaps(clinic), clinic.visits)
    try:
        found = fit_grouped(table, settings, level=clinic.settings.level)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    drawn = with_own(found.curves)
    return Answer(
        question=QUESTION,
        headline=_headline(found, settings.share),
        how_sure=words.how_sure(clinic.settings.level),
        table=_table(found, settings.share),
        chart=_chart(drawn, settings.share, settings.today_months),
        chart_title=_chart_title(found, settings.share),
        chart_text=_chart_text(drawn, settings.share),
        assumptions=_assumptions(found),
        cautions=say.CAUTIONS,
        checks=(
            *check.small_checks(found.curves, settings.fewest_ears),
            _beyond_check(drawn, settings.share),
            *check.ages_check(conflicting),
            *check.dates_check(clinic.visits, clinic.last_day),
        ),
        basis=_basis(found),
        rows=tuple(_rows(found, settings.share)),
    )


def _shares(chosen: float) -> list[float]:
    """List the shares shown: a fifth, three tenths, a half and the owner's."""
    return sorted({*SHARES, chosen})


def _months(curve: RecallCurve, share: float) -> str:
    """Say months until a share, with their range."""
    until = curve.months_until(share)
    return f"{words.number(until.value, 1)} months ({words.between(until, 1)})"


def _headline(found: GroupedRecall, share: float) -> str:
    """Give the one sentence that answers."""
    period = f"going by ears cleared {words.from_months(found.first_day, found.last_day)}"
    drawn = with_own(found.curves)
    start = f"{say.share_spoken(share).capitalize()} ears are occluding again by"
    if EVERYONE in drawn:
        return f"{start} {_months(drawn[EVERYONE], share)}, whatever the group, {period}."
    ordered = sorted(drawn.items(), key=lambda each: each[1].months_until(share).value)
    told = "; ".join(f"{_months(curve, share)} {group_spoken(name)}" for name, curve in ordered)
    return f"{start} {told}; {period}."


def _chart_title(found: GroupedRecall, share: float) -> str:
    """Say the finding."""
    drawn = with_own(found.curves)
    if EVERYONE in drawn:
        return "One curve for everyone: the log tells no groups apart"
    until = [curve.months_until(share) for curve in drawn.values()]
    first, last = min(until, key=lambda each: each.value), max(until, key=lambda each: each.value)
    apart = words.plural(last.value - first.value, "month")
    if first.high < last.low:
        return f"Between the first group and the last lie {apart}"
    return "The groups' ranges overlap: the log does not tell them apart for sure"


def _chart_text(drawn: dict[str, RecallCurve], share: float) -> str:
    """Tell the chart in words."""
    told = ". ".join(
        f"{group_spoken(name).capitalize()}: "
        + "; ".join(f"{each * 100:.0f} in 100 by {_months(curve, each)}" for each in _shares(share))
        for name, curve in drawn.items()
    )
    return f"Rising lines with their ranges, a line a group. {told}."


def _chart(drawn: dict[str, RecallCurve], share: float, today_months: int) -> go.Figure:
    """Draw a curve a group."""
    coloured = colours(list(drawn))
    wanted = max(today_months, *(curve.months_until(share).value for curve in drawn.values())) * 1.5
    watched = max(curve.watched_months for curve in drawn.values())
    end = min(LONGEST_CHART_MONTHS, max(SHORTEST_CHART_MONTHS, min(wanted, watched)))
    months = np.arange(0, ceil(end) + 0.5, 0.5)
    lines = []
    for name, curve in drawn.items():
        shares = [curve.share_by(month) for month in months[1:]]
        value, low, high = ([0.0, *(getattr(each, end_) for each in shares)] for end_ in ("value", "low", "high"))
        label = group_short(name, len(drawn))
        lines.append(Line(label, months.tolist(), value, low, high, coloured[name]))
    return recall_chart(lines, share=share, today_months=today_months)


def _assumptions(found: GroupedRecall) -> tuple[str, ...]:
    """Say how groups come about and what would have to be true."""
    facts = words.joined([FACT_WORDS[fact] for fact in found.facts])
    if found.owners:
        made = f"The groups go by {facts}, as the settings say."
    elif found.facts:
        made = (
            f"The groups go by {facts}: of hearing aid, cotton buds, age and canal, alone and two together, the fewest "
            "that foretell patients held out as well as the best, as far as chance can tell."
        )
    else:
        made = "Neither hearing aid, cotton buds, age nor canal foretold patients held out better than one curve for everyone."
    said = [
        made,
        f"The curve is {say.FAMILY_CHOICE}; all groups have one shape.",
        "Each ear counts once, from its first clearance in the log, with what was noted of its patient then.",
        "People are called back at the whole month, rounded down, at which the share is not yet passed.",
    ]
    if found.ungrouped:
        said.append(f"{words.plural(found.ungrouped, 'ear')} of no known group count in everyone's figure only.")
    return tuple(said)


def _beyond_check(drawn: dict[str, RecallCurve], share: float) -> Check:
    """Say whether figures lie beyond what the log has watched."""
    beyond = [
        people(name) for name, curve in drawn.items()
        if curve.months_until(share).value > curve.watched_months
    ]  # fmt: skip
    if not beyond:
        return Check(
            "Within the log", PASSED, "The months until the chosen share lie within the time ears were watched."
        )
    said = f"No ear was watched as long as the figure for {listed(beyond)} says: it draws the curve out beyond the log."
    return Check("Within the log", FAILED, said)


def _table(found: GroupedRecall, chosen: float) -> pd.DataFrame:
    """Lay out every group's months."""
    rows = []
    for name, curve in found.curves.items():
        for share in _shares(chosen):
            until = curve.months_until(share)
            rows.append(
                {
                    "recall_group": group_spoken(name),
                    "ears": curve.ears,
                    "ears_seen_again": curve.seen_again,
                    "share_occluding": share,
                    "months_until_then": until.value,
                    "months_until_low": until.low,
                    "months_until_high": until.high,
                    "recall_months": whole_months(until.value),
                    "recall_curve": "own" if curve.own else "everyone's",
                }
            )
    return pd.DataFrame(rows)


def _basis(found: GroupedRecall) -> Basis:
    """Say what the figures rest on."""
    return say.recall_basis(
        found, f"A {found.family.spoken} for times known only between two visits, a scale for each group."
    )


def _rows(found: GroupedRecall, chosen: float) -> Iterable[ResultRow]:
    """Keep the months of groups with a curve of their own, and everyone's."""
    for name, curve in found.curves.items():
        for share in _shares(chosen) if curve.own else ():
            yield ResultRow.from_estimate(
                "recall", "group_months_until_share", "months", curve.months_until(share), group=name, share=share
            )

"""Months until ears occlude again in at most four groups a receptionist can tell apart."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers import recall_words as say
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import RecallCurve
from analysis.models.recall_ages import without_conflicting_ages
from analysis.models.recall_evidence import EVERYONE
from analysis.models.recall_grouped import NO, YES, GroupedRecall, fit_grouped
from analysis.models.recall_groups import FEWEST_OCCLUDING
from analysis.planning.recall_policy import whole_months
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.chart_recall import recall_chart
from analysis.present.charts import Line
from analysis.present.theme import NAMED, RECOMMENDED
from analysis.problems import NotEnough

QUESTION = "How soon do the ears of each group fill up again?"
SHARES = (0.2, 0.3, 0.5)
SHORTEST_CHART_MONTHS, LONGEST_CHART_MONTHS = 18, 60
FACT_SIDES = {
    "hearing_aid": {YES: "with a hearing aid", NO: "without a hearing aid"},
    "cotton_bud": {YES: "using cotton buds", NO: "using no cotton buds"},
    "age_60": {YES: "aged 60 and over", NO: "aged under 60"},
    "canal": {YES: "with another canal than an ordinary one", NO: "with an ordinary canal"},
}
SHORT_SIDES = {
    "hearing_aid": {YES: "aid", NO: "no aid"},
    "cotton_bud": {YES: "buds", NO: "no buds"},
    "age_60": {YES: "60 and over", NO: "under 60"},
    "canal": {YES: "other canal", NO: "ordinary canal"},
}
"""For the chart where there are more than two groups, so that their names keep apart."""
FACT_WORDS = {"hearing_aid": "hearing aid", "cotton_bud": "cotton buds", "age_60": "age", "canal": "canal"}


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
    drawn = _drawn(found)
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
            *_small_checks(found, settings.fewest_ears),
            _beyond_check(drawn, settings.share),
            *say.ages_check(conflicting),
        ),
        basis=_basis(found),
        rows=tuple(_rows(found, settings.share)),
    )


def group_spoken(name: str) -> str:
    """Say a group.

    Examples
    --------
    >>> group_spoken("hearing_aid:yes age_60:no"), group_spoken("everyone")
    ('with a hearing aid, aged under 60', 'everyone')
    """
    if name == EVERYONE:
        return name
    return _sides(name, FACT_SIDES)


def _sides(name: str, said: dict[str, dict[str, str]]) -> str:
    """Say each side of a group's facts."""
    return ", ".join(said[fact][holds] for fact, holds in (part.split(":") for part in name.split(" ")))


def _shares(chosen: float) -> list[float]:
    """List the shares shown: a fifth, three tenths, a half and the owner's."""
    return sorted({*SHARES, chosen})


def _drawn(found: GroupedRecall) -> dict[str, RecallCurve]:
    """Keep the groups with a curve of their own; everyone where fewer than two have one."""
    own = {name: curve for name, curve in found.curves.items() if curve.own and name != EVERYONE}
    return own if len(own) >= 2 else {EVERYONE: found.curves[EVERYONE]}


def _months(curve: RecallCurve, share: float) -> str:
    """Say months until a share, with their range."""
    until = curve.months_until(share)
    return f"{words.number(until.value, 1)} months ({words.between(until, 1)})"


def _headline(found: GroupedRecall, share: float) -> str:
    """Give the one sentence that answers."""
    period = f"going by ears cleared {words.from_months(found.first_day, found.last_day)}"
    drawn = _drawn(found)
    start = f"{say.share_spoken(share).capitalize()} ears are occluding again by"
    if EVERYONE in drawn:
        return f"{start} {_months(drawn[EVERYONE], share)}, whatever the group, {period}."
    ordered = sorted(drawn.items(), key=lambda each: each[1].months_until(share).value)
    told = "; ".join(f"{_months(curve, share)} {group_spoken(name)}" for name, curve in ordered)
    return f"{start} {told}; {period}."


def _chart_title(found: GroupedRecall, share: float) -> str:
    """Say the finding."""
    drawn = _drawn(found)
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
    colours = [RECOMMENDED] if EVERYONE in drawn else NAMED
    wanted = max(today_months, *(curve.months_until(share).value for curve in drawn.values())) * 1.5
    watched = max(curve.watched_months for curve in drawn.values())
    end = min(LONGEST_CHART_MONTHS, max(SHORTEST_CHART_MONTHS, min(wanted, watched)))
    months = np.arange(0, ceil(end) + 0.5, 0.5)
    lines = []
    for (name, curve), colour in zip(drawn.items(), colours, strict=False):
        shares = [curve.share_by(month) for month in months[1:]]
        value, low, high = ([0.0, *(getattr(each, end_) for each in shares)] for end_ in ("value", "low", "high"))
        label = _sides(name, SHORT_SIDES) if len(drawn) > 2 else group_spoken(name)
        lines.append(Line(label, months.tolist(), value, low, high, colour))
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


def _small_checks(found: GroupedRecall, fewest_ears: int) -> list[Check]:
    """Say which groups have no figure of their own."""
    return [
        Check(
            f"Ears of people {group_spoken(name)}",
            INFORMATION,
            f"{words.plural(curve.seen_again, 'cleared ear')} seen again, {words.count(curve.occluding)} of them occluding: "
            f"too few for a figure of their own (at least {fewest_ears} and {FEWEST_OCCLUDING}), so the clinic's is shown.",
        )
        for name, curve in found.curves.items()
        if not curve.own
    ]


def _beyond_check(drawn: dict[str, RecallCurve], share: float) -> Check:
    """Say whether figures lie beyond what the log has watched."""
    beyond = [
        group_spoken(name).replace(",", "") for name, curve in drawn.items()
        if curve.months_until(share).value > curve.watched_months
    ]  # fmt: skip
    if not beyond:
        return Check(
            "Within the log", PASSED, "The months until the chosen share lie within the time ears were watched."
        )
    said = f"No ear was watched as long as the figure says for those {words.joined(beyond)}."
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

"""Could something nobody wrote down explain softening's figure away: the tipping points."""

from __future__ import annotations

from itertools import cycle

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import asked_of, by_contrast
from analysis.answers.softening_estimates import basis_of
from analysis.clinic import Clinic
from analysis.models.softening_balance import Benchmark, benchmarks
from analysis.models.softening_estimates import side_by_side
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Line, line_chart, tidy
from analysis.present.theme import INK, NAMED, RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.schema import CODE_LABELS
from analysis.stats.balance import outcome_ratio_needed
from analysis.stats.effects import HiddenCause, e_value, risk_ratio
from analysis.stats.estimate import Estimate

QUESTION = "Could something nobody wrote down explain it away?"
FURTHEST, TALLEST = 3.0, 2.0
"""How many times as common with softening, and as likely to go with success, the chart goes."""
BESIDE = ("middle right", "top right", "top left", "bottom center")
"""Where the names of neighbouring marks keep clear of each other."""
TABLE_AT = (1.25, 1.5, 2.0, 2.5, 3.0)


@of_drawn_patients
def could_something_hidden_explain_it(clinic: Clinic) -> Answer:
    """Draw how strong an unrecorded cause, wax hardness say, would have to be.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Two tipping lines (the figure, and the end of its range nearest none),
        and recorded facts as a measure. Rows: ``e_value``.
    """
    try:
        asked = asked_of(clinic)
        sides, refusals = by_contrast(lambda contrast: side_by_side(asked.ears(contrast), level=asked.level))
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    contrast, lead = next(iter(sides.items()))
    ratio = risk_ratio(lead.compared.arms["standardised"], asked.level)
    hidden, found = e_value(ratio), benchmarks(lead.material)
    lines = _lines(ratio)
    return Answer(
        QUESTION,
        _headline(contrast, hidden),
        how_sure="A cause above a line would explain that much away; one below it would not. Recorded facts are marked for scale.",
        table=pd.DataFrame(
            {
                "arm_times": list(TABLE_AT),
                "outcome_times_figure": _at(_away_from_one(ratio)[0], TABLE_AT),
                "outcome_times_range": _at(_away_from_one(ratio)[1], TABLE_AT),
            }
        ),
        chart=_chart(lines, found),
        chart_title="How strong a hidden cause would have to be, with recorded facts for scale",
        chart_text=_headline(contrast, hidden),
        assumptions=(
            "The hidden cause is a yes or no, goes with nothing recorded, and makes both softening and success likelier "
            "(or both less likely). A cause that makes softening likelier but success less likely, as hard wax does, hides "
            "part of softening's effect and cannot explain it away.",
            "The lines are the worst such a cause could do (Ding and VanderWeele 2016); most would do less.",
        ),
        cautions=say.CAUTIONS,
        checks=(
            *(_benchmark_check(each, ratio) for each in found),
            *(say.not_answered_check(each, reason) for each, reason in refusals.items()),
        ),
        basis=basis_of(lead.material, "ears", "E-value and bounding factor of the ratio like with like."),
        rows=(
            ResultRow(
                "softening", "e_value", {"contrast": contrast, "estimator": "standardised"}, hidden.value, hidden.for_range,
                None, asked.level, "ratio", ratio.n, "E-value of the risk ratio; low is that of the end of its range nearest 1",
            ),
        ),
    )  # fmt: skip


def _headline(contrast: str, hidden: HiddenCause) -> str:
    """Say the E-value in words."""
    value, ends = words.number(hidden.value, 2), words.number(hidden.for_range, 2)
    range_said = (
        f"{ends} times would already make it unclear"
        if hidden.for_range > 1
        else "its range holds none without any such cause"
    )
    return (
        f"To explain away the figure of {say.ARMS[contrast]}, something unrecorded would have to make both softening and "
        f"success {value} times as likely beyond all that is recorded; {range_said}."
    )


def _away_from_one(ratio: Estimate) -> tuple[float, float]:
    """Give the ratio and the end of its range nearest 1, both told as above 1."""
    nearest = ratio.low if ratio.value >= 1 else ratio.high
    figure = max(ratio.value, 1 / ratio.value)
    holds_one = ratio.low <= 1 <= ratio.high
    return figure, 1.0 if holds_one else max(nearest, 1 / nearest)


def _at(ratio: float, arm_times: tuple[float, ...]) -> list[float | None]:
    """Give the strength needed at each arm ratio; none where no strength would do."""
    return [float(outcome_ratio_needed(ratio, np.array([each]))[0]) if each > ratio else None for each in arm_times]


def _lines(ratio: Estimate) -> list[Line]:
    """Draw both tipping lines as far as the chart goes."""
    lines = []
    for name, height, colour in zip(
        ("figure gone", "range reaches none"), _away_from_one(ratio), (RECOMMENDED, NAMED[0]), strict=True
    ):
        if height <= 1:
            continue
        first = height * (TALLEST - 1) / (TALLEST - height) if height < TALLEST else FURTHEST
        across = np.linspace(min(max(first, height * 1.001), FURTHEST), FURTHEST, 80)
        lines.append(Line(name, across.round(4).tolist(), outcome_ratio_needed(height, across).tolist(), colour=colour))
    return lines


def _chart(lines: list[Line], found: list[Benchmark]) -> go.Figure:
    """Draw the lines, and recorded facts as marks."""
    base = lines or [Line("no figure to explain", [1.0, FURTHEST], [1.0, 1.0], colour=TODAY)]
    figure = line_chart(
        base,
        x_title="times as common with softening as without",
        y_title="times as likely to go with success",
        from_zero=False,
    )
    for each, beside in zip(found, cycle(BESIDE)):
        figure.add_scatter(
            x=tidy([each.arm_ratio]), y=tidy([each.outcome_ratio]), mode="markers+text", text=[_name(each)],
            textposition=beside, marker={"size": 10, "color": TODAY, "symbol": "diamond"}, name=_name(each),
            textfont={"size": 12, "color": INK}, hoverinfo="name", cliponaxis=False,
        )  # fmt: skip
    return figure


def _name(mark: Benchmark) -> str:
    """Say a recorded level."""
    if mark.fact == "impacted":
        return "impacted" if mark.level == "yes" else "not impacted" if mark.level == "no" else "impaction not recorded"
    labels = CODE_LABELS.get(mark.fact, {})
    return " or ".join(labels.get(each, each.replace("_", " ")) for each in mark.level.split("_or_"))


def _benchmark_check(mark: Benchmark, ratio: Estimate) -> Check:
    """Set a recorded fact beside what a hidden one would need."""
    figure, _ = _away_from_one(ratio)
    needed = _at(figure, (mark.arm_ratio,))[0]
    enough = needed is not None and mark.outcome_ratio >= needed
    return Check(
        f"For scale: {_name(mark)}",
        INFORMATION,
        f"Its shares with and without softening are {words.number(mark.arm_ratio, 2)} times apart, its success "
        f"{words.number(mark.outcome_ratio, 2)} times. A hidden cause as strong as that, working in the same direction on "
        f"both, {'could explain the figure away' if enough else 'could not explain the figure away'}.",
    )

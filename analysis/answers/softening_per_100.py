"""What softening changes for 100 patients: second visits, minutes in the chair, discomfort and other events."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import Asked, asked_of, by_contrast
from analysis.answers.softening_estimates import WAYS, basis_of
from analysis.clinic import Clinic
from analysis.models.softening_estimates import SideBySide, side_by_side
from analysis.models.softening_material import Material, events_material, minutes_material, second_visits_material
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.effects import mean_difference
from analysis.stats.estimate import Estimate

QUESTION = "What does softening change for 100 patients?"
LEAD = "standardised"
"""The way the other answers lead with, so that minutes and visits read the same in all of them."""
OUTCOMES = {
    "second_visits": "second visits avoided",
    "minutes": "minutes in the chair saved",
    "discomfort": "visits with discomfort avoided",
    "other_events": "visits with another event avoided",
}
DECIMALS = {"second_visits": 1, "minutes": 0, "discomfort": 1, "other_events": 1}
Sides = dict[tuple[str, str], SideBySide]


@of_drawn_patients
def softening_per_100_patients(clinic: Clinic) -> Answer:
    """Say how many second visits, minutes and events softening saves in 100 first visits.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        In the same five ways as success. Rows: ``saved_per_100_patients``.
        An outcome the log cannot tell is left out, with the reason.
    """
    try:
        asked = asked_of(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    sides, refusals = _asked_each(asked)
    if not sides:
        return no_answer(QUESTION, next(iter(refusals.values())))
    lead_outcome, lead_contrast = next(iter(sides))
    lead = sides[lead_outcome, lead_contrast]
    figures = _figures(sides)
    days = lead.material.sample.rows["day"]
    drawn = [(key, figure) for key, figure in figures if key[0] != "minutes" and key[2] in ("unadjusted", LEAD)]
    return Answer(
        QUESTION,
        _headline(sides, lead_contrast, days),
        how_sure=f"{words.how_sure(asked.level)} They leave out what nobody wrote down.",
        table=_table(figures),
        chart=range_chart(_bars(drawn), x_title="fewer in 100 patients with softening", reference=0.0)
        if drawn
        else None,
        chart_title="Second visits and events that softening spares, in 100 patients" if drawn else "",
        chart_text=_told(drawn),
        assumptions=(
            "One row is a patient's first-attempt visit. A second visit is a further attempt at one of its ears within the days set.",
            "Minutes are those of the first visit alone; what a second visit spared would have taken comes on top.",
            "Events count as they were written down; softening may also change who mentions them.",
            "It is right if nothing unrecorded steers both softening and what followed.",
        ),
        cautions=(*say.CAUTIONS, say.PROTECTED_MINUTES),
        checks=tuple(
            Check(f"{OUTCOMES[outcome].capitalize()}, {contrast}", INFORMATION, f"No figure. {reason.why}")
            for (outcome, contrast), reason in refusals.items()
        ),
        basis=basis_of(lead.material, "visits", "The five ways of comparing, one row a visit; patients clustered."),
        rows=tuple(
            ResultRow.from_estimate(
                "softening",
                "saved_per_100_patients",
                "per 100",
                figure,
                contrast=contrast,
                estimator=way,
                outcome=outcome,
            )
            for (outcome, contrast, way), figure in figures
        ),
    )


def _asked_each(asked: Asked) -> tuple[Sides, dict[tuple[str, str], NotEnough]]:
    """Compare every outcome under both contrasts; keep the reasons where one has no figure."""
    sides: Sides = {}
    refusals: dict[tuple[str, str], NotEnough] = {}
    for outcome, make in _makers(asked).items():
        try:
            made, refused = by_contrast(lambda contrast, make=make: side_by_side(make(contrast), level=asked.level))  # type: ignore[misc]
        except NotEnough as reason:
            made, refused = {}, {"advised": reason}
        sides |= {(outcome, contrast): side for contrast, side in made.items()}
        refusals |= {(outcome, contrast): reason for contrast, reason in refused.items()}
    return sides, refusals


def _makers(asked: Asked) -> dict[str, Callable[[str], Material]]:
    """Say how each outcome's rows are taken."""
    followed: dict[str, Any] = {"fewest_visits": asked.fewest, "followed_until": asked.followed_until}
    events = asked.clinic.visits.set_index("visit_id")["adverse_event"]
    discomfort = (events == "discomfort").astype("boolean").mask(events.isna())
    other = (~events.isin(["none", "discomfort"])).astype("boolean").mask(events.isna())
    return {
        "second_visits": lambda contrast: second_visits_material(asked.table, contrast=contrast, **followed),
        "minutes": lambda contrast: minutes_material(asked.table, contrast=contrast, fewest_visits=asked.fewest),
        "discomfort": lambda contrast: events_material(asked.table, discomfort, contrast=contrast, **followed),
        "other_events": lambda contrast: events_material(asked.table, other, contrast=contrast, **followed),
    }


def _saved(side: SideBySide, way: str) -> Estimate:
    """Give what softening saves in 100 patients."""
    return mean_difference(side.compared.arms[way], side.level).scaled(-100)


def _figures(sides: Sides) -> list[tuple[tuple[str, str, str], Estimate]]:
    """List every outcome, contrast and way with its figure."""
    return [
        ((outcome, contrast, way), _saved(side, way))
        for (outcome, contrast), side in sides.items()
        for way in side.compared.arms
    ]


def _headline(sides: Sides, contrast: str, days: pd.Series) -> str:
    """Say second visits and minutes in one sentence, as far as the log tells them."""
    said = []
    if ("second_visits", contrast) in sides:
        said.append(_spoken(_saved(sides["second_visits", contrast], LEAD), "second visits"))
    if ("minutes", contrast) in sides:
        said.append(_spoken(_saved(sides["minutes", contrast], LEAD), "minutes in the chair"))
    if not said:
        outcome, contrast = next(iter(sides))
        said = [_spoken(_saved(sides[outcome, contrast], LEAD), OUTCOMES[outcome].removesuffix(" avoided"))]
    unclear = [] if all("between" in each and " more and " not in each for each in said) else ["not all of it clear, "]
    return (
        f"In 100 patients {say.ARMS[contrast]} went with {' and '.join(said)}, comparing like with like, "
        f"{unclear[0] if unclear else ''}{words.months(days.min(), days.max())}."
    )


def _spoken(saved: Estimate, what: str) -> str:
    """Say a saving and its range."""
    value, ends = say.spoken(saved, "fewer", "more")
    return f"{value} {'fewer' if saved.value >= 0 else 'more'} {what} ({ends})"


def _bars(drawn: list[tuple[tuple[str, str, str], Estimate]]) -> list[Bar]:
    """Draw each outcome as the groups are and like with like."""
    return [
        Bar(
            f"{OUTCOMES[outcome].capitalize()} with softening {contrast}, {WAYS[way]}",
            figure.value,
            figure.low,
            figure.high,
            TODAY if way == "unadjusted" else RECOMMENDED,
        )
        for (outcome, contrast, way), figure in drawn
    ]


def _told(drawn: list[tuple[tuple[str, str, str], Estimate]]) -> str:
    """Tell the chart in words."""
    return "; ".join(
        f"{OUTCOMES[outcome]}, softening {contrast}, {WAYS[way]}: {words.number(figure.value, 1)} in 100 "
        f"({words.between(figure, 1)})"
        for (outcome, contrast, way), figure in drawn
    )


def _table(figures: list[tuple[tuple[str, str, str], Estimate]]) -> pd.DataFrame:
    """Lay every figure out, one a row."""
    return pd.DataFrame(
        [
            {
                "measure": OUTCOMES[outcome],
                "softening": contrast,
                "compared": WAYS[way],
                "visits": figure.n,
                "saved_per_100": words.number(figure.value, DECIMALS[outcome]),
                "low": words.number(figure.low, DECIMALS[outcome]),
                "high": words.number(figure.high, DECIMALS[outcome]),
            }
            for (outcome, contrast, way), figure in figures
        ]
    )

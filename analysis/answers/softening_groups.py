"""Does softening do more for some ears: by grade and by impaction, with the difference of the differences."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import asked_of, by_contrast
from analysis.answers.softening_estimates import basis_of
from analysis.clinic import Clinic
from analysis.models.softening_groups import GROUP_LABELS, GroupEffects, effects_by_group
from analysis.models.softening_material import Material
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import NAMED, RECOMMENDED
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "Does softening do more for some ears than for others?"
GROUPS = {
    "grade": {"partly_occluding": "partly occluding", "fully_occluding": "fully occluding"},
    "impacted": {"no": "not impacted", "yes": "impacted"},
}
Found = dict[tuple[str, str], GroupEffects]


@of_drawn_patients
def softening_by_group(clinic: Clinic) -> Answer:
    """Say what softening does for partly and fully occluding ears, and for impacted and other ears.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        The effect in either group, and the difference of both with its range,
        rather than two verdicts side by side. Rows: ``risk_difference_in_group``,
        ``difference_between_groups``.
    """
    try:
        asked = asked_of(clinic)
        materials, refusals = by_contrast(asked.ears)
        found, thin = _found(materials, asked.level)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    lead = next(iter(materials.values()))
    figures = _figures(found)
    return Answer(
        QUESTION,
        _headline(found, lead.sample.rows["day"]),
        how_sure=f"{words.how_sure(asked.level)} Whether groups differ is told by the difference of the differences alone: "
        "that one group's range holds none and the other's does not is no difference between them.",
        table=_table(figures),
        chart=_chart(figures),
        chart_title="What softening brings in each group of ears, and by how much the groups differ",
        chart_text="; ".join(
            f"softening {contrast}, {label}: {say.more_successes(figure.scaled(0.01))}"
            for contrast, label, figure in figures
        ),
        assumptions=(
            "Each group's figure is like with like within that group. Grade is as found at the visit, after any softening.",
            "Two questions are asked of each kind of softening; one clear answer in several may be chance.",
        ),
        cautions=say.CAUTIONS,
        checks=(
            *(
                Check(f"By {fact}, {contrast}", INFORMATION, f"No figure. {why.why}")
                for (contrast, fact), why in thin.items()
            ),
            *(say.not_answered_check(each, reason) for each, reason in refusals.items()),
        ),
        basis=basis_of(
            lead,
            "ears",
            "Logistic regression with softening by group, standardised over each group; patients clustered.",
        ),
        rows=tuple(row for (contrast, _), effects in found.items() for row in _rows(contrast, effects)),
    )


def _found(materials: dict[str, Material], level: float) -> tuple[Found, dict[tuple[str, str], NotEnough]]:
    """Ask each contrast by each fact; at least one must be answerable."""
    found: Found = {}
    thin: dict[tuple[str, str], NotEnough] = {}
    for contrast, material in materials.items():
        for fact in GROUP_LABELS:
            try:
                found[contrast, fact] = effects_by_group(material, fact, level=level)
            except NotEnough as reason:
                thin[contrast, fact] = reason
    if not found:
        raise next(iter(thin.values()))
    return found, thin


def _between(fact: str) -> str:
    """Name the difference of the differences."""
    first, second = GROUPS[fact].values()
    return f"{second} less {first}"


def _figures(found: Found) -> list[tuple[str, str, Estimate]]:
    """List both groups and their difference, in successes of 100."""
    return [
        (contrast, label, figure.scaled(100))
        for (contrast, fact), effects in found.items()
        for label, figure in (
            *((GROUPS[fact][name], each) for name, each in effects.effects.items()),
            (_between(fact), effects.interaction),
        )
    ]


def _table(figures: list[tuple[str, str, Estimate]]) -> pd.DataFrame:
    """Lay out both groups and their difference."""
    return pd.DataFrame(
        [
            {
                "softening": contrast,
                "group": label,
                "ears": figure.n,
                "more_in_100": figure.value,
                "low": figure.low,
                "high": figure.high,
            }
            for contrast, label, figure in figures
        ]
    )


def _chart(figures: list[tuple[str, str, Estimate]]) -> go.Figure:
    """Draw both groups and their difference, which has a colour of its own."""
    bars = [
        Bar(
            f"Softening {contrast}, {label}",
            figure.value,
            figure.low,
            figure.high,
            NAMED[0] if " less " in label else RECOMMENDED,
        )
        for contrast, label, figure in figures
    ]
    return range_chart(bars, x_title="more successes in 100 first attempts with softening", reference=0.0)


def _headline(found: Found, days: pd.Series) -> str:
    """Say the leading contrast's difference between groups."""
    (contrast, fact), effects = next(iter(found.items()))
    first, second = (say.short_successes(each) for each in effects.effects.values())
    names = list(GROUPS[fact].values())
    gap = effects.interaction.scaled(100)
    _, ends = say.spoken(gap, "more", "fewer")
    better = names[1] if gap.value > 0 else names[0]
    verdict = f"softening does more for {better} ones" if gap.excludes_zero else "that may be chance"
    return (
        f"{say.ARMS[contrast].capitalize()} went with {first} for {names[0]} ears and {second} for {names[1]} ones; "
        f"they differ by {words.number(abs(gap.value), 1)} ({ends}), so {verdict}, "
        f"{words.months(days.min(), days.max())}."
    )


def _rows(contrast: str, effects: GroupEffects) -> list[ResultRow]:
    """Give both effects and their difference."""
    rows = [
        ResultRow.from_estimate(
            "softening", "risk_difference_in_group", "share", each, contrast=contrast, fact=effects.fact, level=name
        )
        for name, each in effects.effects.items()
    ]
    gap = effects.interaction
    return [
        *rows,
        ResultRow.from_estimate(
            "softening", "difference_between_groups", "share", gap, contrast=contrast, fact=effects.fact
        ),
    ]

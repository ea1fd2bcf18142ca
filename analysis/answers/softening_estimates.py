"""Softening compared in five ways side by side: as the groups are, and like with like in four ways."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import SEED, Asked, asked_of, by_contrast
from analysis.answers.softening_figures import arms_rows
from analysis.clinic import Clinic
from analysis.models.softening import did_as_advised
from analysis.models.softening_estimates import SideBySide, side_by_side
from analysis.models.softening_material import Material
from analysis.present import words
from analysis.present.answer import INFORMATION, PASSED, Answer, Basis, Check, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.effects import mean_difference, number_needed, risk_ratio
from analysis.stats.estimate import Estimate

QUESTION = "Do other ways of comparing like with like agree?"
DRAWS = 100
AGREES_WITHIN = 0.25
"""How far 100 draws may take the spread from the formula's before the check says so: about three and a half times chance."""
WAYS = {
    "unadjusted": "as they are",
    "standardised": "like with like",
    "weighted": "weighted alike",
    "overlap_weighted": "weighted to shared ground",
    "doubly_robust": "like with like and weighted",
}
EXPLAINED = (
    "Like with like: a model foretells each ear's chance of success with softening and without, and both are averaged "
    "over all ears.",
    "Weighted alike: ears that were unlikely to be in the group they are in count for more, until both groups look like all ears.",
    "Weighted to shared ground: ears that might well have been in either group count for most; the figure speaks of those.",
    "Like with like and weighted: both at once; it is right if either the model of success or the model of who softens is.",
)


@of_drawn_patients
def softening_side_by_side(clinic: Clinic) -> Answer:
    """Set five ways of comparing softening side by side.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Softening advised and softening used, each in five ways: success in both
        groups, difference, ratio and number needed. Rows: ``success_share``,
        ``risk_difference``, ``risk_ratio``, ``number_needed_to_treat``.
    """
    try:
        asked = asked_of(clinic)
        sides, refusals = by_contrast(lambda contrast: _drawn(asked, asked.ears(contrast)))
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    lead = next(iter(sides.values()))
    alike = [
        mean_difference(arms, lead.level).scaled(100)
        for name, arms in lead.compared.arms.items()
        if name != "unadjusted"
    ]
    plain = mean_difference(lead.compared.arms["unadjusted"], lead.level)
    sample, contrast = lead.material.sample, lead.material.contrast
    return Answer(
        QUESTION,
        _headline(contrast, alike, sample.rows["day"]),
        how_sure=f"{words.how_sure(lead.level)} All of them leave out what nobody wrote down.",
        table=_table(sides),
        chart=range_chart(_bars(sides), x_title="more successes in 100 first attempts with softening", reference=0.0),
        chart_title=f"{say.ARMS[contrast].capitalize()}: {_spread(alike)} more in 100 in four ways like with like; "
        f"{say.short_successes(plain)} as the groups are",
        chart_text="; ".join(
            f"softening {side.material.contrast}, {WAYS[name]}: {say.more_successes(figure.scaled(0.01))}"
            for side, name, figure in _figures(sides)
        ).capitalize()
        + ".",
        assumptions=(*EXPLAINED, "Each is right only if nothing unrecorded steers both softening and the result."),
        cautions=say.CAUTIONS,
        checks=(
            *(_redrawn_check(side) for side in sides.values()),
            *say.did_as_advised_checks(did_as_advised(asked.table, level=lead.level)),
            *(say.not_answered_check(each, reason) for each, reason in refusals.items()),
        ),
        basis=basis_of(
            lead.material, "ears", "Logistic regressions of success and of who softens; patients clustered."
        ),
        rows=tuple(
            row for side in sides.values() for row in arms_rows(side.compared.arms, side.material.contrast, side.level)
        ),
    )


def basis_of(material: Material, of_what: str, method: str) -> Basis:
    """Say what a comparison rests on."""
    sample = material.sample
    left_out = say.left_out_of(sample.left_out, material.contrast)
    return Basis(len(sample.rows), of_what, left_out, sample.rows["day"].min(), sample.rows["day"].max(), method)


def _drawn(asked: Asked, material: Material) -> SideBySide:
    """Compare in all ways, patients drawn anew beside the formulas."""
    return side_by_side(material, level=asked.level, draws=DRAWS, rng=np.random.default_rng(SEED))


def _headline(contrast: str, alike: list[Estimate], days: pd.Series) -> str:
    """Say how near the four ways lie to each other, and their outermost ends."""
    low, high = min(each.low for each in alike), max(each.high for each in alike)
    ends = f"their ranges together run from {words.number(low, 1)} to {words.number(high, 1)}"
    return (
        f"Compared like with like in four ways, {say.ARMS[contrast]} went with {_spread(alike)} more successes in 100 first "
        f"attempts ({ends}), {words.months(days.min(), days.max())}."
    )


def _spread(alike: list[Estimate]) -> str:
    """Say how far the ways lie apart."""
    said = [words.number(each, 1) for each in (min(a.value for a in alike), max(a.value for a in alike))]
    return f"about {said[0]}" if said[0] == said[1] else f"{said[0]} to {said[1]}"


def _figures(sides: dict[str, SideBySide]) -> list:
    """List every comparison with its difference in 100."""
    return [
        (side, name, mean_difference(arms, side.level).scaled(100))
        for side in sides.values()
        for name, arms in side.compared.arms.items()
    ]


def _bars(sides: dict[str, SideBySide]) -> list[Bar]:
    """Draw every difference; the plain one in today's grey."""
    colours = {"unadjusted": TODAY}
    return [
        Bar(
            f"{side.material.contrast.capitalize()}, {WAYS[name]}",
            figure.value,
            figure.low,
            figure.high,
            colours.get(name, RECOMMENDED),
        )
        for side, name, figure in _figures(sides)
    ]


def _table(sides: dict[str, SideBySide]) -> pd.DataFrame:
    """Lay every comparison out, one a row."""
    rows = []
    for side, name, figure in _figures(sides):
        arms = side.compared.arms[name]
        ratio = risk_ratio(arms, side.level)
        rows.append(
            {
                "softening": side.material.contrast,
                "compared": WAYS[name],
                "ears_with": arms.n_treated,
                "ears_without": arms.n_untreated,
                "share_with": arms.treated,
                "share_without": arms.untreated,
                "more_in_100": figure.value,
                "low": figure.low,
                "high": figure.high,
                "risk_ratio": ratio.value,
                "ratio_low": ratio.low,
                "ratio_high": ratio.high,
                "number_needed": say.needed_cell(number_needed(figure.scaled(0.01))),
            }
        )
    return pd.DataFrame(rows)


def _redrawn_check(side: SideBySide) -> Check:
    """Say whether patients drawn anew give ranges as wide as the formulas."""
    ratios = list(side.redrawn_error_ratio.values())
    agrees = max(abs(ratio - 1) for ratio in ratios) <= AGREES_WITHIN
    ends = f"between {words.percent(min(ratios))} and {words.percent(max(ratios))}"
    return Check(
        f"Ranges, softening {side.material.contrast}",
        PASSED if agrees else INFORMATION,
        f"With whole patients drawn anew {DRAWS} times, the ranges are {ends} as wide as those shown.",
    )

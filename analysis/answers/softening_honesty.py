"""Can the comparison of softening be trusted: balance, overlap, what is hidden, and how many ears it would take."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import Asked, asked_of, by_contrast
from analysis.answers.softening_estimates import WAYS, basis_of
from analysis.clinic import Clinic
from analysis.models.softening_balance import Balance, EarsNeeded, balance, ears_needed, other_ears_material
from analysis.models.softening_estimates import SideBySide, side_by_side
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Check, ResultRow, no_answer
from analysis.present.chart_balance import balance_chart
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import NAMED, RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.effects import mean_difference
from analysis.stats.estimate import Estimate

ALIKE_QUESTION = "Are the softened ears and the others alike enough to be compared?"
NEEDED_QUESTION = "How many ears would show that softening pays?"
SMALL_DIFFERENCE = 0.1
"""A standardised difference below this is usually called small (Austin 2009, Statistics in Medicine 28, 3083-3107)."""
OTHER_EARS = "Ears that were not occluding"
BESIDE, ALL = "beside_an_occluding_ear", "all"
OTHER_WHICH = {
    BESIDE: "On ears that were not occluding, beside one that was, at the same first visit",
    ALL: "Too few such ears lay beside an occluding one, so all that were worked on are taken: on these",
}
OTHER_CLEAR = (
    "That cannot be read one way only: drops may have gone into that ear too and helped it, or the groups differ in something "
    "nobody wrote down. It is a reason to take the figure for occluding ears with care."
)
OTHER_UNCLEAR = (
    "No difference is clear there. That speaks only weakly against a hidden difference between the groups: one log seldom has "
    "enough such ears to show one, and the range says how large a one could still hide."
)


@of_drawn_patients
def are_the_groups_alike(clinic: Clinic) -> Answer:
    """Look at balance before and after weighting, overlap, what weighting costs, and a negative control.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Rows: ``standardised_difference``, ``effective_ears``,
        ``shared_ground_share``, ``other_ears_difference``.
    """
    try:
        asked = asked_of(clinic)
        sides, refusals = by_contrast(lambda contrast: side_by_side(asked.ears(contrast), level=asked.level))
    except NotEnough as reason:
        return no_answer(ALIKE_QUESTION, reason)
    contrast, lead = next(iter(sides.items()))
    found = balance(lead)
    table = found.differences.sort_values("before", ascending=False, kind="stable").reset_index(drop=True)
    facts = [say.FACTS[fact].capitalize() for fact in table["fact"]]
    control, control_rows = _other_ears(asked, contrast)
    return Answer(
        ALIKE_QUESTION,
        _alike_headline(lead, table),
        how_sure="Alike in what is recorded does not mean alike in what is not; the next answer asks how strong that would have to be.",
        table=pd.DataFrame(
            {
                "fact": facts,
                "difference_before": table["before"].round(3),
                "difference_weighted": table["weighted"].round(3),
                "difference_overlap": table["overlap_weighted"].round(3),
            }
        ),
        chart=_alike_chart(facts, table),
        chart_title=f"How far the ears with {say.ARMS[contrast]} and the others are apart, as they are and weighted",
        chart_text="; ".join(
            f"{fact}: {words.number(before, 2)} as they are, {words.number(after, 2)} weighted"
            for fact, before, after in zip(facts, table["before"], table["weighted"], strict=True)
        ),
        assumptions=(
            "Apart is the difference of the two groups' shares over their spread, the largest over a fact's levels; "
            f"below {SMALL_DIFFERENCE} is usually called small.",
            "Shared ground says how far both groups' chances of softening, given what is recorded, lie over each other.",
        ),
        cautions=say.CAUTIONS,
        checks=(
            _balance_check(table),
            _overlap_check(found),
            _worth_check(lead, found),
            control,
            *(say.not_answered_check(each, reason) for each, reason in refusals.items()),
        ),
        basis=basis_of(lead.material, "ears", "Standardised differences; a logistic regression of who softens."),
        rows=(*_balance_rows(contrast, found), *control_rows),
    )


def _alike_chart(facts: list[str], table: pd.DataFrame) -> go.Figure:
    """Draw how far apart the groups are in each fact, as they are and weighted in two ways."""
    return balance_chart(
        facts,
        [
            (WAYS["unadjusted"], list(table["before"]), TODAY),
            (WAYS["weighted"], list(table["weighted"]), RECOMMENDED),
            (WAYS["overlap_weighted"], list(table["overlap_weighted"]), NAMED[0]),
        ],
        x_title="how far apart both groups are, in spreads",
        line=SMALL_DIFFERENCE,
    )


def _alike_headline(lead: SideBySide, table: pd.DataFrame) -> str:
    """Say how many facts are apart before and after."""
    contrast, days = lead.material.contrast, lead.material.sample.rows["day"]
    before = [say.FACTS[fact] for fact in table.loc[table["before"] >= SMALL_DIFFERENCE, "fact"]]
    after = [say.FACTS[fact] for fact in table.loc[table["weighted"] >= SMALL_DIFFERENCE, "fact"]]
    apart = f"differ from the others in {words.joined(before)}" if before else "differ little from the others"
    then = (
        f"weighting leaves them apart in {words.joined(after)}"
        if after
        else "weighting makes them alike in all that is recorded"
    )
    return f"Ears with {say.ARMS[contrast]} {apart}; {then}, {words.months(days.min(), days.max())}."


def _balance_check(table: pd.DataFrame) -> Check:
    """Say the largest difference left."""
    largest = table["weighted"].max()
    return Check(
        "Alike after weighting",
        PASSED if largest < SMALL_DIFFERENCE else FAILED,
        f"The largest difference left is {words.number(largest, 2)}; as they are it was {words.number(table['before'].max(), 2)}.",
    )


def _overlap_check(found: Balance) -> Check:
    """Say how far both groups share ground."""
    ends = f"between {words.percent(found.least_chance)} and {words.percent(found.most_chance)}"
    enough = found.least_chance > 0.02 and found.most_chance < 0.98
    return Check(
        "Shared ground",
        PASSED if enough else FAILED,
        f"Given what is recorded, nearly all ears had a chance {ends} of being in the softened group; the groups' "
        f"spreads of chances lie over each other by {words.percent(found.shared_ground_share)}.",
    )


def _worth_check(lead: SideBySide, found: Balance) -> Check:
    """Say what the weighted ears are worth."""
    arms = lead.compared.arms["unadjusted"]
    softened, others = found.effective_ears["weighted"]
    return Check(
        "What weighting costs",
        INFORMATION,
        f"Weighted alike, {words.count(arms.n_treated)} softened ears are worth {words.count(softened)} "
        f"equal ones, and {words.count(arms.n_untreated)} others {words.count(others)}.",
    )


def doubt_from_other_ears(asked: Asked, contrast: str) -> tuple[list[Check], list[ResultRow]]:
    """Say that ears on which softening should do little show a clear difference; nothing where they show none, or are too few.

    Parameters
    ----------
    asked : Asked
    contrast : str

    Returns
    -------
    list of Check
        None or one.
    list of ResultRow
        ``other_ears_difference``, beside the check.
    """
    try:
        gap, which = _other_gap(asked, contrast)
    except NotEnough:
        return [], []
    if not gap.excludes_zero:
        return [], []
    sentence = f"{_other_shows(gap, which)}, which is a reason to take the figure for occluding ears with care."
    return [Check(OTHER_EARS, INFORMATION, sentence)], [_other_row(gap, which, contrast)]


def _other_ears(asked: Asked, contrast: str) -> tuple[Check, list[ResultRow]]:
    """Ask the ears on which softening should do little."""
    try:
        gap, which = _other_gap(asked, contrast)
    except NotEnough as reason:
        return Check(OTHER_EARS, INFORMATION, f"This test cannot be made. {reason.why}"), []
    sentence = f"{_other_shows(gap, which)}. {OTHER_CLEAR if gap.excludes_zero else OTHER_UNCLEAR}"
    return Check(OTHER_EARS, INFORMATION, sentence), [_other_row(gap, which, contrast)]


def _other_gap(asked: Asked, contrast: str) -> tuple[Estimate, str]:
    """Give the difference on ears that were not occluding, and which they are."""
    side, which = _other_side(asked, contrast)
    return mean_difference(side.compared.arms["doubly_robust"], asked.level), which


def _other_shows(gap: Estimate, which: str) -> str:
    """Say what ears that were not occluding show."""
    return (
        f"{OTHER_WHICH[which]} ({words.count(gap.n)} ears), softening should change little; the log shows "
        f"{say.more_successes(gap)}"
    )


def _other_row(gap: Estimate, which: str, contrast: str) -> ResultRow:
    """Keep what ears that were not occluding show."""
    return ResultRow.from_estimate(
        "softening", "other_ears_difference", "share", gap, contrast=contrast, which_ears=which
    )


def _other_side(asked: Asked, contrast: str) -> tuple[SideBySide, str]:
    """Compare ears beside an occluding one, or all that were not occluding where those are too few."""

    def compared(*, beside_occluding: bool) -> SideBySide:
        material = other_ears_material(
            asked.table,
            contrast=contrast,
            fewest_ears=asked.fewest,
            followed_until=asked.followed_until,
            beside_occluding=beside_occluding,
        )
        return side_by_side(material, level=asked.level)

    try:
        return compared(beside_occluding=True), BESIDE
    except NotEnough:
        return compared(beside_occluding=False), ALL


def _balance_rows(contrast: str, found: Balance) -> list[ResultRow]:
    """Give balance, overlap and worth."""
    method = "largest absolute standardised difference of a fact's levels"
    rows = [
        ResultRow("softening", "standardised_difference", {"contrast": contrast, "fact": row["fact"], "weighting": way},
                  float(row[way]), None, None, None, "", None, method)
        for row in found.differences.to_dict("records")
        for way in ("before", "weighted", "overlap_weighted")
    ]  # fmt: skip
    for way, worth in found.effective_ears.items():
        for arm, ears in zip(("softened", "not_softened"), worth, strict=True):
            group = {"arm": arm, "contrast": contrast, "weighting": way}
            rows.append(ResultRow("softening", "effective_ears", group, ears, None, None, None, "ears", None, "Kish"))
    shared = found.shared_ground_share
    rows.append(
        ResultRow(
            "softening",
            "shared_ground_share",
            {"contrast": contrast},
            shared,
            None,
            None,
            None,
            "share",
            None,
            "histograms of 20 parts",
        )
    )
    return rows


@of_drawn_patients
def how_many_ears_are_needed(clinic: Clinic) -> Answer:
    """Say how many ears would show a difference of 5, 10 or 15 in 100.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Rows: ``ears_needed``.
    """
    try:
        asked = asked_of(clinic)
        sides, refusals = by_contrast(lambda contrast: side_by_side(asked.ears(contrast), level=asked.level))
    except NotEnough as reason:
        return no_answer(NEEDED_QUESTION, reason)
    contrast, lead = next(iter(sides.items()))
    needed = ears_needed(lead)
    if not needed.ears:
        why = "Nearly every unsoftened ear succeeds, so that softening can add no 5 in 100."
        return no_answer(NEEDED_QUESTION, NotEnough(why, "Go on recording."))
    return Answer(
        NEEDED_QUESTION,
        _needed_headline(contrast, needed),
        how_sure=f"Planned so that 8 logs of 10 would show such a difference if it is there, with {words.percent(asked.level)} ranges.",
        table=pd.DataFrame(
            {
                "points_in_100": list(needed.ears),
                "ears_needed": list(needed.ears.values()),
                "ears_if_independent": list(needed.independent_ears.values()),
                "ears_short": [max(many - needed.compared, 0) for many in needed.ears.values()],
            }
        ),
        chart=range_chart(
            [
                *(Bar(f"To see {points} in 100", many, many, many, RECOMMENDED, words.plural(many, "ear")) for points, many in needed.ears.items()),
                Bar("In this log", needed.compared, needed.compared, needed.compared, TODAY, words.plural(needed.compared, "ear")),
            ],
            x_title="ears of both groups together",
            from_zero=True,
        ),
        chart_title="Ears it takes to see a difference, and the ears this log holds",
        chart_text=_needed_headline(contrast, needed),
        assumptions=(
            "Two ears of a patient are alike: that multiplies the ears needed by "
            f"{words.number(needed.design_effect, 2)}, and making the groups alike by {words.number(needed.adjusting_effect, 2)}; "
            "both are this log's own.",
            "The groups stay as uneven as they are, and unsoftened ears succeed as often as they do now.",
            "More ears narrow the range of chance; they do nothing about what nobody wrote down.",
        ),
        cautions=say.CAUTIONS,
        checks=tuple(say.not_answered_check(each, reason) for each, reason in refusals.items()),
        basis=basis_of(lead.material, "ears", "Two shares compared (Fleiss, Levin and Paik), times this log's design effect."),
        rows=tuple(
            ResultRow("softening", "ears_needed", {"contrast": contrast, "points": points}, float(many), None, None,
                      asked.level, "ears", needed.compared, "normal formula, power 0.8, design effect of the log")
            for points, many in needed.ears.items()
        ),
    )  # fmt: skip


def _needed_headline(contrast: str, needed: EarsNeeded) -> str:
    """Say the three numbers beside what the log holds."""
    told = words.joined([f"{words.count(many)} ears for {points} in 100" for points, many in needed.ears.items()])
    return (
        f"To see what {say.ARMS[contrast]} brings takes about {told}; this log compares {words.count(needed.compared)}."
    )

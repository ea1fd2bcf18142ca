"""Do softened ears and the others share ground: how likely each was to be softened, given what is recorded."""

from __future__ import annotations

import pandas as pd

from analysis.answers import softening_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.softening_asked import asked_of, by_contrast
from analysis.answers.softening_estimates import basis_of
from analysis.clinic import Clinic
from analysis.models.softening_balance import balance, chances_by_arm
from analysis.models.softening_estimates import side_by_side
from analysis.present import words
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Line, line_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough

QUESTION = "Do like ears come both ways?"


@of_drawn_patients
def do_the_groups_share_ground(clinic: Clinic) -> Answer:
    """Show how likely softened ears and the others were to be softened, given what is recorded.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Where one group's curve stands alone, like cannot be compared with like.
        Rows: ``shared_ground_share``.
    """
    try:
        asked = asked_of(clinic)
        sides, refusals = by_contrast(lambda contrast: side_by_side(asked.ears(contrast), level=asked.level))
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    contrast, lead = next(iter(sides.items()))
    found, table = balance(lead), chances_by_arm(lead)
    middles = [round(100 * each, 1) for each in table["middle"]]
    days = lead.material.sample.rows["day"]
    shared = f"{words.percent(found.shared_ground_share)} of the groups' spreads lie over each other"
    ends = f"between {words.percent(found.least_chance)} and {words.percent(found.most_chance)}"
    return Answer(
        QUESTION,
        f"Given what is recorded, nearly every ear had a chance {ends} of being among those with {say.ARMS[contrast]}, "
        f"and {shared}, {words.months(days.min(), days.max())}.",
        how_sure="Chances near none or near certain would mean that some ears have no like on the other side.",
        table=pd.DataFrame(
            {
                "chance_band": [f"{low:.0f} to {low + 5:.0f}%" for low in (each - 2.5 for each in middles)],
                "ears_with": table["softened"],
                "ears_without": table["others"],
            }
        ),
        chart=line_chart(
            [
                Line("softened", middles, (table["softened"] / table["softened"].sum()).tolist(), colour=RECOMMENDED),
                Line("others", middles, (table["others"] / table["others"].sum()).tolist(), colour=TODAY, dash="dash"),
            ],
            x_title="chance of softening in 100, given what is recorded",
            y_title="share of each group's ears",
            percent=True,
        ),
        chart_title=f"{words.percent(found.shared_ground_share)} of the two groups' spreads of chances lie over each other",
        chart_text=f"Two curves of the chance of softening, one a group; {shared}.",
        assumptions=(
            "The chance comes from a logistic regression of who softens on grade, impaction, what was found, canal, age, "
            "hearing aid, kind of booking and practitioner, and on pairs of these that say more together than chance would.",
        ),
        cautions=say.CAUTIONS,
        checks=tuple(say.not_answered_check(each, reason) for each, reason in refusals.items()),
        basis=basis_of(lead.material, "ears", "Logistic regression of who softens."),
        rows=(
            ResultRow(
                "softening", "shared_ground_share", {"contrast": contrast}, found.shared_ground_share, None, None, None,
                "share", len(days), "histograms of 20 parts",
            ),
        ),
    )  # fmt: skip

"""Whether the chances of grades at return fit what was seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.grade_at_return import GradesAtReturn, fit_grades_at_return
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Basis, Check, no_answer
from analysis.present.chart_foreseen import Dots, foreseen_chart
from analysis.present.theme import GRADE_BLUES
from analysis.problems import NotEnough
from analysis.schema import GRADES
from analysis.stats.proportions import wilson_share

QUESTION = "Do the curves of how full ears are fit what was seen?"
KINDS = {True: "symptoms", False: "another reason"}
SYMBOLS = ("circle", "square", "diamond", "triangle-up")
SHARES = ("share_fitted", "share_seen", "share_seen_low", "share_seen_high")
GROUPS_OF_MONTHS = 6
FEWEST_IN_GROUP = 20
FURTHEST_OFF = 0.04
"""Mean distance of fitted from seen shares above which the fit is said to be poor (our choice, no source)."""
MEAN_OF_A_NORMAL = float(np.sqrt(2 / np.pi))
"""Mean distance from nought of a normal figure of spread 1."""


@dataclass(frozen=True, eq=False)
class GroupsOfMonths:
    """Ears of one kind of return in groups of months with about as many each.

    Attributes
    ----------
    months : numpy.ndarray, shape (groups,)
        Mean months since clearance.
    ears : numpy.ndarray of int, shape (groups,)
    counted : numpy.ndarray of int, shape (groups, grades)
        Ears found in each grade.
    fitted : numpy.ndarray, shape (groups, grades)
        Mean fitted chance of each grade.
    """

    months: np.ndarray
    ears: np.ndarray
    counted: np.ndarray
    fitted: np.ndarray

    @property
    def seen(self) -> np.ndarray:
        """Shares seen."""
        return self.counted / self.ears[:, None]

    @property
    def apart(self) -> np.ndarray:
        """How far fitted shares lie from those seen."""
        return np.abs(self.seen - self.fitted)

    @property
    def by_chance(self) -> np.ndarray:
        """How far they would lie on average were the fit exact and every ear by itself."""
        return MEAN_OF_A_NORMAL * np.sqrt(self.fitted * (1 - self.fitted) / self.ears[:, None])


def in_groups(fitted: GradesAtReturn, *, symptoms: bool) -> GroupsOfMonths:
    """Put fitted and seen shares side by side in groups of months.

    Parameters
    ----------
    fitted : GradesAtReturn
    symptoms : bool
        Kind of return; one that ``fitted`` has.

    Returns
    -------
    GroupsOfMonths
    """
    mine = fitted.seen[fitted.seen["symptoms"] == symptoms].sort_values("months")
    many = max(1, min(GROUPS_OF_MONTHS, len(mine) // FEWEST_IN_GROUP))
    parts = np.array_split(np.arange(len(mine)), many)
    codes = pd.Categorical(mine["grade"], list(GRADES)).codes
    months = mine["months"].to_numpy()
    fit = fitted.kinds[symptoms].chances(months)
    return GroupsOfMonths(
        np.array([months[part].mean() for part in parts]),
        np.array([len(part) for part in parts]),
        np.array([np.bincount(codes[part], minlength=len(GRADES)) for part in parts]),
        np.array([fit[part].mean(axis=0) for part in parts]),
    )


def fit_check(fitted: GradesAtReturn) -> Check:
    """Say how far fitted shares lie from those seen, beside what chance would do.

    Parameters
    ----------
    fitted : GradesAtReturn

    Returns
    -------
    Check
        Failed where they lie further apart on average than 4 in 100.
    """
    groups = [in_groups(fitted, symptoms=kind) for kind in fitted.kinds]
    off, chance = (
        float(np.concatenate([getattr(each, name) for each in groups]).mean()) for name in ("apart", "by_chance")
    )
    furthest = max(float(each.apart.max()) for each in groups)
    said = (
        f"In groups of months, fitted shares lie {words.number(100 * off, 1)} in 100 from those seen on average, where chance "
        f"alone would make it about {words.number(100 * chance, 1)}; the furthest lies {words.number(100 * furthest, 0)} off."
    )
    name = "Fit beside what was seen"
    if len(fitted.seen) < FEWEST_IN_GROUP * GROUPS_OF_MONTHS:
        return Check(name, INFORMATION, f"{said} There are too few ears to judge by.")
    if off <= FURTHEST_OFF:
        return Check(name, PASSED, said)
    return Check(name, FAILED, f"{said} Trust the dots of the chart rather than its lines.")


@of_drawn_patients
def do_grades_fit(clinic: Clinic) -> Answer:
    """Set fitted chances of each grade beside the shares seen.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where ``how_full_at_return`` has none.
    """
    try:
        fitted = fit_grades_at_return(clinic_gaps(clinic), clinic.settings.recall.fewest_ears)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level = clinic.settings.level
    table = pd.concat([_table(in_groups(fitted, symptoms=kind), kind, level) for kind in fitted.kinds])
    held = int(
        ((table["share_seen_low"] <= table["share_fitted"]) & (table["share_fitted"] <= table["share_seen_high"])).sum()
    )
    check, days = fit_check(fitted), fitted.seen["day"]
    return Answer(
        question=QUESTION,
        headline=f"{check.sentence.split(';')[0]}, going by returns {words.from_months(days.min(), days.max())}.",
        how_sure=f"Ranges of the shares seen: {words.how_sure(level)} They take each ear by itself.",
        table=table.reset_index(drop=True),
        chart=foreseen_chart(_dots(table)),
        chart_title=f"The range of the share seen holds the fitted one in {held} of {len(table)} groups",
        chart_text=f"A dot a group of months and grade, fitted share along and seen share up; {held} of {len(table)} ranges reach "
        f"the line on which both are alike. {check.sentence}",
        assumptions=("The same ears are fitted and shown: this tells a wrong shape, not how well other ears are foretold.",),
        cautions=("A good fit on average says nothing of one patient: look in the ear.",),
        checks=(check,),
        basis=Basis(
            len(fitted.seen), "cleared ears seen again", {}, days.min(), days.max(),
            "Groups of months with about as many ears each; shares seen with Wilson's ranges, beside the mean fitted chance.",
        ),
    )  # fmt: skip


def _table(groups: GroupsOfMonths, kind: bool, level: float) -> pd.DataFrame:
    """Lay out every group and grade, but for grades never seen at this kind of return."""
    rows = []
    for at, ears in enumerate(groups.ears):
        for place, grade in enumerate(GRADES):
            if groups.counted[:, place].any():
                seen = wilson_share(int(groups.counted[at, place]), int(ears), level)
                rows.append(
                    {
                        "came_for": KINDS[kind], "months_since": groups.months[at], "grade": grade, "ears": int(ears),
                        "share_seen": seen.value, "share_seen_low": seen.low, "share_seen_high": seen.high,
                        "share_fitted": groups.fitted[at, place],
                    }
                )  # fmt: skip
    return pd.DataFrame(rows)


def _dots(table: pd.DataFrame) -> list[Dots]:
    """Give the chart its dots, grade by grade."""
    dots = []
    for place, (grade, label) in enumerate(GRADES.items()):
        mine = table[table["grade"] == grade]
        if len(mine):
            fitted, seen, low, high = (mine[name].tolist() for name in SHARES)
            dots.append(Dots(label, fitted, seen, low, high, GRADE_BLUES[grade], SYMBOLS[place]))
    return dots

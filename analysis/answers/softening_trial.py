"""A fair test of one's own: how long it takes, the random list, and what a test that ran has found."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from analysis.answers.softening_asked import SEED, Asked, asked_of
from analysis.answers.softening_words import CAUTIONS, left_out_of, more_successes
from analysis.clinic import Clinic
from analysis.models.softening_trial import (
    FEWEST_PERIODS,
    Schedule,
    TrialBasis,
    TrialResult,
    analyse_trial,
    trial_basis,
)
from analysis.planning.trial_plan import (
    BLOCK,
    LEAST_OUTER,
    MOST_PERIODS,
    TrialPlan,
    period_starts,
    plan_trial,
    random_list,
)
from analysis.planning.trial_plan import FEWEST_PERIODS as FEWEST_PLANNED
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.settings import SofteningTestPart
from analysis.stats.proportions import wilson_share

PLAN = "How long would a fair test of advice take?"
LIST = "Which weeks have advice in a fair test?"
FOUND = "What did your fair test find?"
NO_TEST = (
    "No test is set in clinic.toml. Once one has run, write softening_test.first_day, last_day and advised there, and this "
    "says what it found."
)
SECTION = "softening"
USUAL = (0.05, 0.10, 0.15)
WRITTEN = (
    "Who counts: every first attempt at a partly or fully occluding ear at a visit within the test, with the usual reasons "
    "against softening left out, wherever its appointment falls.",
    "What is compared: ears of {unit}s with advice in the booking message against ears of {unit}s without, as the list says, "
    "whether or not people softened or the message went out.",
    "What counts as success: clear, or only a non-occluding remnant left, and no further attempt within {days} days.",
    "How: the difference of the two shares, ears taken together by {unit}, Student's t; and how often lists that chance could "
    "have drawn show as much. Nobody looks before the last visit has been followed {days} days, and the test is not stopped early.",
)
ETHICS = (
    "Whether such a test is service evaluation or research is for local rules to decide; ask before it starts, and write the "
    "answer down.",
    "Patients may always soften, or not, as they and the person treating them think right; the list changes the routine "
    "message only. Where rules ask for it, patients are told and may decline.",
    "Advice is never sent where softening is contraindicated, whatever the list says.",
)


LIKE_WITH_LIKE = (
    "What {unit}s without advice would show is foretold for all ears compared, hard ones too, from like ears that were not "
    "advised; those not advised so far may have been easier ones."
)
AS_THEY_ARE = (
    "What {unit}s without advice would show is taken from the ears not advised so far, as they are, because the log allows no "
    "fair comparison. If those were the easier ones, fewer will succeed."
)


def plan_fair_test(clinic: Clinic) -> Answer:
    """Say how many weeks of chance-decided advice would show whether it helps.

    Parameters
    ----------
    clinic : Clinic
        ``softening_test`` sets difference, power and whether chance decides on weeks or days.

    Returns
    -------
    Answer
        Rows: ``periods_needed``, ``correlation``.
    """
    try:
        asked = asked_of(clinic)
        part = clinic.settings.softening_test
        basis = _basis_of(asked, part)
    except NotEnough as reason:
        return no_answer(PLAN, reason)
    wanted = sorted({*USUAL, part.difference})
    plans = {each: _planned(basis, each, part, asked.level) for each in wanted if basis.untreated.value + each < 1}
    if part.difference not in plans:
        share = words.percent(basis.untreated.value)
        why = f"{share} are expected to succeed without advice already, which leaves no room for {part.difference * 100:g} more in 100."
        return no_answer(PLAN, NotEnough(why, "Choose a smaller softening_test.difference in clinic.toml."))
    return Answer(
        PLAN,
        _plan_headline(plans[part.difference], basis, part),
        how_sure="The list of "
        f"{part.unit}s comes from chance, so what the log does not hold falls on both sides alike. That is why such a test "
        "settles what the log alone cannot.",
        table=pd.DataFrame([_plan_row(plan) for plan in plans.values()]),
        assumptions=(
            *_written(clinic, part),
            f"Ears come as often as in the log: {basis.ears_a_period:.0f} that count a {part.unit}.",
            (LIKE_WITH_LIKE if basis.like_with_like else AS_THEY_ARE).format(unit=part.unit),
        ),
        cautions=(*ETHICS, *CAUTIONS),
        checks=_likeness_checks(basis, part),
        basis=Basis(
            len(basis.sample.rows),
            "ears",
            left_out_of(basis.sample.left_out, "advised"),
            basis.sample.rows["day"].min(),
            basis.sample.rows["day"].max(),
            "Periods drawn by chance, power of Student's t by period, correlations from the log.",
        ),
        rows=tuple(_plan_rows(plans, basis, part)),
    )


def list_for_the_test(clinic: Clinic) -> Answer:
    """Draw the list of weeks (or days), ready to print.

    Parameters
    ----------
    clinic : Clinic
        ``softening_test.seed`` gives the list; the same number gives it again.

    Returns
    -------
    Answer
        A table of first days and what the booking message says.
    """
    try:
        asked = asked_of(clinic)
        part = clinic.settings.softening_test
        plan = _planned(_basis_of(asked, part), part.difference, part, asked.level)
    except NotEnough as reason:
        return no_answer(LIST, reason)
    if plan.periods is None:
        why = f"A difference so small would take more than {MOST_PERIODS} {part.unit}s."
        return no_answer(LIST, NotEnough(why, "Choose a larger softening_test.difference in clinic.toml."))
    attended = clinic.visits.loc[clinic.visits["attendance"] == "attended", "slot_start"].dropna()
    first = part.first_day or (clinic.last_day + pd.Timedelta(days=1)).date()
    weekdays = set(attended.dt.day_of_week.unique().tolist())
    starts = period_starts(first, periods=plan.periods, unit=part.unit, open_weekdays=weekdays)
    advised = random_list(starts, rng=np.random.default_rng(part.seed))
    return Answer(
        LIST,
        f"{sum(advised)} of {len(starts)} {part.unit}s have advice, from {words.day(starts[0])}; the list below is to be "
        "printed and kept unchanged.",
        how_sure=f"Chance drew it from the number {part.seed}; of every {BLOCK} {part.unit}s in a row two have advice.",
        table=pd.DataFrame(
            {
                "period_starts": [words.day(day) for day in starts],
                "period_advice": ["advise softening" if yes else "usual message, no advice" for yes in advised],
            }
        ),
        assumptions=(
            "It goes by the day of the appointment: everyone booked into a period gets the message of that period.",
            "Whoever books does not choose the period by the ear. The list is kept where those who book cannot change it.",
            "Afterwards: first day, last day and the days with advice go into clinic.toml under softening_test.",
        ),
        cautions=(*ETHICS, *CAUTIONS),
    )


def what_the_test_found(clinic: Clinic) -> Answer:
    """Analyse a test of advice that ran, as chance decided it.

    Parameters
    ----------
    clinic : Clinic
        ``softening_test.first_day`` and ``last_day`` say when it ran, ``advised`` which
        periods had advice; without these the record of advice says so where it is clear.

    Returns
    -------
    Answer
        Rows: ``test_difference``, ``test_p_value``.
    """
    part = clinic.settings.softening_test
    if part.first_day is None or part.last_day is None:
        return Answer(FOUND, NO_TEST, answered=False)
    try:
        asked = asked_of(clinic)
        found = analyse_trial(
            asked.table,
            schedule=Schedule(part.first_day, part.last_day, part.advised, part.unit),
            level=asked.level,
            followed_until=asked.followed_until,
            rng=np.random.default_rng(SEED),
        )
    except NotEnough as reason:
        return no_answer(FOUND, reason)
    return Answer(
        FOUND,
        _found_headline(found, part),
        how_sure=f"Of lists that chance could have drawn, {words.percent(found.p_value)} show as large a difference. "
        f"{words.how_sure(asked.level)}",
        table=_arms_table(found, part),
        chart=range_chart(_arm_bars(found, asked.level, part), x_title="share that succeeded", percent=True),
        chart_title=f"With advice {words.percent(found.advised)} succeeded, without {words.percent(found.not_advised)}",
        chart_text=f"With advice {words.percent(found.advised)} of first attempts succeeded, without {words.percent(found.not_advised)}.",
        assumptions=_written(clinic, part),
        cautions=(*ETHICS, *CAUTIONS),
        checks=_told_checks(found, part),
        basis=Basis(
            found.difference.n,
            "ears",
            left_out_of(found.left_out, "advised"),
            found.periods["start"].min(),
            found.periods["start"].max(),
            f"Compared by {part.unit} as the list decided, whatever people then did.",
        ),
        rows=(
            ResultRow.from_estimate(SECTION, "test_difference", "share", found.difference),
            ResultRow(
                SECTION, "test_p_value", {}, found.p_value, None, None, None, "share", len(found.periods),
                "lists drawn anew within blocks of four",
            ),
        ),
    )  # fmt: skip


def _basis_of(asked: Asked, part: SofteningTestPart) -> TrialBasis:
    """Take from the log what a test would meet."""
    return trial_basis(
        asked.table,
        unit=part.unit,
        fewest_ears=asked.fewest,
        level=asked.level,
        followed_until=asked.followed_until,
    )


def _planned(basis: TrialBasis, difference: float, part: SofteningTestPart, level: float) -> TrialPlan:
    """Plan for one difference."""
    if basis.untreated.value + difference >= 1:
        raise NotEnough("Too many succeed without advice for so large a difference.", "Choose a smaller one.")
    return plan_trial(
        untreated=basis.untreated.value,
        difference=difference,
        power=part.power,
        level=level,
        ears_a_period=basis.ears_a_period,
        likeness=basis.likeness,
    )


def _written(clinic: Clinic, part: SofteningTestPart) -> tuple[str, ...]:
    """Give the analysis as it is written beforehand."""
    days = clinic.settings.softening.second_attempt_days
    return tuple(sentence.format(unit=part.unit, days=days) for sentence in WRITTEN)


def _plan_headline(plan: TrialPlan, basis: TrialBasis, part: SofteningTestPart) -> str:
    """Say how long the chosen test takes."""
    more = f"{plan.difference * 100:g} more successes in 100"
    without = f"without advice {words.percent(basis.untreated.value)} would be expected to succeed"
    if plan.periods is None:
        return f"To find {more} would take more than {MOST_PERIODS} {part.unit}s, too long for this clinic; {without}."
    return (
        f"A test of {plan.periods} {part.unit}s, half of them with advice as chance decides, would find {more} "
        f"in {words.number(plan.power * 10)} tests of 10; {without}."
    )


def _plan_row(plan: TrialPlan) -> dict:
    """Give one difference's row."""
    return {
        "trial_difference": plan.difference * 100,
        "weeks_needed": f"more than {MOST_PERIODS}" if plan.periods is None else words.count(plan.periods),
        "ears_needed": plan.ears,
    }


def _likeness_checks(basis: TrialBasis, part: SofteningTestPart) -> tuple[Check, ...]:
    """Say how alike ears end, and what that costs."""
    found = basis.likeness
    effect = found.design_effect(LEAST_OUTER)
    sentence = (
        "On a scale from 0 (no more alike than any others) to 1 (always alike) two ears of a patient end alike at "
        f"{words.number(found.inner, 2)}, ears of different patients in the same {part.unit} at {words.number(found.outer, 3)} "
        f"(planned for as at least {LEAST_OUTER}); so {words.number(effect, 1)} times as many ears are needed as if each stood "
        "alone."
    )
    short = (
        f"No test is planned shorter than {FEWEST_PLANNED} {part.unit}s, and none under {FEWEST_PERIODS} is analysed."
    )
    return (Check("How alike ears end", INFORMATION, sentence), Check("Shortest test", INFORMATION, short))


def _plan_rows(plans: dict[float, TrialPlan], basis: TrialBasis, part: SofteningTestPart) -> list[ResultRow]:
    """Give the plan's figures as ``results.json`` keeps them."""
    rows = [
        ResultRow(
            SECTION,
            "periods_needed",
            {"difference": difference, "power": part.power, "unit": part.unit},
            plan.periods,
            None,
            None,
            None,
            "periods",
            plan.ears,
            "noncentral t by period",
        )
        for difference, plan in plans.items()
    ]
    likeness = {"patient": basis.likeness.inner, part.unit: basis.likeness.outer}
    rows += [
        ResultRow(
            SECTION,
            "correlation",
            {"within": name},
            value,
            None,
            None,
            None,
            "share",
            len(basis.sample.rows),
            "moments",
        )
        for name, value in likeness.items()
    ]
    return rows


def _found_headline(found: TrialResult, part: SofteningTestPart) -> str:
    """Say what the test found, and when."""
    first, last = part.first_day or dt.date.min, part.last_day or dt.date.max
    period = f"in the test of {words.day(first)} to {words.day(last)}"
    figure = more_successes(found.difference)
    if found.difference.excludes_zero:
        return f"Advice made a difference: {figure}, {period}."
    return f"The test does not settle whether advice helps: {figure}, {period}."


def _arms_table(found: TrialResult, part: SofteningTestPart) -> pd.DataFrame:
    """Set both arms side by side."""
    rows = []
    for name, group in _arms(found, part).items():
        ears, successes = int(group["ears"].sum()), int(group["successes"].sum())
        rows.append({"period_arm": name, "periods": len(group), "ears": ears, "value": f"{successes / ears:.0%}"})
    return pd.DataFrame(rows)


def _arms(found: TrialResult, part: SofteningTestPart) -> dict[str, pd.DataFrame]:
    """Part the periods by what the list said."""
    with_it = found.periods["advised"]
    return {f"{part.unit}s with advice": found.periods[with_it], f"{part.unit}s without": found.periods[~with_it]}


def _arm_bars(found: TrialResult, level: float, part: SofteningTestPart) -> list[Bar]:
    """Draw both shares with ranges that take ears as independent within an arm."""
    bars = []
    for (name, group), colour in zip(_arms(found, part).items(), (RECOMMENDED, TODAY), strict=True):
        share = wilson_share(int(group["successes"].sum()), int(group["ears"].sum()), level)
        bars.append(Bar(name, share.value, share.low, share.high, colour))
    return bars


def _told_checks(found: TrialResult, part: SofteningTestPart) -> tuple[Check, ...]:
    """Say how far the record of advice follows the list."""
    told = [group["told"].mean() for group in _arms(found, part).values()]
    if any(pd.isna(share) for share in told):
        return (Check("Was the list kept", INFORMATION, "The log does not record advice, so nobody can say."),)
    sentence = (
        f"Advice is on record at {words.percent(told[0])} of visits in {part.unit}s with it and at {words.percent(told[1])} in "
        "those without. The nearer these are, the less the test can show."
    )
    return (Check("Was the list kept", INFORMATION, sentence),)

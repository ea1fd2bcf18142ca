"""How recall's figures are said: whom to call back when, what it rests on, what it does not replace."""

from __future__ import annotations

import pandas as pd

from analysis.answers.recall_group_words import (
    FACT_WORDS,
    WITH_AID,
    WITHOUT_AID,
    group_spoken,
    lent,
    listed,
    people,
    with_own,
)
from analysis.models.recall import FittedRecall
from analysis.models.recall_evidence import EVERYONE
from analysis.models.recall_grouped import GroupedRecall
from analysis.planning.recall_policy import RecallRule
from analysis.present import words
from analysis.present.answer import Basis
from analysis.settings import RecallPart
from analysis.stats.estimate import Estimate

YOUNG_LOG_MONTHS = 24
FAMILY_CHOICE = (
    "whichever best foretells patients held out of the fit: the Weibull, the Weibull averaged over patients who differ, or "
    "the log-logistic, which is such an average over patients who differ more"
)
CAUTIONS = (
    "A recall replaces nothing: people still come back as soon as they have symptoms.",
    "People who wear hearing aids should have their ears looked at whenever they attend, whatever the recall (American "
    "ear, nose and throat guidance of 2017, as reported in American Family Physician 2017;96:263).",
    "No published page we saw supports a fixed interval of 3, 6 or 12 months: the share at which to call back is the "
    "owner's setting. Local protocol and licensed practice decide, for groups and for each patient.",
    "Ears with and without hearing aids are compared as they are; that a hearing aid goes with a sooner recall does not "
    "make it the cause. Studies disagree: one of 164 patients found no link between hearing aids and impacted wax "
    "(Manchaiah 2015), one of 310 none with cotton buds (Sim 1988), one of 651 children a link with cotton buds on one "
    "side only (Clinical Pediatrics 1994); common belief holds both to blame.",
)


def share_spoken(share: float) -> str:
    """Say a chosen share in tenths where it is whole tenths.

    Examples
    --------
    >>> share_spoken(0.3), share_spoken(0.25)
    ('3 in 10', '25 in 100')
    """
    tenths = share * 10
    return f"{round(tenths)} in 10" if abs(tenths - round(tenths)) < 1e-9 else f"{share * 100:.0f} in 100"


def months_spoken(months: Estimate) -> str:
    """Say a recall in whole months with its range.

    Examples
    --------
    >>> months_spoken(Estimate(8.0, 7.0, 9.0, 0.95, 300, "")), months_spoken(Estimate(1.0, 1.0, 1.0, 0.95, 300, ""))
    ('about 8 months (between 7 and 9)', 'about 1 month (the range stays within it)')
    """
    ends = "the range stays within it" if months.low == months.high else words.between(months)
    return f"about {words.plural(months.value, 'month')} ({ends})"


def period(fitted: FittedRecall) -> str:
    """Say the days of the clearances used."""
    return words.from_months(fitted.first_day, fitted.last_day)


def recall_basis(fitted: FittedRecall | GroupedRecall, method: str) -> Basis:
    """Say what an answer made from fitted curves rests on."""
    left_out = {"later clearances of ears counted already": fitted.later_clearances}
    used = fitted.curves[EVERYONE].ears
    return Basis(used, "cleared ears", left_out, fitted.first_day, fitted.last_day, method)


def headline(fitted: FittedRecall, rules: dict[str, RecallRule], settings: RecallPart) -> str:
    """Give the one sentence that answers, with figure, range and period."""
    end = f"occluding again, going by ears cleared {period(fitted)}."
    passed = any(rule.months_until.value < rule.recall_months.value for rule in shown(rules).values())
    by_then = (
        f"{'by' if passed else 'until'} then {'more' if passed else 'no more'} than {share_spoken(settings.share)}"
    )
    own = {name: months_spoken(rule.recall_months) for name, rule in shown(rules).items()}
    if EVERYONE in own:
        return f"Call people back at {own[EVERYONE]}: {by_then} ears are {end}"
    if len(set(own.values())) == 1:
        alike = "with a hearing aid as without" if settings.groups == () else "whatever their group"
        return f"Call people back at {next(iter(own.values()))}, {alike}: {by_then} of each group's ears are {end}"
    if list(own) == [WITH_AID, WITHOUT_AID]:
        aid, rest = own.values()
        return f"Call people with a hearing aid back at {aid} and everyone else at {rest}: {by_then} of their ears are {end}"
    told = listed([f"people {group_spoken(name)} at {months}" for name, months in own.items()])
    if lent({name: rule.curve for name, rule in rules.items()}):
        told += f"; everyone else at {months_spoken(rules[EVERYONE].recall_months)}"
    return f"Call back {told}. {by_then.capitalize()} of each group's ears are {end}"


def shown(rules: dict[str, RecallRule]) -> dict[str, RecallRule]:
    """Keep the groups with a curve of their own; everyone where fewer than two have one."""
    names = with_own({name: rule.curve for name, rule in rules.items()})
    return {name: rules[name] for name in names}


def chart_title(rules: dict[str, RecallRule], settings: RecallPart) -> str:
    """Say what today's interval means."""
    parts = [
        f"{words.percent(rule.share_today.value)} of the ears of {people(name)}"
        for name, rule in shown(rules).items()
        if rule.share_today is not None
    ]
    if not parts:
        return "No recall rule of today is set, so only the chosen share is marked"
    whose = listed(parts)
    return f"At today's {words.plural(settings.today_months, 'month')}, {whose} are expected to be occluding again"


def chart_text(rules: dict[str, RecallRule], settings: RecallPart) -> str:
    """Tell the chart in words."""
    told = []
    for name, rule in shown(rules).items():
        until, now = rule.months_until, rule.share_today
        told.append(
            f"{group_spoken(name).capitalize()}: {share_spoken(settings.share)} by {words.number(until.value, 1)} months "
            f"({words.between(until, 1)}){_by_today(now, settings)}."
        )
    return "Lines of the share of cleared ears that are occluding again, rising with the months. " + " ".join(told)


def _by_today(share: Estimate | None, settings: RecallPart) -> str:
    """Tell the share at today's interval; nothing where none is set."""
    if share is None:
        return ""
    return f"; {words.percent(share.value)} by {settings.today_months} months ({words.between_percent(share)})"


def how_sure(level: float) -> str:
    """Say what the range means and what it leaves out."""
    return (
        f"{words.how_sure(level)} They allow for chance, not for the assumptions below; "
        "the checks show how far two of these move the figure."
    )


def assumptions(fitted: FittedRecall, settings: RecallPart) -> tuple[str, ...]:
    """Say what would have to be true."""
    said = [
        "Each ear counts once, from its first clearance in the log. Ears that fill fast are cleared more often; "
        "among clearances rather than patients, ears occlude sooner than shown.",
        f"Whoever returns with symptoms had the ear occlude within the {words.plural(settings.symptom_window_days, 'day')} "
        "before; an ear that a recall finds occluding did so lately, with the chance that its patient would have called, or else, like "
        "one found at any other visit, at some time since it was last seen open.",
        _staying_away(fitted),
        f"The share occluding follows a {fitted.family.spoken} of one shape for all groups, and the past is a guide to the "
        f"future. The curve is {FAMILY_CHOICE}.",
    ]
    if fitted.unseen.without_grade:
        said.append(
            f"Ears worked on without a grade ({words.count(fitted.unseen.ungraded)}) were like those graded at such work, which "
            "count in their place."
        )
    if fitted.unseen.cleaned.any():
        said.append(
            "An open ear that was cleaned before it occluded would have filled like those found as open at the same kind of visit and "
            "left alone."
        )
    if settings.groups:
        facts = words.joined([FACT_WORDS[fact] for fact in settings.groups])
        said.append(f"The groups go by {facts}, as the settings say.")
    if fitted.ungrouped:
        noted = words.joined([FACT_WORDS[fact] for fact in settings.groups]) or "hearing aids"
        said.append(
            f"{words.plural(fitted.ungrouped, 'ear')} without a note on {noted} count in everyone's figure only."
        )
    return tuple(said)


def _staying_away(fitted: FittedRecall) -> str:
    """Say what patients who stay away are taken for."""
    if not fitted.absence_tells:
        return (
            "No return in the log was with symptoms, so patients who stay away say nothing of their ears; "
            "whoever came back is taken to be like those who did not."
        )
    return (
        "Patients who stay away are taken to be gone for good, or to come at recalls only, with the chances that returns in the "
        "log suggest; the others would have come back had their ears troubled them."
    )


def table_groups(rules: dict[str, RecallRule]) -> pd.DataFrame:
    """List the groups with ears, months, recall and what today's interval means."""
    return pd.DataFrame(
        [
            {
                "recall_group": group_spoken(name),
                "ears": rule.curve.ears,
                "ears_seen_again": rule.curve.seen_again,
                "recall_months": round(rule.recall_months.value),
                "months_until": rule.months_until.value,
                "months_until_low": rule.months_until.low,
                "months_until_high": rule.months_until.high,
                **_today_columns(rule.share_today),
                "recall_curve": "own" if rule.curve.own else "everyone's",
            }
            for name, rule in rules.items()
        ]
    )


def _today_columns(share: Estimate | None) -> dict[str, float]:
    """Give the columns on today's interval; none where no rule is set."""
    if share is None:
        return {}
    return {
        "occluding_today_share": share.value,
        "occluding_today_share_low": share.low,
        "occluding_today_share_high": share.high,
    }

"""What moves recall's figures, and where they reach beyond the log: its checks."""

from __future__ import annotations

import pandas as pd

from analysis.answers.recall_group_words import group_spoken, lent, listed, of_people, people
from analysis.answers.recall_words import shown
from analysis.models.recall import FittedRecall
from analysis.models.recall_curve import RecallCurve
from analysis.models.recall_enough import FEWEST_OCCLUDING
from analysis.models.recall_unseen import Unseen
from analysis.planning.recall_policy import RecallRule
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Check
from analysis.settings import RecallPart

YOUNG_LOG_MONTHS = 24


def checks(
    fitted: FittedRecall,
    rules: dict[str, RecallRule],
    other_windows: dict[int, dict[str, RecallCurve] | None],
    settings: RecallPart,
) -> tuple[Check, ...]:
    """Say what moves the figure, and where it reaches beyond the log."""
    return (
        *_rule_check(settings),
        _never_check(fitted, rules, settings),
        *_silent_check(fitted, settings),
        *(_window_check(window, curves, rules, settings) for window, curves in other_windows.items()),
        watched_check(fitted),
        *_cleaned_check(fitted.unseen),
        *_before_check(fitted),
        _beyond_check(rules),
        *small_checks(fitted.curves, settings.fewest_ears),
    )


def _rule_check(settings: RecallPart) -> list[Check]:
    """Say plainly where no recall rule of today is set."""
    if settings.today_months:
        return []
    said = (
        "today_months under [recall] in clinic.toml says after how many months the clinic calls people back today. It is not "
        "set, so no interval of today is compared with anything, and none is made up."
    )
    return [Check("Recall rule of today", INFORMATION, said)]


def _months(curves: dict[str, RecallCurve], rules: dict[str, RecallRule], share: float) -> str:
    """List months until the share, beside those of the answer, for the groups shown."""
    parts = []
    for name in shown(rules):
        there, here = curves[name].months_until(share).value, rules[name].months_until.value
        parts.append(f"{words.number(there, 1)} rather than {words.number(here, 1)} months{of_people(name)}")
    return listed(parts)


def _never_check(fitted: FittedRecall, rules: dict[str, RecallRule], settings: RecallPart) -> Check:
    """Say what hangs on patients who never return."""
    back, without = fitted.return_share, fitted.without_never
    said = f"{words.percent(back.value)} of patients new to the log are taken to come back at all ({words.between_percent(back)})."
    if without is not None:
        said += f" Were nobody gone for good, the share would be reached at {_months(without, rules, settings.share)}."
    return Check("Patients who never return", INFORMATION, said)


def _silent_check(fitted: FittedRecall, settings: RecallPart) -> list[Check]:
    """Say how many are taken to come at recalls only."""
    name = "Patients who come at recalls only"
    if not fitted.absence_tells:
        return []
    if fitted.silent_share is None:
        said = (
            "Too few people first came back at a recall to say whether some never call of themselves; all are taken to call. Were "
            "many silent, people should be called back sooner than said here."
        )
        return [Check(name, INFORMATION, said)]
    share = fitted.silent_share
    said = (
        f"{words.percent(share.value)} of patients not gone for good are taken to come at recalls only, however long their ears "
        f"trouble them ({words.between_percent(share)}): at {words.count(share.n)} first returns at recalls so many more had an ear "
        f"occluding than if everybody called within {settings.symptom_window_days} days."
    )
    return [Check(name, INFORMATION, said)]


def _cleaned_check(unseen: Unseen) -> list[Check]:
    """Say how often open ears were cleaned before they occluded, and whether that is made up for."""
    if not unseen.looks.sum():
        return []
    name = "Open ears that were cleaned"
    counted = (
        f"{words.percent(unseen.share)} of ears found non-occluding at a later visit were cleaned then "
        f"({words.count(unseen.cleaned.sum())} of {words.count(unseen.looks.sum())})"
    )
    if unseen.too_often:
        said = (
            f"{counted}: too many for the few left alone to tell when the others would have occluded. Such ears were about to, so "
            "people should be called back sooner than said here: on simulated clinics that cleaned every such ear months came "
            "out 4 to 16 in 100 late until 3 in 10 ears are occluding, and later still until half are."
        )
        return [Check(name, FAILED, said)]
    said = (
        f"{counted}, so nobody saw when they would have filled. Ears found just as open and left alone count in their place: "
        "without that, months would come out too late."
    )
    return [Check(name, INFORMATION, said)]


def _before_check(fitted: FittedRecall) -> list[Check]:
    """Say what it means that the log begins after the clinic did; nothing where it does not."""
    if not fitted.known_before:
        return []
    said = (
        f"{words.percent(fitted.known_before_share)} of the ears are of patients who had come before the log began. The slower "
        "their ears fill, the later they come into the log and the shorter they are watched, so that months would come out too soon. "
    )
    said += (
        "This is allowed for: ears are told apart by when they came into the log."
        if fitted.by_entry
        else "Such ears are too few here for this to be allowed for. Take in earlier exports where there are any."
    )
    return [Check("The log begins after the clinic did", INFORMATION, said)]


def _window_check(
    window: int, curves: dict[str, RecallCurve] | None, rules: dict[str, RecallRule], settings: RecallPart
) -> Check:
    """Say what hangs on how long people put up with symptoms."""
    name = f"Symptoms for up to {window} days"
    if curves is None:
        return Check(name, INFORMATION, "With this window the log does not settle a curve.")
    return Check(
        name, INFORMATION, f"With this window the share is reached at {_months(curves, rules, settings.share)}."
    )


def watched_check(fitted: FittedRecall) -> Check:
    """Say whether patients were watched long enough to tell the late from the lost."""
    watched = f"Enough patients were watched for returns up to {words.number(fitted.followed_months)} months"
    if fitted.followed_months >= YOUNG_LOG_MONTHS:
        return Check("Length of the log", PASSED, f"{watched}.")
    return Check(
        "Length of the log",
        FAILED,
        f"{watched}: too short to tell those who are late from those who are gone. The figure may be well off: "
        "on simulated clinics of eighteen months it came out a fifth too late.",
    )


def _beyond_check(rules: dict[str, RecallRule]) -> Check:
    """Say whether a figure lies beyond what the log has watched."""
    beyond = [people(name) for name, rule in shown(rules).items() if rule.beyond_the_log]
    if not beyond:
        return Check("Within the log", PASSED, "Every figure lies within the time ears were watched.")
    return Check(
        "Within the log",
        FAILED,
        f"No ear was watched as long as the figure for {listed(beyond)} says: it draws the curve out beyond the log.",
    )


def small_checks(curves: dict[str, RecallCurve], fewest_ears: int) -> list[Check]:
    """Say which groups have no figure of their own and are shown the clinic's."""
    return [
        Check(
            f"Ears of people {group_spoken(name)}",
            INFORMATION,
            f"{words.plural(curves[name].seen_again, 'cleared ear')} seen again, {words.count(curves[name].occluding)} of them "
            f"occluding: too few for a figure of their own (at least {fewest_ears} and {FEWEST_OCCLUDING}), so the clinic's is "
            "shown.",
        )
        for name in lent(curves)
    ]


def ages_check(patients: int) -> tuple[Check, ...]:
    """Say how many patients have ages that cannot both be right; nothing where none have.

    Examples
    --------
    >>> ages_check(2)[0].sentence
    '2 patients have ages in the log that cannot both be right; no age is used of them, but all else is.'
    """
    if not patients:
        return ()
    have = "has" if patients == 1 else "have"
    said = f"{words.plural(patients, 'patient')} {have} ages in the log that cannot both be right; no age is used of them, but all else is."
    return (Check("Ages that conflict", INFORMATION, said),)


def dates_check(visits: pd.DataFrame, last_day: pd.Timestamp) -> tuple[Check, ...]:
    """Say how many attended visits are dated after the log's last day; nothing where none are."""
    late = int(((visits["attendance"] == "attended") & (visits["slot_start"].dt.normalize() > last_day)).sum())
    if not late:
        return ()
    are = "is" if late == 1 else "are"
    said = f"{words.plural(late, 'attended visit')} {are} dated after the log's last day, {words.day(last_day)}, and count for nothing here."
    return (Check("Dates in the future", INFORMATION, said),)

"""The words of booking categories, and of how well minutes are foretold at booking."""

from __future__ import annotations

import pandas as pd

from analysis.answers.visit_log import VisitLog
from analysis.models.booking_categories import SHARES
from analysis.models.booking_facts import FACTS
from analysis.models.booking_minutes import BookingMinutes
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Check

COVERAGE_SLACK = 0.03
"""Held-out coverage this near the share foretold passes (a choice, no source)."""
GAIN_SAID = 0.01
"""Share of the loss that knowing the practitioner must save to be spoken of (a choice, no source)."""
FACT_NAMES = {
    "hearing_aid": "wearing a hearing aid",
    "softened": "softening first",
    "last_ears": "one ear or two last time",
    "last_grade": "how full the ears were last time",
}
KIND_NAMES = {
    "new": "new patients",
    "routine_recall": "routine recalls",
    "symptoms_return": "returns with symptoms",
    "second_attempt": "second attempts",
    "other": "other visits",
}
ARTICLED = {
    "new": "a new patient",
    "routine_recall": "a routine recall",
    "symptoms_return": "a return with symptoms",
    "second_attempt": "a second attempt",
    "other": "any other visit",
}


def category_name(expected: BookingMinutes, name: str) -> str:
    """Name a booking category."""
    kind, further = _parts(expected, name)
    said = words.code_label("booking_kind", kind) if _tells_kinds(expected) else "any visit"
    return f"{said}, {further}" if further else said


def articled(expected: BookingMinutes, name: str) -> str:
    """Name one booking of a category."""
    kind, further = _parts(expected, name)
    said = ARTICLED[kind] if _tells_kinds(expected) else "any visit"
    return f"{said} ({further})" if further else said


def _tells_kinds(expected: BookingMinutes) -> bool:
    """Say whether there is more than one kind of booking."""
    return len(set(expected.categories["booking_kind"])) > 1


def _parts(expected: BookingMinutes, name: str) -> tuple[str, str]:
    """Give a category's kind, and its further fact in words."""
    category = expected.categories.loc[name]
    if not category["fact"]:
        return str(category["booking_kind"]), ""
    known = FACTS[str(category["fact"])][str(category["known"])]
    return str(category["booking_kind"]), f"{known} or not known" if category["or_not_known"] else known


def expected_table(log: VisitLog) -> pd.DataFrame:
    """List the minutes that half, 8 in 10 and 9 in 10 visits of each booking category stay within."""
    rows, within = [], log.within
    for name, visits in log.expected.categories["visits"].items():
        minutes = [within[str(name), share] for share in SHARES]
        rows.append([category_name(log.expected, str(name)), visits, *minutes])
    columns = ["booking", "visits", "half_within_minutes", "eight_in_ten_minutes", "nine_in_ten_minutes"]
    return pd.DataFrame(rows, columns=columns)


def held_out_checks(log: VisitLog) -> list[Check]:
    """Say which share of the log's last visits stayed within the minutes foretold from those before."""
    if not log.expected.held_out:
        short = "The log is too short to check the minutes foretold at booking on later visits."
        return [Check("Minutes foretold at booking", INFORMATION, short)]
    near, parts, n = True, [], 0
    foretold = words.joined([f"{share * 10:g}" for share in log.expected.held_out])
    for share, found in log.expected.held_out.items():
        near &= abs(found.value - share) <= COVERAGE_SLACK or found.low <= share <= found.high
        parts.append(f"{words.percent(found.value)} ({words.between_percent(found)})")
        n = found.n
    sentence = (
        f"The minutes foretold for {foretold} in 10 visits, from the log before them, held {words.joined(parts)} of its "
        f"last {words.count(n)} visits."
    )
    return [Check("Minutes foretold at booking", PASSED if near else FAILED, sentence)]


def gains_said(log: VisitLog) -> str:
    """Say which further facts foretell minutes better, and by how much."""
    gains = log.expected.gains
    chosen = gains[gains["chosen"]]
    asked = gains[gains["fact"].isin(FACTS)]
    if len(chosen):
        parts = [
            f"{FACT_NAMES[row['fact']]} for {KIND_NAMES[row['booking_kind']]} ({words.percent(row['gain'])} of the loss)"
            for row in chosen.to_dict("records")
        ]
        said = f"On later visits minutes are foretold better with {words.joined(parts)}, so these bookings are told apart by it."
    elif len(asked):
        names = [FACT_NAMES[fact] for fact in FACTS if (asked["fact"] == fact).any()]
        said = f"Besides the kind of booking, {words.joined(names)} did not foretell minutes enough better on later visits to be worth a category more to tell apart."
    else:
        said = "No further fact known at booking is recorded often enough to be weighed."
    who = gains[gains["fact"] == "practitioner"].sort_values("gain", ascending=False).to_dict("records")
    if who and who[0]["gain"] >= GAIN_SAID:
        said += f" Who does the visit would help by up to {words.percent(who[0]['gain'])} ({KIND_NAMES[who[0]['booking_kind']]}); the same slots are kept for all."
    return said

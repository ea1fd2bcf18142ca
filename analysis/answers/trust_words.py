"""What a gap in the log does to the later answers, and what to record: the words of the two answers on the log."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.models.completeness import BY_CHANCE, MUCH_MORE, Recorded
from analysis.present import words
from analysis.present.answer import INFORMATION, Check
from analysis.problems import NotEnough

NO_DATES = NotEnough("The log holds no booking with a date.", "Record the day of each booking.")
ENOUGH_SHARE = 0.5
"""Share of rows that must have each fact a question stands on (our own line, no source)."""
WELL_RECORDED = 0.95
FEW, MOST_DRAWN = 3, 8

QUESTIONS: dict[str, tuple[tuple[str, ...], ...]] = {
    "how long to book": (("slot_minutes",), ("attendance",), ("booking_kind",), ("minutes",)),
    "how long visits take": (("minutes",), ("grade",), ("methods",)),
    "does softening pay": (("softening_advised", "softener"), ("grade",), ("outcome",)),
    "when to call back": (("patient_key",), ("grade",), ("outcome",)),
    "how many will come": (("attendance",), ("patient_key",), ("booking_kind",)),
    "what the quarter's work came to": (("attendance",), ("outcome",), ("adverse_event",)),
}
"""Each question and the facts it stands on; of a group of facts one is enough."""


@dataclass(frozen=True, slots=True)
class Need:
    """Which answers a fact feeds, what a gap does to them, and what to record."""

    feeds: str
    gap_means: str
    to_record: str


_LEFT_OUT = "what lacks it is left out"
_LESS_LIKE = "patients are compared less like with like"
NEEDS = {
    "minutes": Need(
        "how long visits take; how long to book; minutes saved by softening; sessions needed",
        "those visits say nothing of length; only visits with minutes of their own count",
        "when each visit really starts and ends",
    ),
    "slot_minutes": Need("how long to book", "today's slots are known only in part", "the minutes booked"),
    "attendance": Need(
        "every answer", "the booking counts neither as kept nor as missed", "of every booking whether the patient came"
    ),
    "booking_kind": Need(
        "how long to book; how many will come; when to call back; does softening pay",
        "kinds of booking cannot be told apart",
        "why each visit was booked: new, recall, symptoms, second attempt",
    ),
    "patient_key": Need(
        "when to call back; how many will come; does softening pay",
        "returns and second attempts cannot be followed",
        "the patient's number in every row",
    ),
    "practitioner": Need(
        "how long visits take; how long to book; does softening pay",
        "differences between practitioners stay in the ranges",
        "who saw the patient",
    ),
    "arrived_at": Need("how long to book", "lateness and waiting are less well known", "when each patient arrives"),
    "started_at": Need(
        "how long visits take; activity", "starts on time are known only in part", "when each visit really starts"
    ),
    "onward_referral": Need(
        "outcomes",
        "a blank cannot be told from no referral",
        "for each visit whether the patient was referred, yes or no",
    ),
    "age_band": Need("does softening pay", _LESS_LIKE, "age or birth date, which is kept as a band"),
    "hearing_aid": Need(
        "when to call back; how long to book; does softening pay",
        "no recall of their own for people with hearing aids",
        "hearing aid, yes or no",
    ),
    "softening_advised": Need(
        "does softening pay", _LEFT_OUT, "for each visit whether softening was advised, also when it was not"
    ),
    "softener": Need("does softening pay", _LEFT_OUT, "the agent used before the visit, and none where there was none"),
    "adverse_event": Need(
        "safety", "a blank cannot be told from no event", "for each visit what happened, and none where nothing did"
    ),
    "grade": Need(
        "how long visits take; does softening pay; when to call back",
        _LEFT_OUT,
        "for each ear how far it is blocked, as first seen",
    ),
    "outcome": Need("does softening pay; when to call back; outcomes", _LEFT_OUT, "for each ear how it was left"),
    "canal": Need("does softening pay", _LESS_LIKE, "for each ear the shape of the canal, and ordinary where it is"),
    "eardrum": Need(
        "safety; does softening pay",
        "ears unsuitable for softening may be missed",
        "whether the eardrum was seen, and intact",
    ),
    "middle_ear": Need(
        "safety; does softening pay",
        "ears unsuitable for softening may be missed",
        "what was noted, and none where nothing was",
    ),
    "methods": Need(
        "how long visits take; does softening pay; when to call back",
        "an ear without a method counts as not worked on",
        "for each ear the methods in the order used",
    ),
    "debris": Need("does softening pay", _LESS_LIKE, "for each ear what was found: soft wax, hard wax, dead skin"),
    "impacted": Need("does softening pay", _LESS_LIKE, "for each ear whether the wax was impacted"),
}
NOTHING_TO_MEND = "as now"


def what_to_record(recorded: Recorded) -> str:
    """Say what to record of a fact from now on; nothing new where it is well recorded."""
    return NOTHING_TO_MEND if recorded.share >= WELL_RECORDED else NEEDS[recorded.fact].to_record


def effect(recorded: Recorded) -> str:
    """Say what a fact's gap does to the later answers."""
    return "no gap" if recorded.recorded == recorded.of > 0 else NEEDS[recorded.fact].gap_means


def standing(facts: dict[str, Recorded]) -> dict[str, list[str]]:
    """Give for each question the facts it lacks; none where it can be answered."""
    return {
        question: [
            group[0] for group in groups if max(facts[fact].share for fact in group) < ENOUGH_SHARE
        ]
        for question, groups in QUESTIONS.items()
    }  # fmt: skip


def verdict(lacking: dict[str, list[str]]) -> str:
    """Say for how many of the questions what they need is recorded; whether visits are enough, each answer says itself.

    Examples
    --------
    >>> verdict({"one": [], "two": [], "three": ["grade"]})
    'For most questions (2 of 3) what they need is recorded'
    >>> verdict({"one": [], "two": ["outcome"], "three": ["grade"]})
    'Only for some questions (1 of 3) is what they need recorded'
    """
    answerable, all_of_them = sum(not lacks for lacks in lacking.values()), len(lacking)
    if answerable == all_of_them:
        return f"What all {all_of_them} questions need is recorded"
    if not answerable:
        return f"Not yet: for none of the {all_of_them} questions is what it needs recorded"
    counted = f"questions ({answerable} of {all_of_them})"
    if answerable > all_of_them / 2:
        return f"For most {counted} what they need is recorded"
    return f"Only for some {counted} is what they need recorded"


def rows_used(rows_in: int | None, rows_kept: int, bookings: int, hide_below: int) -> str:
    """Say how many rows could be used; a log not taken in from exports has bookings only."""
    if rows_in is None:
        return f"{words.plural(bookings, 'booking')} can be used"
    if 0 < rows_in - rows_kept < hide_below:
        return f"all rows but fewer than {hide_below} could be used"
    return f"{words.count(rows_kept)} of {words.plural(rows_in, 'row')} could be used"


def thinnest_first(facts: dict[str, Recorded]) -> list[Recorded]:
    """Sort the facts that have any row by how often they are recorded."""
    return sorted((fact for fact in facts.values() if fact.of), key=lambda fact: fact.share)


def weakest(facts: dict[str, Recorded]) -> list[Recorded]:
    """List the facts not well recorded, the weakest first."""
    return [fact for fact in thinnest_first(facts) if fact.share < WELL_RECORDED]


def title(facts: dict[str, Recorded]) -> str:
    """Say which facts are thin."""
    thin = weakest(facts)
    if not thin:
        return f"Every fact the answers need is recorded at least {words.percent(WELL_RECORDED)} of the time"
    named = words.joined([f"{words.label(fact.fact)} ({percent_recorded(fact.share)})" for fact in thin[:FEW]])
    return f"Least recorded {'is' if len(thin) == 1 else 'are'} {named}"


def percent_recorded(share: float) -> str:
    """Say a share as a percentage, never 100% where something is missing."""
    return "over 99%" if 0.995 <= share < 1 else words.percent(share)


def chart_text(facts: dict[str, Recorded]) -> str:
    """Tell the completeness chart in words."""
    told = [
        f"{words.label(fact.fact)} {percent_recorded(fact.share)} of {words.count(fact.of)} {fact.of_what}"
        for fact in thinnest_first(facts)[:MOST_DRAWN]
    ]
    return f"How often the thinnest facts are recorded, each with its range: {'; '.join(told)}."


def question_checks(lacking: dict[str, list[str]]) -> list[Check]:
    """Say for each question that cannot be answered well what the log lacks."""
    return [
        Check(
            question.capitalize(),
            INFORMATION,
            f"Fewer than half of the rows have: {words.joined([words.label(fact) for fact in lacks])}; "
            f"record {words.joined([NEEDS[fact].to_record for fact in lacks])}.",
        )
        for question, lacks in lacking.items()
        if lacks
    ]


def fives_check(on_five: int, ends: int) -> Check:
    """Set the share of ends on multiples of five beside the one in five that chance gives."""
    name = "Ends on multiples of five minutes"
    if not ends:
        return Check(name, INFORMATION, "No visit has an end, so its rounding cannot be looked at.")
    share = on_five / ends
    judged = (
        "far more, so many ends are rounded or copied from the diary"
        if share > MUCH_MORE * BY_CHANCE
        else "so there is no sign of much rounding"
    )
    return Check(
        name,
        INFORMATION,
        f"{words.percent(share)} of {words.plural(ends, 'end')}, where chance gives about {words.percent(BY_CHANCE)}: {judged}.",
    )


def contradiction_checks(found: dict[str, int]) -> list[Check]:
    """Say which facts exclude each other, and how often."""
    told = "; ".join(f"{what}: {words.plural(many, 'visit')}" for what, many in found.items() if many)
    return [Check("Facts that exclude each other", INFORMATION, f"{told}.")] if told else []

"""The columns a row has between a file of text and the tables."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from analysis.intake.vocabulary import heading_entries

EAR_FACTS = (
    "grade", "percent_blocked", "grade_revised", "impacted", "debris", "canal", "methods", "outcome", "eardrum",
    "middle_ear", "ear_minutes",
)  # fmt: skip
SIDES = ("left", "right")
ALWAYS_CARRIED = ("grade", "percent_blocked", "methods", "ear_minutes")
"""Facts of an ear that steps of the chain speak of; any other is carried only where a file fills it."""
BOOKING, VISIT, EARS, EAR, PASS = "booking", "visit", "ears", "ear", "pass"
"""What a row of an export is: a booking without a word on ears, a visit with both its ears, both
ears of a visit that another row dates, one ear, or one pass of an instrument."""
SHAPES_TOLD = {
    BOOKING: "one row a visit, without ears",
    VISIT: "one row a visit",
    EARS: "one row a visit's ears, dated by its visit",
    EAR: "one row an ear",
    PASS: "one row an instrument pass",
}

MOMENTS = ("booked_on", "slot_start", "arrived_at", "started_at", "ended_at")
VISIT_NUMBERS = ("slot_minutes", "softening_days", "fee", "minutes")
VISIT_CODES = (
    "attendance", "booking_kind", "age_band", "hearing_aid", "cotton_bud", "softening_advised", "softener",
    "in_chair_softener", "adverse_event", "onward_referral",
)  # fmt: skip
VISIT_TEXTS = ("site", "practitioner")
VISIT_FACTS = (*VISIT_TEXTS, *MOMENTS, *VISIT_NUMBERS, *VISIT_CODES)
EVIDENCE = ("arrived_at", "started_at", "ended_at", "minutes", "adverse_event", "in_chair_softener")
"""Facts of a visit that show that the patient came; so does every fact of an ear."""


def facts_told(columns: Iterable[str]) -> tuple[str, ...]:
    """Give the facts of an ear that some columns tell, for either ear or for none named.

    Examples
    --------
    >>> facts_told(["grade_left", "outcome", "date"])
    ('grade', 'outcome')
    """
    told = {_base(column) for column in columns}
    return tuple(fact for fact in EAR_FACTS if fact in told)


def sided(facts: Iterable[str]) -> tuple[str, ...]:
    """Give the columns of facts of an ear: with no ear named, the left, the right.

    Examples
    --------
    >>> sided(["grade"])
    ('grade', 'grade_left', 'grade_right')
    """
    return tuple(f"{fact}{side}" for fact in facts for side in ("", "_left", "_right"))


@cache
def kind_of(column: str) -> str:
    """Give the kind of a column of text: text, code, yes_no, number, minutes, day, clock and so on."""
    return heading_entries()[_base(column)]["kind"]


def _base(column: str) -> str:
    """Take the ear off a column's name."""
    return column.removesuffix("_left").removesuffix("_right")


@cache
def text_columns() -> tuple[str, ...]:
    """Give every column of text that a file may fill, ears apart."""
    return tuple(
        name
        for column, entry in heading_entries().items()
        for name in (
            (column, f"{column}_left", f"{column}_right") if entry["level"] == "ear" and column != "ear" else (column,)
        )
    )


@cache
def columns_of_kind(*kinds: str) -> tuple[str, ...]:
    """Give the columns of text of some kinds.

    Examples
    --------
    >>> columns_of_kind("moment")
    ('slot_start',)
    """
    return tuple(column for column in text_columns() if kind_of(column) in kinds)

"""What to record from now on, as one page for the clinic's wall: what lacks first, what is well recorded ticked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from analysis.answers import trust_words as say
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.models.completeness import OF_ATTENDED, OF_BOOKINGS, Recorded, facts_recorded
from analysis.models.log_heaping import copied_times, rounded_times
from analysis.models.log_orders import impossible_orders, visits_with_any
from analysis.models.log_system_change import first_visits
from analysis.present import words
from analysis.problems import NotEnough

NOT_YET = "not yet known"
KNOWN_BY_OTHERS = ("started_at",)
"""Facts said with another: a start stands with the minutes."""
NAMES = {"patient_key": "Patient's number", "minutes": "Start and end", "slot_minutes": "Minutes booked"}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the sheet: what, how to write it, which questions it feeds, and how it stands today.

    ``well`` is True where nothing needs to change.
    """

    what: str
    how: str
    feeds: str
    today: str
    well: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page: what to start with, what to go on with, and habits of writing."""

    clinic: str
    invented: bool
    lacking: tuple[Line, ...]
    well: tuple[Line, ...]
    habits: tuple[Line, ...]
    period: str


def record_sheet(clinic: Clinic) -> Sheet:
    """Fit the sheet to a clinic's log.

    Parameters
    ----------
    clinic : Clinic
        An empty log gives a sheet on which nothing is ticked.

    Returns
    -------
    Sheet
        Nothing in it is about a patient or a practitioner: only shares of the whole log.
    """
    facts = facts_recorded(clinic.visits, clinic.ears)
    lines = [_line(fact) for fact in _thinnest_first(facts)]
    dated = pd.notna(clinic.first_day)
    period = words.months(clinic.first_day, clinic.last_day) if dated else ""
    return Sheet(
        clinic.settings.clinic.name,
        clinic.invented,
        tuple(line for line in lines if not line.well),
        tuple(line for line in lines if line.well),
        tuple(_habits(clinic)),
        period,
    )


def _thinnest_first(facts: dict[str, Recorded]) -> list[Recorded]:
    """Sort the facts by how often they are recorded, within ties by when they come up: booking, visit, ear."""
    order = {fact: place for place, fact in enumerate((*OF_BOOKINGS, *OF_ATTENDED))}
    kept = [fact for fact in facts.values() if fact.fact not in KNOWN_BY_OTHERS]
    return sorted(kept, key=lambda fact: (round(fact.share, 2), order.get(fact.fact, len(order))))


def _line(fact: Recorded) -> Line:
    """Say one fact."""
    need = say.NEEDS[fact.fact]
    what = NAMES.get(fact.fact, words.label(fact.fact))
    today = say.percent_recorded(fact.share) if fact.of else NOT_YET
    well = bool(fact.of) and fact.share >= say.WELL_RECORDED
    return Line(f"{what[:1].upper()}{what[1:]}", need.to_record, need.feeds, today, well)


def _habits(clinic: Clinic) -> Iterator[Line]:
    """Say the habits of writing, each ticked where the log shows no sign against it."""
    visits = clinic.visits
    everybody = practitioner_labels(visits, show_names=False)
    rounded = rounded_times(visits, everybody)
    copied = copied_times(visits, everybody, rounded)
    days = clinic.settings.softening.second_attempt_days
    orders = [each for each in impossible_orders(visits, clinic.ears, second_attempt_days=days) if each.of]
    for what, how, judged, against in (
        ("To the minute", "the minute the clock shows, not the nearest five", bool(rounded), any(each.flagged for each in rounded)),
        ("Not from the diary", "the end when the patient leaves, or nothing", any(each.what == "ended_at" for each in copied), any(each.flagged for each in copied)),
        ("In order", "arrival, start and end, each as it happens", bool(orders), bool(visits_with_any(orders))),
        ("One number for one patient", "also when the records system changes", *_numbers(clinic)),
    ):  # fmt: skip
        today = ("some are not" if against else "no sign against it") if judged else NOT_YET
        yield Line(what, how, "", today, judged and not against)


def _numbers(clinic: Clinic) -> tuple[bool, bool]:
    """Say whether numbers that start again could be looked for, and were found."""
    try:
        return True, bool(first_visits(clinic.visits).jumps)
    except NotEnough:
        return False, False

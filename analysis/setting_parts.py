"""The parts of ``clinic.toml``: one class a part, one field a setting, each with its meaning, unit and bounds."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any


def _setting(
    default: Any, about: str, *, low: float | None = None, high: float | None = None, choices: tuple = ()
) -> Any:
    """Make a field that carries its own explanation and bounds."""
    metadata = {"about": about, "low": low, "high": high, "choices": choices}
    if isinstance(default, dict):
        return field(default_factory=lambda: dict(default), metadata=metadata)
    return field(default=default, metadata=metadata)


@dataclass(frozen=True)
class ClinicPart:
    """Who the clinic is and how sure its ranges should be."""

    name: str = _setting("My ear clinic", "name shown on the report")
    level: float = _setting(0.95, "how sure every range should be, a share between 0.5 and 0.99", low=0.5, high=0.99)
    last_day: dt.date | None = _setting(
        None, "last day the log covers, e.g. 2026-09-30; without it, the last visit in the log"
    )
    show_practitioner_names: bool = _setting(False, "true shows practitioners' names in the report")
    hide_below: int = _setting(5, "counts under this are hidden in anything meant to leave the clinic", low=1, high=50)
    fitted_bookings: int = _setting(
        500_000,
        "bookings; of a larger log models are fitted on about so many, those of patients drawn at random",
        low=10_000,
        high=100_000_000,
    )


@dataclass(frozen=True)
class ExportPart:
    """How the exported files are written."""

    day_first: bool = _setting(True, "true reads 03/04/2026 as 3 April, false as 4 March")
    decimal_comma: bool = _setting(False, "true reads 12,5 as twelve and a half")
    sheet: str = _setting(
        "",
        "name of the sheet to read where an XLSX has several; empty reads those that are one log and names the others",
    )
    time_zone: str = _setting(
        "", 'the clinic\'s time zone, such as "Europe/London", for times written with Z or +01:00; empty: as written'
    )
    engine: str = _setting(
        "",
        "what the exports are worked on with: pandas, polars or spark; empty chooses by size",
        choices=("", "pandas", "polars", "spark"),
    )


@dataclass(frozen=True)
class VisitTimePart:
    """Which minutes count."""

    shortest_minutes: float = _setting(2.0, "minutes; a shorter visit is taken for a slip", low=0.0, high=60.0)
    longest_minutes: float = _setting(120.0, "minutes; a longer visit is taken for a slip", low=10.0, high=600.0)
    fewest_visits: int = _setting(5, "visits; a grade and method with fewer shows no figure", low=2, high=100)


@dataclass(frozen=True)
class SlotsPart:
    """The booking template and what waiting, idling and overtime are worth."""

    grid_minutes: int = _setting(5, "minutes; slots are multiples of this (5 or 10)", choices=(5, 10))
    protected_minutes: float = _setting(
        10.0, "minutes no slot may cut: consent, history, otoscopy, aftercare, cleaning", low=0.0, high=60.0
    )
    session_minutes: float = _setting(210.0, "minutes in a half-day session", low=30.0, high=600.0)
    turnaround_minutes: float = _setting(2.0, "minutes between patients for cleaning and notes", low=0.0, high=30.0)
    price_wait: float = _setting(1.0, "worth of a minute of a patient's waiting", low=0.0)
    price_idle: float = _setting(1.0, "worth of a minute of an idle room", low=0.0)
    price_overtime: float = _setting(2.0, "worth of a minute of overtime", low=0.0)
    categories: dict[str, str] = _setting(
        {},
        "your own booking categories, up to four: kinds, each split by hearing_aid, softened, last_ears or last_grade, "
        'or by nothing, e.g. { new = "", routine_recall = "last_grade" }; other kinds are one; without it, from the log',
        choices=("", "hearing_aid", "softened", "last_ears", "last_grade"),
    )
    today_catch_up_every: int = _setting(
        0, "patients after whom today's diary leaves a gap of one grid step; 0 if none", low=0, high=20
    )
    break_after_minutes: float = _setting(
        105.0, "minutes into the session at which the break begins", low=0.0, high=600.0
    )
    break_minutes: float = _setting(0.0, "minutes of a break in the session; 0 if none", low=0.0, high=120.0)
    first_two_together: bool = _setting(False, "the first two patients are both booked for the session's start")
    order: str = _setting(
        "as_booked", "the order of a session's bookings", choices=("as_booked", "short_first", "long_first")
    )
    squeezed_in_share: float = _setting(
        0.0, "share of sessions into which one more patient is squeezed, such as a second attempt", low=0.0, high=1.0
    )
    practitioners_sharing: int = _setting(
        1, "practitioners at work at the same time who share rooms or suction units", low=1, high=6
    )
    units_shared: int = _setting(1, "rooms or suction units they share", low=1, high=6)
    fee_per_visit: float = _setting(0.0, "money one visit brings; 0 leaves money out", low=0.0)
    cost_per_overtime_hour: float = _setting(0.0, "money an hour of overtime costs; 0 if none", low=0.0)
    today: dict[str, int] = _setting(
        {}, "today's slot in minutes by kind of booking, e.g. { new = 30 }; without it, the commonest slot in the log"
    )


@dataclass(frozen=True)
class SofteningPart:
    """What counts as a first attempt's success, and how many ears are enough."""

    second_attempt_days: int = _setting(
        28, "days; another attempt on the ear within these undoes a success", low=1, high=180
    )
    fewest_ears: int = _setting(50, "ears in the smaller arm before any effect is shown", low=10, high=10000)
    evidence_weight: float = _setting(
        0.0,
        "share of its weight at which a published trial of another setting is counted with your own log; 0 leaves it out",
        low=0.0,
        high=1.0,
    )


@dataclass(frozen=True)
class SofteningWorthPart:
    """What a visit, a minute, an agent and a day's delay are worth; as delivered these are examples."""

    currency: str = _setting("pounds", "what prices are counted in")
    price_visit: float = _setting(40.0, "worth of a second visit avoided", low=0.0)
    price_minute: float = _setting(1.0, "worth of a minute in the chair", low=0.0)
    price_agent: float = _setting(4.0, "price of a softening agent, for each person who uses it", low=0.0)
    price_day: float = _setting(0.0, "worth of a day that softening makes a person wait", low=0.0)


@dataclass(frozen=True)
class SofteningTestPart:
    """A fair test of advice: what to plan for, and the weeks of one that ran."""

    difference: float = _setting(0.10, "smallest difference worth finding, a share of ears", low=0.01, high=0.5)
    power: float = _setting(0.80, "how often a difference of that size is to be found, a share", low=0.5, high=0.99)
    unit: str = _setting("week", "what chance decides on: week or day", choices=("week", "day"))
    seed: int = _setting(2027, "number from which the random list is made; the same number gives the same list", low=0)
    first_day: dt.date | None = _setting(None, "first day of the test, a Monday if by week, e.g. 2027-01-04")
    last_day: dt.date | None = _setting(None, "last day of the test")
    advised: tuple[dt.date, ...] = _setting(
        (), "first days of the weeks (or the days) with advice, e.g. [2027-01-04, 2027-01-18]; empty: as the log says"
    )


@dataclass(frozen=True)
class RecallPart:
    """When ears are called back."""

    share: float = _setting(0.30, "share of ears occluding again at which to call back", low=0.05, high=0.9)
    fewest_ears: int = _setting(50, "ears a group needs before it has a figure of its own", low=10, high=10000)
    symptom_window_days: int = _setting(
        60, "days before a return with symptoms within which the ear is taken to have occluded", low=7, high=365
    )
    today_months: int = _setting(
        0, "months after which the clinic recalls today, e.g. 12; 0 if no recall rule is set", low=0, high=60
    )
    groups: tuple[str, ...] = _setting(
        (),
        "facts that make your own recall groups, one or two of hearing_aid, cotton_bud, age_60 (60 and over or not) and "
        'canal (ordinary or not), e.g. ["hearing_aid", "age_60"]; curves, cost and recall list then go by them; empty goes by '
        "hearing aid",
        high=2,
        choices=("hearing_aid", "cotton_bud", "age_60", "canal"),
    )


@dataclass(frozen=True)
class RecallCostPart:
    """What minutes and days with symptoms are worth when recall intervals are weighed; as delivered these are examples."""

    currency: str = _setting("pounds", "what prices are counted in")
    price_minute: float = _setting(1.0, "worth of a minute in the chair", low=0.0)
    price_symptom_day: float = _setting(2.0, "worth of a day on which an ear is occluding", low=0.0)
    slow_share: float = _setting(
        0.3, "share of people who put up with an occluding ear for up to a year unless called", low=0.0, high=1.0
    )
    within: float = _setting(0.05, "share of the least yearly cost that makes no difference to you", low=0.0, high=0.5)
    list_months: int = _setting(
        0, "months after which the recall list calls people back; 0 takes what is recommended", low=0, high=60
    )


@dataclass(frozen=True)
class DemandPart:
    """How far ahead to look, and what a session holds."""

    months_ahead: int = _setting(6, "months to look ahead", low=1, high=24)
    recall_uptake: float = _setting(
        -1.0, "share of recalled patients who come, 0 to 1; -1 takes it from the log", low=-1.0, high=1.0
    )
    sessions_a_week: float = _setting(
        0.0, "half-day sessions a week there are; 0 takes those held in the last year of the log", low=0.0, high=1000.0
    )
    waiting_now: int = _setting(0, "people waiting for an appointment when the forecast begins", low=0, high=100000)
    longest_wait_weeks: float = _setting(
        2.0,
        "weeks of waiting for want of sessions that should not be passed; an example, set your own",
        low=0.0,
        high=52.0,
    )
    suction_tips_per_ear: float = _setting(
        1.0, "suction tips used for an ear treated by suction; an example, set your own", low=0.0, high=20.0
    )
    supplies: dict[str, float] = _setting(
        {},
        "what else a visit uses up, and how many, e.g. { specula = 2, gloves = 2 }; without it, not reckoned",
        low=0.0,
    )
    recall_moved_months: int = _setting(
        2, "months by which the what-ifs move every routine recall, sooner and later", low=1, high=12
    )


@dataclass(frozen=True)
class MonitoringPart:
    """What is watched from month to month, and the noise of suction for whoever works with it."""

    changes: dict[dt.date, str] = _setting(
        {},
        "days from which something lasting is different, each with what it was; usual limits are worked out anew from "
        'there and never otherwise, e.g. { 2026-01-05 = "second chair" }',
    )
    fewest: int = _setting(
        30, "visits or ears of a practitioner or site before its share is compared", low=10, high=1000
    )
    wide_suction_level: float = _setting(
        0.0, "dB(A) you measured at the practitioner's ear with wide suction; 0: not measured", low=0.0, high=140.0
    )
    fine_suction_level: float = _setting(
        0.0, "dB(A) you measured there with fine-end suction; 0: not measured", low=0.0, high=140.0
    )
    wide_suction_minutes: float = _setting(
        0.0, "minutes wide suction runs at an ear, as you timed it; 0: not timed", low=0.0, high=60.0
    )
    fine_suction_minutes: float = _setting(
        0.0, "minutes fine-end suction runs at an ear, as you timed it; 0: not timed", low=0.0, high=60.0
    )

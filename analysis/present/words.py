"""Numbers and names as a person says them."""

from __future__ import annotations

from datetime import date

import pandas as pd

from analysis import schema
from analysis.stats.estimate import Estimate

FIELD_LABELS = {column.name: column.label for table in schema.TABLES for column in table.columns}
"""Plain label of every column of every table."""

ANSWER_LABELS: dict[str, str] = {
    "value": "figure",
    "low": "from",
    "high": "to",
    "n": "based on",
    "ears": "ears",
    "visits": "visits",
    "patients": "patients",
    "method": "method",
    "unit": "unit",
    "month": "month",
    "forecast_of": "forecast of",
    "low_50": "from (half of the months)",
    "sessions_there": "half-day sessions there are",
    "chance_outgrown": "chance of needing more",
    "wait_weeks": "weeks to wait",
    "wait_low": "weeks to wait, from (8 in 10)",
    "wait_high": "weeks to wait, to (8 in 10)",
    "practitioner_days": "practitioner days",
    "rooms_at_once": "rooms at once",
    "suction_tips": "suction tips",
    "high_50": "to (half of the months)",
    "low_80": "from (8 months in 10)",
    "high_80": "to (8 months in 10)",
    "low_95": "from (19 in 20)",
    "high_95": "to (19 in 20)",
    "softening": "softening",
    "compared": "compared",
    "ears_with": "ears with it",
    "ears_without": "ears without",
    "visits_with": "visits with it",
    "visits_without": "visits without",
    "share_with": "success with it",
    "share_without": "success without",
    "more_in_100": "more successes in 100",
    "risk_ratio": "ratio",
    "ratio_low": "ratio, from",
    "ratio_high": "ratio, to",
    "group": "ears",
    "agent": "agent",
    "other_agent": "than",
    "days_of_softening": "days of softening",
    "success_share": "success",
    "success_share_low": "success, from",
    "success_share_high": "success, to",
    "saved_per_100": "fewer in 100 patients",
    "chance_band": "chance of softening",
    "difference_before": "apart as they are",
    "difference_weighted": "apart, weighted alike",
    "difference_overlap": "apart, weighted to shared ground",
    "arm_times": "times as common with softening",
    "outcome_times_figure": "times as likely success, to explain the figure away",
    "outcome_times_range": "the same for its range",
    "points_in_100": "difference, in 100",
    "ears_if_independent": "were every ear by itself",
    "ears_short": "ears still short",
    "number_needed": "ears for one more success",
    "minutes_with": "minutes with it",
    "minutes_without": "minutes without",
    "saved_minutes": "minutes saved",
    "recall_group": "ears of people",
    "ears_seen_again": "ears seen again",
    "recall_months": "call back at, months",
    "months_until": "months until the chosen share is occluding",
    "months_until_low": "months, from",
    "months_until_high": "months, to",
    "occluding_today_share": "occluding at today's interval",
    "occluding_today_share_low": "occluding, from",
    "occluding_today_share_high": "occluding, to",
    "recall_curve": "whose curve",
    "share_fitted": "fitted curve",
    "share_free": "no shape assumed",
    "share_free_low": "no shape, from",
    "share_free_high": "no shape, to",
    "least_cost_months": "least cost at, months",
    "flat_low": "hardly dearer, from month",
    "flat_high": "hardly dearer, to month",
    "yearly_cost": "cost of an ear in a year",
    "yearly_cost_today": "the same at today's interval",
    "yearly_cost_more": "today's cost more by",
    "yearly_cost_more_low": "more, from",
    "yearly_cost_more_high": "more, to",
    "symptom_days": "days a year occluding",
    "months_since": "months since cleared",
    "came_for": "why they came",
    "grade_chance": "chance",
    "grade_chance_low": "chance, from",
    "grade_chance_high": "chance, to",
    "added_minutes": "minutes it adds",
    "foretold_by": "foretold by",
    "loss_minutes": "loss, minutes (less is better)",
    "loss_0_5_minutes": "at half",
    "loss_0_8_minutes": "at 8 in 10",
    "loss_0_9_minutes": "at 9 in 10",
    "kept": "kept",
    "more_minutes": "minutes more",
    "path_share": "share",
    "path_share_low": "share, from",
    "path_share_high": "share, to",
    "clear_minutes": "until clear",
    "clear_low_minutes": "until clear, from",
    "clear_high_minutes": "until clear, to",
    "chair_minutes": "in the chair",
    "chair_low_minutes": "in the chair, from",
    "chair_high_minutes": "in the chair, to",
    "ended_before": "ended before clear",
    "heaping_index": "times as often as by chance",
    "strongly_rounded": "strongly rounded",
    "filled_visits": "ends copied from the slot",
    "promised_share": "promised",
    "calibrated_minutes": "minutes now",
    "held_share": "held",
    "held_share_low": "held, from",
    "held_share_high": "held, to",
    "booking": "booking",
    "bookings": "bookings",
    "half_within_minutes": "half stay within",
    "eight_in_ten_minutes": "8 in 10 stay within",
    "nine_in_ten_minutes": "9 in 10 stay within",
    "today_minutes": "slot today",
    "recommended_minutes": "slot recommended",
    "with_todays_slots": "today's slots",
    "with_chosen_slots": "slots chosen beforehand",
    "with_recommended_slots": "recommended slots",
    "change": "change",
    "change_low": "change, from",
    "change_high": "change, to",
    "catch_up": "catch-up gap",
    "wait_minutes": "a patient waits, minutes",
    "idle_and_over_minutes": "idle and overtime, minutes",
    "rule": "rule",
    "change_in_wait": "minutes a patient waits, more or less",
    "change_in_overtime": "overtime of a session, more or less",
    "change_in_idle": "idle minutes of a session, more or less",
    "change_in_seen": "patients seen, more or fewer",
    "sessions_needed": "half-day sessions needed",
    "worth_more_than_today": "a session worth more than with today's, at the prices set",
    "seen": "patients seen",
    "floor_minutes": "never below",
    "fact": "fact",
    "recorded_share": "recorded",
    "of_what": "of what",
    "feeds": "feeds",
    "gap_means": "what a gap does",
    "to_record": "record from now on",
    "rows": "rows",
    "measure": "what",
    "this_quarter": "this quarter",
    "last_quarter": "quarter before",
    "year_before": "same quarter a year before",
    "quarter_share": "share",
    "quarter_share_low": "share, from",
    "quarter_share_high": "share, to",
    "out_of": "out of",
    "part": "of which part",
    "in_1000": "in 1,000 visits",
    "in_1000_low": "in 1,000, from",
    "in_1000_high": "in 1,000, to",
    "to_mend": "what to mend",
    "which_time": "which time",
    "times_as_often": "times as often as by chance",
    "times_as_often_low": "as often, from",
    "times_as_often_high": "as often, to",
    "rounded_share": "probably rounded",
    "exact_times": "exactly the slot's",
    "copied_share": "beyond chance",
    "contradicted": "cannot be true",
    "impossible_order": "what cannot be",
    "starts": "starts",
    "same_minute": "in one minute with another",
    "overlapping": "before the last patient left",
    "habit": "habit",
    "habit_share": "share of visits",
    "others_share": "with the others",
    "more_points": "more in 100 visits",
    "more_points_low": "more in 100, from",
    "more_points_high": "more in 100, to",
    "not_seen_share": "not seen before",
    "booked_new_share": "booked as new",
    "evidence_question": "what was compared",
    "evidence_study": "study",
    "counted_units": "counted",
    "worth_item": "what",
    "worth_each": "price each",
    "worth_money": "worth",
    "trial_difference": "difference to find, in 100",
    "weeks_needed": "weeks (or days) needed",
    "ears_needed": "ears needed",
    "period_starts": "starts on",
    "period_advice": "what the booking message says",
    "period_arm": "weeks (or days)",
    "periods": "how many",
    "watched_period": "when",
    "signal": "signal",
    "chance_share_low": "within chance, from",
    "chance_share_high": "within chance, to",
    "chance_verdict": "beside chance",
    "noise_limit": "what is reached",
    "noisy_days": "days",
}
"""Plain labels of the columns only answers have."""


def label(name: str) -> str:
    """Say a column's plain label; a name nobody labelled is an error.

    Examples
    --------
    >>> label("softening_days")
    'days of softening'
    """
    if name in ANSWER_LABELS:
        return ANSWER_LABELS[name]
    return FIELD_LABELS[name]


def code_label(column: str, code: str) -> str:
    """Say a code's plain label.

    Examples
    --------
    >>> code_label("grade", "partly_occluding")
    'partly occluding'
    """
    return schema.CODE_LABELS.get(column, {}).get(code, code)


def count(number: float) -> str:
    """Say a count.

    Examples
    --------
    >>> count(10483)
    '10,483'
    """
    return f"{number:,.0f}"


def plural(number: float, one: str, many: str | None = None) -> str:
    """Say a count with its noun.

    Examples
    --------
    >>> plural(1, "ear"), plural(1200, "ear"), plural(2, "clinic diary", "clinic diaries")
    ('1 ear', '1,200 ears', '2 clinic diaries')
    """
    noun = one if number == 1 else (many or f"{one}s")
    return f"{count(number)} {noun}"


def percent(share: float) -> str:
    """Say a share of one as a percentage; small shares keep a decimal.

    Examples
    --------
    >>> percent(0.1234), percent(0.004)
    ('12%', '0.4%')
    """
    hundredths = share * 100
    if hundredths != 0 and abs(hundredths) < 1:
        return f"{hundredths:.1f}%"
    return f"{hundredths:.0f}%"


def number(value: float, decimals: int = 0) -> str:
    """Say a plain number, without a minus on nought.

    Examples
    --------
    >>> number(18.26, 1), number(-0.02)
    ('18.3', '0')
    """
    rounded = round(value, decimals) + 0.0
    return f"{rounded:,.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def minutes(value: float, decimals: int = 0) -> str:
    """Say minutes.

    Examples
    --------
    >>> minutes(18.2), minutes(1.0)
    ('18 minutes', '1 minute')
    """
    text = number(value, decimals)
    return f"{text} minute" if text == "1" else f"{text} minutes"


def between(estimate: Estimate, decimals: int = 0) -> str:
    """Say a range of plain numbers.

    Examples
    --------
    >>> between(Estimate(18, 15.2, 21.4, 0.95, 80, ""))
    'between 15 and 21'
    """
    return f"between {number(estimate.low, decimals)} and {number(estimate.high, decimals)}"


def between_percent(estimate: Estimate) -> str:
    """Say a range of shares.

    Examples
    --------
    >>> between_percent(Estimate(0.12, 0.041, 0.3, 0.95, 80, ""))
    'between 4% and 30%'
    """
    return f"between {percent(estimate.low)} and {percent(estimate.high)}"


def how_sure(level: float) -> str:
    """Say what a range means at a level.

    Examples
    --------
    >>> how_sure(0.95)
    'Ranges are 95% ranges: about 19 in 20 such ranges hold the true figure.'
    """
    spoken = {0.95: "about 19 in 20", 0.9: "about 9 in 10", 0.8: "about 8 in 10", 0.99: "about 99 in 100"}
    return f"Ranges are {percent(level)} ranges: {spoken.get(level, f'about {percent(level)} of')} such ranges hold the true figure."


def day(when: date | pd.Timestamp) -> str:
    """Say a day.

    Examples
    --------
    >>> day(date(2026, 9, 3))
    '3 September 2026'
    """
    return f"{when.day} {when:%B %Y}"


def months(first: date | pd.Timestamp, last: date | pd.Timestamp) -> str:
    """Say the months from one day to another: the days themselves may be those of a single visit.

    Examples
    --------
    >>> months(date(2023, 10, 2), date(2026, 9, 30)), months(date(2026, 9, 3), date(2026, 9, 30))
    ('October 2023 to September 2026', 'September 2026')
    """
    ends = (f"{first:%B %Y}", f"{last:%B %Y}")
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def from_months(first: date | pd.Timestamp, last: date | pd.Timestamp) -> str:
    """Say the same with its preposition.

    Examples
    --------
    >>> from_months(date(2023, 10, 2), date(2026, 9, 30)), from_months(date(2026, 9, 3), date(2026, 9, 30))
    ('from October 2023 to September 2026', 'in September 2026')
    """
    said = months(first, last)
    return f"from {said}" if " to " in said else f"in {said}"


def joined(parts: list[str]) -> str:
    """Join parts as a person lists them.

    Examples
    --------
    >>> joined(["olive oil", "urea", "docusate"])
    'olive oil, urea and docusate'
    """
    return " and ".join(", ".join(parts).rsplit(", ", 1))

"""The quarter in five sentences: each a figure, its range, what it was before where that can be told, and what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from analysis.answers.demand_words import spoken
from analysis.answers.quarter_words import is_little
from analysis.answers.recall_group_words import listed, of_people
from analysis.derive.quarters import Quarter
from analysis.present import words
from analysis.present.answer import Answer, ResultRow
from analysis.present.page_parts import slug
from analysis.schema import BOOKING_KINDS
from analysis.stats.estimate import Estimate

AGAINST = {"year_before": "a year before", "last_quarter": "the quarter before"}
SHOULD_HOLD = {0.5: "half of", 0.8: "8 in 10 of", 0.95: "19 in 20 of"}
"""How many months a range of a forecast should hold."""
PART_QUARTER, NO_EARLIER = "not compared with whole quarters", "with no earlier figure to compare with"


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence, and the question of the page that stands behind it."""

    text: str
    question: str

    @property
    def id(self) -> str:
        """The id under which the question stands on the page."""
        return slug(self.question)


class Figures:
    """The answers' result rows, found by what they are; and how the quarter they are of is called."""

    def __init__(self, answers: Mapping[str, Answer], quarter: Quarter, *, whole: bool) -> None:
        self._rows = [row for answer in answers.values() for row in answer.rows]
        self.when = quarter.label if whole else f"part of {quarter.label}"
        self.again = "" if whole else f" in {self.when}"  # a whole quarter is named once
        self.uncompared = NO_EARLIER if whole else PART_QUARTER

    def find(self, section: str, quantity: str, **group: Any) -> Estimate | None:
        """Give a figure; None where there is none, or it is hidden."""
        for row in self._rows:
            if (
                (row.section, row.quantity) == (section, quantity)
                and group.items() <= row.group.items()
                and row.value is not None
            ):
                return _estimate(row)
        return None

    def groups(self, section: str, quantity: str, **group: Any) -> list[dict[str, Any]]:
        """List the groups a quantity is told of."""
        found = [row for row in self._rows if (row.section, row.quantity) == (section, quantity)]
        return [row.group for row in found if group.items() <= row.group.items()]


def five_sentences(answers: Mapping[str, Answer], quarter: Quarter, *, whole: bool = True) -> tuple[Sentence, ...]:
    """Say the quarter in five sentences.

    Parameters
    ----------
    answers : mapping of str to Answer
        By their short names, as ``questions.PARTS`` has them.
    quarter : Quarter
    whole : bool, optional
        False where the log covers only a part of it; that is said.

    Returns
    -------
    tuple of Sentence
        On bookings, slots, first attempts and softening, recall, and safety. Where the figures of one are not there, it is
        its question and the headline of its answer, which says why.
    """
    figures = Figures(answers, quarter, whole=whole)
    made = {
        "activity": _bookings(figures),
        "how long to book": _slots(figures),
        "outcomes": _attempts(figures),
        "when to call back": _recall(figures),
        "safety": _safety(figures),
    }
    return tuple(Sentence(text or _headline(answers[step]), answers[step].question) for step, text in made.items())


def _headline(answer: Answer) -> str:
    """Give the headline of an answer; where it says only that there is no figure, of what."""
    return answer.headline if answer.answered else f"{answer.question} {answer.headline}"


def _bookings(figures: Figures) -> str:
    """Say how many bookings, against when, and what to staff for."""
    booked = figures.find("quarter", "count", measure="booked", part="all", period="this_quarter")
    if booked is None:
        return ""
    said = f"{words.plural(booked.value, 'booking')} in {figures.when}, {_counts_compared(figures, 'booked')}"
    months = figures.groups("demand", "sessions_needed")
    if not months:
        return f"{said}; how many will come cannot be told yet."
    month = min(each["month"] for each in months)
    coming, needed = (figures.find("demand", each, month=month) for each in ("bookings", "sessions_needed"))
    if coming is None or needed is None:
        return f"{said}."
    when = pd.Timestamp(f"{month}-01")
    return (
        f"{said}: plan {spoken(needed.low)} to {spoken(needed.high)} half-day sessions for {when:%B} {when.year}, when "
        f"{spoken(coming.value)} bookings ({spoken(coming.low)} to {spoken(coming.high)}) are expected; both ranges should hold "
        f"{SHOULD_HOLD.get(needed.level, f'{words.percent(needed.level)} of')} such months."
    )


def _slots(figures: Figures) -> str:
    """Say what to book otherwise, and what that changes."""
    kinds = [each["booking"] for each in figures.groups("slots", "slot_minutes", policy="recommended")]
    seen, wait = (
        figures.find("slots", each, policy="recommended") for each in ("patients_per_session", "mean_wait_minutes")
    )
    had, waited = (
        figures.find("slots", each, policy="current") for each in ("patients_per_session", "mean_wait_minutes")
    )
    gain = figures.find("slots", "patients_per_session_difference")
    if seen is None or wait is None or had is None or waited is None or gain is None:
        return ""
    changed: list[str] = []
    for kind in kinds:
        new, old = (
            figures.find("slots", "slot_minutes", policy=policy, booking=kind) for policy in ("recommended", "current")
        )
        if new is not None and old is not None and new.value != old.value:
            changed.append(
                f"{new.value:.0f}{'' if changed else ' minutes'} for {_kind(kind)} ({'' if changed else 'today '}{old.value:.0f})"
            )
    if not changed:
        return (
            f"Keep today's slots: a full session sees {_ranged(seen, 'patients')}, each waits {_ranged(wait, 'minutes')}, and no "
            "others are worth more at the prices set."
        )
    told = "" if gain.excludes_zero else ", though the log cannot tell the two apart"
    return (
        f"Book {words.joined(changed)}{told}: a full session then sees {_ranged(seen, 'patients', had)} and each waits "
        f"{_ranged(wait, 'minutes', waited)}."
    )


def _attempts(figures: Figures) -> str:
    """Say how many first attempts succeeded, against when, and whether to go on advising softening."""
    success = figures.find("quarter", "share", measure="success", part="all", period="this_quarter")
    if success is None:
        return ""
    said = (
        f"{words.percent(success.value)} of first attempts{figures.again} succeeded ({_percents(success)}), "
        f"{_shares_compared(figures, 'quarter', 'success', 100)}"
    )
    gain = figures.find("softening", "risk_difference", contrast="advised", estimator="standardised")
    if gain is None:
        return f"{said}; whether softening pays cannot be told yet."
    if gain.low > 0:
        more = f"{_tenths(gain.value)} more in 100 ({_tenths(gain.low)} to {_tenths(gain.high)})"
        return f"{said}: go on advising softening to those it suits, for like with like {more} succeeded where it was advised."
    if gain.high < 0:
        fewer = f"{_tenths(-gain.value)} fewer in 100 ({_tenths(-gain.high)} to {_tenths(-gain.low)})"
        return f"{said}: look into softening before advising it further, for like with like {fewer} succeeded where it was advised."
    ends = f"{_tenths(-gain.low)} fewer to {_tenths(gain.high)} more in 100"
    return (
        f"{said}; whether advising people to soften first helps the log cannot tell ({ends}), which a fair test would."
    )


def _recall(figures: Figures) -> str:
    """Say after how many months to call back, and what today's rule meets."""
    groups = [each["group"] for each in figures.groups("recall", "recall_months")]
    groups = [each for each in groups if each != "everyone"] or groups
    parts = []
    for group in groups:
        months = figures.find("recall", "recall_months", group=group)
        if months is not None:
            parts.append(f"{words.number(months.value)} months ({_ends(months)}){_group(group)}")
    if not parts:
        return ""
    said = f"Call people back after {listed(parts)}, and sooner with symptoms"
    today = _at_todays_rule(figures, groups)
    return f"{said}: {today} are occluding again." if today else f"{said}."


def _at_todays_rule(figures: Figures, groups: Sequence[str]) -> str:
    """Say the share of ears occluding again at today's interval, for each group; nothing where there is no such rule."""
    parts: list[str] = []
    told_months = None
    for group in groups:
        share = figures.find("recall", "share_occluded_today", group=group)
        rule = next(iter(figures.groups("recall", "share_occluded_today", group=group)), None)
        if share is None or rule is None:
            continue
        when = "" if rule["months"] == told_months else f"at today's {rule['months']} months "
        of_ears = " of ears" if not parts else ""
        told_months = rule["months"]
        parts.append(f"{when}{words.percent(share.value)}{of_ears} ({_percents(share)}){_group(group)}")
    return listed(parts)


def _safety(figures: Figures) -> str:
    """Say how often something adverse was recorded, against when, and what to do."""
    event = figures.find("safety", "share", measure="any_event", part="all", period="this_quarter")
    if event is None:
        return ""
    low, high = (words.number(1000 * each) for each in (event.low, event.high))
    if event.value == 0:
        return (
            f"No adverse event was recorded in {words.plural(event.n, 'visit')}{figures.again}, which leaves room for up to "
            f"{high} in 1,000: ask whether they are written down."
        )
    more = figures.find("safety", "difference_of_shares", measure="any_event", part="all", against="year_before")
    do = "ask what has changed, and go through" if more is not None and more.low > 0 else "go through"
    return (
        f"{words.number(1000 * event.value)} in 1,000 visits{figures.again} ({low} to {high}) had an adverse event recorded, "
        f"{_shares_compared(figures, 'safety', 'any_event', 1000)}: {do} each as your local protocol says."
    )


def _counts_compared(figures: Figures, measure: str) -> str:
    """Compare a count with the same quarter a year before and with the quarter before."""
    shifts = {}
    for against, name in AGAINST.items():
        ratio = figures.find("quarter", "ratio_of_counts", measure=measure, part="all", against=against)
        if ratio is not None:
            shifts[name] = replace(ratio, value=ratio.value - 1, low=ratio.low - 1, high=ratio.high - 1)
    return _compared(shifts, dict.fromkeys(shifts, 1.0), 100, "%") or figures.uncompared


def _shares_compared(figures: Figures, section: str, measure: str, per: int) -> str:
    """Compare a share with the same quarter a year before and with the quarter before."""
    shifts, earlier = {}, {}
    for against, name in AGAINST.items():
        shift = figures.find(section, "difference_of_shares", measure=measure, part="all", against=against)
        before = figures.find(section, "share", measure=measure, part="all", period=against)
        if shift is not None:
            shifts[name], earlier[name] = shift, before.value if before else 0.0
    return _compared(shifts, earlier, per, f" in {per:,}") or figures.uncompared


def _compared(shifts: Mapping[str, Estimate], earlier: Mapping[str, float], per: int, unit: str) -> str:
    """Say the changes as the quarter's answers do, and claim no more than their ranges; nothing where there are none."""
    said = []
    near = [name for name, shift in shifts.items() if is_little(shift, earlier[name])]
    for name, shift in shifts.items():
        if shift.excludes_zero and name not in near:
            low, high = sorted(abs(each) * per for each in (shift.low, shift.high))
            more = "more" if shift.value > 0 else "fewer"
            size, percent = words.number(abs(shift.value) * per), unit if unit == "%" else ""
            ends = f"{words.number(low)}{percent} to {words.number(high)}{percent}"
            said.append(f"{size}{percent} {more}{unit.removeprefix('%')} ({ends}) than {name}")
    unclear = [name for name, shift in shifts.items() if not shift.excludes_zero and name not in near]
    if near:
        said.append(f"little changed from {' and '.join(near)}")
    if unclear:
        said.append(f"not clearly different from {' or '.join(unclear)}")
    return words.joined(said)


def _kind(booking: str) -> str:
    """Say a booking category without a table."""
    kind, _, fact = booking.partition(", ")
    said = BOOKING_KINDS.get(kind, kind)
    said = f"any {said}" if kind == "other" else f"a {said}"
    return f"{said} ({fact.replace('=', ': ').replace('_', ' ')})" if fact else said


def _group(group: str) -> str:
    """Say a group of recall behind its figure."""
    known = {"hearing_aid": " with a hearing aid", "no_hearing_aid": " without", "everyone": ""}
    return known[group] if group in known else of_people(group)


def _ranged(figure: Estimate, unit: str, today: Estimate | None = None) -> str:
    """Say a figure with its unit and range, and today's beside it."""
    ends = [words.number(each, 1) for each in (figure.value, figure.low, figure.high)]
    beside = "" if today is None else f"; today {words.number(today.value, 1)}"
    return f"{ends[0]} {unit} ({ends[1]} to {ends[2]}{beside})"


def _percents(share: Estimate) -> str:
    """Say the range of a share as percentages."""
    return f"{words.percent(share.low)} to {words.percent(share.high)}"


def _tenths(share: float) -> str:
    """Say a share as so many in 100, to a tenth."""
    return words.number(100 * share, 1)


def _ends(figure: Estimate) -> str:
    """Say a range in whole numbers."""
    return f"{words.number(figure.low)} to {words.number(figure.high)}"


def _estimate(row: ResultRow) -> Estimate:
    """Read a row as an estimate; without a range its figure is both ends."""
    value = float(row.value or 0.0)
    low, high = (value if end is None else float(end) for end in (row.low, row.high))
    return Estimate(value, low, high, row.level or 0.95, row.n or 0, row.method)

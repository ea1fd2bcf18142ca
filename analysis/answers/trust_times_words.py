"""How the habits of writing times are said: what they do to the later answers, and what to record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from analysis.models.log_heaping import ALL, Copying, Rounding
from analysis.models.log_orders import Coincidence, Order
from analysis.present import words
from analysis.present.answer import INFORMATION, Check
from analysis.stats.estimate import Estimate
from analysis.stats.small_counts import hidden_counts

TIMES = {"started_at": "starts", "ended_at": "ends", "arrived_at": "arrivals", "minutes": "minutes"}
NO_RANKING = (
    "These are habits of writing times, not of working, and rank nobody; a busy room leaves little time to write.",
)
STRICT_RANGES = (
    "Ranges are wide enough for all of them together: a log written as things happened would show no sign at all in about "
    "99 of 100 such logs."
)


@dataclass(frozen=True, slots=True)
class OrderWords:
    """How one impossible order is told, what it does to the later answers, and what to record."""

    told: str
    means: str
    record: str


_NO_LENGTH = "the visit says nothing of how long visits take"
_EPISODES = "returns and second attempts are miscounted"
ORDERS = {
    "ended_before_started": OrderWords(
        "ended before it started", _NO_LENGTH, "start and end at the moment, in their own cells"
    ),
    "arrived_after_ended": OrderWords(
        "patient arrived after the end", "waits and lateness are wrong for it", "arrival when the patient walks in"
    ),
    "started_before_arrived": OrderWords(
        "started before the patient arrived", "waits and starts on time are wrong for it", "arrival when the patient walks in"
    ),
    "not_kept_yet_seen": OrderWords(
        "missed or cancelled, yet with an end or ears", "it counts as not kept, and its ears as not seen",
        "attendance after the visit, not before",
    ),
    "second_attempt_before_first": OrderWords(
        "second attempt, yet no visit before it", _EPISODES, "the same patient's number at every visit"
    ),
    "new_yet_seen_before": OrderWords(
        "new patient, yet seen before", "new patients are overcounted", "new only for a patient never seen here"
    ),
    "younger_than_before": OrderWords(
        "patient in a younger age band than before", "two people may share one number, or ages are wrong",
        "the birth date once, and one number for one patient",
    ),
    "twice_at_once": OrderWords(
        "one patient twice at the same time", "visits are counted twice", "one booking for both ears"
    ),
    "clear_yet_worked_on": OrderWords(
        "ear graded clear, yet worked on", "minutes go to an ear that needed none", "the grade as first seen, before any work"
    ),
    "nothing_to_remove_yet_worked_on": OrderWords(
        "nothing to remove, yet worked on", "success is miscounted", "the outcome after the last method"
    ),
    "clear_yet_left_occluding": OrderWords(
        "ear graded clear, yet left occluding", "success and recall are miscounted", "left and right in their own cells"
    ),
}  # fmt: skip
TOO_SOON = {"same_minute": "in one minute with another", "overlapping": "before the last patient left"}

ROUNDED_MEANS = (
    "A rounded end is up to two and a half minutes off. Average lengths hardly change; the longest visits in ten, on which "
    "slots rest, are known less well, and their ranges are too narrow."
)
ROUNDED_RECORD = (
    "The minute as the clock shows it, for the start and for the end; the clock of the records system if it has one."
)
ROUNDED_METHOD = (
    "Share of times on a multiple of five minutes over the one in five of chance. Ends that are the slot's are left to the "
    "question of copied times."
)
ROUNDED_ASSUMPTIONS = (
    "Times written as they were fall on each last digit about equally often.",
    "A sign is told where even the lower end of the range is beyond one and a half times chance (our own line, no source).",
)
COPIED_MEANS = (
    "A copied end says how long was booked, not how long the visit took. Left in, such visits make slots look right whatever "
    "they are. With those who copy, ends that are exactly the slot's are left out of every figure about time."
)
COPIED_RECORD = (
    "The end when the patient leaves the chair, never filled in from the diary; leave it empty where nobody looked."
)
COPIED_METHOD = "How often a time is exactly the slot's, beside the minutes up to 3 off it, or with those who round, 5 and 10 off it."
COPIED_ASSUMPTIONS = (
    "True ends spread smoothly around the slot's end; a few fall on it by chance and are not counted as copied.",
    "A sign is told where even the lower end of the range is beyond twice what stands beside it (our own line, no source).",
)
ORDER_MEANS = (
    "Times in an impossible order are left out of every figure about time. What contradicts itself otherwise stays in, so "
    "that nothing is lost, and adds noise where it is rare."
)
ORDER_RECORD = "Each moment when it happens, in its own cell; attendance and outcome after the visit."
ORDER_METHOD = "Each visit beside its own facts and beside the same patient's other visits."
ORDER_ASSUMPTIONS = (
    "Where two facts exclude each other, either may be the wrong one.",
    "A first attempt made elsewhere, or before this log began, looks like one that is missing.",
)
TOGETHER_MEANS = (
    "Minutes of two visits at once count twice, so visits look longer, or the session fuller, than they were."
)
TOGETHER_RECORD = "The start when each patient sits down; for a family seen together, one start after the other; each under who did the work."
TOGETHER_METHOD = "Each practitioner's starts in order of time, beside the start and the end before."
TOGETHER_ASSUMPTIONS = (
    "One pair of hands starts one patient at a time, so by chance there is none.",
    "Two people working under one name, or a family seen together, look the same as a slip.",
)


def consequences(means: str, record: str) -> tuple[Check, Check]:
    """Say what a habit does to the later answers, and what to record from now on."""
    return (
        Check("What it does to the later answers", INFORMATION, means),
        Check("What to record from now on", INFORMATION, record),
    )


def finite(value: float) -> float | None:
    """Leave a number without end open."""
    return value if isfinite(value) else None


def times_as_often(ratio: Estimate) -> str:
    """Say a ratio with its range, honestly where it has no end.

    Examples
    --------
    >>> times_as_often(Estimate(8.46, 6.2, 11.8, 0.99, 300, ""))
    '8.5 times as often as by chance (between 6.2 and 11.8)'
    """
    if not isfinite(ratio.high):
        return f"at least {words.number(ratio.low, 1)} times as often as by chance"
    return f"{words.number(ratio.value, 1)} times as often as by chance ({words.between(ratio, 1)})"


def _whole(found: Sequence[Any], what: str) -> Any:
    """Find the judgement of the whole log."""
    return next((each for each in found if each.what == what and each.part == ALL), None)


def _leading(found: Sequence[Any]) -> Any:
    """Find the judgement of the whole log that is told first: ends, or else what there is."""
    return _whole(found, "ended_at") or found[0]


def named(parts: Sequence[str]) -> str:
    """List practitioners; the whole log is not one."""
    return words.joined([part for part in parts if part != ALL])


def rounded_headline(found: Sequence[Rounding], period: str) -> str:
    """Say how many times were rounded."""
    first = _leading(found)
    who = named([each.part for each in found if each.flagged and each.what == first.what])
    if not who and not first.flagged:
        others = [TIMES[each.what] for each in found if each.flagged]
        but = f" (but {words.joined(sorted(set(others)))} are)" if others else ""
        return (
            f"There is no sign that {TIMES[first.what]} are rounded{but}: multiples of five minutes come "
            f"{times_as_often(first.index)}, {period}."
        )
    share = first.rounded
    who_told = f", with {who}" if who else ""
    return (
        f"About {words.percent(share.value)} of {TIMES[first.what]} are rounded to five minutes "
        f"({words.between_percent(share)}){who_told}, {period}."
    )


def rounded_title(found: Sequence[Rounding]) -> str:
    """Say whose times are rounded."""
    flagged = [each for each in found if each.flagged and each.part != ALL]
    if not flagged:
        return "Multiples of five come about as often as by chance"
    first = max(flagged, key=lambda each: each.index.value)
    return f"{TIMES[first.what].capitalize()} of {first.part}: multiples of five {words.number(first.index.value, 1)} times as often as by chance"


def rounded_text(found: Sequence[Rounding]) -> str:
    """Tell the chart in words."""
    told = "; ".join(f"{TIMES[each.what]}, {each.part}: {times_as_often(each.index)}" for each in found)
    return f"How often times are multiples of five minutes, 1 being chance and 5 being always: {told}."


def rounded_check(flagged: Sequence[Rounding]) -> str:
    """Say where times were rounded."""
    if not flagged:
        return "Nowhere do multiples of five come more often than chance allows."
    told = words.joined([f"{TIMES[each.what]} of {each.part}" for each in flagged])
    return f"{told[:1].upper()}{told[1:]} fall on multiples of five too often."


def copied_headline(found: Sequence[Copying], period: str) -> str:
    """Say how many ends were copied; without ends, how many starts are the slot's."""
    ends = _whole(found, "ended_at")
    if ends is None:
        starts = found[0]
        return (
            f"{words.percent(starts.exact / starts.times)} of {words.plural(starts.times, 'start')} are exactly the slot's; "
            f"no visit has an end, so whether ends are copied cannot be looked at, {period}."
        )
    flagged = [each for each in found if each.flagged]
    if not flagged:
        return f"There is no sign that ends are copied from the diary: the slot's own end comes {times_as_often(ends.ratio)}, {period}."
    first = max(flagged, key=lambda each: each.ratio.low)
    who = named([each.part for each in flagged]) or ALL
    return (
        f"About {words.percent(ends.copied)} of all ends are probably copied from the diary, most clearly with {who}: "
        f"there the slot's own end comes {times_as_often(first.ratio)}, {period}."
    )


def copied_title(found: Sequence[Copying]) -> str:
    """Say whose ends are copied."""
    flagged = [each for each in found if each.flagged and each.part != ALL]
    if not flagged:
        return "The slot's own end comes hardly more often than the minutes beside it"
    first = max(flagged, key=lambda each: each.copied)
    return f"About {words.percent(first.copied)} of the ends of {first.part} are probably copied from the diary"


def drawn(found: Sequence[Copying]) -> list[Copying]:
    """Choose what the chart shows: ends, or starts where no visit has an end."""
    return [each for each in found if each.what == "ended_at"] or list(found)


def copied_text(found: Sequence[Copying]) -> str:
    """Tell the chart in words."""
    told = "; ".join(
        f"{TIMES[each.what]}, {each.part}: {words.percent(each.exact / each.times)} exactly the slot's, "
        f"{words.percent(each.copied)} beyond chance"
        for each in drawn(found)
    )
    return f"Share of times that are exactly the slot's, beyond those that are so by chance: {told}."


def copied_check(flagged: Sequence[Copying]) -> str:
    """Say where ends were copied."""
    if not flagged:
        return "Nowhere does the slot's own end come far more often than the minutes beside it."
    who = words.joined([each.part for each in flagged])
    return f"The slot's own end comes far too often with {who}."


def starts_checks(found: Sequence[Copying]) -> list[Check]:
    """Say how many starts are the slot's, and how many of these cannot be true."""
    starts = _whole(found, "started_at")
    if starts is None:
        return []
    share = words.percent(starts.exact / starts.times)
    wrong = (
        f"At {words.count(starts.contradicted)} of these the patient had not arrived, or the one before had not left, so "
        "they were copied."
        if starts.contradicted
        else "None of these is contradicted by an arrival or by the visit before."
    )
    told = (
        f"{share} of {words.plural(starts.times, 'start')} are exactly the slot's. A room that calls on the minute and a hand "
        f"that copies look alike. {wrong}"
    )
    return [Check("Starts on the slot", INFORMATION, told)]


def order_headline(shown: int, share: Estimate, found: Sequence[Order], period: str) -> str:
    """Say how many visits show an impossible order, and most often which."""
    if not found:
        return f"Nothing stands in an order that cannot be, {period}."
    first = found[0]
    per = share.scaled(1000)
    return (
        f"{words.plural(shown, 'visit')} ({words.number(per.value)} in 1,000, {words.between(per)}) "
        f"{'shows' if shown == 1 else 'show'} an order that cannot be, most often: {ORDERS[first.what].told} "
        f"({words.count(len(first.visits))}), {period}."
    )


def order_title(found: Sequence[Order]) -> str:
    """Say which order is commonest."""
    return f"Commonest: {ORDERS[found[0].what].told}" if found else ""


def order_text(found: Sequence[Order]) -> str:
    """Tell the chart in words."""
    told = "; ".join(
        f"{ORDERS[each.what].told}, {words.count(len(each.visits))} of {words.count(each.of)}" for each in found
    )
    return f"Visits that show an order that cannot be, of those where it could be seen: {told}." if found else ""


def order_check(found: Sequence[Order], looked: int) -> str:
    """Say how many kinds were looked for and found."""
    return f"{words.plural(looked, 'kind')} of order looked for, {len(found)} found."


def booked_after_checks(record: Mapping[str, Any]) -> list[Check]:
    """Say how often a booking was made after its visit, which intake empties."""
    many = record.get("contradictions", {}).get("booked after the visit", 0)
    if not many:
        return []
    told = f"{words.plural(many, 'booking')}; the day of booking was emptied, the visit kept."
    return [Check("Booked after the visit", INFORMATION, told)]


def together_headline(same: int, starts: int, share: Estimate, period: str) -> str:
    """Say how many starts share their minute with another of the same practitioner."""
    if not same:
        most = f"so at most {words.number(share.high * 1000, 1)} in 1,000"
        return f"No practitioner starts two patients in one minute: none of {words.plural(starts, 'start')}, {most}, {period}."
    per = share.scaled(1000)
    return (
        f"{words.count(same)} of {words.plural(starts, 'start')} ({words.number(per.value, 1)} in 1,000, "
        f"{words.between(per, 1)}) share their minute with another of the same practitioner, {period}."
    )


def together_title(same: int, overlapping: int) -> str:
    """Say how many starts come too soon."""
    shared = "No start shares" if not same else f"{words.plural(same, 'start')} share"
    return f"{shared} a minute with another; {words.count(overlapping)} come before the last patient left"


def together_check(same: int) -> str:
    """Say whether any start shares its minute."""
    return f"{words.plural(same, 'start')} in one minute with another." if same else "No two starts in one minute."


def together_text(found: Sequence[Coincidence], bound: int) -> str:
    """Tell the chart in words, small counts hidden."""
    shown = shown_counts(found, bound)
    told = "; ".join(
        f"{each.part}, of {words.count(each.starts)} starts: "
        + ", ".join(
            f"{'not shown' if shown[name][place] is None else words.count(shown[name][place] or 0)} {what}"
            for name, what in TOO_SOON.items()
        )
        for place, each in enumerate(found)
    )
    return f"Starts that one practitioner cannot have made, in 1,000: {told}."


def shown_counts(found: Sequence[Coincidence], bound: int) -> dict[str, list[int | None]]:
    """Give each practitioner's counts, with small ones, and what would betray them, left out."""
    shown: dict[str, list[int | None]] = {}
    for name in TOO_SOON:
        counts = [int(getattr(each, name)) for each in found]
        hidden = hidden_counts([*counts, sum(counts)], [(len(counts), range(len(counts)))], bound)
        shown[name] = [None if hide else many for many, hide in zip(counts, hidden, strict=False)]
    return shown

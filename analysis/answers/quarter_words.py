"""How a quarter's measures and their changes are said."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from analysis.answers.case_mix_words import CASE_MIX
from analysis.derive.sessions import ON_TIME_MINUTES
from analysis.models.quarter_measures import ALL, Measure
from analysis.models.quarter_periods import LAST, YEAR, Periods
from analysis.models.quarter_quiet import Quiet
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, Check
from analysis.problems import NotEnough
from analysis.schema import ADVERSE_EVENTS, GRADES
from analysis.stats.estimate import Estimate

EARLIER = {YEAR: "the same quarter a year before", LAST: "the quarter before"}
"""The earlier quarters, that of the same season first."""
UNLIKELY = 0.05
"""A silence less likely than this is asked about (a common line, no source)."""
MANY_VISITS = 100
"""Visits of a log without any adverse event from which their recording is asked about (our own line, no source)."""
SAME_WITHIN = 0.1
"""A tenth of the earlier figure (our own line, no source)."""

MEASURES = {
    "booked": "bookings",
    "attended": "attended",
    "missed": "missed",
    "cancelled_late": "cancelled late",
    "new": "new patients",
    "returning": "returning patients",
    "on_time": f"started within {ON_TIME_MINUTES} minutes of the slot",
    **{grade: f"first found {label}" for grade, label in GRADES.items()},
    "success": "first attempts that succeeded",
    "again": "second or later attempts",
    "referred": "referred onward",
    "over_slot": "longer than the slot",
    "recall_came": "patients due who came",
    "recall_kept": "recall bookings kept",
    **CASE_MIX,
    "any_event": "any adverse event",
    **{event: label for event, label in ADVERSE_EVENTS.items() if event != "none"},
}
SAME_MEANS = (
    "More or fewer is said only where the whole range says so; little changed, only where the whole range lies within "
    "a tenth of the earlier figure; anything else is no clear difference."
)
TELLS_NOT_WHY = "A change between quarters may come from other patients, other staff or other habits of recording; the log cannot say which."
ACTIVITY_ASSUMPTIONS = (
    "A moved booking counts once, in the quarter it was moved to. Shares of attended, missed and cancelled late are of the "
    "bookings that were not cancelled in time.",
    "A patient is new where the booking says so.",
    f"On time is a start no later than {ON_TIME_MINUTES} minutes after the slot's start. Visits whose times look copied from the slot are left out. Starts of one half-day go together in its range.",
    "Bookings are taken to come one by one; families booked together, or fewer working days, make true ranges wider.",
    SAME_MEANS,
)
ACTIVITY_CAUTIONS = ("Practitioners and sites see different patients at different hours; these figures rank nobody.",)
OUTCOME_CAUTIONS = (
    "Success falls with harder and fuller wax; a lower share is no verdict on anyone's work.",
    "Stopping or referring can be the right outcome. Local protocols and licensed practice decide, never a share.",
)
SAFETY_CAUTIONS = (
    "What is recorded depends on who asks and who writes it down: more events may be better recording, none may be poor recording.",
    "A count replaces no review of a single case. Local protocols and licensed practice decide what follows an event.",
    "Some harm shows only days later, and elsewhere; the latest weeks may still be incomplete.",
)


def period(found: Periods) -> str:
    """Say the quarter, and that it is only a part where the log does not cover it."""
    if found.whole:
        return found.quarter.label
    return f"part of {found.quarter.label} ({log_ends(found)})"


def log_ends(found: Periods) -> str:
    """Say in which months of the quarter the log begins or ends; the days would be those of single visits."""
    begins, ends = found.first_day > found.quarter.first_day, found.last_day < found.quarter.last_day
    parts = [
        *([f"begins in {found.first_day:%B %Y}"] if begins else []),
        *([f"ends in {found.last_day:%B %Y}"] if ends else []),
    ]
    return f"the log {words.joined(parts)}"


def outcome_assumptions(days: int, *, numbered: bool) -> tuple[str, ...]:
    """Say what success and attempts rest on."""
    unseen = (
        () if numbered else ("Without a patient number no later attempt can be seen, so success may be overstated.",)
    )
    return (
        f"A first attempt succeeded if the ear was left clear or with a non-occluding remnant, and no further attempt on it followed within {days} days.",
        "Two ears of one patient tend to go together; ranges of ears are widened for it.",
        *unseen,
        SAME_MEANS,
    )


def change(measure: Measure, before: str, *, against: str = "", per: int = 100, briefly: bool = False) -> str:
    """Say how a measure changed, and claim no more than its range.

    ``against`` is put behind the verdict: "more than a year before". Shares
    are told as so many in ``per``. ``briefly`` leaves the range of what is no
    claim of more or fewer to the checks.
    """
    if before not in measure.change:
        return ""
    told = measure.change[before]
    ratio = measure.share is None
    shift = Estimate(told.value - 1, told.low - 1, told.high - 1, told.level, told.n, told.method) if ratio else told
    scale = None if ratio else per
    earlier = 1.0 if ratio else measure.earlier[before].value
    near = is_little(shift, earlier)
    if shift.excludes_zero and not near:
        way = "more" if shift.value > 0 else "fewer"
        than = f" than {against}" if against else ""
        small, large = sorted((abs(shift.low), abs(shift.high)))
        ends = f"between {_size(small, scale)} and {_size(large, scale)}"
        return f"{_size(abs(shift.value), scale)} {way}{'' if ratio else f' in {per:,}'}{than} ({ends})"
    ends = f"between {_side(shift.low, scale)} and {_side(shift.high, scale)}{'' if ratio else f' in {per:,}'}"
    verdict = "little changed" if near else "no clear difference"
    return f"{verdict}{f' from {against}' if against else ''}{'' if briefly else f' ({ends})'}"


def is_little(shift: Estimate, earlier: float) -> bool:
    """Tell whether a change's whole range lies within a tenth of the earlier figure.

    Examples
    --------
    >>> is_little(Estimate(0.01, -0.03, 0.04, 0.95, 700, ""), 0.86), is_little(Estimate(0.01, -0.03, 0.04, 0.95, 700, ""), 0.2)
    (True, False)
    """
    return max(abs(shift.low), abs(shift.high)) <= SAME_WITHIN * earlier


def _size(value: float, per: int | None) -> str:
    """Say the size of a change: a percentage of a count, or so many in 100 or 1,000 of a share."""
    if per is None:
        return words.percent(value)
    return words.number(value * per, 0 if value * per >= 9.5 else 1)


def _side(value: float, per: int | None) -> str:
    """Say one end of a range with its direction."""
    return f"{_size(abs(value), per)} {'more' if value > 0 else 'fewer'}"


def share(measure: Measure) -> str:
    """Say a measure's share and its range; nothing where there is none to show."""
    if measure.share is None:
        return ""
    return f"{words.percent(measure.share.value)} ({words.between_percent(measure.share)})"


def lead_change(measure: Measure, *, per: int = 100, briefly: bool = False, named: bool = True) -> str:
    """Compare with the same quarter a year before, or else with the quarter before; nothing where neither is whole.

    ``named`` says which of them, once in a sentence.
    """
    return next(
        (
            change(measure, before, against=name if named else "", per=per, briefly=briefly)
            for before, name in EARLIER.items()
            if before in measure.change
        ),
        "",
    )


def find(measures: Iterable[Measure], name: str) -> Measure:
    """Find a measure of the whole clinic."""
    return next(each for each in measures if (each.name, each.part) == (name, ALL))


def refuse_if_few(count: int, noun: str, hide_below: int, found: Periods) -> None:
    """Refuse to answer where the leading count itself is too small to show."""
    if count < hide_below:
        raise NotEnough(
            f"There are too few {noun} in {period(found)} to show without giving single patients away.",
            f"Wait for more, or set hide_below lower than {hide_below} in clinic.toml for figures that stay in the clinic.",
        )


def compared_checks(
    measures: Sequence[Measure], names: Sequence[str], found: Periods, *, per: int = 100
) -> tuple[Check, ...]:
    """Say how the quarter compares with each earlier one, or why it is not compared."""
    checks = []
    for before, said in EARLIER.items():
        told = [
            f"{MEASURES[each.name]}: {change(each, before, per=per)}"
            for each in measures
            if each.part == ALL and each.name in names and before in each.change
        ]
        sentence = f"{'; '.join(told)}." if told else _not_compared(before, found)
        checks.append(Check(f"Against {said}", INFORMATION, sentence[:1].upper() + sentence[1:]))
    return tuple(checks)


def _not_compared(before: str, found: Periods) -> str:
    """Say why there is no comparison."""
    if not found.whole:
        return (
            f"Not compared: the log covers only a part of the quarter: it {log_ends(found).removeprefix('the log ')}. "
            "If it is complete, set last_day in clinic.toml."
        )
    if before not in found.compared:
        return "Not compared: the log does not cover that quarter from beginning to end."
    return "Not compared: the counts are too small to show, or nothing was recorded."


def quiet_check(quiet: Quiet | None) -> tuple[Check, ...]:
    """Ask whether events are written down, where a quarter is without any; nothing where it has one."""
    if quiet is None:
        return ()
    name, now = "Are adverse events written down", f"None in {words.plural(quiet.visits, 'visit')}"
    if quiet.chance is not None and quiet.chance < UNLIKELY:
        told = "though the earlier log has events: so quiet a quarter is hardly luck. Ask whether they are still written down."
        return (Check(name, FAILED, f"{now}, {told}"),)
    if quiet.chance is not None:
        return (Check(name, INFORMATION, f"{now}, which can be luck, going by the earlier log."),)
    so_far = quiet.visits + quiet.visits_before
    if so_far >= MANY_VISITS:
        told = f"No adverse event at all in the log's {words.plural(so_far, 'visit')} up to then. Passing discomfort and dizziness are common, so ask whether they are written down."
        return (Check(name, FAILED, told),)
    return (Check(name, INFORMATION, f"{now}, too few to say whether events are written down."),)


def people_check(practitioners: int, measures: Sequence[Measure], hide_below: int) -> tuple[Check, ...]:
    """Say why no practitioner is listed, where the log names several."""
    if practitioners < 2 or any(each.part.startswith("practitioner ") for each in measures):
        return ()
    told = f"Practitioners are not listed: in this quarter only one has bookings, or a count of one of them is under {hide_below}."
    return (Check("Practitioners", INFORMATION, told),)


def hidden_check(measures: Sequence[Measure], hide_below: int) -> tuple[Check, ...]:
    """Say that small counts are hidden, where some are."""
    if not any(count is None for each in measures for count in each.counts.values()):
        return ()
    sentence = (
        f"Counts under {hide_below} are not shown, nor others that would give them away; "
        "hide_below in clinic.toml sets the limit."
    )
    return (Check("Small counts", INFORMATION, sentence),)


def how_sure(measures: Sequence[Measure], level: float) -> str:
    """Say what the ranges mean."""
    told = words.how_sure(level)
    return f"{told} {TELLS_NOT_WHY}" if any(each.change for each in measures) else told

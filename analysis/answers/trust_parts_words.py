"""How differing pens and changing systems are said: what they do to the later answers, and what to record."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.models.log_recorders import AT_LEAST, Habit
from analysis.models.log_system_change import FirstVisits, Jump
from analysis.present import words
from analysis.present.answer import INFORMATION, Check

MOST_IF_NONE = 6
KINDS = {"minutes": "minutes really known", "filled_from_slot": "end filled from the slot"}
DIFFER_SURE = (
    "Ranges are wide enough for all of them together: where everybody records alike, none at all would lie beyond chance in "
    "about 99 of 100 logs."
)
DIFFER_ASSUMPTIONS = (
    f"A habit differs where its range leaves out no difference and it is at least {words.percent(AT_LEAST)} of visits away "
    "(our own line, no source).",
    "A site records as its practitioners do; one of them may be all of the difference.",
    "Practitioners and sites see different ears, so a differing mix of grades may be their patients and not their pens.",
)
DIFFER_CAUTIONS = (
    "This is about record keeping. It ranks nobody and says nothing of how well anybody works; practitioners see different patients.",
)
DIFFER_METHOD = (
    "Share of attended visits that show a habit, beside the share with the others, those left out who differ themselves; "
    "Newcombe ranges, widened for the number of comparisons."
)
MEANS = {
    "minutes": "Lengths of visits rest on the others' visits only",
    "rounding": "Their longest visits are known to five minutes only",
    "recorded": "Answers that need the fact rest on the others' visits",
    "fullest": "If the pens differ and not the ears, minutes by grade and comparisons of softening mix two scales",
}
RECORD = {
    "minutes": "the start and the end as the clock shows them",
    "rounding": "the minute as the clock shows it",
    "recorded": "the fact at every visit, and a no where the answer is no",
    "fullest": "grades by one written scale; grade ten ears together and compare",
}
NEW_SURE = "The range is wide enough for all months together: a log without a change would show no such jump in about 99 of 100 logs."
NEW_ASSUMPTIONS = (
    "The share of visits by patients not seen before falls slowly as a log grows; it does not leap up by itself.",
    "A real rush of new patients, such as a new site, looks the same as numbers that start again.",
)
NEW_METHOD = "Three months from each month's start beside the three before it; Newcombe ranges, widened for the number of months."
SIGNS = {
    "not_seen_before": "visits by patients not seen before in the log",
    "booked_as_new": "visits booked as new patients",
}


def habit_told(habit: Habit) -> str:
    """Say a habit.

    Examples
    --------
    >>> from analysis.stats.estimate import Estimate
    >>> nothing = Estimate(0, 0, 0, 0.99, 0, "")
    >>> habit_told(Habit("practitioner 1", "fullest", "clear", 1, 2, 0.5, nothing, False))
    'fuller ear graded clear'
    """
    if habit.kind == "fullest":
        return f"fuller ear graded {words.code_label('grade', habit.of)}"
    if habit.kind == "rounding":
        return "end on a multiple of five"
    return KINDS[habit.of] if habit.kind == "minutes" else f"{words.label(habit.of)} recorded"


def differ_headline(habits: Sequence[Habit], tellable: Sequence[Habit], differing: int, period: str) -> str:
    """Say how many habits differ, and whose most, of those whose figures may be told."""
    parts = {habit.part for habit in habits}
    if not differing:
        widest = max(habits, key=lambda habit: abs(habit.difference.value))
        return (
            f"There is no sign that practitioners or sites record differently: of {words.plural(len(habits), 'comparison')} of "
            f"{len(parts)}, none is both beyond chance and at least {words.percent(AT_LEAST)} of visits, the widest being "
            f"{words.number(abs(widest.difference.value) * 100)} visits in 100, {period}."
        )
    how_many = (
        f"{words.plural(differing, 'habit')} of recording {'differs' if differing == 1 else 'differ'} from the others' "
        "beyond chance"
    )
    if not tellable:
        return f"{how_many}; the counts are too small to show, {period}."
    first = max(tellable, key=lambda habit: abs(habit.difference.value))
    return f"{how_many}, most of all with {first.part}: {habit_told(first)} in {_points(first)}, {period}."


def _points(habit: Habit) -> str:
    """Say a difference in visits of 100, with its range."""
    size = habit.difference if habit.difference.value >= 0 else habit.difference.scaled(-1)
    hundreds = size.scaled(100)
    side = "more" if habit.difference.value >= 0 else "fewer"
    return f"{words.number(hundreds.value)} {side} visits in 100 than with the others ({words.between(hundreds)})"


def differ_title(differing: Sequence[Habit]) -> str:
    """Say which habits differ."""
    if not differing:
        return "The widest differences in recording are within what chance or ten visits in 100 allow"
    told = sorted({habit_told(habit) for habit in differing})
    return f"Beyond chance: {words.joined(told)}"


def differ_text(shown: Sequence[Habit], hidden: set[tuple[str, str, str]]) -> str:
    """Tell the chart in words."""
    told = "; ".join(
        f"{habit_told(habit)}, {habit.part}: " + ("not shown" if habit.key in hidden else _points(habit))
        for habit in shown
    )
    return f"How many more visits in 100 show a habit than with the others, with ranges: {told}."


def differ_check(differing: Sequence[Habit], compared: int) -> str:
    """Say how many habits were compared and how many differ."""
    return f"{words.plural(compared, 'habit')} compared with the others', {len(differing)} beyond chance."


def differ_consequences(differing: Sequence[Habit]) -> tuple[Check, Check]:
    """Say what differing habits do to the later answers, and what to record."""
    kinds = list(dict.fromkeys(habit.kind for habit in differing))
    means = (
        ". ".join(MEANS[kind] for kind in kinds) or "Nothing: the later answers may lean on everybody's visits alike"
    )
    record = "; ".join(RECORD[kind] for kind in kinds) or "as now"
    return (
        Check("What it does to the later answers", INFORMATION, f"{means}."),
        Check("What to record from now on", INFORMATION, f"{record[:1].upper()}{record[1:]}."),
    )


def _month(jump: Jump) -> str:
    """Say the month of a jump."""
    return f"{jump.month:%B %Y}"


def new_headline(found: FirstVisits, period: str) -> str:
    """Say whether and when known patients begin to look new, and how many visits that is."""
    if not found.jumps:
        first, last = _ends(found)
        return (
            f"There is no sign that known patients suddenly look new: the share of visits by patients not seen before runs "
            f"from {words.percent(first)} in the first three months to {words.percent(last)} in the last three without a "
            f"leap, {period}."
        )
    jump = max(found.jumps, key=lambda each: each.rise.value)
    rise = jump.rise.scaled(100)
    extra = jump.extra_visits
    return (
        f"Known patients probably look new from {_month(jump)} on: {SIGNS[jump.sign]} leap by {words.number(rise.value)} in 100 "
        f"({words.between(rise)}), about {words.plural(extra.value, 'visit')} in three months ({words.between(extra)}), {period}."
    )


def _ends(found: FirstVisits) -> tuple[float, float]:
    """Give the share not seen before in the first and in the last three months."""
    first, last = found.months.iloc[:3], found.months.iloc[-3:]
    return (
        first["not_seen_before"].sum() / first["visits"].sum(),
        last["not_seen_before"].sum() / last["visits"].sum(),
    )


def new_title(found: FirstVisits) -> str:
    """Say when visits begin to look like first ones."""
    if not found.jumps:
        return "Fewer and fewer visits are by patients the log has not seen, without a leap"
    return f"A leap in {words.joined([_month(jump) for jump in found.jumps])}: known patients probably look new"


def new_text(found: FirstVisits) -> str:
    """Tell the chart in words."""
    first, last = _ends(found)
    jumps = "".join(
        f" In {_month(jump)} {SIGNS[jump.sign]} leap from {words.percent(jump.before)} to "
        f"{words.percent(jump.before + jump.rise.value)}."
        for jump in found.jumps
    )
    return (
        f"Share of each month's visits by patients not seen before in the log, and of those booked as new, with ranges: not seen "
        f"before {words.percent(first)} in the first three months, {words.percent(last)} in the last three.{jumps}"
    )


def new_check(found: FirstVisits) -> str:
    """Say how many months were looked at, and which leap with a new export."""
    looked = f"{words.plural(found.searched, 'month')} looked at"
    if not found.jumps:
        return f"{looked}; none shows a leap."
    told = words.joined(
        [f"{_month(jump)}{', when an export begins' if jump.new_export else ''}" for jump in found.jumps]
    )
    return f"{looked}; a leap in {told}."


def reach_check(found: FirstVisits) -> Check:
    """Say how far into the log a first visit may be an old patient's."""
    first, last = _ends(found)
    told = (
        f"Everybody looks new when a log begins ({words.percent(first)} in the first three months, {words.percent(last)} in "
        "the last three). "
    )
    if found.jumps:
        told += "After a leap it begins anew, so how far back the log can tell is not said."
    elif found.reaches_back is None:
        told += "The share still falls at the log's end, so a first visit in the log is often an old patient's."
    else:
        told += (
            f"The share falls until about {found.reaches_back:%B %Y}; before that, a first visit in the log is often an old "
            "patient's."
        )
    return Check("Where the log begins", INFORMATION, told)


def new_consequences(found: FirstVisits) -> tuple[Check, Check]:
    """Say what patients who look new do to the later answers, and what to record."""
    means = (
        "Demand foresees new patients who are old ones; gaps between clearances break off at the change, so ears seem to stay "
        "open longer and fewer patients seem to return; a second attempt across the change looks like a success."
        if found.jumps
        else "Nothing of a change of system. Where the log begins, a first visit in the log says little of who is new."
    )
    record = (
        "Keep the old patient's number in the new system, in a column of its own, or have both numbers exported side by side; "
        "then take the exports in again."
        if found.jumps
        else "One number for one patient, kept when a system changes."
    )
    return (
        Check("What it does to the later answers", INFORMATION, means),
        Check("What to record from now on", INFORMATION, record),
    )

"""Practitioners and sites beside what chance allows: never a league table."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from analysis.answers.clinic_attempts import clinic_attempts
from analysis.answers.quarter_words import MEASURES
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.derive.quarters import Quarter
from analysis.models.quarter_counts import NO_SITE
from analysis.models.quarter_periods import periods
from analysis.models.unit_comparison import ENOUGH_UNITS, PRACTITIONER, SITE, Comparison, compare_units, compared_cases
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.chart_funnel import Unit, funnel_rows
from analysis.problems import NotEnough
from analysis.stats.funnel import INNER, OUTER

DIFFER = "Do practitioners or sites differ by more than chance allows?"
ASSUMPTIONS = (
    "First attempts are compared on the same mix of grades and impaction; starts and adverse events as they are. What nobody "
    "wrote down, such as who is sent the difficult ears, is not allowed for.",
    "Chance allows for ears of one patient and starts of one half-day going together, and, from "
    f"{ENOUGH_UNITS} practitioners or sites on, for the swing between them (Spiegelhalter 2005).",
    "Beyond what chance allows means outside the limits that hold all but 2 in 1,000. Several are looked at, so one "
    "outside the narrower limits (1 in 20) is still taken for chance.",
)
CAUTIONS = (
    "This is no league table: rows stand in the order of their labels, and within the limits nobody is better or worse "
    "than anybody else.",
    "Beyond the limits is a question, not a verdict: different patients, hours, rooms and habits of recording come first. "
    "More events written down may be better recording. Local protocols and licensed practice decide what follows.",
)
METHOD = "Funnel limits around all together, 95% and 99.8%, widened for cases that go together (Spiegelhalter 2005)."


def within_chance(clinic: Clinic, quarter: str) -> Answer:
    """Say whether practitioners or sites differ by more than chance allows, over the year up to a quarter's end.

    Parameters
    ----------
    clinic : Clinic
        ``monitoring.fewest`` says how many visits or ears are enough to be
        compared, ``clinic.hide_below`` which counts are too small to show.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        First attempts that succeeded, visits with an adverse event and starts
        on time. Rows of section ``monitoring``: ``share_like_with_like``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked = Quarter.parse(quarter)
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        first = max(asked.same_last_year.next.first_day, clinic.first_day)
        made = _comparisons(clinic, first, found.last_day)
    except NotEnough as reason:
        return no_answer(DIFFER, reason)
    units = [unit for each in made for unit in _units(each)]
    return Answer(
        DIFFER,
        _headline(made, first, found.last_day),
        how_sure="The thick bar holds 19 in 20 of what chance does, the thin one all but 2 in 1,000.",
        table=_table(made),
        chart=funnel_rows(units, x_title="more or fewer in 100 than all together"),
        chart_title=_title(made),
        chart_text=". ".join(f"{each.label}: {each.said}, {_verdict(beyond=each.beyond)}" for each in units) + ".",
        assumptions=ASSUMPTIONS,
        cautions=CAUTIONS,
        checks=_left_out(made, clinic.settings.monitoring.fewest),
        basis=Basis(
            max(int(each.n.sum()) for each in made),
            "cases of the largest comparison",
            {},
            first,
            found.last_day,
            METHOD,
        ),
        rows=(*(row for each in made for row in _rows(each)), *_count_rows(made)),
    )


def _comparisons(clinic: Clinic, first: pd.Timestamp, last: pd.Timestamp) -> list[Comparison]:
    """Compare what the log lets be compared."""
    settings = clinic.settings
    days = settings.softening.second_attempt_days
    worked = clinic_attempts(clinic)
    called = practitioner_labels(clinic.visits, show_names=settings.clinic.show_practitioner_names)
    names = called.groupby(clinic.visits["practitioner"]).first()
    made = []
    until = clinic.last_day - pd.Timedelta(days=days)
    for cases in compared_cases(clinic.visits, worked, first=first, last=last, followed_until=until):
        table = cases.table
        whose = table["practitioner"].astype("object")
        units = {
            PRACTITIONER: whose.dropna().map(names).astype("str"),
            SITE: table["site"].astype("object").fillna(NO_SITE).astype("str"),
        }
        for by, unit in units.items():
            kept = type(cases)(cases.name, table.loc[unit.index], cases.private)
            compared = compare_units(
                kept, unit, by, fewest=settings.monitoring.fewest, hide_below=settings.clinic.hide_below
            )
            made += [compared] if compared is not None else []
    if not made:
        raise NotEnough(
            "There are no two practitioners or sites with enough visits to be compared without giving single patients away.",
            f"Record of every visit who saw it and where; {settings.monitoring.fewest} of each are the least.",
        )
    return made


def _units(compared: Comparison) -> list[Unit]:
    """Lay a comparison out for its chart."""
    funnel = compared.funnel
    limits = [[(each - funnel.target) * 100 for each in funnel.limits(held)] for held in (INNER, OUTER)]
    beyond = funnel.outside(OUTER)
    return [
        Unit(
            f"{_name(compared)}, {label}",
            float(funnel.share[place] - funnel.target) * 100,
            (float(limits[0][0][place]), float(limits[0][1][place])),
            (float(limits[1][0][place]), float(limits[1][1][place])),
            bool(beyond[place]),
            f"{words.percent(funnel.share[place])} of {words.count(compared.n[place])}",
        )
        for place, label in enumerate(compared.labels)
    ]


def _name(compared: Comparison) -> str:
    """Name a measure and what it is compared by."""
    return f"{MEASURES[compared.name][:1].upper()}{MEASURES[compared.name][1:]} by {compared.by}"


def _verdict(*, beyond: bool) -> str:
    """Say whether a share is within what chance allows."""
    return "beyond what chance allows" if beyond else "within what chance allows"


def _table(made: Sequence[Comparison]) -> pd.DataFrame:
    """List every unit, in the order of labels."""
    rows = []
    for each in made:
        low, high = each.funnel.limits(OUTER)
        beyond = each.funnel.outside(OUTER)
        rows += [
            {
                "measure": MEASURES[each.name],
                "part": label,
                "quarter_share": float(each.funnel.share[place]),
                "chance_share_low": float(low[place]),
                "chance_share_high": float(high[place]),
                "out_of": int(each.n[place]),
                "chance_verdict": _verdict(beyond=bool(beyond[place])),
            }
            for place, label in enumerate(each.labels)
        ]
    return pd.DataFrame(rows)


def _beyond(made: Sequence[Comparison]) -> list[str]:
    """Say each share that is beyond what chance allows, with what would be within."""
    told = []
    for each in made:
        low, high = each.funnel.limits(OUTER)
        told += [
            f"{label} in {MEASURES[each.name]} ({words.percent(each.funnel.share[place])}, "
            f"{words.percent(low[place])} to {words.percent(high[place])} being within)"
            for place, label in enumerate(each.labels)
            if each.funnel.outside(OUTER)[place]
        ]
    return told


def _headline(made: Sequence[Comparison], first: pd.Timestamp, last: pd.Timestamp) -> str:
    """Say who is beyond what chance allows, or that nobody is."""
    told = _beyond(made)
    if told:
        return f"Beyond what chance allows {words.from_months(first, last)}: {'; '.join(told)}. All others are within."
    spread = [f"{MEASURES[each.name]} by {each.by} {_from_to(each)}" for each in made]
    return f"All practitioners and sites compared are within what chance allows, {words.months(first, last)} ({'; '.join(spread)})."


def _from_to(compared: Comparison) -> str:
    """Say the least and the greatest share, without saying whose they are."""
    return f"{words.percent(compared.funnel.share.min())} to {words.percent(compared.funnel.share.max())}"


def _title(made: Sequence[Comparison]) -> str:
    """Say the finding in a few words."""
    many = len(_beyond(made))
    if not many:
        return "All are within what chance allows"
    return f"{words.plural(many, 'share')} of {sum(len(each.labels) for each in made)} {'is' if many == 1 else 'are'} beyond what chance allows"


def _left_out(made: Sequence[Comparison], fewest: int) -> tuple[Check, ...]:
    """Say that somebody has too few cases to be compared, and what is not compared at all."""
    checks = []
    few = max(each.left_out for each in made)
    if few:
        told = f"With under {fewest} visits or ears in the year they are not compared: {few} at most in one comparison."
        checks.append(Check("Too few to compare", INFORMATION, told))
    there = {(each.name, each.by) for each in made}
    missing = [
        f"{MEASURES[name]} by {by}"
        for name in ("success", "any_event", "on_time")
        for by in (PRACTITIONER, SITE)
        if (name, by) not in there
    ]
    if missing:
        told = f"Not compared, for only one has enough cases, a count is too small to show, or nothing is recorded: {', '.join(missing)}."
        checks.append(Check("Not compared", INFORMATION, told))
    return tuple(checks)


def _count_rows(made: Sequence[Comparison]) -> list[ResultRow]:
    """Keep how many shares are compared, and how many of them are beyond what chance allows."""
    counts = {"shares_compared": sum(len(each.labels) for each in made), "shares_beyond": len(_beyond(made))}
    return [
        ResultRow("monitoring", name, {}, float(many), None, None, None, "count", None, "counted")
        for name, many in counts.items()
    ]


def _rows(compared: Comparison) -> list[ResultRow]:
    """Keep every unit's share and the limits of chance."""
    rows = []
    low, high = compared.funnel.limits(OUTER)
    for place, label in enumerate(compared.labels):
        group = {"measure": compared.name, "part": label}
        share, n = float(compared.funnel.share[place]), int(compared.n[place])
        limits = float(low[place]), float(high[place])
        rows.append(
            ResultRow("monitoring", "share_like_with_like", group, share, *limits, OUTER, "share", n, "funnel limits")
        )
    return rows

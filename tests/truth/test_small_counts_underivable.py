"""An attack: all that a report tells of a quarter is put together, and every hidden count is sought by adding and subtracting."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import permutations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import linprog

from analysis.answers.quarter_words import MEASURES
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.report.questions import PARTS
from analysis.report.sharing import safe_to_share
from analysis.schema import ADVERSE_EVENTS, BOOKING_KINDS, DEBRIS, GRADES, METHODS, MIDDLE_EARS
from tests.small_clinics import LOGS, SmallLog, small_clinic

BOUND, MANY, QUARTER = 5, 100_000, Quarter.parse("2026-Q3")
STEPS = (
    "whether past forecasts held",
    "activity",
    "what was seen and done",
    "outcomes",
    "safety",
    "keeping to time",
    "coming when due",
    "changes from month to month",
)
PERIODS = {"this_quarter": QUARTER, "last_quarter": QUARTER.previous, "year_before": QUARTER.same_last_year}
ALL = "all"
EVENTS = [event for event in ADVERSE_EVENTS if event != "none"]
RETURNING = [label for kind, label in BOOKING_KINDS.items() if kind != "new"]
CODES = {label: code for code, label in MEASURES.items()}
BASES = {
    "held": ["attended", "missed", "cancelled_late"],
    "known_kind": ["new", "returning"],
    "timed": ["on_time"],
    "with_slot": ["over_slot"],
    "graded": list(GRADES),
    "judged": ["success"],
    "worked": ["again"],
    "asked": ["referred"],
    "watched": ["any_event", *EVENTS],
    "recall_due": ["recall_came"],
    "recall_held": ["recall_kept"],
    "with_impaction": ["impacted", "not_impacted"],
    "with_debris": [f"found_{each}" for each in DEBRIS],
    "with_method": [
        *(f"begun_with_{each}" for each in METHODS),
        "one_method",
        "more_methods",
        *(f"{one}_then_{two}" for one, two in permutations(METHODS, 2)),
    ],
    "with_drum": ["drum_unusual", "drum_unseen", "drum_intact"],
    "with_middle_ear": [f"middle_ear_{each}" for each in MIDDLE_EARS],
}
BASE = {part: base for base, parts in BASES.items() for part in parts}
MADE_OF = {
    "held": BASES["held"],
    "known_kind": BASES["known_kind"],
    "graded": list(GRADES),
    "judged": ["success", "failed"],
    "worked": ["first", "again"],
    "asked": ["referred", "not referred"],
    "watched": ["any_event", "no event"],
    "any_event": EVENTS,
    "recall_due": ["recall_came", "stayed away"],
    "recall_held": ["recall_kept", "not kept"],
    "with_impaction": BASES["with_impaction"],
    "with_debris": BASES["with_debris"],
    "with_method": BASES["with_method"][: len(METHODS)],
    "more_methods": BASES["with_method"][len(METHODS) + 2 :],
    "with_drum": BASES["with_drum"],
    "with_middle_ear": BASES["with_middle_ear"],
}
"""What anyone can know adds up; what is written with a blank is never told."""
AT_LEAST = [
    ("booked", ["held"]),
    ("attended", ["known_kind"]),
    ("attended", ["watched"]),
    ("attended", ["asked"]),
    ("attended", ["timed"]),
    ("attended", ["with_slot"]),
    *(("first", [each]) for each in BASES if each.startswith("with_") and each != "with_slot"),
    ("first", ["graded"]),
    ("first", ["judged"]),
]
ONLY_TIMES = {"on_time", "over_slot", "timed", "with_slot"}
"""Facts of the day, no patient's."""
Cell = tuple[str, str]


@dataclass
class Known:
    """What a reader of the report knows of one period: numbers, and cells that stand empty."""

    numbers: dict[Cell, float] = field(default_factory=dict)
    empty: set[Cell] = field(default_factory=set)
    kinds: set[str] = field(default_factory=set)
    sites: set[str] = field(default_factory=set)

    def learn(self, cell: Cell, number: float) -> None:
        if pd.isna(number):
            self.empty.add(cell)
            return
        assert self.numbers.get(cell, number) == pytest.approx(number), cell
        self.numbers[cell] = round(float(number))


def told(clinic: Clinic) -> dict[str, object]:
    asked = {step: ask for _, questions in PARTS for step, ask in questions if step in STEPS}
    answers = {
        step: safe_to_share(ask(clinic, str(QUARTER)), clinic.settings.clinic.hide_below) for step, ask in asked.items()
    }
    return {step: answer for step, answer in answers.items() if answer.answered}


def learnt(answers) -> dict[str, Known]:
    """Read every table, every basis and the result rows, as a reader would."""
    known = defaultdict(Known)
    for step, answer in answers.items():
        if answer.table is not None and "measure" in answer.table and "this_quarter" in answer.table:
            _read_table(known, step, answer.table)
    if "activity" in answers:
        basis = answers["activity"].basis
        known["this_quarter"].learn(("booked" if basis.of_what == "bookings" else "attended", ALL), basis.used)
    for step, cell in (("what was seen and done", "first"), ("outcomes", "first"), ("safety", "watched")):
        if step in answers:
            known["this_quarter"].learn((cell, ALL), answers[step].basis.used)
    _read_months(known, answers)
    return known


def _read_table(known, step, table):
    for row in table.to_dict("records"):
        code, part = CODES[row["measure"]], row.get("part", "whole clinic")
        part = ALL if part == "whole clinic" else part
        if part.startswith("practitioner"):
            continue
        for period in PERIODS.keys() & row.keys():
            known[period].learn((code, part), row[period])
            if part != ALL:
                (known[period].kinds if step == "keeping to time" else known[period].sites).add(part)
        if code in BASE and pd.notna(row["out_of"]):
            known["this_quarter"].learn((BASE[code], part), row["out_of"])


def _read_months(known, answers):
    """Add up the months of a quarter: what came, and what the control charts show of them."""
    rows = [row for step in answers for row in answers[step].rows]
    for period, quarter in PERIODS.items():
        months = {str(each) for each in pd.period_range(quarter.first_day, quarter.last_day, freq="M")}
        came = {
            row.group["month"]: row.value for row in rows if row.quantity == "came" and row.group["month"] in months
        }
        if len(came) == len(months):
            known[period].numbers |= {("came", month): value for month, value in came.items() if value is not None}
            known[period].empty |= {("came", month) for month, value in came.items() if value is None}
        for name, base in BASE.items() - {("again", "worked")}:  # of patients with a number only
            points = [
                row
                for row in rows
                if row.quantity in ("watched_share", "watched_rate") and row.group["measure"] == name
                and pd.Period(row.group["period"]).asfreq("Q") == pd.Period(quarter.first_day, freq="Q")
            ]  # fmt: skip
            whole = {row.group["period"] for row in points}
            if whole == months or (len(whole) == 1 and "Q" in next(iter(whole))):
                scale = {"watched_share": 1.0, "watched_rate": 1000.0}
                known[period].learn((name, ALL), sum(row.value / scale[row.quantity] * row.n for row in points))
                known[period].learn((base, ALL), sum(row.n for row in points))


def span(known: Known, cell: Cell) -> tuple[float, float]:
    """Find the least and the most a hidden cell can be."""
    rules = _rules(known)
    places = {each: place for place, each in enumerate(sorted({every for rule in rules for every in rule} | {cell}))}
    matrix = np.zeros((len(rules), len(places)))
    for row, rule in enumerate(rules):
        for each, sign in rule.items():
            matrix[row, places[each]] += sign
    bounds = [
        (known.numbers[each],) * 2 if each in known.numbers else (1 if each in known.empty else 0, MANY)
        for each in places
    ]
    ends = []
    for way in (1, -1):
        wanted = np.zeros(len(places))
        wanted[places[cell]] = way
        found = linprog(wanted, A_eq=matrix, b_eq=np.zeros(len(rules)), bounds=bounds)
        assert found.status == 0, f"what is told of {cell} does not add up"
        ends.append(way * found.fun)
    return ends[0], ends[1]


def _rules(known: Known) -> list[dict[Cell, int]]:
    """Write what adds up as sums of nought: parts less their whole, with what may be left where there is some."""
    parts = [ALL, *sorted(known.sites | known.kinds)]
    rules = [
        {(total, part): 1, **{(each, part): -1 for each in made_of}}
        for part in parts
        for total, made_of in MADE_OF.items()
    ]
    for part in parts:
        for total, made_of in AT_LEAST:
            rules.append(
                {(total, part): 1, ("rest", f"{total} {made_of} {part}"): -1, **{(each, part): -1 for each in made_of}}
            )
    of_bookings = (
        "booked",
        "attended",
        "missed",
        "cancelled_late",
        "new",
        "returning",
        "on_time",
        "timed",
        "held",
        "known_kind",
    )
    if known.sites:
        rules += [{(each, ALL): 1, **{(each, site): -1 for site in known.sites}} for each in of_bookings]
    if known.kinds:
        rules += [{(each, ALL): 1, **{(each, kind): -1 for kind in known.kinds}} for each in ONLY_TIMES]
        for mark in ("timed", "with_slot"):
            rules.append({("new", ALL): 1, (mark, BOOKING_KINDS["new"]): -1, ("rest", f"new {mark}"): -1})
            rules.append(
                {("returning", ALL): 1, ("rest", f"returning {mark}"): -1, **{(mark, kind): -1 for kind in RETURNING}}
            )
    months = [each for each in known.numbers.keys() | known.empty if each[0] == "came"]
    if months:
        rules.append({("attended", ALL): 1, **dict.fromkeys(months, -1)})
    return rules


def given_away(answers) -> list[tuple[str, Cell, tuple[float, float]]]:
    """Find the hidden counts of patients that can be only one number, or only small ones."""
    found = []
    for period, known in learnt(answers).items():
        for cell in sorted(known.empty - known.numbers.keys()):
            if cell[0] not in ONLY_TIMES:
                least, most = span(known, cell)
                if most < BOUND - 1e-6 or most - least < 1 - 1e-6:
                    found.append((period, cell, (least, most)))
    return found


CUTS = {
    **LOGS,
    "forty patients in a hundred": SmallLog(25),
    "a year of 400 bookings": SmallLog(9, "2025-10-01", rare=True),
    "a third of it, with a rare practitioner, site and kind": SmallLog(3, rare=True),
}


@pytest.fixture(scope="module", params=CUTS, ids=str)
def cut(request):
    return CUTS[request.param]


def test_no_hidden_count_follows_from_what_the_report_tells(cut):
    assert given_away(told(small_clinic(cut))) == []


def test_something_is_hidden_at_all():
    known = learnt(told(small_clinic(CUTS["forty patients in a hundred"])))
    assert any(each.empty for each in known.values())


def test_the_attack_finds_a_count_that_is_left_alone():
    """Of 60 bookings held, 50 attended and 7 missed are told: 3 were cancelled late."""
    known = Known()
    for cell, number in {"held": 60, "attended": 50, "missed": 7, "cancelled_late": np.nan}.items():
        known.learn((cell, ALL), number)
    assert span(known, ("cancelled_late", ALL)) == (3, 3)


def test_the_attack_finds_a_month_that_is_left_alone():
    known = Known({("attended", ALL): 40, ("came", "2026-07"): 20, ("came", "2026-08"): 17}, {("came", "2026-09")})
    assert span(known, ("came", "2026-09")) == (3, 3)

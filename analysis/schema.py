"""Every table and column: type, unit, allowed values and plain label.

The data dictionary, the typed frames and the words shown to the owner are all
made from here, so a name, a code or a label stands in one place only.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

# -- codes and their plain labels; the order of a dictionary is the order of its codes --

GRADES = {
    "clear": "clear",
    "non_occluding": "non-occluding",
    "partly_occluding": "partly occluding",
    "fully_occluding": "fully occluding",
}
OCCLUDING = ("partly_occluding", "fully_occluding")
METHODS = {
    "wide_suction": "wide suction",
    "fine_suction": "fine-end suction",
    "hook_or_loop": "hook or loop",
    "forceps": "forceps",
    "irrigation": "irrigation",
    "other": "another method",
}
SOFTENERS = {
    "olive_oil": "olive oil",
    "almond_oil": "almond oil",
    "sodium_bicarbonate": "sodium bicarbonate",
    "hydrogen_peroxide": "hydrogen peroxide",
    "urea_hydrogen_peroxide": "urea hydrogen peroxide",
    "docusate": "docusate",
    "glycerol": "glycerol",
    "water_or_saline": "water or saline",
    "other": "another agent",
    "none": "none",
}
ATTENDANCE = {
    "attended": "attended",
    "missed": "missed",
    "cancelled_late": "cancelled late",
    "cancelled": "cancelled in time",
    "moved": "moved",
}
BOOKING_KINDS = {
    "new": "new patient",
    "routine_recall": "routine recall",
    "symptoms_return": "return with symptoms",
    "second_attempt": "second attempt",
    "other": "other visit",
}
AGE_BANDS = {
    "under_18": "under 18",
    "18_39": "18 to 39",
    "40_59": "40 to 59",
    "60_74": "60 to 74",
    "75_and_over": "75 and over",
}
ADVERSE_EVENTS = {
    "none": "none",
    "discomfort": "discomfort",
    "dizziness": "dizziness",
    "bleeding": "bleeding",
    "noise_intolerance": "noise not tolerated",
    "suspected_perforation": "suspected perforation",
    "infection_later": "infection later",
    "other": "another event",
}
MINUTES_QUALITY = {
    "timed": "timed",
    "filled_from_slot": "filled from the slot",
    "rounded": "rounded",
    "missing": "missing",
    "implausible": "implausible",
}
EARS = {"left": "left ear", "right": "right ear"}
DEBRIS = {
    "soft_wax": "soft wax",
    "hard_wax": "hard wax",
    "dead_skin": "dead skin",
    "mixed": "wax and dead skin",
    "foreign_body": "foreign body",
}
CANALS = {
    "ordinary": "ordinary",
    "narrow": "narrow",
    "tortuous": "tortuous",
    "narrow_and_tortuous": "narrow and tortuous",
    "operated": "operated",
}
OUTCOMES = {
    "clear": "clear",
    "non_occluding_left": "non-occluding remnant left",
    "occluding_left": "still occluding",
    "stopped": "stopped",
    "referred": "referred",
    "nothing_to_remove": "nothing to remove",
}
SUCCESSES = ("clear", "non_occluding_left")
EARDRUMS = {"seen_intact": "seen, intact", "seen_abnormal": "seen, abnormal", "not_seen": "not seen"}
MIDDLE_EARS = {
    "none": "nothing noted",
    "retraction": "retraction",
    "fluid_suspected": "fluid suspected",
    "perforation": "perforation",
    "other": "another finding",
}
HALVES = {"morning": "morning", "afternoon": "afternoon"}

METHOD_JOIN = ">"
"""Joins an ear's methods in the order used, e.g. ``fine_suction>hook_or_loop``."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: what it holds, in machine and in plain words.

    ``kind`` is one of ``text``, ``code``, ``ordered``, ``number``, ``count``,
    ``yes_no``, ``moment`` (date and time of day, local) or ``day``.
    """

    name: str
    kind: str
    label: str
    unit: str = ""
    codes: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its name, what one row is, and its columns in order."""

    name: str
    one_row: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> list[str]:
        """Column names in order."""
        return [column.name for column in self.columns]


def _code(name: str, label: str, codes: dict[str, str], *, ordered: bool = False, note: str = "") -> Column:
    """Make a coded column."""
    kind = "ordered" if ordered else "code"
    return Column(name, kind, label, codes=tuple(codes), note=note)


VISITS = Table(
    "visits",
    "one booking",
    (
        Column("visit_id", "text", "visit"),
        Column(
            "patient_key", "text", "patient (pseudonym)", note="keyed hash; empty where the log has no patient number"
        ),
        Column("site", "text", "site"),
        Column("practitioner", "text", "practitioner"),
        Column("booked_on", "day", "day the booking was made"),
        Column("slot_start", "moment", "start of the slot"),
        Column("slot_minutes", "number", "minutes booked", "minutes"),
        Column("arrived_at", "moment", "arrival"),
        Column("started_at", "moment", "start of the visit"),
        Column("ended_at", "moment", "end of the visit"),
        _code("attendance", "attendance", ATTENDANCE),
        _code("booking_kind", "kind of booking", BOOKING_KINDS),
        _code("age_band", "age band", AGE_BANDS, ordered=True, note="at the visit"),
        Column("hearing_aid", "yes_no", "wears a hearing aid"),
        Column("cotton_bud", "yes_no", "uses cotton buds"),
        Column("softening_advised", "yes_no", "softening advised before the visit"),
        _code("softener", "softening agent used", SOFTENERS, note="'none' is an answer; empty is not recorded"),
        Column("softening_days", "number", "days of softening", "days"),
        Column("in_chair_softener", "yes_no", "agent put in at the chair"),
        _code("adverse_event", "adverse event", ADVERSE_EVENTS),
        Column("onward_referral", "yes_no", "referred onward"),
        Column("fee", "number", "fee", "currency units"),
        Column("minutes", "number", "minutes in the chair", "minutes"),
        _code("minutes_quality", "how the minutes are known", MINUTES_QUALITY),
        Column("source_file", "text", "export file"),
        Column("source_row", "count", "row in the export", note="the header is row 1"),
    ),
)
EAR_ROWS = Table(
    "ears",
    "one ear at one visit",
    (
        Column("visit_id", "text", "visit"),
        _code("ear", "ear", EARS),
        _code("grade", "occlusion grade", GRADES, ordered=True),
        Column("percent_blocked", "number", "share of the canal blocked", "percent"),
        _code("grade_revised", "grade after a fuller view", GRADES, ordered=True),
        Column("impacted", "yes_no", "impacted"),
        _code("debris", "what was found", DEBRIS),
        _code("canal", "canal", CANALS),
        Column("methods", "text", "methods in order", note=f"codes joined by '{METHOD_JOIN}': " + ", ".join(METHODS)),
        _code("outcome", "outcome", OUTCOMES),
        _code("eardrum", "eardrum", EARDRUMS),
        _code("middle_ear", "middle-ear finding", MIDDLE_EARS),
        Column("minutes", "number", "minutes for this ear", "minutes", note="only where the log times each ear"),
    ),
)
SET_ASIDE = Table(
    "set_aside",
    "one row that could not be used",
    (
        Column("source_file", "text", "export file"),
        Column("source_row", "count", "row in the export"),
        Column("reason", "text", "why it was set aside"),
        Column("column", "text", "column"),
        Column("value", "text", "value found", note="masked where the column identifies people"),
        Column("remedy", "text", "what to do"),
    ),
)
ATTEMPTS = Table(
    "attempts",
    "one ear worked on at one visit",
    (
        Column("visit_id", "text", "visit"),
        Column("patient_key", "text", "patient (pseudonym)"),
        _code("ear", "ear", EARS),
        Column("day", "day", "day of the visit"),
        Column("attempt_number", "count", "attempt in this episode", note="1 is the first attempt"),
        _code("grade", "occlusion grade", GRADES, ordered=True, note="as first seen, not as revised"),
        Column("impacted", "yes_no", "impacted"),
        _code("debris", "what was found", DEBRIS),
        _code("canal", "canal", CANALS),
        _code("first_method", "first method", METHODS),
        _code("last_method", "last method", METHODS),
        _code("outcome", "outcome", OUTCOMES),
        Column(
            "success",
            "yes_no",
            "success",
            note="clear or a non-occluding remnant, and no further attempt on that ear within the set days; empty while follow-up is too short",
        ),
        Column("contraindicated", "yes_no", "softening or irrigation contraindicated"),
        Column("ears_worked", "count", "ears worked on at the visit", "ears"),
        Column("minutes", "number", "minutes in the chair", "minutes", note="of the whole visit"),
        _code("minutes_quality", "how the minutes are known", MINUTES_QUALITY),
        Column("softening_advised", "yes_no", "softening advised before the visit"),
        Column("softening_used", "yes_no", "softening used before the visit"),
        _code("softener", "softening agent used", SOFTENERS),
        Column("softening_days", "number", "days of softening", "days"),
        _code("booking_kind", "kind of booking", BOOKING_KINDS),
        _code("age_band", "age band", AGE_BANDS, ordered=True),
        Column("hearing_aid", "yes_no", "wears a hearing aid"),
        Column("practitioner", "text", "practitioner"),
        Column("site", "text", "site"),
    ),
)
GAPS = Table(
    "gaps",
    "one ear from a clearance to the next evidence of its state",
    (
        Column("patient_key", "text", "patient (pseudonym)"),
        _code("ear", "ear", EARS),
        Column("cleared_on", "day", "day it was cleared"),
        Column("open_until_days", "number", "known open until", "days", note="0 where nothing later shows it open"),
        Column("occluding_by_days", "number", "known occluding by", "days", note="empty where never found occluding"),
        Column("left_at_calls", "count", "found non-occluding and left at returns with symptoms", "visits"),
        Column("left_otherwise", "count", "found non-occluding and left at other visits", "visits"),
        Column("cleaned_open", "yes_no", "cleaned while non-occluding, which ended the gap"),
        Column("ended_ungraded", "yes_no", "worked on without a grade, which ended the gap"),
        Column("watched_days", "number", "days from clearance to the end of the log", "days"),
        Column("known_before", "yes_no", "patient known before the log", note="first visit in it is a return"),
        Column("returned", "yes_no", "patient came back"),
        Column(
            "return_days", "number", "days to the patient's first return", "days", note="empty where nobody came back"
        ),
        _code("first_return_kind", "kind of the patient's first return", BOOKING_KINDS),
        _code("return_kind", "kind of return", BOOKING_KINDS),
        _code("grade_at_return", "grade at return", GRADES, ordered=True),
        Column("hearing_aid", "yes_no", "wears a hearing aid"),
        Column("cotton_bud", "yes_no", "uses cotton buds"),
        _code("age_band", "age band", AGE_BANDS, ordered=True),
        _code("canal", "canal", CANALS),
        Column("site", "text", "site"),
    ),
)
SESSIONS = Table(
    "sessions",
    "one booking within a practitioner's half-day",
    (
        Column("session_id", "text", "session"),
        Column("site", "text", "site"),
        Column("practitioner", "text", "practitioner"),
        Column("day", "day", "day"),
        _code("half", "half of the day", HALVES),
        Column("position", "count", "place in the session", note="1 is the first booking"),
        Column("visit_id", "text", "visit"),
        Column("slot_start", "moment", "start of the slot"),
        Column("slot_minutes", "number", "minutes booked", "minutes"),
        _code("attendance", "attendance", ATTENDANCE),
        _code("booking_kind", "kind of booking", BOOKING_KINDS),
        Column("minutes", "number", "minutes in the chair", "minutes"),
        _code("minutes_quality", "how the minutes are known", MINUTES_QUALITY),
        Column(
            "late_minutes",
            "number",
            "arrival after the slot's start",
            "minutes",
            note="negative is early; empty where arrivals are not logged",
        ),
    ),
)
TABLES = (VISITS, EAR_ROWS, SET_ASIDE, ATTEMPTS, GAPS, SESSIONS)

CODE_LABELS: dict[str, dict[str, str]] = {
    "grade": GRADES,
    "grade_revised": GRADES,
    "grade_at_return": GRADES,
    "first_method": METHODS,
    "last_method": METHODS,
    "method": METHODS,
    "softener": SOFTENERS,
    "attendance": ATTENDANCE,
    "booking_kind": BOOKING_KINDS,
    "first_return_kind": BOOKING_KINDS,
    "return_kind": BOOKING_KINDS,
    "age_band": AGE_BANDS,
    "adverse_event": ADVERSE_EVENTS,
    "minutes_quality": MINUTES_QUALITY,
    "ear": EARS,
    "debris": DEBRIS,
    "canal": CANALS,
    "outcome": OUTCOMES,
    "eardrum": EARDRUMS,
    "middle_ear": MIDDLE_EARS,
    "half": HALVES,
}
"""Plain label of every code, by the column it stands in."""


def pandas_dtype(column: Column) -> str | pd.CategoricalDtype:
    """Give the pandas type a column has in every frame of the suite."""
    if column.kind in ("code", "ordered"):
        return pd.CategoricalDtype(list(column.codes), ordered=column.kind == "ordered")
    return {
        "text": "str",
        "number": "float64",
        "count": "Int64",
        "yes_no": "boolean",
        "moment": "datetime64[us]",
        "day": "datetime64[us]",
    }[column.kind]


def typed_frame(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    """Give a frame the table's columns, in order, with the suite's types.

    Columns the frame lacks come out empty; columns the table does not know are
    left out. A value outside a column's codes is an error, not a blank.

    Parameters
    ----------
    table : Table
        The table the frame is to become.
    frame : pandas.DataFrame
        Any frame holding some of the table's columns.

    Returns
    -------
    pandas.DataFrame
        A new frame with ``table.names`` as columns and a fresh index.

    Raises
    ------
    ValueError
        If a coded column holds a value that is not one of its codes.

    Examples
    --------
    >>> ears = typed_frame(EAR_ROWS, pd.DataFrame({"visit_id": ["v1"], "ear": ["left"], "grade": ["clear"]}))
    >>> ears["grade"].dtype.ordered, ears["minutes"].isna().all().item()
    (True, True)
    """
    columns = {}
    for column in table.columns:
        dtype = pandas_dtype(column)
        if column.name not in frame:
            columns[column.name] = pd.Series(
                pd.NA if dtype in ("boolean", "Int64") else None, index=frame.index, dtype=dtype
            )
            continue
        values = frame[column.name]
        if column.codes:
            said = (
                values.astype("category").cat.remove_unused_categories().cat
            )  # each different value is looked at once
            strange = sorted(set(said.categories.astype("str")) - set(column.codes))
            if strange:
                raise ValueError(f"{table.name}.{column.name} holds {strange}, allowed are {list(column.codes)}")
            values = said.set_categories(column.codes)
        columns[column.name] = values.astype(dtype)  # type: ignore[arg-type]  # the stubs know only fixed names
    return pd.DataFrame(columns).reset_index(drop=True)

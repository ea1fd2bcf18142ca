"""Whether minutes are rounded or copied from the slot, by whom and in which export, and what that changes."""

from __future__ import annotations

import pandas as pd

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import TimedVisits, timed_visits, visit_basis
from analysis.clinic import Clinic
from analysis.derive.export_labels import export_labels
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.models.visit_heaping import ALL, STRONG, Heaping, minutes_heaping
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import NAMED, RECOMMENDED
from analysis.problems import NotEnough

QUESTION = "Are minutes rounded or copied from the slot, and does it matter?"
INDEX = "share of minutes on multiples of five over chance, Wilson range"
CURVE = "log-normal curve, patients clustered"
HOW = (
    "How many times as often as by chance minutes are multiples of five (1 is chance, 5 is always); where that is "
    f"{STRONG:g} or more they count as anything within two and a half minutes, in a log-normal curve."
)
EIGHT_IN_TEN = 0.8
CAUTIONS = (
    "Rounding is a habit of writing, or of a records system; it says nothing about anyone's care.",
    "The minutes that change here are for the diary, never for hurrying a patient.",
)


@of_drawn_patients
def are_minutes_rounded(clinic: Clinic) -> Answer:
    """Say how strongly minutes heap on multiples of five, and what taking them as intervals changes.

    Parameters
    ----------
    clinic : Clinic
        Its settings say whether practitioners' names are shown.

    Returns
    -------
    Answer
        By practitioner and by export. Rows: ``heaping_index``, ``filled_visits`` and
        ``minutes_as_recorded``. Without a figure where too few minutes are the visits' own.
    """
    try:
        timed = timed_visits(clinic)
        found = _found(clinic, timed)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level = timed.fitted.level
    return Answer(
        question=QUESTION,
        headline=_headline(found),
        how_sure=words.how_sure(level),
        table=_table(found),
        chart=range_chart(
            _bars(found), x_title="times as often on multiples of five as by chance", reference=1.0, from_zero=True
        ),
        chart_title=_title(found),
        chart_text=_told(found),
        assumptions=(
            "Without a habit, minutes would be a multiple of five one time in five.",
            "Ends copied from the slot are left out, and true visits of just that length with them, so an index may lie below chance.",
            "Rounded minutes lie within half a step; where both start and end were rounded they may be off by a whole one.",
            "A practitioner's minutes in one export are judged together; with fewer than 30 visits they are taken as written.",
        ),
        cautions=CAUTIONS,
        checks=(_changes_check(found), _filled_check(found)),
        basis=visit_basis(clinic, timed, HOW),
        rows=tuple(_rows(found, level)),
    )


def rounded_said(clinic: Clinic, timed: TimedVisits) -> str:
    """Say in one sentence what rounded minutes, taken as intervals, change in how long visits take.

    Parameters
    ----------
    clinic : Clinic
    timed : TimedVisits

    Returns
    -------
    str
        Empty where the minutes settle no curve.
    """
    try:
        found = _found(clinic, timed)
    except NotEnough:
        return ""
    if not found.intervals:
        return "Nobody's minutes, and no export's, are strongly rounded, so minutes are taken as written."
    eight = found.changes[found.changes["share"] == EIGHT_IN_TEN].to_dict("records")[0]
    return (
        f"Minutes of {words.joined(_strong(found)) or 'some visits'} are strongly rounded; with those {words.count(found.intervals)} minutes taken as "
        f"intervals of half a step either way, 8 in 10 visits stay within {words.number(eight['as_intervals'], 1)} minutes (between "
        f"{words.number(eight['as_intervals_low'], 1)} and {words.number(eight['as_intervals_high'], 1)}) instead of {words.number(eight['as_written'], 1)}."
    )


def _found(clinic: Clinic, timed: TimedVisits) -> Heaping:
    """Label visits by practitioner and export, and measure."""
    shown = clinic.settings.clinic.show_practitioner_names
    parts = pd.DataFrame(
        {
            "visit_id": clinic.visits["visit_id"],
            "practitioner": practitioner_labels(clinic.visits, show_names=shown),
            "export": export_labels(clinic.visits),
            "filled": (clinic.visits["minutes_quality"] == "filled_from_slot").fillna(False),
        }
    ).drop_duplicates("visit_id")
    mine = parts.set_index("visit_id").loc[timed.fitted.sample.visits["visit_id"]].reset_index(drop=True)
    return minutes_heaping(timed.fitted, mine, parts[parts["filled"].astype(bool)])


def _headline(found: Heaping) -> str:
    """Say how strong the heaping is over all, who heaps strongly, and what changes."""
    over_all = found.table.to_dict("records")[0]
    said = (
        f"Minutes lie on multiples of five {words.number(over_all['index'], 1)} times as often as by chance (between "
        f"{words.number(over_all['low'], 1)} and {words.number(over_all['high'], 1)})"
    )
    if not found.intervals:
        return f"{said}, nowhere strongly, so minutes are taken as written; {_filled_said(found)}."
    eight = found.changes[found.changes["share"] == EIGHT_IN_TEN].to_dict("records")[0]
    return (
        f"{said}; with {words.count(found.intervals)} rounded minutes as intervals, 8 in 10 visits stay within "
        f"{words.minutes(eight['as_intervals'], 1)} instead of {words.number(eight['as_written'], 1)}; {_filled_said(found)}."
    )


def _filled_said(found: Heaping) -> str:
    """Say how many ends were copied from the slot."""
    many = int(found.table["filled"].tolist()[0])
    if not many:
        return "no ends were found copied from the slot"
    return f"{words.plural(many, 'end')} copied from the slot {'is' if many == 1 else 'are'} left out"


def _strong(found: Heaping) -> list[str]:
    """List the parts that heap strongly."""
    mine = found.table[found.table["strong"] & (found.table["by"] != ALL)]
    return mine["part"].tolist()


def _title(found: Heaping) -> str:
    """Say the finding."""
    strong = _strong(found)
    if not strong:
        return (
            "Nobody's minutes, and no export's, are strongly rounded"
            if not found.intervals
            else "Rounding is strong only here and there"
        )
    return f"Strongly rounded: {words.joined(strong)}"


def _bars(found: Heaping) -> list[Bar]:
    """Give one row a part; what heaps strongly has its own colour and says so."""
    bars = []
    for row in found.table.to_dict("records"):
        name = "all visits" if row["by"] == ALL else row["part"]
        text = f"{words.number(row['index'], 1)}{', strong' if row['strong'] else ''}"
        bars.append(Bar(name, row["index"], row["low"], row["high"], NAMED[0] if row["strong"] else RECOMMENDED, text))
    return bars


def _told(found: Heaping) -> str:
    """Tell the chart."""
    said = [
        f"{bar.label} {words.number(bar.value, 1)} ({words.number(bar.low, 1)} to {words.number(bar.high, 1)})"
        for bar in _bars(found)
    ]
    return f"Times as often on multiples of five as by chance, with ranges: {'; '.join(said)}."


def _table(found: Heaping) -> pd.DataFrame:
    """List each part's index, and its ends copied from the slot."""
    table = found.table
    name = table["part"].where(table["by"] != ALL, "all visits")
    shown = table.assign(part=name)[["part", "visits", "index", "low", "high", "strong", "filled"]]
    return shown.rename(columns={"index": "heaping_index", "strong": "strongly_rounded", "filled": "filled_visits"})


def _changes_check(found: Heaping) -> Check:
    """Say what intervals change at each share."""
    if not found.intervals:
        return Check(
            "Rounded minutes as intervals",
            INFORMATION,
            "No one's minutes in any export are rounded strongly, so nothing changes.",
        )
    said = [
        f"{row['share'] * 10:g} in 10 within {words.number(row['as_intervals'], 1)} ({words.number(row['as_intervals_low'], 1)} to "
        f"{words.number(row['as_intervals_high'], 1)}) instead of {words.number(row['as_written'], 1)}"
        for row in found.changes.to_dict("records")
    ]
    most = float((found.changes["as_intervals"] - found.changes["as_written"]).abs().max())
    return Check(
        "Rounded minutes as intervals",
        INFORMATION,
        f"Minutes for the log's average kind of booking: {'; '.join(said)}. The largest change is {words.minutes(most, 1)}.",
    )


def _filled_check(found: Heaping) -> Check:
    """Say where ends were copied from the slot."""
    mine = found.table[(found.table["filled"] > 0) & (found.table["by"] != ALL)]
    where = [f"{row['part']} {words.count(row['filled'])}" for row in mine.to_dict("records")]
    told = f"{_filled_said(found)[:1].upper()}{_filled_said(found)[1:]}"
    return Check("Ends copied from the slot", INFORMATION, f"{told}: {'; '.join(where)}." if where else f"{told}.")


def _rows(found: Heaping, level: float) -> list[ResultRow]:
    """Keep the indices, the copied ends, and the minutes both ways."""
    make, rows = ResultRow, []
    for row in found.table.to_dict("records"):
        group, many = {"by": row["by"], "part": row["part"]}, int(row["visits"])
        rows.append(
            make(
                "visit_time", "heaping_index", group, row["index"], row["low"], row["high"], level, "ratio", many, INDEX
            )
        )
        filled = float(row["filled"])
        rows.append(make("visit_time", "filled_visits", group, filled, None, None, None, "visits", many, "counted"))
    for row in found.changes.to_dict("records"):
        for way in ("as_written", "as_intervals") if found.intervals else ("as_written",):
            ends = row[way], row[f"{way}_low"], row[f"{way}_high"], level
            group = {"q": row["share"], "taken": way}
            rows.append(
                make(
                    "visit_time",
                    "minutes_as_recorded",
                    group,
                    *ends,
                    "minutes",
                    int(found.table["visits"].max()),
                    CURVE,
                )
            )
    return rows

"""Whether a table dates its rows, and in whose time."""

from __future__ import annotations

from analysis.intake import times
from analysis.intake.headers import Headings
from analysis.intake.heading_suggestions import MAY_DATE_A_ROW
from analysis.intake.plain_csv import PlainTable
from analysis.intake.read_table import ReadTable
from analysis.intake.row_columns import EAR_FACTS
from analysis.intake.strange_words import safe_headings
from analysis.intake.understanding import Understanding
from analysis.problems import DataProblem

MAY_HOLD_A_DATE = frozenset(MAY_DATE_A_ROW)
FEWEST_HEADINGS = 2
"""Known headings without which the row of headings may be a row of data."""


def why_undated(table: ReadTable | PlainTable, headings: Headings) -> DataProblem | None:
    """Say what is wrong with a table that neither dates its rows nor names the visits whose ears it tells of.

    Times of day alone date nothing where a column that is not understood holds dates.

    Parameters
    ----------
    table : ReadTable or PlainTable
    headings : Headings

    Returns
    -------
    DataProblem or None
        With the heading that could hold the dates, where just one could.
    """
    columns = set(headings.columns)
    dates_missed = _an_unknown_column_holds_dates(table, headings)
    if MAY_HOLD_A_DATE & columns and (not dates_missed or _a_known_column_holds_dates(table, headings)):
        return None
    tells_of_ears = any(headings.all[place].base in EAR_FACTS for place in headings.used)
    if not MAY_HOLD_A_DATE & columns and "visit_id" in columns and tells_of_ears and not dates_missed:
        return None
    if len(headings.used) < FEWEST_HEADINGS:  # the row may be data, so nothing of it is shown
        return DataProblem(
            "The headings are not understood.",
            "See that the first row holds headings, and name them in [columns] of clinic.toml.",
            file=table.file,
        )
    told = list(zip(headings.all, safe_headings(table.headings), strict=True))
    shown = ", ".join(f'"{text}"' for heading, text in told if not heading.column)[:200]
    asked = [(text, heading.nearest) for heading, text in told if heading.nearest in MAY_HOLD_A_DATE]
    text, column = asked[0] if len(asked) == 1 else ("Your heading", "date")
    return DataProblem(
        "No column holds the date of the visit.",
        f'Export the date too, or name its heading in [columns]: "{text}" = "{column}". Not understood: {shown or "none"}.',
        file=table.file,
    )


def _an_unknown_column_holds_dates(table: ReadTable | PlainTable, headings: Headings) -> bool:
    """Tell whether a column that is not understood may hold the dates that are missed."""
    for place, heading in enumerate(headings.all):
        texts = {row[place] for row in table.some_rows if row[place]} if not heading.column else set()
        if texts and sum(times.read_date(text).day is not None for text in texts) > len(texts) / 2:
            return True
    return False


def _a_known_column_holds_dates(table: ReadTable | PlainTable, headings: Headings) -> bool:
    """Tell whether any column that may date a row holds a date, and not times of day alone."""
    places = [place for place in headings.used if headings.all[place].column in MAY_HOLD_A_DATE]
    texts = {row[place] for row in table.some_rows for place in places if row[place]}
    return any((read := times.read_date(text)).day is not None or read.impossible for text in texts)


def in_universal_time(understood: Understanding) -> bool:
    """Tell whether times are written with their offset, and that is nought in all of them.

    Parameters
    ----------
    understood : Understanding

    Returns
    -------
    bool
    """
    offsets = {
        each.offset_minutes for read in understood.moments.values() for each in read.values() if each.clock is not None
    }
    return 0.0 in offsets and offsets <= {0.0, None}

"""Numbers and names as a person says them."""

from __future__ import annotations

from datetime import date

import pandas as pd

from analysis import schema
from analysis.present.answer_labels import ANSWER_LABELS
from analysis.stats.estimate import Estimate

FIELD_LABELS = {column.name: column.label for table in schema.TABLES for column in table.columns}
"""Plain label of every column of every table."""


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

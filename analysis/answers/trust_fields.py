"""What to mend first, and which fact is missing in which months."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from analysis.answers import trust_words as say
from analysis.clinic import Clinic
from analysis.models.completeness import Recorded, facts_by_month, facts_recorded
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, no_answer
from analysis.present.chart_heat import Strip, month_strips
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED
from analysis.problems import NotEnough

MEND = "What should I mend first?"
MONTHS = "Which facts are missing, and since when?"
TEN = 10
FEWEST_ROWS = 5
"""Rows a month needs for a share of its own in a fact (our own line, no source)."""
MOST_STRIPS = 8
NOTHING_TO_DO = "Nothing"


def what_to_mend_first(clinic: Clinic) -> Answer:
    """Say which ten remedies bring back the most rows and facts.

    Parameters
    ----------
    clinic : Clinic
        Its record says which words, headings, dates and numbers were not understood.

    Returns
    -------
    Answer
        One row of the table a remedy, that which touches the most rows first.
        Rows set aside that need no remedy are counted apart.
    """
    if clinic.visits.empty and clinic.set_aside.empty:
        return no_answer(MEND, NotEnough("The log holds no row.", "Put at least one export with rows into exports."))
    found = sorted(_found(clinic), key=lambda row: (-row["rows"], row["to_mend"]))
    table = pd.DataFrame(found, columns=["to_mend", "rows", "remedy"])
    top = table.head(TEN)
    dated = pd.notna(clinic.first_day)
    period = words.months(clinic.first_day, clinic.last_day) if dated else ""
    return Answer(
        MEND,
        _mend_headline(table, _read(clinic), period),
        how_sure="Counts of this log, so they have no range. A row that lacks two facts is counted under both.",
        table=top,
        chart=_mend_chart(top) if len(top) else None,
        chart_title=f"{'Most' if len(table) > 1 else 'All'} of it: {top['to_mend'].iloc[0]}" if len(top) else "",
        chart_text=_mend_text(top) if len(top) else "",
        assumptions=("A word not understood counts as not recorded; it is never guessed.",),
        checks=(*_needing_nothing(clinic), *_more(table)),
        basis=Basis(
            _read(clinic), "rows of the exports", {}, clinic.first_day, clinic.last_day, "Counts of rows by remedy."
        ) if dated else None,
    )  # fmt: skip


def _read(clinic: Clinic) -> int:
    """Count the rows read, or without a record those kept and set aside."""
    return int(clinic.record.get("rows_in") or len(clinic.visits) + len(clinic.set_aside))


def _found(clinic: Clinic) -> Iterator[dict[str, Any]]:
    """List everything the owner can mend, with the rows it touches."""
    aside = clinic.set_aside[["reason", "remedy"]].fillna("")
    for row in aside.groupby(["reason", "remedy"], as_index=False).size().to_dict("records"):
        if not row["remedy"].startswith(NOTHING_TO_DO):
            yield {"to_mend": f"rows set aside: {row['reason']}", "rows": int(row["size"]), "remedy": row["remedy"]}
    for column, found in clinic.record.get("words", {}).items():
        if many := _rows(found.get("unknown", {})):
            told = words.plural(len(found["unknown"]), "word")
            remedy = f"Say under [words.{column}] in clinic.toml what each means; earclinic preview lists them."
            yield {"to_mend": f"{words.label(column)}: {told} not known", "rows": many, "remedy": remedy}
    for column, found in clinic.record.get("unreadable", {}).items():
        if column != "date" and (many := _rows(found)):
            yield {
                "to_mend": f"{_label(column)}: cannot be read",
                "rows": many,
                "remedy": "Correct it in the export, or empty the cell.",
            }
    yield from _headings_not_read(clinic.record)


def _rows(entries: Mapping[str, Any]) -> int:
    """Add up the rows of several texts."""
    return sum(int(entry["count"]) for entry in entries.values())


def _label(column: str) -> str:
    """Say a column's plain label; some columns exist in exports only."""
    return words.FIELD_LABELS.get(column, column.replace("_", " "))


def _headings_not_read(record: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Count the rows of the files with a column that was not read, by heading."""
    rows: dict[str, int] = {}
    for file in record.get("files", []):
        for heading in file.get("headings", {}).get("unknown", {}):
            rows[heading] = rows.get(heading, 0) + int(file.get("rows", 0))
    for heading, many in rows.items():
        remedy = "Say under [columns] in clinic.toml which of our columns it is, or that it is to be ignored."
        yield {"to_mend": f"the column {heading} was not read", "rows": many, "remedy": remedy}


def _mend_headline(table: pd.DataFrame, read: int, period: str) -> str:
    """Say what touches the most rows."""
    when = f", {period}" if period else ""
    if table.empty:
        return f"Nothing needs mending in {words.plural(read, 'row')}{when}."
    first = table.iloc[0]
    many = f"There is one thing to mend in {words.plural(read, 'row')}" if len(table) == 1 else (
        f"There are {len(table)} things to mend in {words.plural(read, 'row')}"
    )  # fmt: skip
    return f"{many}; the first touches {words.plural(int(first['rows']), 'row')}: {first['to_mend']}{when}."


def _mend_chart(top: pd.DataFrame) -> Any:
    """Draw the rows each remedy touches; counts have no range."""
    bars = [
        Bar(row["to_mend"], row["rows"], row["rows"], row["rows"], RECOMMENDED, words.count(row["rows"]))
        for row in top.to_dict("records")
    ]
    return range_chart(bars, x_title="rows it touches", from_zero=True)


def _mend_text(top: pd.DataFrame) -> str:
    """Tell the chart in words."""
    told = "; ".join(f"{row['to_mend']}, {words.count(row['rows'])}" for row in top.to_dict("records"))
    return f"Rows each thing to mend touches: {told}."


def _needing_nothing(clinic: Clinic) -> list[Check]:
    """Count the rows set aside that need no remedy."""
    remedies = clinic.set_aside["remedy"].fillna("")
    many = int(remedies.str.startswith(NOTHING_TO_DO).sum())
    if not many:
        return []
    told = f"{words.plural(many, 'row')} set aside need no mending, such as the same row exported twice."
    return [Check("Set aside rightly", INFORMATION, told)]


def _more(table: pd.DataFrame) -> list[Check]:
    """Say how many remedies the table leaves out."""
    left = len(table) - TEN
    if left <= 0:
        return []
    return [Check("Further things", INFORMATION, f"{left} more are listed in store/intake.json of the clinic folder.")]


def which_facts_are_missing(clinic: Clinic) -> Answer:
    """Say for each fact in which months it is missing.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        The table has a row a month and a column a fact, for the thinnest facts,
        those that the chart draws; a month of fewer than ``FEWEST_ROWS`` rows shows none.
    """
    table = facts_by_month(clinic.visits, clinic.ears)
    if table.empty or pd.isna(clinic.first_day):
        return no_answer(MONTHS, say.NO_DATES)
    facts = facts_recorded(clinic.visits, clinic.ears)
    thin = _drawn(facts, table)
    months = pd.date_range(table["month"].min(), table["month"].max(), freq="MS")
    shares = {fact.fact: _shares(table, fact.fact, months) for fact in thin}
    return Answer(
        MONTHS,
        _months_headline(facts, table, months, clinic),
        how_sure="Shares of this log's rows are exact. One thin month may be a holiday or a new hand; look for where a "
        "strip changes and stays changed.",
        table=_months_table(shares, months),
        chart=month_strips(
            [Strip(words.label(fact.fact), say.percent_recorded(fact.share), shares[fact.fact]) for fact in thin],
            list(months),
        ),
        chart_title=_months_title(facts, table),
        chart_text=_months_text(thin, table),
        assumptions=(
            "A fact that is written down counts as recorded, whether or not it is true.",
            f"A month with fewer than {FEWEST_ROWS} rows to record a fact in shows no share.",
        ),
        checks=(*_never_checks(facts), *_gap_checks(facts)),
        basis=Basis(
            len(clinic.visits), "bookings", {}, clinic.first_day, clinic.last_day, "Counts of rows by fact and month."
        ),
    )


def _drawn(facts: dict[str, Recorded], table: pd.DataFrame) -> list[Recorded]:
    """Choose the facts to draw: the thinnest of those ever recorded, for a fact that never is has no story of months."""
    known = say.thinnest_first(facts)
    ever = [fact for fact in known if fact.recorded] or known
    return sorted(ever, key=lambda fact: (fact.share, -_swing(table, fact.fact)))[:MOST_STRIPS]


def _never_checks(facts: dict[str, Recorded]) -> list[Check]:
    """Name the facts that are never recorded."""
    never = [words.label(fact.fact) for fact in say.thinnest_first(facts) if not fact.recorded]
    return [Check("Never recorded", INFORMATION, f"{words.joined(never)}.".capitalize())] if never else []


def _shares(table: pd.DataFrame, fact: str, months: pd.DatetimeIndex) -> list[float | None]:
    """Give a fact's share for each month, and none where there are too few rows."""
    rows = table[table["fact"] == fact].set_index("month").reindex(months)
    return [
        float(recorded / of) if of >= FEWEST_ROWS else None
        for recorded, of in zip(rows["recorded"].fillna(0), rows["of"].fillna(0), strict=True)
    ]


def _monthly(table: pd.DataFrame, fact: str) -> pd.Series:
    """Give a fact's share in each month of enough rows."""
    rows = table[(table["fact"] == fact) & (table["of"] >= FEWEST_ROWS)].set_index("month")
    shares: pd.Series = rows["recorded"] / rows["of"]
    return shares


def _swing(table: pd.DataFrame, fact: str) -> float:
    """Say how far a fact's best and worst months lie apart."""
    shares = _monthly(table, fact)
    return float(shares.max() - shares.min()) if len(shares) else 0.0


def _widest(facts: dict[str, Recorded], table: pd.DataFrame) -> tuple[str, pd.Series] | None:
    """Find the fact whose months differ most."""
    spread = {fact: _swing(table, fact) for fact, recorded in facts.items() if recorded.of}
    if not spread:
        return None
    fact = max(spread, key=lambda name: spread[name])
    return fact, _monthly(table, fact)


def _months_headline(facts: dict[str, Recorded], table: pd.DataFrame, months: pd.DatetimeIndex, clinic: Clinic) -> str:
    """Say how many facts are well recorded throughout, and which is thinnest."""
    known = [fact for fact in facts.values() if fact.of]
    steady = [fact for fact in known if (_monthly(table, fact.fact) >= say.WELL_RECORDED).all()]
    thinnest = say.thinnest_first(facts)[0]
    return (
        f"{len(steady)} of {len(known)} facts are recorded at least {words.percent(say.WELL_RECORDED)} of the time in every "
        f"month; the thinnest is {words.label(thinnest.fact)}, {say.percent_recorded(thinnest.share)} over "
        f"{words.plural(len(months), 'month')}, {words.months(clinic.first_day, clinic.last_day)}."
    )


def _months_title(facts: dict[str, Recorded], table: pd.DataFrame) -> str:
    """Say which fact changes most from month to month."""
    found = _widest(facts, table)
    if found is None or found[1].empty or found[1].max() - found[1].min() < 1 - say.WELL_RECORDED:
        return "Each fact is recorded about as often in every month"
    fact, shares = found
    ends = [f"{say.percent_recorded(share)} in {month:%B %Y}" for month, share in _least_and_most(shares)]
    return f"Most uneven: {words.label(fact)}, {ends[0]} and {ends[1]}"


def _least_and_most(shares: pd.Series) -> list[tuple[pd.Timestamp, float]]:
    """Give the first of the thinnest and the first of the fullest months with its share."""
    return [(shares.index[place], float(shares.iloc[place])) for place in (int(shares.argmin()), int(shares.argmax()))]


def _months_text(thin: list[Recorded], table: pd.DataFrame) -> str:
    """Tell the strips in words: each fact's share over all, and in its thinnest month."""
    told = []
    for fact in thin:
        shares = _monthly(table, fact.fact)
        worst = ""
        if len(shares) and shares.min() < fact.share:
            month, least = _least_and_most(shares)[0]
            worst = f" (least {say.percent_recorded(least)}, {month:%B %Y})"
        told.append(f"{words.label(fact.fact)} {say.percent_recorded(fact.share)}{worst}")
    return f"A strip of months for each of the thinnest facts, darker where less is recorded: {'; '.join(told)}."


def _months_table(shares: dict[str, list[float | None]], months: pd.DatetimeIndex) -> pd.DataFrame:
    """Set the strips' numbers out, a row a month."""
    cells = {
        fact: ["" if share is None else say.percent_recorded(share) for share in of_fact]
        for fact, of_fact in shares.items()
    }
    return pd.DataFrame({"month": [f"{month:%B %Y}" for month in months], **cells})


def _gap_checks(facts: dict[str, Recorded]) -> Iterator[Check]:
    """Say what the weakest facts' gaps do to the later answers, and what to record."""
    for fact in say.weakest(facts)[:MOST_STRIPS]:
        need = say.NEEDS[fact.fact]
        told = f"Feeds {need.feeds}. Where it is missing, {need.gap_means}. From now on, record {need.to_record}."
        yield Check(words.label(fact.fact).capitalize(), INFORMATION, told)

"""Rows of any shape to visits and ears: one row a visit, a visit with both ears, an ear, or an instrument pass."""

from __future__ import annotations

import hashlib
import re
from typing import Any

import narwhals as nw

from analysis.intake.cleaning import Frame, beside, translated
from analysis.intake.duplicates import ROWS_A_FILE
from analysis.intake.passes import ORDER, passes_joined
from analysis.intake.privacy import may_identify
from analysis.intake.row_columns import EAR, EAR_FACTS, EARS, PASS, SIDES, VISIT, VISIT_FACTS

REFERENCE = re.compile(r"(?!.*[^\W\d_]{4})[\w/.#-]{1,24}")
"""A visit number as records systems write it; one with words in it may hold a name and is hashed."""
FROM_MAIN_ROW = (
    "source_file",
    "source_row",
    "system",
    "attendance_logged",
    "evidence_logged",
    "has_clock",
    "patient_key",
    "clock_shift",
)
TIMED_BY_EAR_FROM = 0.2
"""Share of visits told in several rows whose minutes must differ before they count as each row's own."""


def with_visit_id(rows: Frame) -> Frame:
    """Name each visit and put the names beside the rows."""
    return beside(rows, _named, on="place", needs=("visit_number", "visit_key"), gives=("visit_id",))


def _named(rows: Frame) -> Frame:
    """Name each visit: by the log's own number where it is one and unique, else by a hash.

    A number that two visits share (two systems both counting from 1) is told
    apart by letters behind it, which depend on nothing but the visit itself.
    """
    col = nw.col
    rows = rows.with_columns(nw.coalesce(col("visit_number"), col("visit_key")).alias("__number"))
    rows = rows.with_columns(
        col("visit_key").min().over("__number").alias("__key_from"),
        col("visit_key").max().over("__number").alias("__key_to"),
    )
    shared = rows.filter(col("visit_number").is_null() | (col("__key_from") != col("__key_to")))
    hashes = {key: (_short_hash(key),) for key in _texts(shared, "visit_key")}
    rows = translated(rows, "visit_key", {"__hash": nw.String}, hashes)
    numbers = {
        text: (text if REFERENCE.fullmatch(text) and not may_identify(text) else _short_hash(text),)
        for text in _texts(rows, "visit_number")
    }
    rows = translated(rows, "visit_number", {"__shown": nw.String}, numbers)
    told_apart = nw.concat_str(col("__shown"), col("__hash"), separator="-", ignore_nulls=False)
    rows = rows.with_columns(nw.coalesce(told_apart, col("__shown"), col("__hash")).alias("visit_id"))
    # a visit whose rows came by different ways (number here, patient there) has one name
    return rows.with_columns(col("visit_id").min().over("visit_key").alias("visit_id"))


def _short_hash(text: str) -> str:
    """Give a short name that depends on the text alone."""
    return hashlib.blake2b(text.encode(), digest_size=6).hexdigest()


def _texts(rows: Frame, column: str) -> list[str]:
    """List a column's different texts, in order."""
    found = rows.lazy().select(column).filter(~nw.col(column).is_null()).unique(column).collect()
    return sorted(found[column].to_list())


def ears_of(rows: Frame) -> Frame:
    """Give one row an ear with any fact.

    In a row a visit, what is said without naming an ear goes to each ear of
    which something else is said, but not to an ear found clear beside one that
    was not; where no ear is named at all, the ear stays empty.

    Parameters
    ----------
    rows : narwhals frame
        Kept rows with ``visit_id``.

    Returns
    -------
    narwhals frame
        visit_id, ear and ``EAR_FACTS``.
    """
    col = nw.col
    rows = rows.with_columns(
        col("place").alias("__place"), col("pass_number").alias("__pass"), col("started_at").alias("__at")
    )
    whole = _ears_of_visits(rows.filter(col("shape").is_in((VISIT, EARS))))
    parts = _ears_of_ears(rows.filter(col("shape") == EAR))
    passes = rows.filter(col("shape") == PASS)
    sided = col("ear").is_null() & _any_of(tuple(f"{fact}_{side}" for fact in EAR_FACTS for side in SIDES))
    by_pass = nw.concat([_ears_of_visits(passes.filter(sided)), _ears_of_ears(passes.filter(~sided))], how="vertical")
    told = ("visit_id", "ear", *EAR_FACTS)
    joined = passes_joined(by_pass.filter(_any_of(EAR_FACTS)))
    ears = nw.concat([whole.select(*told), parts.select(*told), joined], how="vertical")
    return ears.filter(_any_of(EAR_FACTS))


def _ears_of_visits(rows: Frame) -> Frame:
    """Give the ears of rows that tell of both."""
    rows = _with_ears_said(rows)
    return nw.concat([_one_side(rows, "left"), _one_side(rows, "right"), _no_side(rows)], how="vertical")


def _ears_of_ears(rows: Frame) -> Frame:
    """Give the ears of rows that tell of one."""
    return nw.concat([_ear_row(rows, side) for side in (*SIDES, None)], how="vertical")


def _any_of(columns: tuple[str, ...]) -> nw.Expr:
    """Tell whether a row holds any of some facts."""
    return nw.any_horizontal(*(~nw.col(column).is_null() for column in columns), ignore_nulls=False)


def _with_ears_said(rows: Frame) -> Frame:
    """Mark of which ears a row says something, and which are clear."""
    rows = rows.with_columns(
        *(_any_of(tuple(f"{fact}_{side}" for fact in EAR_FACTS)).alias(f"__says_{side}") for side in SIDES)
    )
    return rows.with_columns(
        *((nw.coalesce(nw.col(f"grade_{side}"), nw.lit("")) == "clear").alias(f"__clear_{side}") for side in SIDES)
    )


def _one_side(rows: Frame, side: str) -> Frame:
    """Give the rows of one ear from rows a visit."""
    col = nw.col
    other = "left" if side == "right" else "right"
    clear_beside_work = col(f"__clear_{side}") & col(f"__says_{other}") & ~col(f"__clear_{other}")
    takes_shared = col(f"__says_{side}") & ~clear_beside_work
    alone = takes_shared & ~col(f"__says_{other}")
    shared = {fact: nw.when(alone if fact == "ear_minutes" else takes_shared).then(col(fact)) for fact in EAR_FACTS}
    facts = [nw.coalesce(col(f"{fact}_{side}"), shared[fact]).alias(fact) for fact in EAR_FACTS]
    return rows.select("visit_id", nw.lit(side).alias("ear"), *facts, *ORDER)


def _no_side(rows: Frame) -> Frame:
    """Give what rows a visit say of an ear that is not named."""
    unnamed = rows.filter(~nw.col("__says_left") & ~nw.col("__says_right"))
    return unnamed.select("visit_id", nw.lit(None, dtype=nw.String).alias("ear"), *EAR_FACTS, *ORDER)


def _ear_row(rows: Frame, side: str | None) -> Frame:
    """Give the rows of one ear from rows an ear; "both" stands for each, without minutes of its own."""
    col = nw.col
    if side is None:
        unnamed = rows.filter(col("ear").is_null())
        return unnamed.select("visit_id", nw.lit(None, dtype=nw.String).alias("ear"), *EAR_FACTS, *ORDER)
    mine = rows.filter((col("ear") == side) | (col("ear") == "both"))
    facts = {fact: nw.coalesce(col(fact), col(f"{fact}_{side}")) for fact in EAR_FACTS}
    facts["ear_minutes"] = nw.when(col("ear") == side).then(facts["ear_minutes"])
    told = (facts[fact].alias(fact) for fact in EAR_FACTS)
    return mine.select("visit_id", nw.lit(side).alias("ear"), *told, *ORDER)


def visits_of(rows: Frame) -> Frame:
    """Give one row a visit.

    A visit told in several rows (one an ear, one an instrument pass, or a booking
    with its ears) takes its facts from the fullest row, and what that lacks from
    the others; it starts with the earliest start and ends with the latest end.

    Parameters
    ----------
    rows : narwhals frame
        Kept rows with ``visit_id``.

    Returns
    -------
    narwhals frame
        visit_id, ``VISIT_FACTS`` and what the later steps need.
    """
    col = nw.col
    order = col("visit_cells") * ROWS_A_FILE * 1000 - col("place")
    rows = rows.with_columns(order.alias("__main_rank"), nw.len().over("visit_id").alias("__rows"))
    alone = rows.filter(col("__rows") == 1).select("visit_id", *FROM_MAIN_ROW, *VISIT_FACTS)
    several = rows.filter(col("__rows") > 1)
    several = several.with_columns(col("__main_rank").max().over("visit_id").alias("__main"))
    main = several.filter(col("__main_rank") == col("__main")).select("visit_id", *FROM_MAIN_ROW, *VISIT_FACTS)
    others = several.group_by("visit_id").agg(*_from_the_others())
    joined: Any = main.join(others, on="visit_id", how="left")
    facts = [_filled_from_others(fact) for fact in VISIT_FACTS]
    return nw.concat([alone, joined.select("visit_id", *FROM_MAIN_ROW, *facts)], how="vertical")


def _from_the_others() -> list[nw.Expr]:
    """Summarise the rows of a visit: the earliest start, the latest of all else."""
    earliest = nw.when((nw.col("shape") == PASS) & nw.col("has_clock")).then(nw.col("slot_start")).min()
    return [
        earliest.alias("__earliest"),
        *(
            (nw.col(fact).min() if fact in ("started_at", "arrived_at") else nw.col(fact).max()).alias(f"__{fact}")
            for fact in VISIT_FACTS
        ),
    ]


def _filled_from_others(fact: str) -> nw.Expr:
    """Take a fact from the main row, or from the others where it lacks there; times from all rows."""
    other = nw.col(f"__{fact}")
    if fact in ("started_at", "ended_at"):
        return other.alias(fact)
    if fact == "slot_start":  # passes may each have a time of their own; a day alone stands at midnight
        return (
            nw.when(nw.col("__earliest") < nw.col(fact)).then(nw.col("__earliest")).otherwise(nw.col(fact)).alias(fact)
        )
    return nw.coalesce(nw.col(fact), other).alias(fact)


def with_minutes_by_ear(rows: Frame) -> Frame:
    """Give each ear its own minutes where the log times ears apart.

    Where rows are ears, minutes that differ between the two ears of many visits
    are the ear's, not the visit's; so are starts and ends. Where rows are passes
    of an instrument, each has its share, and the ear's are their sum.
    """
    col = nw.col
    span = (col("ended_at") - col("started_at")).dt.total_seconds() / 60
    span = span - nw.coalesce(col("clock_shift"), nw.lit(0.0))
    rows = rows.with_columns(span.alias("__span"))
    for source in ("minutes", "__span"):
        if not _differs(rows, source, "visit_key"):
            continue
        mine = nw.when(col("shape").is_in((EAR, PASS)) & (col(source) >= 0)).then(col(source))
        rows = rows.with_columns(nw.coalesce(col("ear_minutes"), mine).alias("ear_minutes"))
        if source == "minutes":
            alone = ~col("shape").is_in((EAR, PASS))
            rows = rows.with_columns(nw.when(alone).then(col("minutes")).alias("minutes"))
    return _with_minutes_once(rows)


def _with_minutes_once(rows: Frame) -> Frame:
    """Leave an ear's minutes in its first pass alone where all its passes repeat them."""
    col = nw.col
    if _differs(rows, "ear_minutes", "visit_key", "ear"):
        return rows
    first = col("place").min().over("visit_key", "ear")
    repeated = (col("shape") == PASS) & (col("place") > first)
    return rows.with_columns(nw.when(~repeated).then(col("ear_minutes")).alias("ear_minutes"))


def _differs(rows: Frame, column: str, *keys: str) -> bool:
    """Tell whether a number differs between the rows of one visit, or ear, more often than slips would explain."""
    found = (
        rows.lazy()
        .filter(nw.col("shape").is_in((EAR, PASS)) & ~nw.col(column).is_null())
        .with_columns(*(nw.coalesce(nw.col(key), nw.lit("")).alias(key) for key in keys))
        .select(*keys, column)
        .group_by(*keys)
        .agg(nw.len().alias("rows"), nw.col(column).min().alias("low"), nw.col(column).max().alias("high"))
        .filter(nw.col("rows") > 1)
        .collect()
    )
    return len(found) > 0 and float((found["low"] != found["high"]).mean()) > TIMED_BY_EAR_FROM

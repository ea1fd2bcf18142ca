"""Who came, as a pseudonym, and which patients are only tests of the records system."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import polars as pl

from analysis.intake.privacy import (
    PLACEHOLDER,
    TEST_NUMBER_BEGINS,
    identity,
    is_test_name,
    is_test_number,
    keyed,
    named_pseudonyms,
    plain_number,
)
from analysis.intake.text_rows import TextRows
from analysis.intake.visit_numbers import safe_visit_numbers

BY_NUMBER, BY_NATIONAL_NUMBER, BY_NAME_AND_BIRTH, BY_NAME, NOT_AT_ALL = (
    "patient number",
    "national number",
    "name and birth date",
    "name alone",
    "not at all",
)
NAMES = ("patient_name", "first_name", "surname")


def how_patients_are_told_apart(columns: list[str]) -> str:
    """Say by what a file's patients are told apart, from the columns it has.

    Examples
    --------
    >>> how_patients_are_told_apart(["patient_name", "birth_date"]), how_patients_are_told_apart(["date"])
    ('name and birth date', 'not at all')
    """
    if "patient_number" in columns:
        return BY_NUMBER
    if "national_number" in columns:
        return BY_NATIONAL_NUMBER
    if "patient_name" in columns or "surname" in columns:
        return BY_NAME_AND_BIRTH if "birth_date" in columns else BY_NAME
    return NOT_AT_ALL


def with_patients(text: TextRows, told_apart_by: str, births: Mapping[str, str], key: bytes) -> pl.DataFrame:
    """Give the rows with pseudonyms, and whether the patient is a test; what identifies is gone.

    Parameters
    ----------
    text : TextRows
        Still with what identifies.
    told_apart_by : str
        From ``how_patients_are_told_apart``; the rest of what identifies is not used.
    births : mapping
        Text of a birth date to its day.
    key : bytes
        The clinic's secret.

    Returns
    -------
    polars.DataFrame
        With ``patient_key``, empty where nothing tells the patient, and ``test_patient``.
    """
    named = [column for column in NAMES if column in text.texts]
    tests = pl.lit(False)
    if "patient_number" in text.texts:
        tests = tests | _is_test_number(text.texts["patient_number"])
    people = _people(text, named, births) if named else None
    if people is not None:
        made_up = people.filter(pl.col("name").map_elements(is_test_name, return_dtype=pl.Boolean))
        found = (
            pl.struct(*named).is_in(made_up.select(pl.struct(*named)).to_series().implode())
            if len(made_up)
            else pl.lit(False)
        )
        tests = tests | found
    rows = text.rows.with_columns(tests.alias("test_patient"))
    if "visit_id" in rows.columns:
        rows = safe_visit_numbers(text, rows, key)
    column = {BY_NUMBER: "patient_number", BY_NATIONAL_NUMBER: "national_number"}.get(told_apart_by)
    if column in text.texts:
        rows = rows.with_columns(_by_number(text.texts[column], column, key))
    elif people is not None and told_apart_by in (BY_NAME, BY_NAME_AND_BIRTH):
        on = [*named, *(["birth_date"] if "birth_date" in text.texts else [])]
        rows = rows.join(_by_name(people, on, key), on=on, how="left", maintain_order="left")
    else:
        rows = rows.with_columns(pl.lit(None, pl.String).alias("patient_key"))
    return rows.drop("patient_number", "national_number", *NAMES, strict=False)


def full_names(text: TextRows) -> list[str]:
    """List the distinct full names of a file's patients."""
    named = [column for column in NAMES if column in text.texts]
    return _people(text, named, {})["name"].unique().sort().to_list() if named else []


def _is_test_number(texts: Sequence[str]) -> pl.Expr:
    """Tell in which rows the patient's number is a made-up one; only those that begin like one are looked at."""
    likely = pl.Series(texts, dtype=pl.String).str.contains(f"^[{TEST_NUMBER_BEGINS}]").arg_true()
    return pl.col("patient_number").is_in([number for number in likely if is_test_number(texts[number])])


def _by_number(texts: Sequence[str], column: str, key: bytes) -> pl.Expr:
    """Give the pseudonym of each patient number, where there is one."""
    plain = _plain_numbers(pl.Series(texts, dtype=pl.String))
    known = plain.replace("", None)
    made = pl.Series(keyed("number", known.drop_nulls().to_list(), key), dtype=pl.String)
    places = known.is_not_null().cum_sum().cast(pl.Int64) - 1
    by_place = made.gather(pl.select(pl.when(known.is_not_null()).then(places)).to_series())
    return pl.lit(by_place).gather(pl.when(pl.col(column) >= 0).then(pl.col(column))).alias("patient_key")


def _plain_numbers(texts: pl.Series) -> pl.Series:
    """Bring patient numbers to the form that is compared: ``plain_number``, all at once where they are plain letters and digits."""
    shortened = texts.str.to_lowercase().str.strip_chars_start("0")
    placeholder = shortened.str.contains(f"^(?:{PLACEHOLDER.pattern})$")
    shortened = pl.select(pl.when(placeholder).then(pl.lit("")).otherwise(shortened)).to_series()
    strange = ~texts.str.contains("^[0-9A-Za-z]+$")
    if strange.any():
        at = strange.arg_true()
        shortened = shortened.scatter(at, [plain_number(text) for text in texts.gather(at)])
    return shortened


def _people(text: TextRows, named: Sequence[str], births: Mapping[str, str]) -> pl.DataFrame:
    """Give the distinct names, with birth dates where there are any."""
    on = [*named, *(["birth_date"] if "birth_date" in text.texts else [])]
    people = text.rows.select(on).unique()
    for column in on:
        texts = {
            number: births.get(each) if column == "birth_date" else each
            for number, each in enumerate(text.texts[column])
        }
        known = {number: each for number, each in texts.items() if each}
        people = people.with_columns(
            pl.col(column)
            .replace_strict(list(known), list(known.values()), default=None, return_dtype=pl.String)
            .alias(f"{column}__text")
        )
    parts = {name: pl.col(f"{name}__text") if name in named else pl.lit(None, pl.String) for name in NAMES}
    both = pl.concat_str(parts["first_name"].fill_null(""), parts["surname"], separator=" ")
    born = pl.col("birth_date__text").fill_null("") if "birth_date" in on else pl.lit("")
    name = pl.coalesce(parts["patient_name"], both, parts["first_name"])
    return people.with_columns(name.alias("name"), born.alias("born")).filter(pl.col("name").is_not_null())


def _by_name(people: pl.DataFrame, on: Sequence[str], key: bytes) -> pl.DataFrame:
    """Give the pseudonym of each name and birth date."""
    who = {place: identity(name, born) for place, (name, born) in enumerate(people.select("name", "born").iter_rows())}
    made = named_pseudonyms({str(place): each for place, each in who.items()}, key)
    keys = pl.Series("patient_key", [made.get(str(place)) for place in who], dtype=pl.String)
    return people.select(on).with_columns(keys)

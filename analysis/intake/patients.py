"""Who came, as a pseudonym, and which patients are only tests of the records system."""

from __future__ import annotations

from collections.abc import Mapping

import narwhals as nw

from analysis.intake.cleaning import Frame, translated
from analysis.intake.exports import distinct_texts
from analysis.intake.privacy import identity, is_test_name, is_test_number, named_pseudonyms, pseudonyms

BY_NUMBER, BY_NATIONAL_NUMBER, BY_NAME_AND_BIRTH, BY_NAME, NOT_AT_ALL = (
    "patient number",
    "national number",
    "name and birth date",
    "name alone",
    "not at all",
)
BETWEEN = "\x1e"


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


def with_patients(frame: Frame, told_apart_by: str, births: Mapping[str, str], key: bytes) -> Frame:
    """Add the pseudonym and whether the patient is a test; the frame still holds what identifies.

    Parameters
    ----------
    frame : narwhals frame
        Text columns.
    told_apart_by : str
        From ``how_patients_are_told_apart``; the rest of what identifies is not used.
    births : mapping
        Text of a birth date to its day.
    key : bytes
        The clinic's secret.

    Returns
    -------
    narwhals frame
        With ``patient_key``, empty where nothing tells the patient, and ``test_patient``.
    """
    frame = translated(frame, "birth_date", {"__born": nw.String}, {text: (day,) for text, day in births.items()})
    frame = _with_full_name(frame)
    source = {BY_NUMBER: "patient_number", BY_NATIONAL_NUMBER: "national_number"}.get(told_apart_by, "__identity")
    texts = [] if told_apart_by == NOT_AT_ALL else distinct_texts(frame, source)
    if source == "__identity":
        made = named_pseudonyms({text: _identity(text) for text in texts}, key)
    else:
        made = pseudonyms(texts, key)
    frame = translated(frame, source, {"patient_key": nw.String}, {text: (value,) for text, value in made.items()})
    tests = {text: (1.0,) for text in distinct_texts(frame, "__full_name") if is_test_name(text)}
    frame = translated(frame, "__full_name", {"__by_name": nw.Float64}, tests)
    numbers = {text: (1.0,) for text in distinct_texts(frame, "patient_number") if is_test_number(text)}
    frame = translated(frame, "patient_number", {"__by_number": nw.Float64}, numbers)
    is_test = ~nw.col("__by_name").is_null() | ~nw.col("__by_number").is_null()
    return frame.with_columns(is_test.alias("test_patient"))


def _with_full_name(frame: Frame) -> Frame:
    """Put the parts of a name together, and the name with the birth date."""
    parts = nw.concat_str(
        nw.coalesce(nw.col("first_name"), nw.lit("")), nw.col("surname"), separator=" ", ignore_nulls=False
    )
    frame = frame.with_columns(nw.coalesce(nw.col("patient_name"), parts, nw.col("first_name")).alias("__full_name"))
    born = nw.coalesce(nw.col("__born"), nw.lit(""))
    return frame.with_columns(
        nw.concat_str(nw.col("__full_name"), born, separator=BETWEEN, ignore_nulls=False).alias("__identity")
    )


def _identity(text: str) -> str:
    """Take a name and a birth date apart again and compare them as people are told apart."""
    name, _, born = text.partition(BETWEEN)
    return identity(name, born)

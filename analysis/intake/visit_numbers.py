"""Visit numbers as they may be stored: a plain count stays, whatever might tell who the patient is becomes a pseudonym."""

from __future__ import annotations

import polars as pl

from analysis.intake.privacy import keyed
from analysis.intake.rules import TOTALS
from analysis.intake.text_rows import TextRows

PLAIN_NUMBER = r"^[A-Za-z]?[/.#-]?[0-9]{1,8}$"
"""A visit number that can be no name, phone or national number."""
A_DATE = r"^(?:(?:19|20)\d\d(?:0[1-9]|1[0-2])[0-3]\d|[0-3]\d(?:0[1-9]|1[0-2])(?:19|20)\d\d)$"
"""Eight digits that may be a birth date."""
TOTAL_ONLY = rf"{TOTALS}[\s\d:.,]*$"
"""What a line of totals has in a visit number's place; it tells nobody, and the line is known by it."""
MOST_LOOKED_AT = 10_000
"""Rows looked at, spread over all."""
DIGITS_OF_A_PATIENT, FEW = r"([1-9]\d{3,})", 0.05
"""What of a patient's number is looked for in visit numbers, and the share of rows in which it may stand by chance."""


def safe_visit_numbers(text: TextRows, rows: pl.DataFrame, key: bytes) -> pl.DataFrame:
    """Keep plain visit numbers, and put pseudonyms under the clinic's key in the place of others.

    Parameters
    ----------
    text : TextRows
        With the patients' numbers, where there are any.
    rows : polars.DataFrame
        With ``visit_id`` and, where there are any, numbered ``patient_number``.
    key : bytes

    Returns
    -------
    polars.DataFrame
        Where visit numbers are made from patients' numbers none of them is kept.
    """
    number = pl.col("visit_id")
    plain = pl.lit(value=False) if _made_from_patients(text, rows) else _is_plain(number)
    plain = plain | number.str.to_lowercase().str.contains(TOTAL_ONLY)
    strange = rows.filter(~plain).get_column("visit_id").drop_nulls().unique()
    if strange.is_empty():
        return rows
    safe = pl.Series(keyed("visit", strange.to_list(), key), dtype=pl.String)
    return rows.with_columns(pl.when(plain).then(number).otherwise(number.replace_strict(strange, safe, default=None)))


def _is_plain(number: pl.Expr) -> pl.Expr:
    """Say of each visit number whether it can tell nobody."""
    return number.str.contains(PLAIN_NUMBER) & ~number.str.contains(A_DATE)


def _made_from_patients(text: TextRows, rows: pl.DataFrame) -> bool:
    """Say whether the patient's own number stands in many visit numbers."""
    if "patient_number" not in text.texts:
        return False
    whose = pl.col("patient_number")
    digits = pl.Series(text.texts["patient_number"], dtype=pl.String).str.extract(DIGITS_OF_A_PATIENT)
    of = pl.lit(digits).gather(pl.when(whose >= 0).then(whose))
    stands = pl.col("visit_id").str.contains(of, literal=True).fill_null(value=False)
    some = rows.gather_every(len(rows) // MOST_LOOKED_AT + 1)
    return bool((some.select(stands.mean()).item() or 0.0) > FEW)

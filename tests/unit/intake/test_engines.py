"""The chain is written once: pandas and Polars (lazy) give the same tables from it."""

from pathlib import Path

import narwhals as nw
import pandas as pd
import polars as pl
import pytest

from analysis.intake import taking
from analysis.intake.cleaning import cleaned
from analysis.intake.duplicates import ROWS_A_FILE, without_repeats
from analysis.intake.exports import open_export
from analysis.intake.joining import with_visits_joined
from analysis.intake.rules import with_reason
from analysis.intake.shapes import with_minutes_by_ear, with_visit_id
from analysis.settings import Settings

CORPUS = Path(__file__).parent / "corpus"
NAMES = ("other_headings_and_words.txt", "the_same_again.csv", "nobody_named.csv")


def tables(rows):
    """Run the chain from cleaned rows to ears and visits, on any engine."""
    rows = rows.with_columns((nw.col("source_row") + nw.col("file_order") * ROWS_A_FILE).alias("place"))
    fit, unfit = taking._parted(with_reason(with_visits_joined(rows)))
    kept, again = taking._parted(without_repeats(fit))
    ears, visits = taking.judged(*taking.ears_and_bookings(with_minutes_by_ear(with_visit_id(kept))), Settings())
    return {
        "visits": (visits, ["visit_id"]),
        "ears": (ears, ["visit_id", "ear"]),
        "aside": (
            nw.concat([unfit.select("source_row", "reason"), again.select("source_row", "reason")]),
            ["source_row"],
        ),
    }


def told(frame, by):
    """Write a frame of any engine as sorted rows of plain values."""
    native = frame.lazy().collect(backend="pandas").to_native()
    native = native[[column for column in sorted(native) if not column.startswith("__")]].sort_values(by)
    return [
        {name: None if pd.isna(value) else value for name, value in row.items()} for row in native.to_dict("records")
    ]


def text_of(name):
    """Read one file of the corpus as text, and what its texts mean."""
    export = open_export(CORPUS / name, Settings())
    return taking._text_rows(export, b"k").to_native(), export.understood


@pytest.mark.parametrize("name", NAMES)
def test_polars_gives_what_pandas_gives(name):
    text, understood = text_of(name)
    on_pandas = tables(cleaned(nw.from_native(text), understood))
    lazily = cleaned(nw.from_native(pl.from_pandas(text).lazy()), understood)
    on_polars = tables(lazily.collect(backend="polars"))
    for table, (frame, by) in on_pandas.items():
        assert told(frame, by) == told(on_polars[table][0], by), table


def test_the_whole_chain_can_stay_lazy():
    text, understood = text_of("dates_only.csv")
    on_pandas = tables(cleaned(nw.from_native(text), understood))
    cleaned_lazily = cleaned(nw.from_native(pl.from_pandas(text).lazy()), understood).collect(backend="polars").lazy()
    visits, by = tables(cleaned_lazily)["visits"]
    assert isinstance(visits, nw.LazyFrame)
    assert told(visits, by) == told(on_pandas["visits"][0], by)

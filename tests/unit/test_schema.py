"""Typed frames hold the schema's columns and refuse what the schema does not know."""

import pandas as pd
import pytest

from analysis import schema


@pytest.mark.parametrize("table", schema.TABLES, ids=lambda table: table.name)
def test_an_empty_frame_has_every_column_in_order(table):
    frame = schema.typed_frame(table, pd.DataFrame())
    assert list(frame.columns) == table.names
    assert len(frame) == 0


def test_grades_are_ordered():
    ears = schema.typed_frame(schema.EAR_ROWS, pd.DataFrame({"grade": ["fully_occluding", "clear"]}))
    assert (ears["grade"] > "non_occluding").tolist() == [True, False]


def test_a_strange_code_is_an_error_not_a_blank():
    with pytest.raises(ValueError, match="blocked"):
        schema.typed_frame(schema.EAR_ROWS, pd.DataFrame({"grade": ["blocked"]}))


def test_every_coded_column_has_a_plain_label_for_every_code():
    for table in schema.TABLES:
        for column in table.columns:
            if column.codes:
                assert set(column.codes) == set(schema.CODE_LABELS[column.name])

"""Result rows keep full precision and are plain JSON."""

import json

import numpy as np
import pandas as pd

from analysis.present.answer import Answer, ResultRow
from analysis.report.results import results_json


def rows_of(*rows):
    return json.loads(results_json({"version": "0"}, [Answer("Q", "H", rows=rows)]))["rows"]


def test_figures_keep_full_precision():
    third = 1 / 3
    [row] = rows_of(ResultRow("recall", "return_share", {}, third, 0.1, 0.9, 0.95, "share", 12, "counted"))
    assert row["value"] == third
    assert list(row) == ["section", "quantity", "group", "value", "low", "high", "level", "unit", "n", "method"]


def test_what_is_no_number_is_null():
    [row] = rows_of(
        ResultRow(
            "recall", "median_months", {"site": pd.NA}, np.nan, -np.inf, np.float64("inf"), None, "months", None, ""
        )
    )
    assert (row["value"], row["low"], row["high"], row["n"], row["group"]) == (None, None, None, None, {"site": None})


def test_numpy_and_pandas_values_become_plain():
    group = {"hearing_aid": np.bool_(True), "month": pd.Timestamp("2026-10-01"), "q": np.float64(0.9), "k": np.int64(3)}
    [row] = rows_of(ResultRow("demand", "visits", group, np.float64(2.5), 1, 4, 0.95, "visits", np.int64(7), ""))
    assert row["group"] == {"hearing_aid": True, "month": "2026-10-01", "q": 0.9, "k": 3}
    assert (row["value"], row["n"]) == (2.5, 7)


def test_rows_keep_the_answers_order_one_a_line():
    first, second = (ResultRow("slots", name, {}, 1.0, None, None, None, "", 1, "") for name in ("b", "a"))
    text = results_json({}, [Answer("Q", "H", rows=(first,)), Answer("Q", "H", rows=(second,))])
    assert [row["quantity"] for row in json.loads(text)["rows"]] == ["b", "a"]
    assert sum('"quantity"' in line for line in text.splitlines()) == 2


def test_no_rows_is_still_a_list():
    assert rows_of() == []

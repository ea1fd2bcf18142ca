"""Result rows keep full precision and are plain JSON."""

import json

import numpy as np
import pandas as pd

from analysis.present.answer import Answer, Basis, ResultRow
from analysis.report.results import results_json, with_every_figure


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


def of_page(answer):
    return [(row.quantity, row.group, row.value) for row in with_every_figure(answer).rows if row.section == "page"]


def test_what_an_answer_rests_on_and_leaves_out_are_rows_a_hidden_number_has_none():
    first, last = pd.Timestamp("2026-01-02"), pd.Timestamp("2026-03-30")
    basis = Basis(90, "visits", {"were missed": 3, "had no end": 8, "had no day": 0}, first, last, said_instead={"were missed": "fewer than 5"})  # fmt: skip
    assert of_page(Answer("Q?", "H.", basis=basis)) == [
        ("rests_on", {"question": "Q?"}, 90.0),
        ("left_out", {"question": "Q?", "why": "were missed"}, None),
        ("left_out", {"question": "Q?", "why": "had no end"}, 8.0),
    ]


def test_only_those_numbers_of_a_table_become_rows_that_no_other_row_holds():
    row = ResultRow("quarter", "share", {}, 0.125, 0.1, 0.2, 0.95, "share", 40, "")
    table = pd.DataFrame({"part": ["North"], "share": [0.125], "in_100": [12.5], "out_of": [40], "minutes": [17.5], "low": [np.nan]})  # fmt: skip
    assert of_page(Answer("Q?", "H.", table=table, rows=(row,))) == [
        ("table_figure", {"question": "Q?", "column": "minutes", "row": "North"}, 17.5)
    ]


def test_a_question_without_a_figure_has_no_row():
    assert of_page(Answer("Q?", "No figure yet.", answered=False)) == []

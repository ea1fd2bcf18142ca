"""What holds for any log: pages escape every text, results keep every figure, settings read back."""

import json
import math

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from analysis.present.answer import Answer, ResultRow
from analysis.present.page_parts import answer_html, answer_text
from analysis.present.tables import spoken_columns
from analysis.report.results import results_json
from analysis.report.settings_used import settings_text
from analysis.settings import ClinicPart, Settings, settings_from_toml

TEXT = st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=30)
NUMBER = st.floats(allow_nan=True, allow_infinity=True)
ROWS = st.lists(st.tuples(TEXT, st.one_of(st.none(), st.floats(-1e6, 1e6))), min_size=1, max_size=8)


@given(text=TEXT)
def test_no_text_becomes_markup(text):
    marked = f"<i>{text}</i>"
    answer = Answer("Q?", marked, how_sure=marked, cautions=(marked,), table=pd.DataFrame({"site": [marked]}))
    assert "<i>" not in answer_html(answer)
    assert marked in answer_text(answer)


@given(rows=ROWS, order=st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_no_cell(rows, order):
    table = pd.DataFrame(rows, columns=["site", "minutes"]).astype({"minutes": "float64"})
    places = list(range(len(rows)))
    order.shuffle(places)
    straight, shuffled = (spoken_columns(each) for each in (table, table.iloc[places]))
    for one, other in zip(straight, shuffled, strict=True):
        assert [one.cells[place] for place in places] == list(other.cells)


@given(value=NUMBER, low=NUMBER, high=NUMBER)
def test_results_keep_every_finite_figure_to_the_last_digit(value, low, high):
    row = ResultRow("s", "q", {}, value, low, high, 0.95, "", 1, "")
    [read] = json.loads(results_json({}, [Answer("Q?", "H", rows=(row,))]))["rows"]
    for name, figure in (("value", value), ("low", low), ("high", high)):
        assert read[name] == (figure if math.isfinite(figure) else None)


@given(name=st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=20), words=st.dictionaries(TEXT, TEXT))
def test_settings_read_back_whatever_the_owner_writes(name, words):
    settings = Settings(clinic=ClinicPart(name=name), columns=words, words={"grade": words} if words else {})
    read = settings_from_toml(settings_text(settings))
    assert read == settings

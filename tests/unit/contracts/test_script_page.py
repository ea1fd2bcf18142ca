"""The page for analysts lists every question there is, and its example runs."""

import contextlib
import io
import re
from pathlib import Path

import pytest

from tests.script_page import PAGE, page, questions

DEMO = Path(__file__).parents[3] / "demo_clinic"


def test_the_page_is_the_one_the_answers_write():
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_question_of_the_report_is_listed():
    assert {"how_long_to_book", "does_softening_pay", "when_to_call_back", "how_many_will_come", "activity"} <= {
        name for _, name, _ in questions()
    }


@pytest.mark.skipif(not (DEMO / "store").exists(), reason="needs the invented clinic: run earclinic demo demo_clinic")
def test_the_example_runs_in_ten_lines(tmp_path, monkeypatch):
    example = re.search(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL).group(1)
    assert len([line for line in example.splitlines() if line]) <= 10
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo_clinic").symlink_to(DEMO)
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(example, PAGE.name, "exec"), {})  # noqa: S102 (the page's own example)
    assert said.getvalue().startswith("Book ")
    assert (tmp_path / "slots.csv").exists()

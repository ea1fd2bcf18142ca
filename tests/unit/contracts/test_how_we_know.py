"""Every core quantity of the results has a referee, and the page of them is the one the tests write."""

import ast
import re

import pytest

from tests.how_we_know import OUTSIDE, PAGE, all_tests, lacking
from tests.outside.core_quantities import REFEREES


def test_no_core_quantity_is_without_a_referee():
    assert lacking(all_tests()) == []


def test_a_quantity_without_a_referee_and_a_referee_that_is_no_test_are_told(monkeypatch):
    monkeypatch.delitem(REFEREES, "visit_time.added_minutes")
    monkeypatch.setitem(REFEREES, "recall.weibull_shape", ("test_x.py::test_y",))
    assert lacking(all_tests()) == [
        "visit_time.added_minutes has no referee from outside",
        "test_x.py::test_y, named for recall.weibull_shape, is no test",
    ]  # fmt: skip


@pytest.mark.parametrize("path", sorted(OUTSIDE.glob("test_*.py")), ids=lambda path: path.name)
def test_the_page_tells_of_every_test_from_outside(path):
    page = re.sub(r"\s+", " ", PAGE.read_text(encoding="utf-8"))
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert f"`{path.name}`" in page
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            assert node.name.removeprefix("test_").replace("_", " ").lower() in page.lower()

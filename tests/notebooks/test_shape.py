"""Notebooks only ask and show: thin, clean, and committed with the invented clinic's answers."""

import ast
import copy
import itertools
import re
from pathlib import Path

import nbformat
import pytest

from analysis.report.notebooks import DEMO_LINE, cleaned, notebooks_folder

FILES = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
NAMES = [
    "0_start_here",
    "1_can_i_trust_my_log",
    "2_how_long_to_book",
    "2b_how_long_visits_take",
    "3_does_softening_pay",
    "3b_a_fair_test",
    "4_when_to_call_back",
    "5_how_many_will_come",
    "6_this_quarter",
]


@pytest.fixture(params=FILES, ids=lambda path: path.stem)
def path(request):
    return request.param


@pytest.fixture
def cells(path):
    return nbformat.read(path, as_version=4).cells


@pytest.fixture
def code(cells):
    return [cell for cell in cells if cell.cell_type == "code"]


def lines(cell):
    return [line for line in cell.source.splitlines() if line.strip() and not line.startswith("#")]


def imports_only(cell):
    return all(line.startswith("from analysis.") for line in lines(cell))


def is_answer(cell):
    return cell.cell_type == "code" and re.fullmatch(r"\w+\(clinic(, quarter)?\)", cell.source) is not None


def test_every_question_has_its_notebook():
    assert [path.stem for path in FILES] == NAMES
    assert notebooks_folder() == FILES[0].parent


def test_it_is_valid_and_light(path):
    """A dozen answers of about 30 kB each, chart and table included."""
    nbformat.validate(nbformat.read(path, as_version=4))
    assert path.stat().st_size < 420_000


def test_it_opens_with_one_title(cells):
    titles = [cell for cell in cells if cell.cell_type == "markdown" and re.search(r"^# ", cell.source, re.MULTILINE)]
    assert titles == [cells[0]]


def test_it_is_short(cells, code):
    """About a dozen questions of one decision, two cells and one import each."""
    assert len(cells) <= 31
    assert sum(len(lines(cell)) for cell in code) <= 34


def test_only_the_settings_are_open_to_view(code):
    visible = [cell for cell in code if "hide-input" not in cell.metadata.tags]
    assert [cell.metadata.tags for cell in visible] == [["parameters"]]
    assert visible[0].source.startswith("# ")
    assert DEMO_LINE in visible[0].source
    assert all(cell.metadata.jupyter.source_hidden for cell in code if cell not in visible)
    assert all(len(lines(cell)) <= (14 if imports_only(cell) else 3) for cell in code if cell not in visible)


def test_it_defines_nothing_and_asks_only_the_suite(code):
    for cell in code:
        for node in ast.walk(ast.parse(cell.source)):
            assert not isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Lambda | ast.For | ast.While | ast.Import)
            if isinstance(node, ast.ImportFrom):
                assert node.module.split(".")[0] == "analysis"


def test_words_stand_before_every_answer(cells):
    for before, cell in itertools.pairwise(cells):
        if is_answer(cell):
            assert before.cell_type == "markdown"


def test_it_ends_with_words(cells):
    assert cells[-1].cell_type == "markdown"


def test_it_holds_no_path_of_a_machine(path):
    assert re.findall(r"(?:/home/|/Users/|/root/|/tmp/|[A-Z]:\\\\)\w*", path.read_text(encoding="utf-8")) == []


def test_it_is_clean(path):
    notebook = nbformat.read(path, as_version=4)
    assert cleaned(copy.deepcopy(notebook)) == notebook


def test_it_holds_the_invented_clinics_answers(path, code):
    outputs = [output for cell in code for output in cell.outputs]
    assert {output.output_type for output in outputs} <= {"display_data", "execute_result"}
    told = "".join(output.data.get("text/plain", "") for output in outputs)
    assert "INVENTED DEMO CLINIC" in told
    answers = [cell for cell in code if is_answer(cell)]
    assert answers or path.stem == "0_start_here"
    assert all(cell.outputs and "No figure yet" not in cell.outputs[0].data["text/plain"] for cell in answers)


def test_links_between_notebooks_lead_somewhere(cells):
    linked = {link for cell in cells for link in re.findall(r"\]\(([^)]+)\)", cell.source)}
    assert linked <= {path.name for path in FILES}

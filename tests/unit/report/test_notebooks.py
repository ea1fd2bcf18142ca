"""Copies of the notebooks ask the owner's log, start empty, and never overwrite the owner's changes."""

import nbformat
import pytest
from nbformat import v4

from analysis.report import notebooks
from analysis.report.notebooks import cleaned, copy_notebooks, refresh


@pytest.fixture
def suite(tmp_path, monkeypatch):
    folder = tmp_path / "suite"
    folder.mkdir()
    output = v4.new_output("stream", text="demo's answer")
    cells = [
        v4.new_code_cell('CLINIC = "../demo_clinic"'),
        v4.new_code_cell("CLINIC", outputs=[output], execution_count=3),
    ]
    nbformat.write(v4.new_notebook(cells=cells), folder / "1_question.ipynb")
    monkeypatch.setattr(notebooks, "notebooks_folder", lambda: folder)
    return folder


def test_a_copy_asks_the_folder_above_it_and_starts_empty(suite, tmp_path):
    into = copy_notebooks(tmp_path / "clinic")
    assert into == tmp_path / "clinic" / "notebooks"
    copied = nbformat.read(into / "1_question.ipynb", as_version=4)
    assert copied.cells[0].source == 'CLINIC = ".."'
    assert copied.cells[1].outputs == []
    assert copied.cells[1].execution_count is None
    assert "demo" in (suite / "1_question.ipynb").read_text(encoding="utf-8")


@pytest.mark.usefixtures("suite")
def test_what_the_owner_changed_stays(tmp_path):
    into = copy_notebooks(tmp_path / "clinic")
    (into / "1_question.ipynb").write_text("the owner's", encoding="utf-8")
    copy_notebooks(tmp_path / "clinic")
    assert (into / "1_question.ipynb").read_text(encoding="utf-8") == "the owner's"


def test_cleaning_keeps_tags_and_folds_and_drops_times():
    cell = v4.new_code_cell(
        "1",
        execution_count=9,
        metadata={"tags": ["hide-input"], "jupyter": {"source_hidden": True}, "execution": {"t": "now"}},
    )
    cell.outputs = [v4.new_output("execute_result", data={"text/plain": "1"}, execution_count=9)]
    made = v4.new_notebook(
        cells=[cell], metadata={"language_info": {"name": "python", "version": "3.11.7"}, "widgets": {}}
    )
    clean = cleaned(made)
    assert dict(clean.cells[0].metadata) == {"tags": ["hide-input"], "jupyter": {"source_hidden": True}}
    assert (clean.cells[0].execution_count, clean.cells[0].outputs[0].execution_count) == (1, 1)
    assert clean.metadata.language_info == {"name": "python"}
    assert set(clean.metadata) == {"kernelspec", "language_info"}


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_running_again_changes_nothing(suite, capsys):
    refresh(suite)
    first = (suite / "1_question.ipynb").read_bytes()
    refresh(suite)
    assert (suite / "1_question.ipynb").read_bytes() == first
    assert b"'../demo_clinic'" in first
    assert capsys.readouterr().out == "1_question.ipynb\n1_question.ipynb\n"

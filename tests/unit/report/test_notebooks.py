"""Copies of the notebooks ask the owner's log, start empty, and never overwrite the owner's changes."""

from pathlib import Path

import nbformat
import pytest
from nbformat import v4

from analysis.problems import DataProblem
from analysis.report import notebooks
from analysis.report.notebooks import cleaned, copy_notebooks, lab_command, refresh


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
    assert [line.split(" ... ")[0] for line in capsys.readouterr().out.splitlines()] == ["  1_question.ipynb"] * 2


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_notebook_that_fails_is_named_and_left_and_the_others_run(suite, capfd):
    failing = suite / "0_fails.ipynb"
    nbformat.write(v4.new_notebook(cells=[v4.new_code_cell("{}['no such column']")]), failing)
    before = failing.read_bytes()
    with pytest.raises(DataProblem, match=r"0_fails\.ipynb: A cell of this notebook failed"):
        refresh(suite, at_once=2)
    assert failing.read_bytes() == before
    assert b"'../demo_clinic'" in (suite / "1_question.ipynb").read_bytes()
    told = capfd.readouterr()
    assert "0_fails.ipynb: KeyError: 'no such column'" in told.err
    assert "without encryption" not in told.err


def test_the_server_stays_on_this_computer_keeps_its_token_and_looks_nothing_up():
    command = lab_command(Path("clinic"), Path("clinic/notebooks"))
    assert "--ServerApp.ip=127.0.0.1" in command
    assert "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate" in command
    assert "--LabApp.news_url=None" in command
    assert not any("token" in each or "password" in each or "allow_origin" in each for each in command)

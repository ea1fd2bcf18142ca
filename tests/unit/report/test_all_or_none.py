"""A report is replaced whole or stands as it was, whatever happens while it is written."""

from __future__ import annotations

import pytest

from analysis.problems import DataProblem
from analysis.report.all_or_none import all_or_none


@pytest.fixture
def folder(tmp_path):
    """A folder with a report of two files and a note of the owner's own."""
    for name in ("page.html", "results.json", "my own note.txt"):
        (tmp_path / name).write_text("old", encoding="utf-8")
    return tmp_path


def told(folder):
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


def write(new, text):
    for name in ("page.html", "results.json"):
        (new / name).write_text(text, encoding="utf-8")


def fail_while_writing(folder, failure):
    with all_or_none(folder) as new:
        write(new, "new")
        raise failure


def test_all_files_are_replaced_and_others_left_alone(folder):
    with all_or_none(folder) as new:
        write(new, "new")
    assert told(folder) == {"page.html": "new", "results.json": "new", "my own note.txt": "old"}


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), PermissionError(13, "Permission denied")])
def test_a_full_disk_leaves_the_last_report_and_is_told(folder, failure):
    with pytest.raises(DataProblem, match="the last report stands"):
        fail_while_writing(folder, failure)
    assert set(told(folder).values()) == {"old"}


def test_any_other_failure_leaves_the_last_report_and_is_not_hidden(folder):
    with pytest.raises(KeyError):
        fail_while_writing(folder, KeyError("a fault of ours"))
    assert set(told(folder).values()) == {"old"}


def test_what_a_killed_run_left_is_swept(folder):
    (folder / ".new-left").mkdir()
    (folder / ".new-left" / "page.html").write_text("half", encoding="utf-8")
    with all_or_none(folder) as new:
        write(new, "new")
    assert not list(folder.glob(".new-*"))


def test_a_file_where_the_folder_should_be_is_told(tmp_path):
    (tmp_path / "reports").write_text("not a folder", encoding="utf-8")
    with pytest.raises(DataProblem, match="cannot be written"), all_or_none(tmp_path / "reports"):
        pass

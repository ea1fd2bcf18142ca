"""The pages that describe the tree say what is there, no more and no less."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
PACKAGES = sorted(
    path.relative_to(ROOT).as_posix()
    for path in [ROOT / "analysis", *(ROOT / "analysis").iterdir()]
    if path.is_dir() and (path / "__init__.py").exists()
)


def mapped(folder: str) -> set[str]:
    """Read the modules DEVELOPERS.md names for a folder: | `folder/` | a · b | what |."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    line = re.search(rf"^\| `{re.escape(folder)}/` \| ([^|]*) \|", text, flags=re.MULTILINE)
    return set(re.findall(r"\w+", line.group(1))) if line else set()


@pytest.mark.parametrize("folder", PACKAGES)
def test_the_builders_map_names_every_module(folder):
    there = {path.stem for path in (ROOT / folder).glob("*.py")} - {"__init__"}
    assert mapped(folder) == there


def test_the_map_names_no_folder_that_is_gone():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"^\| `(analysis[\w/]*)/` \|", text, flags=re.MULTILINE)
    assert sorted(named) == PACKAGES


def test_the_owners_page_lists_every_notebook():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"notebooks/(\w+\.ipynb)", text))
    assert listed == {path.name for path in (ROOT / "notebooks").glob("*.ipynb")}


def test_the_owners_page_gives_the_test_command_that_make_runs():
    command = re.search(r"-m (pytest .*)$", (ROOT / "Makefile").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert command.group(1) in (ROOT / "README.md").read_text(encoding="utf-8")


def test_pictures_the_owners_page_shows_are_there():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", text)
    assert shown
    assert [name for name in shown if not (ROOT / name).exists()] == []


def test_no_file_is_over_four_hundred_lines():
    long = {p.name: n for p in (ROOT / "analysis").rglob("*.py") if (n := len(p.read_text("utf-8").splitlines())) > 400}
    assert long == {}

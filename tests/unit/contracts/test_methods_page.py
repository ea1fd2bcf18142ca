"""The page of methods names tests that exist, and stays short enough to be read."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "shared" / "methods.md").read_text(encoding="utf-8")


def test_every_test_it_names_exists():
    there = {path.name for path in (ROOT / "tests").rglob("test_*.py")}
    named = set(re.findall(r"\btest_\w+\.py", PAGE))
    assert named
    assert sorted(named - there) == []


def test_every_outside_check_is_named():
    outside = {path.name for path in (ROOT / "tests" / "outside").glob("test_*.py")}
    assert sorted(outside - set(re.findall(r"\btest_\w+\.py", PAGE))) == []


def test_it_is_short_enough_to_be_read():
    """One part a question, about twenty lines each, and a table where one says it sooner."""
    assert len(PAGE.splitlines()) < 340

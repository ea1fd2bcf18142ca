"""The wheel built from a checkout works where there is no checkout: words, evidence, templates and notebooks are in it."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

ROOT = Path(__file__).parents[3]
THE_WAY = """
from pathlib import Path
import analysis
from analysis.cli import main
assert "site" in Path(analysis.__file__).parts, analysis.__file__
for words in ("start", "preview", "intake", "report --no-pdf", "notebooks --no-open"):
    command, *options = words.split()
    assert main([command, "clinic", *options]) == 0, words
"""


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """Unpack the wheel as installing it does."""
    folder = tmp_path_factory.mktemp("wheel")
    (wheel,) = WheelBuilder(str(ROOT)).build(directory=str(folder), versions=["standard"])
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "site")
    return folder / "site"


def test_every_notebook_word_and_template_is_in_the_wheel(unpacked):
    folders = {
        "notebooks": "notebooks",
        "shared/vocabulary": "shared/vocabulary",
        "shared/evidence": "shared/evidence",
        "analysis/report/templates": "report/templates",
    }
    for of_checkout, of_wheel in folders.items():
        expected = {path.relative_to(ROOT / of_checkout) for path in (ROOT / of_checkout).rglob("*.*")}
        expected = {path for path in expected if not any(part.startswith(".") for part in path.parts)}
        packed = {path.relative_to(unpacked / "analysis" / of_wheel) for path in (unpacked / "analysis" / of_wheel).rglob("*.*")}  # fmt: skip
        assert expected
        assert expected <= packed


def test_a_log_goes_the_way_from_start_to_notebooks_without_the_checkout(unpacked, tmp_path):
    (tmp_path / "clinic" / "exports").mkdir(parents=True)
    (tmp_path / "clinic" / "exports" / "log.csv").write_text("Date,L wax\n2026-03-02,full\n2026-03-03,clear\n")
    where = {**os.environ, "PYTHONPATH": str(unpacked)}
    told = subprocess.run([sys.executable, "-c", THE_WAY], cwd=tmp_path, env=where, capture_output=True, text=True)
    assert told.returncode == 0, told.stderr
    assert (tmp_path / "clinic" / "reports" / "2026-Q1" / "quarterly_report.html").exists()
    assert sorted(path.name for path in (tmp_path / "clinic" / "notebooks").iterdir()) == sorted(
        path.name for path in (ROOT / "notebooks").glob("*.ipynb")
    )

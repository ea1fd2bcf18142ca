"""Real Spark, on this machine's cores, gives the tables and the record that pandas gives."""

import shutil
import sys
from pathlib import Path

import pytest

from analysis.intake.taking import take_in
from analysis.intake.typed_tables import write_table
from analysis.problems import DataProblem
from analysis.setting_parts import ExportPart
from analysis.settings import Settings
from tests.generated_exports import write_generated

CORPUS = Path(__file__).parent / "corpus"
DEMO = Path(__file__).parents[3] / "data_demo" / "exports"
KEY = b"k" * 32

pytestmark = [
    pytest.mark.skipif(shutil.which("java") is None, reason="Spark runs on Java, which is missing here"),
    pytest.mark.filterwarnings("ignore::FutureWarning:pyspark"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


@pytest.fixture(scope="module")
def session():
    """One Spark session for all tests of this file."""
    pytest.importorskip("pyspark", reason="Spark is an extra: pip install earclinic[spark]")
    from analysis.intake.spark import new_session

    with pytest.MonkeyPatch.context() as patched:
        patched.delenv("PYSPARK_PYTHON", raising=False)
        made = new_session()
        yield made
        made.stop()


def bytes_of(paths, engine, folder):
    """Take exports in on one engine; give every table as the bytes it is written as, and the record."""
    taken = take_in(paths, Settings(export=ExportPart(engine=engine)), KEY)
    written = {}
    for name, table in taken.tables.items():
        write_table(folder / name, table)
        written[name] = (folder / name).read_bytes()
    return written, taken.record


def test_workers_run_the_python_that_asks_not_another_called_python3(session):
    assert session.sparkContext.pythonExec == sys.executable


@pytest.mark.usefixtures("session")
def test_every_export_of_the_demo_is_the_same_to_the_byte(tmp_path):
    paths = sorted(path for path in DEMO.iterdir() if path.suffix in (".csv", ".xlsx"))
    assert bytes_of(paths, "spark", tmp_path) == bytes_of(paths, "pandas", tmp_path)


@pytest.mark.usefixtures("session")
def test_awkward_files_together_are_the_same_to_the_byte(tmp_path):
    paths = [CORPUS / name for name in ("the_same_again.csv", "nobody_named.csv", "both_ears_in_one_cell.csv")]
    assert bytes_of(paths, "spark", tmp_path) == bytes_of(paths, "pandas", tmp_path)


@pytest.mark.usefixtures("session")
def test_a_generated_clinic_of_every_shape_with_spoilt_logs_is_the_same_to_the_byte(tmp_path):
    paths = write_generated(tmp_path, 4, visits=40, spoilt=3)
    tables, record = bytes_of(paths, "spark", tmp_path)
    assert (tables, record) == bytes_of(paths, "pandas", tmp_path)
    assert record["rows_set_aside"] > 0
    assert {each["shape"] for each in record["files"]} >= {
        "one row a visit",
        "one row an ear",
        "one row an instrument pass",
    }


def test_spark_that_is_not_installed_is_told_plainly(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyspark.sql", None)
    with pytest.raises(DataProblem, match=r"Spark is asked for and not installed.*engine = \"polars\""):
        take_in([CORPUS / "nobody_named.csv"], Settings(export=ExportPart(engine="spark")), KEY)

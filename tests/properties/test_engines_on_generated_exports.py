"""Exports that were generated give the same tables, to the byte, and the same record on pandas and Polars (Spark: test_spark_engine)."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from analysis.intake import engines, take_in
from analysis.intake.typed_tables import write_table
from analysis.setting_parts import ExportPart
from analysis.settings import Settings
from tests.generated_exports import write_generated
from tests.properties.test_intake_properties import LOGS, written
from tests.properties.test_intake_shapes import MESS, SHAPES, VISITS, files_of

KEY = b"k" * 32
SOME = settings(
    max_examples=12, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.explicit, Phase.generate]
)


def outcome(paths, engine):
    """Take exports in on one engine; give the bytes of every table, and the record."""
    taken = take_in(paths, Settings(export=ExportPart(engine=engine)), KEY)
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, table in taken.tables.items():
            write_table(Path(folder) / name, table)
            found[name] = (Path(folder) / name).read_bytes()
    return found, taken.record


@pytest.fixture
def in_turn(monkeypatch):
    """Let Polars work on a few rows at once, so that small exports already come in turn."""
    monkeypatch.setattr(engines, "ROWS_IN_TURN", 7)
    monkeypatch.setattr(engines, "ROWS_AT_ONCE", 7)


def agree(files):
    """Hold pandas and Polars to each other on the bytes of some files."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in files]
        for path in paths:
            path.write_bytes(files[path.name])
        assert outcome(paths, "polars") == outcome(paths, "pandas")


@SOME
@given(VISITS, SHAPES, MESS)
def test_engines_agree_on_every_shape_dialect_and_mess(visits, shape, mess):
    agree(files_of(visits, shape, mess))


@SOME
@given(LOGS)
def test_engines_agree_on_rows_that_cannot_be_read(rows):
    agree({"log.csv": written(rows)})


@pytest.mark.usefixtures("in_turn")
@pytest.mark.parametrize("number", [1, 2, 3])
def test_polars_in_turn_agrees_on_a_clinic_of_every_shape_with_spoilt_logs(number, tmp_path):
    paths = write_generated(tmp_path, number)
    assert outcome(paths, "polars") == outcome(paths, "pandas")

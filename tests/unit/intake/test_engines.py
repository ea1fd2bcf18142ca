"""The chain is written once: pandas, Polars in turn, and Spark give the same tables to the byte."""

from pathlib import Path

import pytest

from analysis.intake import engines
from analysis.intake.engines import PandasEngine, PolarsEngine, engine_for
from analysis.intake.taking import take_in
from analysis.intake.typed_tables import write_table
from analysis.problems import DataProblem
from analysis.setting_parts import ExportPart
from analysis.settings import Settings

CORPUS = Path(__file__).parent / "corpus"
DEMO = Path(__file__).parents[3] / "data_demo" / "exports"
KEY = b"k" * 32
READABLE = [path for path in sorted(CORPUS.iterdir()) if path.suffix.lower() in (".csv", ".txt", ".xlsx", ".parquet")]


def bytes_of(paths, engine, tmp_path):
    """Take exports in on one engine; give every table as the bytes it is written as, and the record."""
    taken = take_in(paths, Settings(export=ExportPart(engine=engine)), KEY)
    written = {}
    for name, table in taken.tables.items():
        write_table(tmp_path / name, table)
        written[name] = (tmp_path / name).read_bytes()
    return written, taken.record


@pytest.fixture
def in_turn(monkeypatch):
    """Let Polars work on a few rows at once, so that the corpus already comes in turn."""
    monkeypatch.setattr(engines, "ROWS_IN_TURN", 3)
    monkeypatch.setattr(engines, "ROWS_AT_ONCE", 3)


@pytest.mark.parametrize("path", READABLE, ids=lambda path: path.name)
@pytest.mark.usefixtures("in_turn")
def test_polars_in_turn_gives_what_pandas_gives_at_once(path, tmp_path):
    def outcome(engine):
        try:
            return bytes_of([path], engine, tmp_path)
        except DataProblem as problem:
            return str(problem)

    assert outcome("polars") == outcome("pandas")


def test_the_demo_is_the_same_to_the_byte_on_both(tmp_path, monkeypatch):
    monkeypatch.setattr(engines, "ROWS_IN_TURN", 4000)
    monkeypatch.setattr(engines, "ROWS_AT_ONCE", 4000)
    paths = sorted(path for path in DEMO.iterdir() if path.suffix in (".csv", ".xlsx"))
    assert bytes_of(paths, "polars", tmp_path) == bytes_of(paths, "pandas", tmp_path)


def test_the_engine_is_chosen_by_size_or_by_the_settings():
    def chosen(engine, rows):
        with engine_for(Settings(export=ExportPart(engine=engine)), rows) as made:
            return type(made)

    assert chosen("", 10) is PandasEngine
    assert chosen("", engines.POLARS_FROM_ROWS) is PolarsEngine
    assert chosen("polars", 10) is PolarsEngine
    assert chosen("pandas", 10**7) is PandasEngine

"""What the cleaning chain runs on: pandas, Polars or Spark; the chain itself is one.

An engine turns numbered rows into a frame of its own, keeps what has been worked
out once, and brings results back as Arrow tables.
"""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import narwhals as nw
import polars as pl

from analysis.settings import Settings

POLARS_FROM_ROWS = 200_000
"""Rows from which Polars is chosen where the settings leave it open."""
A_FEW = 1000
"""Values of a column that are looked at before all are."""
ROWS_AT_ONCE, ROWS_IN_TURN = 1_000_000, 1_000_000
"""Rows Polars works on together; more are worked on in turn, so many each time, and kept on disk between steps."""


class Engine(Protocol):
    """What the chain needs of an engine."""

    name: str
    rows_at_once: int

    def frame(self, rows: pl.DataFrame) -> Any:
        """Give rows as a narwhals frame of this engine."""

    def kept(self, frame: Any) -> Any:
        """Work a frame out once, for several uses at hand."""

    def put_by(self, frame: Any, name: str) -> Any:
        """Keep a frame until all of the log has been seen."""

    def table(self, frame: Any) -> pl.DataFrame:
        """Bring a frame into memory."""

    def typed(self, table: pl.DataFrame, name: str) -> pl.LazyFrame:
        """Keep a part of a finished table."""


class PandasEngine:
    """One machine, everything at once: the engine of a clinic's own export."""

    name = "pandas"
    rows_at_once = 10**12

    def frame(self, rows: pl.DataFrame) -> Any:
        """Give rows as a pandas frame."""
        return nw.from_native(rows.to_pandas())

    def kept(self, frame: Any) -> Any:
        """Give the frame back: pandas has worked it out already."""
        return frame

    def put_by(self, frame: Any, name: str) -> Any:  # noqa: ARG002  # memory holds it
        """Give the frame back."""
        return frame

    def table(self, frame: Any) -> pl.DataFrame:
        """Bring a frame over."""
        return pl.from_pandas(frame.to_native())

    def typed(self, table: pl.DataFrame, name: str) -> pl.LazyFrame:  # noqa: ARG002  # memory holds it
        """Keep a part of a finished table."""
        return table.lazy()


class PolarsEngine:
    """One machine, rows in turn: large exports."""

    name = "polars"
    rows_at_once = ROWS_AT_ONCE

    def __init__(self, *, in_turn: bool = False) -> None:
        if in_turn:
            self.rows_at_once = ROWS_IN_TURN
        self.spill = Path(tempfile.mkdtemp(prefix="earclinic-")) if in_turn else None
        if self.spill is not None:  # as long as anybody reads what was kept there
            weakref.finalize(self, shutil.rmtree, self.spill, ignore_errors=True)

    def frame(self, rows: pl.DataFrame) -> Any:
        """Give rows as a lazy Polars frame."""
        return nw.from_native(rows.lazy())

    def kept(self, frame: Any) -> Any:
        """Work a frame out, in memory."""
        return nw.from_native(_constants_apart(frame.to_native().collect(), pl.DataFrame.lazy))

    def put_by(self, frame: Any, name: str) -> Any:
        """Work a frame out, in memory or, where rows come in turn, on disk."""
        if self.spill is None:
            return self.kept(frame)
        return nw.from_native(_constants_apart(frame.to_native().collect(), lambda rest: self.typed(rest, name)))

    def typed(self, table: pl.DataFrame, name: str) -> pl.LazyFrame:
        """Keep a part of a finished table."""
        if self.spill is None:
            return table.lazy()
        path = self.spill / f"{name}.parquet"
        table.write_parquet(path, compression="lz4", statistics=False)
        return pl.scan_parquet(path)

    def table(self, frame: Any) -> pl.DataFrame:
        """Bring a frame into memory."""
        return frame.to_native().collect()


def _constants_apart(frame: pl.DataFrame, keep: Callable[[pl.DataFrame], pl.LazyFrame]) -> pl.LazyFrame:
    """Hold columns that say one thing throughout as that one thing: exports leave most columns empty that others fill."""
    same = [name for name in frame.columns if _is_constant(frame[name])]
    if len(same) == len(frame.columns):  # a frame without columns forgets how many rows it has
        return keep(frame)
    literals = (pl.lit(frame[name][0], frame.schema[name]).alias(name) for name in same)
    return keep(frame.drop(same)).with_columns(literals).select(frame.columns)


def _is_constant(values: pl.Series) -> bool:
    """Tell whether a column is empty throughout, or holds one text or yes or no throughout."""
    if not len(values) or values.null_count():
        return 0 < len(values) == values.null_count()
    if values.dtype not in (pl.String, pl.Boolean) or values[0] != values[-1]:
        return False
    return bool((values[:A_FEW] == values[0]).all()) and bool((values == values[0]).all())


@contextmanager
def engine_for(settings: Settings, rows: int) -> Iterator[Engine]:
    """Give the engine the settings name, or the one that suits so many rows.

    Parameters
    ----------
    settings : Settings
        ``export.engine``: pandas, polars, spark, or empty to choose by size.
    rows : int
        Rows of all exports together.

    Yields
    ------
    Engine
        What Polars kept on disk goes with the engine.

    Raises
    ------
    DataProblem
        If Spark is asked for and is not installed.
    """
    name = settings.export.engine or ("polars" if rows >= POLARS_FROM_ROWS else "pandas")
    if name == "pandas":
        yield PandasEngine()
    elif name == "polars":
        yield PolarsEngine(in_turn=rows > ROWS_AT_ONCE)
    else:
        from analysis.intake.spark import spark_engine

        with spark_engine() as engine:
            yield engine

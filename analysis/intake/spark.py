"""The cleaning chain on Spark, for a group of clinics whose log one machine cannot hold."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import narwhals as nw
import polars as pl

from analysis.problems import DataProblem

SPARK_TYPES = {nw.String: "string", nw.Float64: "double", nw.Int32: "int"}


class SparkEngine:
    """Rows spread over a cluster, or over the cores of one machine.

    Parameters
    ----------
    session : pyspark.sql.SparkSession
        An existing session is used; otherwise one for this machine's cores is made.
    """

    name = "spark"
    rows_at_once = 10**12

    def __init__(self, session: Any) -> None:
        self.session = session

    def frame(self, rows: pl.DataFrame) -> Any:
        """Give rows as a Spark frame."""
        return nw.from_native(self.session.createDataFrame(rows.to_arrow()))

    def kept(self, frame: Any) -> Any:
        """Work a frame out once; its plan is cut there, or it would grow with every step."""
        return nw.from_native(frame.to_native().localCheckpoint(eager=True))

    def put_by(self, frame: Any, name: str) -> Any:  # noqa: ARG002  # Spark names what it keeps itself
        """Work a frame out once."""
        return self.kept(frame)

    def table(self, frame: Any) -> pl.DataFrame:
        """Bring a frame into memory."""
        return pl.DataFrame(pl.from_arrow(frame.to_native().toArrow()))

    def typed(self, table: pl.DataFrame, name: str) -> pl.LazyFrame:  # noqa: ARG002  # memory holds it
        """Keep a part of a finished table."""
        return table.lazy()


def small_table(frame: Any, columns: Mapping[str, Sequence[Any]], schema: Mapping[str, Any]) -> Any:
    """Make a small table in the session of a frame, sent whole to where the rows are."""
    from pyspark.sql.functions import broadcast

    native = frame.to_native()
    types = ", ".join(f"`{name}` {SPARK_TYPES[dtype]}" for name, dtype in schema.items())
    rows = list(zip(*columns.values(), strict=True))
    return nw.from_native(broadcast(native.sparkSession.createDataFrame(rows, types)))


def new_session() -> Any:
    """Make a Spark session on this machine's cores that answers to nobody outside it."""
    from pyspark.sql import SparkSession

    settings = {
        "spark.driver.memory": "4g",
        "spark.driver.host": "127.0.0.1",
        "spark.driver.bindAddress": "127.0.0.1",
        "spark.ui.enabled": "false",
        "spark.ui.showConsoleProgress": "false",
        "spark.sql.shuffle.partitions": "4",
        "spark.sql.session.timeZone": "UTC",
    }
    # Spark's workers would otherwise run whatever Python is called python3 here, of another version perhaps.
    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    builder = SparkSession.builder.master("local[*]").appName("earclinic")
    for name, value in settings.items():
        builder = builder.config(name, value)
    session = builder.getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    return session


@contextmanager
def spark_engine() -> Iterator[SparkEngine]:
    """Give the engine on the running Spark session, or on one made for this machine.

    Raises
    ------
    DataProblem
        If Spark, or the Java it runs on, is missing.
    """
    try:
        from pyspark.errors import PySparkRuntimeError
        from pyspark.sql import SparkSession
    except ImportError:
        raise DataProblem(
            "Spark is asked for and not installed.",
            'Install it with: pip install "earclinic[spark]", or set engine = "polars".',
            file="clinic.toml",
            setting="export.engine",
        ) from None
    running = SparkSession.getActiveSession()
    try:
        session = running or new_session()
    except (PySparkRuntimeError, OSError):
        raise DataProblem(
            "Spark is installed, but the Java it runs on is missing.",
            'Install Java 17 or later, or set engine = "polars".',
            file="clinic.toml",
            setting="export.engine",
        ) from None
    try:
        yield SparkEngine(session)
    finally:
        if running is None:
            session.stop()

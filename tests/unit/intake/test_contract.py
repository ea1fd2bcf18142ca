"""The tables' contract: every broken rule told at once, the same on pandas and Polars frames and on files."""

import subprocess
import sys
import time

import pandas as pd
import polars as pl
import pytest

from analysis.intake.contract import check_tables
from analysis.intake.contract_words import Fault, as_problem
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, typed_frame
from analysis.settings import Settings, settings_from_toml

DAY = pd.Timestamp("2026-03-02 09:00")


def visit(**changed):
    """One visit as intake would write it, but for what is changed."""
    usual = {
        "visit_id": "v1", "patient_key": "0123456789abcdef", "slot_start": DAY, "started_at": DAY, "minutes": 20.0,
        "ended_at": DAY + pd.Timedelta(minutes=20), "minutes_quality": "timed", "attendance": "attended",
        "source_file": "log.csv", "source_row": 2,
    }  # fmt: skip
    return usual | changed


def tables(visits=None, ears=None):
    visits = [visit()] if visits is None else visits
    ears = [{"visit_id": "v1", "ear": "left", "methods": "irrigation>hook_or_loop"}] if ears is None else ears
    return {
        "visits": typed_frame(VISITS, pd.DataFrame(visits)),
        "ears": typed_frame(EAR_ROWS, pd.DataFrame(ears)),
        "set_aside": typed_frame(SET_ASIDE, pd.DataFrame()),
    }


def told(given, engine, folder, settings=None):
    """Give what is told of the tables on one engine."""
    settings = settings or Settings()
    if engine == "files":
        for name, frame in given.items():
            frame.to_parquet(folder / f"{name}.parquet", index=False)
        check_tables({name: pl.scan_parquet(folder / f"{name}.parquet") for name in given}, settings)
    elif engine == "polars":
        check_tables({name: pl.from_pandas(frame) for name, frame in given.items()}, settings)
    else:
        check_tables(given, settings)


@pytest.fixture(params=["pandas", "polars", "files"])
def engine(request):
    return request.param


def test_tables_as_they_should_be_pass(engine, tmp_path):
    told(tables(), engine, tmp_path)
    told(tables(visits=[], ears=[]), engine, tmp_path)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (tables([visit(), visit()]), 'column "visit" (visit_id) occurs more than once, 1 row'),
        (tables(ears=[{"visit_id": "v2", "ear": "left"}]), 'column "visit" (visit_id) belongs to no visit, 1 row'),
        (tables(ears=[{"visit_id": "v1", "ear": "left"}] * 2), 'table ears: column "ear" (ear) occurs more than once'),
        (tables([visit(fee=-1.0)]), 'column "fee" (fee) holds a number below its range, 1 row'),
        (tables([visit(patient_key="4711")]), "(patient_key) holds a text of another form than it must have, 1 row"),
        (tables([visit(source_file=None)]), 'column "export file" (source_file) is empty and must not be, 1 row'),
        (tables([visit(source_row=0)]), "(source_row) holds a number below its range"),
        (tables(ears=[{"visit_id": "v1", "ear": "left", "percent_blocked": 120.0}]), "a number outside its range"),
        (tables(ears=[{"visit_id": "v1", "ear": "left", "methods": "spoon"}]), "a text of another form"),
        (tables([visit(minutes=None)]), "without a word on how they are known, or the other way round, 1 row"),
        (tables([visit(minutes_quality=None)]), "without a word on how they are known, or the other way round, 1 row"),
        (tables([visit(attendance="missed")]), "a booking that was not kept has minutes, 1 row"),
        (tables([visit(ended_at=DAY - pd.Timedelta(hours=2))]), "the end is before the start, yet the minutes count"),
        (tables([visit(booked_on=DAY + pd.Timedelta(days=3))]), "the booking was made after the visit"),
    ],
)
def test_each_rule_is_told_on_every_engine(given, words, engine, tmp_path):
    with pytest.raises(DataProblem, match="The tables break their own rules") as problem:
        told(given, engine, tmp_path)
    assert words in str(problem.value)
    assert "a fault of the program, not of your log" in str(problem.value)
    assert "4711" not in str(problem.value)
    assert problem.value.what.count(";") == 0  # nothing else is wrong


def test_an_end_before_its_start_passes_where_its_minutes_do_not_count_or_clocks_went_back(engine, tmp_path):
    back = {"ended_at": DAY - pd.Timedelta(hours=2), "minutes": None, "minutes_quality": "implausible"}
    told(tables([visit(**back)]), engine, tmp_path)
    told(tables([visit(ended_at=DAY - pd.Timedelta(minutes=40))]), engine, tmp_path)


def test_all_that_is_wrong_comes_at_once(engine, tmp_path):
    given = tables(
        [visit(fee=-1.0, source_row=0), visit(fee=-2.0)],
        [{"visit_id": "v1", "ear": "left", "minutes": -1.0}, {"visit_id": "v3", "ear": "left"}],
    )
    with pytest.raises(DataProblem) as problem:
        told(given, engine, tmp_path)
    for words in (
        "(fee) holds a number below its range, 2 rows",
        "(source_row)",
        "(minutes)",
        "more than once",
        "no visit",
    ):
        assert words in str(problem.value)


def test_a_strange_code_is_the_programs_fault_or_that_of_an_own_word(engine, tmp_path):
    given = tables()
    given["ears"]["grade"] = pd.Series(["bunged"], dtype=pd.CategoricalDtype(["bunged"], ordered=True))
    with pytest.raises(DataProblem, match=r"none of its codes \(bunged\).*a fault of the program"):
        told(given, engine, tmp_path)
    ears = [Fault("ears", "grade", "isin(['clear'])", 3, ("bunged",))]
    own = settings_from_toml('[words.grade]\n"full up" = "bunged"\n')
    problem = as_problem(ears, own)
    assert problem.setting == "words.grade"
    assert "Words of your own give codes that do not exist" in str(problem)
    assert '"full up"' in str(problem)


def test_columns_lacking_or_too_many_are_told(engine, tmp_path):
    given = tables()
    given["ears"] = given["ears"].drop(columns="outcome").assign(name="x")
    with pytest.raises(DataProblem) as problem:
        told(given, engine, tmp_path)
    assert "table ears: lacks a column" in str(problem.value)
    assert "table ears: is a column too many" in str(problem.value)


def test_parts_are_as_good_as_the_whole():
    def lazy(**given):
        return {name: pl.from_pandas(frame).lazy() for name, frame in tables(**given).items()}

    one, other = lazy(), lazy(visits=[visit(visit_id="v2", fee=-1.0)], ears=[{"visit_id": "v2", "ear": "left"}])
    parts = {name: [one[name], other[name]] for name in one}
    with pytest.raises(DataProblem, match=r"\(fee\) holds a number below its range, 1 row") as problem:
        check_tables(parts, Settings())
    assert "ears" not in str(problem.value)
    parts["visits"][1] = one["visits"]
    with pytest.raises(DataProblem) as problem:
        check_tables(parts, Settings())
    assert "(visit_id) occurs more than once, 1 row" in str(problem.value)
    assert 'table ears: column "visit" (visit_id) belongs to no visit, 1 row' in str(problem.value)


def test_help_loads_neither_pandera_nor_pandas_and_is_there_at_once():
    seen = "import sys; from analysis.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"
    loaded = "print([each for each in ('pandas', 'pandera', 'polars', 'pyspark') if each in sys.modules])"
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        run = subprocess.run([sys.executable, "-c", seen + loaded], capture_output=True, text=True, check=True)
        seconds.append(time.perf_counter() - start)
        assert run.stdout.endswith("[]\n")
    assert min(seconds) < 0.5

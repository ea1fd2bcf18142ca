"""Every figure of the page as a row of ``results.json``, to full precision."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis import __version__
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.present.answer import Answer, ResultRow
from analysis.report.settings_used import settings_mark

SAID = re.compile(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)?%?(?!\w)")
"""A number in a sentence."""
DRAWN = 6e-6
"""Charts keep six digits."""
NO_FIGURE = re.compile(r"\b(?:19|20)\d\d\b|\b\d+ in (?:10|20|100|1,000)\b|practitioner \d+")
"""Years, turns of phrase such as 19 in 20, and what practitioners are called."""


def about(clinic: Clinic, quarter: Quarter) -> dict[str, Any]:
    """Say what the rows rest on.

    Parameters
    ----------
    clinic : Clinic
    quarter : Quarter
        The quarter reported.

    Returns
    -------
    dict
        version, settings (their mark), clinic, invented, quarter, first_month,
        last_month (of the log), rows_in, rows_kept, rows_set_aside (as intake
        counted them; null where the clinic was not made by intake, or fewer
        than may be shown were set aside).
    """
    return {
        "version": __version__,
        "settings": settings_mark(clinic.settings),
        "clinic": clinic.settings.clinic.name,
        "invented": clinic.invented,
        "quarter": str(quarter),
        "first_month": f"{clinic.first_day:%Y-%m}",
        "last_month": f"{clinic.last_day:%Y-%m}",
        **clinic.rows_shown,
    }


def with_every_figure(answer: Answer) -> Answer:
    """Add to an answer's result rows what the page shows of it beside them.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    Answer
        With rows for how many it rests on, how many were left out and why,
        every number of its table and every point of its lines that no row of
        it holds, and every number of its checks, its assumptions and how sure it is that none does, as it is
        printed there. Headlines and titles say what rows hold, and nothing else.

    Examples
    --------
    >>> table = pd.DataFrame({"reason": ["no date", "test row"], "rows": [12, 30]})
    >>> for row in with_every_figure(Answer("Why?", "For two reasons.", table=table)).rows:
    ...     print(row.section, row.quantity, row.group, row.value)
    page table_figure {'question': 'Why?', 'column': 'rows', 'row': 'no date'} 12.0
    page table_figure {'question': 'Why?', 'column': 'rows', 'row': 'test row'} 30.0
    """
    if not answer.answered:
        return answer
    told = replace(answer, rows=(*answer.rows, *_basis_rows(answer), *_table_rows(answer), *_drawn_rows(answer)))
    return replace(told, rows=(*told.rows, *_said_rows(told)))


def _basis_rows(answer: Answer) -> list[ResultRow]:
    """Keep how many an answer rests on and how many were left out; a number too small to show is none."""
    if answer.basis is None:
        return []
    of, basis = {"question": answer.question}, answer.basis
    used = ResultRow("page", "rests_on", of, float(basis.used), None, None, None, "count", None, basis.of_what)
    return [used] + [
        ResultRow("page", "left_out", of | {"why": why}, None if why in basis.said_instead else float(many),
                  None, None, None, "count", None, "count")
        for why, many in basis.left_out.items()
        if many
    ]  # fmt: skip


def _table_rows(answer: Answer) -> list[ResultRow]:
    """Keep the numbers of a table that no other row of its answer holds."""
    table = answer.table
    if table is None:
        return []
    held = _numbers(answer.rows)
    called = [", ".join(str(each) for each in row) for row in table.select_dtypes(exclude="number").to_numpy()]
    return [
        ResultRow("page", "table_figure", {"question": answer.question, "column": str(name), "row": row},
                  float(value), None, None, None, "", None, "as the table has it")
        for name in table.select_dtypes(include="number")
        for row, value in zip(called, table[name], strict=True)
        if pd.notna(value) and math.isfinite(value) and not _is_held(float(value), held)
    ]  # fmt: skip


def _drawn_rows(answer: Answer) -> list[ResultRow]:
    """Keep the points of a chart's lines that no row of its answer holds; of a range both its lines."""
    if answer.chart is None:
        return []
    held = _numbers(answer.rows)
    lines = [trace for trace in answer.chart.data if trace.name and trace.x is not None and len(trace.x) > 1]
    return [
        ResultRow("page", "drawn", {"question": answer.question, "line": line.name, "at": _across(at)},
                  float(value), None, None, None, "", None, "as the chart draws it")
        for line in lines
        for at, value in zip(line.x, line.y, strict=True)
        if isinstance(value, int | float | np.number) and math.isfinite(value) and not _is_held(float(value), held, DRAWN)
    ]  # fmt: skip


def _across(at: Any) -> float | str:
    """Name a point's place across: a number, or a day as it is written."""
    if isinstance(at, str):
        return at
    return float(at) if isinstance(at, int | float | np.number) else pd.Timestamp(at).date().isoformat()


def _said_rows(answer: Answer) -> list[ResultRow]:
    """Keep the numbers said beside an answer that no other row holds, as they are printed."""
    shares = np.abs(_numbers([row for row in answer.rows if row.unit == "share"]))
    others = np.abs(_numbers([row for row in answer.rows if row.unit != "share"]))
    texts = [
        ("how sure", answer.how_sure),
        ("method", "" if answer.basis is None else answer.basis.method),
        *((check.name, f"{check.name}. {check.sentence}") for check in answer.checks),
        *(("it holds if", each) for each in answer.assumptions),
    ]
    said = [(place, found) for place, text in texts for found in SAID.findall(NO_FIGURE.sub(" ", text))]
    return [
        ResultRow("page", "said", {"question": answer.question, "place": place}, _read(printed),
                  None, None, None, "", None, "as printed")
        for place, printed in dict.fromkeys(said)
        if not _is_printed(printed, 100 * shares if printed.endswith("%") else others)
    ]  # fmt: skip


def _read(printed: str) -> float:
    """Read a printed number; so many per cent are a share."""
    number = float(printed.rstrip("%").replace(",", ""))
    return number / 100 if printed.endswith("%") else number


def _is_printed(printed: str, held: np.ndarray) -> bool:
    """Whether a number, rounded as it is printed, is among others."""
    plain = printed.rstrip("%").replace(",", "")
    half = 0.5 * 10.0 ** -len(plain.partition(".")[2])
    return bool((np.abs(held - float(plain)) < half).any())


def _numbers(rows: Iterable[ResultRow]) -> np.ndarray:
    """Give every number of result rows."""
    return np.array(
        [end for row in rows for end in (row.value, row.low, row.high, row.n) if end is not None], dtype=float
    )


def _is_held(value: float, held: np.ndarray, near: float = 1e-9) -> bool:
    """Whether a number is among others: as it is, or as so many in 100 or 1,000 of them."""
    return any(bool(np.isclose(times * held, value, rtol=near, atol=1e-12).any()) for times in (1, 100, 1000))


def results_json(about_rows: dict[str, Any], answers: Iterable[Answer]) -> str:
    """Write the results of all answers as the text of ``results.json``.

    Parameters
    ----------
    about_rows : dict
        What ``about`` gives.
    answers : iterable of Answer

    Returns
    -------
    str
        ``{"about": ..., "rows": [...]}``, one row a line, in the answers'
        order. A figure that is not a finite number is null. The same log and
        settings give the same text.

    Examples
    --------
    >>> from analysis.present.answer import ResultRow
    >>> row = ResultRow("recall", "median_months", {"hearing_aid": True}, 9.5, 8.0, float("inf"), 0.95, "months", 80, "")
    >>> read = json.loads(results_json({"version": "0"}, [Answer("When?", "About 9 months.", rows=(row,))]))
    >>> read["rows"][0]["value"], read["rows"][0]["high"], read["rows"][0]["group"]
    (9.5, None, {'hearing_aid': True})
    """
    rows = [_plain(asdict(row)) for answer in answers for row in answer.rows]
    lines = ",\n".join(f"    {json.dumps(row, ensure_ascii=False, allow_nan=False)}" for row in rows)
    head = json.dumps(_plain(about_rows), ensure_ascii=False, allow_nan=False, indent=2).replace("\n", "\n  ")
    return f'{{\n  "about": {head},\n  "rows": [\n{lines}\n  ]\n}}\n'


def _plain(value: Any) -> Any:
    """Turn a value into what JSON can hold."""
    if isinstance(value, dict):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value

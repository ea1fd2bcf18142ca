"""One question answered: sentence, table, chart, range, basis and assumptions."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from analysis.present import words
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

PASSED, FAILED, INFORMATION = "passed", "failed", "for information"


@dataclass(frozen=True, slots=True)
class Check:
    """One check made beside a figure: its name, how it went, one sentence."""

    name: str
    result: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Basis:
    """What an answer rests on.

    Attributes
    ----------
    used : int
        Rows used.
    of_what : str
        What the rows are, as a plural noun: visits, ears, patients.
    left_out : dict of str to int
        Why rows were left out, in plain words, and how many.
    first_day, last_day : pandas.Timestamp
        First and last day of the rows used.
    method : str
        How the figure was computed, in one plain sentence.
    by_year : bool
        Whether of the days only the years are known.
    said_instead : dict of str to str
        What is said instead of a number left out that is too small to show.
    """

    used: int
    of_what: str
    left_out: dict[str, int]
    first_day: pd.Timestamp
    last_day: pd.Timestamp
    method: str = ""
    by_year: bool = False
    said_instead: dict[str, str] = field(default_factory=dict)

    @property
    def period(self) -> str:
        """The months of the rows used, or the years; their days would be those of single visits."""
        if self.by_year:
            return f"{self.first_day.year} to {self.last_day.year}"
        return words.months(self.first_day, self.last_day)

    def __str__(self) -> str:
        """Say the basis in one or two plain sentences."""
        rests = f"Rests on {words.count(self.used)} {self.of_what}, {self.period}."
        out = [f"{self.said_instead.get(why, words.count(many))} {why}" for why, many in self.left_out.items() if many]
        return f"{rests} Left out: {'; '.join(out)}." if out else rests


@dataclass(frozen=True, slots=True)
class ResultRow:
    """One figure as ``results.json`` keeps it: full precision, machine names."""

    section: str
    quantity: str
    group: dict[str, Any]
    value: float | None
    low: float | None
    high: float | None
    level: float | None
    unit: str
    n: int | None
    method: str

    @classmethod
    def from_estimate(cls, section: str, quantity: str, unit: str, estimate: Estimate, **group: Any) -> ResultRow:
        """Make a row of an ``Estimate``."""
        e = estimate
        return cls(section, quantity, group, e.value, e.low, e.high, e.level, unit, e.n, e.method)


@dataclass(frozen=True, eq=False)
class Answer:
    """One question answered: what a notebook shows and a report prints.

    Attributes
    ----------
    question : str
        As the owner would ask it.
    headline : str
        One sentence with the figure, its range and its period.
    how_sure : str
        One line on the range and what could make it wrong.
    table : pandas.DataFrame or None
        Machine column names and codes; labels are put on when shown.
        None where there is no answer.
    chart : plotly.graph_objects.Figure or None
        Without a title of its own: ``chart_title`` is set as text above it.
    chart_title, chart_text : str
        The finding as a title, and the chart told in words for whoever cannot see it.
    assumptions, cautions : tuple of str
        What would have to be true; where care could be touched.
    checks : tuple of Check
    basis : Basis or None
    rows : tuple of ResultRow
        The figures as ``results.json`` keeps them.
    answered : bool
        False where the log holds too little; then the headline says why.
    """

    question: str
    headline: str
    how_sure: str = ""
    table: pd.DataFrame | None = None
    chart: go.Figure | None = None
    chart_title: str = ""
    chart_text: str = ""
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()
    basis: Basis | None = None
    rows: tuple[ResultRow, ...] = field(default=())
    answered: bool = True

    def _ipython_display_(self) -> None:
        """Show a notebook the headline, then the chart, then what stands below it."""
        from IPython.display import display

        from analysis.present import page_parts

        opening = {"text/html": page_parts.opening_html(self), "text/plain": page_parts.opening_text(self)}
        display(opening, raw=True)
        if self.chart is not None:
            drawn = json.loads(self.chart.to_json())
            display({"application/vnd.plotly.v1+json": drawn, "text/plain": self.chart_text}, raw=True)
        if self.answered:
            closing = {"text/html": page_parts.closing_html(self), "text/plain": page_parts.closing_text(self)}
            display(closing, raw=True)


def no_answer(question: str, reason: NotEnough) -> Answer:
    """Say in one sentence why there is no figure, and what to record.

    Examples
    --------
    >>> no_answer("How long?", NotEnough("The log holds no end times.", "Record when each visit ends.")).headline
    'No figure yet. The log holds no end times. Record when each visit ends.'
    """
    return Answer(question, f"No figure yet. {reason.why} {reason.record}", answered=False)

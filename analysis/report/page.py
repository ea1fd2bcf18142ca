"""The quarterly report as one page that needs nothing beside itself."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import plotly.offline
from markupsafe import Markup

from analysis.present import theme
from analysis.present.answer import Answer
from analysis.present.page_parts import environment, slug
from analysis.report.five_sentences import Sentence

TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True)
class Question:
    """One answer on the page, under a fixed id."""

    answer: Answer

    @property
    def id(self) -> str:
        """The id its section stands under."""
        return slug(self.answer.question)


@dataclass(frozen=True, slots=True)
class Part:
    """A run of questions under one name."""

    title: str
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """What the page says; all of it is escaped when it is set.

    Attributes
    ----------
    clinic, quarter_label : str
        Whose report, and of which quarter as people say it.
    standfirst : str
        What the log covers.
    summary : tuple of Sentence
        The quarter in five sentences.
    parts : tuple of Part
        Every question, in reading order.
    how_sure, footer : str
        How ranges read; version and settings.
    cautions : tuple of str
        Those that hold for the whole page.
    invented : bool
        Labelled at the top and in the footer.
    """

    clinic: str
    quarter_label: str
    standfirst: str
    summary: tuple[Sentence, ...]
    parts: tuple[Part, ...]
    how_sure: str
    cautions: tuple[str, ...]
    footer: str
    invented: bool


def page_html(page: Page) -> str:
    """Set the page: styles, the chart library once, every answer, no network.

    Parameters
    ----------
    page : Page

    Returns
    -------
    str
        A whole HTML document. The same page gives the same text.
    """
    questions = [question for part in page.parts for question in part.questions]
    charts = {f"chart-{each.id}": each.answer.chart for each in questions if each.answer.answered}
    figures = {name: chart.to_json() for name, chart in charts.items() if chart is not None}
    dark = {light.lower(): colour for light, colour in theme.DARK.items()}
    template = environment(TEMPLATES).get_template("page.html")
    return template.render(
        page=page,
        theme=theme,
        plotly_js=_plotly_js(),
        figures_json=_for_script(figures),
        dark_json=_for_script(dark),
    )


@cache
def _plotly_js() -> Markup:
    """Give the chart library, marked as ours to set unescaped."""
    return Markup(plotly.offline.get_plotlyjs())  # noqa: S704 # nosec B704 # the library's own file


def _for_script(value: dict[str, str]) -> Markup:
    """Write JSON for a script element, which no text within can close."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True)
    # Safe to mark as ours: no < is left, with which a text could close the script element.
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))  # noqa: S704 # nosec B704

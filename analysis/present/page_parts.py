"""An answer as parts of a page, for a notebook and for the report, and as plain text.

Everything that came from a log or a setting is escaped: the templates are
rendered with escaping on, and no part holds a random id.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from analysis.present.tables import SpokenColumn, spoken_columns, table_text

if TYPE_CHECKING:
    from analysis.present.answer import Answer

TEMPLATES = Path(__file__).parent / "templates"
NUMBER_CELL = Markup(' class="number" style="text-align:right"')
WORD_HEADING = Markup(' style="text-align:left"')
WORD_CELL = Markup(' class="words" style="text-align:left"')
LONG_CELL = Markup(' class="words long" style="text-align:left"')
SHORT_CELL = Markup(' style="text-align:left;white-space:nowrap"')


@cache
def environment(*folders: Path) -> Environment:
    """Make the template environment, with escaping on and unknown names refused.

    Parameters
    ----------
    *folders : Path
        Further folders of templates, looked into first.
    """
    made = Environment(
        loader=FileSystemLoader([*folders, TEMPLATES]),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    made.globals.update(
        rows_of=_rows_of,
        columns_of=columns_of,
        slug=slug,
        sentence=sentence,
        cell_style=_cell_style,
        heading_style=_heading_style,
    )
    return made


def _cell_style(column: SpokenColumn) -> Markup:
    """Set numbers right and words left; short cells stay on one line."""
    if column.is_number:
        return NUMBER_CELL
    return SHORT_CELL if column.is_short else LONG_CELL if column.is_long else WORD_CELL


def _heading_style(column: SpokenColumn) -> Markup:
    """Set a heading over its cells."""
    return NUMBER_CELL if column.is_number else WORD_HEADING


def _rows_of(columns: list[SpokenColumn]) -> list[tuple[str, ...]]:
    """Turn columns into rows."""
    return list(zip(*(column.cells for column in columns), strict=True))


def columns_of(answer: Answer) -> list[SpokenColumn]:
    """Put an answer's table into words; none where it has no table, or an empty one."""
    return [] if answer.table is None or answer.table.empty else spoken_columns(answer.table)


def slug(question: str) -> str:
    """Make the fixed id under which a question stands on the page.

    Examples
    --------
    >>> slug("Does softening first pay?")
    'does-softening-first-pay'
    """
    return re.sub(r"[^a-z0-9]+", "-", question.lower()).strip("-")


def sentence(text: str) -> str:
    """Write a fragment as a sentence: a capital first, a full stop last.

    Examples
    --------
    >>> sentence("counted directly"), sentence("It was counted.")
    ('Counted directly.', 'It was counted.')
    """
    return text if not text else text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def answer_html(answer: Answer) -> str:
    """Give a whole answer but its chart as HTML.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    str
        Headline, chart title, how sure, table one click away, cautions, and
        what it rests on in small type. An answer without a figure is its
        sentence only.
    """
    return opening_html(answer) + closing_html(answer)


def opening_html(answer: Answer) -> str:
    """Give what stands above a chart: the headline and the chart's finding."""
    parts = environment().get_template("answer.html").module
    title = Markup("<p>{}</p>\n").format(answer.chart_title) if answer.chart is not None else ""
    return str(parts.headline(answer)) + str(title)  # type: ignore[attr-defined]


def closing_html(answer: Answer) -> str:
    """Give what stands below a chart: how sure, the table, cautions and what it rests on."""
    if not answer.answered:
        return ""
    parts = environment().get_template("answer.html").module
    columns = columns_of(answer)
    table = parts.table(answer, columns) if columns else ""  # type: ignore[attr-defined]
    rest = (parts.how_sure(answer), table, parts.cautions(answer), parts.rests_on(answer))  # type: ignore[attr-defined]
    return "".join(str(part) for part in rest)


def answer_text(answer: Answer) -> str:
    """Give a whole answer as plain text that reads well alone.

    A re-run notebook is compared by this text, so that a changed figure shows
    as one changed line.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    str

    Examples
    --------
    >>> from analysis.present.answer import Answer
    >>> print(answer_text(Answer("How long?", "About 18 minutes.", how_sure="Fairly.", cautions=("Ask first.",))))
    How long?
    About 18 minutes.
    <BLANKLINE>
    Fairly.
    <BLANKLINE>
    Take care
    - Ask first.
    """
    return "\n\n".join(part for part in (opening_text(answer), closing_text(answer)) if part)


def opening_text(answer: Answer) -> str:
    """Give the question, the headline and the chart's finding as plain text."""
    told = f"{answer.question}\n{answer.headline}"
    return f"{told}\n\n{answer.chart_title}" if answer.chart is not None else told


def closing_text(answer: Answer) -> str:
    """Give the rest as plain text: how sure, the table, cautions, what it rests on."""
    if not answer.answered:
        return ""
    blocks = [answer.how_sure]
    if columns_of(answer):
        blocks.append(table_text(answer.table))  # type: ignore[arg-type]
    blocks.append(_list_text("Take care", list(answer.cautions)))
    if answer.basis is not None:
        blocks.append("\n".join(part for part in (str(answer.basis), sentence(answer.basis.method)) if part))
    blocks.append(_list_text("It holds if", list(answer.assumptions)))
    checks = [f"{check.name}: {check.result}. {check.sentence}" for check in answer.checks]
    blocks.append(_list_text("Checked beside it", checks))
    return "\n\n".join(block for block in blocks if block)


def _list_text(heading: str, items: list[str]) -> str:
    """Write a short list under its heading; nothing where it is empty."""
    return "\n".join([heading, *(f"- {item}" for item in items)]) if items else ""

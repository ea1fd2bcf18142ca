"""How the rows of a range chart are laid out: headings, labels and how far down each mark stands."""

from __future__ import annotations

import html
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

ROW_HEIGHT, LINE_HEIGHT, HEADING_HEIGHT = 48, 18, 34
MARK_ABOVE_END = 12
"""How far above the end of its row a mark stands."""
PHONE_LETTERS, FEWEST_LETTERS = 40, 14
"""How many letters of a chart's ordinary size fit side by side on a phone; the least a label gets."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its label, how far down its mark stands, and the heading above it, if it opens a group.

    ``place`` and ``heading_place`` are pixels from the top; a label or heading
    may hold line breaks.
    """

    label: str
    place: int
    heading: str = ""
    heading_place: int = 0


def plain(text: str) -> str:
    """Keep a label from the log from being read as markup by a chart.

    Examples
    --------
    >>> plain("<b>North</b>")
    '&lt;b&gt;North&lt;/b&gt;'
    """
    return html.escape(text, quote=False)


def laid_rows(labels: Sequence[str], beside: Sequence[str]) -> tuple[list[Row], int]:
    """Lay rows out one below the other.

    Neighbouring labels that begin alike up to their last comma are set as a
    group: what they share as a heading, the rest as their labels.

    Parameters
    ----------
    labels : sequence of str
        Top row first.
    beside : sequence of str
        What is written at the right of each row; a label is broken before it
        would meet it on a phone.

    Returns
    -------
    list of Row
    int
        Pixels they take together.

    Examples
    --------
    >>> rows, height = laid_rows(["New patient, today", "New patient, recommended", "Recall"], ["30", "35", "20"])
    >>> [(row.heading, row.label, row.place) for row in rows]
    [('New patient', 'today', 70), ('', 'recommended', 118), ('', 'Recall', 166)]
    >>> height
    178
    """
    rows: list[Row] = []
    down = 0
    for shared, members in groupby(range(len(labels)), key=lambda index: labels[index].rpartition(", ")[0]):
        group = list(members)
        headed = bool(shared) and len(group) > 1
        for index in group:
            opens = headed and index == group[0]
            heading = _broken(shared, PHONE_LETTERS) if opens else ""
            down += (HEADING_HEIGHT + LINE_HEIGHT * heading.count("<br>")) if opens else 0
            heading_place = down
            own = labels[index].rpartition(", ")[2] if headed else labels[index]
            label = _broken(own, max(PHONE_LETTERS - len(beside[index]), FEWEST_LETTERS))
            down += ROW_HEIGHT + LINE_HEIGHT * label.count("<br>")
            rows.append(Row(label, down - MARK_ABOVE_END, heading, heading_place))
    return rows, down


def _broken(text: str, letters: int) -> str:
    """Break a text into lines of so many letters."""
    return "<br>".join(plain(line) for line in textwrap.wrap(text, letters)) or plain(text)

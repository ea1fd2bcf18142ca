"""Who is compared: the levels of every fact adjusted for, and the columns a model is fitted on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.stats.cells import cells_of

NOT_RECORDED = "not_recorded"
FEWEST_IN_LEVEL = 5
"""Ears of either arm, successes and failures a level needs to stand alone (a rule of caution, no source)."""


@dataclass(frozen=True, eq=False)
class CaseMix:
    """The facts adjusted for, rare levels joined.

    Attributes
    ----------
    levels : pandas.DataFrame
        One column a fact, one row an ear; text. A fact without a value is the
        level ``not_recorded``; joined levels are named together by ``_or_``.
    joined : dict of str to list of str
        For each fact, the joined levels, by their joint names.
    not_recorded : dict of str to int
        For each fact with blanks, how many rows are blank.
    unrecorded : list of str
        Facts recorded for no row, which therefore adjust for nothing.
    """

    levels: pd.DataFrame
    joined: dict[str, list[str]]
    not_recorded: dict[str, int]
    unrecorded: list[str]


def case_mix(
    rows: pd.DataFrame, facts: Sequence[str], *, treated: np.ndarray, outcome: np.ndarray | None = None
) -> CaseMix:
    """Take the facts to adjust for, and join levels too rare to stand alone.

    Parameters
    ----------
    rows : pandas.DataFrame
        Holds the facts as columns: codes, names or yes/no.
    facts : sequence of str
        Columns to adjust for.
    treated : numpy.ndarray of bool, shape (n,)
    outcome : numpy.ndarray of bool, shape (n,), optional
        Success or not; without it a level needs only enough rows of both arms.

    Returns
    -------
    CaseMix

    Notes
    -----
    A level stands alone if it holds at least 5 rows of each arm, and at least
    5 successes and 5 failures. Otherwise a model could explain it perfectly,
    or would carry the one arm over to it without having seen it. The rarest
    such level is joined, again and again, until all stand: an ordered one (age
    band, grade) with the smaller of its neighbours, any other with the next
    rarest level. ``not_recorded`` is a level like any other.

    Examples
    --------
    >>> rows = pd.DataFrame({"canal": ["ordinary"] * 40 + ["narrow"] * 20 + ["tortuous"] * 4 + ["operated"] * 3})
    >>> mix = case_mix(rows, ["canal"], treated=np.arange(67) % 2 == 0)
    >>> mix.joined, mix.levels["canal"].nunique()
    ({'canal': ['narrow_or_operated_or_tortuous']}, 2)
    """
    marks = [treated, ~treated] if outcome is None else [treated, ~treated, outcome, ~outcome]
    needed = np.column_stack(marks)
    levels, joined, not_recorded = {}, {}, {}
    for fact in facts:
        codes, names = pd.factorize(_as_text(rows[fact]), sort=True)
        if NOT_RECORDED in names:
            not_recorded[fact] = int((codes == names.get_loc(NOT_RECORDED)).sum())
        counts = np.array([np.bincount(codes, mark, len(names)) for mark in needed.T]).T
        joint_names = _join_rare(list(names), counts, _order(rows[fact]))
        levels[fact] = np.array(joint_names, dtype=object)[codes]
        together = sorted(set(joint_names) - set(names))
        if together:
            joined[fact] = together
    unrecorded = [fact for fact, blanks in not_recorded.items() if blanks == len(rows)]
    return CaseMix(pd.DataFrame(levels, index=rows.index), joined, not_recorded, unrecorded)


def _as_text(values: pd.Series) -> pd.Series:
    """Turn codes and yes/no into text, blanks into a level of their own."""
    if values.dtype == "boolean":
        values = values.map({True: "yes", False: "no"})
    return values.astype("object").where(values.notna(), NOT_RECORDED).astype("str")


def _order(values: pd.Series) -> list[str]:
    """List an ordered fact's codes in order; empty for any other."""
    ordered = isinstance(values.dtype, pd.CategoricalDtype) and values.dtype.ordered
    return [str(code) for code in values.cat.categories] if ordered else []


def _join_rare(names: list[str], counts_of: np.ndarray, order: list[str]) -> list[str]:
    """Join the rarest level that cannot stand alone, until all can; give each level its joint name."""
    in_order = sorted(names, key=lambda name: (name not in order, _place(order, name)))
    groups = {name: [name] for name in in_order}
    counts = dict(zip(names, counts_of, strict=True))
    while len(groups) > 1:
        weak = [name for name in groups if counts[name].min() < FEWEST_IN_LEVEL]
        if not weak:
            break
        rarest = min(weak, key=lambda name: (counts[name].sum(), name))
        partner = _partner(rarest, counts, order, groups)
        groups[partner] += groups.pop(rarest)
        counts[partner] = counts[partner] + counts.pop(rarest)
    joint = {name: "_or_".join(sorted(members)) for members in groups.values() for name in members}
    return [joint[name] for name in names]


def _place(order: list[str], level: str) -> tuple[int, str]:
    """Sort ordered levels by their order and all others by name."""
    return (order.index(level), "") if level in order else (0, level)


def _partner(rarest: str, counts: dict[str, np.ndarray], order: list[str], groups: dict[str, list[str]]) -> str:
    """Find whom a rare level is joined with: the smaller neighbour where ordered, else the next rarest."""
    others = [name for name in groups if name != rarest]
    if set(groups[rarest]) <= set(order):
        in_order = [name for name in groups if set(groups[name]) <= set(order)]
        at = in_order.index(rarest)
        others = in_order[max(at - 1, 0) : at] + in_order[at + 1 : at + 2] or others
    return min(others, key=lambda name: (counts[name].sum(), name))


def level_columns(levels: pd.DataFrame) -> pd.DataFrame:
    """Give each level a column of 0 and 1; each fact's commonest level is left as the comparison."""
    columns = {}
    for fact in levels:
        codes, names = pd.factorize(levels[fact], sort=True)
        commonest = np.bincount(codes, minlength=len(names)).argmax() if len(names) else 0
        for code, name in enumerate(names):
            if code != commonest:
                columns[f"{fact}={name}"] = (codes == code).astype(float)
    return pd.DataFrame(columns, index=levels.index, dtype=float)


def independent_columns(columns: np.ndarray, tolerance: float = 1e-8) -> list[int]:
    """Say which columns are no sum of those before them.

    Two facts missing from the same export give the same ``not_recorded``
    column twice; the second says nothing new and would make the fit fail.

    Parameters
    ----------
    columns : numpy.ndarray, shape (n, k)
    tolerance : float, optional
        Share of a column's length that must be new.

    Returns
    -------
    list of int
        Positions kept, in order.

    Examples
    --------
    >>> independent_columns(np.array([[1.0, 1, 0, 2], [1, 0, 1, 0], [1, 1, 0, 1]]))
    [0, 1, 3]
    """
    columns = columns[cells_of(columns).first] if len(columns) else columns  # rows alike say nothing new
    basis = np.zeros((len(columns), 0))
    kept = []
    for position, column in enumerate(columns.T):
        new = column.astype(float)
        for _ in range(2):  # once more, or rounding leaves a trace of the old directions
            new = new - basis @ (basis.T @ new)
        length = float(np.linalg.norm(new))
        if length > tolerance * float(np.linalg.norm(column)) and length > 0:
            basis = np.column_stack([basis, new / length])
            kept.append(position)
    return kept

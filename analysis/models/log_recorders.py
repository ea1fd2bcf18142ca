"""Practitioners and sites that record differently: habits of the pen, beside what chance would bring."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from analysis.models.completeness import MEASURED
from analysis.schema import GRADES
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import newcombe_difference

FEWEST_VISITS = 20
"""Visits from which a part's habits are judged (our own line, no source)."""
SURE, AT_LEAST = 0.99, 0.10
"""A habit differs where its range, wide enough for all habits together, leaves out no difference and the difference is at least this."""
FACTS_OF_VISITS = ("arrived_at", "softening_advised", "softener", "adverse_event", "age_band", "hearing_aid")
FACTS_OF_EARS = ("grade", "outcome", "methods", "debris", "eardrum", "canal")


@dataclass(frozen=True, slots=True)
class Habit:
    """One habit of one part of the log beside the others, those left out that differ themselves.

    ``kind`` is ``recorded``, ``minutes``, ``rounding`` or ``fullest`` (the
    fullest ear's grade); ``of`` names the fact or grade. ``count`` of
    ``visits`` show it; ``difference`` is that share less the others'.
    """

    part: str
    kind: str
    of: str
    count: int
    visits: int
    others_share: float
    difference: Estimate
    differs: bool

    @property
    def key(self) -> tuple[str, str, str]:
        """Which habit of whom this is."""
        return self.part, self.kind, self.of

    @property
    def share(self) -> float:
        """Share of the part's visits."""
        return self.count / self.visits


def recording_habits(visits: pd.DataFrame, ears: pd.DataFrame, parts: pd.Series) -> list[Habit]:
    """Set each part's habits of recording beside those of all the others.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    parts : pandas.Series of str
        Which practitioner or site each booking belongs to.

    Returns
    -------
    list of Habit
        By habit, within it by part; none where fewer than two parts have
        ``FEWEST_VISITS`` attended visits. A habit nobody or everybody has is left out.

    Notes
    -----
    Attended visits are counted, never ears, because two ears of a visit go
    together. The part that differs most is taken out of the others' share, then
    the next, until the rest record alike. All ranges are widened (Bonferroni) so that a log of practitioners
    who record alike shows no difference at all 99 times in 100.

    Examples
    --------
    >>> from analysis.schema import EAR_ROWS, VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "visit_id": [f"v{row}" for row in range(100)], "attendance": "attended",
    ...     "softener": ["none"] * 50 + [None] * 50}))
    >>> parts = pd.Series(["practitioner 1"] * 50 + ["practitioner 2"] * 50)
    >>> [(habit.part, habit.of, habit.share, habit.differs)
    ...  for habit in recording_habits(visits, typed_frame(EAR_ROWS, pd.DataFrame()), parts)]
    [('practitioner 1', 'softener', 1.0, True), ('practitioner 2', 'softener', 0.0, True)]
    """
    came = visits[(visits["attendance"] == "attended").fillna(False)]
    of = parts.loc[came.index]
    sizes = of.value_counts()
    large = sorted(sizes[sizes >= FEWEST_VISITS].index)
    if len(large) < 2:
        return []
    marks = [(kind, name, mark) for kind, name, mark in _marks(came, ears) if 0 < mark.sum() < mark.notna().sum()]
    level = 1 - (1 - SURE) / max(len(marks) * len(large), 1)
    return [habit for kind, name, mark in marks for habit in _habits(kind, name, mark, of, large, level)]


def _habits(kind: str, name: str, mark: pd.Series, of: pd.Series, parts: list[str], level: float) -> list[Habit]:
    """Set each part beside those that record alike, so that one odd part does not make the others look odd."""
    alike, odd = list(parts), []
    while True:
        found = [_habit(part, kind, name, mark, of, alike, level) for part in parts]
        differing = [habit for habit in found if habit is not None and habit.differs and habit.part in alike]
        if not differing or len(alike) <= 2:
            return [habit for habit in found if habit is not None]
        odd.append(max(differing, key=lambda habit: abs(habit.difference.value)).part)
        alike = [part for part in parts if part not in odd]


def _habit(
    part: str, kind: str, name: str, mark: pd.Series, of: pd.Series, alike: list[str], level: float
) -> Habit | None:
    """Set one part's share beside that of those who record alike; none where either has too few visits."""
    mine, others = mark[of == part].dropna(), mark[of.isin(alike) & (of != part)].dropna()
    if min(len(mine), len(others)) < FEWEST_VISITS:
        return None
    counts, sizes = (int(mine.sum()), int(others.sum())), (len(mine), len(others))
    difference = newcombe_difference(counts, sizes, level)
    differs = difference.excludes_zero and abs(difference.value) >= AT_LEAST
    return Habit(part, kind, name, counts[0], sizes[0], counts[1] / sizes[1], difference, differs)


def _marks(came: pd.DataFrame, ears: pd.DataFrame) -> list[tuple[str, str, pd.Series]]:
    """Mark each visit (yes, no, or not to be judged) for each habit."""
    ends = came["ended_at"]
    on_five = _judged((ends.dt.minute % 5 == 0) & (ends.dt.second == 0), ends.notna())
    filled = came["minutes_quality"] == "filled_from_slot"
    known = came["minutes_quality"].notna()
    marks = [
        ("minutes", "minutes", _judged(came["minutes"].notna() & came["minutes_quality"].isin(MEASURED), known)),
        ("minutes", "filled_from_slot", _judged(filled.fillna(False), known)),
        ("rounding", "ended_at", on_five),
    ]
    marks += [("recorded", fact, came[fact].notna().astype("Float64")) for fact in FACTS_OF_VISITS]
    return marks + _ear_marks(came, ears)


def _judged(mark: pd.Series, where: pd.Series) -> pd.Series:
    """Give a mark as 1 or 0, and nothing where it cannot be judged."""
    return mark.astype("boolean").astype("Float64").where(where)


def _ear_marks(came: pd.DataFrame, ears: pd.DataFrame) -> list[tuple[str, str, pd.Series]]:
    """Mark visits by their ears: whether every ear has a fact, and the fullest ear's grade."""
    rows = ears[ears["visit_id"].isin(came["visit_id"])]
    to_do = (rows["outcome"] != "nothing_to_remove").fillna(True)

    def of_visit(values: pd.Series, how: Callable | str) -> pd.Series:
        by_visit = values.groupby(rows["visit_id"].loc[values.index]).agg(how)
        return came["visit_id"].map(by_visit).astype("Float64")

    marks = []
    for fact in FACTS_OF_EARS:
        has = rows[fact].notna() & (rows[fact] != "") if fact == "methods" else rows[fact].notna()
        where = to_do if fact in ("methods", "debris") else pd.Series(data=True, index=rows.index)
        marks.append(("recorded", fact, of_visit(has[where].astype("float64"), "min")))
    step = rows["grade"].cat.codes.astype("float64")
    fullest = of_visit(step[step >= 0], "max")
    marks += [
        ("fullest", grade, _judged(fullest == place, fullest.notna())) for place, grade in enumerate(GRADES)
    ]  # fmt: skip
    return marks

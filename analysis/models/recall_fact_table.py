"""Facts of patients and ears beside each clearance, and facts as columns of a design."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.derive.gaps import attended_visits
from analysis.models.recall_enough import enough
from analysis.models.recall_evidence import all_clearances

EARLIER = "earlier_clearances"
OF_FIRST = ("hearing_aid", "cotton_bud", "age_band", "canal", "debris", "impacted")
FACTS = (*OF_FIRST, EARLIER)
ENTRY_FACTS = ["debris", "impacted"]
PLAIN = ("no", "ordinary", "none")
"""Values other values are set beside, where there are enough of them; otherwise the commonest."""
NOT_RECORDED = "not_recorded"
EAR = ["patient_key", "ear"]


@dataclass(frozen=True, eq=False)
class FactDesign:
    """Facts as columns: a constant, then one column a value that is set beside another.

    Attributes
    ----------
    columns : list of (str, str)
        Fact and value of each column after the constant.
    beside : dict of str to str
        The value of each fact that others are set beside.
    matrix : numpy.ndarray, shape (n, 1 + columns)
    """

    columns: list[tuple[str, str]]
    beside: dict[str, str]
    matrix: np.ndarray


def with_facts(gaps: pd.DataFrame, visits: pd.DataFrame, ears: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Put beside each clearance what was known of the patient and the ear before it.

    Parameters
    ----------
    gaps, visits, ears : pandas.DataFrame
        The tables ``GAPS``, ``VISITS`` and ``EAR_ROWS``.
    last_day : pandas.Timestamp
        Last day the log covers.

    Returns
    -------
    pandas.DataFrame
        ``all_clearances`` with the facts as text: yes or no, a code, or
        ``none``, ``one``, ``more`` earlier clearances; ``not_recorded`` where empty.
        Debris and impaction are as first noted since the clearance before.
    """
    every = all_clearances(gaps).merge(_entry(gaps, visits, ears, last_day), on=[*EAR, "cleared_on"], how="left")
    earlier = np.select([every["earlier_clearances"] == 0, every["earlier_clearances"] == 1], ["none", "one"], "more")
    told = {name: _as_text(every[name]) for name in FACTS if name != EARLIER}
    return every.assign(**{EARLIER: pd.Series(earlier, index=every.index, dtype="str")}, **told)


def _entry(gaps: pd.DataFrame, visits: pd.DataFrame, ears: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Debris and impaction as first noted since the ear's clearance before."""
    came = attended_visits(visits, last_day)[["visit_id", "patient_key", "day", "moment"]]
    seen = ears[["visit_id", "ear", *ENTRY_FACTS]].merge(came, on="visit_id").dropna(subset=["ear", "day"])
    cleared = gaps[[*EAR, "cleared_on"]].assign(ear=gaps["ear"].astype("str"), day=gaps["cleared_on"])
    found = pd.merge_asof(
        seen.assign(ear=seen["ear"].astype("str")).sort_values("day"),
        cleared.sort_values("day"),
        on="day", by=EAR, direction="forward",
    ).dropna(subset=["cleared_on"])  # fmt: skip
    first = found.sort_values(["moment", "visit_id"]).groupby([*EAR, "cleared_on"])[ENTRY_FACTS].first().reset_index()
    return first.astype({"ear": gaps["ear"].dtype, "patient_key": gaps["patient_key"].dtype})


def _as_text(values: pd.Series) -> pd.Series:
    """Write a fact's values as words."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        return values.astype("str").fillna(NOT_RECORDED)
    return values.map({True: "yes", False: "no"}).astype("str").fillna(NOT_RECORDED)


def fact_design(every: pd.DataFrame, facts: tuple[str, ...], fewest_ears: int) -> FactDesign:
    """Turn facts into columns; values too rare for a figure go with the one others are set beside.

    Parameters
    ----------
    every : pandas.DataFrame
        From ``with_facts``.
    facts : tuple of str
    fewest_ears : int
        Clearances graded later that a value needs, ten of them occluding.

    Returns
    -------
    FactDesign
        Without facts of which fewer than two values have enough ears, and
        without columns that follow from those before.
    """
    columns: list[tuple[str, str]] = []
    beside: dict[str, str] = {}
    parts = [np.ones(len(every))]
    for fact in facts:
        values = [each for each in every[fact].value_counts().index if enough(every[every[fact] == each], fewest_ears)]
        recorded = [each for each in values if each != NOT_RECORDED]
        if len(recorded) < 2:
            continue
        beside[fact] = next((each for each in recorded if each in PLAIN), recorded[0])
        for value in values:
            column = (every[fact] == value).to_numpy(dtype=float)
            if value != beside[fact] and np.linalg.matrix_rank(np.column_stack([*parts, column])) > len(parts):
                parts.append(column)
                columns.append((fact, value))
    return FactDesign(columns, beside, np.column_stack(parts))

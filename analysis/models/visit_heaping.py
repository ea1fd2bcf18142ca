"""Rounded minutes: how strongly whose visits heap on multiples of five, and what that changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.case_mix import level_columns
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.problems import NotEnough
from analysis.stats.censored import NoMaximum
from analysis.stats.heaping import as_intervals, heaping_index
from analysis.stats.log_normal import log_normal_regression

STRONG = 2.5
"""Index from which heaping is strong: half of all minutes on multiples of five (our own line, no source)."""
FEWEST_VISITS = 30
"""Visits a practitioner, an export or both together need to be judged (a rule of caution, no source)."""
STEP = 5
SHARES = (0.5, 0.8, 0.9)
ALL = "all"


@dataclass(frozen=True, eq=False)
class Heaping:
    """How minutes heap, and what taking heaped ones as intervals changes.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a part: ``by`` (``all``, ``practitioner`` or ``export``), ``part``, ``visits``,
        ``index`` with ``low`` and ``high``, ``strong``, and ``filled``: attended visits whose end
        was copied from the slot and that are left out.
    changes : pandas.DataFrame
        One row a share: ``share``, ``as_written`` and ``as_intervals``, minutes
        that the share of visits of the log's average kind stays within, with ``_low`` and ``_high``;
        alike where no heaping is strong.
    intervals : int
        Visits taken as intervals.
    """

    table: pd.DataFrame
    changes: pd.DataFrame
    intervals: int


def minutes_heaping(fitted: FittedVisitTime, parts: pd.DataFrame, filled: pd.DataFrame) -> Heaping:
    """Measure heaping by practitioner and export, and what rounded minutes as intervals change.

    Parameters
    ----------
    fitted : FittedVisitTime
        Its visits are those whose minutes count.
    parts : pandas.DataFrame, one row a visit of ``fitted.sample.visits``
        ``practitioner`` and ``export``: what each is called.
    filled : pandas.DataFrame
        The same columns, one row a visit left out because its end was copied from the slot.

    Returns
    -------
    Heaping

    Raises
    ------
    NotEnough
        If the curve of the minutes does not settle.

    Notes
    -----
    Heaping is judged for each practitioner within each export, since a habit or a records system
    may change. Where it is strong, minutes on multiples of five count as anything
    within two and a half minutes; all others as written. Both ways a log-normal curve with a
    term for the kind of booking is fitted, and shown for the log's average mix of kinds.
    """
    minutes = fitted.minutes
    rows = [_row(ALL, ALL, minutes, len(filled), fitted.level)]
    for by in ("practitioner", "export"):
        counts = filled[by].value_counts()
        for part, mine in pd.Series(minutes).groupby(parts[by].to_numpy()):
            if len(mine) >= FEWEST_VISITS:
                rows.append(_row(by, str(part), mine.to_numpy(), int(counts.get(part, 0)), fitted.level))
    table = pd.DataFrame(rows, columns=["by", "part", "visits", "index", "low", "high", "strong", "filled"])
    heaped = _heaped(minutes, parts)
    changes = _changes(fitted, heaped)
    low, high = as_intervals(minutes, heaped, step=STEP)
    return Heaping(table, changes, int((low < high).sum()))


def _row(by: str, part: str, minutes: np.ndarray, filled: int, level: float) -> list:
    """Measure one part."""
    index = heaping_index(minutes, step=STEP, level=level)
    return [by, part, len(minutes), index.value, index.low, index.high, index.value >= STRONG, filled]


def _heaped(minutes: np.ndarray, parts: pd.DataFrame) -> np.ndarray:
    """Mark visits of a practitioner and export whose minutes heap strongly."""
    both = pd.MultiIndex.from_frame(parts[["practitioner", "export"]])
    which, _ = pd.factorize(both)
    on_step = (np.rint(minutes) % STEP == 0).astype(float)
    many = np.bincount(which)
    index = STEP * np.bincount(which, on_step) / many
    return ((index >= STRONG) & (many >= FEWEST_VISITS))[which]


def _change_columns() -> list[str]:
    """Name the columns of what changes."""
    ends = [f"{way}{end}" for way in ("as_written", "as_intervals") for end in ("", "_low", "_high")]
    return ["share", *ends]


def _changes(fitted: FittedVisitTime, heaped: np.ndarray) -> pd.DataFrame:
    """Fit the minutes both ways."""
    kinds = level_columns(fitted.design.levels[["booking_kind"]])
    design = np.column_stack([np.ones(len(kinds)), (kinds - kinds.mean()).to_numpy()])
    limits = [(fitted.minutes, fitted.minutes), as_intervals(fitted.minutes, heaped, step=STEP)]
    try:
        fits = [
            log_normal_regression(low, high, design, clusters=fitted.patients, level=fitted.level)
            for low, high in limits
        ]
    except NoMaximum:
        raise NotEnough(
            "The minutes do not settle a curve.", "Record when each visit really starts and ends."
        ) from None
    average, rows = np.eye(design.shape[1])[0], []
    for share in SHARES:
        found = [fit.time_until(share, average) for fit in fits]
        rows.append([share, *(end for each in found for end in (each.value, each.low, each.high))])
    return pd.DataFrame(rows, columns=_change_columns())

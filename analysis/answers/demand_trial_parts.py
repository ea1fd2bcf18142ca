"""Did past forecasts hold for each kind of visit and each site: table, rows and a sentence."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite

import numpy as np
import pandas as pd

from analysis.answers.demand_figures import RANGES
from analysis.answers.demand_words import SERIES
from analysis.models.demand_backtest import MONTHS_AHEAD
from analysis.models.demand_backtest_parts import ALL, LEAST_A_MONTH, part_checks
from analysis.models.simple_forecasts import SEASONAL_NAIVE
from analysis.present import words
from analysis.present.answer import INFORMATION, Check, ResultRow
from analysis.stats.proportions import wilson_share

SECTION = "demand_trial"
TOGETHER = 0
"""Stands for all months ahead together among the rows of ``part_checks``."""
SHARED = (
    "forecast made again at month-ends, shared out; no range, as forecasts from neighbouring month-ends share months"
)
OWN_LEVEL = 0.95
NARROW = 0.80
WIDTH_OF = 80
"""The range whose width tables tell."""

Parts = dict[tuple[str, str], pd.DataFrame]


def parts_tried(parts: pd.DataFrame, hide_below: int) -> Parts:
    """Sum up the past forecasts of kinds and sites with visits enough to judge and to show."""
    return part_checks(parts, max(LEAST_A_MONTH, float(hide_below)))


def part_name(kind: str, site: str) -> str:
    """Name a kind of visit or a site as the table does.

    Examples
    --------
    >>> part_name("new", "all"), part_name("all", "Hill")
    ('new patient', 'Hill, all kinds')
    """
    return SERIES[kind] if site == ALL else f"{site}, all kinds"


def together(table: pd.DataFrame) -> dict[str, float]:
    """Take the line of all months ahead together."""
    return {str(name): float(values[TOGETHER]) for name, values in table.items()}


def parts_table(found: Parts) -> pd.DataFrame:
    """List each kind's and each site's misses, coverage and width over all months ahead together."""
    lines = []
    for (kind, site), table in found.items():
        one = together(table)
        columns: dict[str, object] = {
            "forecast_of": part_name(kind, site),
            "months_ahead": f"1 to {table.index.max()}",
            "forecasts_tried": int(one["forecasts"]),
            "came_above_forecast": one["bias"],
            "typical_miss": one["typical_miss"],
        }
        for level in (round(100 * each) for each in RANGES):
            columns[f"inside_{level}_share"] = one[f"inside_{level}"] / one["forecasts"]
            if level == WIDTH_OF:
                columns[f"width_{level}"] = one[f"width_{level}"]
        times = one["times_year_before"]
        lines.append(columns | {f"times_{SEASONAL_NAIVE}": times if isfinite(times) else np.nan})
    return pd.DataFrame(lines)


def parts_rows(found: Parts) -> Iterable[ResultRow]:
    """Keep every kind's and site's misses, coverage and width by months ahead, and of all together."""
    for (kind, site), table in found.items():
        for one in table.reset_index().to_dict("records"):
            ahead, many = int(one["steps"]), int(one["forecasts"])
            group = {"kind": kind, "months_ahead": "all" if ahead == TOGETHER else ahead, "site": site}
            for name in ("bias", "typical_miss"):
                yield _plain(f"part_{name}", group, float(one[name]), "visits", many)
            for level in RANGES:
                at, within = round(100 * level), {**group, "level": level}
                inside = wilson_share(int(one[f"inside_{at}"]), many, OWN_LEVEL)
                yield ResultRow.from_estimate(SECTION, "part_coverage", "share", inside, **within)
                yield _plain("part_range_width", within, float(one[f"width_{at}"]), "visits", many)
            if isfinite(one["times_year_before"]):
                against = {**group, "against": SEASONAL_NAIVE}
                yield _plain("part_scaled_error", against, float(one["times_year_before"]), "ratio", many)


def _plain(name: str, group: dict, value: float, unit: str, many: int) -> ResultRow:
    """Keep a figure that has no range."""
    return ResultRow(SECTION, name, group, value, None, None, None, unit, many, SHARED)


def parts_check(found: Parts) -> Check:
    """Say how often the 8-in-10 ranges of kinds and sites held what came."""
    name = "Kinds of visit and sites"
    if not found:
        return Check(name, INFORMATION, f"None had {LEAST_A_MONTH:.0f} visits a month to be judged by.")
    told = []
    for (kind, site), table in found.items():
        one = together(table)
        share = words.percent(one[f"inside_{round(100 * NARROW)}"] / one["forecasts"])
        told.append(f"{share} ({SERIES[kind] if site == ALL else site})")
    return Check(
        name,
        INFORMATION,
        f"Of single kinds and sites, up to {MONTHS_AHEAD} months ahead, the ranges that should hold 8 in 10 held "
        f"{words.joined(told)}. They are set beside the same month a year before alone; those with fewer than "
        f"{LEAST_A_MONTH:.0f} visits a month are not judged.",
    )

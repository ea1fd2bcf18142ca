"""The forecast tried on the past by kind of visit and by site."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.demand import Demand, count_range, spread_out
from analysis.models.site_shares import NO_SITE, SiteCounts, drawn_by_site, expected_by_site, shares_of_late
from analysis.models.visit_history import KINDS
from analysis.problems import NotEnough
from analysis.stats.forecast_checks import by_steps_ahead, scaled_error

LEVELS = (0.50, 0.80, 0.95)
YEAR = 12
FUTURES_SHARED_OUT = 500
"""Futures in which sites are drawn at each month-end: ends of ranges are then known to about a fortieth of their width."""
LEAST_A_MONTH = 5.0
"""Visits a month, on average over the months tried, below which a kind or site is not judged (our choice, no source)."""
FEWEST_FORECASTS = 6
"""Forecasts of a kind or site below which it is not judged (our choice, no source)."""
ALL = "all"


@dataclass(frozen=True, eq=False)
class PartCounts:
    """What came in the log's whole months.

    Attributes
    ----------
    kinds : numpy.ndarray, shape (months, kinds)
    sites : SiteCounts or None
        None where the log names no site.
    """

    kinds: np.ndarray
    sites: SiteCounts | None


def tried_parts(known: Demand, came: PartCounts, origin: int, factor: float, rng: np.random.Generator) -> pd.DataFrame:
    """Set one past forecast's kinds and sites beside what came.

    Parameters
    ----------
    known : Demand
        The forecast as drawn at that month's end.
    came : PartCounts
    origin : int
        Place of the first month forecast among the whole months.
    factor : float
        How many times as far from what is expected its futures are moved.
    rng : numpy.random.Generator

    Returns
    -------
    pandas.DataFrame
        A row for each kind or site and month: ``kind``, ``site`` (one of them
        ``all``), ``ahead``, ``expected``, ``came``, ``year_before`` (missing in
        the first year) and the ends of the ranges.
    """
    steps = len(known.expected)
    coming = slice(origin, origin + steps)
    wide = spread_out(known.drawn, known.expected, factor)
    parts = [_rows(known.expected, wide, came.kinds, coming, [(kind, ALL) for kind in KINDS])]
    if came.sites is not None:
        parts += _site_rows(known, wide[:FUTURES_SHARED_OUT], came.sites, origin, rng)
    return pd.concat(parts, ignore_index=True)


def _site_rows(
    known: Demand, wide: np.ndarray, log: SiteCounts, origin: int, rng: np.random.Generator
) -> Iterable[pd.DataFrame]:
    """Share the forecast out between the sites that had visits enough by then; none where fewer than two had."""
    try:
        sites = shares_of_late(log.until(origin))
    except NotEnough:
        return  # too early in the log; later month-ends may have enough
    named = [place for place, name in enumerate(sites.names) if name != NO_SITE]
    drawn = drawn_by_site(wide, sites, rng).sum(axis=2)[..., named]
    came = log.counts.sum(axis=1)[:, [log.names.index(sites.names[place]) for place in named]]
    expected = expected_by_site(known.expected, sites).sum(axis=1)[:, named]
    coming = slice(origin, origin + len(expected))
    yield _rows(expected, drawn, came, coming, [(ALL, sites.names[place]) for place in named])


def _rows(
    expected: np.ndarray, drawn: np.ndarray, counts: np.ndarray, coming: slice, names: list[tuple[str, str]]
) -> pd.DataFrame:
    """Lay months and parts out in rows."""
    steps, parts = expected.shape
    before = np.arange(coming.start, coming.stop) - YEAR
    year_before = np.where((before >= 0)[:, None], counts[before], np.nan)
    kinds, sites = zip(*names, strict=True)
    columns = {
        "kind": np.tile(np.array(kinds, dtype=object), steps),
        "site": np.tile(np.array(sites, dtype=object), steps),
        "ahead": np.repeat(np.arange(1, steps + 1), parts),
        "expected": expected.ravel(),
        "came": counts[coming].ravel(),
        "year_before": year_before.ravel(),
    }
    for level in LEVELS:
        for end, values in zip(("low", "high"), count_range(drawn, level), strict=True):
            columns[f"{end}_{round(100 * level)}"] = values.ravel()
    return pd.DataFrame(columns)


def led_parts(parts: pd.DataFrame, totals: pd.DataFrame, moved: pd.DataFrame) -> pd.DataFrame:
    """Give the parts of a trial in which a simple method's totals took the place of the forecast's own.

    Parameters
    ----------
    parts : pandas.DataFrame
        As ``tried_parts`` made them, with ``made``.
    totals, moved : pandas.DataFrame
        The trial's rows before and after (``made``, ``ahead``, ``expected``,
        ``spread``, ``factor``), alike in order.

    Returns
    -------
    pandas.DataFrame
        Without the month-ends at which the method could not be used.
    """
    lift = moved["expected"] / totals["expected"].where(totals["expected"] > 0, np.nan)
    scale = moved["spread"] * moved["factor"] / (totals["spread"] * totals["factor"])
    change = pd.DataFrame({"made": totals["made"], "ahead": totals["ahead"], "lift": lift.fillna(1.0), "scale": scale})
    rows = parts.merge(change, on=["made", "ahead"], validate="many_to_one")
    expected = rows["expected"] * rows["lift"]
    for level in LEVELS:
        for end in (f"low_{round(100 * level)}", f"high_{round(100 * level)}"):
            rows[end] = (expected + rows["scale"] * (rows[end] - rows["expected"])).clip(lower=0.0)
    return rows.assign(expected=expected).drop(columns=["lift", "scale"])


def part_checks(parts: pd.DataFrame, least_a_month: float = LEAST_A_MONTH) -> dict[tuple[str, str], pd.DataFrame]:
    """Sum up past forecasts of each kind and site with enough visits, by months ahead and of all together.

    Parameters
    ----------
    parts : pandas.DataFrame
        As ``tried_parts`` made them.
    least_a_month : float, optional
        Visits a month, on average over the months tried, below which a kind or
        site is left out.

    Returns
    -------
    dict of (str, str) to pandas.DataFrame
        By kind and site, one of them ``all``. Rows by months ahead, then 0 for
        all of them together: the columns of ``by_steps_ahead``, and ``times_year_before``,
        the size of the misses against those of taking the same month a year before.
    """
    found = {}
    for (kind, site), rows in parts.groupby(["kind", "site"], sort=False):
        if len(rows) >= FEWEST_FORECASTS and rows["came"].mean() >= least_a_month:
            found[str(kind), str(site)] = _checked(rows)
    return found


def _checked(rows: pd.DataFrame) -> pd.DataFrame:
    """Sum up one kind's or one site's forecasts."""
    both = pd.concat([rows, rows.assign(ahead=0)], ignore_index=True)
    ranges = {
        level: (both[f"low_{round(100 * level)}"].to_numpy(), both[f"high_{round(100 * level)}"].to_numpy())
        for level in LEVELS
    }
    found = by_steps_ahead(both["ahead"].to_numpy(), both["came"].to_numpy(), both["expected"].to_numpy(), ranges)
    times = {}
    for ahead, each in both[both["year_before"].notna()].groupby("ahead"):
        ours, simple = ((each["came"] - each[name]).to_numpy() for name in ("expected", "year_before"))
        times[ahead] = scaled_error(ours, simple)
    return found.assign(times_year_before=pd.Series(times, dtype="float64"))

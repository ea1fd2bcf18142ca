"""Forecasts of simulated clinics beside what then came: ``python -m tests.truth.demand_study`` writes the tables again."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.models.demand import Draws, count_range, forecast_demand
from analysis.models.demand_backtest import as_used, backtest_demand
from analysis.models.visit_history import day_number, visit_history
from analysis.models.visit_streams import monthly_counts
from tests.truth.demand_world import START, invented_visits

PAGE = Path("shared/demand_study.md")
LEVELS = (0.50, 0.80, 0.95)
AHEAD = 6
KNOWN_MONTHS, KNOWN_MONTHS_CLOSING = 36, 33
"""Months of log forecast from: to the end of a year, or of September, so that Christmas lies ahead."""
FIRST_SEED = 5000


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """One clinic: what was expected, what came and whether it fell within each range, by months ahead.

    ``errors`` are the misses of its own trial against each simple method's; ``led`` says whether one took over.
    """

    expected: np.ndarray
    came: np.ndarray
    inside: np.ndarray
    width: np.ndarray
    factor: float
    errors: dict[str, float]
    led: bool


def one_clinic(seed: int, *, closing: bool = False) -> Trial:
    """Forecast six months of a clinic from its first three years, as the answer does."""
    visits = invented_visits(np.random.default_rng(FIRST_SEED + seed), closing=closing)
    cut = START + pd.DateOffset(months=KNOWN_MONTHS_CLOSING if closing else KNOWN_MONTHS) - pd.Timedelta(days=1)
    first, last = day_number(START), day_number(cut)
    known, rng = visit_history(visits, last_day=cut), np.random.default_rng(seed)
    demand = forecast_demand(
        known, first=first, last=last, months_ahead=AHEAD, rng=rng, draws=Draws(futures=1000, rates=60)
    )
    trial = backtest_demand(known, whole=demand.months.whole, first=first, rng=rng)
    used = as_used(demand, trial, keep_own=False)
    later = visit_history(visits, last_day=cut + pd.DateOffset(months=AHEAD + 1))
    came = monthly_counts(later, demand.months.ahead, np.ones(len(later.day), dtype=bool)).sum(axis=1)
    drawn = used.demand.drawn.sum(axis=2)
    ranges = [count_range(drawn, level) for level in LEVELS]
    return Trial(
        expected=used.demand.expected.sum(axis=1),
        came=came,
        inside=np.array([(low <= came) & (came <= high) for low, high in ranges]),
        width=np.array([high - low for low, high in ranges]),
        factor=used.factor,
        errors=trial.scaled_errors(),
        led=used.leads is not None,
    )


def table(trials: list[Trial]) -> pd.DataFrame:
    """Sum up by months ahead: bias, typical miss, coverage and width of each range."""
    expected, came = (np.array([getattr(trial, name) for trial in trials]) for name in ("expected", "came"))
    inside, width = (np.array([getattr(trial, name) for trial in trials]) for name in ("inside", "width"))
    columns: dict[str, np.ndarray] = {
        "months ahead": np.arange(1, AHEAD + 1),
        "visits that came": came.mean(axis=0),
        "bias, %": 100 * (expected.sum(axis=0) / came.sum(axis=0) - 1),
        "typical miss, %": 100 * np.abs(expected / came - 1).mean(axis=0),
    }
    for place, level in enumerate(LEVELS):
        columns[f"within the {level:.0%} range, %"] = 100 * inside[:, place].mean(axis=0)
        columns[f"width at {level:.0%}, visits"] = width[:, place].mean(axis=0)
    return pd.DataFrame(columns)


def page(trials: list[Trial], closing: list[Trial]) -> str:
    """Write the page."""
    beside = "; ".join(
        f"{name.replace('_', ' ')} {np.mean([trial.errors[name] for trial in trials]):.2f}" for name in trials[0].errors
    )
    lines = [
        "# The forecast on simulated clinics\n",
        f"{len(trials)} clinics with growth, season, recalls, second attempts and people who never return, simulated for "
        "42 months by `tests/truth/demand_world.py`. Each is forecast from its first 36 months as the answer does it, "
        "ranges widened by its own past misses, and set beside the six months that came. Invented clinics are tidier "
        "than real ones: no illness, no change of price.\n",
        *_told(trials),
        f"\nRanges were made {np.mean([trial.factor for trial in trials]):.2f} times as wide on average. In each clinic's "
        f"own trial of its 30 month-ends, one to six months ahead, misses as a multiple of a simple method's were, on "
        f"average: {beside}. A simple method took the forecast's place in {sum(trial.led for trial in trials)} of the "
        f"{len(trials)} clinics; in these worlds none should.\n",
        "## Clinics that close over Christmas and Easter\n",
        f"{len(closing)} clinics more, shut from 24 December to 1 January, on Good Friday and on Easter Monday, forecast from "
        "their first 33 months: October to March lie ahead, December third. Nobody new comes on closed days; whoever is "
        "due comes on the next open one.\n",
        *_told(closing),
        f"\nRanges were made {np.mean([trial.factor for trial in closing]):.2f} times as wide on average. A simple method "
        f"took the forecast's place in {sum(trial.led for trial in closing)} of them.\n",
        f"Written by `python -m tests.truth.demand_study --clinics {len(trials)} --closing {len(closing)}`.",
    ]
    return "\n".join(lines) + "\n"


def _told(trials: list[Trial]) -> list[str]:
    """Say how many months came within their ranges, and lay them out by months ahead."""
    found, many = table(trials), len(trials)
    inside = np.array([trial.inside for trial in trials]).mean(axis=2)
    errors = 100 * inside.std(axis=0, ddof=1) / np.sqrt(many)
    whole = "; ".join(
        f"{level:.0%} range {100 * share:.1f} % (standard error {error:.1f})"
        for level, share, error in zip(LEVELS, inside.mean(axis=0), errors, strict=True)
    )
    one_month = 100 * float(np.sqrt(0.8 * 0.2 / many))
    counts = ("months ahead", "visits that came")
    worst = found.loc[found["within the 80% range, %"].idxmin()].to_dict()
    return [
        f"Months within their range, all six together: {whole}. A single row's share of 80 % over so many clinics is good "
        f"to about {one_month:.1f} points (one standard error). It held least often {worst['months ahead']:.0f} months ahead: "
        f"{worst['within the 80% range, %']:.1f} %, with a bias of {worst['bias, %']:.1f} %.\n",
        "| " + " | ".join(found.columns) + " |",
        "|" + "---|" * len(found.columns),
        *(
            "| " + " | ".join(f"{value:.{0 if name in counts else 1}f}" for name, value in row.items()) + " |"
            for _, row in found.iterrows()
        ),
    ]


def main() -> None:
    """Simulate, forecast and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clinics", type=int, default=200)
    parser.add_argument("--closing", type=int, default=100)
    asked = parser.parse_args()
    trials = [one_clinic(seed) for seed in range(asked.clinics)]
    closing = [one_clinic(FIRST_SEED + seed, closing=True) for seed in range(asked.closing)]
    PAGE.write_text(page(trials, closing), encoding="utf-8")


if __name__ == "__main__":
    main()

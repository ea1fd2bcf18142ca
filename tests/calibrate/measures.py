"""Bias, standard errors, coverage and false alarms over many clinics, each with its Monte Carlo error.

Morris, White and Crowther (2019), Statistics in Medicine 38, 2074-2102, table 6. The truth differs a little from
clinic to clinic (each has its own patients), so *off* is figure less that clinic's truth, and the empirical standard
error is the spread of *off*. Figures of one clinic go together: where a row holds several of them (ears of a grade,
kinds of booking), a clinic counts once, with its mean.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.stats import gamma, lognorm

from analysis.demo import story
from tests.calibrate.figures import LEVELS
from tests.calibrate.running import Done, Task
from tests.calibrate.truths import BIN_MINUTES

Kinds = dict[str, dict[int, int]]
QUANTILES = "minutes_quantile"
LOG_NORMAL = "log-normal minutes"
KEPT_TOGETHER = {"added_minutes": (1,), QUANTILES: (2,)}
"""Names of which some parts only tell a row from another: ears by grade, quantiles by share."""


def figure_table(tasks: list[Task], done: list[Done]) -> pd.DataFrame:
    """Lay every figure of every clinic out, with whether each range held the truth."""
    quantiles = true_quantiles(tasks, done)
    rows = []
    for task, one in zip(tasks, done, strict=True):
        for name, value, error, ranges, truth in one["rows"]:
            if name[0] == QUANTILES:
                truth = quantiles[task.world, task.visits, name[1], name[2]]
            rows.append(_row(task, tuple(name), value, error, ranges, truth))
    return pd.DataFrame(rows)


def _row(task: Task, name: tuple[str, ...], value: float, error: float, ranges: list, truth: float) -> dict[str, Any]:
    """Say of one figure how far off it is and which of its ranges held."""
    parts = KEPT_TOGETHER.get(name[0], tuple(range(1, len(name))))
    row = {
        "world": task.world, "visits": task.visits, "clinic": task.number, "quantity": name[0],
        "of": ", ".join(name[part] for part in parts), "value": value, "error": error, "truth": truth, "off": value - truth,
    }  # fmt: skip
    for level, (low, high) in zip(LEVELS, ranges, strict=True):
        row[f"held_{level * 100:.0f}"] = float(low <= truth <= high) if np.isfinite(low) else np.nan
    low, high = ranges[-1]
    return row | {"claims": float(low > 0 or high < 0)}


def true_quantiles(tasks: list[Task], done: list[Done]) -> dict[tuple[str, int, str, str], float]:
    """Minutes that shares of a world's visits of a kind stay within: all its clinics' planted means together."""
    together: dict[tuple[str, int, str], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    asked = set()
    for task, one in zip(tasks, done, strict=True):
        for kind, counts in one["kinds"].items():
            for step, many in counts.items():
                together[task.world, task.visits, kind][int(step)] += many
        asked |= {(task.world, task.visits, name[1], name[2]) for name, *_ in one["rows"] if name[0] == QUANTILES}
    return {key: _quantile(together[key[:3]], float(key[3]), key[0] == LOG_NORMAL) for key in sorted(asked)}


def _quantile(counts: dict[int, int], share: float, log_normal: bool) -> float:
    """Amount that a share of a mixture of gamma (or log-normal) minutes stays within."""
    means = BIN_MINUTES * np.array(list(counts))
    weights = np.array(list(counts.values())) / sum(counts.values())
    spread = np.sqrt(np.log1p(1 / story.MINUTES_SHAPE))

    def beyond(limit: float) -> float:
        if log_normal:
            within = lognorm.cdf(limit, spread, scale=means * np.exp(-(spread**2) / 2))
        else:
            within = gamma.cdf(limit, story.MINUTES_SHAPE, scale=means / story.MINUTES_SHAPE)
        return float(weights @ within) - share

    return float(brentq(beyond, 0.1, 200.0, xtol=1e-9))


def performance(figures: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Sum up by world, size or both: every measure, with its Monte Carlo error in the column ``..._mc``."""
    return pd.DataFrame(
        [dict(zip(by, key, strict=True)) | _measures(rows) for key, rows in figures.groupby(by, sort=False)]
    )


def _measures(rows: pd.DataFrame) -> dict[str, float]:
    """Work out one row's measures; a clinic counts once."""
    each = rows.groupby(["world", "visits", "clinic"])
    off, n = each["off"].mean(), each.ngroups
    square, error_square = each["off"].agg(lambda a: np.mean(a**2)), each["error"].agg(lambda a: np.mean(a**2))
    spread = max(float(square.mean() - off.mean() ** 2), 0.0)  # mean square of all figures of a row, less the bias
    empirical, model = float(np.sqrt(spread * n / max(n - 1, 1))), float(np.sqrt(error_square.mean()))
    found = {
        "clinics": n,
        "truth": float(rows["truth"].mean()),
        "bias": float(off.mean()),
        "bias_mc": float(off.std(ddof=1) / np.sqrt(n)) if n > 1 else np.nan,
        "empirical_error": empirical,
        "empirical_error_mc": empirical / np.sqrt(2 * max(n - 1, 1)),
        "model_error": model,
        "model_error_mc": float(error_square.std(ddof=1) / (2 * model * np.sqrt(n))) if n > 1 else np.nan,
    }
    for level in LEVELS:
        held = each[f"held_{level * 100:.0f}"].mean().dropna()
        share = float(held.mean()) if len(held) else np.nan
        found[f"held_{level * 100:.0f}"] = share
        found[f"held_{level * 100:.0f}_mc"] = _share_error(held, share)
    null = rows["truth"].abs() < 1e-12
    alarms = rows[null].groupby(["world", "visits", "clinic"])["claims"].mean()
    share = float(alarms.mean()) if len(alarms) else np.nan
    return found | {"false_alarms": share, "false_alarms_mc": _share_error(alarms, share)}


def _share_error(held: pd.Series, share: float) -> float:
    """Monte Carlo error of a share over clinics.

    Where each clinic has one figure it is the binomial's, with two held and two missed added (Agresti and Coull 1998):
    eight of eight held is no proof that all would.
    """
    if len(held) < 2:
        return np.nan
    if held.isin([0.0, 1.0]).all():
        among = len(held) + 4
        likely = (share * len(held) + 2) / among
        return float(np.sqrt(likely * (1 - likely) / among))
    return float(held.std(ddof=1) / np.sqrt(len(held)))

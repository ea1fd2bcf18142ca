"""How much faster the fits are than what one would otherwise pick, in one run.

Each line fits the same INVENTED visits twice: as this suite does, rows alike put
together first, and row by row with the library named. Seconds include the putting
together; both must find the same figures.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import lifelines
import numpy as np
import pandas as pd
import statsmodels.api as sm

from analysis.models.case_mix_fit import fitted_coefficients
from analysis.stats.censored import weibull_regression
from analysis.stats.clustered import clustered_covariance
from analysis.stats.gamma_identity import fit_gamma_identity
from analysis.stats.quantile_regression import quantile_line
from tests.bench.beside import compared
from tests.bench.line import Line

SIZES = (10_000, 1_000_000)
SHARE = 0.8


@dataclass(frozen=True, eq=False)
class Visits:
    """Invented visits: 72 cells of four facts, whole minutes, days until the next look."""

    design: np.ndarray
    minutes: np.ndarray
    success: np.ndarray
    low: np.ndarray
    high: np.ndarray
    patients: np.ndarray


def invented(visits: int) -> Visits:
    """Draw visits of a third as many patients."""
    rng = np.random.default_rng(11)
    facts = [
        pd.get_dummies(rng.integers(0, levels, visits), drop_first=True).to_numpy(float) for levels in (3, 4, 3, 2)
    ]
    design = np.column_stack([np.ones(visits), *facts])
    minutes = np.ceil(rng.gamma(9.0, (10 + design[:, 1:].sum(axis=1) * 3) / 9.0))
    success = rng.random(visits) < 1 / (1 + np.exp(-(1 - 0.4 * design[:, 1:].sum(axis=1))))
    due = 400 * np.exp(-0.2 * design[:, 1:].sum(axis=1)) * rng.weibull(1.5, visits)
    looked = np.ceil(rng.uniform(90, 720, visits))
    low, high = np.where(due < looked, 0.0, looked), np.where(due < looked, looked, np.inf)
    return Visits(design, minutes, success, low, high, rng.integers(0, max(visits // 3, 1), visits))


def minutes_in_cells(given: Visits) -> np.ndarray:
    """Fit minutes as a sum of parts, with patient-clustered errors."""
    fit = fit_gamma_identity(given.design, given.minutes)
    clustered_covariance(fit.bread, fit.scores, given.patients)
    return fit.params


def minutes_by_row(given: Visits) -> np.ndarray:
    """Fit them by statsmodels, a row a visit."""
    family = sm.families.Gamma(link=sm.families.links.Identity())
    start = np.append(given.minutes.mean(), np.zeros(given.design.shape[1] - 1))
    fit = sm.GLM(given.minutes, given.design, family=family).fit(
        start_params=start, tol=1e-10, cov_type="cluster", cov_kwds={"groups": given.patients}
    )
    return np.asarray(fit.params)


def shares_in_cells(given: Visits) -> np.ndarray:
    """Fit a logistic model of first-attempt success."""
    return fitted_coefficients(given.design, given.success, shares=True)


def shares_by_row(given: Visits) -> np.ndarray:
    """Fit it by statsmodels, a row a visit."""
    model = sm.GLM(given.success.astype(float), given.design, family=sm.families.Binomial())
    return np.asarray(model.fit(tol=1e-10).params)


def quantile_in_cells(given: Visits) -> np.ndarray:
    """Give each visit the minutes that four in five stay within."""
    return given.design @ quantile_line(given.design, given.minutes, SHARE)


def quantile_by_row(given: Visits) -> np.ndarray:
    """Find them by statsmodels, a row a visit."""
    fit = sm.QuantReg(given.minutes, given.design).fit(q=SHARE, max_iter=5000)
    return given.design @ np.asarray(fit.params)


def times_in_cells(given: Visits) -> np.ndarray:
    """Fit the Weibull time until an ear is occluding again, with patient-clustered errors."""
    return weibull_regression(given.low, given.high, given.design, clusters=given.patients).coefficients


def times_by_row(given: Visits) -> np.ndarray:
    """Fit it by lifelines, a row an ear."""
    names = [f"x{number}" for number in range(1, given.design.shape[1])]
    rows = pd.DataFrame(given.design[:, 1:], columns=names).assign(low=given.low, high=given.high)
    fit = lifelines.WeibullAFTFitter().fit_interval_censoring(rows, lower_bound_col="low", upper_bound_col="high")
    return fit.params_["lambda_"][["Intercept", *names]].to_numpy()


def times_row_by_row(given: Visits) -> np.ndarray:
    """Fit it by the same search with no two rows alike: what putting rows together saves."""
    low = given.low * (1 + 1e-13 * np.arange(len(given.low)))
    high = given.high * (1 + 1e-13 * np.arange(len(given.low)))
    return weibull_regression(low, high, given.design, clusters=given.patients).coefficients


PAIRS = (
    ("minutes: gamma, identity link, patients clustered", minutes_in_cells, "statsmodels GLM, by row", minutes_by_row),
    ("shares: logistic", shares_in_cells, "statsmodels GLM, by row", shares_by_row),
    ("minutes that 80 % stay within", quantile_in_cells, "statsmodels QuantReg, by row", quantile_by_row),
    ("months until occluding: Weibull, intervals", times_in_cells, "lifelines, by row", times_by_row),
    ("months until occluding: Weibull, intervals", times_in_cells, "the same search, by row", times_row_by_row),
)


def lines(sizes: Sequence[int]) -> Iterator[Line]:
    """Fit each model at each size both ways; the best of a few runs of ours, one of the other's."""
    for visits in sizes:
        given = invented(visits)
        for what, ours, beside, theirs in PAIRS:
            yield compared(what, visits, (ours, theirs), given, beside)

"""Weibull and log-logistic times with covariates against R's survival package, published figures and lifelines.

``values/covariate_times.json`` names, for every block, the data and where they come from,
the R call, the package versions and, where there are any, the published figures and how
they are known; the CSV files beside it are the data. lifelines 0.30.0 fits the same
likelihood by another search, which stops sooner: its tolerances are wider.

R's frailty and Cox fits of the kidney catheters and of the two eyes are not compared:
they maximise a partial likelihood, in which no curve has a shape, so their coefficients
and errors are other quantities than ours. The two eyes' clustered Weibull errors are
compared in ``test_censored_times.py``; the kidney catheters have none.
"""

from __future__ import annotations

import json
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.stats.averaged_times import AveragedTimes
from analysis.stats.censored import TimeRegression, time_regression
from analysis.stats.time_families import FAMILIES, LOG_LOGISTIC, Family
from tests.outside.referee import approx, as_printed

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "covariate_times.json").read_text(encoding="utf-8"))
SAME = 1e-6  # maximum likelihood run to the end on both sides; R's own search stops at about 1e-9 of the likelihood
R_NAMES = {"weibull": "weibull", "loglogistic": "log_logistic", "current_status": "weibull", "full": "weibull"}

Rows = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(VALUES / f"{name}.csv")


def rows(low: pd.Series, high: pd.Series, *columns: pd.Series, counts: pd.Series | None = None) -> Rows:
    design = np.column_stack([np.ones(len(low)), *columns]).astype(float)
    weights = np.ones(len(low)) if counts is None else counts.to_numpy(dtype=float)
    return low.fillna(0).to_numpy(dtype=float), high.fillna(np.inf).to_numpy(dtype=float), design, weights


def seen(table: pd.DataFrame, time: str, event: str, *columns: str) -> Rows:
    return rows(table[time], table[time].where(table[event] == 1), *(table[each] for each in columns))


def gehan() -> Rows:
    table = data("gehan")
    return seen(table.assign(mp=table["treat"] == "6-MP"), "time", "cens", "mp")


def ovarian() -> Rows:
    return seen(data("ovarian"), "futime", "fustat", "age", "ecog.ps")


def lung() -> Rows:
    return seen(data("lung").dropna(subset=["ph.ecog"]), "time", "event", "age", "sex", "ph.ecog")


def larynx() -> Rows:
    return seen(data("larynx"), "time", "death", "Stage_II", "Stage_III", "Stage_IV", "age")


def leukaemia(*, looked_at_once: bool) -> Rows:
    table = data("leuk_current_status")
    covariates = (table["ag_present"], table["logwbc"])
    if not looked_at_once:
        return rows(table["time"], table["time"], *covariates)
    by_then = table["event_by_inspect"] == 1
    return rows(table["inspect"].where(~by_then), table["inspect"].where(by_then), *covariates)


def turbine() -> Rows:
    table = data("turbine")
    failed = pd.DataFrame({"high": table["hours"], "n": table["failed"]})
    whole = pd.DataFrame({"low": table["hours"], "n": table["inspected"] - table["failed"]})
    both = pd.concat([failed, whole])
    return rows(both["low"], both["high"], counts=both["n"])


def ovarian_between() -> Rows:
    table = data("ovarian_interval")
    return rows(table["ltime"], table["rtime"], table["age"], table["ecog.ps"])


def breast() -> Rows:
    table = data("breast_cosmesis")
    return rows(table["left"], table["right"], table["rct"])


FITS: dict[str, tuple[Callable[[], Rows], list[str]]] = {
    "rec-o02": (gehan, ["(Intercept)", "mp"]),
    "rec-o03": (ovarian, ["(Intercept)", "age", "ecog.ps"]),
    "rec-o04": (lung, ["(Intercept)", "age", "sex", "ph.ecog"]),
    "rec-o07": (turbine, ["(Intercept)"]),
    "rec-o09": (ovarian_between, ["(Intercept)", "age", "ecog.ps"]),
    "rec-o10": (breast, ["(Intercept)", "rct"]),
    "rec-o12": (larynx, ["(Intercept)", "Stage_II", "Stage_III", "Stage_IV", "age"]),
    "rec-o08": (lambda: leukaemia(looked_at_once=True), ["(Intercept)", "ag_present", "logwbc"]),
}
CASES = [
    (block, name)
    for block in FITS
    for name in ("weibull", "loglogistic", "current_status")
    if f"{name}.loglik" in BLOCKS[block]["values"]
]


def fit(of: Rows, family: Family, **more) -> TimeRegression:
    low, high, design, counts = of
    return time_regression(low, high, design, counts=counts, family=family, **more)


def compare(found: TimeRegression, values: dict[str, float], name: str, terms: list[str]) -> None:
    assert found.log_likelihood == approx(values[f"{name}.loglik"], rel=1e-9)
    assert found.coefficients == approx([values[f"{name}.coef.{term}"] for term in terms], rel=SAME)
    assert found.log_sigma == approx(values[f"{name}.log_scale"], rel=SAME)
    errors = [*(values[f"{name}.se.{term}"] for term in terms), values[f"{name}.log_scale_se"]]
    assert np.sqrt(np.diag(found.covariance)) == approx(errors, rel=SAME)


@pytest.mark.parametrize(("block", "name"), CASES)
def test_times_with_covariates_and_their_errors_agree_with_r(block, name):
    read, terms = FITS[block]
    compare(fit(read(), FAMILIES[R_NAMES[name]]), BLOCKS[block]["values"], name, terms)


def test_leukaemia_times_all_seen_agree_with_r():
    found = fit(leukaemia(looked_at_once=False), FAMILIES["weibull"])
    compare(found, BLOCKS["rec-o08"]["values"], "full", FITS["rec-o08"][1])


def test_predicted_quantiles_agree_with_r():
    values, found = BLOCKS["rec-o03"]["values"], fit(ovarian(), FAMILIES["weibull"])
    quantiles = {key: value for key, value in values.items() if ".q_age" in key}
    assert len(quantiles) == 6
    for key, expected in quantiles.items():
        age, share = key.split(".q_age")[1].split(".", 1)
        assert found.time_until(float(share), np.array([1.0, float(age), 1.0])).value == approx(expected, rel=SAME)


def test_klein_and_moeschbergers_larynx_table_is_found():
    """Their Weibull fit of the larynx data, from memory."""
    printed = BLOCKS["rec-o12"]["published"][0]["as_printed"]
    found, terms = fit(larynx(), FAMILIES["weibull"]), FITS["rec-o12"][1]
    ours = {f"weibull.coef.{term}": value for term, value in zip(terms, found.coefficients, strict=True)}
    ours["weibull.scale"] = float(np.exp(found.log_sigma))
    assert len(set(printed) & set(ours)) == 6
    for key in set(printed) & set(ours):
        assert as_printed(ours[key], float(printed[key]), len(printed[key].split(".")[1])), key


def test_log_logistic_figures_printed_in_the_survival_packages_own_tests_are_found():
    printed, found = BLOCKS["rec-o09"]["published"][0]["as_printed"], fit(ovarian_between(), LOG_LOGISTIC)
    assert as_printed(found.coefficients[0], float(printed["loglogistic.coef.(Intercept)"]), 4)
    assert as_printed(found.coefficients[1], float(printed["loglogistic.coef.age"]), 4)
    assert as_printed(found.log_sigma, float(printed["loglogistic.log_scale"]), 4)


def lifelines_fit(of: Rows, name: str, *, robust: bool = False):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it is written for an older pandas
        import lifelines

        fitter = {"weibull": lifelines.WeibullAFTFitter, "log_logistic": lifelines.LogLogisticAFTFitter}[name]()
        low, high, design, counts = of
        frame = pd.DataFrame(design[:, 1:], columns=[f"x{place}" for place in range(design.shape[1] - 1)])
        frame = frame.assign(low=low, high=high, n=counts).query("n > 0")
        fitter.fit_interval_censoring(frame, "low", "high", weights_col="n", robust=robust)
        return fitter


@pytest.mark.parametrize("name", ["weibull", "log_logistic"])
@pytest.mark.parametrize("read", [breast, ovarian_between, turbine], ids=lambda read: read.__name__)
def test_lifelines_finds_the_same_curves_between_limits(read, name):
    found, other = fit(read(), FAMILIES[name]), lifelines_fit(read(), name)
    theirs = other.params_.to_numpy()  # covariates in order of name, the constant, then the logarithm of the shape
    ours = [*found.coefficients[1:], found.coefficients[0], -found.log_sigma]
    assert ours == approx(theirs, rel=2e-3)  # its search stops at a likelihood within 1e-5
    assert found.log_likelihood == approx(other.log_likelihood_, rel=1e-6)
    assert found.log_likelihood >= other.log_likelihood_ - 1e-6


@pytest.mark.parametrize("name", ["weibull", "log_logistic"])
def test_lifelines_finds_the_same_errors_that_trust_no_shape(name):
    """The sandwich with every row by itself: the clustered one with clusters of one."""
    found = fit(breast(), FAMILIES[name], clusters=np.arange(len(breast()[0])))
    theirs = lifelines_fit(breast(), name, robust=True).standard_errors_.to_numpy()
    ours = np.sqrt(np.diag(found.covariance))[[1, 0, 2]]
    assert ours == approx(theirs, rel=5e-3)  # derivatives at its own, slightly other, maximum


@pytest.mark.parametrize("name", ["weibull", "log_logistic"])
def test_lifelines_finds_the_same_curve_averaged_over_people(name):
    """Standardised over the ovarian data's people: the mean of their own curves."""
    of, hours = ovarian_between(), [100.0, 400.0, 900.0]
    found, other = fit(of, FAMILIES[name]), lifelines_fit(of, name)
    people = pd.DataFrame(of[2][:, 1:], columns=["x0", "x1"])
    theirs = 1 - other.predict_survival_function(people, times=hours).mean(axis=1)
    averaged = AveragedTimes.over(found, of[2])
    assert [averaged.share_by(each).value for each in hours] == approx(theirs.to_numpy(), rel=2e-3)

"""Weibull regression and the Kaplan-Meier curve against R's survival package and published figures.

``values/recall.json`` names, for every block, the data and where they come from, the
R call, the package versions and, where there are any, the published figures and how
they are known; the CSV files beside it are the data.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.stats.censored import TimeRegression, weibull_regression
from analysis.stats.kaplan_meier import kaplan_meier
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "recall.json").read_text(encoding="utf-8"))
SAME = 1e-7  # both are maximum likelihood fits run to the end: only rounding and stopping rules differ


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(VALUES / f"{name}.csv")


def between(low: pd.Series, high: pd.Series, *columns: pd.Series, **more) -> TimeRegression:
    design = np.column_stack([np.ones(len(low)), *columns]).astype(float)
    return weibull_regression(low.fillna(0).to_numpy(), high.fillna(np.inf).to_numpy(), design, **more)


def breast() -> TimeRegression:
    table = data("breast_cosmesis")
    return between(table["left"], table["right"], table["rct"])


def ovarian() -> TimeRegression:
    table = data("ovarian_interval")
    return between(table["ltime"], table["rtime"], table["age"], table["ecog.ps"])


def cracks() -> TimeRegression:
    table = data("cracks")
    return between(table["left"], table["right"], counts=table["n"].to_numpy())


def turbine() -> TimeRegression:
    table = data("turbine")
    failed = pd.DataFrame({"low": 0.0, "high": table["hours"], "n": table["failed"]})
    whole = pd.DataFrame({"low": table["hours"], "high": np.inf, "n": table["inspected"] - table["failed"]})
    both = pd.concat([failed, whole])
    return between(both["low"], both["high"], counts=both["n"].to_numpy())


def gehan() -> TimeRegression:
    table = data("gehan")
    return between(table["time"], table["time"].where(table["cens"] == 1), table["treat"] == "6-MP")


def retinopathy(**more) -> TimeRegression:
    table = data("retinopathy")
    ended = table["futime"].where(table["status"] == 1)
    return between(table["futime"], ended, table["trt"], table["type"] == "adult", **more)


FITS = {
    "rec-o10": (breast, ["(Intercept)", "rct"]),
    "rec-o09": (ovarian, ["(Intercept)", "age", "ecog.ps"]),
    "rec-o14": (cracks, ["(Intercept)"]),
    "rec-o07": (turbine, ["(Intercept)"]),
    "rec-o02": (gehan, ["(Intercept)", "mp"]),
    "rec-o06": (retinopathy, ["(Intercept)", "trt", "adult"]),
}


@pytest.mark.parametrize("block", FITS)
def test_weibull_fits_agree_with_r(block):
    fit, terms = FITS[block][0](), FITS[block][1]
    values = BLOCKS[block]["values"]
    assert fit.log_likelihood == approx(values["weibull.loglik"], rel=SAME)
    assert np.exp(fit.log_sigma) == approx(values["weibull.scale"], rel=SAME)
    assert fit.coefficients == approx([values[f"weibull.coef.{term}"] for term in terms], rel=SAME)


@pytest.mark.parametrize("block", [block for block in FITS if block != "rec-o06"])
def test_standard_errors_agree_with_r(block):
    fit, terms = FITS[block][0](), FITS[block][1]
    values = BLOCKS[block]["values"]
    expected = [*(values[f"weibull.se.{term}"] for term in terms), values["weibull.log_scale_se"]]
    assert np.sqrt(np.diag(fit.covariance)) == approx(expected, rel=SAME)


def test_two_eyes_of_a_patient_go_together_as_in_r():
    values, terms = BLOCKS["rec-o06"]["values"], FITS["rec-o06"][1]
    alone = np.sqrt(np.diag(retinopathy().covariance))[:3]
    together = np.sqrt(np.diag(retinopathy(clusters=data("retinopathy")["id"].to_numpy()).covariance))[:3]
    assert alone == approx([values[f"weibull.se_model.{term}"] for term in terms], rel=SAME)
    assert together == approx([values[f"weibull.se_robust.{term}"] for term in terms], rel=SAME)


def test_the_share_survived_agrees_with_r():
    fit = turbine()
    for hours in (20, 40):
        expected = BLOCKS["rec-o07"]["values"][f"weibull.S.{hours}"]
        assert 1 - fit.share_by(hours, np.ones(1)).value == approx(expected, rel=SAME)


def test_the_published_scale_in_months_is_found():
    """SAS/QC documentation prints 71.69 months (from memory; R's copy of the data is in days)."""
    days = float(np.exp(cracks().coefficients[0]))
    assert round(days / 30.4375, 2) == 71.69


@pytest.mark.parametrize(("block", "fit"), [("rec-o09", ovarian), ("rec-o14", cracks)])
def test_figures_printed_in_the_survival_packages_own_tests_are_found(block, fit):
    printed = next(p["as_printed"] for p in BLOCKS[block]["published"] if "survival package" in p["source"])
    found = fit()
    ours = {"weibull.log_scale": found.log_sigma, "weibull.loglik": found.log_likelihood}
    ours |= {f"weibull.coef.{term}": value for term, value in zip(FITS[block][1], found.coefficients, strict=True)}
    compared = [key for key in printed if key in ours]
    assert len(compared) >= 3
    for key in compared:
        decimals = len(printed[key].split(".")[1])
        assert round(ours[key], decimals) == float(printed[key]), key


@pytest.mark.parametrize(("arm", "treat"), [("mp", "6-MP"), ("control", "control")])
def test_kaplan_meier_and_greenwood_agree_with_r(arm, treat):
    table = data("gehan")
    table = table[table["treat"] == treat]
    curve = kaplan_meier(table["time"].to_numpy(), table["cens"].to_numpy() == 1)
    compared = 0
    for key, expected in BLOCKS["rec-o01"]["values"].items():
        whose, quantity, time = key.split(".")
        if whose == arm:
            place = np.flatnonzero(curve.times == float(time)).item()
            ours = {"S": curve.survival, "greenwood_se": curve.standard_error, "n_risk": curve.at_risk}
            ranged = curve.estimate_at(float(time))
            found = (
                {"lo": ranged.low, "hi": ranged.high}[quantity] if quantity in ("lo", "hi") else ours[quantity][place]
            )
            assert found == approx(expected, rel=1e-12), key
            compared += 1
    assert compared >= 25


def test_kaplan_meier_rounds_to_the_printed_table():
    """Klein and Moeschberger's table of the 6-MP arm, from memory."""
    table = data("gehan").query("treat == '6-MP'")
    curve = kaplan_meier(table["time"].to_numpy(), table["cens"].to_numpy() == 1)
    assert curve.at([6, 7, 10, 13, 16, 22, 23]).round(3).tolist() == [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]


def test_counts_stand_for_rows_in_the_kaplan_meier_curve_and_its_error():
    table = data("gehan")
    counted = table.groupby(["time", "cens"]).size().reset_index(name="n")
    full = kaplan_meier(table["time"].to_numpy(), table["cens"].to_numpy() == 1)
    short = kaplan_meier(counted["time"].to_numpy(), counted["cens"].to_numpy() == 1, counted["n"].to_numpy())
    assert short.survival == approx(full.survival, rel=1e-12)
    assert short.standard_error == approx(full.standard_error, rel=1e-12)

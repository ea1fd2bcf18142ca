"""Minutes that add up, quantiles and their losses, against R and published printings.

``values/visit_time.json`` names the R calls and versions of every block. ``hills.csv`` is
``hills`` of the R package MASS 7.3-58.2 (GPL-2 or GPL-3), ``sleepstudy.csv`` of lme4 1.1-31
(GPL-2 or later), ``engel.csv`` of quantreg 5.94 (GPL-2 or later), ``faithful.csv`` of R 4.2.2.
"""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.stats import ttest_1samp

from analysis.derive.attempts import attempts
from analysis.models.visit_time import fit_visit_time
from analysis.planning.session import Bookings, run_template
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import VisitTimePart
from analysis.stats.clustered import clustered_covariance
from analysis.stats.gamma import gamma_shape, mixture_quantile
from analysis.stats.gamma_identity import fit_gamma_identity
from analysis.stats.quantiles import pinball_loss, quantiles
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "visit_time.json").read_text(encoding="utf-8"))
HILLS = BLOCKS["dur-o01"]["values"]
WAITING = json.loads((VALUES / "waiting.json").read_text(encoding="utf-8"))
TERMS = ("(Intercept)", "dist", "climb")
FIT = 1e-5  # both iterate the same equations; R stops at 1e-14 of the deviance, ours at 1e-10 of the parameters


@pytest.fixture(scope="module")
def hills() -> tuple[np.ndarray, np.ndarray]:
    data = pd.read_csv(VALUES / "hills.csv")
    return np.column_stack([np.ones(len(data)), data["dist"], data["climb"]]), data["time"].to_numpy()


def test_parts_and_their_model_errors_are_those_of_r(hills):
    fit = fit_gamma_identity(*hills)
    errors = np.sqrt(np.diag(fit.bread * fit.dispersion))
    assert fit.params == approx([HILLS[f"coef.{term}"] for term in TERMS], rel=FIT)
    assert errors == approx([HILLS[f"se_model.{term}"] for term in TERMS], rel=FIT)
    assert fit.dispersion == approx(HILLS["dispersion_pearson"], rel=FIT)
    fitted = [value for key, value in HILLS.items() if key.startswith("fitted_first5")]
    assert fit.means[:5] == approx(fitted, rel=FIT)


def test_errors_with_each_row_its_own_cluster_are_the_sandwich_of_r(hills):
    fit = fit_gamma_identity(*hills)
    covariance = clustered_covariance(fit.bread, fit.scores, np.arange(len(fit.means)))
    assert np.sqrt(np.diag(covariance)) == approx([HILLS[f"se_HC0.{term}"] for term in TERMS], rel=FIT)


def test_the_gamma_shape_given_the_means_is_that_of_r(hills):
    assert gamma_shape(hills[1], fit_gamma_identity(*hills).means) == approx(HILLS["shape_ml"], rel=FIT)


def test_clusters_of_several_rows_give_the_clustered_errors_of_r():
    expected, data = BLOCKS["dur-o05"]["values"], pd.read_csv(VALUES / "sleepstudy.csv")
    design = np.column_stack([np.ones(len(data)), data["Days"]])
    bread = np.linalg.inv(design.T @ design)
    residuals = data["Reaction"].to_numpy() - design @ (bread @ design.T @ data["Reaction"].to_numpy())
    covariance = clustered_covariance(bread, design * residuals[:, None], data["Subject"].to_numpy())
    # Least squares is exact: only rounding differs.
    assert np.sqrt(np.diag(covariance)) == approx([expected["se_CR0.(Intercept)"], expected["se_CR0.Days"]], rel=1e-9)


def test_cells_of_like_visits_give_what_all_rows_give():
    rng = np.random.default_rng(3)
    design = np.column_stack([np.ones(900), rng.integers(0, 3, 900), rng.integers(0, 2, 900)]).astype(float)
    minutes = rng.gamma(6, (design @ [9.0, 5.0, 2.0]) / 6)
    fit = fit_gamma_identity(design, minutes)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        family = sm.families.Gamma(link=sm.families.links.Identity())
        every_row = sm.GLM(minutes, design, family=family).fit(start_params=[9.0, 5.0, 2.0], tol=1e-12)
    assert fit.cells == 6
    assert fit.params == approx(every_row.params, rel=1e-8)  # two stopping rules
    assert np.sqrt(np.diag(fit.bread * fit.dispersion)) == approx(every_row.bse, rel=1e-6)


def test_a_gamma_quantile_is_that_of_r():
    expected = BLOCKS["dur-o12"]["values"]["gamma_k6.25_th4_cu3_co1.q"]
    assert mixture_quantile(0.75, np.array([25.0]), np.ones(1), 6.25) == approx(expected, rel=1e-8)


def test_quantiles_are_those_r_prints_for_old_faithful():
    # R's summary(faithful): 1.600, 2.163, 4.000, 4.454, 5.100 and 43, 58, 76, 82, 96 (from memory, rounded as printed).
    data, shares = pd.read_csv(VALUES / "faithful.csv"), [0, 0.25, 0.5, 0.75, 1]
    assert quantiles(data["eruptions"].to_numpy(), shares) == approx([1.6, 2.163, 4.0, 4.454, 5.1], abs=0.0005)
    assert quantiles(data["waiting"].to_numpy(dtype=float), shares) == approx([43, 58, 76, 82, 96], abs=0.5)


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_the_pinball_loss_of_engels_lines_is_that_of_quantreg(share):
    expected, data = BLOCKS["dur-o08"]["values"], pd.read_csv(VALUES / "engel.csv")
    line = expected[f"tau{share}.coef.(Intercept)"] + expected[f"tau{share}.coef.income"] * data["income"]
    loss = pinball_loss(data["foodexp"].to_numpy(), line.to_numpy(), share) * len(data)
    assert loss == approx(expected[f"tau{share}.check_loss"], rel=1e-9)  # a sum of given terms


def test_a_template_runs_over_as_computed_exactly_in_r():
    expected, sessions = WAITING["dur-o15-exact-session"]["values"], 40_000
    lengths = pd.read_csv(VALUES / "faithful.csv")["waiting"].to_numpy(dtype=float)
    minutes = np.random.default_rng(5).choice(lengths, (10, sessions))
    nobody = np.zeros(minutes.shape, dtype=int)
    found = run_template(
        np.array([75.0]),
        Bookings(nobody, minutes, np.ones(minutes.shape, bool), nobody.astype(float)),
        session_minutes=750.0,
        turnaround_minutes=0.0,
    )
    # Four Monte Carlo standard errors: overtime scatters by about 16 minutes, a session's mean wait by about 9.
    assert found.overtime_minutes == approx(expected["E_overtime"], abs=4 * 16 / np.sqrt(sessions))
    mean_wait = np.mean([expected[f"E_wait.{place}"] for place in range(1, 11)])
    assert found.mean_wait_minutes == approx(mean_wait, abs=4 * 9 / np.sqrt(sessions))
    assert found.patients_per_session == 10


def test_the_range_of_one_mean_is_students_as_scipy_gives_it():
    # scipy.stats.ttest_1samp (1.17) on R's faithful; a visit without ears has the mean for its only part
    waits = pd.read_csv(VALUES / "faithful.csv")["waiting"].astype(float)
    names = [f"v{place:03d}" for place in range(len(waits))]
    days = pd.Timestamp("2026-03-02") + pd.to_timedelta(np.arange(len(waits)), unit="D")
    facts = {"visit_id": names, "patient_key": names, "slot_start": days, "minutes": waits}
    visits = typed_frame(VISITS, pd.DataFrame(facts).assign(attendance="attended", minutes_quality="timed"))
    ears = typed_frame(EAR_ROWS, pd.DataFrame())
    worked = attempts(visits, ears, second_attempt_days=28, last_day=days.max())
    found = fit_visit_time(visits, worked, ears, VisitTimePart()).overhead
    theirs = ttest_1samp(waits, 0).confidence_interval(0.95)
    assert [found.low, found.high] == approx([theirs.low, theirs.high], rel=1e-9)  # the same sums in another order

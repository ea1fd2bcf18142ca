"""What can be learnt of a monthly count, and from how many months."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.counts import count_draws, fit_counts
from analysis.models.new_patients import fit_monthly, fit_recent, fit_season
from analysis.problems import NotEnough


def months(count: int, end: str = "2026-06") -> pd.PeriodIndex:
    return pd.period_range(end=end, periods=count, freq="M")


def growing(count: int, *, yearly: float = 0.3, season: float = 0.0) -> np.ndarray:
    """Expected counts, so that what is learnt can be read off exactly."""
    years = np.arange(1 - count, 1) / 12
    wave = season * np.cos(2 * np.pi * np.asarray(months(count).month) / 12)
    return np.round(4000 * np.exp(yearly * years + wave))


def test_five_months_are_too_few_and_say_so() -> None:
    with pytest.raises(NotEnough, match="covers 5 whole months; a forecast needs at least 6"):
        fit_monthly(np.full(5, 40), months(5), np.full(5, 20.0))


def test_months_without_such_a_visit_say_so() -> None:
    with pytest.raises(NotEnough, match="no such visit"):
        fit_monthly(np.zeros(8), months(8), np.full(8, 20.0))


def test_below_24_months_the_level_of_the_last_year_stands_with_wider_ranges() -> None:
    model = fit_monthly(growing(20), months(20), np.ones(20))
    assert (model.trend, model.harmonics, model.widened) == (False, 0, True)
    assert model.means(months(20)[-1:] + 1, np.ones(1))[0] == pytest.approx(growing(20)[-12:].mean())
    drawn = model.mean_draws(months(20)[-1:] + 6, np.ones(1), 4000, np.random.default_rng(2))
    assert 0.1 < np.log(drawn).std() < 0.3


def test_from_24_months_trend_and_season_are_learnt() -> None:
    model = fit_monthly(growing(30, season=0.2), months(30), np.ones(30))
    assert model.trend
    assert model.harmonics >= 1
    ahead = model.means(months(30)[-1:] + 6, np.ones(1))[0]
    assert ahead == pytest.approx(4000 * np.exp(0.15 + 0.2), rel=0.01)  # December, half a year on


def test_no_season_is_made_of_none() -> None:
    counts = np.random.default_rng(4).poisson(60, 36)
    assert fit_monthly(counts, months(36), np.ones(36)).harmonics == 0


def test_counts_go_with_opening_days() -> None:
    model = fit_monthly(np.array([40, 20, 40, 20, 40, 20]), months(6), np.array([20.0, 10, 20, 10, 20, 10]))
    assert model.means(months(6)[:2], np.array([20.0, 5.0])).tolist() == pytest.approx([40, 10])


def test_the_same_count_every_month_needs_no_warning() -> None:
    fit = fit_counts(np.full(8, 5), np.ones((8, 1)))
    assert (fit.dispersion, fit.corrected_dispersion) == (0.0, 0.0)
    assert np.exp(fit.coefficients[0]) == pytest.approx(5)


def test_patients_from_before_the_log_can_only_fade() -> None:
    rising = np.array([10, 12, 14, 17, 20, 24, 29, 35, 42, 50, 60, 72])
    level = fit_recent(rising, months(12), np.ones(12), fading=True)
    moving = fit_recent(rising, months(12), np.ones(12), fading=False)
    assert level.means(months(12)[-1:] + 1, np.ones(1))[0] == pytest.approx(rising.mean())
    assert moving.means(months(12)[-1:] + 1, np.ones(1))[0] == pytest.approx(72 * 1.2, rel=0.02)


def test_departures_by_the_time_of_year_are_learnt_around_what_was_expected() -> None:
    expected = np.full(36, 2000.0)
    wave = np.exp(0.1 * np.cos(2 * np.pi * np.asarray(months(36).month) / 12))
    model = fit_season(np.round(expected * wave), months(36), expected)
    january, july = (model.means(pd.PeriodIndex([month], freq="M"), np.ones(1))[0] for month in ("2027-01", "2027-07"))
    assert january / july == pytest.approx(np.exp(0.2 * np.cos(np.pi / 6)), rel=0.01)


def test_the_corrected_dispersion_makes_up_for_the_terms_spent() -> None:
    rng = np.random.default_rng(6)
    likeliest, corrected = [], []
    for _ in range(60):
        counts = count_draws(np.full(24, 80.0), 0.05, rng)
        terms = np.column_stack([np.ones(24), rng.standard_normal((24, 5))])
        fit = fit_counts(counts, terms)
        likeliest.append(fit.dispersion)
        corrected.append(fit.corrected_dispersion)
    assert np.mean(likeliest) < 0.045
    assert np.mean(corrected) == pytest.approx(0.05, abs=0.006)


def test_visits_of_the_first_month_alone_have_run_out_where_they_can_only_fade():
    with pytest.raises(NotEnough):
        fit_recent(np.array([87, 0, 0, 0, 0, 0]), months(6), np.full(6, 20.0), fading=True)


def test_visits_of_one_month_alone_make_no_trend():
    model = fit_recent(np.array([0, 0, 0, 0, 0, 60]), months(6), np.ones(6), fading=False)
    assert not model.trend
    np.testing.assert_allclose(model.means(months(7)[6:], np.ones(1)), 10.0)


def test_a_kind_first_written_down_in_the_last_month_does_not_grow_for_ever():
    model = fit_monthly(np.array([0] * 29 + [90]), months(30), np.ones(30))
    ahead = model.mean_draws(months(42)[30:], np.ones(12), 500, np.random.default_rng(1))
    assert not model.trend
    assert np.isfinite(ahead).all()
    np.testing.assert_allclose(model.means(months(42)[30:], np.ones(12)), 90 / 12)


def test_growth_beyond_twentyfold_a_year_is_not_carried_on():
    doubling = 4 * 2 ** np.arange(6)
    assert not fit_recent(doubling, months(6), np.ones(6), fading=False).trend
    assert fit_recent(np.round(40 * 1.2 ** np.arange(6)), months(6), np.ones(6), fading=False).trend


def test_visits_at_one_time_of_year_alone_take_no_wave_that_they_do_not_settle():
    each_may = np.where(np.arange(36) % 12 == 4, 40, 0)
    model = fit_monthly(each_may, months(36), np.ones(36))
    assert model.harmonics == 0
    assert np.isfinite(model.mean_draws(months(48)[36:], np.ones(12), 200, np.random.default_rng(1))).all()

"""Steps from a state to a further one: planted slopes come back, and thin or parted steps do without."""

import numpy as np
import pytest
from scipy.special import expit

from analysis.stats.continuation_ratio import continuation_ratio


def planted(many: int, seed: int = 2) -> tuple[np.ndarray, np.ndarray]:
    """Three states: the first step rises with x, the second falls."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=many)
    first, second = rng.random(many) < expit(0.5 + x), rng.random(many) < expit(-0.2 - 0.7 * x)
    return first.astype(int) * (1 + second), np.column_stack([np.ones(many), x])


def test_steps_with_slopes_of_opposite_sign_come_back():
    codes, columns = planted(20_000)
    found = continuation_ratio(codes, columns, np.arange(len(codes)))
    # about four standard errors
    assert found.params == pytest.approx(np.array([[0.5, 1.0], [-0.2, -0.7]]), abs=0.1)
    assert found.chances(columns).sum(axis=1) == pytest.approx(np.ones(len(codes)))


def test_rows_twice_over_are_no_more_certain():
    codes, columns = planted(500)
    once = continuation_ratio(codes, columns, np.arange(500))
    twice = continuation_ratio(np.tile(codes, 2), np.tile(columns, (2, 1)), np.tile(np.arange(500), 2))
    assert twice.covariance == pytest.approx(once.covariance, rel=1e-6)


def test_a_thin_step_has_its_share_and_no_slope():
    codes, columns = planted(400)
    codes[codes == 2] = 1
    codes[:6] = 2
    found = continuation_ratio(codes, columns, np.arange(400))
    assert found.params[0, 1] != 0
    assert found.params[1, 1] == 0
    assert expit(found.params[1, 0]) == pytest.approx(6 / (codes >= 1).sum())


@pytest.mark.parametrize("columns", ["parting", "constant"])
def test_a_covariate_that_parts_the_states_or_never_moves_is_left_out(columns):
    codes = np.repeat([0, 1], 50)
    x = np.repeat([0.0, 1.0], 50) if columns == "parting" else np.full(100, 2.5)
    found = continuation_ratio(codes, np.column_stack([np.ones(100), x]), np.arange(100))
    assert found.params.tolist() == [[0.0, 0.0]]
    assert np.isfinite(found.covariance).all()


def test_draws_begin_with_the_best():
    codes, columns = planted(500)
    found = continuation_ratio(codes, columns, np.arange(500))
    drawn = found.draws(2000, np.random.default_rng(1))
    assert drawn[0] == pytest.approx(found.params)
    # 2,000 draws give a spread good to about 2 %
    assert drawn[1:].std(axis=0).ravel() == pytest.approx(np.sqrt(np.diag(found.covariance)), rel=0.08)

"""Two arms compared in five ways: what must hold whatever the log, and what is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.adjusted import compared_arms
from analysis.models.softening_estimates import design_effect, side_by_side, standard_error
from analysis.models.softening_material import ears_material, second_visits_material
from analysis.problems import NotEnough
from analysis.schema import ATTEMPTS, typed_frame
from tests.softening_log import invented_attempts

UNTIL = pd.Timestamp("2027-01-01")
WAYS = ["unadjusted", "standardised", "weighted", "overlap_weighted", "doubly_robust"]


def made_up(seed: int = 1, n: int = 300) -> dict:
    rng = np.random.default_rng(seed)
    columns = pd.DataFrame({"hard": (rng.random(n) < 0.4).astype(float), "ears": rng.integers(1, 3, n).astype(float)})
    treated = rng.random(n) < 0.3 + 0.3 * columns["hard"].to_numpy()
    outcome = rng.random(n) < 0.5 + 0.2 * treated - 0.2 * columns["hard"].to_numpy()
    return {"columns": columns, "treated": treated, "outcome": outcome, "clusters": np.arange(n) // 2}


@pytest.mark.parametrize("way", WAYS)
def test_the_order_of_rows_and_the_names_of_patients_change_nothing(way):
    log = made_up()
    order = np.random.default_rng(2).permutation(300)
    turned = {name: (each.iloc[order] if name == "columns" else each[order]) for name, each in log.items()}
    turned["clusters"] = np.array([f"patient {1000 - each}" for each in turned["clusters"]], dtype=object)
    once, again = (compared_arms(**each, shares=True).arms[way] for each in (log, turned))
    assert again.treated == pytest.approx(once.treated, abs=1e-9)
    np.testing.assert_allclose(again.covariance, once.covariance, rtol=1e-6)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("shares", [True, False])
def test_with_both_arms_swapped_the_difference_turns_round(way, shares):
    log = made_up()
    there = compared_arms(**log, shares=shares).arms[way]
    back = compared_arms(**(log | {"treated": ~log["treated"]}), shares=shares).arms[way]
    assert there.treated - there.untreated == pytest.approx(back.untreated - back.treated, abs=1e-9)
    assert there.covariance[0, 0] == pytest.approx(back.covariance[1, 1], rel=1e-6)


def test_what_the_case_mix_decides_cannot_be_compared():
    log = made_up()
    decided = log | {"treated": log["columns"]["hard"].to_numpy() == 1}
    with pytest.raises(NotEnough, match="goes exactly with another fact"):
        compared_arms(**decided, shares=True)


def test_two_ears_that_always_end_alike_count_as_one():
    table = invented_attempts(np.random.default_rng(4), patients=400).attempts
    first = table.drop_duplicates("patient_key").assign(ear="left")
    both = typed_frame(ATTEMPTS, pd.concat([first, first.assign(ear="right")]))
    one = side_by_side(
        ears_material(typed_frame(ATTEMPTS, first), contrast="used", fewest_ears=50, followed_until=UNTIL), level=0.95
    )
    two = side_by_side(ears_material(both, contrast="used", fewest_ears=50, followed_until=UNTIL), level=0.95)
    assert design_effect(two.compared) == pytest.approx(2, rel=1e-9)
    assert design_effect(one.compared) == pytest.approx(1, rel=1e-9)
    assert standard_error(two.compared, "unadjusted") == pytest.approx(
        standard_error(one.compared, "unadjusted"), rel=1e-9
    )


def test_a_second_visit_is_a_further_attempt_of_the_same_episode():
    """Of 300 visits every third is followed by a second attempt at its right ear; later episodes do not count."""
    rng = np.random.default_rng(6)
    table = invented_attempts(rng, patients=300).attempts
    left = table.drop_duplicates("patient_key").assign(ear="left")
    right = left.assign(ear="right")
    tried = right.iloc[::3].assign(
        attempt_number=2, day=lambda row: row["day"] + pd.Timedelta(days=10), visit_id=lambda row: row["visit_id"] + "b"
    )
    anew = left.iloc[1::3].assign(
        day=lambda row: row["day"] + pd.Timedelta(days=90), visit_id=lambda row: row["visit_id"] + "c"
    )
    log = typed_frame(ATTEMPTS, pd.concat([left, right, tried, anew]).sort_values(["day", "visit_id", "ear"]))
    material = second_visits_material(log, contrast="used", fewest_visits=20, followed_until=UNTIL)
    assert material.outcome.sum() == 100
    assert len(material.outcome) == 400
    assert material.sample.left_out["later_attempt"] == 100

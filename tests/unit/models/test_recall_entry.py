"""When ears known before enter the log: told apart where they are many enough, and never so that groups cannot be."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.recall_entry import entry_columns

FEWEST = 30


def ears(many: int, *, known: bool, spread: bool = True) -> pd.DataFrame:
    """So many ears, half of them found occluding, entering over two years where known."""
    years = np.linspace(0, 2, many) if spread else np.ones(many)
    occluding = np.where(np.arange(many) % 2, 100.0, np.nan)
    return pd.DataFrame(
        {"entered_years": years if known else np.nan, "open_until_days": 50.0, "occluding_by_days": occluding}
    )


def test_known_ears_have_a_pace_of_their_own_that_moves_with_entry():
    both = pd.concat([ears(40, known=True), ears(40, known=False)])
    [columns] = entry_columns([both], FEWEST)
    assert columns[:, 0].tolist() == [1.0] * 40 + [0.0] * 40
    assert (columns[[0, 39, 40], 1] == [0.0, 2.0, 0.0]).all()


@pytest.mark.parametrize(("known", "new", "columns"), [(10, 200, 0), (200, 10, 1), (200, 200, 2)])
def test_there_are_as_many_columns_as_ears_can_bear(known, new, columns):
    both = pd.concat([ears(known, known=True), ears(new, known=False)])
    assert entry_columns([both], FEWEST)[0].shape == (known + new, columns)


def test_groups_share_the_columns_and_each_gets_its_own_rows():
    of = [pd.concat([ears(40, known=True), ears(many, known=False)]) for many in (40, 50)]
    assert [each.shape for each in entry_columns(of, FEWEST)] == [(80, 2), (90, 2)]


def test_where_a_group_is_all_known_and_the_other_all_new_entry_is_left_out():
    apart = [ears(60, known=True, spread=False), ears(60, known=False)]
    assert [each.shape for each in entry_columns(apart, FEWEST)] == [(60, 0), (60, 0)]

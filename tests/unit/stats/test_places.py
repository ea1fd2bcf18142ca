"""Labels looked up among others."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.stats.places import place_of


@pytest.mark.parametrize(
    ("wanted", "among", "places"),
    [
        (["v2", "v9", "v1"], ["v1", "v2"], [1, -1, 0]),
        (["v1"], ["v2", "v1", "v1"], [1]),
        ([None, "v1"], ["v1", None], [-1, 0]),
        ([], ["v1"], []),
        (["v1"], [], [-1]),
    ],
)
def test_a_label_is_found_at_its_first_place_and_a_blank_nowhere(wanted, among, places):
    found = place_of(pd.Series(wanted, dtype="str"), pd.Series(among, dtype="str"))
    assert found.tolist() == places

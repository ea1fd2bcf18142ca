"""Groups a receptionist can tell apart: the owner's or the log's, and those too small."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.answers.recall_models_groups import group_spoken, how_soon_by_group
from analysis.clinic import Clinic
from analysis.models.recall_group_names import all_names, group_names
from analysis.models.recall_grouped import fit_grouped
from analysis.present.answer import Answer
from analysis.present.tables import spoken_columns
from analysis.problems import DataProblem
from analysis.schema import GAPS, typed_frame
from analysis.settings import RecallPart, settings_from_toml
from tests.truth.recall_world import World


@cache
def logged(patients: int = 1200) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A clinic in which hearing aids matter; cotton buds and age are noted at random, and do not."""
    visits, ears = World(patients=patients).log(11)
    number = visits["patient_key"].str[1:].astype(int)
    age = pd.Series(np.where(number % 3 == 0, "75_and_over", "40_59"), index=visits.index).astype(
        visits["age_band"].dtype
    )
    return visits.assign(cotton_bud=(number % 2 == 0).astype(visits["cotton_bud"].dtype), age_band=age), ears


@cache
def ask(toml: str = "", patients: int = 1200) -> Answer:
    visits, ears = logged(patients)
    return how_soon_by_group(Clinic(visits, ears, settings=settings_from_toml(toml)))


def groups(found: Answer) -> set[str]:
    return {row.group["group"] for row in found.rows}


def test_left_to_the_log_the_groups_are_those_that_foretell():
    assert groups(ask()) == {"hearing_aid:yes", "hearing_aid:no", "everyone"}
    assert any("the fewest that foretell patients held out as well as the best" in said for said in ask().assumptions)
    assert "3 in 10 ears are occluding again by " in ask().headline
    assert "with a hearing aid" in ask().headline


def test_every_group_has_its_months_at_three_shares_with_ranges_and_ears():
    for group in groups(ask()):
        rows = [row for row in ask().rows if row.group["group"] == group]
        assert [row.group["share"] for row in rows] == [0.2, 0.3, 0.5]
        assert rows[0].value < rows[1].value < rows[2].value
        assert all(row.low < row.value < row.high and row.n > 0 for row in rows)
    assert "months until then" in [column.heading for column in spoken_columns(ask().table)]


def test_the_owners_share_is_shown_too_with_the_month_to_call_back_at():
    table = ask("[recall]\nshare = 0.25").table
    assert sorted(table["share_occluding"].unique()) == [0.2, 0.25, 0.3, 0.5]
    assert (table["recall_months"] == np.floor(table["months_until_then"])).all()


def test_a_planted_group_holds_its_truth():
    world = World(patients=1200)
    row = next(row for row in ask().rows if row.group == {"group": "hearing_aid:yes", "share": 0.3})
    assert row.value == pytest.approx(world.months_until(0.3, hearing_aid=True), rel=0.12)  # three standard errors


def test_the_owners_groups_are_taken():
    found = ask('[recall]\ngroups = ["hearing_aid", "age_60"]')
    assert len(groups(found)) == 5
    assert any("The groups go by hearing aid and age, as the settings say." in said for said in found.assumptions)
    assert len([trace for trace in found.chart.data if not trace.name.endswith("range")]) == 4


def test_a_group_too_small_says_so_and_shows_the_clinics():
    found = ask('[recall]\ngroups = ["hearing_aid", "age_60"]\nfewest_ears = 160')
    small = [check.sentence for check in found.checks if "so the clinic's is shown" in check.sentence]
    assert small
    table = found.table[found.table["share_occluding"] == 0.3]
    whole = table.loc[table["recall_group"] == "everyone", "months_until_then"].item()
    assert (table.loc[table["recall_curve"] == "everyone's", "months_until_then"] == whole).all()
    assert len(groups(found)) == 5 - len(small)


def test_where_no_fact_is_noted_there_is_one_curve_for_everyone():
    visits, ears = logged()
    bare = visits.assign(
        **{name: pd.Series([None] * len(visits), index=visits.index, dtype=visits[name].dtype) for name in ("hearing_aid", "cotton_bud", "age_band")}
    )  # fmt: skip
    found = how_soon_by_group(Clinic(bare, ears, settings=settings_from_toml("")))
    assert groups(found) == {"everyone"}
    assert "whatever the group" in found.headline
    named = how_soon_by_group(Clinic(bare, ears, settings=settings_from_toml('[recall]\ngroups = ["hearing_aid"]')))
    assert groups(named) == {"everyone"}
    assert any("of no known group" in said for said in named.assumptions)


@pytest.mark.parametrize(
    "wrong", ['["shoe_size"]', '["hearing_aid", "hearing_aid"]', '["canal", "age_60", "cotton_bud"]', '"canal"']
)
def test_groups_that_cannot_be_used_are_refused(wrong):
    with pytest.raises(DataProblem) as told:
        settings_from_toml(f"[recall]\ngroups = {wrong}")
    assert told.value.setting == "recall.groups"


def test_groups_are_named_by_what_was_noted():
    gaps = typed_frame(
        GAPS,
        pd.DataFrame({"hearing_aid": [True, False, None], "canal": ["narrow", "ordinary", "ordinary"], "age_band": ["under_18"] * 3}),
    )  # fmt: skip
    assert group_names(gaps, ("hearing_aid", "canal")).tolist() == [
        "hearing_aid:yes canal:yes",
        "hearing_aid:no canal:no",
        "",
    ]
    assert group_names(gaps, ()).tolist() == ["", "", ""]
    assert [group_spoken(name) for name in all_names(("canal",))] == [
        "with another canal than an ordinary one",
        "with an ordinary canal",
    ]


def test_an_empty_log_has_a_plain_sentence():
    visits, ears = logged()
    found = how_soon_by_group(Clinic(visits.iloc[:0], ears.iloc[:0], settings=settings_from_toml("")))
    assert found.headline.startswith("No figure yet.")


def test_rows_in_another_order_give_the_same_groups():
    from analysis.derive.gaps import gaps

    visits, ears = logged()
    table = gaps(visits, ears, symptom_window_days=60, last_day=World().last_day)
    mixed = table.sample(frac=1, random_state=3).reset_index(drop=True)
    found, other = fit_grouped(table, RecallPart()), fit_grouped(mixed, RecallPart())
    assert found.facts == other.facts
    assert found.curves["everyone"].months_until(0.3).value == pytest.approx(
        other.curves["everyone"].months_until(0.3).value
    )
